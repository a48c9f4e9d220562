//! Tests of whole studies: on lines whose answer is known, and of the promises of this folder.

use super::result::{ClauseKind, Knowledge, StoppedBecause, WarmUpSource};
use super::*;
use crate::statistics::Verdict;
use crate::{network, scenario};
use statrs::distribution::{Binomial, DiscreteCDF, Poisson};
use std::sync::atomic::{AtomicU64, Ordering};

/// A crew of several that works from the last sheet to the first.
struct Backwards(usize);

impl Crew for Backwards {
    fn size(&self) -> usize {
        self.0
    }

    fn fill<D: Send, S: Send>(
        &self,
        desks: &mut [D],
        sheets: &mut [S],
        _cancelled: &(dyn Fn() -> bool + Sync),
        work: &(impl Fn(&mut D, &mut S) + Sync),
    ) -> usize {
        for (n, sheet) in sheets.iter_mut().enumerate().rev() {
            work(&mut desks[n % self.0], sheet);
        }
        sheets.len()
    }
}

fn read(text: &str) -> scenario::Scenario {
    let checked = scenario::read(text);
    checked.scenario.unwrap_or_else(|| panic!("a sound scenario: {:?}", checked.problems))
}

fn run_with<C: Crew>(text: &str, crew: &C, change: impl FnOnce(&mut Options)) -> Result<RunResult, RunError> {
    let scenario = read(text);
    let plan = network::compile(&scenario);
    let mut options = Options::of(&scenario);
    change(&mut options);
    let job = Job { scenario: &scenario, plan: &plan, source: text, options };
    let mut watch = Watch { cancelled: &|| false, progress: &mut |_| {}, each: &mut |_, _| {} };
    run(&job, crew, &mut watch)
}

pub(super) fn result(text: &str, change: impl FnOnce(&mut Options)) -> RunResult {
    run_with(text, &Alone, change).expect("a result")
}

/// Two exponential stations without a place between them, the second with jams that call somebody.
const TANDEM: &str = r#"{"feedproof": 1,
    "parts": {"pin": {"attitudes": {"head up": 212, "head down": 168}, "right_way": ["head up", "head down"],
        "conditions": {"bent": "1 %", "dull": "3 of 500"}}},
    "stations": [
        {"id": "F", "type": "work", "endless": true, "time": {"law": "exponential", "mean": "1 s"}},
        {"id": "T", "type": "track", "capacity": 2},
        {"id": "M", "type": "work", "time": {"law": "exponential", "mean": "1 s"}, "to": "out",
         "jams": [{"per_part": 0.02, "when": "after", "time": ["5 s", "9 s", "20 s"], "by": "A"}]}],
    "attendants": [{"id": "A", "walk": "2 s"}],
    "sensors": [{"id": "S", "watches": "T", "high": 2, "low": 0, "holds": ["F"]}],
    "measures": [{"id": "stuck", "any_of": [{"station": "F", "states": "blocked"}]}],
    "plan": {"shift": "10 min", "warm_up": "1 min", "replications": 90},
    "promise": {"at": "M", "clauses": [{"mean_rate": "26 /min"}, {"rate": "20 /min", "in_shifts": "90 %"}]}}"#;

#[test]
fn the_same_bytes_whoever_runs_the_replications() {
    let bytes = |result: RunResult| serde_json::to_string(&result).unwrap();
    let alone = bytes(run_with(TANDEM, &Alone, |_| {}).unwrap());
    assert!(!alone.contains("NaN"));
    for n in [1, 2, 7] {
        assert_eq!(bytes(run_with(TANDEM, &Backwards(n), |_| {}).unwrap()), alone, "{n} desks");
        #[cfg(feature = "threads")]
        assert_eq!(bytes(run_with(TANDEM, &Hands { n }, |_| {}).unwrap()), alone, "{n} threads");
    }
    assert_ne!(bytes(run_with(TANDEM, &Alone, |options| options.seed = 2).unwrap()), alone);
}

#[test]
fn shares_of_time_add_up_and_flows_agree() {
    let result = result(TANDEM, |options| options.mode = Mode::Fixed);
    assert_eq!(result.replications, 90);
    for station in &result.stations {
        let sum: f64 = station.states.iter().map(|state| state.share.mean.unwrap()).sum();
        assert!((sum - 1.0).abs() < 1e-12, "{}: {sum}", station.name);
    }
    let mean = |figure: result::Figure| figure.mean.unwrap();
    let (machine, rate) = (&result.stations[2], mean(result.rate.mean_rate));
    assert_eq!((machine.name.as_str(), machine.exits.len()), ("M", 1));
    let good_share = 1.0 - mean(result.rate.bad_ppm) / 1e6;
    assert!((mean(machine.exits[0].per_hour) * good_share / 60.0 - rate).abs() < 0.02 * rate);
    // Little's law, exact but for the parts at the edges of the window.
    let track = &result.places[0];
    let by_law = mean(track.departures_per_hour) / 3600.0 * mean(track.mean_stay_s);
    assert!((by_law - mean(track.mean_content)).abs() < 0.02 * by_law);
    // One attendant for one kind of jam: every stop is a call.
    assert_eq!(result.stops[0].per_hour, machine.stops_per_hour);
    assert_eq!(result.attendants[0].calls_per_hour, machine.calls_per_hour);
    let load = mean(result.attendants[0].load);
    assert!((mean(result.attendants[0].minutes_per_hour) - 60.0 * load).abs() < 1e-12);
    let blocked =
        result.stations[0].states.iter().find(|s| s.state == crate::kernel::State::Blocked).unwrap();
    assert_eq!(result.measures[0].share, blocked.share);
    assert!(mean(result.sensors[0].on_share) > 0.0);
}

/// A part every 10 s stays 15 s on the track: one is there for half of the time, two for the other half. Once more with
/// a thousand at a time, so that contents are told apart by twos (1024 to 2047): 1000 and 2000.
#[test]
fn levels_have_percentiles_by_time() {
    for (group, expected) in [(1, [1, 1, 2]), (1000, [1000, 1000, 2000])] {
        let text = format!(
            r#"{{"feedproof": 1, "stations": [
            {{"id": "S", "type": "stream", "spacing": "10 s", "group": {group}}},
            {{"id": "T", "type": "track", "unlimited": true, "travel": "15 s"}},
            {{"id": "W", "type": "work", "places": 1000, "time": "1 s", "to": "out"}}],
            "plan": {{"shift": "1020 s", "warm_up": "20 s", "replications": 2}}}}"#
        );
        let result = result(&text, |_| {});
        let track = &result.places[0];
        assert_eq!(track.mean_content.mean, Some(1.5 * f64::from(group)));
        assert_eq!([track.content_p5, track.content_p50, track.content_p95].map(Option::unwrap), expected);
    }
}

#[test]
fn inputs_are_listed_with_their_trials() {
    let result = result(TANDEM, |options| options.replications = 2);
    let list: Vec<(&str, Option<u64>)> =
        result.inputs.iter().map(|input| (input.path.as_str(), input.trials)).collect();
    assert_eq!(
        list,
        [
            ("parts.pin.attitudes", Some(380)),
            ("parts.pin.conditions.bent", None),
            ("parts.pin.conditions.dull", Some(500)),
            ("stations[\"F\"].time", None),
            ("stations[\"M\"].jams[0].per_part", None),
            ("stations[\"M\"].jams[0].time", Some(3)),
            ("stations[\"M\"].time", None),
        ]
    );
    assert!(result.inputs.iter().all(|i| (i.knowledge == Knowledge::Measured) == i.trials.is_some()));
}

#[test]
fn a_cancelled_run_is_the_result_of_what_was_finished() {
    let scenario = read(TANDEM);
    let plan = network::compile(&scenario);
    let options = Options { mode: Mode::Fixed, ..Options::of(&scenario) };
    let job = Job { scenario: &scenario, plan: &plan, source: TANDEM, options };
    let asked = AtomicU64::new(0);
    let mut heard = Vec::new();
    let mut done = Vec::new();
    let cancelled = run(
        &job,
        &Alone,
        &mut Watch {
            cancelled: &|| asked.fetch_add(1, Ordering::Relaxed) >= 37,
            progress: &mut |progress| done.push(progress.done),
            each: &mut |number, values| heard.push((number, values[0])),
        },
    )
    .unwrap();
    assert_eq!((cancelled.replications, cancelled.stopped_because), (37, StoppedBecause::Cancelled));
    assert_eq!(done.last(), Some(&37));
    assert!(done.is_sorted());
    assert_eq!(heard.iter().map(|(number, _)| *number).collect::<Vec<_>>(), (0..37).collect::<Vec<_>>());
    let short = result(TANDEM, |options| (options.replications, options.mode) = (37, Mode::Fixed));
    assert_eq!(short.rate, cancelled.rate);
    assert_eq!(short.stations, cancelled.stations);
    let mean = heard.iter().map(|(_, rate)| rate).sum::<f64>() / 37.0;
    assert!((mean - short.rate.mean_rate.mean.unwrap()).abs() < 1e-9);
    // Nothing finished at all is a result, too.
    let mut watch = Watch { cancelled: &|| true, progress: &mut |_| {}, each: &mut |_, _| {} };
    let none = run(&job, &Alone, &mut watch).unwrap();
    assert_eq!((none.replications, none.rate.mean_rate.mean), (0, None));
    assert!(!serde_json::to_string(&none).unwrap().contains("NaN"));
}

#[test]
fn outputs_have_names_of_their_own() {
    let scenario = read(TANDEM);
    let plan = network::compile(&scenario);
    let list = outputs(&scenario, &plan);
    assert_eq!((list[0].name.as_str(), list[0].unit), ("rate", "parts/min"));
    for (n, output) in list.iter().enumerate() {
        assert!(!list[..n].iter().any(|other| other.name == output.name), "{} stands twice", output.name);
    }
}

/// Nothing random: a part every 2 s, 1 s of work on it.
fn clockwork(promise: &str) -> String {
    format!(
        r#"{{"feedproof": 1, "stations": [
            {{"id": "F", "type": "work", "endless": true, "time": "2 s"}},
            {{"id": "M", "type": "work", "time": "1 s", "to": "out"}}],
            "plan": {{"shift": "200 s", "replications": 1000}}, "promise": {promise}}}"#
    )
}

#[test]
fn one_shift_decides_where_nothing_is_random() {
    // Parts come at 2, 4 ... 200 s and are finished 1 s later: 99 within 200 s, and 99 s of work.
    let promise = r#"{"at": "M", "clauses": [{"rate": "29.7 /min", "in_shifts": "99 %"}, {"mean_rate": "29.7 /min"},
        {"feed_availability": "49.5 %"}]}"#;
    let proved = result(&clockwork(promise), |_| {});
    assert_eq!((proved.stopped_because, proved.replications), (StoppedBecause::NoLuck, 2));
    assert_eq!(proved.rate.mean_rate.mean, Some(99.0 * 60.0 / 200.0));
    assert_eq!(proved.line.feed_availability.mean, Some(1.0 - 101.0 / 200.0));
    let verdict = proved.promise.unwrap();
    assert_eq!(verdict.verdict, Verdict::Proved);
    assert!(verdict.clauses.iter().all(|clause| clause.verdict == Verdict::Proved));
    assert_eq!(verdict.clauses[2].kind, ClauseKind::FeedAvailability);

    let higher = clockwork(r#"{"at": "M", "clauses": {"mean_rate": "29.71 /min"}}"#);
    let disproved = result(&higher, |options| (options.mode, options.replications) = (Mode::Fixed, 30));
    assert_eq!((disproved.stopped_because, disproved.replications), (StoppedBecause::BudgetUsed, 30));
    assert_eq!(disproved.promise.unwrap().verdict, Verdict::Disproved);

    // Net of the time in which it starves, the machine makes a part each second.
    let net = clockwork(
        r#"{"at": "M", "clauses": {"mean_rate": "60 /min"}, "net_of": [{"station": "M", "states": "starved"}]}"#,
    );
    let net = result(&net, |_| {});
    assert_eq!((net.rate.mean_rate.mean, net.rate.mean_gross_rate.mean), (Some(60.0), Some(29.7)));
    assert_eq!((net.rate.basis, net.rate.net_of), (result::RateBasis::Net, vec!["M: starved".to_owned()]));
    assert_eq!(net.promise.unwrap().verdict, Verdict::Proved);
    assert_eq!(net.rate.good_in_uncounted_time.and_then(|good| good.mean), Some(0.0));
}

/// Ruling 6: parts count whenever they come out. F jams for half of the time; M goes on out of the track, and its net rate
/// is more than it can make. That is said in the file's check, and beside the rate.
#[test]
fn parts_that_come_out_in_the_time_that_is_left_out_are_told_of() {
    let line = r#"{"feedproof": 1, "stations": [
        {"id": "F", "type": "work", "endless": true, "time": "0.3 s",
            "jams": [{"every": "10 s", "clock": "wall", "time": "10 s"}]},
        {"id": "T", "type": "track", "capacity": 20}, {"id": "M", "type": "work", "time": "1 s"}],
        "plan": {"shift": "200 s"},
        "promise": {"at": "M", "clauses": {"mean_rate": "60 /min"}, "net_of": [{"station": "F", "states": "jam, clearing"}]}}"#;
    let warnings = crate::scenario::read(line).problems;
    assert!(
        warnings.iter().any(|problem| problem.message.contains("while `F` is in a state that is left out"))
    );
    let net = result(line, |_| {}).rate;
    let (rate, gross) = (net.mean_rate.mean.unwrap(), net.mean_gross_rate.mean.unwrap());
    let meanwhile = net.good_in_uncounted_time.and_then(|good| good.mean).unwrap();
    assert!(rate > 100.0 && gross > 55.0, "{rate} net, {gross} gross");
    // A little less than half of them: they go on all the time.
    assert!((0.4 * gross..0.51 * gross).contains(&meanwhile), "{meanwhile} of {gross}");
}

/// A source that never waits: the parts of a shift of `shift_s` are a Poisson number with mean `shift_s`.
fn poisson_line(shift_s: u64, clause: &str) -> String {
    format!(
        r#"{{"feedproof": 1, "stations": [{{"id": "F", "type": "work", "endless": true,
            "time": {{"law": "exponential", "mean": "1 s"}}, "to": "out"}}],
            "plan": {{"shift": "{shift_s} s", "replications": 160}}, "promise": {{"clauses": {clause}}}}}"#
    )
}

/// Number of seeds out of 200 for which a line is proved, and disproved.
fn verdicts(text: &str) -> (u64, u64) {
    let scenario = read(text);
    let plan = network::compile(&scenario);
    let (mut proved, mut disproved) = (0, 0);
    for seed in 0..200 {
        let options = Options { seed, ..Options::of(&scenario) };
        let job = Job { scenario: &scenario, plan: &plan, source: text, options };
        let mut watch = Watch { cancelled: &|| false, progress: &mut |_| {}, each: &mut |_, _| {} };
        let verdict = run(&job, &Alone, &mut watch).unwrap().promise.unwrap().verdict;
        proved += u64::from(verdict == Verdict::Proved);
        disproved += u64::from(verdict == Verdict::Disproved);
    }
    (proved, disproved)
}

/// Most wrong verdicts in 200 runs that are believed of a chance of 0.025: more come with a chance below 1e-5.
fn wrong_at_most() -> u64 {
    let law = Binomial::new(0.025, 200).unwrap();
    (0..200).find(|n| law.sf(*n) < 1e-5).unwrap()
}

#[test]
fn a_chance_just_met_is_misjudged_no_more_often_than_stated() {
    // The chance of at least 50 parts in 50 s, demanded to ten digits: as good as exactly met.
    let chance = Poisson::new(50.0).unwrap().sf(49);
    assert!((0.5..0.55).contains(&chance), "50 is the median");
    let just = poisson_line(50, &format!(r#"{{"rate": "60 /min", "in_shifts": "{:.8} %"}}"#, 100.0 * chance));
    let (proved, disproved) = verdicts(&just);
    assert!(proved.max(disproved) <= wrong_at_most(), "{proved} proved, {disproved} disproved");
    // Clearly met and clearly missed: 45 in 50 s comes with a chance of 0.78, 55 with one of 0.26. Of 160 shifts
    // that is some six standard errors from one half.
    let (proved, _) = verdicts(&poisson_line(50, r#"{"rate": "54 /min", "in_shifts": "50 %"}"#));
    let (_, disproved) = verdicts(&poisson_line(50, r#"{"rate": "66 /min", "in_shifts": "50 %"}"#));
    assert!(proved >= 195 && disproved >= 195, "{proved} proved, {disproved} disproved");
}

#[test]
fn a_mean_just_met_is_misjudged_no_more_often_than_stated() {
    let (proved, disproved) = verdicts(&poisson_line(50, r#"{"mean_rate": "60 /min"}"#));
    assert!(proved.max(disproved) <= wrong_at_most(), "{proved} proved, {disproved} disproved");
}

#[test]
fn a_saturated_pair_of_stations_is_judged_by_its_published_rate() {
    // Check row L-01: two exponential stations with rate 1 and no slot between them pass 2/3 a second, that is 40 a
    // minute (Hunt 1956, Operations Research 4(6)).
    let line = |rate: &str| {
        format!(
            r#"{{"feedproof": 1, "stations": [
                {{"id": "F", "type": "work", "endless": true, "time": {{"law": "exponential", "mean": "1 s"}}}},
                {{"id": "M", "type": "work", "time": {{"law": "exponential", "mean": "1 s"}}, "to": "out"}}],
                "plan": {{"shift": "1 h", "warm_up": "5 min", "replications": 200}},
                "promise": {{"clauses": {{"mean_rate": "{rate}"}}}}}}"#
        )
    };
    let below = result(&line("39 /min"), |_| {});
    assert_eq!(below.promise.as_ref().unwrap().verdict, Verdict::Proved);
    assert_eq!(below.stopped_because, StoppedBecause::Decided);
    assert_eq!(result(&line("41 /min"), |_| {}).promise.unwrap().verdict, Verdict::Disproved);
    let whole = result(&line("39 /min"), |options| options.mode = Mode::Fixed);
    let rate = whole.rate.mean_rate;
    assert!((rate.mean.unwrap() - 40.0).abs() < 4.5 * rate.standard_error.unwrap());
    // A decision stands, with the numbers of its look.
    let (early, late) = (&below.promise.unwrap().clauses[0], &whole.promise.unwrap().clauses[0]);
    assert_eq!(early, late);
    assert_eq!(early.decided_at, early.last_look);
}

/// Mean number in an M/M/1 queue at `end` that starts empty: the equations of birth and death, by fourth-order
/// Runge-Kutta steps (textbook).
fn mean_queue(arrivals: f64, services: f64, end: f64) -> f64 {
    const STATES: usize = 80;
    let slope = |p: &[f64]| -> Vec<f64> {
        let flow = |n: usize| if n < STATES { arrivals * p[n] - services * p[n + 1] } else { 0.0 };
        (0..=STATES).map(|n| if n > 0 { flow(n - 1) } else { 0.0 } - flow(n)).collect()
    };
    let moved = |p: &[f64], by: &[f64], step: f64| -> Vec<f64> {
        p.iter().zip(by).map(|(p, by)| p + step * by).collect()
    };
    let mut p = vec![0.0; STATES + 1];
    p[0] = 1.0;
    let steps = 2000;
    let step = end / f64::from(steps);
    for _ in 0..steps {
        let a = slope(&p);
        let b = slope(&moved(&p, &a, 0.5 * step));
        let c = slope(&moved(&p, &b, 0.5 * step));
        let d = slope(&moved(&p, &c, step));
        for n in 0..=STATES {
            p[n] += step / 6.0 * (a[n] + 2.0 * b[n] + 2.0 * c[n] + d[n]);
        }
    }
    p.iter().enumerate().map(|(n, p)| n as f64 * p).sum()
}

#[test]
fn intervals_cover_the_exact_mean_as_often_as_they_say() {
    // Arrivals at 0.8 and service at 1 a second, 60 s from empty: departures = arrivals - those still inside.
    let text = r#"{"feedproof": 1, "stations": [
        {"id": "S", "type": "stream", "spacing": {"law": "exponential", "mean": "1.25 s"}},
        {"id": "Q", "type": "track", "unlimited": true},
        {"id": "M", "type": "work", "time": {"law": "exponential", "mean": "1 s"}, "to": "out"}],
        "plan": {"shift": "60 s", "replications": 20}}"#;
    let exact = 0.8 * 60.0 - mean_queue(0.8, 1.0, 60.0);
    let scenario = read(text);
    let plan = network::compile(&scenario);
    let seeds = 4000;
    let (mut mean, mut one) = (0, 0);
    for seed in 0..seeds {
        let options = Options { seed, ..Options::of(&scenario) };
        let job = Job { scenario: &scenario, plan: &plan, source: text, options };
        let mut last = 0.0;
        let mut each = |_, values: &[f64]| last = values[0];
        let result =
            run(&job, &Alone, &mut Watch { cancelled: &|| false, progress: &mut |_| {}, each: &mut each });
        let rate = result.unwrap().rate;
        mean += u32::from(rate.mean_rate.low.unwrap() <= exact && exact <= rate.mean_rate.high.unwrap());
        // A shift of another seed, against the prediction for one shift.
        let normal = rate.one_shift.normal.unwrap();
        let other = run_one(&scenario, &plan, text, seed + 1_000_000);
        one += u32::from(normal.low <= other && other <= normal.high);
    }
    // Standard error of a share of 0.95 from 4000: 0.0034; 4.5 of them are 0.0155. The t interval of 20 nearly normal
    // counts holds its level; the prediction of a whole number is a little cautious or bold by its steps.
    let (mean, one) = (f64::from(mean) / seeds as f64, f64::from(one) / seeds as f64);
    assert!((mean - 0.95).abs() < 0.0155, "mean {mean}");
    assert!((one - 0.95).abs() < 0.0255, "one shift {one}");
}

fn run_one(scenario: &scenario::Scenario, plan: &network::Plan, text: &str, seed: u64) -> f64 {
    let options = Options { seed, replications: 1, ..Options::of(scenario) };
    let job = Job { scenario, plan, source: text, options };
    let mut watch = Watch { cancelled: &|| false, progress: &mut |_| {}, each: &mut |_, _| {} };
    run(&job, &Alone, &mut watch).unwrap().rate.mean_rate.mean.unwrap()
}

#[test]
fn a_recipe_that_never_gets_its_part_is_described() {
    // The ball at the end of the track is not wanted, and the spring behind it never comes.
    let text = r#"{"feedproof": 1, "parts": {"ball": {}, "spring": {}}, "stations": [
        {"id": "balls", "type": "work", "endless": true, "part": "ball", "time": "1 s", "to": "T"},
        {"id": "springs", "type": "work", "endless": true, "part": "spring", "time": "3.5 s", "to": "T"},
        {"id": "T", "type": "track", "capacity": 4, "to": "G"},
        {"id": "G", "type": "magazine", "recipe": {"R": {"ball": 1, "spring": 1}}},
        {"id": "R", "type": "receiver", "holds": 2, "to": "M"},
        {"id": "M", "type": "machine", "cycle": "0.5 s", "to": "out", "inlets": [{"from": "R", "parts": "the batch"}]}],
        "plan": {"shift": "1 h", "replications": 10}}"#;
    let result = result(text, |_| {});
    assert_eq!(result.gridlock.first_at_s, Some(7.0));
    let waits = |station: &str| {
        result.gridlock.knot.iter().find(|w| w.station == station).map(|w| w.for_what.as_str())
    };
    assert_eq!(waits("G"), Some("parts that it still wants from T"));
    assert_eq!(waits("springs"), Some("room in T (4 of 4)"));
    let opened = result.gridlock.opened_by.as_ref().unwrap();
    assert!(opened.contains("which the recipe does not want") && opened.contains("end of T"), "{opened}");
}

#[test]
fn a_receiver_that_never_gets_its_model_is_explained() {
    let text = r#"{"feedproof": 1, "models": {"list": {"long": 2, "short": 1}}, "stations": [
        {"id": "F", "type": "work", "endless": true, "time": "0.5 s"},
        {"id": "T", "type": "track", "capacity": 20},
        {"id": "G", "type": "magazine", "recipes": {"long": {"R": 4}, "short": {"Q": 2}}},
        {"id": "R", "type": "receiver", "holds": 4, "to": "M"},
        {"id": "Q", "type": "receiver", "holds": 2, "to": "M"},
        {"id": "M", "type": "machine", "cycle": "2 s", "to": "out",
            "inlets": [{"from": "R", "parts": "the batch"}, {"from": "Q", "parts": "the batch"}]}],
        "plan": {"shift": "1 h", "replications": 10}}"#;
    let result = result(text, |_| {});
    let mut knot: Vec<(&str, &str)> =
        result.gridlock.knot.iter().map(|w| (w.station.as_str(), w.for_what.as_str())).collect();
    knot.sort_unstable();
    assert!(knot.contains(&("G", "room in R (4 of 4)")) && knot.contains(&("M", "parts from Q")), "{knot:?}");
    let opened = result.gridlock.opened_by.as_ref().unwrap();
    assert!(
        opened.starts_with("a batch for Q, which G does not make up") && opened.contains("R (4 of 4)"),
        "{opened}"
    );
}

/// The dumper pours 500 when 100 are left, and the bin holds 400.
#[test]
fn an_overfull_bin_is_explained() {
    let text = |pour: &str| {
        format!(
            r#"{{"feedproof": 1, "stations": [
        {{"id": "tipper", "type": "dumper", "contents": 500, "call_level": 100, "lift": "20 s", "tip": "20 s" {pour}}},
        {{"id": "bin", "type": "bin", "capacity": 400}},
        {{"id": "feeder", "type": "step feeder", "per_index": 1, "index_time": "0.8 s"}},
        {{"id": "press", "type": "machine", "cycle": "1 s"}}],
        "plan": {{"shift": "1 h", "replications": 10}}}}"#
        )
    };
    let notes = |pour: &str| {
        let result = result(&text(pour), |_| {});
        result.notes.into_iter().filter(|note| note.contains("filled beyond")).collect::<Vec<_>>()
    };
    let found = notes("");
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].contains("`bin` was filled beyond the 400 parts") && found[0].contains("by `tipper`"),
        "{found:?}"
    );
    assert_eq!(notes(r#", "pour_rate": "600 /min""#), [""; 0], "a pour at a rate waits for room");
}

#[test]
fn a_held_station_in_a_knot_names_its_sensor() {
    let text = r#"{"feedproof": 1, "stations": [
        {"id": "F", "type": "work", "endless": true, "time": "1 s"},
        {"id": "T", "type": "track", "capacity": 4},
        {"id": "E", "type": "escapement", "stroke": "0.3 s", "release": 4}],
        "sensors": [{"id": "S", "watches": "T", "high": 2, "low": 0, "holds": ["F"]}],
        "plan": {"shift": "1 h", "replications": 10}}"#;
    let result = result(text, |_| {});
    let held = result.gridlock.knot.iter().find(|waiting| waiting.station == "F").expect("F is in the knot");
    assert_eq!(held.for_what, "S to release it, which sees T (3 of 4) and switches off at 0");
}

#[test]
fn a_loop_that_fills_is_counted_and_described() {
    // Every other part goes round on a belt for three, which the feed fills as well: once it is full, the divider
    // waits for the belt, the belt for the work station, that for the divider, and the feed for the belt.
    let text = r#"{"feedproof": 1, "stations": [
        {"id": "F", "type": "work", "endless": true, "time": {"law": "exponential", "mean": "1 s"}, "to": "B"},
        {"id": "B", "type": "belt", "capacity": 3, "travel": "1 s"},
        {"id": "P", "type": "work", "time": {"law": "exponential", "mean": "1 s"}},
        {"id": "D", "type": "divider", "rule": "in turn", "strict": true, "exits": ["B", "M"]},
        {"id": "M", "type": "work", "time": "4 s", "to": "out"}],
        "plan": {"shift": "1 h", "replications": 10}}"#;
    let result = result(text, |_| {});
    assert_eq!((result.replications, result.gridlock.replications), (10, 10));
    assert_eq!(result.gridlock.first_in, Some(0));
    let at = result.gridlock.first_at_s.unwrap();
    assert!(at > 0.0 && at < 3600.0);
    let mut knot: Vec<(&str, &str)> =
        result.gridlock.knot.iter().map(|w| (w.station.as_str(), w.for_what.as_str())).collect();
    knot.sort_unstable();
    assert_eq!(knot[0], ("D", "room in B (3 of 3)"));
    assert!(knot.contains(&("P", "D to take its part")), "{knot:?}");
    assert!(result.gridlock.opened_by.as_ref().unwrap().contains("B (3 of 3)"), "{:?}", result.gridlock);
    // The machine works off what it has, then starves to the end: its time is not stuck in the state of the knot.
    let machine = result.stations.iter().find(|station| station.name == "M").unwrap();
    let share = |state| machine.states.iter().find(|s| s.state == state).unwrap().share.mean.unwrap();
    let (made, working) = (result.rate.good_parts.mean.unwrap(), share(crate::kernel::State::Working));
    assert!((working - made * 4.0 / 3600.0).abs() < 1e-12, "{working} {made}");
    assert!((share(crate::kernel::State::Starved) + working - 1.0).abs() < 1e-12);
}

#[test]
fn a_warm_up_is_found_where_parts_come_late() {
    // Nothing arrives within the first 20 minutes; after that a part each second on average.
    let line = |plan: &str| {
        format!(
            r#"{{"feedproof": 1, "stations": [
                {{"id": "F", "type": "work", "endless": true, "time": {{"law": "exponential", "mean": "1 s"}}}},
                {{"id": "B", "type": "belt", "capacity": 5000, "travel": "20 min"}},
                {{"id": "M", "type": "work", "time": "0.1 s", "to": "out"}}],
                "plan": {{{plan}, "warm_up": "find", "replications": 30}}}}"#
        )
    };
    let found = result(&line(r#""shift": "3 h""#), |_| {});
    assert_eq!((found.warm_up.source, found.warm_up.settled), (WarmUpSource::Found, Some(true)));
    assert_eq!((found.warm_up.replications, found.warm_up.per_minute.len()), (20, 180));
    assert_eq!(found.warm_up.per_minute[..20], [0.0; 20]);
    // Batches of five minutes: at 20 min exactly, unless chance in the noise moves it up.
    assert_eq!(found.window.opens_s % 300.0, 0.0);
    assert!((1200.0..=5400.0).contains(&found.window.opens_s), "{}", found.window.opens_s);
    let rate = found.rate.mean_rate;
    assert!((rate.mean.unwrap() - 60.0).abs() < 4.5 * rate.standard_error.unwrap());
    let short = run_with(&line(r#""shift": "40 min""#), &Alone, |_| {});
    assert!(matches!(short, Err(RunError::NoWarmUp(_))));
}

#[test]
fn endless_work_is_an_error_that_says_where() {
    let text = r#"{"feedproof": 1, "stations": [
        {"id": "F", "type": "work", "endless": true, "time": "1 ms", "to": "out"}],
        "plan": {"shift": "1 h", "events_at_most": 1000}}"#;
    let error = run_with(text, &Alone, |_| {}).unwrap_err();
    assert!(matches!(error, RunError::TooManyEvents { replication: 0, events_max: 1000, .. }), "{error}");
    assert!(error.to_string().contains("at work were F;"), "{error}");
    let never = run_with(TANDEM, &Alone, |options| options.replications = 0);
    assert!(matches!(never, Err(RunError::BadOptions(_))));
}

/// A thousand parts each millisecond, of which one a second is taken; and a lift whose landed parts queue.
#[test]
fn parts_that_wait_without_end_are_an_error_that_says_where() {
    let line = |source: &str| {
        let text = format!(
            r#"{{"feedproof": 1, "stations": [{source}, {{"id": "M", "type": "work", "time": "1 s"}}],
            "plan": {{"shift": "10 min", "start": "primed"}}}}"#
        );
        run_with(&text, &Alone, |_| {}).unwrap_err()
    };
    let stream = line(r#"{"id": "S", "type": "stream", "spacing": "1 ms", "group": 1000}"#);
    assert!(matches!(stream, RunError::TooManyWaiting { replication: 0, .. }), "{stream}");
    assert!(stream.to_string().contains("at 2.002 s more than 2000000 parts wait at `S`"), "{stream}");
    let lift = line(
        r#"{"id": "B", "type": "bin", "endless": true}, {"id": "L", "type": "elevator", "cleats": "10 /s", "lift": "1 s",
            "per_cleat": 10000, "when_full": "queues"}, {"id": "T", "type": "track", "capacity": 9}"#,
    );
    assert!(lift.to_string().contains("wait at `L`"), "{lift}");
}

#[test]
fn a_promise_says_beforehand_how_many_shifts_could_decide() {
    let scenario = read(TANDEM);
    let outlook = outlook(&scenario, &Options::of(&scenario)).unwrap().unwrap();
    assert_eq!((outlook.looks[0], *outlook.looks.last().unwrap()), (20, 90));
    // Half of the error for each of two clauses. Without a failure 0.9^n has to come to 0.0125 at most, which takes
    // 42 shifts even if nothing were spent at the looks before.
    let least = outlook.clauses[1].fewest_to_prove.unwrap();
    assert!(least >= 42 && outlook.looks.contains(&least));
    assert_eq!(outlook.fewest_to_prove, Some(least));
    assert_eq!(outlook.clauses[0].error_each_way, 0.0125);
    assert_eq!(outlook.verdict, Verdict::Open);
}

#[test]
fn the_schema_knows_every_key_of_a_result() {
    let schema = schema();
    let result = serde_json::to_value(result(TANDEM, |options| options.replications = 3)).unwrap();
    for (key, _) in result.as_object().unwrap() {
        let description = &schema["properties"][key];
        let text = description["description"].as_str().or(description["allOf"].as_str());
        assert!(text.is_some_and(|text| !text.is_empty()), "{key} is not described: {description}");
    }
    assert_eq!(schema["$defs"]["Figure"]["properties"]["standard_error"]["type"][1], "null");
}
