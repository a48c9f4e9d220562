//! Tools whose chances depend on the loading of their path (ruling 12: two points, linear between them).
//!
//! **Loading.** *In file* it is the share of the live length that parts take up as a part comes to the tool: each
//! part its length with its gap as it entered, the part itself included, at most 1. What was rejected takes up
//! nothing any more. *One part at a time* it is pass / (wait + pass), with the time of this pass and the time for which
//! the path was empty before it: 1 where one part follows the other without a wait; on the average over time that is
//! the share of the time in which the path carries.
//!
//! A tool has chances for an uncrowded path, which hold up to one loading, and others for a crowded one, which hold from
//! another loading on; between the two points every chance goes over in a straight line.

use super::tools::Fate;
use crate::kernel::Stream;
use crate::part::Nanos;

/// Words of luck, as many as there are.
const WORDS: f64 = 18_446_744_073_709_551_616.0;

/// The two points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crowding {
    /// Up to this loading the path is uncrowded, 0 to 1.
    pub uncrowded_at: f64,
    /// From this loading on it is crowded, above the other, at most 1.
    pub crowded_at: f64,
}

impl Crowding {
    /// How crowded a path of this loading is: 0 up to the one point, 1 from the other on.
    pub fn share(&self, loading: f64) -> f64 {
        ((loading - self.uncrowded_at) / (self.crowded_at - self.uncrowded_at)).clamp(0.0, 1.0)
    }
}

/// What a tool does with one class of parts, more or less crowded.
#[derive(Clone, Debug, PartialEq)]
pub struct Blend {
    crowding: Crowding,
    fates: Vec<Fate>,
    /// Chances of the fates up to and with each, uncrowded and crowded, from 0 to 1.
    tops: Vec<[f64; 2]>,
}

impl Blend {
    /// A blend of two rows of fates with their chances, each of which adds up to 1.
    pub fn new(crowding: Crowding, uncrowded: &[(Fate, f64)], crowded: &[(Fate, f64)]) -> Self {
        let mut fates: Vec<Fate> = Vec::new();
        for &(fate, _) in uncrowded.iter().chain(crowded) {
            if !fates.contains(&fate) {
                fates.push(fate);
            }
        }
        let chance = |row: &[(Fate, f64)], fate: Fate| -> f64 {
            row.iter().filter(|(known, _)| *known == fate).map(|(_, chance)| chance).sum()
        };
        let mut tops: Vec<[f64; 2]> = Vec::with_capacity(fates.len());
        for fate in &fates {
            let below = tops.last().copied().unwrap_or_default();
            tops.push([below[0] + chance(uncrowded, *fate), below[1] + chance(crowded, *fate)]);
        }
        // Over the sum, so that the last fate of any chance ends at 1 and one of no chance never comes.
        let sums = tops.last().copied().unwrap_or([1.0; 2]);
        tops.iter_mut().for_each(|top| *top = [top[0] / sums[0], top[1] / sums[1]]);
        Blend { crowding, fates, tops }
    }

    /// The fate of a part on a path of this loading. One word, whatever the loading is.
    pub fn fate(&self, loading: f64, luck: &mut Stream) -> Fate {
        let crowded = self.crowding.share(loading);
        let word = luck.next_u64();
        let is_below = |top: &[f64; 2]| {
            let top = mixed(top, crowded);
            top >= 1.0 || word < (top * WORDS) as u64
        };
        let no = self.tops.iter().position(is_below);
        self.fates[no.unwrap_or(self.fates.len() - 1)]
    }

    /// The fates with their chances on a path of this loading.
    pub fn fates(&self, loading: f64) -> impl Iterator<Item = (Fate, f64)> {
        let crowded = self.crowding.share(loading);
        let mut below = 0.0;
        self.fates.iter().zip(&self.tops).map(move |(fate, top)| {
            let top = mixed(top, crowded);
            (*fate, top - std::mem::replace(&mut below, top))
        })
    }

    /// The same half-way between the two points.
    pub fn fates_half_way(&self) -> impl Iterator<Item = (Fate, f64)> {
        self.fates(0.5 * (self.crowding.uncrowded_at + self.crowding.crowded_at))
    }
}

fn mixed([uncrowded, crowded]: &[f64; 2], share: f64) -> f64 {
    uncrowded + share * (crowded - uncrowded)
}

/// How closely parts follow one another on a path that carries one at a time.
#[derive(Clone, Copy, Debug, Default)]
pub struct Following {
    /// When the last part left.
    empty_since: Nanos,
    /// Loading of the present pass.
    pub loading: f64,
}

impl Following {
    /// A pass of this length begins.
    pub fn start(&mut self, now: Nanos, pass: Nanos) {
        let all = now - self.empty_since + pass;
        self.loading = if all == 0 { 1.0 } else { pass as f64 / all as f64 };
    }

    /// The part has left.
    pub fn leave(&mut self, now: Nanos) {
        self.empty_since = now;
    }
}

/// How much of a path is taken up by parts in file.
#[derive(Clone, Copy, Debug, Default)]
pub struct Coverage {
    /// Time in which all parts on the path clear the entry one after the other, ns.
    pub taken_up: Nanos,
}

impl Coverage {
    /// The loading of a path with this time from entry to end.
    pub fn loading(self, passage: Nanos) -> f64 {
        (self.taken_up as f64 / passage as f64).min(1.0)
    }
}

#[cfg(test)]
mod tests;
