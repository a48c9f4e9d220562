//! `feedproof payback`: money, apart from the proof.

use super::luck::Luck;
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::source::Source;
use crate::{interrupt, report, screen};
use sim_core::money::{Prices, pay_back};
use std::path::PathBuf;

/// Prices, all in one currency.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Scenario file, `-` for standard input, or the name of a built-in line
    file: PathBuf,
    /// Cost of the line, once
    #[arg(long, value_name = "AMOUNT", value_parser = amount)]
    cost: f64,
    /// Labour that the line replaces, for each hour of a shift
    #[arg(long, value_name = "AMOUNT", value_parser = amount)]
    labour: f64,
    /// Value of a minute in which the point of use waits for parts
    #[arg(long, value_name = "AMOUNT", value_parser = amount)]
    lost_minute: f64,
    /// What running the line costs, for each hour of a shift
    #[arg(long, value_name = "AMOUNT", value_parser = amount, default_value_t = 0.0)]
    running: f64,
    /// Shifts in a year
    #[arg(long, value_name = "N", value_parser = amount)]
    shifts: f64,
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
    let prices = Prices {
        cost: args.cost,
        labour_per_hour: args.labour,
        lost_minute: args.lost_minute,
        running_per_hour: args.running,
        shifts_per_year: args.shifts,
    };
    interrupt::listen()?;
    let seed = args.luck.seed(scenario.plan.seed);
    let crew = args.luck.crew();
    let found = pay_back(scenario, prices, args.replications, seed, &crew, &interrupt::asked);
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
