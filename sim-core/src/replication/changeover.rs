//! Changeover: ends a run, empties the line, has it tooled and starts the next run (ruling 24).
//!
//! **End of a run.** When the named station has completed the run's good parts, or its time is over, the listed
//! stations stop starting: what they have in work is finished, what is aboard a lift goes on, dumpers and hoppers
//! call for nothing more, streams bring nothing. **Run out:** from then on, whenever nothing moves any more at an
//! instant, it is seen whether all named stations are empty: nothing in their place, in themselves or in their
//! hands. Bins and loops that are not named keep what they hold. A line that can't run out, for it waits for a station
//! that is stopped for the changeover, is a knot. **Purge:** then the content of the named places
//! at that moment / the rate is the time after which all that is in them is taken out at once, by an attendant if
//! one is named. **Tooling:** all tasks are called for together; a task without attendants takes its time by
//! itself. From the end of the run-out to the end of the tooling the concerned stations stand (they start
//! nothing; gravity goes on). **Restart:** the sources of the kind of the first run bring the next kind, stations
//! with settings by part take those of the kind, full containers that wait are exchanged, the counter is set to
//! zero. What was completed after the end of the run counts in the rate, but not in the next run.
//!
//! **State:** a station that stops starting, or stands, is in changeover as soon as nothing is in work.

use super::Replica;
use crate::kernel::{Exit, Job, Note, Observer, PlaceId, StationId, Stream};
use crate::network::{ChangePlan, End};
use crate::part::{Nanos, SECOND};

/// Where the sequence stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    /// A run is made.
    Running,
    /// The line runs empty.
    RunningOut,
    /// Parts are taken out.
    Purging,
    /// So many tasks are still open.
    Tooling(u32),
}

/// State of the product sequence.
#[derive(Clone, Debug)]
pub(super) struct Change {
    phase: Phase,
    run: usize,
    luck: Stream,
}

impl Change {
    pub(super) fn new(plan: &ChangePlan, seed: u64, replication: u64) -> Self {
        Change { phase: Phase::Running, run: 0, luck: plan.key.stream(seed, replication) }
    }

    /// Whether it has to be seen if the line has run out.
    pub(super) fn runs_out(&self) -> bool {
        self.phase == Phase::RunningOut
    }
}

impl<O: Observer> Replica<'_, O> {
    /// Starts the first run.
    pub(super) fn start_sequence(&mut self) {
        if let Some(plan) = &self.plan.change {
            self.floor.count_good_at(plan.counted.clone(), plan.post);
            self.start_run(plan);
        }
    }

    fn start_run(&mut self, plan: &ChangePlan) {
        let Some(change) = &mut self.change else { return };
        change.phase = Phase::Running;
        let (kind, end) = plan.runs[change.run];
        for source in &plan.sources {
            self.stations[source.ix()].bring(kind);
        }
        for &bin in &plan.source_bins {
            self.floor.place_mut(bin).set_endless(kind);
        }
        self.stations.iter_mut().for_each(|station| station.set_up(kind));
        let target = if let End::Good(good) = end { good } else { u64::MAX };
        self.floor.start_count(target);
        match end {
            End::After(after) => self.floor.set_timer(plan.timer, after),
            End::Good(_) | End::Never => self.floor.calendar.clear(plan.timer),
        }
    }

    /// The count of good parts may be complete.
    pub(super) fn look_at_count(&mut self) {
        let Some(plan) = &self.plan.change else { return };
        if self.floor.count_is_complete() && self.change.as_ref().is_some_and(|c| c.phase == Phase::Running) {
            self.end_run(plan);
        }
    }

    fn end_run(&mut self, plan: &ChangePlan) {
        let Some(change) = &mut self.change else { return };
        change.phase = Phase::RunningOut;
        self.floor.note(plan.post, Note::SensorOn, None);
        plan.stops.iter().for_each(|station| self.floor.begin_changeover(*station));
        match plan.run_out_most {
            Some(most) => self.floor.set_timer(plan.timer, most),
            None => self.floor.calendar.clear(plan.timer),
        }
        self.sees_run_out = true;
    }

    /// The timer of the sequence has run out.
    pub(super) fn fire_change(&mut self) {
        let (Some(plan), Some(change)) = (&self.plan.change, &self.change) else { return };
        match change.phase {
            Phase::Running => self.end_run(plan),
            Phase::RunningOut => self.has_run_out(plan),
            Phase::Purging => self.purge(plan),
            Phase::Tooling(_) => self.task_done(plan),
        }
    }

    /// Attendants have done a task.
    pub(super) fn change_attended(&mut self) {
        let (Some(plan), Some(change)) = (&self.plan.change, &self.change) else { return };
        match change.phase {
            Phase::Purging => self.purge(plan),
            Phase::Tooling(_) => self.task_done(plan),
            Phase::Running | Phase::RunningOut => {
                panic!("attendants work only on a purge or a tooling change")
            }
        }
    }

    /// Sees whether the line has run out, after the fixed point. True if that ends the replication.
    #[cold]
    pub(super) fn sees_the_line_run_out(&mut self) -> bool {
        let (Some(plan), Some(change)) = (&self.plan.change, &self.change) else { return false };
        if !change.runs_out() {
            return false;
        }
        if self.not_run_out(plan).is_none() {
            self.has_run_out(plan);
        }
        self.settle_all()
    }

    /// A station that has to run empty and has not, while the line waits for that without a limit of time.
    pub(super) fn waits_to_run_out(&self) -> Option<StationId> {
        let (Some(plan), Some(change)) = (&self.plan.change, &self.change) else { return None };
        let waits = change.runs_out() && self.floor.calendar.at(plan.timer).is_none();
        if waits { self.not_run_out(plan) } else { None }
    }

    /// The first station that has to run empty and has not.
    fn not_run_out(&self, plan: &ChangePlan) -> Option<StationId> {
        let is_empty = |station: &StationId| {
            let hands = self.plan.links.exits[station.ix()].iter();
            let holds = |exit: &Exit| match exit {
                Exit::Hand(place) => !self.floor.place(*place).is_empty(),
                Exit::Leave | Exit::Store(_) => false,
            };
            self.stations[station.ix()].content() == 0 && !hands.into_iter().any(holds)
        };
        let full = plan.run_out.iter().find(|(station, body)| {
            !is_empty(station) || body.is_some_and(|body| !self.floor.place(body).is_empty())
        });
        full.map(|(station, _)| *station)
    }

    fn has_run_out(&mut self, plan: &ChangePlan) {
        self.sees_run_out = false;
        self.floor.calendar.clear(plan.timer);
        for station in plan.of.iter().filter(|station| !plan.stops.contains(station)) {
            self.floor.begin_changeover(*station);
        }
        let Some(change) = &mut self.change else { return };
        change.phase = Phase::Purging;
        let Some(purge) = &plan.purge else { return self.tool(plan) };
        let n: u64 = purge.places.iter().map(|place| u64::from(self.floor.place(*place).len())).sum();
        if n == 0 {
            return self.tool(plan);
        }
        let (kind, _) = plan.runs[change.run];
        let time = (n as f64 / purge.per_s[usize::from(kind)] * SECOND as f64).round() as Nanos;
        match purge.pool {
            Some(pool) => self.floor.call(pool, plan.post, Job::Task(0, time)),
            None => self.floor.set_timer(plan.timer, time),
        }
    }

    fn purge(&mut self, plan: &ChangePlan) {
        let Some(purge) = &plan.purge else { panic!("only what is to be purged is purged") };
        for &place in &purge.places {
            let n = self.floor.clear_out(place);
            let note = if purge.is_scrap { Note::Lost } else { Note::Spilled };
            (0..n).for_each(|_| self.floor.note(plan.post, note, None));
        }
        self.tool(plan);
    }

    /// Calls for all tasks of the tooling change.
    fn tool(&mut self, plan: &ChangePlan) {
        let Some(change) = &mut self.change else { return };
        let mut alone: Option<Nanos> = None;
        let mut calls = Vec::new();
        for (pool, time) in &plan.tooling {
            let time = time.draw_ns(&mut change.luck);
            match pool {
                Some(pool) => calls.push((*pool, time)),
                None => alone = Some(alone.map_or(time, |longest| longest.max(time))),
            }
        }
        let open = calls.len() as u32 + u32::from(alone.is_some());
        change.phase = Phase::Tooling(open);
        for (pool, time) in calls {
            self.floor.call(pool, plan.post, Job::Task(1, time));
        }
        if let Some(time) = alone {
            self.floor.set_timer(plan.timer, time);
        }
        if open == 0 {
            self.restart(plan);
        }
    }

    fn task_done(&mut self, plan: &ChangePlan) {
        let Some(change) = &mut self.change else { return };
        let Phase::Tooling(open) = change.phase else {
            panic!("a task is done only during a tooling change")
        };
        change.phase = Phase::Tooling(open - 1);
        if open == 1 {
            self.restart(plan);
        }
    }

    /// Whether a changeover that is sure to come may open a knot: it takes parts out of a place by which stations of
    /// the knot wait, or it brings another kind.
    #[cold]
    pub(super) fn change_may_open(&self, knot: &[StationId]) -> bool {
        let (Some(plan), Some(change)) = (&self.plan.change, &self.change) else { return false };
        let has_timer = self.floor.calendar.at(plan.timer).is_some();
        // Who is no part of the knot may wait for it all the same.
        let can_move = |station: &StationId| !knot.contains(station) && !self.reach(&mut vec![*station]);
        let comes = match change.phase {
            Phase::Purging | Phase::Tooling(_) => true,
            Phase::Running => match plan.runs[change.run].1 {
                End::Good(_) => plan.counted.iter().any(can_move),
                End::After(_) | End::Never => has_timer,
            },
            Phase::RunningOut => {
                has_timer || self.waits_to_run_out().is_none_or(|station| can_move(&station))
            }
        };
        let links = &self.plan.links;
        let waits_by = |place: &PlaceId| {
            knot.iter().any(|station| {
                let gives = links.exits[station.ix()].contains(&Exit::Store(*place));
                gives
                    || links.inlets[station.ix()].contains(place)
                    || links.bodies[station.ix()] == Some(*place)
            })
        };
        let purges = plan.purge.iter().flat_map(|purge| &purge.places).any(waits_by);
        comes && (purges || plan.runs.iter().any(|(kind, _)| *kind != plan.runs[0].0))
    }

    fn restart(&mut self, plan: &ChangePlan) {
        if let Some(change) = &mut self.change {
            change.run = (change.run + 1) % plan.runs.len();
        }
        self.start_run(plan);
        self.floor.note(plan.post, Note::Restarted, None);
        let others = plan.of.iter().filter(|station| !plan.stops.contains(station));
        for station in plan.stops.iter().chain(others) {
            self.floor.end_changeover(*station);
        }
    }
}

#[cfg(test)]
#[path = "changeover_tests.rs"]
mod tests;
