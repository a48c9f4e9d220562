//! What a sweep found, on a screen: the best points, and what each factor does.
//!
//! It reads the final files, so that a sweep that is finished, resumed or merged shows the same. It keeps sums by level,
//! not points. Invariant: no mean without its error.

use super::folder::{FILES, Finished};
use super::points::{Output, Point, Spread, Sum, each_point, setting};
use crate::ending::Failure;
use crate::ink::Ink;
use crate::numbers;
use crate::screen::{WIDTH, clip, safe, wrap};
use crate::tables::Table;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;

/// Points shown.
const BEST: usize = 5;
/// Factors shown.
const FACTORS: usize = 8;

/// The page of a finished sweep.
///
/// # Errors
/// If its files cannot be read.
pub(crate) fn summary(folder: &Path, finished: &Finished, ink: Ink) -> Result<String, Failure> {
    let columns = finished.identity.columns();
    let mut spreads: Vec<Spread> = columns.iter().map(|_| Spread::default()).collect();
    let mut best: Vec<(Point, Output)> = Vec::new();
    each_point(folder, columns.len(), &mut |point| {
        let Some(output) = point.outputs.first().cloned() else { return };
        spreads.iter_mut().zip(&point.cells).for_each(|(spread, cell)| spread.see(cell));
        let place = best.partition_point(|(_, other)| other.mean >= output.mean);
        if place < BEST {
            best.insert(place, (point, output));
            best.truncate(BEST);
        }
    })?;
    let shown = best.first().map_or("", |(_, output)| output.name.as_str()).to_owned();
    let mut sums: Vec<BTreeMap<usize, Sum>> = columns.iter().map(|_| BTreeMap::new()).collect();
    each_point(folder, columns.len(), &mut |point| {
        let Some(output) = point.outputs.first() else { return };
        for ((spread, sums), cell) in spreads.iter().zip(&mut sums).zip(&point.cells) {
            sums.entry(spread.place(cell)).or_default().add(output.mean, output.half);
        }
    })?;
    let mut page = head(finished, ink);
    if best.is_empty() {
        page.push_str("  No point has a result.\n");
        return Ok(page);
    }
    page.push_str(&best_points(&best, &columns, &shown, ink));
    page.push_str(&effects(&columns, &spreads, &sums, &shown, ink));
    page.push_str(&wrap(
        "Best of many by their means: a second sweep of the best ones with another seed says how good they are. A level \
         stands for all points that have it; its +- is at most so much, as all points are run on the same luck.",
        "  ",
        "  ",
        WIDTH,
    ));
    page.push_str(&safe(&format!(
        "\n  All points: {0}/{1}, {0}/{2}\n",
        folder.display(),
        FILES[0],
        FILES[1]
    )));
    Ok(page)
}

fn head(finished: &Finished, ink: Ink) -> String {
    let title = finished.identity.text("title").unwrap_or("A sweep without a title");
    let count = |state: &str| finished.written["states"][state].as_u64().unwrap_or(0);
    let value = |key: &str| finished.written.get(key).filter(|value| !value.is_null()).map(Value::to_string);
    let part = match finished.identity.text("part") {
        Some(part) => {
            format!("part {part} of a sweep of {} points: ", numbers::grouped(finished.identity.n_points()))
        }
        None => String::new(),
    };
    let all: u64 = ["done", "imprecise", "unsound", "failed"].iter().map(|state| count(state)).sum();
    let mut line = format!("{part}{} points", numbers::grouped(all));
    for (state, words) in [
        ("imprecise", "without the precision wanted"),
        ("unsound", "with errors in their scenario"),
        ("failed", "that came to nothing"),
    ] {
        if count(state) > 0 {
            line.push_str(&format!(", {} {words}", numbers::grouped(count(state))));
        }
    }
    let often = match (value("replications"), value("precision"), value("at_most")) {
        (Some(n), ..) => format!("{n} shifts each"),
        (None, Some(share), Some(most)) => {
            let share = share.parse().map_or(share.clone(), numbers::stated);
            format!("shifts until the mean rate is known to {share}, {most} at most")
        }
        (None, _, _) => String::new(),
    };
    let seed = value("seed").unwrap_or_default();
    let line = wrap(&safe(&format!("{line}; {often}; seed {seed}.")), "", "", WIDTH);
    format!("{}\n{line}\n", ink.bold(&safe(&clip(title, WIDTH))))
}

fn best_points(best: &[(Point, Output)], columns: &[String], shown: &str, ink: Ink) -> String {
    let mut page = format!("{}\n", ink.bold(&safe(&format!("BEST POINTS, by {shown}"))));
    let mut table = Table::new(&["point", shown, "+-", "settings"]).texts(1);
    let mut notes = String::new();
    for (point, output) in best {
        let settings: Vec<String> =
            columns.iter().zip(&point.cells).map(|(head, cell)| setting(head, cell)).collect();
        let (mean, half) = shown_numbers(output.mean, output.half);
        table.row([point.number.clone(), mean, half]);
        notes.push_str(&wrap(
            &safe(&settings.join(", ")),
            &format!("  {:>5}: ", point.number),
            "         ",
            WIDTH,
        ));
    }
    page.push_str(&table.render(ink).replace("  settings", ""));
    page.push_str(&notes);
    page.push('\n');
    page
}

fn shown_numbers(mean: f64, half: f64) -> (String, String) {
    let error = half.is_finite().then_some(half);
    (
        numbers::number(mean, error),
        error.map_or(numbers::NONE.to_owned(), |half| numbers::number(half, error)),
    )
}

fn effects(
    columns: &[String],
    spreads: &[Spread],
    sums: &[BTreeMap<usize, Sum>],
    shown: &str,
    ink: Ink,
) -> String {
    let span = |sums: &BTreeMap<usize, Sum>| {
        let means = || sums.values().map(|sum| sum.mean);
        means().fold(f64::NEG_INFINITY, f64::max) - means().fold(f64::INFINITY, f64::min)
    };
    let mut order: Vec<usize> = (0..columns.len()).filter(|ix| sums[*ix].len() > 1).collect();
    order.sort_by(|a, b| span(&sums[*b]).total_cmp(&span(&sums[*a])));
    if order.is_empty() {
        return String::new();
    }
    let mut page =
        format!("{}\n", ink.bold(&safe(&format!("WHAT EACH FACTOR DOES, mean {shown} over the points"))));
    let mut table = Table::new(&["factor", "level", "points", shown, "+-"]).texts(2);
    for ix in order.iter().take(FACTORS) {
        for (n, (place, sum)) in sums[*ix].iter().enumerate() {
            let (mean, half) = shown_numbers(sum.mean, sum.half);
            let name = if n == 0 { clip(&columns[*ix], 30) } else { String::new() };
            table.row([name, clip(&spreads[*ix].level(*place), 24), numbers::grouped(sum.n), mean, half]);
        }
    }
    page.push_str(&table.render(ink));
    if order.len() > FACTORS {
        page.push_str(&format!("  {} factors with less effect are left out.\n", order.len() - FACTORS));
    }
    page.push('\n');
    page
}
