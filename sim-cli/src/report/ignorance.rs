//! The promise with ignorance of the inputs in it, beside the one with inputs as known; and what to measure next.

use super::heading;
use super::verdict::in_a_word;
use crate::ink::Ink;
use crate::numbers::{NONE, from_to, grouped, mean, number, percent, plain, stated};
use crate::problems::counted;
use crate::screen::{WIDTH, safe, wrap};
use crate::tables::Table;
use sim_core::statistics::Verdict;
use sim_core::study::RunResult;
use sim_core::study::result::{
    AssuranceReport, ClauseKind, ClauseReport, EstimateReport, FurtherReport, IgnoranceReport, KnownReport,
    OpenBecause, VarianceShare,
};
use sim_core::text::evidence::few_values;

/// Most inputs of a table.
const LISTED: usize = 12;

/// What the verdict means where ignorance is in it.
pub(super) fn sureness(ignorance: &IgnoranceReport) -> String {
    let demanded = stated(ignorance.demanded_assurance);
    let error = stated(ignorance.error_each_way);
    match ignorance.verdict {
        Some(Verdict::Proved) => format!(
            "Given what was measured, the line keeps its promise with a probability of {demanded} or more; the simulation errs in this with a chance of at most {error}."
        ),
        Some(Verdict::Disproved) => format!(
            "Given what was measured, the line fails its promise with a probability of {demanded} or more; the simulation errs in this with a chance of at most {error}."
        ),
        Some(Verdict::Open) => {
            let by_ignorance =
                ignorance.clauses.iter().any(|clause| clause.open_because == Some(OpenBecause::Ignorance));
            if by_ignorance {
                format!(
                    "What was measured does not suffice to be {demanded} sure either way. More shifts do not help; measuring more does: see WHAT TO MEASURE NEXT."
                )
            } else {
                format!(
                    "The probability that the line keeps its promise, given what was measured, is too near to {demanded}, or to none, for the simulation so far: more draws (--draws) may decide."
                )
            }
        }
        None => String::new(),
    }
}

/// Both promises side by side.
pub(super) fn side_by_side(result: &RunResult, ink: Ink) -> String {
    let Some(ignorance) = &result.ignorance else { return String::new() };
    let mut page = heading("INPUTS AS KNOWN, and with what is not known of them", ink);
    let mut table = Table::new(&["", "as|known", "with|ignorance"]);
    table.row(["mean rate, /min".to_owned(), mean(&result.rate.mean_rate), mean(&ignorance.mean_rate)]);
    let spread = |sd: Option<f64>| sd.map_or(NONE.to_owned(), |sd| number(sd, Some(0.05 * sd)));
    let with = ignorance.variance.as_ref().map(|variance| variance.standard_deviation);
    table.row([
        "standard deviation of one shift, /min".to_owned(),
        spread(result.rate.standard_deviation),
        spread(with),
    ]);
    let clauses = result.promise.iter().flat_map(|promise| &promise.clauses).zip(&ignorance.clauses);
    for (known, with) in clauses.clone() {
        table.row([what(with), as_known(known), predictive(with)]);
    }
    for (known, with) in clauses {
        table.row([
            "verdict".to_owned(),
            in_a_word(known.verdict).to_owned(),
            in_a_word(with.verdict).to_owned(),
        ]);
    }
    page.push_str(&table.render(ink));
    let own = format!(
        "This line's own mean rate lies {} /min ({} of what the evidence leaves possible).",
        from_to(ignorance.own_mean_low, ignorance.own_mean_high),
        stated(ignorance.level)
    );
    page.push_str(&wrap(&own, "  ", "  ", WIDTH));
    for clause in &ignorance.clauses {
        page.push_str(&wrap(&assurance(clause, ignorance), "  ", "  ", WIDTH));
    }
    let ran = format!(
        "{} draws of {}, {}{} within them; {} at first, more where it is not clear.",
        grouped(ignorance.draws),
        counted(ignorance.known.len(), "piece") + " of evidence",
        if ignorance.draws_until_clear {
            "ended when the verdict was clear or draws were used up, "
        } else {
            ""
        },
        counted(ignorance.shifts as usize, "shift"),
        grouped(ignorance.shifts_each),
    );
    page.push_str(&wrap(&ran, "  ", "  ", WIDTH));
    if ignorance.redrawn > 0 {
        let text =
            format!("{} draws were impossible together and were drawn again.", grouped(ignorance.redrawn));
        page.push_str(&wrap(&text, "  ", "  ", WIDTH));
    }
    page
}

fn what(clause: &AssuranceReport) -> String {
    let required = plain(clause.required);
    match clause.kind {
        ClauseKind::ShiftRate => format!("chance to make {required} /min in one shift"),
        ClauseKind::MeanRate => format!("mean rate, to be {required} /min"),
        ClauseKind::FeedAvailability => format!("feed availability, to be {}", stated(clause.required)),
    }
}

fn as_known(clause: &ClauseReport) -> String {
    let Some(estimate) = clause.estimate else { return NONE.to_owned() };
    let half = clause.upper.zip(clause.lower).map(|(high, low)| 0.5 * (high - low));
    match clause.kind {
        ClauseKind::MeanRate => number(estimate, half),
        ClauseKind::ShiftRate | ClauseKind::FeedAvailability => percent(estimate, half),
    }
}

fn predictive(clause: &AssuranceReport) -> String {
    match clause.kind {
        ClauseKind::MeanRate => mean(&clause.predictive),
        ClauseKind::ShiftRate | ClauseKind::FeedAvailability => {
            let half = clause.predictive.half_width();
            clause.predictive.mean.map_or(NONE.to_owned(), |share| percent(share, half))
        }
    }
}

fn assurance(clause: &AssuranceReport, ignorance: &IgnoranceReport) -> String {
    let half = Some((0.5 * (clause.high - clause.low)).max(0.001));
    let own_half = Some((0.5 * (clause.own_high - clause.own_low)).max(0.001));
    let (keeps, own) = match clause.kind {
        ClauseKind::ShiftRate => (
            format!(
                "it makes {} /min in at least {} of shifts",
                plain(clause.required),
                clause.demanded_chance.map_or_else(|| "all".to_owned(), stated)
            ),
            format!(
                "its own chance lies from {} to {}",
                percent(clause.own_low, own_half),
                percent(clause.own_high, own_half)
            ),
        ),
        ClauseKind::MeanRate => (
            format!("its own mean is {} /min or more", plain(clause.required)),
            format!("that mean lies {}", from_to(clause.own_low, clause.own_high)),
        ),
        ClauseKind::FeedAvailability => (
            format!("its own feed availability is {} or more", stated(clause.required)),
            format!(
                "that lies from {} to {}",
                percent(clause.own_low, own_half),
                percent(clause.own_high, own_half)
            ),
        ),
    };
    format!(
        "Assurance: {keeps} with a probability of {} given the evidence (simulated to within {} and {}); {} is asked for. With {} {own}.",
        percent(clause.assurance, half),
        percent(clause.low, half),
        percent(clause.high, half),
        stated(ignorance.demanded_assurance),
        stated(clause.own_level),
    )
}

/// Where the variance of a shift comes from.
pub(super) fn variance(result: &RunResult, ink: Ink) -> String {
    let Some(ignorance) = &result.ignorance else { return String::new() };
    let Some(split) = &ignorance.variance else { return String::new() };
    let mut page = heading("WHY SHIFTS DIFFER from what was promised: variance of one shift's rate", ink);
    let mut table = Table::new(&["from", "%", "low", "high"]);
    let row = |name: &str, share: &VarianceShare| {
        let part = |share: f64| format!("{:.0}", 100.0 * share).replace("-0", "0");
        [name.to_owned(), part(share.share.clamp(0.0, 1.0)), part(share.low), part(share.high)]
    };
    table.row(row("luck of the shift", &split.luck));
    table.row(row("all that is not known of the inputs", &split.ignorance));
    let mut inputs: Vec<(&KnownReport, &VarianceShare)> = ignorance.known.iter().zip(&split.inputs).collect();
    inputs.sort_by(|a, b| b.1.share.total_cmp(&a.1.share));
    for (known, share) in inputs.iter().take(LISTED) {
        table.row(row(&format!("- {}", known.name), share));
    }
    page.push_str(&table.render(ink));
    let note = format!(
        "With {} intervals. Shares of single inputs leave out what only appears when several are off together.",
        stated(split.level)
    );
    page.push_str(&wrap(&note, "  ", "  ", WIDTH));
    page
}

/// What to measure next.
pub(super) fn further(result: &RunResult, ink: Ink) -> String {
    let Some(ignorance) = &result.ignorance else { return String::new() };
    // What is decided needs no further trials; the document has them all the same.
    if ignorance.further.is_empty() || ignorance.verdict != Some(Verdict::Open) {
        return String::new();
    }
    let mut page = heading("WHAT TO MEASURE NEXT", ink);
    let mut table = Table::new(&[
        "test",
        "has",
        "doubt gone|with as many|again, %",
        "decides with a|chance, %",
        "about so many|more decide",
    ]);
    for report in ignorance.further.iter().take(LISTED) {
        let known =
            report.input.as_ref().and_then(|name| ignorance.known.iter().find(|one| one.name == *name));
        let again = report.steps.iter().find(|step| step.times == 1.0);
        table.row([
            report.input.clone().unwrap_or_else(|| "all of them, by the same factor".to_owned()),
            known.map_or(NONE.to_owned(), size),
            again.map_or(NONE.to_owned(), |_| format!("{:.0}", 100.0 * report.doubt_taken)),
            again.map_or(NONE.to_owned(), |step| format!("{:.0}", 100.0 * step.chance_to_decide)),
            decide(report, known),
        ]);
    }
    page.push_str(&table.render(ink));
    let note = "Doubt: A (1 - A) of the assurance A. What so many more trials would find is simulated from what is known now; they decide if the assurance is clear then, and the last column has the fewest that do so with a chance of one half, if those of one test alone ever do. Rough: a tenth either way.";
    page.push_str(&wrap(note, "  ", "  ", WIDTH));
    page
}

fn size(known: &KnownReport) -> String {
    match known.in_hours {
        Some(hours) => format!("{} h", number(hours, None)),
        None => grouped(known.trials),
    }
}

fn decide(report: &FurtherReport, known: Option<&KnownReport>) -> String {
    match (report.trials_to_decide, known) {
        (Some(trials), Some(known)) if known.in_hours.is_some() => format!("{} h", grouped(trials)),
        (Some(trials), _) => grouped(trials),
        // The last step is 32 times what there is, or less where too few draws are left to speak of more.
        (None, Some(known)) => match report.steps.last().and_then(|step| step.trials) {
            Some(trials) if known.in_hours.is_some() => format!("over {} h", grouped(trials as u64)),
            Some(trials) => format!("over {}", grouped(trials as u64)),
            None => NONE.to_owned(),
        },
        (None, None) => {
            let times = report.steps.iter().find(|step| step.chance_to_decide >= 0.5).map(|step| step.times);
            times.map_or("-".to_owned(), |times| format!("{} x", plain(times)))
        }
    }
}

/// What stands on the page where inputs were measured and their ignorance is left out.
pub(super) fn left_out(result: &RunResult) -> String {
    let measured = result.inputs.iter().any(|input| input.trials.is_some());
    if !measured || result.ignorance.is_some() {
        return String::new();
    }
    wrap(
        "Measured inputs are taken as known here: what so few trials leave unknown is not in the verdict. It is with 80 shifts or more, or --draws 120.",
        "  ",
        "  ",
        WIDTH,
    )
}

/// The evidence of a file with its estimates.
pub(crate) fn evidence(known: &[KnownReport], ink: Ink) -> String {
    let level = known.first().map_or(0.95, |one| one.level);
    let mut page = heading("EVIDENCE for the inputs", ink);
    let mut table = Table::new(&["input", "seen", "estimate", "from", "to", "unit"]);
    for one in known {
        for (n, estimate) in one.estimates.iter().enumerate() {
            let name = match (estimate.name.as_str(), n) {
                ("", _) => one.name.clone(),
                (name, _) => format!("{}: {name}", one.name),
            };
            let percent = one.unit.is_empty() && one.what != "random amount";
            table.row([
                name,
                if n == 0 { seen(one) } else { String::new() },
                shown(estimate, estimate.estimate, percent),
                shown(estimate, estimate.low, percent),
                shown(estimate, estimate.high, percent),
                if percent { "%".to_owned() } else { one.unit.clone() },
            ]);
        }
    }
    page.push_str(&table.render(ink));
    let mut priors: Vec<&str> = Vec::new();
    for one in known {
        if !priors.contains(&one.prior.as_str()) {
            priors.push(&one.prior);
        }
    }
    let text = format!(
        "Given the evidence, each number lies within from-to with a probability of {}. Of values, that of their mean. Priors: {}.",
        stated(level),
        priors.join("; ")
    );
    page.push_str(&wrap(&safe(&text), "  ", "  ", WIDTH));
    for one in known.iter().filter(|one| one.in_hours.is_some() && one.seen == Some(0)) {
        let text = format!(
            "`{}` was never seen: where inputs are taken as known it comes at the mean of its posterior.",
            one.name
        );
        page.push_str(&wrap(&safe(&text), "  ", "  ", WIDTH));
    }
    // Observed values are the only random amounts that do not count events.
    for one in known.iter().filter(|one| one.what == "random amount" && one.in_hours.is_none()) {
        if let Some(text) = few_values(&one.name, one.trials) {
            page.push_str(&wrap(&safe(&text), "  ", "  ", WIDTH));
        }
    }
    page
}

fn seen(known: &KnownReport) -> String {
    match (known.in_hours, known.seen) {
        (Some(hours), Some(seen)) => format!("{} in {} h", grouped(seen), number(hours, None)),
        (None, Some(seen)) => format!("{} of {}", grouped(seen), grouped(known.trials)),
        (_, None) => grouped(known.trials),
    }
}

fn shown(estimate: &EstimateReport, value: f64, is_share: bool) -> String {
    let factor = if is_share { 100.0 } else { 1.0 };
    let half = 0.5 * factor * (estimate.high - estimate.low);
    number(factor * value, Some(half))
}
