//! The rate at the point of use, and the chance to make it.

use super::{heading, listed};
use crate::ink::Ink;
use crate::numbers::{from_to, grouped, mean, number, percent, plain, stated, with_error};
use crate::screen::{WIDTH, safe, wrap};
use sim_core::study::RunResult;
use sim_core::study::result::{OneShift, RateBasis, RateReport};

/// Mean, one future shift and what was seen, one below the other and named.
pub(super) fn rate(result: &RunResult, ink: Ink) -> String {
    let rate = &result.rate;
    let basis = match rate.basis {
        RateBasis::Gross => "gross: of the whole window".to_owned(),
        RateBasis::Net => format!("net of {}", safe(&rate.net_of.join(", "))),
    };
    let title = format!("RATE at {}, good parts a minute (ppm), {basis}", listed(&rate.at));
    let mut page = wrap(&ink.bold(&title), "", "  ", WIDTH);
    let level = stated(rate.mean_rate.level);
    let interval = match (rate.mean_rate.low, rate.mean_rate.high) {
        (Some(low), Some(high)) if high > low => format!("{level} interval {}", from_to(low, high)),
        (_, _) => String::new(),
    };
    page.push_str(&row("mean of many shifts", &with_error(&rate.mean_rate), &interval));
    page.push_str(&row("one future shift", "", &future(&rate.one_shift)));
    page.push_str(&row("shifts simulated", "", &seen(result)));
    if rate.basis == RateBasis::Net {
        page.push_str(&row("mean, gross", &with_error(&rate.mean_gross_rate), ""));
    }
    page.push_str(&wrap(
        "More shifts narrow the first interval; the second is how much shifts differ, and stays.",
        "  ",
        "  ",
        WIDTH,
    ));
    page.push_str(&percentiles(rate));
    page
}

fn row(name: &str, value: &str, rest: &str) -> String {
    let line = format!("  {name:<20}  {value:<18} {rest}");
    format!("{}\n", line.trim_end())
}

fn future(one: &OneShift) -> String {
    let level = stated(one.level);
    // The interval from ranks needs no law; the other one is for too few shifts.
    match (&one.by_rank, &one.normal) {
        (Some(interval), _) => format!("{level} interval {}", from_to(interval.low, interval.high)),
        (None, Some(interval)) => {
            format!("{level} interval {} (if nearly normal)", from_to(interval.low, interval.high))
        }
        (None, None) => "too few shifts to say".to_owned(),
    }
}

fn seen(result: &RunResult) -> String {
    let rate = &result.rate;
    match (rate.min, rate.max) {
        (Some(low), Some(high)) if high > low => {
            let spread = rate
                .standard_deviation
                .map_or(String::new(), |sd| format!(", standard deviation {}", number(sd, Some(0.3 * sd))));
            format!("{}{spread}", from_to(low, high))
        }
        (Some(low), Some(_)) => format!("all at {}", number(low, None)),
        (_, _) => String::new(),
    }
}

fn percentiles(rate: &RateReport) -> String {
    let shown: Vec<String> = rate
        .percentiles
        .iter()
        .map(|one| {
            let half =
                one.low.zip(one.high).map(|(low, high)| 0.5 * (high - low)).or(rate.mean_rate.half_width());
            format!("{} in {} of shifts", number(one.point, half), stated(one.share))
        })
        .collect();
    if shown.is_empty() || rate.max <= rate.min {
        return String::new();
    }
    wrap(&format!("Not more than: {}.", shown.join("; ")), "  ", "    ", WIDTH)
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
            &format!("{} ppm or more: {share} ({counts}){interval}", plain(one.rate)),
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
            &format!("{} of shifts reach {} ppm{least}", stated(one.chance), number(point, half)),
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
