//! The make-up of part kinds while a replication runs: how conditions and attitudes fall.
//!
//! Between-lot variation changes the make-up when a container or a shift arrives; without it the make-up
//! stays what the scenario says.

use super::dice::Outcomes;
use super::luck::Stream;
use super::place::BinClass;
use crate::part::{Nanos, Part};

/// How one kind of part falls now.
#[derive(Clone, Debug)]
pub struct KindNow {
    /// Chances of the conditions, good first.
    pub conditions: Outcomes,
    /// Natural chances of the attitudes.
    pub attitudes: Outcomes,
    /// Bit `a` is set where attitude `a` is the right way round.
    pub right_way: u64,
    /// Number of measured dimensions, two at most.
    pub n_sizes: u8,
    /// Factor of this shift on the chances of these parts to jam.
    pub jams: f64,
}

impl KindNow {
    /// Makes a part: condition, then dimensions, then attitude, in this order from the source's stream.
    ///
    /// All is drawn before the part is written: a copy of the whole right after a write to a piece of it has to
    /// wait for the write.
    #[inline(always)]
    pub fn make(&self, kind: u8, now: Nanos, luck: &mut Stream) -> Part {
        if self.conditions.is_sure() && self.attitudes.is_sure() && self.n_sizes == 0 {
            return Part::new(kind, 0, 0, now);
        }
        let condition = self.conditions.pick(luck) as u8;
        let sizes = self.draw_sizes(luck);
        Part::new(kind, condition, self.attitude(luck), now).with_sizes(sizes)
    }

    /// Makes a part of a class that is already known.
    pub fn make_of(&self, class: BinClass, now: Nanos, luck: &mut Stream) -> Part {
        let sizes = self.draw_sizes(luck);
        let part = Part::new(class.kind, class.condition, self.attitude(luck), now);
        let mut part = part.with_sizes(sizes);
        if class.off_size {
            part.mark_off_size();
        }
        part
    }

    #[inline(always)]
    fn draw_sizes(&self, luck: &mut Stream) -> [u16; 2] {
        let mut size = |n: u8| if n < self.n_sizes { (luck.next_u64() >> 48) as u16 } else { 0 };
        [size(0), size(1)]
    }

    /// Draws a natural attitude.
    #[inline]
    pub fn attitude(&self, luck: &mut Stream) -> u8 {
        self.attitudes.pick(luck) as u8
    }

    /// Whether a part is good and the right way round.
    #[inline]
    pub fn is_good(&self, part: &Part) -> bool {
        part.condition == 0 && self.right_way >> part.attitude & 1 == 1 && !part.is_spoiled()
    }
}
