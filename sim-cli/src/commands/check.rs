//! `feedproof check`: a file without simulating it.

use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::problems::counted;
use crate::report;
use crate::screen::{self, safe};
use crate::source::Source;
use sim_core::balance::BalanceResult;
use sim_core::evidence;
use sim_core::network;
use sim_core::scenario::Scenario;
use sim_core::study::{self, Options};
use std::path::PathBuf;

/// What to check.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Scenario file, `-` for standard input, or the name of a built-in line
    file: PathBuf,
    /// Print the balance as JSON in place of the page
    #[arg(long)]
    json: bool,
}

/// Says what is wrong with the file and what its line can carry.
pub(super) fn check(args: &Args) -> Result<Ending, Failure> {
    let source = Source::load(&args.file)?;
    let scenario = source.check_aloud()?;
    let found = BalanceResult::of(&scenario).map_err(|problems| source.refused(&problems.into_vec()))?;
    if args.json {
        screen::print(&screen::json(&found)?)?;
        return Ok(Ending::Done);
    }
    let plan = network::compile(&scenario);
    let n_stations: u32 = scenario.stations.iter().map(|entry| entry.count).sum();
    let first = format!(
        "{} is sound: {}, {} counted at {}",
        safe(&source.name),
        counted(n_stations as usize, "station"),
        if scenario.kinds.len() == 1 {
            "parts".to_owned()
        } else {
            counted(scenario.kinds.len(), "part kind")
        },
        points(&plan)
    );
    let mut page = screen::wrap(&first, "", "  ", screen::WIDTH);
    page.push_str(&outlook(&scenario)?);
    page.push('\n');
    let known = evidence::estimates(&scenario, 0.95);
    if !known.is_empty() {
        page.push_str(&report::evidence(&known, Ink::of_stdout()));
        page.push('\n');
    }
    let pages = found.balances.iter().map(|balance| report::balance(balance, Ink::of_stdout()));
    page.push_str(&pages.collect::<Vec<_>>().join("\n"));
    screen::print(&page)?;
    Ok(Ending::Done)
}

fn points(plan: &network::Plan) -> String {
    let names: Vec<String> =
        plan.tally.points.iter().map(|point| format!("`{}`", safe(&plan.names.posts[point.ix()]))).collect();
    names.join(", ")
}

/// How many shifts a verdict takes, which can be said before the first one.
fn outlook(scenario: &Scenario) -> Result<String, Failure> {
    let options = Options::of(scenario);
    let promise =
        study::outlook(scenario, &options).map_err(|why| Failure::new(Ending::BadInput, why.to_string()))?;
    let Some(promise) = promise else {
        return Ok("it promises nothing: `run` measures, and gives no verdict\n".to_owned());
    };
    let budget = options.replications;
    Ok(match promise.fewest_to_prove {
        Some(n) => {
            format!("its promise can be proved with {n} shifts at best; the plan has up to {budget}\n")
        }
        None => format!("its promise cannot be proved with the {budget} shifts of the plan: it needs more\n"),
    })
}
