//! Screens, selectors, gauges and scrap boxes in small lines.

use crate::kernel::Note;
use crate::part::{Nanos, SECOND};
use crate::stations::bench_test::{Run, problems, run, traffic};

const SOURCE: &str = r#"{"id": "source", "type": "work", "endless": true, "time": "1 ms"}"#;
const SCRAP: &str = r#"{"id": "scrap", "type": "scrap box"}"#;

fn line(station: &str) -> String {
    format!("{SOURCE}, {station}, {SCRAP}")
}

/// Whether a count of `n` trials with chance `p` may be so (5 standard errors).
fn is_binomial(count: usize, n: usize, p: f64) -> bool {
    let n = n as f64;
    (count as f64 - n * p).abs() <= 5.0 * (n * p * (1.0 - p)).sqrt()
}

fn exits(run: &Run, name: &str) -> [usize; 3] {
    [0, 1, 2].map(|no| run.times(name, Note::Exit(no)).len())
}

#[test]
fn a_screen_takes_out_by_condition_and_the_scrap_box_counts() {
    let parts = r#""nut": {"conditions": {"chip": 0.02, "bent": 0.02}}"#;
    for time in ["0 s", "5 ms"] {
        let screen = format!(
            r#"{{"id": "screen", "type": "screen", "to": "out", "removed_to": "scrap", "removes": {{"chip": 0.9}}, "time": "{time}"}}"#
        );
        let run = run(parts, &line(&screen), "", 100);
        let [on, off, _] = exits(&run, "screen");
        assert!(on > 15_000, "{on}");
        assert!(is_binomial(off, on + off, 0.018), "{off} of {}", on + off);
        assert_eq!(run.times("scrap", Note::Left).len(), off);
        assert!(run.notes("scrap", Note::Left).iter().all(|(_, part)| part.condition == 1));
        let (routes, seconds) = traffic(parts, &line(&screen), "screen");
        assert_eq!(routes[0], [(0, 0, 1.0)]);
        assert_eq!((routes[1][1].0, routes[1][1].1), (1, 1));
        assert!((routes[1][1].2 - 0.9).abs() < 1e-12);
        assert!((seconds[0] - if time == "0 s" { 0.0 } else { 0.005 }).abs() < 1e-12);
    }
}

#[test]
fn a_screen_in_no_time_holds_a_part_for_which_there_is_no_room() {
    let stations = format!(
        r#"{SOURCE}, {{"id": "screen", "type": "screen", "to": "press", "removed_to": "scrap", "removes": {{"good": 0}}}},
        {{"id": "press", "type": "work", "time": "1 s", "to": "out"}}, {SCRAP}"#
    );
    let run = run(r#""nut": {}"#, &stations, "", 50);
    let taken = run.times("screen", Note::Took);
    assert!(taken.windows(2).skip(2).all(|pair| pair[1] - pair[0] == SECOND), "{taken:?}");
}

const ENDS: &str = r#""stud": {"attitudes": {"head first": 0.6, "tail first": 0.3, "across": 0.1}}"#;

#[test]
fn a_selector_turns_passes_and_rejects_with_misreads() {
    let selector = r#"{"id": "selector", "type": "selector", "to": "out", "rejects_to": "scrap",
        "corrects": ["tail first"], "turn_succeeds": 0.9, "time": "0.5 s", "time_with_turn": "1 s",
        "reads_right_as_wrong": 0.05, "reads_wrong_as_right": 0.2}"#;
    let (routes, seconds) = traffic(ENDS, &line(selector), "selector");
    // A right part misread is turned, and lies wrong then unless the turn fails.
    let head: Vec<_> = routes[0].iter().map(|(exit, class, _)| (*exit, *class)).collect();
    assert_eq!(head, [(0, 0), (0, 1)]);
    assert!((routes[0][1].2 - 0.05 * 0.9).abs() < 1e-12);
    // A wrong part: 0.8 read rightly, 0.9 of these turned well; the others go on as they lie.
    assert!((routes[1][0].2 - 0.72).abs() < 1e-12 && (routes[1][1].2 - 0.28).abs() < 1e-12);
    // One that can't be corrected: 0.2 escape, the rest is rejected and remixed.
    assert_eq!((routes[2][0].0, routes[2][0].1), (0, 2));
    let rejected: f64 = routes[2].iter().filter(|(exit, ..)| *exit == 1).map(|(.., share)| share).sum();
    assert!((rejected - 0.8).abs() < 1e-12);
    for (seen, expected) in seconds.iter().zip([0.5 + 0.5 * 0.05, 0.5 + 0.5 * 0.8, 0.5]) {
        assert!((seen - expected).abs() < 1e-12, "{seconds:?}");
    }
    let run = run(ENDS, &line(selector), "", 20_000);
    let [on, off, _] = exits(&run, "selector");
    let n = on + off;
    let exits = run.notes("selector", Note::Exit(0));
    let count = |attitude: u8| exits.iter().filter(|(_, part)| part.attitude == attitude).count();
    assert!(is_binomial(off, n, 0.08), "{off} of {n}");
    assert!(is_binomial(count(0), n, 0.6 * 0.955 + 0.3 * 0.72), "{} of {n}", count(0));
    assert!(is_binomial(count(1), n, 0.6 * 0.045 + 0.3 * 0.28), "{} of {n}", count(1));
    assert!(is_binomial(count(2), n, 0.02), "{} of {n}", count(2));
    let turned = 0.6 * 0.05 + 0.3 * 0.8;
    let all = run.times("selector", Note::Took);
    let spans: Vec<Nanos> = all.windows(2).map(|pair| pair[1] - pair[0]).collect();
    assert!(spans.iter().skip(5).all(|span| *span == SECOND / 2 || *span == SECOND), "{:?}", &spans[..20]);
    assert!(is_binomial(spans.iter().filter(|span| **span == SECOND).count(), n, turned));
}

#[test]
fn a_shuttle_takes_longer_to_the_other_side() {
    let parts = r#""cup": {"attitudes": {"open": 0.5, "closed": 0.4, "across": 0.1}}"#;
    let stations = format!(
        r#"{SOURCE}, {{"id": "shuttle", "type": "selector", "rejects_to": "scrap", "reads_right_as_wrong": 0.1,
            "shuttle": {{"sends": {{"open": "track a", "closed": "track b"}}, "same_side": "0.5 s", "other_side": "1 s"}}}},
        {{"id": "track a", "type": "scrap box"}}, {{"id": "track b", "type": "scrap box"}}, {SCRAP}"#
    );
    let run = run(parts, &stations, "", 20_000);
    let [a, b, off] = exits(&run, "shuttle");
    let n = a + b + off;
    assert!(is_binomial(a, n, 0.45) && is_binomial(b, n, 0.45) && is_binomial(off, n, 0.1), "{a} {b} {off}");
    // Parts of the second track are turned by it; the misread one in ten of the first attitude comes wrong.
    let right = run.notes("track b", Note::Left).iter().filter(|(_, part)| part.attitude == 0).count();
    assert!(is_binomial(right, b, 0.4 / 0.45), "{right} of {b}");
    assert!(run.notes("track a", Note::Left).iter().all(|(_, part)| part.attitude == 0));
    // The time follows from the sides alone.
    let mut at = 0;
    let mut events: Vec<(Nanos, usize)> = Vec::new();
    for side in 0..3 {
        events.extend(run.times("shuttle", Note::Exit(side as u8)).into_iter().map(|time| (time, side)));
    }
    events.sort_unstable();
    let mut before = run.times("shuttle", Note::Took)[0];
    for (n, (time, side)) in events.into_iter().enumerate() {
        let moves = side < 2 && side != at;
        let expected = if moves { SECOND } else { SECOND / 2 };
        // The source takes a millisecond for the second part only while the first one is in work.
        assert_eq!(time - before, expected, "part {n}");
        (before, at) = (time, if moves { side } else { at });
    }
    let (routes, seconds) = traffic(parts, &stations, "shuttle");
    assert_eq!(routes[1], [(1, 0, 1.0)]);
    assert!(seconds.iter().all(|s| (s - 0.75).abs() < 1e-12));
}

#[test]
fn a_gauge_by_condition_rejects_both_ways() {
    let parts = r#""bush": {"conditions": {"short": 0.05}}"#;
    let gauge = r#"{"id": "gauge", "type": "gauge", "to": "out", "rejects_to": "scrap", "time": "10 ms",
        "catches": {"short": 0.9}, "false_reject": 0.01}"#;
    let run = run(parts, &line(gauge), "", 400);
    let [on, off, _] = exits(&run, "gauge");
    assert!(is_binomial(off, on + off, 0.05 * 0.9 + 0.95 * 0.01), "{off} of {}", on + off);
    let (routes, _) = traffic(parts, &line(gauge), "gauge");
    assert!((routes[0][1].2 - 0.01).abs() < 1e-12 && (routes[1][1].2 - 0.9).abs() < 1e-12);
}

#[test]
fn a_gauge_by_a_dimension_rejects_what_lies_beyond_its_limits() {
    let parts = r#""pin": {"sizes": {"diameter": {"from": "10 mm", "to": "12 mm"}}}"#;
    let gauge = r#"{"id": "gauge", "type": "gauge", "to": "out", "rejects_to": "scrap", "time": "10 ms",
        "size": "diameter", "least": "10.2 mm", "most": "11.6 mm"}"#;
    let run = run(parts, &line(gauge), "", 400);
    let [on, off, _] = exits(&run, "gauge");
    assert!(is_binomial(off, on + off, 0.3), "{off} of {}", on + off);
    assert!(run.notes("gauge", Note::Exit(1)).iter().all(|(_, part)| part.is_off_size()));
    assert!(run.notes("gauge", Note::Exit(0)).iter().all(|(_, part)| {
        let size = 10.0 + 2.0 * (f64::from(part.sizes[0]) + 0.5) / 65_536.0;
        (10.2..=11.6).contains(&size)
    }));
    let (routes, _) = traffic(parts, &line(gauge), "gauge");
    assert!((routes[0][1].2 - 0.3).abs() < 1e-4);
}

#[test]
fn a_part_off_size_that_comes_back_is_rejected_again() {
    // The error of the gauge is as wide as the part varies: without the mark many would pass the second time.
    let parts = r#""pin": {"sizes": {"diameter": {"from": "10 mm", "to": "12 mm"}}}"#;
    let stations = format!(
        r#"{SOURCE}, {{"id": "gauge", "type": "gauge", "to": "out", "rejects_to": "belt", "time": "10 ms",
            "size": "diameter", "most": "11.6 mm", "error": "0.3 mm", "priority": ["belt", "source"]}},
        {{"id": "belt", "type": "recirculation belt", "unlimited": true, "travel": "1 s", "to": "gauge"}}"#
    );
    let run = run(parts, &stations, "", 60);
    let marked = |note| run.notes("gauge", note).iter().filter(|(_, part)| part.is_off_size()).count();
    assert!(marked(Note::Took) > 200, "{}", marked(Note::Took));
    assert_eq!(marked(Note::Exit(0)), 0);
}

#[test]
fn a_jam_holds_the_part_on_the_bench() {
    let screen = r#"{"id": "screen", "type": "screen", "to": "out", "removed_to": "scrap", "removes": {"good": 0},
        "time": "0.1 s", "jams": [{"per_part": 0.1, "when": "start", "time": "3 s"}]}"#;
    let run = run(r#""nut": {}"#, &line(screen), "", 500);
    let spans = run.stops("screen");
    assert!(spans.len() > 50);
    let (taken, gone) = (run.times("screen", Note::Took), run.times("screen", Note::Exit(0)));
    for (from, to) in taken.iter().zip(&gone) {
        let jam = spans.iter().find(|(start, _)| start == from).map_or(0, |(start, end)| end - start);
        assert_eq!(to - from, SECOND / 10 + jam);
    }
    // In no time, with a jam when work starts: the part leaves when the jam is cleared.
    let zero = screen.replace(r#""time": "0.1 s", "#, "");
    let run = run_zero(&zero);
    let spans = run.stops("screen");
    assert!(spans.len() > 50);
    let (taken, gone) = (run.times("screen", Note::Took), run.times("screen", Note::Exit(0)));
    for (from, to) in taken.iter().zip(&gone) {
        let jam = spans.iter().find(|(start, _)| start == from).map_or(0, |(start, end)| end - start);
        assert_eq!(to - from, jam);
    }
}

fn run_zero(screen: &str) -> Run {
    run(r#""nut": {}"#, &line(screen), "", 300)
}

#[test]
fn what_is_wrong_with_a_bench_is_said() {
    for (station, said) in [
        (
            r#""type": "screen", "removed_to": "scrap", "removes": {"chipp": 0.5}"#,
            "there is no condition `chipp`",
        ),
        (
            r#""type": "selector", "time": "0.5 s", "corrects": ["tail first"]"#,
            "parts that lie `across` may be rejected",
        ),
        (r#""type": "selector", "corrects": ["tail first", "across"]"#, "`time` is missing"),
        (
            r#""type": "selector", "time": "0.5 s", "corrects": ["tail frst", "across"]"#,
            "did you mean `tail first`?",
        ),
        (
            r#""type": "selector", "shuttle": {"sends": {"across": "scrap"}, "same_side": "0.5 s", "other_side": "1 s"}"#,
            "a shuttle has two sides",
        ),
        (r#""type": "gauge", "rejects_to": "scrap", "time": "1 s""#, "what it goes by is not clear"),
        (
            r#""type": "gauge", "rejects_to": "scrap", "time": "1 s", "size": "width", "least": "1 mm""#,
            "there is no dimension `width`",
        ),
        (
            r#""type": "gauge", "rejects_to": "scrap", "time": "1 s", "size": "width""#,
            "a dimension without a limit",
        ),
        (
            r#""type": "gauge", "rejects_to": "scrap", "time": "1 s", "size": "width", "least": "2 mm", "most": "1 mm""#,
            "`least` is above `most`",
        ),
    ] {
        let all = problems(ENDS, &line(&format!(r#"{{"id": "it", "to": "out", {station}}}"#))).join("\n");
        assert!(all.contains(said), "{station}: {all}");
    }
}

#[test]
fn a_bin_keeps_parts_off_size_as_a_class_of_their_own() {
    // Dimensions are drawn again at every pick from a bin; without the class, all would pass sooner or later.
    let parts = r#""pin": {"sizes": {"diameter": {"from": "10 mm", "to": "12 mm"}}}"#;
    let stations = r#"{"id": "hopper", "type": "bin", "content": 1000, "to": "gauge"},
        {"id": "gauge", "type": "gauge", "to": "out", "rejects_to": "hopper", "time": "10 ms",
            "size": "diameter", "most": "11.4 mm"}"#;
    let run = run(parts, stations, r#", "plan": {"start": "primed"}"#, 600);
    let on = run.times("gauge", Note::Exit(0));
    assert!(is_binomial(on.len(), 1000, 0.7), "{}", on.len());
    assert!(on[on.len() - 1] < 300 * SECOND, "then only parts off size go round");
    assert!(run.times("gauge", Note::Took).len() > 50_000);
}
