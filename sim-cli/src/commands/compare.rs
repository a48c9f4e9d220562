//! `feedproof compare`: which of several designs, by how much, how sure.

use super::luck::Luck;
use super::pages::Pages;
use crate::designs::{designs, settings};
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::kept::KeptShifts;
use crate::progress::Bar;
use crate::source::Source;
use crate::{interrupt, proof, report, screen};
use serde_json::{Value, json};
use sim_core::study::Mode;
use sim_core::study::compare::{self, CompareOptions, CompareProgress, Design};
use sim_core::study::result::StoppedBecause;
use sim_core::text::hash::fnv_1a;
use sim_core::units::{Dimension, parse};
use std::path::PathBuf;

/// What is left in a folder.
const FILES: [&str; 2] = ["differences.csv", "result.json"];

/// What to compare, and how.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Scenario files, `-` for standard input, or names of built-in lines; left out: the default line, to be changed by --set
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
    /// Draw inputs that are known from evidence anew for each shift, alike in all designs, so that the differences hold what is
    /// not known of them; left out: they are taken as known
    #[arg(long)]
    draw_inputs: bool,
    /// Give each design luck of its own, to see what the same luck saves; left out: what designs have in common sees the same
    /// luck, and differences are known sooner
    #[arg(long)]
    own_luck: bool,
    /// Correct the differences of rates for the luck that the designs had by what the balance says it should have cost, so that
    /// they are known from fewer shifts
    #[arg(long, conflicts_with = "draw_inputs")]
    controls: bool,
    #[command(flatten)]
    luck: Luck,
    /// Print the result as one JSON document; `feedproof schema --of comparison` describes it
    #[arg(long)]
    json: bool,
    /// Write result.json and differences.csv into this folder. Started again with the same folder, a comparison that was
    /// interrupted goes on
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
    let (sources, changed) = Failure::both(
        Failure::none_in(args.files.iter().map(|file| Source::load(file))),
        Failure::none_in(args.sets.iter().map(|text| settings(text))),
    )?;
    let sources = if sources.is_empty() { vec![Source::load_or_default(None)?] } else { sources };
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
        seed: args.luck.seed(designs[0].variant.scenario.plan.seed),
        level: 0.95,
        indifference: args.indifference,
        draws_inputs: args.draw_inputs,
        own_luck: args.own_luck,
        controls: args.controls,
    };
    let mut kept = KeptShifts::open(args.out.as_deref(), &FILES, &identity(&designs, &options))?;
    let stop = kept.stop();
    let bar = Bar::new(options.replications, "shifts of each design");
    let mut show = |progress: CompareProgress| bar.step(progress.done as usize, progress.most as usize);
    let found = compare::compare(designs, &options, &args.luck.crew(), &stop, &mut show, &mut kept);
    bar.clear();
    kept.settle()?;
    let found = found.map_err(|why| super::run::refused(&why))?;
    let Some(found) = found else {
        return Err(kept.interrupted("there was anything to compare"));
    };
    let json = screen::json(&found)?;
    let mut table = Vec::new();
    report::differences_csv(&found, &mut table)
        .map_err(|why| Failure::new(Ending::Failed, format!("the table cannot be written: {why}")))?;
    let is_whole = found.stopped_because != StoppedBecause::Cancelled;
    kept.finish(&[(FILES[0], &table), (FILES[1], json.as_bytes())], is_whole)?;
    if let Some(pages) = pages {
        pages.keep_with(proof::comparison(&found), &sources)?;
    }
    if args.json {
        screen::print(&json)?;
    } else {
        screen::print(&report::comparison(&found, Ink::of_stdout()))?;
    }
    Ok(Ending::Done)
}

/// What the study is.
fn identity(designs: &[Design], options: &CompareOptions) -> Value {
    let hash = |design: &Design| format!("{:016x}", fnv_1a(design.text.as_bytes()));
    let one = |design: &Design| json!({ "name": design.name, "hash": hash(design) });
    let is_fixed = options.mode == Mode::Fixed;
    json!({
        "command": "compare",
        "designs": designs.iter().map(one).collect::<Vec<_>>(),
        "seed": options.seed,
        "replications": is_fixed.then_some(options.replications),
        "at_most": (!is_fixed).then_some(options.replications),
        "indifference": options.indifference,
        "inputs_drawn": options.draws_inputs,
        "own_luck": options.own_luck,
        "controls": options.controls,
    })
}
