//! Settings by part: times that a station takes over when a run of a kind of part begins.
//!
//! They belong to the run of a [product sequence](crate::scenario::ChangeoverSpec), not to the single part: a
//! station is set up once for all parts of a run. Without a sequence they are never taken over.

use super::blueprint::Site;
use crate::diag::Diagnostics;
use crate::kernel::Sampler;
use crate::terms::kind::{Kind, must_be_one_of};
use crate::terms::law::Law;
use crate::text::forms::Spanned;

/// Laws by the name of the part.
pub(super) type ByPartSpec = Vec<(Spanned<String>, Law)>;

/// A law for each kind, the station's own where none is given for it.
#[derive(Clone, Debug, Default)]
pub(super) struct ByPart(Vec<Sampler>);

impl ByPart {
    /// The laws of a station; empty if it has none by part.
    pub(super) fn new(site: &Site<'_>, own: &Law, by_part: &ByPartSpec) -> Self {
        if by_part.is_empty() {
            return ByPart::default();
        }
        let law = |kind: &Kind| {
            by_part.iter().find(|(name, _)| name.value == kind.name).map_or(own, |(_, law)| law)
        };
        ByPart(site.kinds.iter().map(|kind| site.law(law(kind))).collect())
    }

    /// Whether there are none.
    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Puts the law of a kind into `law`, if there are laws by part.
    pub(super) fn set_up(&self, kind: u8, law: &mut Sampler) {
        if let Some(of_kind) = self.0.get(usize::from(kind)) {
            *law = of_kind.clone();
        }
    }
}

/// The mean time during the run of a kind (without a product sequence: the station's own).
pub(super) fn mean_by_part(own: &Law, by_part: &ByPartSpec, run: Option<&Kind>) -> f64 {
    let named = run.and_then(|kind| by_part.iter().find(|(name, _)| name.value == kind.name));
    named.map_or(own, |(_, law)| law).mean()
}

/// Reports names of parts that are not known.
pub(super) fn check_by_part(by_part: &ByPartSpec, kinds: &[Kind], problems: &mut Diagnostics) {
    let names: Vec<&str> = kinds.iter().map(|kind| kind.name.as_str()).collect();
    by_part.iter().for_each(|(name, _)| must_be_one_of(name, "part", &names, problems));
}
