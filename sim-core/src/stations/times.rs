//! Times of a station, each drawn before it is asked for, unless their law may change.
//!
//! When the next event comes hangs on the time that is drawn last. Drawn one ahead, it is there when it is asked for, and
//! the processor draws the one after it while it waits for other things. The stream holds nothing but these times, so
//! they are the same ones in the same order.

use super::by_part::ByPart;
use super::dice::Dice;
use crate::kernel::{Floor, Observer, Sampler, StationId};
use crate::part::Nanos;

/// Random times by one law, with luck of their own.
#[derive(Clone, Debug)]
pub struct Times {
    law: Sampler,
    luck: Dice,
    next: Nanos,
    /// The law may change from run to run, and then with the next time, so that none is drawn ahead.
    changes: bool,
}

impl Times {
    /// Times by `law`.
    pub fn new(law: Sampler, luck: Dice) -> Self {
        Times { law, luck, next: 0, changes: false }
    }

    /// The same times, for a law that may change.
    #[must_use]
    pub(super) fn changing(self) -> Self {
        Times { changes: true, ..self }
    }

    /// Takes over the law of a kind of part.
    pub(super) fn set_up(&mut self, by_part: &ByPart, kind: u8) {
        debug_assert!(self.changes || by_part.is_empty(), "a time drawn ahead would be one of the old law");
        by_part.set_up(kind, &mut self.law);
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
        if !self.changes {
            self.next = self.law.draw_ns(self.luck.stream());
        }
    }

    /// The next time of station `me`, ns. It is told of when it is taken: nobody knows it before.
    #[inline(always)]
    pub(super) fn take<O: Observer>(&mut self, floor: &mut Floor<O>, me: StationId) -> Nanos {
        let time = self.take_untold();
        floor.tell_time(me, &self.law, time);
        time
    }

    #[inline(always)]
    fn take_untold(&mut self) -> Nanos {
        let drawn = self.law.draw_ns(self.luck.stream());
        if self.changes { drawn } else { std::mem::replace(&mut self.next, drawn) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::sampler::Method;
    use crate::terms::law::{Law, Shape};

    #[test]
    fn times_drawn_ahead_are_those_of_the_stream() {
        let law = Law { minimum: 0.0, shape: Shape::Exponential { mean: 2.0 } };
        let sampler = Sampler::new(&law, 1.0, Method::Fast);
        let (mut ahead, mut plain) =
            (Times::new(sampler.clone(), Dice::new("A", "time")), Dice::new("A", "time"));
        let mut changing = ahead.clone().changing();
        ahead.seed(7, 3);
        changing.seed(7, 3);
        plain.seed(7, 3);
        for _ in 0..100 {
            let time = sampler.draw_ns(plain.stream());
            assert_eq!((ahead.take_untold(), changing.take_untold()), (time, time));
        }
    }
}
