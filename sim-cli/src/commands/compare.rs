//! `feedproof compare`: which of several designs, by how much, how sure.

use super::pages::Pages;
use crate::designs::{designs, settings};
use crate::ending::{Ending, Failure};
use crate::files::Draft;
use crate::ink::Ink;
use crate::progress::{self, Bar};
use crate::source::Source;
use crate::{interrupt, proof, report, screen};
use sim_core::study::Mode;
use sim_core::study::compare::{self, CompareOptions, CompareResult};
use sim_core::units::{Dimension, parse};
use std::io::Write;
use std::path::{Path, PathBuf};

/// What to compare, and how.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Scenario files, `-` for standard input, or names of built-in lines
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// One more design: the first file with values changed, such as "track.capacity=80; lift.cleats=1.2 /s". Repeat it for
    /// further designs
    #[arg(long = "set", value_name = "ADDRESS=VALUE[; ...]")]
    sets: Vec<String>,
    /// Choose the best by elimination: the smallest lead in rate that matters, such as "0.5 /min". For many designs
    #[arg(long, value_name = "RATE", value_parser = lead)]
    indifference: Option<f64>,
    /// Run exactly N shifts of each design, even when it is decided sooner; tells closer by how much
    #[arg(long, value_name = "N", conflicts_with_all = ["at_most", "indifference"], value_parser = clap::value_parser!(u64).range(10..=10_000_000))]
    replications: Option<u64>,
    /// Run N shifts of each design at most, and end as soon as it is decided
    #[arg(long, value_name = "N", default_value_t = 400, value_parser = clap::value_parser!(u64).range(10..=10_000_000))]
    at_most: u64,
    /// Seed of all luck; left out: that of the first file
    #[arg(long, value_name = "S")]
    seed: Option<u64>,
    /// Threads; left out: one for each core. The result is the same on any number
    #[arg(long, value_name = "T", value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Print the result as one JSON document; `feedproof schema --of comparison` describes it
    #[arg(long)]
    json: bool,
    /// Write result.json and differences.csv into this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    pages: Pages,
}

/// A rate above 0, parts/min.
fn lead(text: &str) -> Result<f64, String> {
    let rate = parse(text, Dimension::Rate).map_err(|error| error.to_string())?;
    if rate > 0.0 { Ok(60.0 * rate) } else { Err("a rate above 0, such as \"0.5 /min\"".to_owned()) }
}

/// Compares the designs, prints the answer, writes the files.
pub(super) fn compare(args: &Args) -> Result<Ending, Failure> {
    let sources = args.files.iter().map(|file| Source::load(file)).collect::<Result<Vec<_>, _>>()?;
    let changed = args.sets.iter().map(|text| settings(text)).collect::<Result<Vec<_>, _>>()?;
    if sources.len() + changed.len() < 2 {
        let failure = Failure::new(Ending::BadInput, "one design alone cannot be compared");
        return Err(failure.help("name a second file, or change the first one with --set ADDRESS=VALUE"));
    }
    let designs = designs(sources.clone(), &changed)?;
    let pages = args.pages.open()?;
    interrupt::listen()?;
    let options = CompareOptions {
        replications: args.replications.unwrap_or(args.at_most),
        mode: if args.replications.is_some() { Mode::Fixed } else { Mode::UntilDecided },
        seed: args.seed.unwrap_or(designs[0].variant.scenario.plan.seed),
        level: 0.95,
        indifference: args.indifference,
    };
    if let Some(folder) = &args.out {
        std::fs::create_dir_all(folder).map_err(|why| Failure::unwritable(folder, why))?;
    }
    let crew = progress::crew(args.threads);
    let bar = Bar::new(options.replications, "shifts of each design");
    let found = compare::compare(designs, &options, &crew, &interrupt::asked, &mut |progress| {
        bar.step(progress.done as usize, progress.most as usize);
    });
    bar.clear();
    let found = found.map_err(|why| super::run::refused(&why))?;
    let Some(found) = found else {
        return Err(Failure::new(Ending::Interrupted, "interrupted before there was anything to compare"));
    };
    if let Some(folder) = &args.out {
        keep(folder, &found)?;
    }
    if let Some(pages) = pages {
        pages.keep_with(proof::comparison(&found), &sources)?;
    }
    if args.json {
        screen::print(&screen::json(&found)?)?;
    } else {
        screen::print(&report::comparison(&found, Ink::of_stdout()))?;
    }
    Ok(Ending::Done)
}

fn keep(folder: &Path, found: &CompareResult) -> Result<(), Failure> {
    let target = folder.join("differences.csv");
    let mut differences = Draft::of(target.clone())?;
    report::differences_csv(found, &mut differences).map_err(|why| Failure::unwritable(&target, why))?;
    let target = folder.join("result.json");
    let mut document = Draft::of(target.clone())?;
    document.write_all(screen::json(found)?.as_bytes()).map_err(|why| Failure::unwritable(&target, why))?;
    differences.keep()?;
    document.keep()
}
