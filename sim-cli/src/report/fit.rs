//! What was fitted, as a page.

use super::heading;
use crate::ink::Ink;
use crate::numbers::{number, percent, stated};
use crate::screen::{WIDTH, safe, wrap};
use crate::tables::Table;
use sim_core::fit::result::{LawFit, ParameterFit};
use sim_core::fit::{CountsFit, TimesFit, paste::on_one_line};

/// The page of a log of times.
pub(crate) fn times(found: &TimesFit, file: &str, column: &str, ink: Ink) -> String {
    let mut page = head(found, file, column);
    for warning in &found.warnings {
        page.push_str(&wrap(&safe(warning), &format!("  {} ", ink.warn("note:")), "    ", WIDTH));
    }
    if !found.laws.is_empty() {
        page.push('\n');
        page.push_str(&parameters(found, ink));
        page.push('\n');
        page.push_str(&laws(found, ink));
    }
    for left in &found.not_fitted {
        page.push_str(&wrap(&format!("{}: not fitted, {}.", left.law.word(), left.why), "  ", "    ", WIDTH));
    }
    if let Some(proposed) = &found.proposed {
        page.push('\n');
        page.push_str(&heading("TO PASTE into a scenario, where a time stands", ink));
        page.push_str(&wrap(&format!("{proposed}: {}.", found.reason), "  ", "  ", WIDTH));
        if let Some(text) = paste(found, proposed) {
            page.push_str(&format!("\n{text}\n"));
        }
        let others: Vec<&str> = found
            .laws
            .iter()
            .map(|fit| fit.law.word())
            .chain(["observed"])
            .filter(|law| law != proposed)
            .collect();
        page.push_str(&wrap(
            &format!("--paste LAW prints another one: {}.", others.join(", ")),
            "\n  ",
            "  ",
            WIDTH,
        ));
    }
    page
}

/// The text of a law for a scenario.
pub(crate) fn paste(found: &TimesFit, law: &str) -> Option<String> {
    if law == "observed" {
        return found.empirical.as_ref().map(on_one_line);
    }
    found.laws.iter().find(|fit| fit.law.word() == law).map(|fit| on_one_line(&fit.paste))
}

fn head(found: &TimesFit, file: &str, column: &str) -> String {
    let range = match found.range {
        Some((low, high)) if low < high => {
            format!(", from {} to {} {}", number(low, None), number(high, None), found.unit)
        }
        Some(_) | None => String::new(),
    };
    let cut_off = match found.n_cut_off {
        0 => String::new(),
        n => format!("; {n} of them were cut off before they ended"),
    };
    let mut text = format!(
        "{} times in column `{}` of {}{range}{cut_off}. Together {} {}.",
        found.n,
        column,
        file,
        number(found.total, None),
        found.unit
    );
    if let Some(order) = found.order {
        text.push_str(&format!(
            " In the order of the rows: trend {:+.2} (chance {}), correlation of neighbours {:+.2} (chance {}).",
            order.trend,
            chance(order.trend_chance),
            order.lag_1,
            chance(order.lag_1_chance)
        ));
    }
    wrap(&safe(&text), "", "", WIDTH)
}

/// A chance in percent with one decimal.
fn chance(chance: f64) -> String {
    if chance < 0.001 { "< 0.1 %".to_owned() } else { format!("{:.1} %", 100.0 * chance) }
}

fn parameters(found: &TimesFit, ink: Ink) -> String {
    let mut page = heading(&format!("LAWS by maximum likelihood, intervals at {}", stated(found.level)), ink);
    let mut table = Table::new(&["law", "parameter", "value", "error", "from", "to"]).texts(2);
    for fit in &found.laws {
        for (n, parameter) in fit.parameters.iter().enumerate() {
            let name = if n == 0 { fit.law.word() } else { "" };
            table.row(std::iter::once(name.to_owned()).chain(cells(parameter)));
        }
    }
    page.push_str(&table.render(ink));
    page
}

fn cells(parameter: &ParameterFit) -> [String; 5] {
    let unit = if parameter.unit.is_empty() { String::new() } else { format!(", {}", parameter.unit) };
    let shown = |value: f64| number(value, Some(parameter.standard_error));
    [
        format!("{}{unit}", parameter.name),
        shown(parameter.value),
        shown(parameter.standard_error),
        shown(parameter.low),
        shown(parameter.high),
    ]
}

fn laws(found: &TimesFit, ink: Ink) -> String {
    let mut page = heading("HOW WELL THEY DO", ink);
    let mut table =
        Table::new(&["law", "mean", "spread", "AICc|above best", "BIC|above best", "distance", "chance"]);
    let least =
        |of: &dyn Fn(&LawFit) -> Option<f64>| found.laws.iter().filter_map(of).fold(f64::INFINITY, f64::min);
    let (least_aicc, least_bic) = (least(&|fit| fit.aicc), least(&|fit| Some(fit.bic)));
    for fit in &found.laws {
        table.row([
            fit.law.word().to_owned(),
            number(fit.mean, None),
            number(fit.spread, None),
            fit.aicc.map_or("-".to_owned(), |value| format!("{:.2}", value - least_aicc)),
            format!("{:.2}", fit.bic - least_bic),
            format!("{:.4}", fit.goodness.value),
            fit.goodness.chance.map_or("-".to_owned(), chance),
        ]);
    }
    page.push_str(&table.render(ink));
    page.push_str(&wrap(&legend(&found.laws), "  ", "  ", WIDTH));
    page
}

fn legend(laws: &[LawFit]) -> String {
    let Some(first) = laws.first() else { return String::new() };
    let name = &first.goodness.statistic;
    match first.goodness.samples {
        0 => format!("Distance: {name}; without bootstrap samples its chance is not known."),
        n => format!(
            "Distance: {name}. Chance: of one as large if the law were right, from {n} samples drawn from it and \
             fitted anew. AICc and BIC: a difference below 2 says little."
        ),
    }
}

/// The page of a drop test or of orienting trials.
pub(crate) fn counts(found: &CountsFit, file: &str, ink: Ink) -> String {
    let mut page = wrap(&safe(&format!("{} trials in {file}.", found.n)), "", "", WIDTH);
    for warning in &found.warnings {
        page.push_str(&wrap(&safe(warning), &format!("  {} ", ink.warn("note:")), "    ", WIDTH));
    }
    page.push('\n');
    page.push_str(&heading(&format!("CHANCES, all intervals together at {}", stated(found.level)), ink));
    let is_tool = found.rows.iter().any(|row| row.from.is_some());
    let titles: &[&str] = if is_tool {
        &["in", "out", "seen", "of", "share", "from", "to"]
    } else {
        &["attitude", "seen", "of", "share", "from", "to"]
    };
    let mut table = Table::new(titles).texts(if is_tool { 2 } else { 1 });
    for row in &found.rows {
        let into = row.into.clone().unwrap_or("(rejected)".to_owned());
        let numbers = [
            row.seen.to_string(),
            row.of.to_string(),
            percent(row.share, None),
            format!("{:.2} %", 100.0 * row.low),
            format!("{:.2} %", 100.0 * row.high),
        ];
        table.row(row.from.clone().into_iter().chain([into]).chain(numbers));
    }
    page.push_str(&table.render(ink));
    page.push_str(&wrap(
        "Exact limits (Clopper and Pearson), each at the level that lets all of them hold together (Bonferroni).",
        "  ",
        "  ",
        WIDTH,
    ));
    page.push('\n');
    let place = if is_tool { "among the `tools` of an orienting path" } else { "into a part of `parts`" };
    page.push_str(&heading(&format!("TO PASTE {place}"), ink));
    page.push_str(&format!("{}\n", safe(&on_one_line(&found.paste))));
    page
}
