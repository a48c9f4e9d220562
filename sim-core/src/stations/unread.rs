//! A station whose type is not known: it keeps its place and its name while the rest of the file is checked.
//!
//! It says nothing of itself but where it gives to, as far as keys say so that mean the same in every station. Invariant: a scenario that has one has an error, and is never built.

use super::Station;
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, read_to};
use super::catalogue::CATALOGUE;
use crate::text::fields::{Object, known_keys};
use crate::text::forms::{Spanned, list_of, name};

/// Stands for the word of a type that is not known.
pub(super) const WORD: &str = "";

#[derive(Debug)]
pub(super) struct Unread {
    exits: Vec<ExitSpec>,
}

/// Reads what all stations have, and what means the same in all stations that have it; passes over the other keys that any
/// station may have.
pub(super) fn read(object: &mut Object<'_>) -> Unread {
    object.pass_over(keys_of_all);
    let mut exits = vec![ExitSpec { key: "to", to: read_to(object) }];
    for key in ["rejects_to", "overflow_to"] {
        let to = object.maybe(key, name(), "Another station that it gives to");
        exits.extend(to.map(|to| ExitSpec { key, to: To::Named(to) }));
    }
    let several: Vec<Spanned<String>> =
        object.optional("exits", list_of(name()), "[]", "The stations that it gives to");
    exits.extend(several.into_iter().map(|to| ExitSpec { key: "exits", to: To::Named(to) }));
    Unread { exits }
}

/// The keys that any station may have.
fn keys_of_all() -> Vec<&'static str> {
    let all = CATALOGUE.iter().filter_map(|variant| known_keys(variant.read));
    let mut keys: Vec<&'static str> = all.flatten().chain(["type"]).collect();
    keys.sort_unstable();
    keys.dedup();
    keys
}

impl Blueprint for Unread {
    fn exits(&self) -> Vec<ExitSpec> {
        self.exits.clone()
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
