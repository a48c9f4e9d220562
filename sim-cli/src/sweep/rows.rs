//! The rows of the files of a sweep.
//!
//! A number is written with as many digits as bring it back exactly; a number that does not exist is empty.

use super::job::Job;
use super::journal::Entry;
use crate::ending::{Ending, Failure};
use sim_core::study::result::Figure;
use sim_core::sweep::PointResult;

/// The first rows of points.csv and sweep.csv.
///
/// # Errors
/// If they cannot be written: a fault of the program.
pub(super) fn heads(columns: &[String]) -> Result<[String; 2], Failure> {
    let middle = columns.iter().map(String::as_str);
    let points = std::iter::once("point").chain(middle).chain(["state", "replications", "reason"]);
    let sweep = ["point", "output", "unit", "mean", "standard_error", "low", "high", "n"];
    Ok([csv_text(|csv| csv.write_record(points))?, csv_text(|csv| csv.write_record(sweep))?])
}

/// A finished point as it is kept. Points are counted from 1 in files.
///
/// # Errors
/// As [`heads`].
pub(crate) fn entry_of(job: &Job, result: &PointResult) -> Result<Entry, Failure> {
    let number = (result.point + 1).to_string();
    let levels = job.points.levels(result.point);
    let cells = job.points.factors().iter().zip(&levels).map(|(factor, level)| factor.cell(level));
    let (state, n) = (result.state.word(), result.replications.to_string());
    let row = std::iter::once(number.as_str()).chain(cells).chain([state, &n, &result.reason]);
    let row = csv_text(|csv| csv.write_record(row))?;
    let rows = csv_text(|csv| {
        result.figures.iter().try_for_each(|(output, figure)| {
            let Figure { mean, standard_error, low, high, level: _, n } = figure;
            let [mean, standard_error, low, high] = [mean, standard_error, low, high].map(cell);
            let n = n.to_string();
            csv.write_record([&number, &output.name, output.unit, &mean, &standard_error, &low, &high, &n])
        })
    })?;
    Ok(Entry { point: result.point, state: state.to_owned(), row, rows })
}

/// Rows as text.
///
/// # Errors
/// As [`heads`].
pub(crate) fn text_of(rows: &[csv::StringRecord]) -> Result<String, Failure> {
    csv_text(|csv| rows.iter().try_for_each(|row| csv.write_record(row)))
}

fn cell(number: &Option<f64>) -> String {
    number.filter(|number| number.is_finite()).map_or(String::new(), |number| number.to_string())
}

fn csv_text(write: impl FnOnce(&mut csv::Writer<Vec<u8>>) -> csv::Result<()>) -> Result<String, Failure> {
    let failed = |why: String| Failure::new(Ending::Failed, format!("a row cannot be made: {why}"));
    let mut csv = csv::Writer::from_writer(Vec::new());
    write(&mut csv).map_err(|why| failed(why.to_string()))?;
    let bytes = csv.into_inner().map_err(|why| failed(why.to_string()))?;
    String::from_utf8(bytes).map_err(|why| failed(why.to_string()))
}
