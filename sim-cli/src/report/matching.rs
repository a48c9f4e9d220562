//! A log beside its model, as a page.

use super::heading;
use crate::ink::Ink;
use crate::numbers::{number, plain};
use crate::problems::counted;
use crate::screen::{WIDTH, safe, wrap};
use crate::tables::Table;
use sim_core::matching::{Combination, Explanation, MatchResult};

/// Explanations shown.
const ROWS_MAX: usize = 8;
/// Sets of inputs shown.
const SETS_MAX: usize = 5;
/// What stands for no input.
const AS_IT_STANDS: &str = "the file as it stands";

/// The whole page.
pub(crate) fn matching(found: &MatchResult, ink: Ink) -> String {
    let mut page = format!("{}\n", safe(found.title.as_deref().unwrap_or("A line without a title")));
    let n_outside = found.outputs.iter().filter(|output| output.is_outside).count();
    page.push_str(&wrap(
        &format!(
            "A log of {} of {} min against {} of the same length; seed {}. {}",
            counted(found.n_intervals as usize, "interval"),
            plain(found.interval_s / 60.0),
            counted(found.replications as usize, "simulated shift"),
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
            "From, to: 95 % of simulated shifts{}. Jointly: all outputs looked at together (Holm); outside below {:.0} %.",
            match found.pieces {
                0 => String::new(),
                n => format!(", each with its own draw of what is left open by {} of evidence", counted(n as usize, "piece")),
            },
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
    let mut page = heading("WHICH INPUTS WOULD EXPLAIN IT", ink);
    let weight = match found.reach.filter(|reach| reach.is_beyond) {
        Some(reach) => {
            let text = format!(
                "None of what was tried comes near this log: half of the nearest shifts lie {} standard deviations or more from it, \
                 two shifts of the file as it stands hardly ever more than {} (1 in 100). The weights are worth nothing: the line \
                 of the log differs in something else, or in more.",
                number(reach.kept, None),
                number(reach.own, None)
            );
            page.push_str(&wrap(&text, "  ", "  ", WIDTH));
            "worthless weight"
        }
        None => "weight",
    };
    let mut table = Table::new(&["input", weight, "factor", "from", "to"]);
    for explanation in found.explanations.iter().take(ROWS_MAX) {
        table.row(cells(explanation));
    }
    page.push_str(&table.render(ink));
    if found.together > 1 {
        let mut table = Table::new(&["inputs together, with factors", weight]);
        for set in found.combinations.iter().take(SETS_MAX) {
            table.row([together(set), percent(set.weight)]);
        }
        page.push('\n');
        page.push_str(&table.render(ink));
    }
    let most = match found.together {
        1 => "one of them".to_owned(),
        n => format!("up to {n} of them at once"),
    };
    page.push_str(&wrap(
        &format!(
            "Weight: share among the simulated shifts nearest to the log (approximate Bayesian rejection). {} tried, \
             {most}, {} for each{}; factors from {} to {}, evenly over logarithms. Before, none, one and more of them are \
             equally likely to differ, and so is each set of one size. From, to: 90 %. Inputs that do the same to the outputs \
             share the weight: measure those, before the file is changed.{}",
            match found.n_tried {
                1 => "1 input was".to_owned(),
                n => format!("{n} inputs were"),
            },
            counted(found.draws as usize, "shift"),
            if found.together > 1 { " and as many for sets of each size" } else { "" },
            number(1.0 / found.widest, None),
            plain(found.widest),
            if found.together > 1 {
                " A set counts for each of its members, so that the weights of inputs may add up to more than 100 %."
            } else {
                ""
            },
        ),
        "  ",
        "  ",
        WIDTH,
    ));
    page
}

fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

fn together(set: &Combination) -> String {
    if set.paths.is_empty() {
        return AS_IT_STANDS.to_owned();
    }
    let one = |(path, factor): (&String, &f64)| format!("{path} x {factor:.2}");
    set.paths.iter().zip(&set.factors).map(one).collect::<Vec<String>>().join(" and ")
}

fn cells(explanation: &Explanation) -> [String; 5] {
    let shown = |value: Option<f64>| value.map_or("-".to_owned(), |value| format!("{value:.2}"));
    [
        explanation.path.clone().unwrap_or(AS_IT_STANDS.to_owned()),
        percent(explanation.weight),
        shown(explanation.factor),
        shown(explanation.low),
        shown(explanation.high),
    ]
}
