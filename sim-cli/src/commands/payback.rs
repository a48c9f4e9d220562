//! `feedproof payback`: money, apart from the proof.

use super::luck::Luck;
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::source::Source;
use crate::{interrupt, report, screen};
use sim_core::money::{MoneyOptions, Prices, pay_back};
use std::path::PathBuf;

/// Prices, all in one currency. Those that are left out are the ones of the file's `money`.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Scenario file, `-` for standard input, or the name of a built-in line
    file: PathBuf,
    /// Cost of the line, once
    #[arg(long, value_name = "AMOUNT", value_parser = amount)]
    cost: Option<f64>,
    /// Labour that the line replaces, for each hour of a shift
    #[arg(long, value_name = "AMOUNT", value_parser = amount)]
    labour: Option<f64>,
    /// Value of a minute in which the point of use waits for parts
    #[arg(long, value_name = "AMOUNT", value_parser = amount)]
    lost_minute: Option<f64>,
    /// What running the line costs, for each hour of a shift (default: that of the file, or nothing)
    #[arg(long, value_name = "AMOUNT", value_parser = amount)]
    running: Option<f64>,
    /// Shifts in a year
    #[arg(long, value_name = "N", value_parser = amount)]
    shifts: Option<f64>,
    /// Simulated shifts
    #[arg(long, value_name = "N", default_value_t = 100, value_parser = clap::value_parser!(u64).range(2..=1_000_000))]
    replications: u64,
    #[command(flatten)]
    luck: Luck,
    /// Print the result as one JSON document
    #[arg(long)]
    json: bool,
}

fn amount(text: &str) -> Result<f64, String> {
    let amount: f64 = text.trim().parse().map_err(|_| "a plain number, such as 180000".to_owned())?;
    if (0.0..=1e15).contains(&amount) { Ok(amount) } else { Err("a number of zero or more".to_owned()) }
}

/// Simulates shifts and prints the account.
pub(super) fn payback(args: &Args) -> Result<Ending, Failure> {
    let source = Source::load(&args.file)?;
    let scenario = source.check_aloud()?;
    let prices = prices(args, &source, scenario.money)?;
    interrupt::listen()?;
    let seed = args.luck.seed(scenario.plan.seed);
    let crew = args.luck.crew();
    let options = MoneyOptions { replications: args.replications, seed, level: 0.95 };
    let found = pay_back(&source.text, scenario, prices, options, &crew, &interrupt::asked);
    let found = found.map_err(|why| Failure::new(Ending::BadInput, why.to_string()))?;
    let Some(found) = found else {
        return Err(Failure::interrupted("all shifts were simulated"));
    };
    if args.json {
        screen::print(&screen::json(&found)?)?;
    } else {
        screen::print(&report::pay_back(&found, Ink::of_stdout()))?;
    }
    Ok(Ending::Done)
}

/// The prices that were given, and those of the file for the others.
fn prices(args: &Args, source: &Source, file: Option<Prices>) -> Result<Prices, Failure> {
    let missing = |option: &str, key: &str| {
        let failure = Failure::new(
            Ending::BadInput,
            format!("there is no `{option}`, and `{}` has no `money`", source.name),
        );
        failure.help(format!(
            "give `{option}`, or `{key}` with all other prices in the section `money` of the file"
        ))
    };
    let price = |given: Option<f64>, of_file: fn(&Prices) -> f64, option: &str, key: &str| {
        given.or(file.as_ref().map(of_file)).ok_or_else(|| missing(option, key))
    };
    Ok(Prices {
        cost: price(args.cost, |file| file.cost, "--cost", "cost")?,
        labour_per_hour: price(args.labour, |file| file.labour_per_hour, "--labour", "labour_per_hour")?,
        lost_minute: price(args.lost_minute, |file| file.lost_minute, "--lost-minute", "lost_minute")?,
        running_per_hour: args.running.or(file.map(|file| file.running_per_hour)).unwrap_or(0.0),
        shifts_per_year: price(args.shifts, |file| file.shifts_per_year, "--shifts", "shifts_per_year")?,
    })
}
