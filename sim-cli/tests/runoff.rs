//! `feedproof runoff`: checked against acceptance sampling, where the line is nothing but a counter, and as a user meets it.

mod desk;

use desk::{Desk, starter_with};
use serde_json::Value;

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|why| panic!("{why}: {text}"))
}

fn real(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is a number"))
}

/// Chance of at most `c` events of a Poisson law, by summing.
fn poisson_at_most(c: u64, mean: f64) -> f64 {
    let mut term = (-mean).exp();
    let mut sum = term;
    for k in 1..=c {
        term *= mean / k as f64;
        sum += term;
    }
    sum
}

/// Chance of at most `c` of `n`, by summing.
fn binomial_at_most(c: u32, n: u32, p: f64) -> f64 {
    let mut term = (1.0 - p).powi(n as i32);
    let mut sum = term;
    for k in 1..=c {
        term *= f64::from(n - k + 1) / f64::from(k) * p / (1.0 - p);
        sum += term;
    }
    sum
}

/// Within 4.5 standard errors of a share of `n` runs.
fn agrees(what: &str, found: f64, exact: f64, n: f64) {
    let allowed = 4.5 * (exact * (1.0 - exact) / n).sqrt();
    assert!((found - exact).abs() <= allowed, "{what}: {found}, exactly {exact}, allowed {allowed}");
}

/// A counter: jams come once an hour by the wall clock, and take half a second.
const COUNTER: &str = r#"{"feedproof": 1, "stations": [
    {"id": "M", "type": "work", "endless": true, "time": "60 s",
     "jams": [{"every": {"law": "exponential", "mean": "1 h"}, "clock": "wall", "time": "0.5 s"}]}],
    "run_off": {"length": "90 min", "most_jams": 3}}"#;

/// Single sampling by a Poisson count. Tables of such plans (Cameron 1952, Industrial Quality Control 9, from memory) have for
/// acceptance number 3 the means 1.366 and 6.681 at risks of 5 % and 10 %; here all numbers are sums of the Poisson law.
#[test]
fn a_poisson_counter_is_a_single_sampling_plan() {
    assert!(
        (poisson_at_most(3, 1.366) - 0.95).abs() < 1e-3 && (poisson_at_most(3, 6.681) - 0.10).abs() < 1e-3
    );
    let desk = Desk::new();
    desk.put("line.json", COUNTER);
    let n = 6000.0;
    let args = [
        "runoff",
        "line.json",
        "--replications",
        "6000",
        "--factors",
        "0.5,2,4",
        "--bad",
        "5",
        "--up-to",
        "4",
        "--json",
    ];
    let done = desk.run(&args);
    assert_eq!(done.status, 0, "{}", done.err);
    let found = json(&done.out);
    for level in found["characteristic"].as_array().expect("levels") {
        let mean = 1.5 * real(&level["factor"]);
        agrees(
            &format!("chance at {mean} jams"),
            real(&level["pass"]["chance"]),
            poisson_at_most(3, mean),
            n,
        );
    }
    // Smallest length on the grid of a quarter of an hour, by the exact law.
    let (length, most) = (1..=16)
        .find_map(|quarters| {
            let hours = 0.25 * f64::from(quarters);
            let most = (0..100).find(|c| poisson_at_most(*c, hours) >= 0.95)?;
            (poisson_at_most(most, 5.0 * hours) <= 0.10).then_some((hours, most))
        })
        .expect("there is a plan");
    assert_eq!((length, most), (1.75, 4));
    let smallest = &found["risks"]["smallest"];
    assert_eq!((real(&smallest["length_h"]), smallest["most_jams"].as_u64()), (length, Some(most)));
    agrees("producer", real(&smallest["producer"]["chance"]), 1.0 - poisson_at_most(most, length), n);
    agrees("consumer", real(&smallest["consumer"]["chance"]), poisson_at_most(most, 5.0 * length), n);
}

/// Single sampling by attributes, 80 parts and 2 bad ones at most: code letter J with an acceptance quality limit of 1 % in
/// ISO 2859-1 (MIL-STD-105), whose operating characteristic has 95 % at 1.03 % bad and 10 % at 6.52 % (from memory).
#[test]
fn a_count_of_bad_parts_is_a_plan_by_attributes() {
    assert!((binomial_at_most(2, 80, 0.0103) - 0.95).abs() < 2e-3);
    assert!((binomial_at_most(2, 80, 0.0652) - 0.10).abs() < 2e-3);
    let desk = Desk::new();
    desk.put(
        "line.json",
        r#"{"feedproof": 1, "parts": {"pin": {"conditions": {"bent": 0.0103}}}, "stations": [
        {"id": "M", "type": "work", "endless": true, "time": "60 s"}],
        "run_off": {"length": "80 min", "most_bad": 2}}"#,
    );
    let bad = (0.0652_f64 / 0.0103).to_string();
    let args = [
        "runoff",
        "line.json",
        "--replications",
        "4000",
        "--vary",
        "pin.conditions.bent",
        "--factors",
        &bad,
        "--json",
    ];
    let done = desk.run(&args);
    assert_eq!(done.status, 0, "{}", done.err);
    let found = json(&done.out);
    let levels = found["characteristic"].as_array().expect("levels");
    for (level, p) in levels.iter().zip([0.0103, 0.0652]) {
        agrees("chance", real(&level["pass"]["chance"]), binomial_at_most(2, 80, p), 4000.0);
    }
}

#[test]
fn retries_and_which_jams_count() {
    let desk = Desk::new();
    let pass = |text: &str| {
        desk.put("line.json", text);
        let done = desk.run(&["runoff", "line.json", "--replications", "500", "--factors", "1", "--json"]);
        assert_eq!(done.status, 0, "{}", done.err);
        real(&json(&done.out)["now"]["pass"]["chance"])
    };
    let once = pass(COUNTER);
    let twice = pass(&COUNTER.replace("\"most_jams\": 3", "\"most_jams\": 3, \"retries\": 1"));
    assert!((twice - (1.0 - (1.0 - once) * (1.0 - once))).abs() < 1e-12);
    // Nobody has to come for these jams.
    assert_eq!(pass(&COUNTER.replace("\"most_jams\": 3", "\"most_jams\": 0, \"jams\": \"attended\"")), 1.0);
    // 90 parts in 90 minutes, one a minute.
    assert_eq!(pass(&COUNTER.replace("\"most_jams\": 3", "\"least_rate\": \"0.9 /min\"")), 1.0);
    assert_eq!(pass(&COUNTER.replace("\"most_jams\": 3", "\"least_rate\": \"1.1 /min\"")), 0.0);
    let of_parts = starter_with(r#""clauses""#, r#""at2": 0, "clauses""#).replace(r#""at2": 0, "#, "");
    let with = |limits: &str| {
        of_parts.replacen(
            "\"plan\":",
            &format!("\"run_off\": {{\"length\": \"1 h\", {limits}}}, \"plan\":"),
            1,
        )
    };
    // The press jams with short parts only.
    assert_eq!(pass(&with(r#""most_jams": 0, "jams": "of good parts""#)), 1.0);
    assert!(pass(&with(r#""most_jams": 0"#)) < 0.9);
}

/// Six jams were seen in six hours: the rate of jams is gamma (6.5, 6 h) by Jeffreys' prior, so that of a run-off of 90 min the
/// number of jams is negative binomial, and chances to pass are sums of its terms (Gelman et al. 2013, chapter 2); with a retry the
/// same line is tried twice. Quantiles of the rate: chi-square with 13 degrees of freedom, 5.009 and 24.736 (any table), over 12 h.
#[test]
fn ignorance_of_the_jam_rate_is_in_the_chance_to_pass() {
    const SEEN: &str = r#""every": {"seen": 6, "in": "6 h"}"#;
    let ignorant = COUNTER.replace(r#""every": {"law": "exponential", "mean": "1 h"}"#, SEEN);
    assert!(ignorant.contains(SEEN), "the counter has evidence");
    // Mean of exp(-t m) m^k, where m, the jams to come in 90 min, is gamma (6.5, 4).
    let mean = |t: f64, k: u32| {
        let rising: f64 = (0..k).map(|i| 6.5 + f64::from(i)).product();
        rising * 4.0_f64.powf(6.5) / (4.0 + t).powf(6.5 + f64::from(k))
    };
    let factorial = |n: u32| (1..=n).map(f64::from).product::<f64>();
    let once: f64 = (0..=3).map(|n| mean(1.0, n) / factorial(n)).sum();
    let both: f64 = (0..=3)
        .flat_map(|i| (0..=3).map(move |j| (i, j)))
        .map(|(i, j)| mean(2.0, i + j) / factorial(i) / factorial(j))
        .sum();
    let desk = Desk::new();
    let given = |text: &str| {
        desk.put("line.json", text);
        let done = desk.run(&["runoff", "line.json", "--replications", "4000", "--factors", "1", "--json"]);
        assert_eq!(done.status, 0, "{}", done.err);
        json(&done.out)
    };
    let found = given(&ignorant);
    agrees("as known", real(&found["now"]["pass"]["chance"]), poisson_at_most(3, 1.5), 4000.0);
    let with = &found["with_ignorance"];
    // A thousand draws of four runs: no worse than a thousand runs.
    agrees("with ignorance", real(&with["chance"]), once, 1000.0);
    assert!(real(&with["low"]) <= once && once <= real(&with["high"]), "{with:#}");
    let (low, high) = (poisson_at_most(3, 24.736 / 8.0), poisson_at_most(3, 5.009 / 8.0));
    // Ends of an interval seen through four runs of each draw are rough.
    assert!((real(&with["own_low"]) - low).abs() < 0.12, "{low}: {with:#}");
    assert!((real(&with["own_high"]) - high).abs() < 0.02, "{high}: {with:#}");
    let again = given(&ignorant.replace("\"most_jams\": 3", "\"most_jams\": 3, \"retries\": 1"));
    agrees("with a retry", real(&again["with_ignorance"]["chance"]), 2.0 * once - both, 1000.0);
    assert!(given(COUNTER)["with_ignorance"].is_null(), "no evidence, no ignorance");
}

/// The plan that is called sure holds its risks by the Poisson law, and takes no less time than the one by the shares seen.
#[test]
fn a_sure_plan_is_named() {
    let desk = Desk::new();
    desk.put("line.json", COUNTER);
    let args =
        ["runoff", "line.json", "--replications", "2000", "--factors", "1", "--bad", "5", "--up-to", "6"];
    let done = desk.run(&[&args[..], &["--json"]].concat());
    assert_eq!(done.status, 0, "{}", done.err);
    let risks = &json(&done.out)["risks"];
    let (sure, seen) = (&risks["smallest_sure"], &risks["smallest"]);
    let (hours, most) = (real(&sure["length_h"]), sure["most_jams"].as_u64().expect("a number"));
    assert!(poisson_at_most(most, hours) >= 0.95 && poisson_at_most(most, 5.0 * hours) <= 0.10, "{sure}");
    assert!(hours >= real(&seen["length_h"]) && hours <= 3.0, "{sure} {seen}");
    let page = desk.run(&args).out;
    assert!(page.contains("The smallest plan that surely holds both"), "{page}");
    // Too few runs to be sure of anything.
    let few = desk.run(&["runoff", "line.json", "--replications", "50", "--factors", "1", "--bad", "5"]);
    assert!(few.out.contains("surely holds both"), "{}", few.out);
    assert!(few.out.contains("more --replications"), "{}", few.out);
}

#[test]
fn the_page_and_its_errors() {
    let desk = Desk::new();
    desk.put("line.json", COUNTER);
    let done = desk.run(&[
        "runoff",
        "line.json",
        "--replications",
        "200",
        "--bad",
        "5",
        "--up-to",
        "3",
        "--hours",
        "2",
    ]);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    for said in [
        "Run-off of 2 h: 3 jams at most.",
        "CHANCE TO PASS now",
        "producer: 1 x fails",
        "By the shares seen alone",
    ] {
        assert!(done.out.contains(said), "`{said}` in {}", done.out);
    }
    assert!(done.out.lines().all(|line| line.chars().count() <= 80), "{}", done.out);
    for (text, args, said) in [
        (COUNTER.to_owned(), &["--vary", "M.tme"][..], "M.tme"),
        (COUNTER.to_owned(), &["--vary", "M.type"], "no number that can be scaled"),
        (COUNTER.to_owned(), &["--factors=-1"], "a number above zero"),
        (COUNTER.replace("\"run_off\"", "\"measures\": [], \"x\""), &[], "x"),
        (COUNTER.replace(", \"most_jams\": 3", ""), &[], "a run-off without a limit is always passed"),
        (
            COUNTER.replace(",\n    \"run_off\": {\"length\": \"90 min\", \"most_jams\": 3}", ""),
            &[],
            "has no `run_off`",
        ),
    ] {
        desk.put("line.json", &text);
        let done = desk.run(&[&["runoff", "line.json"], args].concat());
        assert_eq!((done.status, done.out.as_str()), (2, ""), "{args:?}");
        assert!(done.err.contains(said), "{args:?}: {}", done.err);
    }
}
