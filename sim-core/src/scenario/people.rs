//! Attendants as a scenario states them.

use crate::diag::{Problem, code};
use crate::kernel::people::WalkFrom;
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, count, flag, list_of, map_of, name, nested, one_of, time};
use crate::units::Dimension;

/// A pool of attendants.
#[derive(Debug, Clone)]
pub struct PoolSpec {
    /// Its name.
    pub id: Spanned<String>,
    /// How many people.
    pub number: u32,
    /// Time of a walk.
    pub walk: Law,
    /// Walks to some stations.
    pub walk_to: Vec<(Spanned<String>, Law)>,
    /// Pools whose calls they answer when they have none of their own.
    pub helps: Vec<Spanned<String>>,
    /// Times at which they are there (start, end), s; always if empty.
    pub shifts: Vec<(f64, f64)>,
    /// Where a walk begins.
    pub walk_from: WalkFrom,
    /// Stations served first, in this order; the others follow by order of calling.
    pub priority: Vec<Spanned<String>>,
    /// Whether they take the breaks of the plan.
    pub breaks: bool,
}

fn read_presence(object: &mut Object<'_>) -> (f64, f64) {
    let from = object.required("from", time(), "From this time of the shift on");
    let to = object.required("to", time().positive(), "To this time");
    if to <= from && object.sound(&["from", "to"]) {
        object.fail("to", Problem::new(code::OUT_OF_RANGE, "it ends before it begins"));
    }
    (from, to)
}

/// Reads a pool.
pub(super) fn read(object: &mut Object<'_>) -> PoolSpec {
    const FROM: &[(&str, WalkFrom, &str)] = &[
        ("home", WalkFrom::Home, "every call costs a walk"),
        ("the last task", WalkFrom::LastTask, "a call of the station at which they are costs none"),
    ];
    PoolSpec {
        id: object.required("id", name(), "Its name; stations call it by this"),
        number: object.optional("number", count().at_least(1).at_most(1000), "1", "How many people") as u32,
        walk: object.optional("walk", law(Dimension::Time), "0 s", "Time of a walk to a station"),
        walk_to: object.optional(
            "walk_to",
            map_of(law(Dimension::Time)),
            "{}",
            "Time of a walk to a station, where it is not `walk`",
        ),
        helps: object.optional(
            "helps",
            list_of(name()),
            "[]",
            "Pools whose calls they answer too, while none of their own waits and the other pool has nobody free",
        ),
        shifts: object.optional(
            "shifts",
            list_of(nested("presence", read_presence)),
            "[]",
            "When they are there, in order; a task that was begun is finished; empty: all the time",
        ),
        walk_from: object.optional("walks_from", one_of(FROM), "home", "Where a walk begins"),
        priority: object.optional(
            "priority",
            list_of(name()),
            "[]",
            "Stations that are served first, in this order; the others in order of calling",
        ),
        breaks: object.optional("breaks", flag(), "true", "Whether they take the breaks of the plan"),
    }
}
