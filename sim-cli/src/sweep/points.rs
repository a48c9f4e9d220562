//! The points of a finished sweep, read back from its files, and the levels under which they are summed up.
//!
//! A sweep that is finished, resumed or merged reads the same. Points are handed out one by one: who needs them all keeps
//! them. Invariant: no mean without its error.

use super::folder::FILES;
use crate::ending::Failure;
use crate::numbers;
use std::collections::BTreeSet;
use std::fs::File;
use std::path::Path;

/// Levels of a factor that are told apart one by one; ranges with more are told in quarters.
pub(crate) const LEVELS: usize = 9;
const QUARTERS: usize = 4;

/// An output of a point, as far as it has one.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Output {
    /// Name and unit: `rate [parts/min]`.
    pub(crate) name: String,
    pub(crate) mean: f64,
    /// Half of its interval; NaN if it has none.
    pub(crate) half: f64,
}

/// A point of a finished sweep.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Point {
    /// Its number, from 1.
    pub(crate) number: String,
    /// What stands for its factors.
    pub(crate) cells: Vec<String>,
    /// How it came out: `done`, `unsound`, ...
    pub(crate) state: String,
    /// Why, if it did not come out.
    pub(crate) reason: String,
    /// Its outputs that exist.
    pub(crate) outputs: Vec<Output>,
}

/// Hands out each point of a finished sweep, in order.
///
/// # Errors
/// If its files cannot be read.
pub(crate) fn each_point(
    folder: &Path,
    n_factors: usize,
    each: &mut dyn FnMut(Point),
) -> Result<(), Failure> {
    let open = |name: &str| {
        let path = folder.join(name);
        let file =
            File::open(&path).map_err(|why| Failure::unreadable(&format!("`{}`", path.display()), why))?;
        Ok(csv::Reader::from_reader(std::io::BufReader::new(file)))
    };
    let broken = |why: csv::Error| Failure::unreadable(&format!("the files in `{}`", folder.display()), why);
    let mut results = open(FILES[1])?.into_records().peekable();
    for row in open(FILES[0])?.into_records() {
        let row = row.map_err(broken)?;
        let mut texts = row.iter().map(str::to_owned);
        let number = texts.next().unwrap_or_default();
        let cells: Vec<String> = texts.by_ref().take(n_factors).collect();
        let state = texts.next().unwrap_or_default();
        let reason = texts.nth(1).unwrap_or_default();
        let mut outputs = Vec::new();
        while let Some(Ok(next)) = results.peek()
            && next.get(0) == Some(number.as_str())
        {
            outputs.extend(results.next().and_then(Result::ok).as_ref().and_then(output));
        }
        if let Some(Err(why)) = results.next_if(Result::is_err) {
            return Err(broken(why));
        }
        each(Point { number, cells, state, reason, outputs });
    }
    Ok(())
}

/// What a row of sweep.csv says; none if there is no mean.
fn output(row: &csv::StringRecord) -> Option<Output> {
    let figure = |ix: usize| row.get(ix).and_then(|cell| cell.parse::<f64>().ok());
    let half = figure(5).zip(figure(6)).map_or(f64::NAN, |(low, high)| 0.5 * (high - low));
    let name = match (row.get(1)?, row.get(2)?) {
        (name, "") => name.to_owned(),
        (name, unit) => format!("{name} [{unit}]"),
    };
    Some(Output { name, mean: figure(3)?, half })
}

/// `track = 0.6 m` from the head `track [m]` and the cell `0.6`; long numbers are cut to four digits.
pub(crate) fn setting(head: &str, cell: &str) -> String {
    let (name, unit) = split_unit(head);
    let shown = short(cell);
    if unit.is_empty() { format!("{name} = {shown}") } else { format!("{name} = {shown} {unit}") }
}

/// A cell as people read it: the many digits of a random design say nothing to them.
pub(crate) fn short(cell: &str) -> String {
    const LONG: usize = 7;
    match cell.parse::<f64>() {
        Ok(value) if cell.len() > LONG && value != 0.0 => {
            let decimals = (3.0 - value.abs().log10().floor()).clamp(0.0, 12.0) as usize;
            format!("{value:.decimals$}")
        }
        Ok(_) | Err(_) => cell.to_owned(),
    }
}

/// Name and unit of a head such as `track [m]`.
pub(crate) fn split_unit(head: &str) -> (&str, &str) {
    head.strip_suffix(']').and_then(|head| head.rsplit_once(" [")).unwrap_or((head, ""))
}

/// Mean over points, and the mean of their half-widths: as all points have the same luck their errors add up, at most.
#[derive(Debug, Default, Clone, PartialEq)]
pub(crate) struct Sum {
    pub(crate) n: u64,
    pub(crate) mean: f64,
    pub(crate) half: f64,
    /// Squares of the distances from the mean.
    squares: f64,
}

impl Sum {
    /// Adds a point.
    pub(crate) fn add(&mut self, mean: f64, half: f64) {
        self.n += 1;
        let off = mean - self.mean;
        self.mean += off / self.n as f64;
        self.half += (half - self.half) / self.n as f64;
        self.squares += off * (mean - self.mean);
    }

    /// Standard deviation between the points; none for a single one.
    pub(crate) fn spread(&self) -> Option<f64> {
        (self.n > 1).then(|| (self.squares / (self.n - 1) as f64).sqrt())
    }
}

/// The levels that a factor has among the points.
#[derive(Debug, Default, Clone, PartialEq)]
pub(crate) struct Spread {
    levels: BTreeSet<String>,
    order: Vec<String>,
    low: Option<f64>,
    high: Option<f64>,
    is_text: bool,
}

impl Spread {
    /// Takes notice of what stands for the factor at a point.
    pub(crate) fn see(&mut self, cell: &str) {
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

    /// Whether it has too many numbers to be told apart.
    pub(crate) fn in_quarters(&self) -> bool {
        !self.is_text && self.levels.len() > LEVELS
    }

    /// Whether all its levels are numbers.
    pub(crate) fn is_number(&self) -> bool {
        !self.is_text
    }

    /// Lowest and highest number.
    pub(crate) fn range(&self) -> Option<(f64, f64)> {
        self.low.zip(self.high).filter(|_| !self.is_text)
    }

    /// Where the level of a cell stands among those that are told apart.
    pub(crate) fn place(&self, cell: &str) -> usize {
        match (self.in_quarters(), self.low, self.high) {
            (true, Some(low), Some(high)) => {
                let share = (cell.parse().unwrap_or(low) - low) / (high - low);
                ((share * QUARTERS as f64) as usize).min(QUARTERS - 1)
            }
            _ => self.order.iter().position(|level| level == cell).unwrap_or(self.order.len()),
        }
    }

    /// Number of places.
    pub(crate) fn n_places(&self) -> usize {
        if self.in_quarters() { QUARTERS } else { self.order.len() }
    }

    /// The level of a place in words.
    pub(crate) fn level(&self, place: usize) -> String {
        match (self.in_quarters(), self.low, self.high) {
            (true, Some(low), Some(high)) => {
                let quarter = (high - low) / QUARTERS as f64;
                let end = |n: usize| numbers::number(low + quarter * n as f64, Some(0.3 * quarter));
                format!("{} to {}", end(place), end(place + 1))
            }
            _ => self.order.get(place).cloned().unwrap_or("others".to_owned()),
        }
    }

    /// The number that stands for a place: the level itself, or the middle of a quarter.
    pub(crate) fn middle(&self, place: usize) -> Option<f64> {
        let (low, high) = self.range()?;
        match self.in_quarters() {
            true => Some(low + (high - low) * (place as f64 + 0.5) / QUARTERS as f64),
            false => self.order.get(place)?.parse().ok(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_are_told_one_by_one_or_in_quarters() {
        let mut few = Spread::default();
        ["10", "9", "10", "2"].iter().for_each(|cell| few.see(cell));
        assert_eq!((few.n_places(), few.level(0), few.middle(2)), (3, "2".to_owned(), Some(10.0)));
        assert_eq!(few.place("9"), 1);
        let mut many = Spread::default();
        (0..=20).for_each(|n| many.see(&(n * 2).to_string()));
        assert_eq!((many.n_places(), many.level(3), many.middle(0)), (4, "30 to 40".to_owned(), Some(5.0)));
        assert_eq!([many.place("0"), many.place("9.9"), many.place("10"), many.place("40")], [0, 0, 1, 3]);
        let mut words = Spread::default();
        ["always soon", "as it is", "3"].iter().for_each(|cell| words.see(cell));
        assert_eq!((words.is_number(), words.range(), words.middle(2)), (false, None, None));
        assert_eq!(words.level(0), "always soon");
    }

    #[test]
    fn sums_know_how_far_points_lie_apart() {
        let mut sum = Sum::default();
        assert_eq!(sum.spread(), None);
        [(2.0, 0.1), (4.0, 0.3), (9.0, 0.2)].iter().for_each(|(mean, half)| sum.add(*mean, *half));
        assert!((sum.mean - 5.0).abs() < 1e-12 && (sum.half - 0.2).abs() < 1e-12);
        assert!((sum.spread().expect("three points") - 13f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn heads_have_units() {
        assert_eq!(setting("track [m]", "0.6"), "track = 0.6 m");
        assert_eq!(setting("paths", "2"), "paths = 2");
        assert_eq!(split_unit("a [b] c"), ("a [b] c", ""));
        assert_eq!(setting("jams", "0.000288956893073"), "jams = 0.0002890");
        assert_eq!(
            [short("10.8485465501"), short("1234567890"), short("a long word")],
            ["10.85", "1234567890", "a long word"]
        );
    }
}
