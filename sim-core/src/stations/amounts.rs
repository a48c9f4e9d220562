//! Amounts of parts as a scenario states them: a number, a weight or a volume; levels of bins.
//!
//! Weights need the mass of a part, volumes the pieces per volume; both become the nearest whole number.

use super::blueprint::part_needs;
use crate::diag::{Diagnostics, Place as FilePlace};
use crate::kernel::{Floor, Observer, PlaceId, UNLIMITED};
use crate::scenario::Level;
use crate::terms::kind::Kind;
use crate::text::forms::{Choice, Form, Spanned, count, either, mass, no_limit, placed, volume};

/// Largest number of parts that an amount may come to.
const PARTS_MAX: u64 = 1_000_000_000;

/// An amount of parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Amount {
    /// A number of parts.
    Parts(u64),
    /// A weight, kg.
    Mass(f64),
    /// A volume in bulk, m3.
    Volume(f64),
}

/// The form of an amount: `500`, `"12 lb"`, `"0.5 ft3"`.
pub(super) fn amount() -> impl Form<Out = Spanned<Amount>> {
    let form = either(count().at_most(PARTS_MAX), either(mass(), volume()));
    placed(no_limit(form.map(|choice| match choice {
        Choice::First(parts) => Amount::Parts(parts),
        Choice::Second(Choice::First(kg)) => Amount::Mass(kg),
        Choice::Second(Choice::Second(m3)) => Amount::Volume(m3),
    })))
}

impl Amount {
    /// In parts of `kind`, to the nearest; `None` if what is needed of the part is not known.
    pub fn parts(self, kind: &Kind) -> Option<u32> {
        let parts = match self {
            Amount::Parts(parts) => parts as f64,
            Amount::Mass(kg) => kg / kind.mass_kg?,
            Amount::Volume(m3) => m3 * kind.density_m3?,
        };
        Some(parts.round().min(PARTS_MAX as f64) as u32)
    }

    /// Reports what is needed of `kind` and not known; `why` begins the sentence.
    pub fn check(self, place: &FilePlace, kind: &Kind, why: &str, problems: &mut Diagnostics) {
        match self {
            Amount::Mass(_) if kind.mass_kg.is_none() => part_needs(place, kind, "mass", why, problems),
            Amount::Volume(_) if kind.density_m3.is_none() => {
                part_needs(place, kind, "density", why, problems);
            }
            Amount::Parts(_) | Amount::Mass(_) | Amount::Volume(_) => {}
        }
    }
}

/// The kind with this name, the first one without a name; `None` if there is none.
pub(super) fn kind_of<'a>(kinds: &'a [Kind], name: Option<&Spanned<String>>) -> Option<&'a Kind> {
    match name {
        Some(name) => kinds.iter().find(|kind| kind.name == name.value),
        None => kinds.first(),
    }
}

/// An amount in parts of the kind with this name, the first one without a name; `None` if no amount is given, or what is
/// needed of the part is not known.
pub(super) fn parts_of(
    kinds: &[Kind],
    part: Option<&Spanned<String>>,
    amount: Option<&Spanned<Amount>>,
) -> Option<u32> {
    amount.and_then(|amount| amount.value.parts(kind_of(kinds, part)?))
}

/// A level of `place` in parts; a share of a place without limit is 0.
pub(super) fn level_of<O: Observer>(level: Level, floor: &Floor<O>, place: PlaceId) -> u32 {
    match (level, floor.place(place).capacity()) {
        (Level::Parts(parts), _) => parts,
        (Level::Share(_), UNLIMITED) => 0,
        (Level::Share(share), capacity) => (share * f64::from(capacity)).round() as u32,
    }
}
