//! `feedproof trace`: every event of one shift as CSV.
//!
//! The shift is the one that `run` simulates under the same seed and number, so that anything seen in a result can be
//! looked at. Rows stream to standard output as they happen.

use crate::ending::{Ending, Failure};
use crate::interrupt;
use crate::screen;
use crate::source::Source;
use csv::Writer;
use sim_core::kernel::{Note, PlaceId, StationId};
use sim_core::measure::{Happening, Trace};
use sim_core::network::{self, Plan};
use sim_core::part::{Nanos, Part, SECOND, TIME_LIMIT};
use sim_core::replication::{Replica, Stop};
use sim_core::scenario::Scenario;
use sim_core::text::suggest::nearest;
use sim_core::units::{Dimension, parse};
use std::cell::Cell;
use std::io::{self, BufWriter, Write};
use std::path::PathBuf;

/// What to trace.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Scenario file, `-` for standard input, or the name of a built-in line; left out: the default line
    file: Option<PathBuf>,
    /// Seed of all luck; left out: that of the file
    #[arg(long, value_name = "S")]
    seed: Option<u64>,
    /// Number of the shift, from 0, as in replications.csv
    #[arg(long, value_name = "R", default_value_t = 0)]
    replication: u64,
    /// Only from this time of the shift on, such as "10 min"
    #[arg(long, value_name = "T", value_parser = time)]
    from: Option<Nanos>,
    /// Only up to this time
    #[arg(long, value_name = "T", value_parser = time)]
    to: Option<Nanos>,
    /// Only these stations, tracks, attendants or sensors
    #[arg(long, value_name = "ID", num_args = 1..)]
    station: Vec<String>,
}

fn time(text: &str) -> Result<Nanos, String> {
    let seconds = parse(text, Dimension::Time).map_err(|error| format!("{error} (such as \"10 min\")"))?;
    if !(0.0..=TIME_LIMIT as f64 / SECOND as f64).contains(&seconds) {
        return Err("a time of the shift is 0 s or more, and less than 13 days".to_owned());
    }
    Ok((seconds * SECOND as f64).round() as Nanos)
}

/// Simulated time between looks whether anybody still reads.
const STRIDE: Nanos = 60 * SECOND;

/// Runs the shift and prints its events.
pub(super) fn trace(args: &Args) -> Result<Ending, Failure> {
    let source = Source::load_or_default(args.file.as_ref())?;
    let scenario = source.check_aloud()?;
    let plan = network::compile(&scenario);
    let names = Names::new(&scenario, &plan, &args.station)?;
    let end = args.to.unwrap_or(plan.close_ns).min(plan.close_ns);
    interrupt::listen()?;
    let mut rows = Rows { csv: Writer::from_writer(BufWriter::new(io::stdout().lock())), result: Ok(()) };
    rows.write(COLUMNS);
    let goes_on = Cell::new(true);
    let sink = |now, happening| {
        names.write(now, happening, &mut rows);
        goes_on.set(rows.result.is_ok());
    };
    let observer = Trace::new(args.from.unwrap_or(0), end, sink);
    let seed = args.seed.unwrap_or(scenario.plan.seed);
    let mut replica = Replica::new(&plan, seed, args.replication, observer);
    replica.events_max = plan.events_max;
    let mut stop = Stop::TimeReached;
    let mut until = 0;
    while stop == Stop::TimeReached && until < end && goes_on.get() && !interrupt::asked() {
        until = end.min(until + STRIDE);
        stop = replica.run_until(until);
    }
    drop(replica);
    let flushed = rows.csv.flush();
    screen::written(rows.result.and(flushed))?;
    match stopped(&stop, &plan) {
        None => Ok(Ending::Done),
        Some((Ending::Done, message)) => {
            screen::say(&format!("{message}\n"));
            Ok(Ending::Done)
        }
        Some((ending, message)) => Err(Failure::new(ending, message)),
    }
}

fn stopped(stop: &Stop, plan: &Plan) -> Option<(Ending, String)> {
    let list = |stations: &[StationId]| {
        let names: Vec<&str> =
            stations.iter().map(|station| plan.names.posts[station.ix()].as_str()).collect();
        names.join(", ")
    };
    match stop {
        Stop::TimeReached => None,
        Stop::Gridlock { at, stations } => Some((
            Ending::Done,
            format!("gridlock at {} s: these wait for each other for ever: {}", seconds(*at), list(stations)),
        )),
        Stop::InstantLoop { at, stations } => Some((
            Ending::BadInput,
            format!("at {} s parts move round without any passage of time: {}", seconds(*at), list(stations)),
        )),
        Stop::TooManyWaiting { at, station } => Some((
            Ending::BadInput,
            format!(
                "at {} s too many parts wait at {}, far more than could be meant",
                seconds(*at),
                list(&[*station])
            ),
        )),
        Stop::TooManyEvents { at, stations } => Some((
            Ending::BadInput,
            format!(
                "the events of `events_at_most` were used up at {} s; at work were {}",
                seconds(*at),
                list(stations)
            ),
        )),
    }
}

/// Names of the columns.
const COLUMNS: Row<'_> = Row {
    time: "time_s",
    station: "station",
    event: "event",
    detail: "detail",
    kind: "part_kind",
    condition: "condition",
    attitude: "attitude",
    passes: "passes",
    entered: "entered_s",
    level: "level",
};

/// One line of the CSV; what does not apply is empty.
#[derive(Debug, Clone, Copy, Default)]
struct Row<'a> {
    time: &'a str,
    station: &'a str,
    event: &'a str,
    detail: &'a str,
    kind: &'a str,
    condition: &'a str,
    attitude: &'a str,
    passes: &'a str,
    entered: &'a str,
    level: &'a str,
}

struct Rows<W: Write> {
    csv: Writer<W>,
    result: io::Result<()>,
}

impl<W: Write> Rows<W> {
    /// Writes a row; after an error nothing more.
    fn write(&mut self, row: Row<'_>) {
        if self.result.is_err() {
            return;
        }
        let Row { time, station, event, detail, kind, condition, attitude, passes, entered, level } = row;
        let cells = [time, station, event, detail, kind, condition, attitude, passes, entered, level];
        self.result = self.csv.write_record(cells).map_err(|error| match error.into_kind() {
            csv::ErrorKind::Io(error) => error,
            other => io::Error::other(format!("{other:?}")),
        });
    }
}

/// What numbers are called, and which of them are wanted.
struct Names<'a> {
    scenario: &'a Scenario,
    plan: &'a Plan,
    posts: Vec<bool>,
    places: Vec<bool>,
}

impl<'a> Names<'a> {
    fn new(scenario: &'a Scenario, plan: &'a Plan, wanted: &[String]) -> Result<Self, Failure> {
        let posts = &plan.names.posts;
        // Equal stations are wanted all together by the name that they have in the file.
        let group = |post: usize| {
            let entry = plan.names.entries.get(post).copied().flatten()?;
            Some(scenario.stations[entry].id.value.as_str())
        };
        let asked = |post: usize, name: &String| posts[post] == *name || group(post) == Some(name.as_str());
        for name in wanted {
            if !(0..posts.len()).any(|post| asked(post, name)) {
                return Err(nobody(name, posts));
            }
        }
        let is_wanted = |post: usize| wanted.is_empty() || wanted.iter().any(|name| asked(post, name));
        let wanted_posts: Vec<bool> = (0..posts.len()).map(is_wanted).collect();
        let place_of = |place: &String| {
            // A place is named after its station, a hand with `hand` after that.
            let owner = place.strip_suffix(" hand").unwrap_or(place);
            let of_owner = |name: &String| name == place || name == owner;
            wanted.is_empty()
                || posts.iter().zip(&wanted_posts).any(|(name, wanted)| *wanted && of_owner(name))
        };
        let places = plan.names.places.iter().map(place_of).collect();
        Ok(Names { scenario, plan, posts: wanted_posts, places })
    }

    fn write<W: Write>(&self, now: Nanos, happening: Happening, rows: &mut Rows<W>) {
        let time = seconds(now);
        let row = Row { time: &time, ..Row::default() };
        match happening {
            Happening::State { station, old, new } if self.posts[station.ix()] => rows.write(Row {
                station: self.post(station),
                event: new.word(),
                detail: &format!("after {}", old.word()),
                ..row
            }),
            Happening::Level { place, new, .. } if self.places[place.ix()] => {
                rows.write(Row {
                    station: self.place(place),
                    event: "level",
                    level: &new.to_string(),
                    ..row
                });
            }
            Happening::Missing { station, inlets } if self.posts[station.ix()] => {
                let inlets: Vec<String> =
                    (0..32).filter(|n| inlets >> n & 1 == 1).map(|n| format!("inlet {}", n + 1)).collect();
                let row = Row { station: self.post(station), event: "missing", ..row };
                let detail = if inlets.is_empty() { "none".to_owned() } else { inlets.join(", ") };
                rows.write(Row { detail: &detail, ..row });
            }
            Happening::Note { station, note, part } if self.posts[station.ix()] => {
                let (event, detail) = self.words(note);
                let row = Row { station: self.post(station), event, detail: &detail, ..row };
                match part {
                    Some(part) => self.write_part(row, &part, rows),
                    None => rows.write(row),
                }
            }
            Happening::State { .. } | Happening::Level { .. } | Happening::Missing { .. } => {}
            Happening::Note { .. } => {}
        }
    }

    fn write_part<W: Write>(&self, row: Row<'_>, part: &Part, rows: &mut Rows<W>) {
        let Some(kind) = self.scenario.kinds.get(usize::from(part.kind)) else { return rows.write(row) };
        let word = |words: &'a [String], ix: u8| words.get(usize::from(ix)).map_or("", String::as_str);
        let entered = if part.is_starter() { "at the start".to_owned() } else { seconds(part.entered_ns()) };
        rows.write(Row {
            kind: &kind.name,
            condition: word(&kind.conditions, part.condition),
            attitude: word(&kind.attitudes, part.attitude),
            passes: &part.passes().to_string(),
            entered: &entered,
            ..row
        });
    }

    fn post(&self, station: StationId) -> &str {
        &self.plan.names.posts[station.ix()]
    }

    fn place(&self, place: PlaceId) -> &str {
        &self.plan.names.places[place.ix()]
    }

    /// The words for a note.
    fn words(&self, note: Note) -> (&'static str, String) {
        let none = String::new;
        match note {
            Note::Created => ("created", none()),
            Note::Took => ("took", none()),
            Note::Exit(exit) => ("gave", format!("exit {exit}")),
            Note::Left => ("left the line", none()),
            Note::Stopped(stop) => ("stopped", format!("stop {stop}")),
            Note::Cleared(stop) => ("cleared", format!("stop {stop}")),
            Note::Restarted => ("restarted", none()),
            Note::EmptyStroke => ("empty stroke", none()),
            Note::Lost => ("lost", none()),
            Note::Spilled => ("spilled", none()),
            Note::DroppedBack => ("dropped back", none()),
            Note::Overfilled => ("overfilled", none()),
            Note::Tipped => ("tipped", none()),
            Note::CheckFailed => ("check failed", none()),
            Note::StrokeShort => ("stroke with a part missing", none()),
            Note::MadeNothing => ("made nothing", none()),
            Note::SensorOn => ("switched on", none()),
            Note::SensorOff => ("switched off", none()),
            Note::Called => ("called", none()),
            Note::Attended => ("attended", none()),
        }
    }
}

fn nobody(name: &str, posts: &[String]) -> Failure {
    let failure = Failure::new(Ending::BadInput, format!("nothing in the line is named `{name}`"));
    match nearest(name, posts.iter().map(String::as_str)) {
        Some(near) => failure.help(format!("did you mean `{near}`?")),
        None => failure.help(format!("it has: {}", posts.join(", "))),
    }
}

/// Nanoseconds as seconds, exactly.
fn seconds(time: Nanos) -> String {
    let text = format!("{}.{:09}", time / SECOND, time % SECOND);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_exact() {
        assert_eq!(seconds(0), "0");
        assert_eq!(seconds(1_500_000_001), "1.500000001");
        assert_eq!(seconds(TIME_LIMIT - 1), "1125899.906842623");
        assert_eq!(time("1 h 30 min"), Ok(5400 * SECOND));
        assert!(time("12").is_err() && time("-1 s").is_err() && time("1e9 day").is_err());
    }
}
