//! The verdict: first sentence of the page, clauses, gridlocks.

use super::{heading, listed};
use crate::ink::Ink;
use crate::numbers::{grouped, number, percent, plain, stated, time};
use crate::screen::{WIDTH, safe, wrap};
use sim_core::statistics::Verdict;
use sim_core::study::RunResult;
use sim_core::study::result::{ClauseKind, ClauseReport, PromiseReport, StoppedBecause};

/// A verdict in a word.
pub(crate) fn in_a_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Proved => "proved",
        Verdict::Disproved => "disproved",
        Verdict::Open => "open",
    }
}

/// Verdict, title, and what was run.
pub(super) fn head(result: &RunResult, ink: Ink) -> String {
    let mut page = match &result.promise {
        Some(promise) => sentence(result, promise, ink),
        None => wrap(
            "NO PROMISE. The file asks for no rate, so there is no verdict; `promise` in the file asks for one.",
            "",
            "  ",
            WIDTH,
        ),
    };
    if let Some(title) = &result.title {
        page.push_str(&wrap(&safe(title), "", "", WIDTH));
    }
    page.push_str(&wrap(&ran(result), "", "", WIDTH));
    if let Some(promise) = &result.promise {
        page.push_str(&wrap(&sureness(result, promise), "", "", WIDTH));
    }
    page
}

fn sentence(result: &RunResult, promise: &PromiseReport, ink: Ink) -> String {
    let (word, paint): (&str, fn(Ink, &str) -> String) = match result.verdict().unwrap_or(promise.verdict) {
        Verdict::Proved => ("PROVED.", Ink::good),
        Verdict::Disproved => ("DISPROVED.", Ink::bad),
        Verdict::Open => ("OPEN.", Ink::warn),
    };
    wrap(&worded(result, promise), &format!("{} ", paint(ink, word)), "  ", WIDTH)
}

/// The verdict as a sentence.
pub(crate) fn worded(result: &RunResult, promise: &PromiseReport) -> String {
    let at = listed(&result.rate.at);
    match (result.verdict().unwrap_or(promise.verdict), promise.clauses.as_slice()) {
        (Verdict::Proved, [clause]) => format!("{}.", holds(clause, &at)),
        (Verdict::Disproved, [clause]) => format!("{}.", fails(clause, &at)),
        (Verdict::Open, [clause]) => {
            format!("It cannot be said yet whether this holds: {}.", holds(clause, &at))
        }
        (Verdict::Proved, clauses) => format!("All {} clauses of the promise hold at {at}.", clauses.len()),
        (Verdict::Disproved, _) => format!("A clause of the promise fails at {at}."),
        (Verdict::Open, _) => {
            format!("It cannot be said yet whether all clauses of the promise hold at {at}.")
        }
    }
}

/// A clause as a sentence that holds.
pub(crate) fn holds(clause: &ClauseReport, at: &str) -> String {
    let required = plain(clause.required);
    match clause.kind {
        ClauseKind::ShiftRate => {
            format!("{at} makes {required} good parts a minute in at least {} of shifts", demanded(clause))
        }
        ClauseKind::MeanRate => {
            format!("{at} makes {required} good parts a minute on the mean of many shifts")
        }
        ClauseKind::FeedAvailability => {
            format!(
                "parts are there for at least {} of the time in which {at} is ready",
                stated(clause.required)
            )
        }
    }
}

fn fails(clause: &ClauseReport, at: &str) -> String {
    let required = plain(clause.required);
    match clause.kind {
        ClauseKind::ShiftRate => {
            format!("{at} makes {required} good parts a minute in fewer than {} of shifts", demanded(clause))
        }
        ClauseKind::MeanRate => {
            format!("{at} makes less than {required} good parts a minute on the mean of many shifts")
        }
        ClauseKind::FeedAvailability => {
            format!(
                "parts are there for less than {} of the time in which {at} is ready",
                stated(clause.required)
            )
        }
    }
}

fn demanded(clause: &ClauseReport) -> String {
    clause.demanded_chance.map_or_else(|| "all".to_owned(), stated)
}

/// What was run, and why it ended.
pub(crate) fn ran(result: &RunResult) -> String {
    let because = match result.stopped_because {
        StoppedBecause::Decided => "ended as soon as the promise was decided",
        StoppedBecause::BudgetUsed => "all that were asked for",
        StoppedBecause::PrecisionReached => "ended when the mean was known well enough",
        StoppedBecause::NoLuck => "nothing in the line is random, so one shift tells all",
        StoppedBecause::Cancelled => "INTERRUPTED: this is what was finished",
    };
    let warm_up = if result.window.opens_s > 0.0 {
        format!(", of which the first {} do not count", time(result.window.opens_s))
    } else {
        String::new()
    };
    format!(
        "{} {} of {}{warm_up}; seed {}; {because}.",
        grouped(result.replications),
        if result.replications == 1 { "shift" } else { "shifts" },
        time(result.window.shift_s),
        result.seed
    )
}

/// How wrong the verdict may be, or what an open one lacks.
pub(crate) fn sureness(result: &RunResult, promise: &PromiseReport) -> String {
    if let Some(ignorance) = &result.ignorance {
        return super::ignorance::sureness(ignorance);
    }
    let error = stated(promise.error_each_way);
    match promise.verdict {
        Verdict::Proved => format!(
            "If the line failed its promise, this verdict would come with a chance of at most {error}, all looks counted."
        ),
        Verdict::Disproved => format!(
            "If the line kept its promise, this verdict would come with a chance of at most {error}, all looks counted."
        ),
        Verdict::Open => match (promise.fewest_to_prove, promise.fewest_to_disprove) {
            (Some(prove), _) if result.replications < prove => format!(
                "A proof takes {} shifts at least, even if all go well: run more shifts.",
                grouped(prove)
            ),
            (Some(_), _) => "The line is close to what is asked of it: more shifts may decide.".to_owned(),
            (None, _) => format!(
                "With {} shifts at most it could not be proved, even if all went well: run more shifts.",
                grouped(result.budget)
            ),
        },
    }
}

/// The clauses, where there are several or one was looked at.
pub(super) fn clauses(result: &RunResult, ink: Ink) -> String {
    let Some(promise) = &result.promise else { return String::new() };
    if promise.clauses.len() < 2 {
        return String::new();
    }
    let at = listed(&result.rate.at);
    let title = if result.ignorance.is_some() { ", with what is not known of the inputs" } else { "" };
    let mut page = heading(&format!("CLAUSES OF THE PROMISE{title}"), ink);
    for (clause, verdict) in promise.clauses.iter().zip(verdicts(result, promise)) {
        let word = match verdict {
            Verdict::Proved => ink.good("proved"),
            Verdict::Disproved => ink.bad("disproved"),
            Verdict::Open => ink.warn("open"),
        };
        page.push_str(&wrap(
            &format!("{}{}", holds(clause, &at), judged(clause, result.ignorance.is_some())),
            &format!("  {word}: "),
            "    ",
            WIDTH,
        ));
    }
    page
}

/// The verdict on each clause: about the assurance where ignorance of the inputs is included.
pub(crate) fn verdicts(result: &RunResult, promise: &PromiseReport) -> Vec<Verdict> {
    match &result.ignorance {
        Some(ignorance) => ignorance.clauses.iter().map(|clause| clause.verdict).collect(),
        None => promise.clauses.iter().map(|clause| clause.verdict).collect(),
    }
}

/// What was found of a clause with inputs as known, which is said where there is another finding.
pub(crate) fn judged(clause: &ClauseReport, is_one_of_two: bool) -> String {
    let (Some(estimate), Some(looked)) = (clause.estimate, clause.last_look) else { return String::new() };
    let half = clause.upper.zip(clause.lower).map(|(high, low)| 0.5 * (high - low));
    let value = match clause.kind {
        ClauseKind::MeanRate => format!("{} a minute", number(estimate, half)),
        ClauseKind::ShiftRate | ClauseKind::FeedAvailability => percent(estimate, half),
    };
    let inputs = if is_one_of_two { ", inputs as known" } else { "" };
    format!(" (found {value} at the look after {} shifts{inputs})", grouped(looked))
}

/// Stations that waited for each other for ever.
pub(super) fn gridlock(result: &RunResult, ink: Ink) -> String {
    let lock = &result.gridlock;
    if lock.replications == 0 {
        return String::new();
    }
    let mut page = heading("GRIDLOCK", ink);
    let mut text = format!(
        "In {} of {} shifts stations came to wait for each other, and nothing could ever move again",
        grouped(lock.replications),
        grouped(result.replications)
    );
    if let (Some(first), Some(at)) = (lock.first_in, lock.first_at_s) {
        text.push_str(&format!(", for the first time in shift {first} after {}", time(at)));
    }
    page.push_str(&wrap(&format!("{text}:"), "  ", "  ", WIDTH));
    for waiting in &lock.knot {
        let text = format!("`{}` waits for {}", waiting.station, waiting.for_what);
        page.push_str(&wrap(&safe(&text), "    ", "      ", WIDTH));
    }
    if let Some(opened_by) = &lock.opened_by {
        page.push_str(&wrap(&safe(&format!("It would be opened by {opened_by}.")), "  ", "  ", WIDTH));
    }
    page
}
