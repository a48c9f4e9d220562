//! A trial: a scenario file, how long it is run, and what is measured.
//!
//! The file is written as text, read and compiled like any other, and simulated on two threads. The result
//! depends on seed and replication only, never on the threads.

use serde_json::{Value, json};
use sim_core::kernel::{Note, Observer, PlaceId, State, StationId};
use sim_core::measure::{Counts, Tally};
use sim_core::network::{Plan, compile};
use sim_core::part::Part;
use sim_core::replication::{Replica, Stop};
use sim_core::scenario;
use std::thread;

/// Relaxation times that pass before a long-run window opens. What is left of the start is a share of
/// e^-20 = 2e-9 of its first size.
pub const WARM_UP_MEMORIES: f64 = 20.0;

/// The same for short studies that ask how often an interval holds: what is left of the start is under a
/// hundredth of its first size, which itself is far below the half-width of the interval.
pub const SHORT_WARM_UP_MEMORIES: f64 = 5.0;

const THREADS: u64 = 2;

/// What is measured on a replication that has ended.
pub type Measure = Box<dyn Fn(&Ended<'_>) -> f64 + Send + Sync>;

/// Further lines of a trial.
pub struct Beside {
    /// Their files without plans.
    pub lines: Vec<Value>,
    /// From the measure of the first line and those of the further ones, in order.
    pub combine: fn(&[f64]) -> f64,
}

/// A scenario, its run and its measure.
pub struct Trial {
    /// The file without its plan.
    pub line: Value,
    /// A bound of the time in which the line forgets its start (relaxation time), s; 0 if the start itself
    /// is part of the question.
    pub memory_s: f64,
    /// Relaxation times before the window opens.
    pub warm_up_memories: f64,
    /// Length of the window, s.
    pub window_s: f64,
    /// Number of replications.
    pub replications: u64,
    /// What is measured.
    pub measure: Measure,
    /// Lines that run on the same luck beside the first, and what is made of the measures of all.
    pub beside: Option<Beside>,
    /// The station whose takings are watched, and how many of them.
    pub watch: Option<(&'static str, u64)>,
}

impl Trial {
    /// A trial without a watch.
    pub fn new(
        line: Value,
        memory_s: f64,
        window_s: f64,
        replications: u64,
        measure: impl Fn(&Ended<'_>) -> f64 + Send + Sync + 'static,
    ) -> Self {
        Trial {
            line,
            memory_s,
            warm_up_memories: WARM_UP_MEMORIES,
            window_s,
            replications,
            measure: Box::new(measure),
            beside: None,
            watch: None,
        }
    }

    /// Watches how long parts were in the line when `station` took them, the first `most` of each
    /// replication.
    #[must_use]
    pub fn watching(mut self, station: &'static str, most: u64) -> Self {
        self.watch = Some((station, most));
        self
    }

    /// Runs further lines on the same luck beside the first.
    #[must_use]
    pub fn beside(mut self, lines: Vec<Value>, combine: fn(&[f64]) -> f64) -> Self {
        self.beside = Some(Beside { lines, combine });
        self
    }

    /// The scenario file.
    pub fn text(&self) -> String {
        self.text_of(&self.line)
    }

    fn text_of(&self, line: &Value) -> String {
        let warm_up_s = self.memory_s * self.warm_up_memories;
        let mut file = line.clone();
        file["feedproof"] = json!(1);
        file["plan"]["shift"] = json!(format!("{} s", warm_up_s + self.window_s));
        file["plan"]["warm_up"] = json!(format!("{warm_up_s} s"));
        file.to_string()
    }

    /// The compiled line.
    ///
    /// # Panics
    /// If the file is not sound.
    pub fn plan(&self) -> Plan {
        self.plan_of(&self.line)
    }

    fn plan_of(&self, line: &Value) -> Plan {
        let text = self.text_of(line);
        let checked = scenario::read(&text);
        let Some(scenario) = checked.scenario else {
            panic!("the file of a trial is sound: {:?}\n{text}", checked.problems)
        };
        compile(&scenario)
    }

    /// The measure of each replication, in order.
    ///
    /// # Panics
    /// If a replication does not come to the end of its window or loses parts.
    pub fn run(&self, seed: u64, replications: std::ops::Range<u64>) -> Vec<f64> {
        let plan = self.plan();
        let Some(beside) = &self.beside else {
            return on_threads(replications, |n| self.replicate(&plan, seed, n));
        };
        let further = beside.lines.iter().map(|line| self.plan_of(line));
        let plans: Vec<Plan> = std::iter::once(plan).chain(further).collect();
        on_threads(replications, |n| {
            let measures: Vec<f64> = plans.iter().map(|plan| self.replicate(plan, seed, n)).collect();
            (beside.combine)(&measures)
        })
    }

    /// The measures of short studies, one for each seed, of so many replications each.
    ///
    /// # Panics
    /// As for [`Trial::run`].
    pub fn studies(&self, seeds: std::ops::Range<u64>, replications: u64) -> Vec<Vec<f64>> {
        let plan = self.plan();
        on_threads(seeds, |seed| (0..replications).map(|n| self.replicate(&plan, seed, n)).collect())
    }

    fn replicate(&self, plan: &Plan, seed: u64, replication: u64) -> f64 {
        let watch = Watch {
            station: self.watch.map_or(StationId::NONE, |(name, _)| StationId(post(plan, name) as u16)),
            most: self.watch.map_or(0, |(_, most)| most),
            ..Watch::default()
        };
        let mut replica = Replica::new(plan, seed, replication, (Tally::new(&plan.tally), watch));
        replica.events_max = plan.events_max;
        if plan.open_ns > 0 {
            assert_eq!(replica.run_until(plan.open_ns), Stop::TimeReached, "the warm-up ends by time");
            replica.floor.observer.0.open(plan.open_ns);
            replica.floor.observer.1.open();
        }
        assert_eq!(replica.run_until(plan.close_ns), Stop::TimeReached, "the window ends by time");
        replica.floor.observer.0.close(plan.close_ns);
        assert!(replica.conserves_parts(), "parts are neither lost nor doubled");
        (self.measure)(&Ended { replica: &replica })
    }
}

/// What `of` gives for each number of the range, in order, worked out on two threads.
fn on_threads<T: Send>(range: std::ops::Range<u64>, of: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let of_thread = |thread: u64| {
        let mine = range.clone().filter(move |n| n % THREADS == thread);
        mine.map(|n| (n, of(n))).collect::<Vec<_>>()
    };
    let mut all: Vec<(u64, T)> = thread::scope(|scope| {
        let of_thread = &of_thread;
        let started: Vec<_> = (0..THREADS).map(|thread| scope.spawn(move || of_thread(thread))).collect();
        let joined = started.into_iter().map(|thread| thread.join());
        joined.flat_map(|values| values.unwrap_or_else(|why| std::panic::resume_unwind(why))).collect()
    });
    all.sort_by_key(|(n, _)| *n);
    all.into_iter().map(|(_, value)| value).collect()
}

/// Waits of parts until a station took them.
#[derive(Debug, Clone)]
pub struct Watch {
    station: StationId,
    most: u64,
    /// Parts taken.
    pub n: u64,
    /// Parts that had waited.
    pub n_waited: u64,
    /// Sum of waits, ns.
    pub sum_ns: u128,
    /// Wait of the last one, ns.
    pub last_ns: u64,
    /// Parts by the attitude in which they were taken, the first eight told apart.
    pub by_attitude: [u64; 8],
}

impl Default for Watch {
    fn default() -> Self {
        Watch {
            station: StationId::NONE,
            most: 0,
            n: 0,
            n_waited: 0,
            sum_ns: 0,
            last_ns: 0,
            by_attitude: [0; 8],
        }
    }
}

impl Watch {
    fn open(&mut self) {
        *self = Watch { station: self.station, most: self.most, ..Watch::default() };
    }
}

impl Observer for Watch {
    #[inline(always)]
    fn note(&mut self, now: u64, station: StationId, note: Note, part: Option<&Part>) {
        if station == self.station
            && note == Note::Took
            && self.n < self.most
            && let Some(part) = part
        {
            self.last_ns = now - part.entered_ns();
            self.n += 1;
            self.n_waited += u64::from(self.last_ns > 0);
            self.sum_ns += u128::from(self.last_ns);
            self.by_attitude[usize::from(part.attitude & 7)] += 1;
        }
    }
}

/// The number of a station by its name.
fn post(plan: &Plan, name: &str) -> usize {
    let found = plan.names.posts.iter().position(|known| known == name);
    found.unwrap_or_else(|| panic!("the line of a trial has a station {name}"))
}

/// A replication at the end of its window.
#[derive(Debug)]
pub struct Ended<'a> {
    replica: &'a Replica<'a, (Tally, Watch)>,
}

impl Ended<'_> {
    fn post(&self, name: &str) -> usize {
        post(self.replica.plan(), name)
    }

    fn place(&self, name: &str) -> usize {
        let found = self.replica.plan().names.places.iter().position(|known| known == name);
        found.unwrap_or_else(|| panic!("the line of a trial has a place {name}"))
    }

    /// The tally of the window.
    pub fn tally(&self) -> &Tally {
        &self.replica.floor.observer.0
    }

    /// The watch.
    pub fn watch(&self) -> &Watch {
        &self.replica.floor.observer.1
    }

    /// Length of the window, s.
    pub fn window_s(&self) -> f64 {
        self.tally().window as f64 / 1e9
    }

    /// Share of the window that a station spent in these states.
    pub fn share(&self, station: &str, states: &[State]) -> f64 {
        let time = &self.tally().time[self.post(station)];
        let sum: u64 = states.iter().map(|state| time[*state as usize]).sum();
        sum as f64 / self.tally().window as f64
    }

    /// Share of the window in which a part was on a work station of one place.
    pub fn on(&self, station: &str) -> f64 {
        1.0 - self.share(station, &[State::Starved])
    }

    /// State of a station now.
    pub fn state(&self, station: &str) -> State {
        self.replica.floor.state(StationId(self.post(station) as u16))
    }

    /// Mean number of parts on a track.
    pub fn level(&self, track: &str) -> f64 {
        self.tally().levels[self.place(track)].area() as f64 / self.tally().window as f64
    }

    /// Share of the window in which a track was empty.
    pub fn empty(&self, track: &str) -> f64 {
        self.tally().levels[self.place(track)].empty() as f64 / self.tally().window as f64
    }

    /// Mean time that a part stays on a track, s.
    pub fn stay_s(&self, track: &str) -> f64 {
        let levels = &self.tally().levels[self.place(track)];
        levels.area() as f64 / 1e9 / levels.n_left as f64
    }

    /// Parts that left a track.
    pub fn n_left(&self, track: &str) -> u64 {
        self.tally().levels[self.place(track)].n_left
    }

    /// Parts on a track now.
    pub fn n_on(&self, track: &str) -> u32 {
        self.replica.floor.place(PlaceId(self.place(track) as u16)).len()
    }

    /// Counts of a station.
    pub fn counts(&self, station: &str) -> &Counts {
        &self.tally().counts[self.post(station)]
    }

    /// Parts per second through the way on of a station.
    pub fn rate(&self, station: &str) -> f64 {
        self.counts(station).exits[0] as f64 / self.window_s()
    }

    /// Parts in the line now.
    pub fn inside(&self) -> f64 {
        self.replica.n_inside() as f64
    }

    /// Time of the first good part at the first point of use, s.
    ///
    /// # Panics
    /// If none came in the window, which is chosen so long that this does not happen.
    pub fn first_good_s(&self) -> f64 {
        let first = self.tally().points[0].first_good;
        first.unwrap_or_else(|| panic!("a good part comes within the window")) as f64 / 1e9
    }
}
