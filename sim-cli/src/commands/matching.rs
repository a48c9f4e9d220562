//! `feedproof match`: a log of the built line beside its model.

use super::luck::Luck;
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::logs::{Column, Log};
use crate::progress::Bar;
use crate::source::Source;
use crate::{files, interrupt, report, screen};
use sim_core::matching::{Interval, MatchOptions, intervals_of_model, match_log};
use sim_core::units::{Dimension, parse};
use sim_core::vary::Address;
use std::path::PathBuf;

/// What to compare with what.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Scenario file, `-` for standard input, or the name of a built-in line
    file: PathBuf,
    /// CSV file: a line of titles, then a row for each interval from the start of the shift on
    log: PathBuf,
    /// Length of an interval
    #[arg(long, value_name = "T", value_parser = time, default_value = "15 min")]
    every: f64,
    /// Column of good parts of the interval
    #[arg(long, value_name = "TITLE", default_value = "good")]
    good: String,
    /// Column of jams that began in it; left out without such a column
    #[arg(long, value_name = "TITLE", default_value = "jams")]
    jams: String,
    /// Column of seconds in which the point of use had no part to take; left out without such a column
    #[arg(long, value_name = "TITLE", default_value = "starved")]
    starved: String,
    /// Inputs of the file that may differ, by address; left out: how often jams come, clearing times, and how fast stations are
    #[arg(long, value_name = "ADDRESS", num_args = 1..)]
    inputs: Vec<String>,
    /// Simulated shifts of the file as it stands; fewer than 299 could never call one of six outputs outside
    #[arg(long, value_name = "N", default_value_t = 999, value_parser = clap::value_parser!(u64).range(299..=100_000))]
    replications: u64,
    /// Simulated shifts for each input, and as many again for each size of sets; 0: only tell which outputs lie outside
    #[arg(long, value_name = "N", default_value_t = 200, value_parser = clap::value_parser!(u64).range(0..=100_000))]
    draws: u64,
    /// Most inputs that differ at once, from 1 to 3
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = clap::value_parser!(u64).range(1..=3))]
    together: u64,
    /// Largest factor that is tried on an input; the smallest is its inverse
    #[arg(long, value_name = "F", default_value_t = 4.0, value_parser = widest)]
    widest: f64,
    #[command(flatten)]
    luck: Luck,
    /// Print the result as one JSON document
    #[arg(long)]
    json: bool,
    /// Write LOG instead: one shift of the model itself, as an example of the form
    #[arg(long, conflicts_with_all = ["json", "inputs"])]
    example: bool,
    /// With --example: number of the shift, from 0
    #[arg(long, value_name = "R", default_value_t = 0, requires = "example")]
    shift: u64,
    /// With --example: replace the file if there is one
    #[arg(long, requires = "example")]
    force: bool,
}

fn time(text: &str) -> Result<f64, String> {
    let seconds = parse(text, Dimension::Time).map_err(|why| why.to_string())?;
    if (1.0..=86_400.0).contains(&seconds) { Ok(seconds) } else { Err("a time from 1 s to 1 day".to_owned()) }
}

fn widest(text: &str) -> Result<f64, String> {
    let factor: f64 = text.trim().parse().map_err(|_| "a number above 1, such as 4".to_owned())?;
    if factor > 1.0 && factor <= 1000.0 {
        Ok(factor)
    } else {
        Err("a number above 1, 1000 at most".to_owned())
    }
}

/// Compares and prints, or writes an example.
pub(super) fn matching(args: &Args) -> Result<Ending, Failure> {
    let source = Source::load(&args.file)?;
    let scenario = source.check_aloud()?;
    let seed = args.luck.seed(scenario.plan.seed);
    if args.example {
        let n = (scenario.plan.shift_s / args.every).floor().max(1.0) as usize;
        let series = intervals_of_model(scenario, n, args.every, seed, args.shift);
        let series = series.map_err(|why| Failure::new(Ending::BadInput, why.to_string()))?;
        files::write(&args.log, &example(args, &series), args.force)?;
        screen::print(&format!("wrote {}: {n} intervals\n", screen::safe(&args.log.display().to_string())))?;
        return Ok(Ending::Done);
    }
    let log = read(args)?;
    let options = MatchOptions {
        interval_s: args.every,
        replications: args.replications,
        draws: args.draws,
        together: args.together as usize,
        widest: args.widest,
        seed,
        error: 0.05,
        inputs: args
            .inputs
            .iter()
            .map(|text| Address::read(text).map_err(|why| Failure::new(Ending::BadInput, why.message)))
            .collect::<Result<_, _>>()?,
    };
    interrupt::listen()?;
    let crew = args.luck.crew();
    let bar = Bar::new(0, "shifts");
    let found = match_log(&source.text, &log, &options, &crew, &interrupt::asked, &mut |done, of| {
        bar.step(done, of);
    });
    bar.clear();
    let found = found.map_err(|why| Failure::new(Ending::BadInput, why.to_string()))?;
    let Some(found) = found else {
        return Err(Failure::interrupted("all shifts were simulated"));
    };
    if args.json {
        screen::print(&screen::json(&found)?)?;
    } else {
        screen::print(&report::matching(&found, Ink::of_stdout()))?;
    }
    Ok(Ending::Done)
}

fn example(args: &Args, series: &[Interval]) -> String {
    let mut text = format!("{},{},{}\n", args.good, args.jams, args.starved);
    for interval in series {
        let number =
            |value: Option<f64>, factor: f64| (value.unwrap_or(0.0) * factor * 1000.0).round() / 1000.0;
        text.push_str(&format!(
            "{},{},{}\n",
            number(Some(interval.rate), args.every / 60.0),
            number(interval.jams, 1.0),
            number(interval.starved, args.every)
        ));
    }
    text
}

fn read(args: &Args) -> Result<Vec<Interval>, Failure> {
    let mut log = Log::open(&args.log)?;
    let good = log.column(&args.good)?;
    // The usual titles may be missing, others have been asked for.
    let maybe = |log: &Log, title: &String, usual: &str| -> Result<Option<Column>, Failure> {
        if title == usual && !log.titles().contains(title) { Ok(None) } else { log.column(title).map(Some) }
    };
    let jams = maybe(&log, &args.jams, "jams")?;
    let starved = maybe(&log, &args.starved, "starved")?;
    let mut series = Vec::new();
    while log.next_row()? {
        let Some(good) = log.amount(&good) else { continue };
        let jams = match &jams {
            Some(column) => log.count(column).map(|n| Some(n as f64)),
            None => Some(None),
        };
        let starved = match &starved {
            Some(column) => log.amount(column).map(Some),
            None => Some(None),
        };
        if let (Some(jams), Some(starved)) = (jams, starved) {
            let starved = starved.map(|seconds| seconds / args.every);
            if starved.is_some_and(|share| share > 1.0 + 1e-6)
                && let Ok(column) = log.column(&args.starved)
            {
                log.fault(&column, "it is longer than the interval; see --every");
            }
            series.push(Interval { rate: good * 60.0 / args.every, jams, starved });
        }
    }
    log.finish()?;
    Ok(series)
}
