//! Parts by the hundred: bins that start with a content, and containers that are poured into bins.
//!
//! Invariant: what is poured or stands in a bin at the start is counted as created, so that parts created =
//! parts left + absorbed + inside.

use super::floor::{Floor, PlaceId, StationId};
use super::luck::Stream;
use super::multinomial::multinomial;
use super::observer::{Note, Observer};
use super::place::BinClass;
use crate::part::Part;

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
            self.tell_contents(kind, &counts, &shares);
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

    /// Takes up to `n` parts out of a bin in bulk, by its mix; a bin that never runs out makes them. Returns the
    /// counts by class.
    pub fn scoop(&mut self, me: StationId, place: PlaceId, n: u32) -> Vec<(BinClass, u32)> {
        let p = &mut self.places[place.ix()];
        let old = p.len();
        let Some(bin) = p.more.bin.as_mut() else { panic!("only a bin is scooped from") };
        let endless = bin.endless;
        let n = if endless.is_some() { n } else { n.min(old) };
        let mut counts: Vec<(BinClass, u32)> = Vec::new();
        for taken in 0..n {
            let class = match endless {
                Some(kind) => {
                    let condition = self.kinds[usize::from(kind)].conditions.pick(&mut bin.luck) as u8;
                    BinClass { kind, condition, off_size: false }
                }
                None => bin.draw(old - taken),
            };
            match counts.iter_mut().find(|(known, _)| *known == class) {
                Some((_, count)) => *count += 1,
                None => counts.push((class, 1)),
            }
        }
        if endless.is_some() {
            self.created += u64::from(n);
        } else {
            p.len -= n;
            self.observer.level(self.now, place, old, old - n);
        }
        self.note_each(me, &counts, Note::Took);
        self.after_take(me, place);
        counts
    }

    /// Pours parts that station `me` hands on in bulk into a bin.
    pub fn pour_on(&mut self, me: StationId, place: PlaceId, counts: &[(BinClass, u32)]) {
        self.note_each(me, counts, Note::Exit(0));
        counts.iter().for_each(|(class, n)| self.pour(place, *class, *n));
    }

    /// Lets parts that station `me` hands on in bulk leave the line.
    pub fn leave_in_bulk(&mut self, me: StationId, counts: &[(BinClass, u32)]) {
        self.note_each(me, counts, Note::Exit(0));
        self.note_each(me, counts, Note::Left);
        self.left += counts.iter().map(|(_, n)| u64::from(*n)).sum::<u64>();
    }

    /// A part of a class that leaves bulk: its attitude falls anew.
    pub fn single_out(&mut self, class: BinClass, luck: &mut Stream) -> Part {
        let part = self.kinds[usize::from(class.kind)].make_of(class, self.now, luck);
        self.tell_attitude(&part);
        part
    }

    /// Notes what happens to parts in bulk, one by one. In bulk a part has no attitude: it counts as the right way
    /// round, and neither its passes nor its time in the line are known.
    fn note_each(&mut self, me: StationId, counts: &[(BinClass, u32)], note: Note) {
        for (class, n) in counts {
            let right_way = self.kinds[usize::from(class.kind)].right_way.trailing_zeros().min(63) as u8;
            let part = Part::starter(class.kind, class.condition, right_way);
            for _ in 0..*n {
                self.note(me, note, Some(&part));
                if note == Note::Exit(0) {
                    self.count_good(me, 0, &part);
                }
            }
        }
    }

    /// Parts of one kind in a bin; 0 for other places.
    pub fn count_of_kind(&self, place: PlaceId, kind: u8) -> u32 {
        let Some((classes, counts)) = self.places[place.ix()].counts() else { return 0 };
        classes.iter().zip(counts).filter(|(class, _)| class.kind == kind).map(|(_, count)| count).sum()
    }
}
