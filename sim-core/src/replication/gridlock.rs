//! Gridlock: a knot of stations that wait for each other and that no pending timer can open.
//!
//! Looked for when a station begins to wait: when it blocks, is held, or starves while others are blocked. A
//! blocked station waits for whoever takes from the places it can't give to; a starved one for whoever feeds the
//! places that it finds empty or with too little; a held one for whoever takes from the places its sensors watch.
//! If everything that can be reached along these lines waits as well, nothing can ever move again (the knot of the
//! OR model of deadlocks; Holt 1972). If only a part on its way to the end of a belt, or a timer of one that waits, stands against that, the
//! search is repeated when its time has come: it may change nothing; so for the next stroke of a clock. So it is if a changeover that is sure to come may
//! open the knot: the search is repeated when the next run has started.

use super::{Replica, Stop};
use crate::kernel::shelf::Shelf;
use crate::kernel::troubles::{Clock, Trigger};
use crate::kernel::{Exit, Observer, PlaceId, State, StationId};
use crate::network::Plan;
use crate::part::Nanos;
use crate::stations::Station;

impl<O: Observer> Replica<'_, O> {
    /// True if there is a knot, which is then the stop of the replication.
    #[inline(never)]
    pub(super) fn find_knot(&mut self) -> bool {
        let mut n = 0;
        while let Some(&station) = self.floor.newly_blocked.get(n) {
            n += 1;
            if self.waits_for_one_at_work(station) || !self.may_be_knotted(station) {
                continue;
            }
            match self.search_from(station) {
                Found::Alive => {}
                Found::UnderWay(due) => self.look_again(station, due),
                Found::Knot(stations) if self.change_may_open(&stations) => self.suspects.push(station),
                Found::Knot(stations) => {
                    self.note_knot();
                    self.floor.newly_blocked.clear();
                    self.stop = Some(Stop::Gridlock { at: self.floor.now, stations });
                    return true;
                }
            }
        }
        self.floor.newly_blocked.clear();
        false
    }

    /// Looks again when a part has come to the end of its belt: nothing else may happen then.
    #[cold]
    fn look_again(&mut self, station: StationId, due: Nanos) {
        if !self.suspects.contains(&station) {
            self.suspects.push(station);
        }
        let timer = self.plan.knot_timer;
        if self.floor.calendar.at(timer).is_none_or(|at| due < at) {
            self.floor.calendar.set(timer, due);
        }
    }

    /// The time to look again has come.
    pub(super) fn look_at_suspects(&mut self) {
        self.floor.newly_blocked.append(&mut self.suspects);
    }

    /// The usual case, seen at a glance: what `me` has finished stands in its hand, and the only one who takes from
    /// there is at work.
    #[inline(always)]
    fn waits_for_one_at_work(&self, me: StationId) -> bool {
        let (hand, taker) = *self.hands.at(me.ix(), O::NEAR);
        taker != StationId::NONE
            && self.floor.state(taker) == State::Working
            && self.floor.state(me) == State::Blocked
            && !self.floor.place(hand).is_empty()
    }

    /// For each post its hand and the only one who takes from there, if it has no other exit.
    pub(super) fn hands_of(plan: &Plan) -> Shelf<(PlaceId, StationId)> {
        const NONE: (PlaceId, StationId) = (PlaceId(0), StationId::NONE);
        let hand = |ix: usize| match plan.links.exits.get(ix).map_or(&[][..], |exits| exits) {
            [Exit::Hand(place)] => match plan.outfit.places[place.ix()].takers() {
                [only] => (*place, *only),
                _ => NONE,
            },
            _ => NONE,
        };
        Shelf::new((0..plan.outfit.posts.len()).map(hand).collect(), || NONE)
    }

    /// What can be seen at a glance: whether a station that began to wait may be part of a knot.
    fn may_be_knotted(&self, me: StationId) -> bool {
        match self.floor.state(me) {
            State::Working => self.plan.links.bodies.get(me.ix()).is_some_and(Option::is_some),
            State::Blocked => !self.sees_work(me),
            State::Starved => me.ix() < self.stations.len() && !self.sees_feeder(me),
            State::Held => true,
            State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair
            | State::Changeover
            | State::Off
            | State::Checking => false,
        }
    }

    /// Whether somebody who feeds `me` is at work. Where parts stand still, more of them are no help.
    fn sees_feeder(&self, me: StationId) -> bool {
        let links = &self.plan.links;
        let stands = |place: &&PlaceId| {
            let place = self.floor.place(**place);
            !place.is_empty() && place.head_due().is_none()
        };
        let inlets = links.inlets[me.ix()].iter().filter(|place| !stands(place));
        let mut feeders = inlets.flat_map(|place| &links.feeders[place.ix()]);
        feeders.any(|feeder| self.floor.state(*feeder) == State::Working)
    }

    /// Whether somebody who takes from where `me` stands is at work, which is so nearly always: then there is
    /// no knot, and nothing has to be searched.
    fn sees_work(&self, me: StationId) -> bool {
        me.ix() < self.stations.len()
            && self.plan.links.exits[me.ix()].iter().any(|exit| match exit {
                Exit::Leave => false,
                Exit::Store(place) | Exit::Hand(place) => {
                    let taker = self.floor.place(*place).first_taker();
                    taker != StationId::NONE
                        && self.floor.state(taker) == State::Working
                        && self.stands_before(me, *exit)
                }
            })
    }

    /// Follows from `start` who waits for whom. The list of those reached is kept from search to search: this runs
    /// whenever somebody begins to wait.
    #[inline(never)]
    fn search_from(&mut self, start: StationId) -> Found {
        if start.ix() >= self.stations.len() {
            return Found::Alive;
        }
        let mut reached = std::mem::take(&mut self.reached);
        reached.clear();
        reached.push(start);
        let found = match self.reach(&mut reached) {
            Waits::Alive => Found::Alive,
            Waits::UntilDue(due) => Found::UnderWay(due),
            Waits::ForOthers => Found::Knot(reached.clone()),
        };
        self.reached = reached;
        found
    }

    /// Extends `reached`, which holds the first station, to all who are waited for, until somebody is found who can
    /// change by himself.
    fn reach(&self, reached: &mut Vec<StationId>) -> Waits {
        let mut soonest = Nanos::MAX;
        let mut next = 0;
        while let Some(&station) = reached.get(next) {
            let known = reached.len();
            match self.waits_for(station, reached) {
                Waits::ForOthers => forget_known(reached, known),
                Waits::UntilDue(due) => {
                    soonest = soonest.min(due);
                    reached.truncate(known);
                }
                Waits::Alive => return Waits::Alive,
            }
            next += 1;
        }
        if soonest == Nanos::MAX { Waits::ForOthers } else { Waits::UntilDue(soonest) }
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
        let mut own = match self.floor.next_timer(me) {
            Some(due) if !self.ticks_in_vain(me) => Waits::UntilDue(due),
            Some(_) | None => Waits::ForOthers,
        };
        if matches!(state, State::Blocked | State::Held)
            && self.stations[me.ix()].takes_while_blocked(&self.floor)
        {
            own = own.and(self.feeders_of(me, others)).and(self.sensors_of(me, others));
        }
        let waits = match state {
            State::Blocked => own.and(self.beyond_exits_of(me, others)).and(self.redirects_of(me, others)),
            State::Starved => own.and(self.feeders_of(me, others)),
            State::Held => own.and(self.sensors_of(me, others)),
            State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair
            | State::Off
            | State::Checking => Waits::Alive,
            State::Changeover => match self.waits_to_run_out() {
                None => Waits::Alive,
                Some(station) => {
                    others.push(station);
                    own.and(hidden)
                }
            },
            // What the next stroke of a clock does may complete a knot without anybody beginning to wait.
            State::Working if !self.ticks_in_vain(me) && self.stations[me.ix()].strikes_by_clock() => own,
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
                Some(due) if due > self.floor.now => Waits::UntilDue(due),
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
            Some(due) if due > self.floor.now => Waits::UntilDue(due),
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
        if let Some(due) = carrier.and_then(|carrier| self.floor.next_timer(carrier)) {
            return Waits::UntilDue(due);
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

/// What a search has found.
enum Found {
    /// Something can still change by itself.
    Alive,
    /// Nothing can but a part that comes to the end of a belt at this time.
    UnderWay(Nanos),
    /// All that can be reached waits.
    Knot(Vec<StationId>),
}

/// What a station waits for.
#[derive(Clone, Copy)]
enum Waits {
    /// For nobody: it can change by itself.
    Alive,
    /// For a part that comes to an end, or a timer that runs out, at this time.
    UntilDue(Nanos),
    /// For any of those who were listed.
    ForOthers,
}

impl Waits {
    /// Waiting for either: who may be helped by somebody alive is alive.
    fn and(self, other: Waits) -> Waits {
        match (self, other) {
            (Waits::Alive, _) | (_, Waits::Alive) => Waits::Alive,
            (Waits::UntilDue(a), Waits::UntilDue(b)) => Waits::UntilDue(a.min(b)),
            (Waits::UntilDue(due), Waits::ForOthers) | (Waits::ForOthers, Waits::UntilDue(due)) => {
                Waits::UntilDue(due)
            }
            (Waits::ForOthers, Waits::ForOthers) => Waits::ForOthers,
        }
    }

    /// Who waits for nobody in particular can't be shown to wait for ever.
    fn or_alive(self, waits_for_others: bool) -> Waits {
        match self {
            Waits::ForOthers if !waits_for_others => Waits::Alive,
            Waits::ForOthers | Waits::UntilDue(_) | Waits::Alive => self,
        }
    }
}
