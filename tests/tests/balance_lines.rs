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
use sim_core::{balance, scenario};

/// Most timed events of a shift.
const EVENTS: u64 = 300_000;

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
    assert!(unknown * 100 <= all.len(), "{unknown} of {} are not known", all.len());
    assert!(unlimited * 50 <= all.len(), "{unlimited} of {} have no limit", all.len());
    assert!(aside * 10 <= all.len(), "{aside} of {} are refused or stuck", all.len());
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
    assert!(ran * 100 >= all.len() * 95, "{ran} of {} ran", all.len());
    assert!(sure * 2 >= ran, "{sure} of {ran} have a sure most");
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
