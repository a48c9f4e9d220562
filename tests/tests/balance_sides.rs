//! Stations whose time depends on the side on which they stood: what is simulated lies within the bounds of the balance,
//! and at its number where it gives one.
//!
//! Replay one seed: `FEEDPROOF_SEED=n FEEDPROOF_LINES=1 cargo test -p feedproof-tests --test balance_sides`.

use feedproof_tests::random_sides::sided_line;
use feedproof_tests::shifts::{Shifts, sound};
use feedproof_tests::steady::{Steady, calmed, judge, judge_roomy};
use feedproof_tests::trials::{number, try_all};
use sim_core::balance;

/// Most timed events of a shift.
const EVENTS: u64 = 300_000;

#[test]
fn random_lines_around_a_shuttle_deliver_what_their_balance_says() {
    let (from, n) = (number("FEEDPROOF_SEED", 1), number("FEEDPROOF_LINES", 150));
    // Which of two sources gets how much at a join hangs on when they wait; the balance takes them as equal.
    let has_one_source = |text: &str| text.matches(r#""endless":true"#).count() == 1;
    let judged = |text: &str, seed: u64| match has_one_source(text) {
        true => judge_roomy(text, seed, EVENTS),
        false => judge(text, seed, EVENTS),
    };
    let all = try_all(from, n, |seed| calmed(sided_line(seed), None), judged);
    let count = |of: &dyn Fn(&Steady) -> bool| all.iter().filter(|found| of(found)).count();
    let ran = count(&|found| matches!(found, Steady::Ran { .. }));
    let sure = count(&|found| matches!(found, Steady::Ran { most, .. } if most.0 > 0.999_999 * most.1));
    println!("{} lines: {ran} ran, {sure} with a sure most", all.len());
    assert!(ran * 100 >= all.len() * 95, "{ran} of {} ran", all.len());
    assert!(sure * 5 >= ran && (ran - sure) * 5 >= ran, "{sure} of {ran} have a sure most");
}

/// Left ones to one lane, right ones to the other; both lanes push rows of so many onto the track before the shuttle.
fn rows(of: u32) -> String {
    let lane = |lane: &str, pusher: &str| {
        format!(
            r#"{{"id": "{lane}", "type": "track", "capacity": 200, "to": "{pusher}"}},
            {{"id": "{pusher}", "type": "row pusher", "row": {of}, "push": "0.3 s", "to": "T"}},"#
        )
    };
    let (left, right) = (lane("TA", "RA"), lane("TB", "RB"));
    format!(
        r#"{{"id": "P", "type": "orienting path", "pass": "0.1 s", "tools": [{{"id": "t", "passes": {{"left": 1}}}}],
            "comes_back": {{"keeps": 1}}, "rejects_to": "TB", "to": "TA"}}, {left} {right}
        {{"id": "T", "type": "track", "capacity": 40, "to": "S"}},"#
    )
}

fn shuttle_line(before: &str) -> String {
    let first = if before.is_empty() { "S" } else { "P" };
    format!(
        r#"{{"feedproof": 1, "parts": {{"a": {{"attitudes": {{"left": 1, "right": 1}}, "right_way": ["left", "right"]}}}},
        "stations": [{{"id": "B", "type": "bin", "endless": true, "to": "{first}"}}, {before}
        {{"id": "S", "type": "selector", "shuttle": {{"sends": {{"left": "X", "right": "Y"}}, "presents": "as it lies",
            "same_side": "0.6 s", "other_side": "1.6 s"}}}},
        {{"id": "X", "type": "track", "capacity": 30, "to": "MX"}},
        {{"id": "Y", "type": "track", "capacity": 30, "to": "MY"}},
        {{"id": "MX", "type": "machine", "cycle": "0.5 s", "to": "out"}},
        {{"id": "MY", "type": "machine", "cycle": "0.5 s", "to": "out"}}],
        "plan": {{"shift": "4 h", "warm_up": "1 h"}},
        "promise": {{"at": ["MX", "MY"], "clauses": {{"mean_rate": "50 /min"}}}}}}"#
    )
}

/// In rows of eight it goes across twice in 16 parts; one by one for every part; in natural order for every other one.
/// Edges cut off two parts at most; the natural order has a standard error of 0.5 s a part / sqrt(parts).
#[test]
fn rows_single_parts_and_the_natural_order_by_hand() {
    for (before, seconds, tolerance) in
        [(rows(8), 0.6 + 2.0 / 16.0, 1e-3), (rows(1), 1.6, 1e-3), (String::new(), 1.1, 0.02)]
    {
        let text = shuttle_line(&before);
        let found = Shifts::run(&text, 1, 4).rate();
        assert!((found * seconds / 60.0 - 1.0).abs() < tolerance, "{found} a minute, {seconds} s a part");
        let most = balance::solve(&sound(&text)).expect("a balance").most_bounds_per_min.expect("a limit");
        let (low, high) = (most.0 * (1.0 - tolerance), most.1 * (1.0 + tolerance));
        assert!(low <= found && found <= high, "{found} a minute, bounds {most:?}");
        assert_eq!(most.0 == most.1, before.is_empty(), "only the natural order is known: {most:?}");
    }
}
