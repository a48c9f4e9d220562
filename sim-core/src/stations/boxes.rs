//! Box out and scrap box that fill up: a container takes parts until it is full, and is exchanged.
//!
//! *Box out*: the container at the end of a line, or one in which parts are set aside to be run again. *Scrap box*
//! with `holds`: the same for rejects. (A scrap box without `holds` never fills: [`super::scrap_box`].)
//!
//! **Levels** (ruling 22). The *full level* is `holds`, the *call level* the content at or above which the
//! exchange is called for, once for each container; left out it is the full level. **Timing.** Parts are taken in
//! no time, one after the other, until the box is full. The exchange is over when the attendant who was called has
//! done his work, or when the hauler comes, a lead time after the call; without an `exchange` in the very
//! moment of the call. Up to then the box goes on filling; from then on an empty one stands there. What is in the box
//! goes with it.
//!
//! **When full** the stations that give to it are held: they take no new part (default), even if that part
//! would go another way; what they have in work is finished and stays there. Or they *block at the exit*: they
//! stand only when one of their parts is for the box. Either way it ends with the exchange.
//!
//! **Set aside and run again.** With `empties_to` the content of the box is poured into a bin when it is
//! exchanged: a life of each part ends (ruling 9), attitudes are mixed anew (ruling 10), parts that a gauge has
//! rejected for a dimension stay a class of their own there. `repairs` gives, by condition, the chance that a
//! part set aside comes back good (`off size` for those rejected for a dimension); it is drawn part by part when
//! the box is emptied. Without `empties_to` a part has left the line when it is in the box.
//!
//! **State:** blocked while full, starved otherwise; held or off it takes nothing. An exchange is counted as a
//! container.

use super::Station;
use super::alarm::Alarm;
use super::dice::Dice;
use crate::kernel::{
    BinClass, Exit, Floor, Inlets, Job, Message, Note, Observer, Offer, Sampler, State, StationId,
};
use crate::part::{Nanos, Part};

/// The word for parts rejected for a dimension.
const OFF_SIZE: &str = "off size";

/// Who exchanges a box.
#[derive(Clone, Debug)]
pub enum Exchange {
    /// An empty one is there in the moment of the call.
    AtOnce,
    /// A hauler, so long after the call.
    Hauler(Sampler),
    /// Attendants of this pool; the time that they work on it.
    ByHand(u16, Sampler),
}

/// What does not change of a box.
#[derive(Clone, Debug)]
pub struct BoxSetup {
    /// Where parts come from.
    pub inlets: Inlets,
    /// Stations that give to it.
    pub senders: Vec<StationId>,
    /// Where the content goes: out of the line part by part, or into a bin by the box.
    pub exit: Exit,
    /// Parts that it holds.
    pub full: u32,
    /// Content at which the exchange is called.
    pub call: u32,
    /// Who exchanges it.
    pub exchange: Exchange,
    /// Whether senders are held while it is full (otherwise they block).
    pub holds_senders: bool,
    /// By kind and condition, the chance to be repaired; and of parts rejected for a dimension.
    pub repairs: Vec<Vec<f64>>,
    /// The same for parts rejected for a dimension.
    pub repairs_off_size: f64,
}

/// State of a box.
#[derive(Clone, Debug)]
pub struct PartBox {
    me: StationId,
    alarm: Alarm,
    hauler: Alarm,
    setup: Box<BoxSetup>,
    luck: Dice,
    /// Parts in it.
    content: u32,
    /// The same by class, if they are to be run again.
    classes: Vec<(BinClass, u32)>,
    called: bool,
    comes_at: Nanos,
    /// An attendant has done the exchange since it was settled last.
    exchanged: bool,
    holding: bool,
}

impl PartBox {
    /// An empty box.
    pub fn new(me: StationId, alarm: Alarm, hauler: Alarm, setup: BoxSetup, luck: Dice) -> Self {
        PartBox {
            me,
            alarm,
            hauler,
            setup: Box::new(setup),
            luck,
            content: 0,
            classes: Vec::new(),
            called: false,
            comes_at: Nanos::MAX,
            exchanged: false,
            holding: false,
        }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
    }

    /// Parts that have not left the line.
    pub(super) fn content(&self) -> usize {
        if self.setup.exit == Exit::Leave { 0 } else { self.content as usize }
    }

    /// Whether it holds a station while it is full.
    pub fn holds(&self, station: StationId) -> bool {
        self.setup.holds_senders && self.setup.senders.contains(&station)
    }

    pub(super) fn fire(&mut self, which: u8) {
        if which == 0 { self.alarm.spent() } else { self.hauler.spent() }
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if std::mem::take(&mut self.exchanged) || self.comes_at <= floor.now {
            self.empty(floor);
        }
        let mut due = Nanos::MAX;
        if floor.may_start(self.me) && self.content < self.setup.full {
            match floor.offer(self.me, &self.setup.inlets) {
                Offer::Ready(place) => {
                    let part = floor.take(self.me, place);
                    self.put_in(floor, &part);
                    // The next one in another settling, so that moves without any time are bounded.
                    floor.dirty.insert(self.me.0);
                }
                Offer::Due(at) => due = at,
                Offer::Nothing => {}
            }
        }
        if !self.called && self.content >= self.setup.call {
            self.call(floor);
        }
        self.alarm.set(floor, due);
        self.hauler.set(floor, self.comes_at);
        // Its state first: who is held looks for the reason at once.
        if self.content >= self.setup.full && floor.may_start(self.me) {
            floor.set_state(self.me, State::Blocked);
        } else {
            floor.set_idle(self.me, false);
        }
        self.hold_senders(floor);
    }

    fn put_in<O: Observer>(&mut self, floor: &mut Floor<O>, part: &Part) {
        self.content += 1;
        if self.setup.exit == Exit::Leave {
            let gone = floor.hand_over(self.me, 0, Exit::Leave, part);
            assert!(gone, "there is always room outside of the line");
            return;
        }
        let class = BinClass::of(part);
        match self.classes.iter_mut().find(|(known, _)| *known == class) {
            Some((_, n)) => *n += 1,
            None => self.classes.push((class, 1)),
        }
    }

    fn call<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.called = true;
        match &self.setup.exchange {
            Exchange::AtOnce => self.empty(floor),
            Exchange::Hauler(lead) => {
                let lead = lead.draw_ns(self.luck.stream());
                self.comes_at = floor.now.saturating_add(lead);
                if lead == 0 {
                    self.empty(floor);
                }
            }
            Exchange::ByHand(pool, time) => {
                let time = self.luck.time(floor, self.me, time);
                floor.call(*pool, self.me, Job::Task(0, time));
            }
        }
    }

    /// The box is exchanged for an empty one.
    fn empty<O: Observer>(&mut self, floor: &mut Floor<O>) {
        (self.content, self.called, self.comes_at) = (0, false, Nanos::MAX);
        floor.note(self.me, Note::Tipped, None);
        floor.dirty.insert(self.me.0);
        let Exit::Store(bin) = self.setup.exit else { return };
        for (class, n) in std::mem::take(&mut self.classes) {
            let repaired = self.repaired(class, n);
            let good = BinClass { kind: class.kind, condition: 0, off_size: false };
            for (class, n) in [(class, n - repaired), (good, repaired)] {
                let part = Part::new(class.kind, class.condition, 0, floor.now);
                for _ in 0..n {
                    floor.note(self.me, Note::Exit(0), Some(&part));
                }
                floor.pour(bin, class, n);
            }
        }
    }

    /// How many of `n` parts of a class are repaired.
    fn repaired(&mut self, class: BinClass, n: u32) -> u32 {
        let chance = if class.off_size {
            self.setup.repairs_off_size
        } else {
            self.setup.repairs[usize::from(class.kind)][usize::from(class.condition)]
        };
        let luck = self.luck.stream();
        (0..n).map(|_| u32::from(luck.chance(chance))).sum()
    }

    /// Holds the senders while the box is full, and lets them go when it no longer is.
    fn hold_senders<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let holds = self.setup.holds_senders && self.content >= self.setup.full;
        if holds == self.holding {
            return;
        }
        self.holding = holds;
        for &sender in &self.setup.senders {
            if holds { floor.hold(sender) } else { floor.release(sender) }
        }
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            // The hauler does not stand with the box.
            Message::Thawed(stood) => self.alarm.shift(stood),
            Message::Attended(_) => self.exchanged = true,
            Message::Redirect(_) => {}
        }
    }
}

mod spec;
pub use spec::{BoxSpec, read_box_out, read_scrap_box};

#[cfg(test)]
mod tests;
