//! Attendants as a scenario states them.

use crate::kernel::people::WalkFrom;
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, count, flag, list_of, name, one_of};
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
    /// Where a walk begins.
    pub walk_from: WalkFrom,
    /// Stations served first, in this order; the others follow by order of calling.
    pub priority: Vec<Spanned<String>>,
    /// Whether they take the breaks of the plan.
    pub breaks: bool,
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
