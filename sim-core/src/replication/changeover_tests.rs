use crate::kernel::{Note, State};
use crate::stations::trial::{Run, Trial, go, problems, states, times};

const PARTS: &str = r#", "parts": {"a": {}, "b": {}}"#;

/// A source and a machine that makes a part every two seconds; a track between them.
fn line(plan: &str) -> Trial {
    let stations = r#"{"id": "make", "type": "work", "endless": true, "time": "1 s"},
        {"id": "track", "type": "track", "capacity": 5},
        {"id": "press", "type": "machine", "cycle": "2 s", "cycle_by_part": {"b": "3 s"}}"#;
    let crew = r#", "attendants": [{"id": "crew", "walk": "10 s"}]"#;
    Trial::new(stations, &format!(r#"{PARTS}{crew}, "plan": {{"changeover": {{{plan}}}}}"#))
}

fn out(run: &Run<'_>, trial: &Trial) -> Vec<f64> {
    times(run, trial.post("press"), Note::Exit(0))
}

const RUNS: &str = r#""counts_at": "press", "runs": [{"part": "a", "good": 10}, {"part": "b", "good": 4}], "stops": ["make"]"#;

const RUNS_STOP_BOTH: &str = r#""counts_at": "press", "runs": [{"part": "a", "good": 10}, {"part": "b", "good": 4}],
    "stops": ["make", "press"]"#;

/// Ruling 24: n good parts; listed stations stop starting; run out; tooling by an attendant; restart.
#[test]
fn a_run_ends_by_its_count_the_line_runs_out_and_is_tooled() {
    let trial = line(&format!(
        r#"{RUNS}, "run_out": ["track", "press"], "tooling": {{"by": "crew", "time": "100 s"}}"#
    ));
    let run = trial.run(0, 200.0);
    // The press takes at 1, 3, ... s; the tenth part is done at 21 s. Then five are on the track, one in the press
    // and one, finished, in the hand of the source: seven more, the last one at 35 s. Walk and work until 145 s.
    let parts = out(&run, &trial);
    assert_eq!(parts[9], 21.0);
    assert_eq!(parts[16], 35.0);
    // The next run has its own cycle, 3 s; its first part comes at 146 s to the press.
    assert_eq!(parts[17..20], [149.0, 152.0, 155.0]);
    let make = states(&run, trial.post("make"));
    assert!(make.contains(&(145.0, State::Working)), "{make:?}");
    let press = states(&run, trial.post("press"));
    assert!(press.contains(&(35.0, State::Changeover)), "{press:?}");
    assert_eq!(times(&run, trial.post("changeover"), Note::Restarted), [145.0]);
    // All time of the press between the run-out and the restart is changeover.
    let spent = run.floor.observer.0.time[trial.post("press").ix()][State::Changeover as usize];
    assert_eq!(spent, 110_000_000_000);
}

/// The overrun counts in the rate, not in the next run.
#[test]
fn the_counter_starts_anew_at_the_restart() {
    let trial = line(&format!(r#"{RUNS}, "run_out": ["track", "press"], "tooling": {{"time": "50 s"}}"#));
    let mut run = trial.start(0);
    // Run 1 ends at 21 s, out at 35 s, tooled at 85 s; four parts b at 89, 92, 95, 98 s; the sequence repeats.
    go(&mut run, 130.0);
    let parts = out(&run, &trial);
    assert_eq!(parts[17..21], [89.0, 92.0, 95.0, 98.0]);
    let ends = times(&run, trial.post("changeover"), Note::SensorOn);
    assert_eq!(ends, [21.0, 98.0]);
}

#[test]
fn a_run_may_end_by_time() {
    let plan = r#""counts_at": "press", "runs": [{"part": "a", "for": "30 s"}, {"part": "b"}], "stops": ["make"],
        "run_out": ["press"], "tooling": {"time": "50 s"}"#;
    let trial = line(plan);
    let run = trial.run(0, 200.0);
    assert_eq!(times(&run, trial.post("changeover"), Note::SensorOn), [30.0]);
    // The press is never seen empty with parts before it: it takes the next one in the same instant. What is on
    // the track goes first.
    assert_eq!(times(&run, trial.post("changeover"), Note::Restarted).len(), 1);
}

/// Parts that are not run out stay, and come first in the next run.
#[test]
fn what_is_not_named_keeps_its_parts() {
    let trial = line(&format!(r#"{RUNS}, "tooling": {{"time": "50 s"}}"#));
    let run = trial.run(0, 100.0);
    // At 21 s all stand; the part that the press has taken at 21 s is finished at 23 s.
    let parts = out(&run, &trial);
    assert_eq!(parts[9..13], [21.0, 23.0, 74.0, 77.0]);
}

#[test]
fn a_purge_takes_its_time_and_empties_its_places() {
    let purge = r#""purge": {"of": ["track"], "rate": "30 /min", "by": "crew", "to": "scrap"}"#;
    let trial = line(&format!(r#"{RUNS}, {purge}, "tooling": {{"time": "50 s"}}"#));
    let run = trial.run(0, 100.0);
    // Five parts on the track at 21 s (the press has just taken one, the source has filled up): 10 s of walk,
    // 10 s of work; the sixth stands in the hand of the source and comes onto the track when that is empty.
    assert_eq!(times(&run, trial.post("changeover"), Note::Lost), [41.0; 5]);
    assert_eq!(times(&run, trial.post("changeover"), Note::Restarted), [91.0]);
    assert_eq!(run.floor.flow().1 as usize, out(&run, &trial).len() + 5);
}

/// What is to run out waits for a station that is stopped for the very changeover.
#[test]
fn a_run_out_that_can_never_end_is_a_knot() {
    let trial = line(&format!(r#"{RUNS_STOP_BOTH}, "run_out": ["track"], "tooling": {{"time": "50 s"}}"#));
    let mut run = trial.start(0);
    let stop = run.run_until(crate::stations::trial::ns(300.0));
    let crate::replication::Stop::Gridlock { stations, .. } = &stop else { panic!("{stop:?}") };
    assert!(stations.contains(&trial.post("track")), "{stations:?}");
}

/// The stations at which the next run is counted are not in the knot; they wait for it.
#[test]
fn a_run_that_is_counted_behind_a_knot_does_not_open_it() {
    let stations = r#"{"id": "make", "type": "work", "endless": true, "time": "1.7 s", "count": 2},
        {"id": "give", "type": "escapement", "stroke": {"from": "0.4 s", "to": "1.3 s"}}"#;
    let sensors = r#""sensors": [{"id": "eye", "watches": "give", "high": "63 %", "holds": ["give"]}]"#;
    let runs = r#"[{"part": "a", "for": "34 s"}, {"part": "b", "good": 18}]"#;
    let plan = format!(r#""plan": {{"changeover": {{"counts_at": "make", "runs": {runs}}}}}"#);
    let trial = Trial::new(stations, &format!("{PARTS}, {sensors}, {plan}"));
    let stop = trial.start(0).run_until(crate::stations::trial::ns(300.0));
    assert!(matches!(stop, crate::replication::Stop::Gridlock { .. }), "{stop:?}");
}

#[test]
fn a_run_out_that_takes_too_long_is_ended() {
    let plan =
        format!(r#"{RUNS}, "run_out": ["track"], "run_out_at_most": "5 s", "tooling": {{"time": "50 s"}}"#);
    let trial = line(&plan);
    let run = trial.run(0, 100.0);
    assert_eq!(times(&run, trial.post("changeover"), Note::Restarted), [76.0]);
}

#[test]
fn dumpers_streams_and_endless_bins_go_over_to_the_next_kind() {
    let changeover = r#""changeover": {"counts_at": "use", "runs": [{"part": "a", "good": 20}, {"part": "b"}],
        "stops": ["tip", "come"], "run_out": ["bin"], "tooling": {"time": "10 s"}}"#;
    let stations = r#"{"id": "tip", "type": "dumper", "contents": 8, "call_level": 2, "tip": "1 s"},
        {"id": "bin", "type": "bin", "capacity": 100},
        {"id": "use", "type": "work", "time": "1 s", "to": "end"},
        {"id": "come", "type": "stream", "spacing": "1 s", "to": "end"},
        {"id": "endless", "type": "bin", "endless": true},
        {"id": "pick", "type": "work", "time": "1 s", "to": "end"},
        {"id": "end", "type": "scrap box"}"#;
    let trial = Trial::new(stations, &format!(r#"{PARTS}, "plan": {{{changeover}}}"#));
    let mut run = trial.start(0);
    go(&mut run, 300.0);
    assert_eq!(times(&run, trial.post("changeover"), Note::Restarted).len(), 1);
    // The bin ran empty, so only the new kind is in it now.
    let (classes, counts) = run.floor.place(trial.place("bin")).counts().expect("a bin");
    let of_a: u32 = classes.iter().zip(counts).filter(|(class, _)| class.kind == 0).map(|(_, n)| n).sum();
    let of_b: u32 = classes.iter().zip(counts).filter(|(class, _)| class.kind == 1).map(|(_, n)| n).sum();
    assert!(of_a == 0 && of_b > 0, "{of_a} {of_b}");
}

#[test]
fn a_sequence_that_makes_no_sense_is_refused() {
    let stations = r#"{"id": "make", "type": "work", "endless": true, "time": "1 s"}"#;
    let bad = |plan: &str| problems(stations, &format!(r#"{PARTS}, "plan": {{"changeover": {{{plan}}}}}"#));
    assert!(bad(r#""counts_at": "make", "runs": [{"part": "a", "good": 3}, {"part": "b"}]"#).is_empty());
    assert!(!bad(r#""counts_at": "make", "runs": [{"part": "a"}, {"part": "b"}]"#).is_empty());
    assert!(!bad(r#""counts_at": "makes", "runs": [{"part": "a"}]"#).is_empty());
    assert!(!bad(r#""counts_at": "make", "runs": [{"part": "c"}]"#).is_empty());
    assert!(!bad(r#""counts_at": "make", "runs": [{"part": "b"}]"#).is_empty(), "nothing brings b at first");
    assert!(!bad(r#""counts_at": "make", "runs": [{"part": "a", "good": 1, "for": "1 s"}]"#).is_empty());
    let stations = r#"{"id": "tip", "type": "dumper", "contents": 500, "call_level": 100},
        {"id": "bin", "type": "bin"}, {"id": "make", "type": "work", "time": "1 s"},
        {"id": "belt", "type": "belt", "capacity": 3}, {"id": "use", "type": "work", "time": "1 s"}"#;
    let runs = r#""runs": [{"part": "a", "good": 3}, {"part": "b"}]"#;
    for (at, does) in [("bin", "holds"), ("belt", "holds"), ("tip", "pours")] {
        let sequence = format!(r#""plan": {{"changeover": {{"counts_at": "{at}", {runs}}}}}"#);
        let promise = format!(r#""promise": {{"at": "{at}", "clauses": {{"mean_rate": "1 /min"}}}}"#);
        for (asks, path) in [(sequence, "plan.changeover.counts_at"), (promise, "promise.at")] {
            let found = problems(stations, &format!("{PARTS}, {asks}")).join("\n");
            assert!(found.contains(&format!("`{at}` only {does} parts")) && found.contains(path), "{found}");
        }
    }
}
