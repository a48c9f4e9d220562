//! What a sweep found, on a screen: the best points, and what each factor does.
//!
//! It reads the final files, so that a sweep that is finished, resumed or merged shows the same. It keeps sums by level,
//! not points. Invariant: no mean without its error.

use super::folder::{FILES, Finished};
use crate::ending::Failure;
use crate::ink::Ink;
use crate::numbers;
use crate::screen::{WIDTH, clip, safe, wrap};
use crate::tables::Table;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::path::Path;

/// Points shown.
const BEST: usize = 5;
/// Levels of a factor that are shown one by one; ranges with more are shown in quarters.
const LEVELS: usize = 9;
/// Factors shown.
const FACTORS: usize = 8;
const QUARTERS: usize = 4;

/// A point as the page needs it.
struct Point {
    number: String,
    cells: Vec<String>,
    mean: f64,
    half: f64,
}

/// Mean over points, and the mean of their half-widths: as all points have the same luck their errors add up, at most.
#[derive(Default, Clone)]
struct Sum {
    n: u64,
    mean: f64,
    half: f64,
}

/// What is known of a factor before its sums are taken.
#[derive(Default)]
struct Spread {
    levels: BTreeSet<String>,
    order: Vec<String>,
    low: Option<f64>,
    high: Option<f64>,
    is_text: bool,
}

/// The page of a finished sweep.
///
/// # Errors
/// If its files cannot be read.
pub(crate) fn summary(folder: &Path, finished: &Finished, ink: Ink) -> Result<String, Failure> {
    let columns = finished.identity.columns();
    let mut spreads: Vec<Spread> = columns.iter().map(|_| Spread::default()).collect();
    let mut best: Vec<Point> = Vec::new();
    let mut shown = String::new();
    each_point(folder, columns.len(), &mut |output, point| {
        shown = output.to_owned();
        spreads.iter_mut().zip(&point.cells).for_each(|(spread, cell)| spread.see(cell));
        let place = best.partition_point(|other| other.mean >= point.mean);
        if place < BEST {
            best.insert(place, point);
            best.truncate(BEST);
        }
    })?;
    let mut sums: Vec<BTreeMap<usize, Sum>> = columns.iter().map(|_| BTreeMap::new()).collect();
    each_point(folder, columns.len(), &mut |_, point| {
        for ((spread, sums), cell) in spreads.iter().zip(&mut sums).zip(&point.cells) {
            let sum = sums.entry(spread.place(cell)).or_default();
            sum.n += 1;
            sum.mean += (point.mean - sum.mean) / sum.n as f64;
            sum.half += (point.half - sum.half) / sum.n as f64;
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

fn best_points(best: &[Point], columns: &[String], shown: &str, ink: Ink) -> String {
    let mut page = format!("{}\n", ink.bold(&safe(&format!("BEST POINTS, by {shown}"))));
    let mut table = Table::new(&["point", shown, "+-", "settings"]).texts(1);
    let mut notes = String::new();
    for point in best {
        let settings: Vec<String> =
            columns.iter().zip(&point.cells).map(|(head, cell)| setting(head, cell)).collect();
        let (mean, half) = shown_numbers(point.mean, point.half);
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

/// `track = 0.6 m` from the head `track [m]` and the cell `0.6`.
fn setting(head: &str, cell: &str) -> String {
    match head.strip_suffix(']').and_then(|head| head.rsplit_once(" [")) {
        Some((name, unit)) => format!("{name} = {cell} {unit}"),
        None => format!("{head} = {cell}"),
    }
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

impl Spread {
    fn see(&mut self, cell: &str) {
        match cell.parse::<f64>() {
            Ok(value) => {
                self.low = Some(self.low.map_or(value, |low| low.min(value)));
                self.high = Some(self.high.map_or(value, |high| high.max(value)));
            }
            Err(_) => self.is_text = true,
        }
        // What is beyond is not looked at one by one.
        let may_grow = self.levels.len() <= LEVELS || (self.is_text && self.levels.len() < 1000);
        if may_grow && self.levels.insert(cell.to_owned()) {
            self.order.push(cell.to_owned());
            if !self.is_text {
                let number = |cell: &String| cell.parse::<f64>().unwrap_or(f64::NAN);
                self.order.sort_by(|a, b| number(a).total_cmp(&number(b)));
            }
        }
    }

    fn in_quarters(&self) -> bool {
        !self.is_text && self.levels.len() > LEVELS
    }

    /// Where the level of a cell stands among those that are shown.
    fn place(&self, cell: &str) -> usize {
        match (self.in_quarters(), self.low, self.high) {
            (true, Some(low), Some(high)) => {
                let share = (cell.parse().unwrap_or(low) - low) / (high - low);
                ((share * QUARTERS as f64) as usize).min(QUARTERS - 1)
            }
            _ => self.order.iter().position(|level| level == cell).unwrap_or(self.order.len()),
        }
    }

    fn level(&self, place: usize) -> String {
        match (self.in_quarters(), self.low, self.high) {
            (true, Some(low), Some(high)) => {
                let end = |n: usize| numbers::number(low + (high - low) * n as f64 / QUARTERS as f64, None);
                format!("{} to {}", end(place), end(place + 1))
            }
            _ => self.order.get(place).cloned().unwrap_or("others".to_owned()),
        }
    }
}

/// Hands out each point that has a result, with the name of its first output.
fn each_point(folder: &Path, n_factors: usize, each: &mut dyn FnMut(&str, Point)) -> Result<(), Failure> {
    let open = |name: &str| {
        let path = folder.join(name);
        let file =
            File::open(&path).map_err(|why| Failure::unreadable(&format!("`{}`", path.display()), why))?;
        Ok(csv::Reader::from_reader(std::io::BufReader::new(file)))
    };
    let broken = |why: csv::Error| Failure::unreadable(&format!("the files in `{}`", folder.display()), why);
    let mut results = open(FILES[1])?.into_records().peekable();
    for point in open(FILES[0])?.into_records() {
        let point = point.map_err(broken)?;
        let number = point.get(0).unwrap_or("").to_owned();
        let mut first = None;
        loop {
            match results.peek() {
                Some(Ok(row)) if row.get(0) == Some(number.as_str()) => {}
                Some(Err(_)) | None | Some(Ok(_)) => break,
            }
            let row = results.next();
            if first.is_none() {
                first = row;
            }
        }
        let Some(row) = first.transpose().map_err(broken)? else { continue };
        let figure = |ix: usize| row.get(ix).and_then(|cell| cell.parse::<f64>().ok());
        let Some(mean) = figure(3) else { continue };
        let half = figure(5).zip(figure(6)).map_or(f64::NAN, |(low, high)| 0.5 * (high - low));
        let cells = point.iter().skip(1).take(n_factors).map(str::to_owned).collect();
        let output = match (row.get(1).unwrap_or(""), row.get(2).unwrap_or("")) {
            (name, "") => name.to_owned(),
            (name, unit) => format!("{name} [{unit}]"),
        };
        each(&output, Point { number, cells, mean, half });
    }
    Ok(())
}
