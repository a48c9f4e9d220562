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
}

impl KindNow {
    /// Makes a part: condition, then dimensions, then attitude, in this order from the source's stream.
    #[inline]
    pub fn make(&self, kind: u8, now: Nanos, luck: &mut Stream) -> Part {
        let condition = self.conditions.pick(luck) as u8;
        self.finish(Part::new(kind, condition, 0, now), luck)
    }

    /// Makes a part of a class that is already known.
    pub fn make_of(&self, class: BinClass, now: Nanos, luck: &mut Stream) -> Part {
        let mut part = Part::new(class.kind, class.condition, 0, now);
        if class.off_size {
            part.mark_off_size();
        }
        self.finish(part, luck)
    }

    #[inline]
    fn finish(&self, mut part: Part, luck: &mut Stream) -> Part {
        for size in part.sizes.iter_mut().take(usize::from(self.n_sizes)) {
            *size = (luck.next_u64() >> 48) as u16;
        }
        part.attitude = self.attitude(luck);
        part
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
