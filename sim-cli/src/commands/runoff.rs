//! `feedproof runoff`: the acceptance test before it is signed.

use super::luck::Luck;
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::progress::Bar;
use crate::source::Source;
use crate::{interrupt, report, screen};
use sim_core::run_off::{Risks, RunOffOptions, Vary, run_off};
use sim_core::units::{Dimension, parse};
use sim_core::vary::Address;
use std::path::PathBuf;

/// Which run-off, and what to vary.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Scenario file with a `run_off`, `-` for standard input, or the name of a built-in line
    file: PathBuf,
    /// Another length than that of the file
    #[arg(long, value_name = "H", value_parser = hours)]
    hours: Option<f64>,
    /// What the factors scale: an address of the file, several to scale them together; left out: how often jams come
    #[arg(long, value_name = "ADDRESS", num_args = 1..)]
    vary: Vec<String>,
    /// Factors at which the chance to pass is worked out
    #[arg(long, value_name = "F", num_args = 1.., value_delimiter = ',', value_parser = factor, default_values_t = [0.5, 1.0, 1.5, 2.0, 3.0, 5.0])]
    factors: Vec<f64>,
    /// Factor of a line that is too bad: gives the risks of both sides, and the smallest plan that holds them
    #[arg(long, value_name = "F", value_parser = factor)]
    bad: Option<f64>,
    /// Factor of a line that is good enough
    #[arg(long, value_name = "F", value_parser = factor, default_value_t = 1.0, requires = "bad")]
    good: f64,
    /// Most chance that the good line fails
    #[arg(long, value_name = "SHARE", value_parser = share, default_value = "5 %", requires = "bad")]
    producer_risk: f64,
    /// Most chance that the bad line passes
    #[arg(long, value_name = "SHARE", value_parser = share, default_value = "10 %", requires = "bad")]
    consumer_risk: f64,
    /// Greatest length of the smallest plan, in hours
    #[arg(long, value_name = "H", value_parser = hours, default_value = "24", requires = "bad")]
    up_to: f64,
    /// Simulated run-offs at each factor
    #[arg(long, value_name = "N", default_value_t = 1000, value_parser = clap::value_parser!(u64).range(10..=100_000))]
    replications: u64,
    #[command(flatten)]
    luck: Luck,
    /// Print the result as one JSON document
    #[arg(long)]
    json: bool,
}

/// Longest run-off, h: the longest shift of a scenario.
const HOURS_MAX: f64 = 288.0;

/// Hours in seconds.
fn hours(text: &str) -> Result<f64, String> {
    let seconds = match text.trim().parse::<f64>() {
        Ok(hours) => 3600.0 * hours,
        Err(_) => parse(text, Dimension::Time).map_err(|why| why.to_string())?,
    };
    let is_sound = seconds > 0.0 && seconds <= 3600.0 * HOURS_MAX;
    if is_sound { Ok(seconds) } else { Err(format!("a time above zero, {HOURS_MAX} hours at most")) }
}

fn factor(text: &str) -> Result<f64, String> {
    let factor: f64 = text.trim().parse().map_err(|_| "a number above zero, such as 1.5".to_owned())?;
    if factor > 0.0 && factor <= 1e6 {
        Ok(factor)
    } else {
        Err("a number above zero, such as 1.5".to_owned())
    }
}

fn share(text: &str) -> Result<f64, String> {
    let share = parse(text, Dimension::Share).map_err(|why| why.to_string())?;
    if share > 0.0 && share < 1.0 {
        Ok(share)
    } else {
        Err("a share between 0 and 1, such as \"5 %\"".to_owned())
    }
}

/// Simulates run-offs and prints what both sides risk.
pub(super) fn runoff(args: &Args) -> Result<Ending, Failure> {
    let source = Source::load(&args.file)?;
    let scenario = source.check_aloud()?;
    let Some(mut spec) = scenario.run_off.clone() else {
        let failure = Failure::new(Ending::BadInput, format!("`{}` has no `run_off`", source.name));
        return Err(failure.help(
            "add what is agreed, such as \"run_off\": { \"length\": \"4 h\", \"least_rate\": \"85 /min\", \"most_jams\": 3 }",
        ));
    };
    spec.length_s = args.hours.unwrap_or(spec.length_s);
    let options = RunOffOptions {
        replications: args.replications,
        seed: args.luck.seed(scenario.plan.seed),
        level: 0.95,
        vary: vary(&args.vary)?,
        factors: args.factors.clone(),
        risks: args.bad.map(|bad| Risks {
            good: args.good,
            bad,
            producer: args.producer_risk,
            consumer: args.consumer_risk,
            up_to_s: args.up_to,
        }),
    };
    interrupt::listen()?;
    let crew = args.luck.crew();
    let bar = Bar::new(0, "factors tried");
    let found = run_off(&source.text, &spec, &options, &crew, &interrupt::asked, &mut |done, of| {
        bar.step(done, of);
    });
    bar.clear();
    let found = found.map_err(|why| Failure::new(Ending::BadInput, why.to_string()))?;
    let Some(found) = found else {
        return Err(Failure::interrupted("all factors were tried"));
    };
    if args.json {
        screen::print(&screen::json(&found)?)?;
    } else {
        screen::print(&report::run_off(&found, Ink::of_stdout()))?;
    }
    Ok(Ending::Done)
}

fn vary(addresses: &[String]) -> Result<Vary, Failure> {
    if addresses.is_empty() {
        return Ok(Vary::Jams);
    }
    let read = |text: &String| {
        Address::read(text).map_err(|problem| Failure::new(Ending::BadInput, problem.message))
    };
    addresses.iter().map(read).collect::<Result<Vec<Address>, Failure>>().map(Vary::Addresses)
}
