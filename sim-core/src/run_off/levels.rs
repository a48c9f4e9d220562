//! Levels of a line: the file with one or several of its numbers scaled.
//!
//! A time between jams is divided where a chance of a jam is multiplied, so that a factor on jams means the same for all of them.

use crate::diag::Problem;
use crate::scenario::Scenario;
use crate::vary::{Address, Change, Knob, Setting, find, knobs_under, set};
use serde_json::Value;

/// What is scaled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Vary {
    /// How often all jams of the line come.
    Jams,
    /// These values, all together.
    Addresses(Vec<Address>),
}

/// Keys of the file with numbers that can be scaled.
const LISTS: [&str; 4] = ["stations", "sensors", "attendants", "parts"];

/// Keys under which a jam says how often it comes.
const JAM_KEYS: [&str; 3] = [".per_part", ".per_part_by_condition", ".every"];

fn is_jam_rate(knob: &Knob) -> bool {
    knob.path.contains(".jams[") && JAM_KEYS.iter().any(|key| knob.path.contains(key))
}

/// The text of a scenario at a level.
///
/// # Errors
/// An address that leads nowhere or to no number, or a line without jams.
pub fn scaled(source: &str, scenario: &Scenario, vary: &Vary, factor: f64) -> Result<String, Problem> {
    let known = knobs_under(&LISTS, source, scenario);
    let mut chosen: Vec<(&Knob, f64)> = Vec::new();
    match vary {
        Vary::Jams => {
            chosen.extend(
                known
                    .iter()
                    .filter(|knob| is_jam_rate(knob))
                    .map(|knob| (knob, if knob.path.ends_with(".every") { 1.0 / factor } else { factor })),
            );
            if chosen.is_empty() {
                let problem = Problem::new(crate::diag::code::UNKNOWN_NAME, "the line has no jams to scale");
                return Err(problem.help("name what is to be scaled by its address"));
            }
        }
        Vary::Addresses(addresses) => {
            for address in addresses {
                let spot = find(source, address)?;
                let Some(knob) = known.iter().find(|knob| knob.path == spot.path) else {
                    let message = format!("`{}` is no number that can be scaled", address.text());
                    let problem = Problem::new(crate::diag::code::WRONG_TYPE, message);
                    return Err(problem
                        .expected("the address of a time, a rate, a length, a chance or a law of the line"));
                };
                chosen.push((knob, factor));
            }
        }
    }
    if factor == 1.0 {
        return Ok(source.to_owned());
    }
    let settings: Result<Vec<Setting>, Problem> = chosen
        .into_iter()
        // What is zero stays zero and is not changed.
        .filter_map(|(knob, factor)| knob.changed(source, Change::Times(factor)).map(|(_, new)| (knob, new)))
        .map(|(knob, new)| {
            let value = serde_json::from_str(&new).unwrap_or(Value::String(new));
            Ok(Setting { address: Address::read(&knob.path)?, value })
        })
        .collect();
    set(source, &settings?).map_err(|unchanged| unchanged.problem)
}
