//! What the account hears while a replication runs.

use super::Causes;
use super::signal::{Cause, Reason, Time};
use super::slow::Doing;
use crate::kernel::{Intake, Note, Observer, PlaceId, State, StationId};
use crate::part::{Nanos, Part};

impl Observer for Causes {
    fn state(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        let (ix, now) = (station.ix(), now as Time);
        if old == new || ix >= self.states.len() {
            return;
        }
        if let Some(account) =
            self.account_of.iter().copied().find(|&a| a >= self.states.len() && self.nodes[a].me == station)
        {
            self.follow(account, new == State::Starved, now);
        }
        let (stops, stood) = (self.setup.is_stop(ix, new), self.setup.is_stop(ix, old));
        self.n_stopped = self.n_stopped + u32::from(stops) - u32::from(stood);
        self.states[ix] = new;
        if self.intake_of[ix].is_some() {
            self.carrying_state(ix, new, now)
        } else {
            self.plain_state(ix, new, now)
        }
        if stops {
            self.pass_on_stop(now);
        }
        if let Some(body) = self.setup.stations[ix].body
            && self.ways[body.ix()].stands()
        {
            let reason = self.interruption(ix, now);
            self.set_standing(body.ix(), true, reason, now);
        }
    }

    #[inline(always)]
    fn level(&mut self, now: Nanos, place: PlaceId, old: u32, new: u32) {
        if new < old && self.n_stamps as usize + self.n_slow_ways > 0 {
            self.came_out(place.ix(), now as Time);
            self.unstamp(place.ix(), now as Time);
        }
    }

    #[inline(always)]
    fn passes(&mut self, now: Nanos, place: PlaceId) {
        self.level(now, place, 1, 0);
    }

    fn missing(&mut self, now: Nanos, station: StationId, inlets: u32) {
        let ix = station.ix();
        // That nothing is lacking any more is told before the parts are taken; what they say of the gap comes first.
        if inlets != 0 && ix < self.nodes.len() && self.nodes[ix].lacking != inlets {
            self.work_out(ix, now as Time);
            self.nodes[ix].lacking = inlets;
        }
    }

    fn stands(&mut self, now: Nanos, place: PlaceId, carrier: StationId, stands: bool) {
        let now = now as Time;
        let state = self.states[carrier.ix()];
        let cause = self.own_cause(carrier, if state == State::Working { State::Held } else { state });
        self.set_standing(place.ix(), stands, Reason { cause, began: now }, now);
    }

    fn stood(&mut self, now: Nanos, place: PlaceId, since: Nanos) {
        self.tidy_way(place.ix(), now as Time);
        self.ways[place.ix()].stood(since as Time, now as Time);
    }

    fn intake(&mut self, now: Nanos, station: StationId, intake: Intake) {
        let now = now as Time;
        let Some(ix) = self.intake_of[station.ix()] else { return };
        match intake {
            Intake::Busy => {
                self.follow(ix, false, now);
                self.does(ix, Doing::Works, now);
                self.go_to_work(ix, now);
            }
            Intake::Idle(_) if self.nodes[ix].sources.is_empty() => {
                let cause = Cause::At(station, State::Starved);
                self.does(ix, Doing::Waits, now);
                if self.nodes[ix].signal.last().cause != cause {
                    let from = self.at_full_speed(ix, now);
                    self.nodes[ix].signal.set(from, Reason { cause, began: now });
                }
            }
            Intake::Idle(from) => {
                let from = from as Time;
                self.does(ix, Doing::WorksUntil(from), now);
                self.follow(ix, true, self.at_full_speed(ix, from));
            }
            Intake::Barred(state) => {
                self.follow(ix, false, now);
                self.does(ix, self.doing_in(station.ix(), state), now);
                if self.nodes[ix].signal.last().cause == Cause::At(self.nodes[ix].me, State::Working) {
                    let reason = self.interruption_in(station.ix(), state, now);
                    let from = self.at_full_speed(ix, now);
                    self.nodes[ix].signal.set(from, reason);
                }
            }
        }
    }

    fn waits_for_room(&mut self, _now: Nanos, station: StationId, transporter: Option<StationId>) {
        if let Some(node) = self.nodes.get_mut(station.ix()) {
            node.waits_for = transporter;
        }
    }

    fn goes_on_ahead(&mut self, now: Nanos, station: StationId, ahead: Nanos) {
        if self.intake_of[station.ix()].is_some() {
            self.go_on_ahead(station.ix(), ahead as Time, now as Time);
        }
    }

    #[inline(always)]
    fn note(&mut self, now: Nanos, station: StationId, note: Note, _part: Option<&Part>) {
        match note {
            Note::Took => {
                if let Some(Some(intake)) = self.intake_of.get(station.ix()).copied() {
                    self.follow(intake, false, now as Time);
                    self.give(intake, now as Time);
                    self.does(intake, Doing::Works, now as Time);
                }
            }
            Note::Exit(_) | Note::Tipped => {
                let ix = station.ix();
                if self.intake_of[ix].is_some() {
                    let way = self.nodes[ix].sources[0][0].place;
                    self.came_out(way, now as Time);
                    self.unstamp(way, now as Time);
                    self.ways[way].let_out(now as Time);
                    self.nodes[ix].gave = now as Time;
                } else if self.states[ix].is_stop() || self.states[ix] == State::Held {
                    self.give_still_stopped(ix, now as Time);
                } else {
                    self.give(ix, now as Time);
                }
            }
            Note::SensorOn | Note::SensorOff => {
                let sensors = &self.setup.sensors;
                if let Some(ix) = sensors.iter().position(|sensor| sensor.post == Some(station)) {
                    self.sensors_on[ix] = note == Note::SensorOn;
                    self.change_paces(ix, now as Time);
                }
            }
            Note::Created
            | Note::Left
            | Note::Stopped(_)
            | Note::Cleared(_)
            | Note::Restarted
            | Note::EmptyStroke
            | Note::Lost
            | Note::Spilled
            | Note::DroppedBack
            | Note::Overfilled
            | Note::CheckFailed
            | Note::StrokeShort
            | Note::MadeNothing
            | Note::Called
            | Note::Attended => {}
        }
    }
}
