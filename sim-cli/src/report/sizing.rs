//! Sizing as a page: the value, how sure, and what was asked.

use super::heading;
use super::verdict::in_a_word;
use crate::ink::Ink;
use crate::numbers::{NONE, grouped, number, scaled, stated};
use crate::screen::{WIDTH, safe, wrap};
use crate::tables::Table;
use sim_core::study::size::{FrontierRow, SizeResult, ValueReport, Wanted};

fn end(wanted: Wanted) -> (&'static str, &'static str) {
    match wanted {
        Wanted::Smallest => ("smallest", "less"),
        Wanted::Largest => ("largest", "more"),
    }
}

/// The whole page.
pub(crate) fn sizing(found: &SizeResult, address: &str, ink: Ink) -> String {
    let mut page = wrap(&safe(&answer(found, address)), "", "", WIDTH);
    let how = format!(
        "{} of {} values were asked, {} shifts in all, at most {} each; seed {} and on. The chance that any verdict below is \
         wrong is at most {} (each: {}).{}",
        found.asked.len(),
        grouped(found.values),
        grouped(found.shifts),
        grouped(found.budget),
        found.seed,
        stated(found.error),
        stated(found.error_each),
        if found.interrupted { " It was interrupted: values in between were not asked." } else { "" }
    );
    page.push_str(&wrap(&how, "", "", WIDTH));
    page.push('\n');
    page.push_str(&heading("VALUES ASKED", ink));
    let mut table =
        Table::new(&[address, "verdict", "shifts", "parts|a minute", "+-", "shifts that|made it, %"])
            .texts(2);
    for report in &found.asked {
        let half = report.rate.half_width().filter(|half| *half > 0.0);
        table.row([
            report.value.clone(),
            in_a_word(report.verdict).to_owned(),
            report.shifts.to_string(),
            scaled(&report.rate, 1.0, 3),
            half.map_or(NONE.to_owned(), |half| number(half, Some(half))),
            made(report),
        ]);
    }
    page.push_str(&table.render(ink));
    let more = if found.wanted == Wanted::Smallest { "more" } else { "less" };
    page.push_str(&wrap(
        &format!("Each value has luck of its own. +-: 95 % interval of the value alone. That {more} never hurts is assumed."),
        "  ",
        "  ",
        WIDTH,
    ));
    if found.evidence_left_out {
        let note =
            "Inputs that are known from evidence are taken as known: `run` says what is not known of them.";
        page.push_str(&wrap(note, "  ", "  ", WIDTH));
    }
    if !found.against_order.is_empty() {
        page.push('\n');
        page.push_str(&heading("AGAINST THE ORDER THAT IS ASSUMED", ink));
        page.extend(found.against_order.iter().map(|line| wrap(&safe(line), "  ", "  ", WIDTH)));
    }
    page
}

/// Share of shifts that made the rate, of the first clause that counts them.
fn made(report: &ValueReport) -> String {
    let chances = report.clauses.iter().find(|clause| clause.demanded_chance.is_some());
    chances
        .and_then(|clause| clause.estimate)
        .map_or(NONE.to_owned(), |share| format!("{:.1}", 100.0 * share))
}

fn answer(found: &SizeResult, address: &str) -> String {
    let (word, beyond) = end(found.wanted);
    let contradicts = !found.against_order.is_empty();
    let caution = if contradicts { " But the order that is assumed does not hold: see below." } else { "" };
    let between = match found.open {
        0 => String::new(),
        1 => " One value in between stays open.".to_owned(),
        n => format!(" {} values in between stay open: more shifts (--at-most) narrow that.", grouped(n)),
    };
    let text = match (&found.proved, &found.disproved) {
        (Some(proved), Some(disproved)) if found.open == 0 => {
            format!(
                "{address} = {proved} is the {word} that is enough: proved with it, disproved with {disproved}."
            )
        }
        (Some(proved), Some(disproved)) => format!(
            "{address} = {proved} is enough: proved with it, and disproved with {disproved}.{between}"
        ),
        (Some(proved), None) if found.open == 0 => {
            format!("{address} = {proved}, the {word} of the range, is enough already: proved with it.")
        }
        (Some(proved), None) => format!("{address} = {proved} is enough; nothing is disproved.{between}"),
        (None, Some(disproved)) if found.open == 0 => {
            format!(
                "No value of the range is enough: disproved with {disproved}, and so with whatever is {beyond}."
            )
        }
        (None, Some(disproved)) => {
            format!("Nothing is proved; {address} = {disproved} is not enough.{between}")
        }
        (None, None) => format!("Nothing is proved or disproved.{between}"),
    };
    text + caution
}

/// The frontier of two settings.
pub(crate) fn frontier(rows: &[FrontierRow], names: (&str, &str), error: f64, ink: Ink) -> String {
    let Some(first) = rows.first() else { return "Nothing was asked.\n".to_owned() };
    let (word, _) = end(first.found.wanted);
    let shifts: u64 = rows.iter().map(|row| row.found.shifts).sum();
    let head = format!(
        "The {word} {} that is enough, for each {}. {} shifts in all. The chance that any verdict is wrong is at most {}.",
        names.1,
        names.0,
        grouped(shifts),
        stated(error)
    );
    let mut page = wrap(&safe(&head), "", "", WIDTH);
    page.push('\n');
    page.push_str(&heading("FRONTIER", ink));
    let mut table = Table::new(&[names.0, "proved with", "disproved with", "open between", "asked"]);
    for row in rows {
        let known = |value: &Option<String>| value.clone().unwrap_or(NONE.to_owned());
        table.row([
            row.value.clone(),
            known(&row.found.proved),
            known(&row.found.disproved),
            grouped(row.found.open),
            row.found.asked.len().to_string(),
        ]);
    }
    page.push_str(&table.render(ink));
    let against: Vec<String> = rows
        .iter()
        .flat_map(|row| {
            row.found.against_order.iter().map(|line| format!("{} = {}: {line}", names.0, row.value))
        })
        .collect();
    if !against.is_empty() {
        page.push('\n');
        page.push_str(&heading("AGAINST THE ORDER THAT IS ASSUMED", ink));
        page.extend(against.iter().map(|line| wrap(&safe(line), "  ", "  ", WIDTH)));
    }
    page
}
