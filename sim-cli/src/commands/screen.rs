//! `feedproof screen`: which numbers matter.

use super::luck::Luck;
use super::pages::Pages;
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::kept::KeptShifts;
use crate::progress::Bar;
use crate::report;
use crate::source::Source;
use crate::sweep::with_scenario;
use crate::{interrupt, proof, screen};
use serde_json::{Value, json};
use sim_core::evidence::known;
use sim_core::screening::{
    self, Dial, Method, ScreenError, ScreenOptions, ScreenWatch, dials_of_factors, dials_of_knobs,
};
use sim_core::sweep;
use sim_core::text::hash::fnv_1a;
use sim_core::text::suggest::nearest;
use std::path::PathBuf;

/// What is left in a folder.
const FILES: [&str; 2] = ["factors.csv", "result.json"];

/// What to screen, and how.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Sweep file, whose factors are screened over their ranges; or a scenario (a file, `-`, or the name of a built-in
    /// line), of which all numbers that limit the line are moved by --by. Left out: the default line
    file: Option<PathBuf>,
    /// How to look
    #[arg(long, value_enum, default_value_t = Way::Tornado)]
    method: Way,
    /// Which output, by its name as in the columns of replications.csv
    #[arg(long, value_name = "NAME", default_value = "rate")]
    output: String,
    /// For a scenario without a sweep file: by which share of itself each number is moved down and up
    #[arg(long, value_name = "PERCENT", default_value_t = 10.0, value_parser = share)]
    by: f64,
    /// Shifts at each point; left out: 20 for a tornado, else 2
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(2..=1_000_000))]
    replications: Option<u64>,
    /// With `--method effects`: random ways through the ranges, each of one point more than there are factors
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u64).range(2..=1_000_000))]
    trajectories: u64,
    /// With `--method effects`: levels of each factor, an even number
    #[arg(long, value_name = "N", default_value_t = 4, value_parser = clap::value_parser!(u64).range(2..=1000))]
    levels: u64,
    /// With `--method shares`: rows of the design, each of two points more than there are factors; 16 times a power of two
    /// is best
    #[arg(long, value_name = "N", default_value_t = 512, value_parser = clap::value_parser!(u64).range(32..=10_000_000))]
    rows: u64,
    /// With `--method shares`: look at each pair of factors too, for nearly twice the points
    #[arg(long)]
    pairs: bool,
    #[command(flatten)]
    luck: Luck,
    /// Print the result as one JSON document; `feedproof schema --of screen` describes it
    #[arg(long)]
    json: bool,
    /// Print the result as CSV, one row for each factor and measure
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// Write result.json and factors.csv into this folder. Started again with the same folder, a screening that was
    /// interrupted goes on
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    pages: Pages,
}

/// How to look at factors.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Way {
    /// Each factor alone, down and up (a list: its first and its last value), from the scenario as it stands: the fewest
    /// shifts, no interactions
    Tornado,
    /// Elementary effects from many places in the ranges: tells factors whose effect depends on the others
    Effects,
    /// Shares of the variance over all ranges, alone and together with others: the most shifts
    Shares,
}

fn share(text: &str) -> Result<f64, String> {
    let number = text.trim().trim_end_matches('%').trim_end();
    match number.parse::<f64>() {
        Ok(percent) if percent > 0.0 && percent < 100.0 => Ok(percent),
        Ok(_) | Err(_) => Err("a number of percent above 0 and below 100, such as `10`".to_owned()),
    }
}

/// What is screened.
struct Job {
    base: Source,
    /// All files that it was made of.
    sources: Vec<Source>,
    /// Hash of the sweep file, if there is one.
    sweep_hash: Option<u64>,
    dials: Vec<Dial>,
    seed: u64,
    /// Whether inputs are known from evidence.
    has_evidence: bool,
}

impl Job {
    /// What the study is.
    fn identity(&self, args: &Args, options: &ScreenOptions) -> Value {
        let hex = |hash: u64| format!("{hash:016x}");
        json!({
            "command": "screen",
            "sweep_hash": self.sweep_hash.map(hex),
            "scenario_hash": hex(fnv_1a(self.base.text.as_bytes())),
            "seed": options.seed,
            "replications": options.replications,
            "method": format!("{:?}", options.method),
            "output": options.output,
            "by": self.sweep_hash.is_none().then_some(args.by),
        })
    }
}

/// Screens the factors, and prints them in the order of their importance.
pub(super) fn screen(args: &Args) -> Result<Ending, Failure> {
    if args.method == Way::Effects && !args.levels.is_multiple_of(2) {
        return Err(Failure::new(Ending::BadInput, "--levels wants an even number"));
    }
    let job = load(args)?;
    let pages = args.pages.open()?;
    interrupt::listen()?;
    let (method, replications) = match args.method {
        Way::Tornado => (Method::Tornado, 20),
        Way::Effects => (Method::Effects { trajectories: args.trajectories, levels: args.levels }, 2),
        Way::Shares => (Method::Shares { rows: args.rows, with_pairs: args.pairs }, 2),
    };
    let options = ScreenOptions {
        method,
        replications: args.replications.unwrap_or(replications),
        seed: args.luck.seed(job.seed),
        level: 0.95,
        output: args.output.clone(),
    };
    let mut kept = KeptShifts::open(args.out.as_deref(), &FILES, &job.identity(args, &options))?;
    let stop = kept.stop();
    let bar = Bar::with_time_left("points", 0, 0);
    let mut step = |done: u64, of: u64| bar.share(done as f64, of);
    let mut watch = ScreenWatch { cancelled: &stop, progress: &mut step, kept: &mut kept };
    let found = screening::screen(&job.base.text, job.dials, &options, &args.luck.crew(), &mut watch);
    bar.clear();
    kept.settle()?;
    let Some(found) = found.map_err(|why| refused(&job.base, &why))? else {
        return Err(kept.interrupted("all points were run"));
    };
    let (json, table) = (screen::json(&found)?, report::screening_csv(&found)?);
    kept.finish(&[(FILES[0], table.as_bytes()), (FILES[1], json.as_bytes())], true)?;
    if let Some(pages) = pages {
        pages.keep_with(proof::screening(&found), &job.sources)?;
    }
    let page = match (args.json, args.csv) {
        (true, _) => json,
        (false, true) => table,
        (false, false) => report::screening(&found, job.has_evidence, Ink::of_stdout()),
    };
    screen::print(&page)?;
    Ok(Ending::Done)
}

/// Reads a sweep file with its scenario, or a scenario alone.
fn load(args: &Args) -> Result<Job, Failure> {
    let source = Source::load_or_default(args.file.as_ref())?;
    if !sweep::is_sweep(&source.text) {
        let scenario = source.check_aloud()?;
        let dials = dials_of_knobs(&source.text, &scenario, args.by / 100.0);
        let (seed, has_evidence) = (scenario.plan.seed, !known(&scenario).is_empty());
        let sources = vec![source.clone()];
        return Ok(Job { sources, base: source, sweep_hash: None, dials, seed, has_evidence });
    }
    let (found, base, _) = with_scenario(args.file.as_deref(), &source)?;
    let scenario = base.check_aloud()?;
    let dials = dials_of_factors(&found.factors);
    if dials.len() < found.factors.len() {
        let free = found.factors.iter().find(|factor| factor.is_free()).map_or("", |factor| &factor.name);
        let message = format!("the factor `{free}` has neither a range nor values of its own");
        return Err(Failure::new(Ending::BadInput, message)
            .help("to be screened it needs `low` and `high`, or `values`"));
    }
    let sweep_hash = Some(fnv_1a(source.text.as_bytes()));
    let (seed, has_evidence) = (found.seed.unwrap_or(scenario.plan.seed), !known(&scenario).is_empty());
    let sources = vec![source, base.clone()];
    Ok(Job { base, sources, sweep_hash, dials, seed, has_evidence })
}

fn refused(base: &Source, why: &ScreenError) -> Failure {
    let failure = Failure::new(Ending::BadInput, why.to_string());
    match why {
        ScreenError::Unsound(problems) => base.refused(problems),
        ScreenError::NoOutput { name, names } => match nearest(name, names.iter().map(String::as_str)) {
            Some(near) => failure.help(format!("did you mean `{near}`?")),
            None => failure.help("outputs are called as in replications.csv of `feedproof run --out`"),
        },
        ScreenError::Point { .. } => failure.help("narrow the ranges, so that every combination is sound"),
        ScreenError::NoVariance => {
            failure.help("widen the ranges, or look with `--method tornado` which numbers do anything")
        }
        ScreenError::NoFactor | ScreenError::Run(_) | ScreenError::Statistics(_) => failure,
    }
}
