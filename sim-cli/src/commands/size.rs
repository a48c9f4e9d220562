//! `feedproof size`: the smallest or largest value of a setting with which the promise is proved.

use super::luck::Luck;
use super::pages::Pages;
use crate::designs;
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::kept::KeptShifts;
use crate::progress::Bar;
use crate::source::Source;
use crate::{interrupt, proof, report, screen};
use serde_json::{Value, json};
use sim_core::diag::Diagnostic;
use sim_core::scenario;
use sim_core::study::size::{FrontierRow, Grid, SizeError, SizeOptions, SizeProgress, SizeResult, Wanted};
use sim_core::study::{self, Variant};
use sim_core::sweep::Range;
use sim_core::text::hash::fnv_1a;
use sim_core::vary::{self, Address, Setting};
use std::path::PathBuf;

/// What is left in a folder.
const FILES: [&str; 1] = ["result.json"];

/// What to size, and how.
#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("end").required(true))]
pub(crate) struct Args {
    /// Scenario file, `-` for standard input, or the name of a built-in line; left out: the default line
    file: Option<PathBuf>,
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
    /// Write result.json into this folder. Started again with the same folder, sizing that was interrupted goes on
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    pages: Pages,
}

/// A setting that is varied.
struct Varied {
    address: Address,
    range: Range,
}

impl Varied {
    fn read(text: &str) -> Result<Self, Failure> {
        let Some((address, range)) = text.rsplit_once('=') else {
            let failure = Failure::new(Ending::BadInput, format!("`{text}` varies nothing"));
            return Err(failure.help("expected ADDRESS=LOW..HIGH, such as track.capacity=10..200"));
        };
        let address = Address::read(address).map_err(|problem| designs::refused(&problem))?;
        let range = Range::typed(range).map_err(|problem| designs::refused(&problem))?;
        Ok(Varied { address, range })
    }

    fn setting(&self, n: usize) -> Setting {
        Setting { address: self.address.clone(), value: self.range.level(n as u64) }
    }

    fn len(&self) -> usize {
        self.range.n_levels().map_or(0, |n| n as usize)
    }

    fn shown(&self) -> Vec<String> {
        (0..self.len()).map(|n| vary::plain(&self.setting(n).value)).collect()
    }
}

/// Refuses two settings of which the second undoes the first.
fn apart(source: &Source, varied: &[Varied]) -> Result<(), Failure> {
    let [first, second] = varied else { return Ok(()) };
    let find = |one: &Varied| vary::find(&source.text, &one.address).map_err(|why| designs::refused(&why));
    if !find(second)?.undoes(&find(first)?) {
        return Ok(());
    }
    let message = format!(
        "`{}` undoes what `{}` sets: they are not two settings",
        second.address.text(),
        first.address.text()
    );
    Err(Failure::new(Ending::BadInput, message).help("vary another setting, or only one"))
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
        Source::changed(name, text)
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

/// What the study is.
fn identity(source: &Source, options: &SizeOptions, args: &Args) -> Value {
    json!({
        "command": "size",
        "scenario_hash": format!("{:016x}", fnv_1a(source.text.as_bytes())),
        "seed": options.seed,
        "at_most": options.replications,
        "varied": args.varied,
        "wanted": options.wanted,
        "error": options.error,
    })
}

/// Finds the value, prints the answer.
pub(super) fn size(args: &Args) -> Result<Ending, Failure> {
    let source = Source::load_or_default(args.file.as_ref())?;
    let (scenario, varied) = Failure::both(
        source.check_aloud(),
        Failure::none_in(args.varied.iter().map(|text| Varied::read(text))),
    )?;
    Failure::none_in(varied.iter().map(|one| designs::with(&source, &[one.setting(0)])))?;
    apart(&source, &varied)?;
    let pages = args.pages.open()?;
    interrupt::listen()?;
    let options = SizeOptions {
        wanted: if args.smallest { Wanted::Smallest } else { Wanted::Largest },
        replications: args.at_most.unwrap_or(scenario.plan.replications),
        seed: args.luck.seed(scenario.plan.seed),
        error: args.error,
    };
    let mut kept = KeptShifts::open(args.out.as_deref(), &FILES, &identity(&source, &options, args))?;
    let (page, json, of, is_whole) = match &varied[..] {
        [one] => {
            let found = sized(&source, one, &options, args, &mut kept)?;
            (
                report::sizing(&found, one.address.text(), Ink::of_stdout()),
                screen::json(&found)?,
                proof::sizing(&found, one.address.text()),
                !found.interrupted,
            )
        }
        [first, second] => {
            let found = frontier(&source, (first, second), &options, args, &mut kept)?;
            let names = (first.address.text(), second.address.text());
            (
                report::frontier(&found, names, options.error, Ink::of_stdout()),
                screen::json(&found)?,
                proof::frontier(&found, names),
                found.len() == first.len() && found.iter().all(|row| !row.found.interrupted),
            )
        }
        [] | [_, _, _, ..] => {
            return Err(Failure::new(Ending::BadInput, "one or two settings can be varied"));
        }
    };
    if let Some(pages) = pages {
        pages.keep_with(of, &[source])?;
    }
    kept.finish(&[(FILES[0], json.as_bytes())], is_whole)?;
    screen::print(if args.json { &json } else { &page })?;
    Ok(Ending::Done)
}

fn sized(
    source: &Source,
    varied: &Varied,
    options: &SizeOptions,
    args: &Args,
    kept: &mut KeptShifts,
) -> Result<SizeResult, Failure> {
    let line = Line { source, varied, values: varied.shown() };
    let bar = Bar::new(options.replications, "shifts");
    let stop = kept.stop();
    let mut show = |progress: &SizeProgress| {
        bar.tell(progress.shifts, &format!("with {}, after {} others", progress.value, progress.asked));
    };
    let found = study::size::size(&line, options, &args.luck.crew(), &stop, &mut show, kept);
    bar.clear();
    kept.settle()?;
    match found {
        Ok(Some(found)) => Ok(found),
        Ok(None) => Err(kept.interrupted("any value was judged")),
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
    kept: &mut KeptShifts,
) -> Result<Vec<FrontierRow>, Failure> {
    const ROWS_MAX: usize = 200;
    let n = first.len();
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
        let before = (number * second.len()) as u64;
        kept.count_from(before);
        let seed = options.seed.wrapping_add(before);
        let found = match sized(&changed, second, &SizeOptions { seed, ..options }, args, kept) {
            Err(why) if why.ending == Ending::Interrupted && !rows.is_empty() => break,
            found => found?,
        };
        rows.push(FrontierRow { value: vary::plain(&first.setting(number).value), found });
        if interrupt::asked() {
            break;
        }
    }
    Ok(rows)
}
