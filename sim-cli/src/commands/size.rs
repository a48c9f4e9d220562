//! `feedproof size`: the smallest or largest value of a setting with which the promise is proved.

use super::luck::Luck;
use super::pages::Pages;
use crate::designs;
use crate::ending::{Ending, Failure};
use crate::files::Draft;
use crate::ink::Ink;
use crate::progress::Bar;
use crate::source::Source;
use crate::steps::Steps;
use crate::{interrupt, proof, report, screen};
use sim_core::diag::Diagnostic;
use sim_core::scenario;
use sim_core::study::size::{FrontierRow, Grid, SizeError, SizeOptions, SizeResult, Wanted};
use sim_core::study::{self, Variant};
use sim_core::vary::{self, Address, Setting};
use std::io::Write;
use std::path::PathBuf;

/// What to size, and how.
#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("end").required(true))]
pub(crate) struct Args {
    /// Scenario file, `-` for standard input, or the name of a built-in line
    file: PathBuf,
    /// The setting and its values, such as track.capacity=10..200 or "lift.cleats=0.8..1.6 /s:0.05". Given twice: for each value
    /// of the first one, the end of the second one
    #[arg(long = "vary", value_name = "ADDRESS=LOW..HIGH[:STEP]", required = true)]
    varied: Vec<String>,
    /// More helps: find the smallest value that is enough
    #[arg(long, group = "end")]
    smallest: bool,
    /// Less helps: find the largest value that is still good
    #[arg(long, group = "end")]
    largest: bool,
    /// Run N shifts of each value at most; a value ends as soon as it is decided (default: as the file says)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(10..=10_000_000))]
    at_most: Option<u64>,
    /// Chance that any verdict is wrong, at most
    #[arg(long, value_name = "CHANCE", default_value = "5 %", value_parser = super::run::share)]
    error: f64,
    #[command(flatten)]
    luck: Luck,
    /// Print the result as one JSON document; `feedproof schema --of sizing` describes it
    #[arg(long)]
    json: bool,
    /// Write result.json into this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    pages: Pages,
}

/// A setting that is varied.
struct Varied {
    address: Address,
    steps: Steps,
}

impl Varied {
    fn read(text: &str) -> Result<Self, Failure> {
        let Some((address, steps)) = text.rsplit_once('=') else {
            let failure = Failure::new(Ending::BadInput, format!("`{text}` varies nothing"));
            return Err(failure.help("expected ADDRESS=LOW..HIGH, such as track.capacity=10..200"));
        };
        let address = Address::read(address).map_err(|problem| designs::refused(&problem))?;
        let steps = Steps::read(steps).map_err(|why| Failure::new(Ending::BadInput, why))?;
        Ok(Varied { address, steps })
    }

    fn setting(&self, n: usize) -> Setting {
        Setting { address: self.address.clone(), value: self.steps.value(n) }
    }

    fn shown(&self) -> Vec<String> {
        (0..self.steps.len()).map(|n| self.steps.shown(n)).collect()
    }
}

/// The line with one setting varied.
struct Line<'a> {
    source: &'a Source,
    varied: &'a Varied,
    values: Vec<String>,
}

impl Line<'_> {
    fn with(&self, number: usize) -> Source {
        let text = vary::set(&self.source.text, &[self.varied.setting(number)]);
        // That the address leads somewhere was seen beforehand; whatever the value is, it still does.
        let Ok(text) = text else { panic!("the address was found before") };
        let name =
            format!("{} with {} = {}", self.source.name, self.varied.address.text(), self.values[number]);
        Source { name, is_built_in: false, text }
    }
}

impl Grid for Line<'_> {
    fn values(&self) -> &[String] {
        &self.values
    }

    fn variant(&self, number: usize) -> Result<Variant, Vec<Diagnostic>> {
        let checked = scenario::read(&self.with(number).text);
        // Values have luck of their own, so that nothing needs to be paired.
        checked.scenario.map(Variant::unpaired).ok_or(checked.problems)
    }
}

/// Finds the value, prints the answer.
pub(super) fn size(args: &Args) -> Result<Ending, Failure> {
    let source = Source::load(&args.file)?;
    let scenario = source.check_aloud()?;
    let varied = args.varied.iter().map(|text| Varied::read(text)).collect::<Result<Vec<_>, _>>()?;
    for one in &varied {
        designs::with(&source, &[one.setting(0)])?;
    }
    let pages = args.pages.open()?;
    interrupt::listen()?;
    let options = SizeOptions {
        wanted: if args.smallest { Wanted::Smallest } else { Wanted::Largest },
        replications: args.at_most.unwrap_or(scenario.plan.replications),
        seed: args.luck.seed(scenario.plan.seed),
        error: args.error,
    };
    if let Some(folder) = &args.out {
        std::fs::create_dir_all(folder).map_err(|why| Failure::unwritable(folder, why))?;
    }
    let (page, json, of) = match &varied[..] {
        [one] => {
            let found = sized(&source, one, &options, args)?;
            (
                report::sizing(&found, one.address.text(), Ink::of_stdout()),
                screen::json(&found)?,
                proof::sizing(&found, one.address.text()),
            )
        }
        [first, second] => {
            let found = frontier(&source, (first, second), &options, args)?;
            let names = (first.address.text(), second.address.text());
            (
                report::frontier(&found, names, options.error, Ink::of_stdout()),
                screen::json(&found)?,
                proof::frontier(&found, names),
            )
        }
        [] | [_, _, _, ..] => {
            return Err(Failure::new(Ending::BadInput, "one or two settings can be varied"));
        }
    };
    if let Some(pages) = pages {
        pages.keep_with(of, &[source])?;
    }
    if let Some(folder) = &args.out {
        let target = folder.join("result.json");
        let mut draft = Draft::of(target.clone())?;
        draft.write_all(json.as_bytes()).map_err(|why| Failure::unwritable(&target, why))?;
        draft.keep()?;
    }
    screen::print(if args.json { &json } else { &page })?;
    Ok(Ending::Done)
}

fn sized(
    source: &Source,
    varied: &Varied,
    options: &SizeOptions,
    args: &Args,
) -> Result<SizeResult, Failure> {
    let line = Line { source, varied, values: varied.shown() };
    let bar = Bar::new(options.replications, "shifts");
    let found = study::size::size(&line, options, &args.luck.crew(), &interrupt::asked, &mut |progress| {
        bar.tell(progress.shifts, &format!("with {}, after {} others", progress.value, progress.asked));
    });
    bar.clear();
    match found {
        Ok(Some(found)) => Ok(found),
        Ok(None) => Err(Failure::new(Ending::Interrupted, "interrupted before any value was judged")),
        Err(why) => Err(refused(why, &line)),
    }
}

fn refused(why: SizeError, line: &Line<'_>) -> Failure {
    match why {
        SizeError::BadOptions(why) => Failure::new(Ending::BadInput, why.to_string()),
        SizeError::NoPromise => {
            let failure =
                Failure::new(Ending::BadInput, "the file promises nothing, so no value can be proved");
            failure.help(
                "add a `promise`, such as {\"clauses\": {\"rate\": \"85 /min\", \"in_shifts\": \"95 %\"}}",
            )
        }
        SizeError::Unsound { value, problems } => {
            match line.values.iter().position(|known| *known == value) {
                Some(number) => line.with(number).refused(&problems),
                None => Failure::new(Ending::BadInput, format!("no sound scenario with {value}")),
            }
        }
        SizeError::Run { value, why } => {
            Failure::new(super::run::ending_of(&why), format!("with {value}: {why}"))
        }
    }
}

/// For each value of the first setting, the end of the second. The error is shared by all of them.
fn frontier(
    source: &Source,
    (first, second): (&Varied, &Varied),
    options: &SizeOptions,
    args: &Args,
) -> Result<Vec<FrontierRow>, Failure> {
    const ROWS_MAX: usize = 200;
    let n = first.steps.len();
    if n > ROWS_MAX {
        let message = format!("{n} values of `{}` are too many, at most {ROWS_MAX}", first.address.text());
        return Err(Failure::new(Ending::BadInput, message).help("give it a step, as in 10..200:10"));
    }
    let options = SizeOptions { error: options.error / n as f64, ..*options };
    let mut rows = Vec::new();
    for number in 0..n {
        let changed = designs::with(source, &[first.setting(number)])?;
        changed.check()?;
        // Luck of its own for each of them.
        let seed = options.seed.wrapping_add((number * second.steps.len()) as u64);
        let found = match sized(&changed, second, &SizeOptions { seed, ..options }, args) {
            Err(why) if why.ending == Ending::Interrupted && !rows.is_empty() => break,
            found => found?,
        };
        rows.push(FrontierRow { value: first.steps.shown(number), found });
        if interrupt::asked() {
            break;
        }
    }
    Ok(rows)
}
