//! A log beside its model, as a page.

use super::heading;
use crate::ink::Ink;
use crate::numbers::{number, plain};
use crate::screen::{WIDTH, safe, wrap};
use crate::tables::Table;
use sim_core::matching::{Explanation, MatchResult};

/// Explanations shown.
const ROWS_MAX: usize = 8;

/// The whole page.
pub(crate) fn matching(found: &MatchResult, ink: Ink) -> String {
    let mut page = format!("{}\n", safe(found.title.as_deref().unwrap_or("A line without a title")));
    let n_outside = found.outputs.iter().filter(|output| output.is_outside).count();
    page.push_str(&wrap(
        &format!(
            "A log of {} intervals of {} min against {} simulated shifts of the same length; seed {}. {}",
            found.n_intervals,
            plain(found.interval_s / 60.0),
            found.replications,
            found.seed,
            match n_outside {
                0 => "Nothing lies outside of what the model says.".to_owned(),
                1 => "One output lies outside of what the model says.".to_owned(),
                n => format!("{n} outputs lie outside of what the model says."),
            }
        ),
        "",
        "",
        WIDTH,
    ));
    page.push('\n');
    page.push_str(&heading("OUTPUTS of the log and of the model", ink));
    let mut table = Table::new(&["output", "log", "model", "from", "to", "chance", "jointly", ""]);
    for output in &found.outputs {
        let chance = |chance: f64| format!("{:.1} %", 100.0 * chance);
        table.row([
            output.output.words().to_owned(),
            number(output.log, None),
            number(output.mean, None),
            number(output.low, None),
            number(output.high, None),
            chance(output.chance),
            chance(output.joint_chance),
            if output.is_outside { "outside".to_owned() } else { String::new() },
        ]);
    }
    page.push_str(&table.render(ink));
    page.push_str(&wrap(
        &format!(
            "From, to: 95 % of simulated shifts. Jointly: all outputs looked at together (Holm); outside below {:.0} %.",
            100.0 * found.error
        ),
        "  ",
        "  ",
        WIDTH,
    ));
    if !found.explanations.is_empty() {
        page.push('\n');
        page.push_str(&explanations(found, ink));
    }
    page
}

fn explanations(found: &MatchResult, ink: Ink) -> String {
    let mut page = heading("WHICH INPUT WOULD EXPLAIN IT, if one only differs from the file", ink);
    let mut table = Table::new(&["input", "weight", "factor", "from", "to"]);
    for explanation in found.explanations.iter().take(ROWS_MAX) {
        table.row(cells(explanation));
    }
    page.push_str(&table.render(ink));
    page.push_str(&wrap(
        &format!(
            "Weight: share among the simulated shifts nearest to the log (approximate Bayesian rejection), of {} inputs and \
             the file as it stands with equal weights before; factors from {} to {} were tried, {} shifts each. From, to: 90 %. \
             Inputs that do the same to the outputs share the weight: measure those, before the file is changed.",
            found.n_tried,
            number(1.0 / found.widest, None),
            plain(found.widest),
            found.draws
        ),
        "  ",
        "  ",
        WIDTH,
    ));
    page
}

fn cells(explanation: &Explanation) -> [String; 5] {
    let shown = |value: Option<f64>| value.map_or("-".to_owned(), |value| format!("{value:.2}"));
    [
        explanation.path.clone().unwrap_or("the file as it stands".to_owned()),
        format!("{:.1} %", 100.0 * explanation.weight),
        shown(explanation.factor),
        shown(explanation.low),
        shown(explanation.high),
    ]
}
