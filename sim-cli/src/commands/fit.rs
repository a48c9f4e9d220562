//! `feedproof fit`: laws, attitudes and tools from what was measured.

use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::logs::{Column, Log};
use crate::report::{self, plot};
use crate::{files, screen};
use sim_core::fit::counts::{self, Tally, Trials};
use sim_core::fit::{Collector, CountsFit, TimesOptions, fit_times};
use sim_core::units::{Dimension, parse};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// What the rows of a log are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Kind {
    /// Times to a jam, of a clearing, of a cycle
    Times,
    /// Attitudes in which dropped parts came to rest
    Drops,
    /// Parts put into a tool: attitude before, attitude after
    Trials,
}

/// What to fit, and to what.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// CSV file with a line of titles, `-` for standard input
    file: PathBuf,
    /// What the rows are
    #[arg(long, value_enum, default_value = "times")]
    kind: Kind,
    /// The column of times; of attitudes (drops: `attitude`); of attitudes before (trials: `in`)
    #[arg(long, value_name = "TITLE")]
    column: Option<String>,
    /// Times: the column that marks those cut off before they ended (1, yes, true or x)
    #[arg(long, value_name = "TITLE", conflicts_with = "ended")]
    censored: Option<String>,
    /// Times: the column that marks those that ended; the others were cut off
    #[arg(long, value_name = "TITLE")]
    ended: Option<String>,
    /// The column that says how often a row was seen
    #[arg(long, value_name = "TITLE")]
    count: Option<String>,
    /// Unit of the times
    #[arg(long, value_name = "UNIT", default_value = "s", value_parser = unit)]
    unit: String,
    /// The column holds readings of a clock that runs on: times are the differences from row to row
    #[arg(long)]
    clock: bool,
    /// With --clock: the column that names the machine; each has a clock of its own
    #[arg(long, value_name = "TITLE", requires = "clock")]
    of: Option<String>,
    /// Trials: the column of attitudes after the tool
    #[arg(long, value_name = "TITLE", default_value = "out")]
    into: String,
    /// Trials: the word in that column for parts that the tool rejected
    #[arg(long, value_name = "WORD", default_value = "rejected")]
    rejected: String,
    /// Level of the intervals
    #[arg(long, value_name = "SHARE", default_value = "95 %", value_parser = level)]
    level: f64,
    /// Samples drawn from each law to see how likely its distance is; 0: none
    #[arg(long, value_name = "N", default_value_t = 499, value_parser = clap::value_parser!(u64).range(0..=100_000))]
    bootstrap: u64,
    /// Seed of those samples
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,
    /// Write a quantile plot of each law (SVG)
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Print only the text for a scenario: of the law that is proposed, or of this one
    #[arg(long, value_name = "LAW", num_args = 0..=1, default_missing_value = "proposed")]
    paste: Option<String>,
    /// Print the result as one JSON document
    #[arg(long, conflicts_with = "paste")]
    json: bool,
}

fn unit(text: &str) -> Result<String, String> {
    match parse(&format!("1 {text}"), Dimension::Time) {
        Ok(_) => Ok(text.to_owned()),
        Err(why) => Err(why.to_string()),
    }
}

fn level(text: &str) -> Result<f64, String> {
    let level = parse(text, Dimension::Share).map_err(|why| why.to_string())?;
    if level > 0.0 && level < 1.0 {
        Ok(level)
    } else {
        Err("a level between 0 and 1, such as \"95 %\"".to_owned())
    }
}

/// Fits and prints.
pub(super) fn fit(args: &Args) -> Result<Ending, Failure> {
    let only_times = [
        ("--censored", args.censored.is_some()),
        ("--ended", args.ended.is_some()),
        ("--clock", args.clock),
        ("--plot", args.plot.is_some()),
    ];
    if let (Kind::Drops | Kind::Trials, Some((option, _))) =
        (args.kind, only_times.iter().find(|(_, is_given)| *is_given))
    {
        return Err(Failure::new(Ending::BadInput, format!("{option} is for times only")));
    }
    let mut log = Log::open(&args.file)?;
    match args.kind {
        Kind::Times => times(args, &mut log),
        Kind::Drops => {
            let tally = read_drops(args, &mut log)?;
            let fit = counts::drops(&tally, args.level);
            show_counts(args, &log, fit.map_err(|why| Failure::new(Ending::BadInput, why.to_string()))?)
        }
        Kind::Trials => {
            let trials = read_trials(args, &mut log)?;
            let fit = counts::tool(&trials, "tool", args.level);
            show_counts(args, &log, fit.map_err(|why| Failure::new(Ending::BadInput, why.to_string()))?)
        }
    }
}

fn column(log: &Log, asked: Option<&str>, usual: Option<&str>) -> Result<Column, Failure> {
    match (asked.or(usual), log.only_column()) {
        (None, None) => Err(Failure::new(Ending::BadInput, "it is not said which column holds the times")
            .help(format!("add --column with one of: {}", log.titles().join(", ")))),
        (Some(title), Some(_)) if asked.is_some() => log.column(title),
        (_, Some(only)) => Ok(only),
        (Some(title), None) => log.column(title),
    }
}

fn optional(log: &Log, title: Option<&String>) -> Result<Option<Column>, Failure> {
    title.map(|title| log.column(title)).transpose()
}

fn times(args: &Args, log: &mut Log) -> Result<Ending, Failure> {
    let time = column(log, args.column.as_deref(), None)?;
    let (mark, count) =
        (optional(log, args.censored.as_ref().or(args.ended.as_ref()))?, optional(log, args.count.as_ref())?);
    let machine = optional(log, args.of.as_ref())?;
    let mut clocks: BTreeMap<String, f64> = BTreeMap::new();
    let mut rows = Collector::new();
    while log.next_row()? {
        let Some(mut value) = log.amount(&time) else { continue };
        if args.clock {
            let who = machine.as_ref().map(|column| log.text_or_empty(column)).unwrap_or_default();
            let before = clocks.insert(who, value).unwrap_or(0.0);
            if value < before {
                log.fault(&time, &format!("{value} is earlier than {before} of the row before"));
                continue;
            }
            value -= before;
        }
        let is_marked = match &mark {
            Some(column) => log.mark(column),
            None => Some(args.ended.is_some()),
        };
        let n = match &count {
            Some(column) => log.count(column),
            None => Some(1),
        };
        if let (Some(is_marked), Some(n)) = (is_marked, n) {
            rows.push(value, n, if args.ended.is_some() { is_marked } else { !is_marked });
        }
    }
    log.finish()?;
    let sample = rows.finish();
    let options = TimesOptions {
        unit: args.unit.clone(),
        origin: format!("{}, column {}", args.file.file_name().unwrap_or_default().display(), time.title),
        level: args.level,
        bootstrap: args.bootstrap,
        seed: args.seed,
    };
    let found = fit_times(&sample, &options);
    if let Some(file) = &args.plot {
        files::write(file, &plot::quantiles(&sample, &found), true)?;
    }
    if let Some(law) = &args.paste {
        let law = if law == "proposed" { found.proposed.as_deref() } else { Some(law.as_str()) };
        let text = law.and_then(|law| report::fit::paste(&found, law));
        let text = text.ok_or_else(|| {
            let known: Vec<&str> = found.laws.iter().map(|fit| fit.law.word()).chain(["observed"]).collect();
            let failure = Failure::new(Ending::BadInput, "that law was not fitted");
            failure.help(format!("one of {}", known.join(", ")))
        })?;
        screen::print(&format!("{text}\n"))?;
    } else if args.json {
        screen::print(&screen::json(&found)?)?;
    } else {
        screen::print(&report::fit::times(&found, log.name(), &time.title, Ink::of_stdout()))?;
    }
    Ok(Ending::Done)
}

fn read_drops(args: &Args, log: &mut Log) -> Result<Tally, Failure> {
    let attitude = column(log, args.column.as_deref(), Some("attitude"))?;
    let count = optional(log, args.count.as_ref())?;
    let mut tally = Tally::default();
    while log.next_row()? {
        let n = match &count {
            Some(column) => log.count(column),
            None => Some(1),
        };
        if let (Some(name), Some(n)) = (log.text(&attitude), n) {
            tally.add(&name, n);
            names_in_bounds(tally.counts.len())?;
        }
    }
    log.finish()?;
    Ok(tally)
}

fn read_trials(args: &Args, log: &mut Log) -> Result<Trials, Failure> {
    let before = log.column(args.column.as_deref().unwrap_or("in"))?;
    let after = log.column(&args.into)?;
    let count = optional(log, args.count.as_ref())?;
    let mut trials = Trials::default();
    while log.next_row()? {
        let n = match &count {
            Some(column) => log.count(column),
            None => Some(1),
        };
        if let (Some(from), Some(into), Some(n)) = (log.text(&before), log.text(&after), n) {
            trials.add(&from, (into != args.rejected).then_some(&into), n);
            names_in_bounds(trials.n_names())?;
        }
    }
    log.finish()?;
    Ok(trials)
}

/// A part has 60 attitudes at most: more names are another column.
fn names_in_bounds(n: usize) -> Result<(), Failure> {
    if n <= sim_core::terms::kind::NAMES_MAX {
        return Ok(());
    }
    let failure =
        Failure::new(Ending::BadInput, "the column has more different words than a part has attitudes");
    Err(failure.help("is it the right column? see --column and --into"))
}

fn show_counts(args: &Args, log: &Log, found: CountsFit) -> Result<Ending, Failure> {
    if args.paste.is_some() {
        screen::print(&format!("{}\n", sim_core::fit::paste::on_one_line(&found.paste)))?;
    } else if args.json {
        screen::print(&screen::json(&found)?)?;
    } else {
        screen::print(&report::fit::counts(&found, log.name(), Ink::of_stdout()))?;
    }
    Ok(Ending::Done)
}
