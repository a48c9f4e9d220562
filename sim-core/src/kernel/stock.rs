//! Parts by the hundred: bins that start with a content, and containers that are poured into bins.
//!
//! Invariant: what is poured or stands in a bin at the start is counted as created, so that parts created =
//! parts left + absorbed + inside.

use super::floor::{Floor, PlaceId};
use super::multinomial::multinomial;
use super::observer::Observer;
use super::place::BinClass;

impl<O: Observer> Floor<O> {
    /// Fills the bins that start with a content. How many of each condition there are is drawn from the bin's
    /// own stream; a start that has been given already is not given again.
    pub(super) fn stock_bins(&mut self) {
        for ix in 0..self.places.len() {
            let Some((kind, n)) = self.places[ix].start() else { continue };
            if n == 0 || !self.places[ix].is_empty() {
                continue;
            }
            let shares = self.kinds[usize::from(kind)].conditions.shares();
            let Some(bin) = self.places[ix].more.bin.as_mut() else {
                panic!("only a bin has a start content")
            };
            let counts = multinomial(n, &shares, &mut bin.luck);
            self.pour_counts(PlaceId(ix as u16), kind, &counts);
            self.count_starters(u64::from(n));
        }
    }

    /// Pours parts of one kind into a bin, given by condition. They still have to be counted as created.
    pub fn pour_counts(&mut self, place: PlaceId, kind: u8, by_condition: &[u32]) {
        for (condition, &n) in by_condition.iter().enumerate() {
            self.pour(place, BinClass { kind, condition: condition as u8, off_size: false }, n);
        }
    }

    /// Parts of one kind in a bin; 0 for other places.
    pub fn count_of_kind(&self, place: PlaceId, kind: u8) -> u32 {
        let Some((classes, counts)) = self.places[place.ix()].counts() else { return 0 };
        classes.iter().zip(counts).filter(|(class, _)| class.kind == kind).map(|(_, count)| count).sum()
    }
}
