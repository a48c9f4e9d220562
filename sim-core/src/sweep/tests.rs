use super::*;
use crate::study::{Alone, Crew};

const LINE: &str = r#"{"feedproof": 1, "stations": [
    {"id": "F", "type": "work", "endless": true, "time": {"law": "exponential", "mean": "1 s"}},
    {"id": "T", "type": "track", "capacity": 5, "travel": "0 s"},
    {"id": "M", "type": "work", "time": "0.5 s"}],
    "plan": {"shift": "2 min"}}"#;

const FACTORS: &str = r#""factors": {
    "room": {"set": "T.capacity", "low": 1, "high": 3},
    "cycle": {"set": "M.time", "values": ["0.5 s", "1 s", {"label": "random", "value": {"law": "exponential", "mean": "1 s"}}, "-1 s"]}}"#;

fn sweep(rest: &str) -> Sweep {
    let ReadSweep { sweep, problems, .. } =
        read(&format!("{{\"feedproof_sweep\": 1, \"scenario\": \"x\", {FACTORS}{rest}}}"));
    sweep.unwrap_or_else(|| panic!("{problems:?}"))
}

fn run_all(sweep: &Sweep, todo: impl Iterator<Item = u64>, crew: &impl Crew) -> Vec<PointResult> {
    let points = Points::new(sweep, LINE.to_owned(), Vec::new(), 1);
    let outputs = ["rate".to_owned(), "M.*_share".to_owned()].to_vec();
    let terms = Terms { replications: sweep.replications, seed: 1, outputs, level: 0.95 };
    let mut heard = Vec::new();
    let mut watch =
        SweepWatch { cancelled: &|| false, each: &mut |result| heard.push(result), progress: &mut |_| {} };
    assert!(run(&points, todo, &terms, crew, &mut watch));
    heard.sort_by_key(|result| result.point);
    heard
}

#[test]
fn a_grid_has_every_level_with_every_other_the_last_factor_changing_first() {
    let points = Points::new(&sweep(""), LINE.to_owned(), Vec::new(), 1);
    assert_eq!(points.count(), 12);
    let labels = |n| points.levels(n).into_iter().map(|level| level.label).collect::<Vec<_>>().join(" ");
    assert_eq!([labels(0), labels(1), labels(6), labels(11)], ["1 0.5 s", "1 1 s", "2 random", "3 -1 s"]);
    assert!(points.text(6).unwrap().contains(r#""capacity": 2, "#));
}

/// That a design fills its ranges is tested where it is made; here, that levels are found by its shares.
#[test]
fn drawn_designs_give_each_level_its_part_of_the_points() {
    for design in ["latin_hypercube", "sobol"] {
        let rest = format!(r#", "design": {{"type": "{design}", "points": 48}}"#);
        let points = |seed| Points::new(&sweep(&rest), LINE.to_owned(), Vec::new(), seed);
        let labels = |seed, factor: usize| -> Vec<String> {
            (0..48).map(|n| points(seed).levels(n).remove(factor).label).collect()
        };
        for (factor, n_levels) in [(0, 3), (1, 4)] {
            let all = labels(1, factor);
            let level = |n| points(1).factors()[factor].level(n).label;
            for n in 0..n_levels {
                let count = all.iter().filter(|label| **label == level(n)).count() as u64;
                // A Sobol sequence is even in parts of 1/16 of each range; thirds may share one such part.
                assert!(
                    count.abs_diff(48 / n_levels) <= 2,
                    "{design}, level {n} of factor {factor}: {count}"
                );
            }
            assert_ne!(all, labels(2, factor), "{design} is drawn anew for another seed");
        }
    }
}

#[test]
fn an_unsound_point_is_a_result_with_its_reason() {
    let all = run_all(&sweep(r#", "replications": 3"#), 0..12, &Alone);
    assert_eq!(all.len(), 12);
    for result in &all {
        if result.point % 4 == 3 {
            assert_eq!((result.state, result.replications), (PointState::Unsound, 0));
            assert!(result.reason.contains("stations[\"M\"].time"), "{}", result.reason);
        } else {
            assert_eq!((result.state, result.replications), (PointState::Done, 3), "{}", result.reason);
            assert!(result.figures.len() > 2 && result.figures[0].0.name == "rate");
            assert!(result.figures[0].1.mean.unwrap() > 10.0);
        }
    }
}

/// Which other points are run, and the crew, do not matter.
#[test]
fn a_point_gives_the_same_alone_and_among_others() {
    let sweep = sweep(r#", "replications": {"precision": "2 %", "at_most": 200}"#);
    let all = run_all(&sweep, 0..12, &Alone);
    let numbers: Vec<u64> = all.iter().map(|result| result.replications).collect();
    assert!(numbers.iter().any(|n| *n > 30), "some point needs more than one look: {numbers:?}");
    let some = run_all(&sweep, [10, 1, 6].into_iter(), &Alone);
    assert_eq!(some, [all[1].clone(), all[6].clone(), all[10].clone()]);
    #[cfg(feature = "threads")]
    assert_eq!(run_all(&sweep, 0..12, &crate::study::Hands { n: 3 }), all);
}

#[test]
fn a_list_is_a_table_of_labels_and_values() {
    let factors = sweep("").factors;
    let table = |head: &[&str], rows: &[&[&str]]| Table {
        head: head.iter().map(|cell| (*cell).to_owned()).collect(),
        rows: (2..)
            .zip(rows)
            .map(|(line, row)| (line, row.iter().map(|cell| (*cell).to_owned()).collect()))
            .collect(),
    };
    let levels =
        levels_of_list(&factors, &table(&["cycle", "room"], &[&["random", "2"], &["1 s", "9"]])).unwrap();
    let labels: Vec<Vec<&str>> =
        levels.iter().map(|point| point.iter().map(|level| level.label.as_str()).collect()).collect();
    assert_eq!(labels, [["2", "random"], ["9", "1 s"]]);
    let wrong = |head: &[&str], rows: &[&[&str]]| {
        let problem = levels_of_list(&factors, &table(head, rows)).unwrap_err().remove(0);
        (problem.line, problem.problem.message + &problem.problem.help.unwrap_or_default())
    };
    assert_eq!(wrong(&["cycle", "rooms"], &[]), (1, "`rooms` is no factordid you mean `room`?".to_owned()));
    assert_eq!(wrong(&["cycle"], &[&["1 s"]]).1, "there is no column for the factor `room`");
    assert_eq!(wrong(&["cycle", "room"], &[&["1 s", "1"], &["3 s", "1"]]).0, 3);
}

#[test]
fn addresses_lead_somewhere_and_are_set_once() {
    let check = |factors: &str| {
        let text = format!("{{\"feedproof_sweep\": 1, \"scenario\": \"x\", \"factors\": {factors}}}");
        check_addresses(&read(&text).sweep.unwrap(), LINE).into_iter().map(|p| p.message).collect::<Vec<_>>()
    };
    assert_eq!(check(r#"{"a": {"set": "M.time", "values": ["1 s"]}}"#), [""; 0]);
    assert!(check(r#"{"a": {"set": "N.time", "values": ["1 s"]}}"#)[0].contains("leads nowhere"));
    assert!(
        check(r#"{"a": {"set": ["M.time", "stations[2].time"], "values": ["1 s"]}}"#)[0].contains("already")
    );
    let whole = check(
        r#"{"a": {"set": "M.time", "values": ["1 s"]}, "b": {"set": "M", "values": [{"label": "x", "value": {"id": "M"}}]}}"#,
    );
    assert_eq!(
        whole,
        [
            "the factor `b` sets all of `stations[\"M\"]`, which undoes what the factor `a` sets: `stations[\"M\"].time`"
        ]
    );
    let whole_first = r#"{"b": {"set": "M", "values": [{"label": "x", "value": {"id": "M"}}]}, "a": {"set": "M.time", "values": ["1 s"]}}"#;
    assert_eq!(check(whole_first), [""; 0], "the value is set within the new whole");
    assert!(check(r#"{"a": {"set": "plan.seed", "values": [1]}}"#)[0].contains("same at all points"));
    let inside = r#"{"a": {"set": "M.time", "values": [{"label": "x", "value": {"law": "exponential", "mean": "1 s"}}]},
                     "b": {"set": "M.time.mean", "values": ["2 s"]}}"#;
    assert_eq!(check(inside), [""; 0]);
}

#[test]
fn the_sweeps_that_come_along_are_sound() {
    let lines = [
        (
            include_str!("../../../scenarios/sweeps/knob-track-and-paths.json"),
            include_str!("../../../scenarios/knob-two-paths.json"),
        ),
        (
            include_str!("../../../scenarios/sweeps/starter-200.json"),
            include_str!("../../../scenarios/starter.json"),
        ),
    ];
    for (text, base) in lines {
        let ReadSweep { sweep, problems, .. } = read(text);
        let sweep = sweep.unwrap_or_else(|| panic!("{problems:?}"));
        assert_eq!(check_addresses(&sweep, base), []);
        let points = Points::new(&sweep, base.to_owned(), Vec::new(), 1);
        for point in 0..points.count() {
            let unsound = points.prepare(point).err().map(|why| why.reason());
            assert_eq!(unsound, None, "point {point}");
        }
        let outputs = points.prepare(0).map(|variant| variant.outputs());
        assert_eq!(unmatched(&sweep.outputs, &[outputs.unwrap_or_default()]), []);
    }
}
