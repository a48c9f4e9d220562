//! Where the rate is lost: from the free rate of the point of use down to its good parts.

use super::heading;
use crate::ink::Ink;
use crate::numbers::{NONE, scaled, unsigned};
use crate::screen::{WIDTH, wrap};
use crate::tables::Table;
use sim_core::study::RunResult;
use sim_core::study::result::{Figure, LossKind, LossReport, LossStep};

/// Steps below this share of the free rate are shown in one line.
const SMALL: f64 = 0.000_5;
/// Causes of starvation shown one by one.
const CAUSES_MAX: usize = 8;

/// The time account of each point of use.
pub(super) fn waterfall(result: &RunResult, ink: Ink) -> String {
    let mut page = String::new();
    for loss in result.losses.iter().filter(|loss| !loss.steps.is_empty()) {
        if !page.is_empty() {
            page.push('\n');
        }
        page.push_str(&heading(&format!("WHERE THE RATE OF {} IS LOST", loss.station), ink));
        page.push_str(&account(loss).render(ink));
    }
    if !page.is_empty() {
        let n = result.losses.iter().map(|loss| loss.replications).max().unwrap_or(0);
        let of = if n < result.replications { format!("Of the first {n} shifts. ") } else { String::new() };
        let text = format!(
            "{of}The steps add up. Starved time goes to what left the gap: a stop until a part has closed it, otherwise the \
             station that was at its natural limit."
        );
        page.push_str(&wrap(&text, "  ", "  ", WIDTH));
    }
    page
}

fn account(loss: &LossReport) -> Table {
    let mut table = Table::new(&["step", "% of time", "+-", "parts/min"]);
    let rate = |value: Option<f64>| value.map_or(NONE.to_owned(), |value| unsigned(format!("{value:.3}")));
    if loss.free_per_minute.is_some() {
        let what = "never waiting, at the nominal cycle";
        table.row([what.to_owned(), NONE.to_owned(), NONE.to_owned(), rate(loss.free_per_minute)]);
    }
    let mut small = Small::default();
    for (n, step) in loss.steps.iter().enumerate() {
        let is_cause = step.kind == LossKind::Starved;
        if is_cause && (n > CAUSES_MAX || step.share.as_ref().and_then(|share| share.mean) < Some(SMALL)) {
            small.add(step);
            continue;
        }
        if !is_cause {
            small.flush(&mut table);
        }
        let share = |of: &dyn Fn(&Figure) -> String| step.share.as_ref().map_or(NONE.to_owned(), of);
        table.row([
            if is_cause { format!("starved: {}", step.what) } else { step.what.clone() },
            share(&|share| scaled(share, 100.0, 2)),
            share(&|share| share.half_width().map_or(NONE.to_owned(), |half| format!("{:.2}", 100.0 * half))),
            rate(step.per_minute.map(|lost| -lost)),
        ]);
    }
    small.flush(&mut table);
    let good = loss.good_per_minute.mean;
    table.row(["good parts".to_owned(), NONE.to_owned(), NONE.to_owned(), rate(good)]);
    table
}

/// Small causes, added up.
#[derive(Default)]
struct Small {
    n: usize,
    /// The first of them.
    what: String,
    share: f64,
    per_minute: Option<f64>,
}

impl Small {
    fn add(&mut self, step: &LossStep) {
        self.n += 1;
        if self.n == 1 {
            self.what.clone_from(&step.what);
        }
        self.share += step.share.as_ref().and_then(|share| share.mean).unwrap_or(0.0);
        if let Some(lost) = step.per_minute {
            *self.per_minute.get_or_insert(0.0) += lost;
        }
    }

    fn flush(&mut self, table: &mut Table) {
        let small = std::mem::take(self);
        if small.n > 0 {
            let rate = small.per_minute.map_or(NONE.to_owned(), |lost| unsigned(format!("{:.3}", -lost)));
            let share = format!("{:.2}", 100.0 * small.share);
            let what = if small.n == 1 { small.what } else { format!("{} more causes", small.n) };
            table.row([format!("starved: {what}"), share, NONE.to_owned(), rate]);
        }
    }
}

/// What becomes of the parts where they part ways.
pub(super) fn flows(result: &RunResult, ink: Ink) -> String {
    let mut table = Table::new(&[
        "of the parts taken, /min",
        "taken",
        "off for|attitude",
        "off for|a defect",
        "over-|flow",
        "go on",
    ]);
    for flow in &result.flows {
        let per_minute = |figure: &Figure| scaled(figure, 1.0 / 60.0, 2);
        table.row([
            flow.station.clone(),
            per_minute(&flow.offered_per_hour),
            per_minute(&flow.by_attitude_per_hour),
            per_minute(&flow.by_defect_per_hour),
            per_minute(&flow.overflow_per_hour),
            per_minute(&flow.accepted_per_hour),
        ]);
    }
    if table.is_empty() { String::new() } else { table.render(ink) }
}
