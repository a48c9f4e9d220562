//! Process bath or tunnel (washing, degreasing, drying, heating, coating): parts stay in it for a while.
//!
//! **What goes in.** From a bin it takes parts in bulk, in portions that keep their counts by condition; from a
//! track, a belt or another station it takes parts one by one. At a `rate` (parts or volume per time) a portion is
//! taken every `portion` time, the first one that time after the start: rate x time, in whole numbers with the
//! fraction carried on; what is not there is missed and not made up for, and what does not fit (`capacity`) is not taken. Without a rate it
//! takes what is there as soon as there is room.
//!
//! **How long.** *By time*: a residence by law for each portion (each part, where they come one by one). *In
//! order* (default) nobody leaves before those that went in earlier; *as ready* each leaves when its own time is
//! over. *Flow-through*: the bath is full, and what goes in pushes as much out at the other end; the residence is
//! then content / flow. A portion (without a rate: a part) goes in whole, once all that was pushed out before has gone.
//!
//! **What comes out.** Into a bin a portion falls at once, if it fits (one that is larger than the bin when the
//! bin is empty); on a track, or to another station, its parts go one after the other, each in an attitude of its
//! natural mix; out of the line at once. What finds no room stays in the bath and takes up its place.
//!
//! **Held, off, or in a changeover** it takes nothing; what is in it goes on. Stopped, everything in it stands still.
//! **State:** working while something is in it, blocked while what is ready finds no room, otherwise starved. A jam by
//! part strikes per portion, when it goes in or comes out. In the balance it carries its rate, or capacity /
//! residence if that is less, or for each portion the most parts that can be there.

use super::Station;
use super::alarm::Alarm;
use super::dice::Dice;
use super::outlet::Outlet;
use crate::kernel::{
    BinClass, Exit, Floor, Inlets, Message, Moment, Observer, Offer, Sampler, State, StationId, UNLIMITED,
};
use crate::part::{Nanos, Part};
use std::collections::VecDeque;

/// Most loads taken in one settling.
const LOADS_MAX: u32 = 16;

/// How long parts stay.
#[derive(Clone, Debug)]
pub enum Residence {
    /// A time by law.
    Time(Sampler),
    /// Until as much has come in as the bath holds.
    FlowThrough,
}

/// What does not change of a bath.
#[derive(Clone, Debug)]
pub struct BathSetup {
    /// Where parts come from.
    pub inlets: Inlets,
    /// Where they go.
    pub exit: Exit,
    /// Parts of a portion, and the time between portions, ns, 1 at least.
    pub rate: Option<(f64, Nanos)>,
    /// Parts that it holds.
    pub capacity: u32,
    /// How long they stay.
    pub residence: Residence,
    /// Whether nobody leaves before those that went in earlier.
    pub in_order: bool,
}

/// What went in together.
#[derive(Clone, Debug)]
enum Parts {
    One(Part),
    Bulk(Vec<(BinClass, u32)>),
}

#[derive(Clone, Debug)]
struct Load {
    due: Nanos,
    n: u32,
    parts: Parts,
}

/// State of a bath.
#[derive(Clone, Debug)]
pub struct Bath {
    me: StationId,
    intake: Alarm,
    ready: Alarm,
    setup: Box<BathSetup>,
    luck: Dice,
    loads: VecDeque<Load>,
    /// Ready, and without room beyond.
    leaving: VecDeque<Load>,
    /// Parts in both.
    content: u32,
    outlet: Outlet,
    ticking: bool,
    carry: f64,
}

impl Bath {
    /// An empty bath. The alarm of what is ready comes before that of the intake.
    pub fn new(me: StationId, intake: Alarm, ready: Alarm, setup: BathSetup, luck: Dice) -> Self {
        Bath {
            me,
            intake,
            ready,
            outlet: Outlet::new(me, setup.exit),
            setup: Box::new(setup),
            luck,
            loads: VecDeque::new(),
            leaving: VecDeque::new(),
            content: 0,
            ticking: false,
            carry: 0.0,
        }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
    }

    pub(super) fn content(&self) -> usize {
        self.content as usize + self.outlet.parts.len()
    }

    pub(super) fn fire<O: Observer>(&mut self, floor: &mut Floor<O>, which: u8) {
        if which == 0 {
            return self.ready.spent();
        }
        self.intake.spent();
        if let (Some((parts, _)), true) = (self.setup.rate, std::mem::take(&mut self.ticking)) {
            let due = self.carry + parts;
            self.carry = due - due.floor();
            self.take(floor, due.floor() as u64);
        }
    }

    /// Takes up to `most` parts that are there and fit. Says when more come to an end of a place.
    fn take<O: Observer>(&mut self, floor: &mut Floor<O>, most: u64) -> Nanos {
        let mut left = most;
        let mut n_loads = 0;
        // What a portion pushes out of a flow-through bath does not stand in the way of the rest of it.
        let whole = self.setup.rate.is_some() && self.flows_through() && self.has_room();
        while left > 0 && floor.may_start(self.me) && (whole || self.has_room()) {
            let place = match floor.offer(self.me, &self.setup.inlets) {
                Offer::Ready(place) => place,
                Offer::Due(at) => return at,
                Offer::Nothing => break,
            };
            let (n, parts) = if floor.place(place).counts().is_some() {
                let room = u64::from(self.setup.capacity.saturating_sub(self.fixed_content()));
                let counts = floor.scoop(self.me, place, left.min(room) as u32);
                (counts.iter().map(|(_, n)| n).sum(), Parts::Bulk(counts))
            } else {
                (1, Parts::One(floor.take(self.me, place)))
            };
            left -= u64::from(n);
            if !self.put_in(floor, n, parts) {
                break;
            }
            if !whole && self.flows_through() {
                // What was pushed out makes way for the next part, if there is room for it.
                self.let_out(floor);
            }
            n_loads += 1;
            if n_loads == LOADS_MAX && self.setup.rate.is_none() {
                // The rest in another settling, so that moves without any time are bounded.
                floor.dirty.insert(self.me.0);
                break;
            }
        }
        Nanos::MAX
    }

    fn flows_through(&self) -> bool {
        matches!(self.setup.residence, Residence::FlowThrough)
    }

    /// What keeps others from coming in: in a flow-through bath nothing does.
    fn fixed_content(&self) -> u32 {
        match self.setup.residence {
            Residence::Time(_) => self.content,
            Residence::FlowThrough => 0,
        }
    }

    fn has_room(&self) -> bool {
        match self.setup.residence {
            Residence::Time(_) => self.content < self.setup.capacity,
            Residence::FlowThrough => self.leaving.is_empty() && self.outlet.parts.is_empty(),
        }
    }

    /// False if a jam has struck.
    fn put_in<O: Observer>(&mut self, floor: &mut Floor<O>, n: u32, parts: Parts) -> bool {
        let due = match &self.setup.residence {
            Residence::Time(time) => floor.now.saturating_add(self.luck.time(floor, self.me, time)),
            Residence::FlowThrough => Nanos::MAX,
        };
        let part = first_of(floor, &parts);
        self.content += n;
        self.loads.push_back(Load { due, n, parts });
        if self.flows_through() {
            self.push_out();
        }
        !floor.jams(self.me, &part, Moment::Start)
    }

    /// In a flow-through bath: what is over the capacity leaves at the other end.
    fn push_out(&mut self) {
        let inside: u32 = self.loads.iter().map(|load| load.n).sum();
        let mut over = inside.saturating_sub(self.setup.capacity);
        while over > 0 {
            let Some(mut load) = self.loads.pop_front() else { return };
            if load.n > over {
                let out = split(&mut load, over, &mut self.luck);
                self.loads.push_front(load);
                load = out;
            }
            over -= load.n;
            self.leaving.push_back(load);
        }
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.let_out(floor);
        if floor.stands(self.me) {
            return;
        }
        let mut due = Nanos::MAX;
        match self.setup.rate {
            None => {
                due = self.take(floor, u64::from(UNLIMITED));
                if floor.stands(self.me) {
                    return;
                }
                // What has no residence, or is pushed out, leaves in the same instant.
                self.let_out(floor);
                if floor.stands(self.me) {
                    return;
                }
            }
            Some((_, period)) if !self.ticking => {
                self.ticking = true;
                self.intake.set(floor, floor.now.saturating_add(period));
            }
            Some(_) => {}
        }
        if self.setup.rate.is_none() {
            self.intake.set(floor, due);
        }
        let next = self.next_ready();
        self.ready.set(floor, next);
        let blocked = !self.leaving.is_empty() || !self.outlet.parts.is_empty();
        if blocked || self.content == 0 {
            let blocked = blocked || !floor.is_clear(self.setup.exit);
            floor.set_idle(self.me, blocked);
        } else {
            floor.set_state(self.me, State::Working);
        }
    }

    fn next_ready(&self) -> Nanos {
        let dues = self.loads.iter().map(|load| load.due);
        if self.setup.in_order { dues.take(1).min() } else { dues.min() }.unwrap_or(Nanos::MAX)
    }

    /// Lets out what is ready and has room.
    fn let_out<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let now = floor.now;
        if self.setup.in_order {
            while self.loads.front().is_some_and(|load| load.due <= now) {
                self.leaving.extend(self.loads.pop_front());
            }
        } else {
            while let Some(n) = self.loads.iter().position(|load| load.due <= now) {
                self.leaving.extend(self.loads.remove(n));
            }
        }
        while !floor.stands(self.me) && self.outlet.hand_on(floor) {
            let Some(load) = self.leaving.front() else { return };
            if !self.fits(floor, load.n) {
                if let Exit::Store(place) = self.setup.exit {
                    floor.wait_for_room(self.me, place);
                }
                return;
            }
            let Some(load) = self.leaving.pop_front() else { return };
            self.hand_out(floor, load);
        }
    }

    /// Whether a portion finds room in the bin beyond; other places take part after part.
    fn fits<O: Observer>(&self, floor: &Floor<O>, n: u32) -> bool {
        let Exit::Store(place) = self.setup.exit else { return true };
        let beyond = floor.place(place);
        beyond.counts().is_none()
            || beyond.is_endless()
            || beyond.is_empty()
            || n <= beyond.capacity().saturating_sub(beyond.len())
    }

    fn hand_out<O: Observer>(&mut self, floor: &mut Floor<O>, load: Load) {
        let part = first_of(floor, &load.parts);
        self.content -= load.n;
        match load.parts {
            Parts::One(part) => self.outlet.parts.push_back(part),
            Parts::Bulk(counts) => match self.setup.exit {
                Exit::Leave => floor.leave_in_bulk(self.me, &counts),
                Exit::Store(place) if floor.place(place).counts().is_some() => {
                    floor.stop_waiting(self.me, place);
                    floor.pour_on(self.me, place, &counts);
                }
                Exit::Store(_) | Exit::Hand(_) => {
                    for (class, n) in counts {
                        for _ in 0..n {
                            let part = floor.single_out(class, self.luck.stream());
                            self.outlet.parts.push_back(part);
                        }
                    }
                }
            },
        }
        floor.jams(self.me, &part, Moment::End);
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => {
                self.intake.shift(stood);
                self.ready.shift(stood);
                for load in self.loads.iter_mut().filter(|load| load.due != Nanos::MAX) {
                    load.due += stood;
                }
            }
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}

/// The part that stands for a load where a jam asks for one.
fn first_of<O: Observer>(floor: &Floor<O>, parts: &Parts) -> Part {
    match parts {
        Parts::One(part) => *part,
        Parts::Bulk(counts) => {
            let class =
                counts.first().map_or(BinClass { kind: 0, condition: 0, off_size: false }, |(c, _)| *c);
            Part::new(class.kind, class.condition, 0, floor.now)
        }
    }
}

/// Takes `n` parts out of a load, by its mix.
fn split(load: &mut Load, n: u32, luck: &mut Dice) -> Load {
    let Parts::Bulk(counts) = &mut load.parts else { panic!("a single part is not split") };
    let mut out: Vec<(BinClass, u32)> = counts.iter().map(|(class, _)| (*class, 0)).collect();
    for taken in 0..n {
        let mut pick =
            if counts.len() == 1 { 0 } else { luck.stream().below(u64::from(load.n - taken)) as u32 };
        for ((_, count), (_, gone)) in counts.iter_mut().zip(&mut out) {
            if pick < *count {
                *count -= 1;
                *gone += 1;
                break;
            }
            pick -= *count;
        }
    }
    load.n -= n;
    out.retain(|(_, count)| *count > 0);
    counts.retain(|(_, count)| *count > 0);
    Load { due: load.due, n, parts: Parts::Bulk(out) }
}

mod spec;
pub use spec::{BathSpec, read};

#[cfg(test)]
mod tests;
