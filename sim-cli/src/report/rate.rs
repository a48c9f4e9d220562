//! The rate at the point of use, and the chance to make it.

use super::{blocks, heading, listed};
use crate::ink::Ink;
use crate::numbers::{from_to, grouped, mean, number, percent, plain, stated, with_error};
use crate::screen::{WIDTH, draws, safe, wrap};
use sim_core::study::RunResult;
use sim_core::study::result::{OneShift, RateBasis, RateReport};

/// Share of all parts from which on those that come out in uncounted time are spoken of.
const MINDED_SHARE: f64 = 0.001;

/// Mean, one future shift and what was seen, one below the other and named.
pub(super) fn rate(result: &RunResult, ink: Ink) -> String {
    let rate = &result.rate;
    let basis = match rate.basis {
        RateBasis::Gross => "gross: of the whole window".to_owned(),
        RateBasis::Net => format!("net of {}", safe(&rate.net_of.join(", "))),
    };
    let title = format!("RATE at {}, good parts a minute, {basis}", listed(&rate.at));
    let mut page = ink.bold(wrap(&title, "", "  ", WIDTH).trim_end()) + "\n";
    let interval = match (rate.mean_rate.low, rate.mean_rate.high) {
        (Some(low), Some(high)) if high > low => {
            format!("{}: {}", stated(rate.mean_rate.level), from_to(low, high))
        }
        (_, _) => String::new(),
    };
    page.push_str(&row("mean of many shifts", &with_error(&rate.mean_rate), &interval));
    page.push_str(&row("one future shift", "", &future(&rate.one_shift)));
    page.push_str(&row("shifts simulated", "", &seen(rate)));
    if rate.basis == RateBasis::Net {
        page.push_str(&row("mean, gross", &with_error(&rate.mean_gross_rate), ""));
        page.push_str(&wrap(&in_uncounted_time(rate), "  ", "  ", WIDTH));
    }
    if rate.max > rate.min {
        page.push_str(&picture(rate));
        page.push_str(&wrap(&percentiles(rate), "  ", "    ", WIDTH));
        page.push_str(&wrap(
            "More shifts narrow the first interval. The second is how much shifts differ: it stays.",
            "  ",
            "  ",
            WIDTH,
        ));
        if rate.one_shift.by_rank.is_none() && rate.one_shift.normal.is_some() {
            page.push_str("  With so few shifts the second one supposes a normal law.\n");
        }
    }
    page
}

/// That a net rate has parts in it that come out in the time that it leaves out; empty if they are next to none, as where
/// equal stations go off one cycle after the other.
fn in_uncounted_time(rate: &RateReport) -> String {
    let least = MINDED_SHARE * rate.mean_gross_rate.mean.unwrap_or(0.0);
    let meanwhile = rate.good_in_uncounted_time.as_ref();
    let minded = meanwhile.filter(|good| good.mean.is_some_and(|mean| mean > least));
    minded.map_or(String::new(), |good| {
        format!(
            "Mind: {} good parts a minute come out in the time that is left out. They count, their time does not: the net \
             rate may be more than the machine can make.",
            mean(good)
        )
    })
}

/// How shifts spread, where the terminal can show it.
fn picture(rate: &RateReport) -> String {
    let Some(histogram) = rate.histogram.as_ref().filter(|_| draws()) else { return String::new() };
    let last = histogram.from + histogram.width * histogram.counts.len() as f64;
    let half = coarse(rate);
    let (low, high) = (number(histogram.from, half), number(last, half));
    row("how they spread", "", &format!("{low} {} {high}", blocks::columns(&histogram.counts)))
}

fn row(name: &str, value: &str, rest: &str) -> String {
    let line = format!("  {name:<19}  {value:<16} {rest}");
    format!("{}\n", line.trim_end())
}

fn future(one: &OneShift) -> String {
    // The interval from ranks needs no law; the other one is for too few shifts.
    match one.by_rank.or(one.normal) {
        Some(interval) if interval.high <= interval.low => number(interval.low, None),
        Some(interval) => format!("{}: {}", stated(one.level), from_to(interval.low, interval.high)),
        None => "too few shifts to say".to_owned(),
    }
}

/// Half-width that stands for the spread of single shifts.
fn coarse(rate: &RateReport) -> Option<f64> {
    rate.standard_deviation.map(|sd| 0.3 * sd)
}

fn seen(rate: &RateReport) -> String {
    match (rate.min, rate.max) {
        (Some(low), Some(high)) if high > low => {
            let half = coarse(rate);
            format!("all: from {} to {}", number(low, half), number(high, half))
        }
        (Some(low), Some(_)) => format!("all: {}", number(low, None)),
        (_, _) => String::new(),
    }
}

fn percentiles(rate: &RateReport) -> String {
    let half = coarse(rate);
    let shown: Vec<String> = rate
        .percentiles
        .iter()
        .map(|one| format!("{} of shifts below {}", stated(one.share), number(one.point, half)))
        .collect();
    let spread = rate.standard_deviation.map(|sd| format!("; standard deviation {}", number(sd, half)));
    // The words are said once.
    let list =
        shown.join(", ").replace(" of shifts below", " below").replacen(" below", " of shifts below", 1);
    format!("{list}{}", spread.unwrap_or_default())
}

/// The mean rate from mirrored shifts and controls, if that was asked for.
pub(super) fn reduced(result: &RunResult, ink: Ink) -> String {
    let Some(found) = &result.reduced else { return String::new() };
    let mut ways = Vec::new();
    if found.reduction.mirrored {
        ways.push(format!("{} mirrored pairs", grouped(found.rate.n)));
    }
    if found.reduction.controls {
        ways.push(match found.controls.len() {
            0 => "nothing random that could be a control".to_owned(),
            1 => "1 control".to_owned(),
            n => format!("{n} controls"),
        });
    }
    let gain = match found.variance_ratio {
        Some(ratio) if ratio > 0.0 => {
            format!("as many plain shifts have {} times the variance", number(1.0 / ratio, Some(0.5)))
        }
        Some(_) | None => "the rate does not vary".to_owned(),
    };
    let interval = match (found.rate.low, found.rate.high) {
        (Some(low), Some(high)) => format!(", {} {}", stated(found.rate.level), from_to(low, high)),
        (_, _) => String::new(),
    };
    let line = format!(
        "{}{interval}; {} shifts, {}; {gain}. The verdict has no part in it.",
        with_error(&found.rate),
        grouped(found.shifts),
        ways.join(", ")
    );
    let mut page = heading("MEAN RATE ONCE MORE, with less spread", ink);
    page.push_str(&wrap(&line, "  ", "  ", WIDTH));
    page
}

/// The chance that a shift makes the rate, and the rate that a shift makes with the demanded chance.
pub(super) fn chance(result: &RunResult, ink: Ink) -> String {
    let rate = &result.rate;
    if rate.chance_to_make.is_empty() {
        return String::new();
    }
    let mut page = heading("CHANCE TO MAKE IT in one shift", ink);
    for one in &rate.chance_to_make {
        let half = one.low.zip(one.high).map(|(low, high)| 0.5 * (high - low));
        let share = one.share.map_or("-".to_owned(), |share| percent(share, half));
        let interval = match (one.low, one.high) {
            (Some(low), Some(high)) => {
                format!(
                    ", exact {} interval {} to {}",
                    stated(one.level),
                    percent(low, half),
                    percent(high, half)
                )
            }
            (_, _) => String::new(),
        };
        let counts = format!("{} of {} shifts", grouped(one.made), grouped(one.of));
        page.push_str(&wrap(
            &format!("{} /min or more: {share} ({counts}){interval}", plain(one.rate)),
            "  ",
            "    ",
            WIDTH,
        ));
    }
    for one in &rate.reached {
        let Some(point) = one.point else { continue };
        let half = one.low.map(|low| point - low).filter(|half| *half > 0.0).or(rate.mean_rate.half_width());
        let least = one
            .low
            .map_or(String::new(), |low| format!(" (at least {}, for sure enough)", number(low, half)));
        page.push_str(&wrap(
            &format!("{} of shifts reach {} /min{least}", stated(one.chance), number(point, half)),
            "  ",
            "    ",
            WIDTH,
        ));
    }
    let feed = &result.line.feed_availability;
    if let Some(share) = feed.mean {
        let text = format!(
            "Parts were there for {} of the time in which {} was ready to take one (feed availability)",
            percent(share, feed.half_width()),
            listed(&rate.at)
        );
        page.push_str(&wrap(&text, "  ", "    ", WIDTH));
    }
    page
}

/// A mean with its unit, or nothing if there is none.
pub(super) fn with_unit(figure: &sim_core::study::result::Figure, unit: &str) -> Option<String> {
    figure.mean.map(|_| format!("{} {unit}", mean(figure)))
}
