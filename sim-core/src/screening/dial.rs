//! Dials: what is turned, each from 0 (low) to 1 (high).
//!
//! Either a factor of a sweep file, or a number of the scenario that is moved by a share of itself to both sides. Invariant:
//! a dial sets the same values of the scenario wherever it stands.

use super::result::LeftOut;
use crate::scenario::Scenario;
use crate::sweep::{Factor, Unsound, prepare};
use crate::vary::{Address, Knob, Setting, knobs, set, short};
use serde_json::Value;

/// What is turned.
#[derive(Debug, Clone, PartialEq)]
pub struct Dial {
    /// Its name.
    pub name: String,
    turns: Turns,
}

#[derive(Debug, Clone, PartialEq)]
enum Turns {
    Factor(Factor),
    Knob {
        knob: Knob,
        address: Address,
        share: f64,
        /// How far it is moved down and up: -1 or 0, and 0 or 1.
        ends: (f64, f64),
    },
}

/// Where a dial stands: what is set, and what that is called.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Stand {
    pub(super) settings: Vec<Setting>,
    pub(super) label: String,
}

/// Dials for the factors of a sweep file that have a range or a list of values; the others are left out.
pub fn dials_of_factors(factors: &[Factor]) -> Vec<Dial> {
    let dial = |factor: &Factor| Dial { name: factor.name.clone(), turns: Turns::Factor(factor.clone()) };
    factors.iter().filter(|factor| !factor.is_free()).map(dial).collect()
}

/// Dials for all numbers of a scenario that limit it, each moved by this share of itself; see [`Knob::moved`].
pub fn dials_of_knobs(source: &str, scenario: &Scenario, share: f64) -> Vec<Dial> {
    let dial = |knob: Knob| {
        knob.moved(share, 1.0)?;
        let address = Address::read(&knob.path).ok()?;
        let name = short(&knob.path);
        Some(Dial { name, turns: Turns::Knob { knob, address, share, ends: (-1.0, 1.0) } })
    };
    knobs(source, scenario).into_iter().filter_map(dial).collect()
}

impl Dial {
    /// Where it stands at a share of its range.
    pub(super) fn at(&self, share: f64) -> Option<Stand> {
        match &self.turns {
            Turns::Factor(factor) => {
                let level = factor.at(share);
                Some(Stand { settings: factor.settings(&level), label: level.label })
            }
            Turns::Knob { knob, address, share: by, ends: (low, high) } => {
                let change = knob.moved(*by, low + (high - low) * share)?;
                let text = knob.rewritten(change)?;
                let value: Value = serde_json::from_str(&text).ok()?;
                let label = text.trim_matches('"').to_owned();
                Some(Stand { settings: vec![Setting { address: address.clone(), value }], label })
            }
        }
    }
}

/// The dials that can be turned alone. A number that cannot go one way is moved the other way only.
pub(super) fn that_move(dials: Vec<Dial>, source: &str) -> (Vec<Dial>, Vec<LeftOut>) {
    let (mut kept, mut left_out) = (Vec::new(), Vec::new());
    for dial in dials {
        let Turns::Knob { knob, address, share, .. } = &dial.turns else {
            kept.push(dial);
            continue;
        };
        let (low, high) = (problem(&dial, source, 0.0), problem(&dial, source, 1.0));
        let ends = match (&low, &high) {
            (None, None) => (-1.0, 1.0),
            (None, Some(_)) => (-1.0, 0.0),
            (Some(_), None) => (0.0, 1.0),
            (Some(_), Some(reason)) => {
                left_out.push(LeftOut { factor: dial.name, reason: reason.clone() });
                continue;
            }
        };
        let turns = Turns::Knob { knob: knob.clone(), address: address.clone(), share: *share, ends };
        kept.push(Dial { name: dial.name, turns });
    }
    (kept, left_out)
}

/// What is wrong with the scenario when only this dial is turned.
fn problem(dial: &Dial, source: &str, share: f64) -> Option<String> {
    let Some(stand) = dial.at(share) else { return Some("it cannot be moved this way".to_owned()) };
    if let Turns::Knob { knob, share: by, ends: (low, high), .. } = &dial.turns
        && knob.moved(*by, low + (high - low) * share).is_some_and(|change| !knob.moves(change))
    {
        return Some("no share of nothing, or of what a chance of one lacks to one, moves it".to_owned());
    }
    match set(source, &stand.settings) {
        Err(why) => Some(why.problem.message),
        Ok(text) => prepare(text).err().map(|why: Unsound| why.reason()),
    }
}
