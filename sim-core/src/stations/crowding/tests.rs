//! Chances by loading: the blend itself, both sorts of path against closed forms, and what is wrong with a file.

use super::*;
use crate::kernel::{Note, Stream};
use crate::stations::bench_test::{problems, run};

const PART: &str = r#""pin": {"length": "20 mm"}"#;
const SCRAP: &str = r#"{"id": "scrap", "type": "scrap box"}"#;
const OUT: Fate = Fate::Exit(1);
const ON: Fate = Fate::Onward(0);

fn half_to_full() -> Crowding {
    Crowding { uncrowded_at: 0.5, crowded_at: 1.0 }
}

fn chance_of(blend: &Blend, fate: Fate, loading: f64) -> f64 {
    blend.fates(loading).filter(|(known, _)| *known == fate).map(|(_, chance)| chance).sum()
}

#[test]
fn every_chance_goes_over_in_a_straight_line_between_the_points() {
    let turned = Fate::Onward(1);
    let blend = Blend::new(half_to_full(), &[(ON, 0.8), (OUT, 0.2)], &[(turned, 0.1), (ON, 0.4), (OUT, 0.5)]);
    for (loading, expected) in
        [(0.0, [0.8, 0.2, 0.0]), (0.5, [0.8, 0.2, 0.0]), (0.75, [0.6, 0.35, 0.05]), (1.0, [0.4, 0.5, 0.1])]
    {
        for (fate, chance) in [ON, OUT, turned].into_iter().zip(expected) {
            let found = chance_of(&blend, fate, loading);
            assert!((found - chance).abs() < 1e-12, "{fate:?} at {loading}: {found}, expected {chance}");
        }
    }
}

#[test]
fn a_chance_of_zero_never_strikes_and_the_words_drawn_do_not_depend_on_the_loading() {
    let uncrowded = [(ON, 0.1), (Fate::Onward(1), 0.2), (Fate::Onward(2), 0.7)];
    let blend = Blend::new(half_to_full(), &uncrowded, &[(OUT, 1.0)]);
    let (mut one, mut other) = (Stream::new(1, 0, "blend", "test"), Stream::new(1, 0, "blend", "test"));
    for _ in 0..100_000 {
        assert_ne!(blend.fate(0.2, &mut one), OUT);
        assert_eq!(blend.fate(1.0, &mut other), OUT);
    }
    assert_eq!(one.next_u64(), other.next_u64(), "one word each time");
}

/// Parts that went on and that were rejected, of a source that feeds a path through a bin.
fn shares(source: &str, path: &str, tool: &str, seconds: u64) -> (f64, f64) {
    let line = format!(
        r#"{source}, {{"id": "bin", "type": "bin"}},
        {{"id": "path", "type": "orienting path", {path}, "to": "out", "rejects_to": "scrap",
            "tools": [{{"id": "edge", {tool}}}]}}, {SCRAP}"#
    );
    let run = run(PART, &line, "", seconds);
    let count = |exit| run.times("path", Note::Exit(exit)).len() as f64;
    (count(0), count(1))
}

fn agrees((on, off): (f64, f64), chance: f64, least: f64) {
    let n = on + off;
    assert!(n > least, "{n} parts");
    // Five standard errors: a right program fails in one of 1.7 million cases.
    let error = 5.0 * (chance * (1.0 - chance) / n).sqrt();
    assert!((on / n - chance).abs() < error, "{} of {n}, expected {chance} within {error}", on / n);
}

/// 0.9 on an empty path, 0.5 on a full one.
const EDGE: &str = r#""accepts": 0.9, "crowded": {"accepts": 0.5}"#;

fn every(seconds: f64) -> String {
    format!(r#"{{"id": "source", "type": "stream", "spacing": "{seconds} s"}}"#)
}

#[test]
fn with_even_feeding_the_loading_of_both_sorts_of_path_is_the_share_of_its_time_that_is_used() {
    // A part clears the entry in 0.25 s, and 0.25 s is a pass: what comes every s seconds takes 0.25 / s of the path.
    let in_file = r#""speed": "80 mm/s", "live_length": "800 mm""#;
    for path in [r#""pass": "0.25 s""#, in_file] {
        for (spacing, loading) in [(1.0, 0.25), (0.5, 0.5), (0.3125, 0.8)] {
            let found = shares(&every(spacing), path, EDGE, 40_000);
            agrees(found, 0.9 - 0.4 * loading, 39_000.0);
        }
    }
}

#[test]
fn a_path_that_is_fed_to_the_full_is_crowded_and_points_that_are_stated_hold() {
    let source = r#"{"id": "source", "type": "stream", "spacing": "0.1 s"}"#;
    for path in [r#""pass": "0.25 s""#, r#""speed": "80 mm/s", "live_length": "800 mm""#] {
        agrees(shares(source, path, EDGE, 8000), 0.5, 30_000.0);
        let points =
            |from: &str, to: &str| format!(r#"{EDGE}, "uncrowded_at": "{from}", "crowded_at": "{to}""#);
        agrees(shares(&every(0.5), path, &points("50 %", "90 %"), 20_000), 0.9, 39_000.0);
        agrees(shares(&every(0.5), path, &points("20 %", "50 %"), 20_000), 0.5, 39_000.0);
        agrees(shares(&every(0.5), path, &points("40 %", "60 %"), 20_000), 0.7, 39_000.0);
    }
}

#[test]
fn what_a_tool_upstream_rejects_takes_up_nothing_any_more() {
    // Half of the parts leave at a quarter of the way. Of the 40 places of the path those of the first quarter are taken
    // up, 10, and half of the others, 29 besides that of the part which comes to the edge.
    let loading = (10.0 + 29.0 / 2.0 + 1.0) / 40.0;
    let tools = r#""tools": [{"id": "gate", "accepts": 0.5, "position": "200 mm", "to": "box"},
        {"id": "edge", "accepts": 0.9, "crowded": {"accepts": 0.5}}]"#;
    let line = format!(
        r#"{{"id": "source", "type": "work", "endless": true, "time": "1 ms"}},
        {{"id": "path", "type": "orienting path", "speed": "80 mm/s", "live_length": "800 mm", "to": "out",
            "rejects_to": "scrap", {tools}}}, {SCRAP}, {{"id": "box", "type": "scrap box"}}"#
    );
    let run = run(PART, &line, "", 100_000);
    let count = |exit| run.times("path", Note::Exit(exit)).len() as f64;
    agrees((count(0), count(1)), 0.9 - 0.4 * loading, 195_000.0);
}

#[test]
fn with_random_arrivals_a_single_path_agrees_with_the_idle_times_of_a_queue() {
    // M/D/1 with a load of 1/2: half of the parts follow without a wait, the others after an idle time that is exponential
    // (memoryless arrivals; Kleinrock 1975). So the mean loading is 1/2 + 1/2 (1/2) e^(1/2) E1(1/2), with
    // E1(0.5) = 0.5597735948 (Abramowitz and Stegun 1964, table 5.1; value from memory, integrated numerically below).
    let e1: f64 = {
        // Integral of e^-t / t from 1/2 on, t = 1/2 + u / (1 - u), midpoint rule.
        let n = 200_000;
        let at = |i: usize| {
            let u = (i as f64 + 0.5) / f64::from(n);
            let t = 0.5 + u / (1.0 - u);
            (-t).exp() / t / ((1.0 - u) * (1.0 - u)) / f64::from(n)
        };
        (0..n as usize).map(at).sum()
    };
    assert!((e1 - 0.559_773_594_8).abs() < 1e-8, "{e1}");
    let loading = 0.5 + 0.5 * 0.5 * 0.5_f64.exp() * e1;
    let source = r#"{"id": "source", "type": "stream", "spacing": {"law": "exponential", "mean": "0.5 s"}}"#;
    agrees(shares(source, r#""pass": "0.25 s""#, EDGE, 50_000), 0.9 - 0.4 * loading, 98_000.0);
}

#[test]
fn what_is_wrong_with_crowded_tools_is_told() {
    let found = |tool: &str| {
        let line = format!(
            r#"{{"id": "source", "type": "work", "endless": true, "time": "1 ms"}},
            {{"id": "path", "type": "orienting path", "pass": "1 s", "to": "out", "rejects_to": "scrap",
                "tools": [{{"id": "edge", {tool}}}]}}, {SCRAP}"#
        );
        problems(r#""pin": {"attitudes": {"up": 0.5, "down": 0.5}}"#, &line).join("\n")
    };
    let told = |tool: &str, words: &str| {
        let found = found(tool);
        assert!(found.contains(words) && !found.contains('\n'), "{tool}: {found}");
    };
    told(r#""accepts": 0.9, "crowded": {}"#, "does not say what differs");
    told(r#""accepts": 0.9, "crowded_at": "80 %""#, "no chance of this tool depends on the loading");
    told(
        r#""accepts": 0.9, "crowded": {"accepts": 0.5}, "uncrowded_at": "80 %", "crowded_at": "30 %""#,
        "from a higher loading on",
    );
    told(r#""accepts": 0.9, "crowded": {"accepts": 0.5}, "crowded_at": "130 %""#, "130 %");
    told(r#""accepts": 0.9, "crowded": {"accepts": 1.2}"#, "1.2");
    told(
        r#""passes": {"up": 0.6}, "turns": {"down": {"up": 0.5}}, "crowded": {"turns": {"up": {"down": 0.6}}}"#,
        "add up to 1.2",
    );
    told(r#""accepts": 0.9, "crowded": {"passes": {"upp": 0.5}}"#, "upp");
    assert_eq!(found(r#""accepts": 0.9, "crowded": {"drops": {"down": 0.5}}, "crowded_at": "80 %""#), "");
}
