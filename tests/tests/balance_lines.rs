//! Random calm lines flow as their balance says; see `steady` for the claims.
//!
//! Replay one seed: `FEEDPROOF_SEED=n FEEDPROOF_LINES=1 cargo test -p feedproof-tests --test balance_lines`.

use feedproof_tests::luck::Luck;
use feedproof_tests::random_line::random_value;
use feedproof_tests::random_roomy::roomy_line;
use feedproof_tests::shifts::Shifts;
use feedproof_tests::steady::{Steady, calmed, judge, judge_roomy};
use feedproof_tests::trials::{number, try_all};
use serde_json::{Value, json};
use sim_core::measure::Tally;
use sim_core::{balance, scenario};

/// Most timed events of a shift.
const EVENTS: u64 = 300_000;
/// Fewer lines say nothing about shares of lines.
const ENOUGH: usize = 100;

/// A calm line; in half of the seeds the rate is promised at one of its stations that parts go through.
fn line(seed: u64) -> String {
    let file = random_value(seed, 1 + (seed % 12) as usize);
    let mut luck = Luck::new(seed ^ 0x0BA1_A4CE);
    let counts = |s: &&Value| {
        let words = ["machine", "work", "escapement", "robot", "gauge", "selector"];
        words.iter().any(|word| s["type"] == *word) && s.get("endless").is_none()
    };
    let stations = file["stations"].as_array().into_iter().flatten().filter(counts);
    let stations: Vec<String> = stations.filter_map(|s| s["id"].as_str().map(str::to_owned)).collect();
    let at = (!stations.is_empty() && luck.percent(50)).then(|| stations[luck.below(stations.len())].clone());
    calmed(file, at.as_deref())
}

#[test]
fn no_random_line_delivers_more_than_its_balance() {
    let (from, n) = (number("FEEDPROOF_SEED", 1), number("FEEDPROOF_LINES", 600));
    let all = try_all(from, n, line, |text, seed| judge(text, seed, EVENTS));
    let count = |of: &dyn Fn(&Steady) -> bool| all.iter().filter(|found| of(found)).count();
    let unknown = count(&|found| *found == Steady::NotKnown);
    let unlimited = count(&|found| *found == Steady::Unlimited);
    let aside = count(&|found| matches!(found, Steady::Refused | Steady::Stuck));
    let at_most = count(&|found| matches!(found, Steady::Ran { rate, most, .. } if *rate > 0.99 * most.1));
    let wide = count(&|found| matches!(found, Steady::Ran { most, .. } if most.0 < 0.999_999 * most.1));
    let (exact, between, open) = known(&all);
    println!(
        "{} lines: {unknown} not known, {unlimited} without a limit, {aside} refused or stuck, {at_most} at their most, \
         {wide} with bounds of it; flows: {exact} exact, {between} with bounds, {open} without",
        all.len()
    );
    if all.len() < ENOUGH {
        return;
    }
    assert!(unknown * 100 <= all.len(), "{unknown} of {} are not known", all.len());
    assert!(unlimited * 50 <= all.len(), "{unlimited} of {} have no limit", all.len());
    assert!(aside * 10 <= all.len(), "{aside} of {} are refused or stuck", all.len());
    // A balance that promised twice of what there is, or bounds from nothing to all, would break no claim.
    assert!(at_most * 3 >= all.len(), "only {at_most} of {} deliver what is possible at most", all.len());
    assert!(wide * 5 <= all.len(), "{wide} of {} have bounds of their most", all.len());
    assert!(open * 100 <= exact + between, "{open} of {} flows have no bounds", exact + between + open);
    assert!(between <= exact, "{between} flows have bounds, {exact} are exact");
}

#[test]
fn random_lines_with_room_deliver_what_their_balance_says() {
    let (from, n) = (number("FEEDPROOF_SEED", 1), number("FEEDPROOF_LINES", 200));
    let text = |seed: u64| calmed(roomy_line(seed), None);
    let all = try_all(from, n, text, |text, seed| judge_roomy(text, seed, EVENTS));
    let count = |of: &dyn Fn(&Steady) -> bool| all.iter().filter(|found| of(found)).count();
    let ran = count(&|found| matches!(found, Steady::Ran { .. }));
    let sure = count(&|found| matches!(found, Steady::Ran { most, .. } if most.0 > 0.999_999 * most.1));
    let (exact, between, open) = known(&all);
    println!(
        "{} lines: {ran} ran, {sure} with a sure most; flows: {exact} exact, {between} with bounds, {open} without",
        all.len()
    );
    if all.len() < ENOUGH {
        return;
    }
    assert!(ran * 100 >= all.len() * 95, "{ran} of {} ran", all.len());
    assert!(sure * 2 >= ran, "{sure} of {ran} have a sure most");
    assert_eq!(open, 0, "flows without bounds");
    assert!(between <= exact, "{between} flows have bounds, {exact} are exact");
}

/// Stations whose flows the balance knows as one number, between bounds, and not at all.
fn known(all: &[Steady]) -> (usize, usize, usize) {
    let known = all.iter().filter_map(|found| match found {
        Steady::Ran { known, .. } => Some(known),
        Steady::Refused | Steady::NotKnown | Steady::Unlimited | Steady::Stuck => None,
    });
    known.fold((0, 0, 0), |(exact, between, open), known| {
        (exact + known.exact, between + known.between, open + known.open)
    })
}

/// 60 parts a minute come, the first machine is served first and can take 40: a part waits for it in the divider, or on a track
/// before it, so that 20 are left for the second one. The balance gives bounds that hold them.
#[test]
fn what_is_left_for_a_machine_is_what_the_one_before_cannot_take() {
    let line = |tracks: bool| {
        let mut stations = vec![json!({"id": "F", "type": "work", "endless": true, "time": "1 s"})];
        let exits = if tracks { ["T1", "T2"] } else { ["M1", "M2"] };
        stations.push(json!({"id": "D", "type": "divider", "exits": exits}));
        for n in [1, 2].into_iter().filter(|_| tracks) {
            let (id, to) = (format!("T{n}"), format!("M{n}"));
            stations.push(json!({"id": id, "type": "track", "capacity": 5, "to": to}));
        }
        stations.push(json!({"id": "M1", "type": "machine", "cycle": "1.5 s", "to": "out"}));
        stations.push(json!({"id": "M2", "type": "machine", "cycle": "2 s", "to": "out"}));
        json!({"feedproof": 1, "stations": stations, "plan": {"shift": "2 h", "warm_up": "1 h"},
               "promise": {"at": "M2", "clauses": {"mean_rate": "15 /min"}}})
        .to_string()
    };
    for tracks in [true, false] {
        let text = line(tracks);
        let found = Shifts::run(&text, 1, 1).rate();
        assert!((found - 20.0).abs() <= 2.0 / 60.0, "tracks: {tracks}: {found}");
        let scenario = scenario::read(&text).scenario.expect("the line is sound");
        let (least, most) =
            balance::solve(&scenario).expect("its balance is").most_bounds_per_min.expect("it is known");
        assert!((least - 20.0).abs() < 1e-6 && most <= 30.0 + 1e-6, "{least} {most}");
    }
}

/// A path of 120 passes a minute before a machine that takes 30, one in ten rejected, with a way for what runs over.
fn runs_over(path: &str, others: &[Value]) -> String {
    let mut passes = json!({"id": "P", "type": "orienting path", "pass": "0.5 s", "to": "T",
                            "tools": [{"id": "t", "passes": {"up": 1}}]});
    for (key, value) in
        serde_json::from_str::<Value>(path).expect("it is JSON").as_object().into_iter().flatten()
    {
        passes[key] = value.clone();
    }
    let mut stations = vec![
        json!({"id": "F", "type": "work", "endless": true, "time": "1.25 s", "to": "B"}),
        json!({"id": "B", "type": "bin", "capacity": 200, "to": "P"}),
        passes,
        json!({"id": "T", "type": "track", "capacity": 5, "to": "M"}),
        json!({"id": "M", "type": "machine", "cycle": "2 s", "to": "out"}),
    ];
    if path.contains("scrap") {
        stations.push(json!({"id": "scrap", "type": "scrap box"}));
    }
    stations.extend(others.iter().cloned());
    json!({"feedproof": 1, "parts": {"pin": {"attitudes": {"up": 0.9, "down": 0.1}, "right_way": "up"}}, "stations": stations,
           "plan": {"shift": "3 h", "warm_up": "1 h"}, "promise": {"at": "M", "clauses": {"mean_rate": "30 /min"}}})
    .to_string()
}

/// Mean flow out of a station, or into it where parts end, a minute.
fn flow_of(text: &str, id: &str) -> f64 {
    let shifts = Shifts::run(text, 1, 4);
    let ix = shifts.ix(id);
    let count = |tally: &Tally| {
        let counts = &tally.counts[ix];
        counts.exits.iter().sum::<u64>().max(counts.took) as f64 * 6e10 / tally.window as f64
    };
    shifts.mean(count)
}

/// What is scrapped of the surplus at its next pass has to come as well: 120 passes scrap 12 a minute. All 48 come that can:
/// a bin holds up nothing.
#[test]
fn surplus_flows_within_its_bounds() {
    let to_bin = runs_over(r#"{"rejects_to": "scrap", "overflow_to": "B"}"#, &[]);
    let (fresh, scrapped) = (flow_of(&to_bin, "F"), flow_of(&to_bin, "scrap"));
    assert!((fresh - 48.0).abs() < 0.01 && (scrapped - 12.0).abs() < 0.7, "{fresh} {scrapped}");
    let belt = json!({"id": "R", "type": "recirculation belt", "capacity": 60, "travel": "2 s", "to": "P"});
    let machine = json!({"id": "N", "type": "machine", "cycle": "2.5 s", "to": "out"});
    let kept = r#"{"rejects_to": "scrap", "overflow_to": "R", "overflow_comes_back": {"keeps": 0.5}, "priority": ["R", "B"]}"#;
    let goes_round =
        r#"{"rejects_to": "R", "overflow_to": "R", "comes_back": {"keeps": 0.5}, "priority": ["R", "B"]}"#;
    let lines = [
        to_bin,
        runs_over(kept, std::slice::from_ref(&belt)),
        runs_over(goes_round, std::slice::from_ref(&belt)),
        runs_over(r#"{"rejects_to": "scrap", "overflow_to": "N"}"#, std::slice::from_ref(&machine)),
        runs_over(r#"{"rejects_to": "B", "overflow_to": "out"}"#, &[]),
    ];
    for text in lines {
        let found = judge(&text, 1, EVENTS)
            .unwrap_or_else(|broken| panic!("{}: {}\n{text}", broken.claim, broken.found));
        assert!(matches!(found, Steady::Ran { rate, .. } if rate > 29.0), "{found:?}\n{text}");
    }
}

/// Parts of 20 mm in file, 24 mm apart at least, before a tool that needs so much.
fn sensed(feed: &str, least: &str, close: &str) -> String {
    let tool =
        json!({"id": "t", "passes": {"up": 1}, "sensed": {"least_spacing": least, "too_close": close}});
    json!({"feedproof": 1, "parts": {"pin": {"length": "20 mm", "attitudes": {"up": 0.5, "down": 0.5}, "right_way": "up"}},
           "stations": [
               {"id": "F", "type": "work", "endless": true, "time": {"law": "exponential", "mean": feed}, "to": "Q"},
               {"id": "Q", "type": "track", "capacity": 9, "to": "P"},
               {"id": "P", "type": "orienting path", "live_length": "1 m", "speed": "6 m/min", "gap": 1.2, "tools": [tool],
                "rejects_to": "scrap", "to": "T"},
               {"id": "T", "type": "track", "capacity": 200, "to": "M"},
               {"id": "M", "type": "machine", "cycle": "0.5 s", "to": "out"},
               {"id": "scrap", "type": "scrap box"}],
           "plan": {"shift": "3 h", "warm_up": "1 h"}, "promise": {"at": "M", "clauses": {"mean_rate": "20 /min"}}})
    .to_string()
}

/// A part is too close if the one before came less than the least spacing ahead.
#[test]
fn parts_too_close_for_a_sensed_tool_flow_within_their_bounds() {
    for (feed, least, close) in [
        ("0.1 s", "30 mm", "is rejected"),
        ("0.1 s", "30 mm", "passes"),
        ("1 s", "60 mm", "is rejected"),
        ("1 s", "60 mm", "passes"),
        ("0.1 s", "24 mm", "is rejected"),
    ] {
        let text = sensed(feed, least, close);
        let found = judge(&text, 1, EVENTS)
            .unwrap_or_else(|broken| panic!("{}: {}\n{text}", broken.claim, broken.found));
        let Steady::Ran { rate, most, .. } = found else { panic!("{found:?}\n{text}") };
        match (feed, least, close) {
            // In close file nobody is told from the part before.
            ("0.1 s", "30 mm", "is rejected") => assert!(rate < 0.01 && most.0 == 0.0, "{rate} {most:?}"),
            // All pass unseen, half of them the right way round.
            ("0.1 s", "30 mm", "passes") => assert!((rate - 60.0).abs() < 1.0, "{rate} {most:?}"),
            ("0.1 s", "24 mm", "is rejected") => {
                assert!((rate - 120.0).abs() < 0.5 && most.0 == most.1, "{rate} {most:?}")
            }
            // Somewhere between: of 60 that come, half lie right.
            ("1 s", _, "is rejected") => assert!(rate > 10.0 && rate < 29.0, "{rate} {most:?}"),
            _ => assert!((rate - 30.0).abs() < 1.5, "{rate} {most:?}"),
        }
    }
}
