//! What the kernel tells to whoever looks on.
//!
//! An observer is chosen at compile time. All hooks have empty bodies by default and are inlined, so that a
//! replication without an observer pays nothing for it. An observer never changes the course of events.

use super::floor::{PlaceId, StationId};
use super::state::State;
use crate::part::{Nanos, Part};

/// Something worth counting that happened at a station (or to an attendant or sensor).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Note {
    /// A part came into the line here.
    Created,
    /// A part was taken into work.
    Took,
    /// A part left through the exit with this number.
    Exit(u8),
    /// A part left the line here.
    Left,
    /// A stop of this line-wide number began.
    Stopped(u16),
    /// The stop of this line-wide number was cleared.
    Cleared(u16),
    /// The station started again after it had been held.
    Restarted,
    /// A stroke found nothing to release.
    EmptyStroke,
    /// A part found no room and was lost.
    Lost,
    /// A part found no room and fell back.
    Spilled,
    /// A part fell off a cleat as it was picked.
    DroppedBack,
    /// A place was filled beyond its capacity.
    Overfilled,
    /// A container was emptied into the line, or exchanged.
    Tipped,
    /// A presence check failed.
    CheckFailed,
    /// A stroke was made with a part missing.
    StrokeShort,
    /// A stroke with a part missing ended, and nothing came of what it should have made: that is a bad one.
    MadeNothing,
    /// A sensor switched on.
    SensorOn,
    /// A sensor switched off.
    SensorOff,
    /// An attendant was called.
    Called,
    /// An attendant began to work on a call.
    Attended,
}

/// What was drawn by chance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Draw {
    /// A time of a station, ns.
    Time(StationId),
    /// What a station that sorts out does to a part: parts that go on.
    Accepted(StationId),
    /// Whether this line-wide trouble strikes a part: strikes.
    Struck(u16),
    /// The time for which a trouble stops its station, but for the wait for an attendant and the walk, ns.
    Stop(u16),
    /// The time on its clock until a trouble strikes, ns.
    Between(u16),
    /// A walk of an attendant of this pool, ns.
    Walk(u16),
    /// The condition of a part: parts of this kind in this condition.
    Condition(u8, u8),
    /// The attitude in which a part falls: parts of this kind in this attitude.
    Attitude(u8, u8),
}

/// Whether a station that carries parts takes one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Intake {
    /// It does what it can: what would come next is there.
    Busy,
    /// Nothing is there to be taken, from this time (ns) on, which may lie ahead.
    Idle(Nanos),
    /// It takes nothing because it is in this state (held or off), whatever it still carries.
    Barred(State),
}

/// A look on at a replication. `station` numbers run over stations, then attendants, then sensors.
pub trait Observer {
    /// Whether it looks on only at lines of at most [`NEAR`](super::shelf::NEAR) posts, places and timers. The loop is
    /// compiled once more for these: most lines are, and looking things up then takes half as many instructions.
    const NEAR: bool = false;

    /// Whether it hears of draws. The loop is compiled once more with that; nobody else pays for it.
    const HEARS_DRAWS: bool = false;

    /// What came of a draw less what was to be expected of it, given all that had happened before. Told when it is used, if
    /// nobody could know it before. So the sum over any stretch of a replication is 0 on the mean, whatever ends the stretch.
    #[inline(always)]
    fn drew(&mut self, _draw: Draw, _off: f64) {}

    /// The state of `station` changes from `old` to `new`.
    #[inline(always)]
    fn state(&mut self, _now: Nanos, _station: StationId, _old: State, _new: State) {}

    /// Whether it takes more than [`Observer::state_plainly`] to note that `station` leaves the state `old`.
    #[inline(always)]
    fn is_special(&self, _station: StationId, _old: State) -> bool {
        false
    }

    /// The same as [`Observer::state`] where that is not special.
    #[inline(always)]
    fn state_plainly(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        self.state(now, station, old, new);
    }

    /// The content of `place` is about to change from `old` to `new` parts.
    #[inline(always)]
    fn level(&mut self, _now: Nanos, _place: PlaceId, _old: u32, _new: u32) {}

    /// The same as [`Observer::level`] for one part more than `old`.
    #[inline(always)]
    fn rises(&mut self, now: Nanos, place: PlaceId, old: u32) {
        self.level(now, place, old, old + 1);
    }

    /// The same as [`Observer::level`] for one part less than `old`.
    #[inline(always)]
    fn falls(&mut self, now: Nanos, place: PlaceId, old: u32) {
        self.level(now, place, old, old - 1);
    }

    /// A part is about to pass in no time through `place`, which is empty.
    #[inline(always)]
    fn passes(&mut self, now: Nanos, place: PlaceId) {
        self.level(now, place, 0, 1);
        self.level(now, place, 1, 0);
    }

    /// From now on the inlets of a machine whose bits are set lack parts.
    #[inline(always)]
    fn missing(&mut self, _now: Nanos, _station: StationId, _inlets: u32) {}

    /// `place`, the body of `carrier`, stands still from now on, or goes on.
    #[inline(always)]
    fn stands(&mut self, _now: Nanos, _place: PlaceId, _carrier: StationId, _stands: bool) {}

    /// `place` has stood since `since` because the part at its end was not taken, until now.
    #[inline(always)]
    fn stood(&mut self, _now: Nanos, _place: PlaceId, _since: Nanos) {}

    /// A station that carries several parts takes one, or does not. It is told over and over again.
    #[inline(always)]
    fn intake(&mut self, _now: Nanos, _station: StationId, _intake: Intake) {}

    /// `station` waits for room. It waits for a transporter that moves, and at whose end nothing waits: what is on its way there
    /// fills it, or the last part is still too near. `None`: for anything else.
    #[inline(always)]
    fn waits_for_room(&mut self, _now: Nanos, _station: StationId, _transporter: Option<StationId>) {}

    /// `station`, which carries several parts and has just been stopped, goes on with those within `ahead` of its end (ns
    /// of travel at full speed): only what is behind them stands.
    #[inline(always)]
    fn goes_on_ahead(&mut self, _now: Nanos, _station: StationId, _ahead: Nanos) {}

    /// `note` happened at `station`, with `part` where one part is concerned.
    #[inline(always)]
    fn note(&mut self, _now: Nanos, _station: StationId, _note: Note, _part: Option<&Part>) {}
}

/// Looks away.
impl Observer for () {}

/// Two observers that see the same.
impl<A: Observer, B: Observer> Observer for (A, B) {
    // If either looks on at near lines only, the line is one.
    const NEAR: bool = A::NEAR || B::NEAR;
    const HEARS_DRAWS: bool = A::HEARS_DRAWS || B::HEARS_DRAWS;

    #[inline(always)]
    fn drew(&mut self, draw: Draw, off: f64) {
        self.0.drew(draw, off);
        self.1.drew(draw, off);
    }

    #[inline(always)]
    fn state(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        self.0.state(now, station, old, new);
        self.1.state(now, station, old, new);
    }

    #[inline(always)]
    fn level(&mut self, now: Nanos, place: PlaceId, old: u32, new: u32) {
        self.0.level(now, place, old, new);
        self.1.level(now, place, old, new);
    }

    #[inline(always)]
    fn passes(&mut self, now: Nanos, place: PlaceId) {
        self.0.passes(now, place);
        self.1.passes(now, place);
    }

    #[inline(always)]
    fn missing(&mut self, now: Nanos, station: StationId, inlets: u32) {
        self.0.missing(now, station, inlets);
        self.1.missing(now, station, inlets);
    }

    #[inline(always)]
    fn note(&mut self, now: Nanos, station: StationId, note: Note, part: Option<&Part>) {
        self.0.note(now, station, note, part);
        self.1.note(now, station, note, part);
    }

    #[inline(always)]
    fn stands(&mut self, now: Nanos, place: PlaceId, carrier: StationId, stands: bool) {
        self.0.stands(now, place, carrier, stands);
        self.1.stands(now, place, carrier, stands);
    }

    #[inline(always)]
    fn stood(&mut self, now: Nanos, place: PlaceId, since: Nanos) {
        self.0.stood(now, place, since);
        self.1.stood(now, place, since);
    }

    #[inline(always)]
    fn intake(&mut self, now: Nanos, station: StationId, intake: Intake) {
        self.0.intake(now, station, intake);
        self.1.intake(now, station, intake);
    }

    #[inline(always)]
    fn goes_on_ahead(&mut self, now: Nanos, station: StationId, ahead: Nanos) {
        self.0.goes_on_ahead(now, station, ahead);
        self.1.goes_on_ahead(now, station, ahead);
    }

    #[inline(always)]
    fn waits_for_room(&mut self, now: Nanos, station: StationId, transporter: Option<StationId>) {
        self.0.waits_for_room(now, station, transporter);
        self.1.waits_for_room(now, station, transporter);
    }
}
