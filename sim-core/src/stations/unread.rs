//! A station whose type is not known: it keeps its place and its name while the rest of the file is checked.
//!
//! It says nothing of itself but where it gives to. Invariant: a scenario that has one has an error, and is never built.

use super::Station;
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, read_to};
use crate::text::fields::Object;

/// Stands for the word of a type that is not known.
pub(super) const WORD: &str = "";

#[derive(Debug)]
pub(super) struct Unread {
    to: To,
}

/// Reads what all stations have, and passes over the rest.
pub(super) fn read(object: &mut Object<'_>) -> Unread {
    object.pass_over_the_rest();
    Unread { to: read_to(object) }
}

impl Blueprint for Unread {
    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    /// Nobody can say that it lacks a feeder.
    fn is_stocked(&self) -> bool {
        true
    }

    fn traffic(&self, _: &mut TrafficSite<'_>) {}

    fn build(&self, _: &mut Site<'_>) -> Station {
        unreachable!("a scenario with an error is never built")
    }
}
