//! Gridlock: a knot of stations that wait for each other and that no pending timer can open.
//!
//! A knot never opens, so it is enough to look for it now and then: once in every minute of simulated time. The loop
//! pays nothing for it. A blocked station waits for whoever takes from the places it can't give to; a starved one for
//! whoever feeds the places that it finds empty or with too little; a held one for whoever takes from the places its
//! sensors watch. If everything that can be reached along these lines waits as well, nothing can ever move again (the
//! knot of the OR model of deadlocks; Holt 1972). A part on its way to the end of a belt, or a timer of one that waits,
//! stands against that; so does a changeover that is sure to come and may open the knot.
//!
//! Who only waits for a knot is no part of it: of all that can be reached, those count who reach each other. The knot
//! is as old as the rest of the last of them that moved.

use super::{Replica, Stop};
use crate::kernel::troubles::{Clock, Trigger};
use crate::kernel::{Exit, Observer, PlaceId, State, StationId};
use crate::part::Nanos;
use crate::stations::Station;

impl<O: Observer> Replica<'_, O> {
    /// The oldest knot that has not been told of, if there is one.
    #[cold]
    pub(super) fn find_knot(&mut self) -> Option<Stop> {
        let mut oldest: Option<(Nanos, Vec<StationId>)> = None;
        for start in self.starts() {
            let Some(reached) = self.search_from(start) else { continue };
            let knot = self.core_of(reached);
            if knot.iter().all(|station| self.stuck.contains(station)) {
                // It waits for a knot that has been told of, and need not be looked at any more.
                self.stuck.push(start);
                continue;
            }
            let at = self.begin_of(&knot);
            if oldest.as_ref().is_none_or(|(before, _)| at < *before) {
                oldest = Some((at, knot));
            }
        }
        let (at, stations) = oldest?;
        self.stuck.extend(&stations);
        Some(Stop::Gridlock { at, stations })
    }

    /// Where a search starts: from those that wait, and where they only starve, if somebody else does more than that.
    fn starts(&self) -> Vec<StationId> {
        let states =
            || (0..self.stations.len() as u16).map(|ix| (StationId(ix), self.floor.state(StationId(ix))));
        let somebody_waits =
            states().any(|(_, state)| matches!(state, State::Blocked | State::Held | State::Changeover));
        let may_be_knotted = |me: StationId, state: State| match state {
            State::Blocked => self.plan.links.bodies[me.ix()].is_none(),
            State::Held => true,
            State::Starved => somebody_waits,
            State::Working
            | State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair
            | State::Changeover
            | State::Off
            | State::Loading
            | State::Checking => false,
        };
        let waiting = states().filter(|(me, state)| may_be_knotted(*me, *state)).map(|(me, _)| me);
        // The line may wait for one that has to run empty and never will.
        let last = self.waits_to_run_out().filter(|me| match self.floor.state(*me) {
            State::Working => self.plan.links.bodies[me.ix()].is_some(),
            state => matches!(state, State::Blocked | State::Held | State::Starved),
        });
        let starts = waiting.chain(last);
        starts.filter(|me| !self.stuck.contains(me)).collect()
    }

    /// Of all whom somebody in a knot can reach, those who reach each other, from the last that moved on.
    fn core_of(&self, reached: Vec<StationId>) -> Vec<StationId> {
        let closures = reached.iter().filter_map(|station| self.search_from(*station));
        let Some(core) = closures.min_by_key(Vec::len) else { return reached };
        let last =
            core.iter().copied().max_by_key(|me| (self.floor.rests_since(*me), std::cmp::Reverse(*me)));
        last.and_then(|last| self.search_from(last)).unwrap_or(core)
    }

    /// When the last of these moved, ns.
    fn begin_of(&self, knot: &[StationId]) -> Nanos {
        knot.iter().map(|station| self.floor.rests_since(*station)).max().unwrap_or(self.floor.now)
    }

    /// All who are waited for by `start` and by one another, if none of them can change by himself.
    fn search_from(&self, start: StationId) -> Option<Vec<StationId>> {
        let mut reached = vec![start];
        let is_knot = self.reach(&mut reached) && !self.change_may_open(&reached);
        is_knot.then_some(reached)
    }

    /// Extends `reached`, which holds the first station, to all who are waited for. False if somebody is found who can
    /// change by himself, or will.
    pub(super) fn reach(&self, reached: &mut Vec<StationId>) -> bool {
        let mut next = 0;
        while let Some(&station) = reached.get(next) {
            let known = reached.len();
            match self.waits_for(station, reached) {
                Waits::ForOthers => forget_known(reached, known),
                Waits::Alive => return false,
            }
            next += 1;
        }
        true
    }

    /// Whom a station waits for, if it waits; they are added to `others`, perhaps more than once.
    fn waits_for(&self, me: StationId, others: &mut Vec<StationId>) -> Waits {
        let state = self.floor.state(me);
        // A changeover hides a break, whose end may open everything, and a hold.
        if state == State::Changeover && self.floor.is_off(me) {
            return Waits::Alive;
        }
        let hidden = if state == State::Changeover { self.sensors_of(me, others) } else { Waits::ForOthers };
        if let Some(body) = self.plan.links.bodies[me.ix()]
            && matches!(state, State::Blocked | State::Working | State::Starved | State::Changeover)
        {
            return self.carrier_waits_for(body, others).and(hidden);
        }
        let first = others.len();
        let has_timer = self.floor.has_pending_timer(me) && !self.ticks_in_vain(me);
        let mut own = if has_timer { Waits::Alive } else { Waits::ForOthers };
        if matches!(state, State::Blocked | State::Held)
            && self.stations[me.ix()].takes_while_blocked(&self.floor)
        {
            own = own.and(self.feeders_of(me, others)).and(self.sensors_of(me, others));
        }
        let waits = match state {
            State::Blocked => own
                .and(self.beyond_exits_of(me, others))
                .and(self.redirects_of(me, others))
                .and(self.level_of(me, others)),
            State::Starved => own.and(self.feeders_of(me, others)),
            State::Held => own.and(self.sensors_of(me, others)),
            State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair
            | State::Off
            | State::Loading
            | State::Checking => Waits::Alive,
            State::Changeover => match self.waits_to_run_out() {
                None => Waits::Alive,
                Some(station) => {
                    others.push(station);
                    own.and(hidden).and(self.beyond_exits_of(me, others))
                }
            },
            State::Working if !self.ticks_in_vain(me) => Waits::Alive,
            State::Working => own.and(self.feeders_of(me, others)),
        };
        waits.or_alive(others.len() > first)
    }

    /// Who can make room where a station stands.
    fn beyond_exits_of(&self, me: StationId, others: &mut Vec<StationId>) -> Waits {
        let mut waits = Waits::ForOthers;
        // Who goes by calls waits for all who could call.
        let hears = matches!(&self.stations[me.ix()], Station::Divider(d) if d.called_by().is_some());
        for exit in &self.plan.links.exits[me.ix()] {
            if let Exit::Store(place) | Exit::Hand(place) = exit
                && (hears || self.stands_before(me, *exit))
            {
                let turn = self.floor.place(*place).turn_before(me);
                waits = waits.and(self.takers_of(*place, others)).and(self.entry_of(*place, others));
                let first = self.floor.first_waiting(*place).filter(|first| *first != me);
                others.extend(turn.or(first));
            }
        }
        waits
    }

    /// Who lowers the bin on whose content a station waits.
    fn level_of(&self, me: StationId, others: &mut Vec<StationId>) -> Waits {
        let bin = self.stations[me.ix()].waits_for_level();
        bin.map_or(Waits::ForOthers, |bin| self.takers_of(bin, others))
    }

    /// Whether the clock of a station goes on although there is nothing for it at the next stroke.
    fn ticks_in_vain(&self, me: StationId) -> bool {
        let ready =
            |place: &PlaceId| self.floor.place(*place).head_due().is_some_and(|due| due <= self.floor.now);
        let is_held = self.floor.state(me) == State::Held;
        self.stations[me.ix()].strikes_by_clock()
            && (is_held || !self.plan.links.inlets[me.ix()].iter().any(ready))
    }

    /// What opens if a jam by a clock that runs while `me` is blocked sends its part off through another exit.
    fn redirects_of(&self, me: StationId, others: &mut Vec<StationId>) -> Waits {
        let mut waits = Waits::ForOthers;
        for ix in &self.plan.outfit.posts[me.ix()].troubles {
            let trouble = &self.plan.outfit.troubles[usize::from(*ix)];
            let runs = matches!(trouble.trigger, Trigger::Time { clock: Clock::Powered | Clock::Wall, .. });
            let Some(exit) = trouble.redirect.filter(|_| runs) else { continue };
            let exit = self.plan.links.exits[me.ix()][usize::from(exit)];
            waits = waits.and(match exit {
                Exit::Store(place) | Exit::Hand(place) if !self.floor.is_open(me, exit) => {
                    self.takers_of(place, others)
                }
                Exit::Leave | Exit::Store(_) | Exit::Hand(_) => Waits::Alive,
            });
        }
        waits
    }

    /// Who can lower the levels of the sensors that hold a station.
    fn sensors_of(&self, me: StationId, others: &mut Vec<StationId>) -> Waits {
        let mut waits = Waits::ForOthers;
        for sensor in self.floor.sensors().iter().filter(|s| s.on && s.holds.contains(&me)) {
            if sensor.pending {
                return Waits::Alive;
            }
            for place in &sensor.places {
                waits = waits.and(self.takers_of(*place, others));
            }
        }
        waits
    }

    /// Who can bring something to the inlets of a station.
    fn feeders_of(&self, me: StationId, others: &mut Vec<StationId>) -> Waits {
        let links = &self.plan.links;
        let mut waits = Waits::ForOthers;
        // A recipe is not helped by what it doesn't ask for.
        let lacks = self.stations[me.ix()].lacks();
        let wanted = |place: &&PlaceId| lacks.as_ref().is_none_or(|lacks| lacks.contains(place));
        for place in links.inlets[me.ix()].iter().filter(wanted) {
            let content = self.floor.place(*place);
            waits = waits.and(match content.head_due() {
                Some(_) if content.counts().is_some() => Waits::Alive,
                Some(due) if due > self.floor.now => Waits::Alive,
                // What stands still waits for the transporter on which it stands.
                None if !content.is_empty() => {
                    let bodies = (0..links.bodies.len()).filter(|ix| links.bodies[*ix] == Some(*place));
                    others.extend(bodies.map(|ix| StationId(ix as u16)));
                    Waits::ForOthers
                }
                // Nothing is there, or too little for one stroke.
                Some(_) | None => {
                    // A hopper is refilled by people, whoever else gives back into it.
                    if content.counts().is_some() && self.is_hopper(*place) {
                        return Waits::Alive;
                    }
                    others.extend(&links.feeders[place.ix()]);
                    Waits::ForOthers
                }
            });
        }
        waits
    }

    /// Whether a place is the content of a hopper.
    fn is_hopper(&self, place: PlaceId) -> bool {
        let bodies = self.plan.links.bodies.iter().zip(&self.stations);
        bodies
            .into_iter()
            .any(|(body, station)| *body == Some(place) && matches!(station, Station::Hopper(_)))
    }

    /// Whether something of station `me` stands before this exit.
    fn stands_before(&self, me: StationId, exit: Exit) -> bool {
        match exit {
            Exit::Leave => false,
            Exit::Hand(place) => !self.floor.place(place).is_empty(),
            Exit::Store(place) => self.floor.place(place).waiting().contains(&me),
        }
    }

    /// Who takes from a place, or when its first part comes to its end.
    fn takers_of(&self, place: PlaceId, others: &mut Vec<StationId>) -> Waits {
        let content = self.floor.place(place);
        match content.head_due() {
            Some(due) if due > self.floor.now => Waits::Alive,
            Some(_) | None => {
                others.extend(content.takers());
                Waits::ForOthers
            }
        }
    }

    /// Whether the entry of a belt that keeps its parts apart comes clear by itself.
    fn entry_of(&self, place: PlaceId, others: &mut Vec<StationId>) -> Waits {
        let bodies = &self.plan.links.bodies;
        let carrier = bodies.iter().position(|body| *body == Some(place)).map(|ix| StationId(ix as u16));
        let content = self.floor.place(place);
        if carrier.is_some_and(|carrier| self.floor.has_pending_timer(carrier)) {
            return Waits::Alive;
        }
        if content.len() < content.capacity() {
            // There is room, but the belt that would clear its entry stands.
            others.extend(carrier);
        }
        Waits::ForOthers
    }

    fn carrier_waits_for(&self, body: PlaceId, others: &mut Vec<StationId>) -> Waits {
        let first = others.len();
        let waits = if self.floor.place(body).is_empty() {
            others.extend(&self.plan.links.feeders[body.ix()]);
            Waits::ForOthers
        } else {
            self.takers_of(body, others)
        };
        waits.or_alive(others.len() > first)
    }
}

/// Takes out of `list` what stands in it before, from number `known` on.
fn forget_known(list: &mut Vec<StationId>, known: usize) {
    let mut kept = known;
    for n in known..list.len() {
        let station = list[n];
        if !list[..kept].contains(&station) {
            list[kept] = station;
            kept += 1;
        }
    }
    list.truncate(kept);
}

/// What a station waits for.
#[derive(Clone, Copy)]
enum Waits {
    /// For nobody: it can change by itself, or something is on its way to it.
    Alive,
    /// For any of those who were listed.
    ForOthers,
}

impl Waits {
    /// Waiting for either: who may be helped by somebody alive is alive.
    fn and(self, other: Waits) -> Waits {
        match (self, other) {
            (Waits::Alive, _) | (_, Waits::Alive) => Waits::Alive,
            (Waits::ForOthers, Waits::ForOthers) => Waits::ForOthers,
        }
    }

    /// Who waits for nobody in particular can't be shown to wait for ever.
    fn or_alive(self, waits_for_others: bool) -> Waits {
        if waits_for_others { self } else { Waits::Alive }
    }
}
