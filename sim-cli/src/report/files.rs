//! The table of stations as a file for other programs: one row each, full digits.

use sim_core::kernel::State;
use sim_core::study::RunResult;
use sim_core::study::result::Figure;
use std::io::Write;

/// Writes one row for each station: shares of time by state and rates, each with its standard error.
///
/// # Errors
/// If it cannot be written.
pub(crate) fn stations_csv(result: &RunResult, to: impl Write) -> csv::Result<()> {
    let mut csv = csv::Writer::from_writer(to);
    let mut header = vec!["station".to_owned(), "type".to_owned(), "point_of_use".to_owned()];
    for state in State::ALL {
        let word = state.word().replace(", ", "_");
        header.push(format!("{word}_share"));
        header.push(format!("{word}_share_se"));
    }
    for word in RATES {
        header.push(word.to_owned());
        header.push(format!("{word}_se"));
    }
    csv.write_record(&header)?;
    for station in &result.stations {
        let mut row =
            vec![station.name.clone(), station.station_type.clone(), station.is_point_of_use.to_string()];
        for state in State::ALL {
            let share = station.states.iter().find(|one| one.state == state).map(|one| one.share);
            push(&mut row, share.as_ref());
        }
        let rates = [
            &station.taken_per_hour,
            &station.created_per_hour,
            &station.stops_per_hour,
            &station.calls_per_hour,
            &station.restarts_per_hour,
            &station.lost_per_hour,
            &station.spilled_per_hour,
            &station.overfilled_per_hour,
            &station.tips_per_hour,
        ];
        rates.iter().for_each(|figure| push(&mut row, Some(figure)));
        push(&mut row, station.path.as_ref().map(|path| &path.accepted_share));
        push(&mut row, station.path.as_ref().map(|path| &path.recirculation_ratio));
        csv.write_record(&row)?;
    }
    csv.flush()?;
    Ok(())
}

/// Columns after the states, in the order of the rows.
const RATES: [&str; 11] = [
    "taken_per_hour",
    "created_per_hour",
    "stops_per_hour",
    "calls_per_hour",
    "restarts_per_hour",
    "lost_per_hour",
    "spilled_per_hour",
    "overfilled_per_hour",
    "tips_per_hour",
    "accepted_share",
    "recirculation_ratio",
];

/// Mean and standard error; empty where there are none.
fn push(row: &mut Vec<String>, figure: Option<&Figure>) {
    let text = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
    row.push(text(figure.and_then(|figure| figure.mean)));
    row.push(text(figure.and_then(|figure| figure.standard_error)));
}
