//! `feedproof run`: the proof.

use super::limits;
use super::luck::Luck;
use super::pages::{Pages, quoted};
use crate::document::Document;
use crate::ending::{Ending, Failure};
use crate::files::{self, Draft};
use crate::ink::Ink;
use crate::problems;
use crate::progress::Bar;
use crate::proof::{self, Film, Proof};
use crate::report::{self, Context};
use crate::source::Source;
use crate::{interrupt, screen};
use sim_core::balance;
use sim_core::diag::Diagnostic;
use sim_core::evidence::{self, IgnoranceOptions, nested};
use sim_core::money::{MoneyOptions, PayBack, Prices, pay_back};
use sim_core::network::{self, Plan};
use sim_core::part::{Nanos, SECOND};
use sim_core::scenario::Scenario;
use sim_core::statistics::Verdict;
use sim_core::study::reduced::{self, ReducedReport, Reduction};
use sim_core::study::result::{IgnoranceReport, StoppedBecause};
use sim_core::study::{self, Job, Mode, Options, RunError, RunResult, Variant, Watch, WhichShift};
use sim_core::units::{Dimension, parse};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

/// What to run, and how.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Scenario file, `-` for standard input, or the name of a built-in line; left out: the default line
    file: Option<PathBuf>,
    /// Run exactly N shifts, even when the promise is decided sooner
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=100_000_000))]
    replications: Option<u64>,
    /// Run N shifts at most, and end as soon as the promise is decided (default: as the file says)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=100_000_000), conflicts_with = "replications")]
    at_most: Option<u64>,
    /// Without a promise: end when the mean rate is known to this share of it, such as "0.5 %"
    #[arg(long, value_name = "SHARE", value_parser = share)]
    precision: Option<f64>,
    #[command(flatten)]
    luck: Luck,
    /// Print the whole result as one JSON document; `feedproof schema --result` describes it
    #[arg(long)]
    json: bool,
    /// Write result.json, replications.csv and stations.csv into this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    pages: Pages,
    /// Which shift can be watched in the report: worst, median, best, a number from 0, or none
    #[arg(long, value_name = "WHICH", default_value = "worst", value_parser = which_shift)]
    watch: Watched,
    /// Minutes of it, from the hour (or whatever is given) with the fewest good parts
    #[arg(long, value_name = "MINUTES", default_value_t = 60, value_parser = clap::value_parser!(u16).range(1..=2880))]
    watch_minutes: u16,
    /// Shifts for each number of the file that the report relaxes to rank what limits the line; 0: no ranking
    #[arg(long, value_name = "N", default_value_t = 10, value_parser = ranking)]
    limits: u64,
    /// Account for the causes of starvation in the first N shifts; 0: in none. Such a shift takes up to twice as long
    #[arg(long, value_name = "N", default_value_t = study::CAUSES_IN)]
    causes: u64,
    /// Draw the inputs that are known from evidence anew exactly N times, and include what is not known of them in the proof;
    /// 0: take them as known (default: until the verdict is clear, 80 to 240 times, or as many as the shifts allow)
    #[arg(long, value_name = "N", value_parser = draws)]
    draws: Option<u64>,
    /// Shifts for each of these draws at first; where one is not clear it gets more
    #[arg(long, value_name = "N", default_value_t = nested::EACH, value_parser = clap::value_parser!(u64).range(2..=100_000))]
    shifts_each: u64,
    /// Estimate the mean rate once more from as many shifts, with less spread: by mirrored shifts, by the luck of a
    /// shift as controls, or both.
    /// The verdict has no part in it
    #[arg(long, value_name = "WAY", value_enum, value_delimiter = ',')]
    reduce: Vec<Reduce>,
    /// End with status 3 unless the promise is proved
    #[arg(long)]
    fail_unless_proved: bool,
}

/// Ways to estimate a mean from fewer shifts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Reduce {
    /// Each shift is followed by one that draws 1 - u wherever it drew u
    Mirrored,
    /// Bad luck (jams, times, how parts fall) explains what the rate lacks, weighed by what the balance says that it costs
    Controls,
}

/// The shift to be watched, if any.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Watched(Option<WhichShift>);

fn which_shift(text: &str) -> Result<Watched, String> {
    match text {
        "worst" => Ok(Watched(Some(WhichShift::Worst))),
        "median" => Ok(Watched(Some(WhichShift::Median))),
        "best" => Ok(Watched(Some(WhichShift::Best))),
        "none" => Ok(Watched(None)),
        number => match number.parse() {
            Ok(number) => Ok(Watched(Some(WhichShift::Number(number)))),
            Err(_) => Err("worst, median, best, none, or the number of a shift".to_owned()),
        },
    }
}

fn ranking(text: &str) -> Result<u64, String> {
    match text.parse::<u64>() {
        Ok(n) if n == 0 || (2..=1_000_000).contains(&n) => Ok(n),
        Ok(_) | Err(_) => Err("0, or a whole number from 2 to 1000000".to_owned()),
    }
}

fn draws(text: &str) -> Result<u64, String> {
    match text.parse::<u64>() {
        Ok(n) if n == 0 || (nested::FEWEST_DRAWS..=1_000_000).contains(&n) => Ok(n),
        Ok(_) | Err(_) => Err(format!("0, or a whole number from {} to 1000000", nested::FEWEST_DRAWS)),
    }
}

pub(super) fn share(text: &str) -> Result<f64, String> {
    let share = parse(text, Dimension::Share).map_err(|error| error.to_string())?;
    if share > 0.0 && share < 1.0 {
        Ok(share)
    } else {
        Err("a share between 0 and 1, such as \"0.5 %\"".to_owned())
    }
}

/// Runs the study, prints the proof, writes the files.
pub(super) fn run(args: &Args) -> Result<Ending, Failure> {
    let source = Source::load_or_default(args.file.as_ref())?;
    let (scenario, warnings) = source.check()?;
    let plan = network::compile(&scenario);
    let pages = args.pages.open()?;
    interrupt::listen()?;
    let mut folder = match &args.out {
        Some(folder) => Some(Folder::open(folder, &scenario, &plan)?),
        None => None,
    };
    let mut rates = Vec::new();
    let mut result = simulate(args, &source, &scenario, &plan, folder.as_mut(), &mut rates)?;
    if result.replications == 0 {
        return Err(Failure::interrupted("the first shift was finished"));
    }
    if result.stopped_because != StoppedBecause::Cancelled {
        result.ignorance = include_ignorance(args, &source, &scenario)?;
    }
    if !args.reduce.is_empty() && result.stopped_because != StoppedBecause::Cancelled {
        result.reduced = reduced(args, &source, &result)?;
    }
    if let Some(prices) = scenario.money
        && result.stopped_because != StoppedBecause::Cancelled
    {
        result.pay_back = money(args, &source, prices, &result)?;
    }
    if let Some(folder) = folder {
        folder.keep(&result)?;
    }
    if let Some(pages) = pages {
        let film = if pages.has_report() { film(args, &scenario, &plan, &result, &rates)? } else { None };
        pages.keep(&document(args, &source, &scenario, &plan, &warnings, &result, film.as_ref())?)?;
    }
    if args.json {
        if !warnings.is_empty() {
            screen::say(&problems::page(&warnings, &source.name, &source.text, Ink::of_stderr()));
        }
        screen::print(&screen::json(&result)?)?;
    } else {
        let context = Context { source: &source, warnings: &warnings, ink: Ink::of_stdout() };
        screen::print(&report::proof(&result, &context))?;
    }
    Ok(ending(args, &result))
}

/// The shift to be watched.
fn film(
    args: &Args,
    scenario: &Scenario,
    plan: &Plan,
    result: &RunResult,
    rates: &[f64],
) -> Result<Option<Film>, Failure> {
    let Some(which) = args.watch.0 else { return Ok(None) };
    let Some(number) = which.among(rates) else {
        let last = rates.len().saturating_sub(1);
        return Err(Failure::new(
            Ending::BadInput,
            format!("there is no such shift to watch: the last is {last}"),
        ));
    };
    let minutes = usize::from(args.watch_minutes);
    let from = study::poorest(plan, result.seed, number, minutes).map_err(|why| refused(&why))?;
    let span = (from, from + minutes as Nanos * 60 * SECOND);
    let replay = study::replay(scenario, plan, result.seed, number, span).map_err(|why| refused(&why))?;
    Ok(Some(Film { replay, which, rate: rates[number as usize] }))
}

/// The proof as a document for pages.
fn document(
    args: &Args,
    source: &Source,
    scenario: &Scenario,
    plan: &Plan,
    warnings: &[Diagnostic],
    result: &RunResult,
    film: Option<&Film>,
) -> Result<Document, Failure> {
    let balance = balance::solve(scenario).map_err(|problems| source.refused(&problems.into_vec()))?;
    let crew = args.luck.crew();
    let profile = study::profile(plan, result.seed, result.replications, &crew, &interrupt::asked)
        .map_err(|why| refused(&why))?;
    let warm_up = result.warm_up.length_s;
    let start =
        study::profile_of_start(plan, result.seed, result.replications, warm_up, &crew, &interrupt::asked)
            .map_err(|why| refused(&why))?;
    let ranked = match args.limits {
        0 => None,
        shifts => limits::rank(&source.text, shifts, result.seed, &crew)?,
    };
    let command = command(args, source, result);
    Ok(proof::document(&Proof {
        result,
        scenario,
        balance: &balance,
        profile: profile.as_ref(),
        start: start.as_ref(),
        ranked: ranked.as_ref(),
        film,
        source,
        warnings,
        command: &command,
    }))
}

/// The command that makes this result again.
fn command(args: &Args, source: &Source, result: &RunResult) -> String {
    let name = if source.name == "standard input" { "-" } else { source.name.as_str() };
    let mut words = vec!["feedproof run".to_owned(), quoted(name)];
    match (args.replications, args.at_most) {
        (Some(n), _) => words.push(format!("--replications {n}")),
        (None, Some(n)) => words.push(format!("--at-most {n}")),
        (None, None) => {}
    }
    if let Some(share) = args.precision {
        words.push(format!("--precision \"{} %\"", 100.0 * share));
    }
    words.push(format!("--seed {}", result.seed));
    if args.causes != study::CAUSES_IN {
        words.push(format!("--causes {}", args.causes));
    }
    if let Some(draws) = args.draws {
        words.push(format!("--draws {draws}"));
    }
    if args.shifts_each != nested::EACH {
        words.push(format!("--shifts-each {}", args.shifts_each));
    }
    words.join(" ")
}

fn ending(args: &Args, result: &RunResult) -> Ending {
    let proved = result.verdict() == Some(Verdict::Proved);
    if !args.fail_unless_proved || proved {
        return Ending::Done;
    }
    if result.promise.is_none() {
        screen::say("the file promises nothing, so nothing is proved\n");
    }
    Ending::NotProved
}

fn options(args: &Args, scenario: &Scenario) -> Options {
    let mut options = Options::of(scenario);
    if let Some(n) = args.replications {
        (options.replications, options.mode) = (n, Mode::Fixed);
    }
    if let Some(n) = args.at_most {
        options.replications = n;
    }
    options.seed = args.luck.seed(options.seed);
    options.precision = args.precision;
    options.causes = args.causes;
    options
}

fn simulate(
    args: &Args,
    source: &Source,
    scenario: &Scenario,
    plan: &Plan,
    mut folder: Option<&mut Folder>,
    rates: &mut Vec<f64>,
) -> Result<RunResult, Failure> {
    let options = options(args, scenario);
    let crew = args.luck.crew();
    let bar = Bar::new(options.replications, "shifts");
    let unwritten = AtomicBool::new(false);
    let mut failure = None;
    let mut each = |replication: u64, values: &[f64]| {
        rates.push(values[0]);
        let Some(folder) = folder.as_mut().filter(|_| failure.is_none()) else { return };
        if let Err(why) = folder.add(replication, values) {
            unwritten.store(true, Ordering::Relaxed);
            failure = Some(why);
        }
    };
    let mut watch = Watch {
        cancelled: &|| interrupt::asked() || unwritten.load(Ordering::Relaxed),
        progress: &mut |progress| bar.show(progress),
        each: &mut each,
    };
    let result = study::run(&Job { scenario, plan, source: &source.text, options }, &crew, &mut watch);
    bar.clear();
    match failure {
        Some(failure) => Err(failure),
        None => result.map_err(|why| refused(&why)),
    }
}

/// The mean rate from as many shifts of another kind; none if it was interrupted.
fn reduced(args: &Args, source: &Source, result: &RunResult) -> Result<Option<ReducedReport>, Failure> {
    let reduction = Reduction {
        mirrored: args.reduce.contains(&Reduce::Mirrored),
        controls: args.reduce.contains(&Reduce::Controls),
    };
    let crew = args.luck.crew();
    let read = Variant::read(&source.text).map_err(|problems| source.refused(&problems))?;
    let mut variants = [read];
    let settled = study::settle_warm_up(&mut variants, result.seed, &crew, &interrupt::asked);
    if !settled.map_err(|why| refused(&why))? {
        return Ok(None);
    }
    let [variant] = variants;
    let (shifts, seed, level) = (result.replications, result.seed, result.level);
    reduced::mean_rate(variant, reduction, shifts, seed, level, &crew, &interrupt::asked)
        .map_err(|why| refused(&why))
}

/// Most shifts for the pay-back: its interval is that of a mean.
const SHIFTS_FOR_MONEY: u64 = 100;

/// The pay-back by the prices of the file; none if it was interrupted.
fn money(
    args: &Args,
    source: &Source,
    prices: Prices,
    result: &RunResult,
) -> Result<Option<PayBack>, Failure> {
    let read = Variant::read(&source.text).map_err(|problems| source.refused(&problems))?;
    let options = MoneyOptions {
        replications: result.replications.clamp(2, SHIFTS_FOR_MONEY),
        seed: result.seed,
        level: result.level,
    };
    let crew = args.luck.crew();
    pay_back(&source.text, read.scenario, prices, options, &crew, &interrupt::asked)
        .map_err(|why| refused(&why))
}

/// The promise with what is not known of the inputs in it; none without evidence, if it is not asked for, or if it was
/// interrupted.
fn include_ignorance(
    args: &Args,
    source: &Source,
    scenario: &Scenario,
) -> Result<Option<IgnoranceReport>, Failure> {
    let run = options(args, scenario);
    let asked = match args.draws {
        Some(0) => None,
        Some(draws) => {
            let (each, seed, level) = (args.shifts_each, run.seed, run.level);
            Some(IgnoranceOptions { draws, until_clear: false, each, seed, level })
        }
        None => IgnoranceOptions::within(run.replications, args.shifts_each, run.seed),
    };
    let Some(asked) = asked else { return Ok(None) };
    let crew = args.luck.crew();
    let bar = Bar::new(0, "shifts with inputs drawn anew");
    let mut step = |done: u64, of: u64| bar.step(done as usize, of as usize);
    let found = evidence::ignorance(&source.text, scenario, &asked, &crew, &interrupt::asked, &mut step);
    bar.clear();
    found.map_err(|why| refused(&why))
}

pub(super) fn refused(why: &RunError) -> Failure {
    Failure::new(ending_of(why), why.to_string())
}

/// How the program ends if a run has no result.
pub(super) fn ending_of(why: &RunError) -> Ending {
    match why {
        RunError::PartsNotConserved { .. } => Ending::Failed,
        RunError::InstantLoop { .. }
        | RunError::TooManyEvents { .. }
        | RunError::TooManyWaiting { .. }
        | RunError::NoWarmUp(_)
        | RunError::BadOptions(_)
        | RunError::ImpossibleDraws { .. } => Ending::BadInput,
    }
}

/// The folder that results are written into. Nothing appears in it before the run is over.
struct Folder {
    path: PathBuf,
    replications: csv::Writer<Draft>,
}

impl Folder {
    /// Makes the folder if there is none, and begins the table of replications.
    fn open(path: &Path, scenario: &Scenario, plan: &Plan) -> Result<Self, Failure> {
        files::folder(path)?;
        let target = path.join("replications.csv");
        let mut replications = csv::Writer::from_writer(Draft::of(target.clone())?);
        let outputs = study::outputs(scenario, plan);
        let names = outputs.iter().map(|output| match output.unit {
            "" => output.name.clone(),
            unit => format!("{} [{unit}]", output.name),
        });
        replications
            .write_record(std::iter::once("replication".to_owned()).chain(names))
            .map_err(|why| Failure::unwritable(&target, why))?;
        Ok(Folder { path: path.to_owned(), replications })
    }

    /// Adds a row. A number that does not exist is empty.
    fn add(&mut self, replication: u64, values: &[f64]) -> Result<(), Failure> {
        let cell = |value: &f64| if value.is_nan() { String::new() } else { value.to_string() };
        self.replications
            .write_record(std::iter::once(replication.to_string()).chain(values.iter().map(cell)))
            .map_err(|why| Failure::unwritable(&self.path.join("replications.csv"), why))
    }

    /// Makes all files appear.
    fn keep(self, result: &RunResult) -> Result<(), Failure> {
        let target = self.path.join("replications.csv");
        let draft =
            self.replications.into_inner().map_err(|why| Failure::unwritable(&target, why.error()))?;
        let target = self.path.join("stations.csv");
        let mut stations = Draft::of(target.clone())?;
        report::stations_csv(result, &mut stations).map_err(|why| Failure::unwritable(&target, why))?;
        let target = self.path.join("result.json");
        let mut document = Draft::of(target.clone())?;
        document
            .write_all(screen::json(result)?.as_bytes())
            .map_err(|why| Failure::unwritable(&target, why))?;
        draft.keep()?;
        stations.keep()?;
        document.keep()
    }
}
