//! The named numbers of one replication, worked out of its tally.
//!
//! Which there are depends on the plan alone, and their order is fixed with it. A number that does not exist in a
//! replication (mean time in the line of no parts) is NaN here and nowhere else: moments leave it out. Invariant: the
//! shares of time of a station add up to 1.

use crate::kernel::{State, StationId};
use crate::measure::{Counts, PointTally, Tally};
use crate::network::Plan;
use crate::part::Nanos;
use crate::scenario::Scenario;
use crate::stations::Station;
use std::ops::Range;

/// Exits that the tally tells apart.
const EXITS: usize = 8;

/// What is counted at a station.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Count {
    Taken,
    Created,
    Stops,
    Calls,
    Restarts,
    EmptyStrokes,
    Lost,
    Spilled,
    Overfilled,
    Tips,
    ChecksFailed,
    ShortStrokes,
}

impl Count {
    pub(super) const ALL: [Count; 12] = [
        Count::Taken,
        Count::Created,
        Count::Stops,
        Count::Calls,
        Count::Restarts,
        Count::EmptyStrokes,
        Count::Lost,
        Count::Spilled,
        Count::Overfilled,
        Count::Tips,
        Count::ChecksFailed,
        Count::ShortStrokes,
    ];

    fn of(self, counts: &Counts) -> u64 {
        match self {
            Count::Taken => counts.took,
            Count::Created => counts.created,
            Count::Stops => counts.stops,
            Count::Calls => counts.calls,
            Count::Restarts => counts.restarts,
            Count::EmptyStrokes => counts.empty_strokes,
            Count::Lost => counts.lost,
            Count::Spilled => counts.spilled,
            Count::Overfilled => counts.overfilled,
            Count::Tips => counts.tipped,
            Count::ChecksFailed => counts.checks_failed,
            Count::ShortStrokes => counts.strokes_short,
        }
    }

    fn word(self) -> &'static str {
        match self {
            Count::Taken => "taken",
            Count::Created => "created",
            Count::Stops => "stops",
            Count::Calls => "calls",
            Count::Restarts => "restarts",
            Count::EmptyStrokes => "empty_strokes",
            Count::Lost => "lost",
            Count::Spilled => "spilled",
            Count::Overfilled => "overfilled",
            Count::Tips => "tips",
            Count::ChecksFailed => "checks_failed",
            Count::ShortStrokes => "short_strokes",
        }
    }
}

/// What becomes of the parts that a station takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fate {
    /// Sent off though in good condition, because of how they lay.
    ByAttitude,
    /// Sent off with a defect, or foreign.
    ByDefect,
    /// No room further on.
    Overflow,
}

/// What a number is about. Stations are given by their number, the rest by its index in the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Key {
    /// Good parts per minute, net of what does not count.
    Rate,
    /// Good parts per minute of the window.
    GrossRate,
    /// Good parts per minute of the window that come out in the time that does not count in a net rate.
    UncountedGood,
    GoodParts,
    BadPpm,
    FeedAvailability,
    PassesPerDelivered,
    LineCreated,
    LineStops,
    /// Changeovers of the product sequence.
    Changeovers,
    /// Parts taken out in them.
    Purged,
    PointGood(usize),
    PointBad(usize),
    PointBadPpm(usize),
    PointPasses(usize),
    PointTime(usize),
    PointLongest(usize),
    Share(usize, State),
    PerHour(usize, Count),
    EmptyStrokesShare(usize),
    Exit(usize, usize),
    WentOn(usize),
    Accepted(usize),
    Recirculation(usize),
    /// Parts of a station that meet this fate, per hour.
    Lost(usize, Fate),
    Missing(usize, usize),
    Content(usize),
    Empty(usize),
    Full(usize),
    Stay(usize),
    Departures(usize),
    Stop(usize),
    StopPerThousand(usize),
    Load(usize),
    Off(usize),
    PoolCalls(usize),
    SensorOn(usize),
    SensorSwitches(usize),
    Own(usize),
}

/// A named number of one replication.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Output {
    /// Its name, such as `C1.starved_share`.
    pub name: String,
    /// Its unit, such as `parts/min`; empty for shares and plain numbers.
    pub unit: &'static str,
}

/// All outputs of a plan.
#[derive(Debug)]
pub(super) struct Outputs {
    keys: Vec<Key>,
    points: Vec<StationId>,
    /// Orienting paths.
    pub(super) paths: Vec<usize>,
    /// Attendants of each pool, as posts.
    pub(super) pools: Vec<Range<usize>>,
    /// Stations whose calls are for this pool alone; none if calls can't be told apart.
    callers: Vec<Option<Vec<usize>>>,
    trouble_station: Vec<usize>,
    first_sensor: usize,
    /// Stations with an overflow exit, as posts, and its number.
    overflows: Vec<(usize, usize)>,
    /// Exits that lead on, the first ones, by post.
    ways_on: Vec<usize>,
    /// The post of the product sequence.
    change: Option<usize>,
    /// Stations of the file in its order, as posts.
    pub(super) stations: Vec<usize>,
}

/// Station of the file of a post.
pub(super) fn entry_of(plan: &Plan, post: usize) -> Option<usize> {
    plan.names.entries.get(post).copied().flatten()
}

/// Whether a station counts no single parts: they go through its place, or come by the container.
pub(super) fn only_carries(plan: &Plan, post: usize) -> bool {
    matches!(
        plan.stations[post],
        Station::Carrier(_) | Station::Dumper(_) | Station::HandFill(_) | Station::Hopper(_)
    )
}

/// Number of a station among its equals, from its name: `path 2`.
fn number_of(plan: &Plan, post: usize) -> u32 {
    plan.names.posts[post].rsplit(' ').next().and_then(|number| number.parse().ok()).unwrap_or(0)
}

/// Number of exits of a station that are told apart.
pub(super) fn n_exits(scenario: &Scenario, plan: &Plan, post: usize) -> usize {
    let exits = entry_of(plan, post).map_or(0, |entry| scenario.stations[entry].blueprint.exits().len());
    if only_carries(plan, post) { 0 } else { exits.min(EXITS) }
}

/// Whether a station sorts out: it has a way on, and other exits for what does not go on.
pub(super) fn sorts_out(scenario: &Scenario, plan: &Plan, post: usize) -> bool {
    n_exits(scenario, plan, post) > ways_on(scenario, plan, post).max(1)
}

/// Number of exits of a station that lead on.
fn ways_on(scenario: &Scenario, plan: &Plan, post: usize) -> usize {
    entry_of(plan, post).map_or(0, |entry| scenario.stations[entry].blueprint.ways_on().min(EXITS))
}

/// What a station that sorts out sends on.
pub(super) fn went_on(scenario: &Scenario, plan: &Plan, post: usize) -> Key {
    if ways_on(scenario, plan, post) > 1 { Key::WentOn(post) } else { Key::Exit(post, 0) }
}

impl Outputs {
    /// The outputs of a plan.
    pub(super) fn new(scenario: &Scenario, plan: &Plan) -> Self {
        let mut stations: Vec<usize> =
            (0..plan.stations.len()).filter(|&post| entry_of(plan, post).is_some()).collect();
        stations.sort_by_key(|&post| (entry_of(plan, post), number_of(plan, post)));
        let is_path = |post: &usize| {
            entry_of(plan, *post).is_some_and(|entry| scenario.stations[entry].word.contains("path"))
        };
        let mut first = plan.stations.len();
        let mut pools = Vec::new();
        for pool in &scenario.attendants {
            pools.push(first..first + pool.number as usize);
            first += pool.number as usize;
        }
        let overflows = stations.iter().filter_map(|&post| {
            let exits = scenario.stations[entry_of(plan, post)?].blueprint.exits();
            Some((post, exits.iter().take(EXITS).position(|exit| exit.key == "overflow_to")?))
        });
        let mut outputs = Outputs {
            keys: Vec::new(),
            overflows: overflows.collect(),
            points: plan.tally.points.clone(),
            paths: stations.iter().copied().filter(is_path).collect(),
            callers: callers(scenario, plan, &stations),
            pools,
            trouble_station: plan.outfit.troubles.iter().map(|trouble| trouble.station.ix()).collect(),
            first_sensor: usize::from(plan.first_sensor),
            ways_on: (0..plan.stations.len()).map(|post| ways_on(scenario, plan, post)).collect(),
            change: plan.change.as_ref().map(|change| change.post.ix()),
            stations,
        };
        outputs.keys = outputs.all_keys(scenario, plan);
        outputs
    }

    fn all_keys(&self, scenario: &Scenario, plan: &Plan) -> Vec<Key> {
        let mut keys = vec![
            Key::Rate,
            Key::GrossRate,
            Key::GoodParts,
            Key::BadPpm,
            Key::FeedAvailability,
            Key::LineCreated,
            Key::LineStops,
        ];
        if !scenario.promise.net_of.is_empty() {
            keys.push(Key::UncountedGood);
        }
        if !self.paths.is_empty() {
            keys.push(Key::PassesPerDelivered);
        }
        if plan.change.is_some() {
            keys.extend([Key::Changeovers, Key::Purged]);
        }
        for n in 0..self.points.len() {
            keys.extend([Key::PointGood(n), Key::PointBad(n), Key::PointBadPpm(n), Key::PointPasses(n)]);
            keys.extend([Key::PointTime(n), Key::PointLongest(n)]);
        }
        for &post in &self.stations {
            keys.extend(State::ALL.map(|state| Key::Share(post, state)));
            let carries = only_carries(plan, post);
            let counts = Count::ALL.iter().filter(|count| !carries || **count != Count::Taken);
            keys.extend(counts.map(|count| Key::PerHour(post, *count)));
            let n = n_exits(scenario, plan, post);
            keys.extend((0..n).map(|exit| Key::Exit(post, exit)));
            if sorts_out(scenario, plan, post) {
                if self.ways_on[post] > 1 {
                    keys.push(Key::WentOn(post));
                }
                keys.extend([Key::Accepted(post), Key::Recirculation(post)]);
                keys.extend(
                    [Fate::ByAttitude, Fate::ByDefect, Fate::Overflow].map(|fate| Key::Lost(post, fate)),
                );
            }
            if !carries {
                keys.push(Key::EmptyStrokesShare(post));
            }
            let inlets = plan.tally.inlets.iter().find(|(station, _)| station.ix() == post);
            let n_inlets = inlets.map_or(0, |(_, n)| *n as usize);
            keys.extend((0..n_inlets).map(|inlet| Key::Missing(post, inlet)));
        }
        for place in 0..plan.names.places.len() {
            keys.extend([Key::Content(place), Key::Empty(place), Key::Full(place)]);
            keys.extend([Key::Stay(place), Key::Departures(place)]);
        }
        for trouble in 0..self.trouble_station.len() {
            keys.extend([Key::Stop(trouble), Key::StopPerThousand(trouble)]);
        }
        for pool in 0..self.pools.len() {
            keys.extend([Key::Load(pool), Key::Off(pool), Key::PoolCalls(pool)]);
        }
        for sensor in 0..scenario.sensors.len() {
            keys.extend([Key::SensorOn(sensor), Key::SensorSwitches(sensor)]);
        }
        keys.extend((0..scenario.measures.len()).map(Key::Own));
        keys
    }

    /// Number of outputs.
    pub(super) fn len(&self) -> usize {
        self.keys.len()
    }

    /// Where an output stands.
    pub(super) fn index(&self, key: Key) -> Option<usize> {
        self.keys.iter().position(|known| *known == key)
    }

    /// Where the loads of the pools of attendants stand, and how many people each has.
    pub(super) fn loads(&self) -> Vec<(usize, usize)> {
        let of = |(pool, people): (usize, &Range<usize>)| Some((self.index(Key::Load(pool))?, people.len()));
        self.pools.iter().enumerate().filter_map(of).collect()
    }

    /// Works the outputs out of a closed tally into `values`, in their order.
    pub(super) fn read(&self, tally: &Tally, values: &mut Vec<f64>) {
        values.clear();
        values.extend(self.keys.iter().map(|key| self.value(*key, tally)));
    }

    fn value(&self, key: Key, tally: &Tally) -> f64 {
        let window = tally.window as f64;
        let share = |time: Nanos| time as f64 / window;
        let per_hour = |n: u64| n as f64 * 3.6e12 / window;
        let all = |count: Count| tally.counts.iter().map(|counts| count.of(counts)).sum();
        match key {
            Key::Rate => self.rate(tally),
            Key::GrossRate => good(&tally.points) as f64 * 6e10 / window,
            Key::UncountedGood => tally.own.good_in_last() as f64 * 6e10 / window,
            Key::GoodParts => good(&tally.points) as f64,
            Key::BadPpm => bad_ppm(&tally.points),
            Key::FeedAvailability => self.feed_availability(tally),
            Key::PassesPerDelivered => {
                let passes: u64 = self.paths.iter().map(|&path| tally.counts[path].took).sum();
                ratio(passes, tally.points.iter().map(|point| point.good + point.bad).sum())
            }
            // Parts that come by the container are not counted one by one.
            Key::LineCreated => match all(Count::Created) {
                0 => f64::NAN,
                n => per_hour(n),
            },
            Key::LineStops => per_hour(all(Count::Stops)),
            Key::Changeovers => self.change.map_or(f64::NAN, |post| per_hour(tally.counts[post].restarts)),
            Key::Purged => self
                .change
                .map_or(f64::NAN, |post| per_hour(tally.counts[post].lost + tally.counts[post].spilled)),
            Key::PointGood(n) => tally.points[n].good as f64 * 6e10 / window,
            Key::PointBad(n) => tally.points[n].bad as f64 * 6e10 / window,
            Key::PointBadPpm(n) => bad_ppm(&tally.points[n..=n]),
            Key::PointPasses(n) => {
                let passes = tally.points[n].passes.iter().enumerate();
                ratio(passes.map(|(n, parts)| n as u64 * parts).sum(), tally.points[n].n_timed)
            }
            Key::PointTime(n) => {
                tally.points[n].time_in_line as f64 / 1e9 / none_if_0(tally.points[n].n_timed)
            }
            Key::PointLongest(n) => tally.points[n].longest_starved as f64 / 1e9,
            Key::Share(post, state) => share(tally.time[post][state as usize]),
            Key::PerHour(post, count) => per_hour(count.of(&tally.counts[post])),
            Key::EmptyStrokesShare(post) => {
                let counts = &tally.counts[post];
                ratio(counts.empty_strokes, counts.empty_strokes + counts.took)
            }
            Key::WentOn(post) => per_hour(self.went_on(&tally.counts[post].exits, post)),
            Key::Exit(post, exit) => per_hour(tally.counts[post].exits[exit]),
            Key::Accepted(post) => {
                let exits = &tally.counts[post].exits;
                ratio(self.went_on(exits, post), exits.iter().sum())
            }
            Key::Recirculation(post) => {
                let exits = &tally.counts[post].exits;
                ratio(exits[self.ways_on[post]..].iter().sum(), self.went_on(exits, post))
            }
            Key::Lost(post, fate) => per_hour(self.lost(&tally.counts[post], post, fate)),
            Key::Missing(post, inlet) => share(tally.missing_of(StationId(post as u16))[inlet]),
            Key::Content(place) => tally.levels[place].area() as f64 / window,
            Key::Empty(place) => share(tally.levels[place].empty()),
            Key::Full(place) => share(tally.levels[place].full()),
            Key::Stay(place) => {
                tally.levels[place].area() as f64 / 1e9 / none_if_0(tally.levels[place].n_left)
            }
            Key::Departures(place) => per_hour(tally.levels[place].n_left),
            Key::Stop(trouble) => per_hour(tally.stops[trouble]),
            Key::StopPerThousand(trouble) => {
                let took = tally.counts[self.trouble_station[trouble]].took;
                1000.0 * ratio(tally.stops[trouble], took)
            }
            Key::Load(pool) => self.pool_share(pool, State::Working, tally),
            Key::Off(pool) => self.pool_share(pool, State::Off, tally),
            Key::PoolCalls(pool) => match &self.callers[pool] {
                Some(callers) => per_hour(callers.iter().map(|&post| tally.counts[post].calls).sum()),
                None => f64::NAN,
            },
            Key::SensorOn(n) => share(tally.time[self.first_sensor + n][State::Working as usize]),
            Key::SensorSwitches(n) => per_hour(tally.counts[self.first_sensor + n].switched_on),
            Key::Own(n) => tally.own.times().nth(n).map_or(f64::NAN, share),
        }
    }

    /// Parts that a station sends on.
    fn went_on(&self, exits: &[u64; EXITS], post: usize) -> u64 {
        exits[..self.ways_on[post]].iter().sum()
    }

    /// Parts that a station sends off through exits other than the way on.
    fn lost(&self, counts: &Counts, post: usize, fate: Fate) -> u64 {
        let overflow = self.overflows.iter().find(|(station, _)| *station == post).map(|(_, exit)| *exit);
        let others = (self.ways_on[post]..EXITS).filter(|exit| Some(*exit) != overflow);
        match fate {
            Fate::Overflow => overflow.map_or(0, |exit| counts.exits[exit]),
            Fate::ByDefect => others.map(|exit| counts.defects[exit]).sum(),
            Fate::ByAttitude => others.map(|exit| counts.exits[exit] - counts.defects[exit]).sum(),
        }
    }

    /// Good parts per minute of the time that counts; 0 if none does.
    pub(super) fn rate(&self, tally: &Tally) -> f64 {
        let out: Nanos = tally.own.times().last().unwrap_or(0);
        let counts = tally.window.saturating_sub(out);
        if counts == 0 { 0.0 } else { good(&tally.points) as f64 * 6e10 / counts as f64 }
    }

    /// 1 - starved / time ready to take a part, over all points of use. Ready is a station that works, waits for a
    /// check, or starves; one that is stopped, off, in changeover, held or blocked would take nothing anyway.
    fn feed_availability(&self, tally: &Tally) -> f64 {
        let time = |state: State| -> Nanos {
            self.points.iter().map(|point| tally.time[point.ix()][state as usize]).sum()
        };
        let starved = time(State::Starved);
        1.0 - ratio(starved, starved + time(State::Working) + time(State::Checking))
    }

    fn pool_share(&self, pool: usize, state: State, tally: &Tally) -> f64 {
        let people = &self.pools[pool];
        let time: Nanos = people.clone().map(|post| tally.time[post][state as usize]).sum();
        time as f64 / tally.window as f64 / people.len() as f64
    }

    /// Names and units, in order.
    pub(super) fn list(&self, scenario: &Scenario, plan: &Plan) -> Vec<Output> {
        self.keys.iter().map(|key| name_of(*key, scenario, plan)).collect()
    }
}

fn good(points: &[PointTally]) -> u64 {
    points.iter().map(|point| point.good).sum()
}

fn bad_ppm(points: &[PointTally]) -> f64 {
    let bad: u64 = points.iter().map(|point| point.bad).sum();
    1e6 * ratio(bad, bad + good(points))
}

/// NaN for 0, so that what is divided by it does not exist.
fn none_if_0(n: u64) -> f64 {
    if n == 0 { f64::NAN } else { n as f64 }
}

fn ratio(part: u64, whole: u64) -> f64 {
    part as f64 / none_if_0(whole)
}

/// For each pool the stations that call it, if none of them calls another one too.
fn callers(scenario: &Scenario, plan: &Plan, stations: &[usize]) -> Vec<Option<Vec<usize>>> {
    let mut pools_of: Vec<Vec<usize>> = Vec::new();
    for &post in stations {
        let mut pools = Vec::new();
        if let Some(entry) = entry_of(plan, post) {
            let called = scenario.stations[entry].blueprint.pools();
            let index = |name: &str| scenario.attendants.iter().position(|pool| pool.id.value == name);
            pools.extend(called.iter().filter_map(|name| index(&name.value)));
        }
        let troubles = plan.outfit.troubles.iter().filter(|trouble| trouble.station.ix() == post);
        pools.extend(troubles.filter_map(|trouble| trouble.pool.map(usize::from)));
        pools.sort_unstable();
        pools.dedup();
        pools_of.push(pools);
    }
    let of_pool = |pool: usize| {
        let calls = pools_of.iter().zip(stations).filter(|(pools, _)| pools.contains(&pool));
        calls.map(|(pools, &post)| (pools.len() == 1).then_some(post)).collect()
    };
    (0..scenario.attendants.len()).map(of_pool).collect()
}

fn name_of(key: Key, scenario: &Scenario, plan: &Plan) -> Output {
    let post = |n: usize, rest: &str| format!("{}.{rest}", plan.names.posts[n]);
    let point = |n: usize, rest: &str| post(plan.tally.points[n].ix(), &format!("point.{rest}"));
    let place = |n: usize, rest: &str| format!("{}.{rest}", plan.names.places[n]);
    let pool = |n: usize, rest: &str| format!("{}.{rest}", scenario.attendants[n].id.value);
    let sensor = |n: usize, rest: &str| format!("{}.{rest}", scenario.sensors[n].id.value);
    let stop = |trouble: usize, rest: &str| {
        let station = plan.outfit.troubles[trouble].station;
        let own = &plan.outfit.posts[station.ix()].troubles;
        let number = own.iter().position(|ix| usize::from(*ix) == trouble).map_or(1, |ix| ix + 1);
        post(station.ix(), &format!("stop_{number}{rest}"))
    };
    let (name, unit) = match key {
        Key::Rate => ("rate".to_owned(), "parts/min"),
        Key::GrossRate => ("gross_rate".to_owned(), "parts/min"),
        Key::UncountedGood => ("uncounted_time.good".to_owned(), "parts/min"),
        Key::GoodParts => ("good_parts".to_owned(), "parts"),
        Key::BadPpm => ("bad_ppm".to_owned(), "per million"),
        Key::FeedAvailability => ("feed_availability".to_owned(), ""),
        Key::PassesPerDelivered => ("passes_per_delivered".to_owned(), ""),
        Key::LineCreated => ("created".to_owned(), "/h"),
        Key::LineStops => ("stops".to_owned(), "/h"),
        Key::Changeovers => ("changeovers".to_owned(), "/h"),
        Key::Purged => ("purged".to_owned(), "/h"),
        Key::PointGood(n) => (point(n, "good"), "parts/min"),
        Key::PointBad(n) => (point(n, "bad"), "parts/min"),
        Key::PointBadPpm(n) => (point(n, "bad_ppm"), "per million"),
        Key::PointPasses(n) => (point(n, "passes"), ""),
        Key::PointTime(n) => (point(n, "time_in_line"), "s"),
        Key::PointLongest(n) => (point(n, "longest_starved"), "s"),
        Key::Share(n, state) => (post(n, &format!("{}_share", state.word().replace(", ", "_"))), ""),
        Key::PerHour(n, count) => (post(n, count.word()), "/h"),
        Key::EmptyStrokesShare(n) => (post(n, "empty_strokes_share"), ""),
        Key::Exit(n, exit) => (post(n, &format!("exit_{exit}")), "/h"),
        Key::WentOn(n) => (post(n, "went_on"), "/h"),
        Key::Accepted(n) => (post(n, "accepted_share"), ""),
        Key::Recirculation(n) => (post(n, "recirculation_ratio"), ""),
        Key::Lost(n, Fate::ByAttitude) => (post(n, "rejected_by_attitude"), "/h"),
        Key::Lost(n, Fate::ByDefect) => (post(n, "rejected_by_defect"), "/h"),
        Key::Lost(n, Fate::Overflow) => (post(n, "overflow"), "/h"),
        Key::Missing(n, inlet) => (post(n, &format!("missing_{inlet}_share")), ""),
        Key::Content(n) => (place(n, "content"), "parts"),
        Key::Empty(n) => (place(n, "empty_share"), ""),
        Key::Full(n) => (place(n, "full_share"), ""),
        Key::Stay(n) => (place(n, "stay"), "s"),
        Key::Departures(n) => (place(n, "departures"), "/h"),
        Key::Stop(n) => (stop(n, ""), "/h"),
        Key::StopPerThousand(n) => (stop(n, "_per_thousand"), ""),
        Key::Load(n) => (pool(n, "load"), ""),
        Key::Off(n) => (pool(n, "off_share"), ""),
        Key::PoolCalls(n) => (pool(n, "calls"), "/h"),
        Key::SensorOn(n) => (sensor(n, "on_share"), ""),
        Key::SensorSwitches(n) => (sensor(n, "switched_on"), "/h"),
        Key::Own(n) => (format!("measure.{}", scenario.measures[n].id.value), ""),
    };
    Output { name, unit }
}
