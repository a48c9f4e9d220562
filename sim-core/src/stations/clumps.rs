//! Clumps: parts that come hooked or tangled, and go round until they break up (ruling 12).
//!
//! **Meaning.** A part that enters a path untangled begins a clump with a chance; it and the next untangled
//! parts that enter, as many as the clump's size says, are tangled. The first tool of the path rejects a
//! tangled part, whatever its attitude. Each part of a clump breaks free by itself with the chance
//! `breaks_up` when it is rejected; otherwise it comes back tangled and is rejected again. What goes back to a
//! bin is untangled there.
//!
//! In the balance the share of tangled parts among all that enter is f = (s / b) / (1 - s + s / b), with s the
//! share of untangled parts that tangle (n p / (1 - p + n p) for chance p and mean size n) and b the chance
//! to break up: a tangled part makes 1 / b passes. If what the first tool rejects does not come back, or only out
//! of a bin, every tangled part makes one pass: f = s. Both are exact if all rejects come back in the same way.

use super::dice::Dice;
use crate::kernel::Sampler;
use crate::part::Part;
use crate::terms::law::Law;
use crate::terms::law_form::{HANDFUL_MAX, count_law};
use crate::text::fields::Object;
use crate::text::forms::{Chance, chance, less_helps, more_helps};

/// Clumps as the file states them.
#[derive(Debug, Clone)]
pub struct ClumpSpec {
    chance: Chance,
    parts: Law,
    breaks_up: Chance,
}

/// Reads clumps.
pub fn read(object: &mut Object<'_>) -> ClumpSpec {
    ClumpSpec {
        chance: object.required("chance", chance(), "Chance that a part that enters is the first of a clump"),
        parts: object.optional(
            "parts",
            less_helps(count_law().positive().at_most(HANDFUL_MAX)),
            "2",
            "Parts that hang together in a clump",
        ),
        breaks_up: object.required(
            "breaks_up",
            more_helps(chance()),
            "Chance that a tangled part comes free when it is rejected",
        ),
    }
}

impl ClumpSpec {
    /// Share of tangled parts among those that enter the path, if they come back tangled or not.
    pub fn share(&self, comes_back_tangled: bool) -> f64 {
        let (p, n, b) = (self.chance.value(), self.parts.mean(), self.breaks_up.value());
        let tangles = n * p / (1.0 - p + n * p);
        if tangles == 0.0 {
            return 0.0;
        }
        if !comes_back_tangled {
            return tangles;
        }
        if b == 0.0 {
            return 1.0;
        }
        (tangles / b) / (1.0 - tangles + tangles / b)
    }

    /// Whether nothing that is tangled ever comes free.
    pub fn never_breaks_up(&self) -> bool {
        self.chance.value() > 0.0 && self.breaks_up.value() == 0.0
    }

    /// The running clumps; `exit` is the one of the first tool.
    pub fn compiled(&self, parts: Sampler, luck: Dice, exit: u8) -> Clumps {
        let (chance, breaks_up) = (self.chance.value(), self.breaks_up.value());
        Clumps { chance, parts, breaks_up, luck, left: 0, exit }
    }

    /// Size of a clump.
    pub fn parts(&self) -> &Law {
        &self.parts
    }
}

/// Clumps of one path while it runs.
#[derive(Clone, Debug)]
pub struct Clumps {
    chance: f64,
    parts: Sampler,
    breaks_up: f64,
    luck: Dice,
    left: u64,
    exit: u8,
}

impl Clumps {
    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
    }

    /// A part enters: it may be tangled from now on.
    pub(super) fn enter(&mut self, part: &mut Part) {
        if part.is_tangled() {
            return;
        }
        if self.left == 0 && self.luck.stream().chance(self.chance) {
            self.left = self.parts.draw_count(self.luck.stream());
        }
        if self.left > 0 {
            self.left -= 1;
            part.set_tangled(true);
        }
    }

    /// The exit by which the first tool rejects a tangled part, which may break free there; `None` if the
    /// part is not tangled.
    pub(super) fn reject(&mut self, part: &mut Part) -> Option<u8> {
        if !part.is_tangled() {
            return None;
        }
        let free = self.luck.stream().chance(self.breaks_up);
        part.set_tangled(!free);
        Some(self.exit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::sampler::Method;

    #[test]
    fn the_share_of_tangled_parts_in_a_closed_loop_is_as_worked_out() {
        let spec =
            ClumpSpec { chance: Chance::Known(0.05), parts: Law::fixed(3.0), breaks_up: Chance::Known(0.4) };
        let parts = Sampler::new(&spec.parts, 1.0, Method::Fast);
        let mut clumps = spec.compiled(parts, Dice::new("path", "clumps"), 1);
        clumps.seed(1, 0);
        // A loop of 50 parts that only go round: every part enters again and again.
        let mut parts = [Part::default(); 50];
        const ROUNDS: u32 = 8_000;
        let mut tangled = 0_u32;
        for _ in 0..ROUNDS {
            for part in &mut parts {
                clumps.enter(part);
                tangled += u32::from(clumps.reject(part).is_some());
            }
        }
        let share = f64::from(tangled) / f64::from(50 * ROUNDS);
        // Passes are correlated over some 1 / 0.4 rounds and 3 parts: the error of 400,000 passes is taken as
        // that of a tenth as many independent ones.
        let wanted = spec.share(true);
        let error = (wanted * (1.0 - wanted) / 40_000.0).sqrt();
        assert!((share - wanted).abs() < 5.0 * error, "{share} {wanted}");
    }
}
