//! Tests of the magazine, the receiver and batches at machines: each named after a sentence of their documentation.

use crate::kernel::{Note, State};
use crate::replication::Stop;
use crate::stations::trial::{Trial, levels, ns, problems, states, times};

const FEEDER: &str = r#"{"id": "F", "type": "work", "endless": true, "time": "0.1 s"}, {"id": "T", "type": "track", "capacity": 20},"#;

#[test]
fn a_batch_is_ready_after_its_time_and_the_receiver_is_its_own_from_the_release_on() {
    let trial = Trial::new(
        &format!(
            r#"{FEEDER} {{"id": "G", "type": "magazine", "recipe": {{"R": 4}}}},
            {{"id": "R", "type": "receiver", "holds": 4, "time": "1 s", "each": "0.2 s", "to": "M"}},
            {{"id": "M", "type": "machine", "cycle": "0.5 s", "each": "0.1 s", "to": "out",
              "inlets": [{{"from": "R", "parts": "the batch"}}]}}"#
        ),
        "",
    );
    let run = trial.run(0, 6.0);
    // Complete at 0.4, there at 0.4 + 1 + 3 x 0.2 = 2.0; the next one leaves when the receiver is emptied.
    assert_eq!(times(&run, trial.post("M"), Note::Took), [[2.0; 4], [3.6; 4], [5.2; 4]].concat());
    // A stroke takes 0.5 + 4 x 0.1.
    assert_eq!(times(&run, trial.post("M"), Note::Exit(0)), [[2.9; 4], [4.5; 4]].concat());
    let into: Vec<(f64, u32)> = levels(&run, trial.place("R")).into_iter().filter(|(_, n)| *n == 4).collect();
    assert_eq!(into, [(0.4, 4), (2.0, 4), (3.6, 4), (5.2, 4)]);
    let magazine = states(&run, trial.post("G"));
    assert_eq!(
        magazine,
        [(0.4, State::Starved), (0.8, State::Blocked)],
        "the next batch is loaded from the track at once"
    );
}

#[test]
fn lanes_load_beside_each_other_what_the_recipe_still_wants() {
    let trial = Trial::new(
        r#"{"id": "F1", "type": "work", "endless": true, "time": "0.1 s", "to": "a"},
        {"id": "F2", "type": "work", "endless": true, "time": "0.1 s", "to": "b"},
        {"id": "a", "type": "track", "capacity": 9, "to": "G"}, {"id": "b", "type": "track", "capacity": 9, "to": "G"},
        {"id": "G", "type": "magazine", "recipe": {"R": {"a": 1, "b": 3}}, "load": "0.5 s", "release_time": "0.7 s"},
        {"id": "R", "type": "receiver", "holds": 4, "to": "M"},
        {"id": "M", "type": "machine", "cycle": "0.1 s", "to": "out", "inlets": [{"from": "R", "parts": "the batch"}]}"#,
        "",
    );
    let run = trial.run(0, 4.1);
    // One piece of a and three of b: 0.1 + 3 x 0.5, then every 1.5 + 0.7 s.
    assert_eq!(times(&run, trial.post("G"), Note::Exit(0)), [[1.6; 4], [3.8; 4]].concat());
    assert_eq!(run.floor.place(trial.place("a")).len(), 9, "no more than wanted is taken");
    // The balance says the same: four pieces every 2.2 s.
    let balance = trial.balance();
    let capacity = balance.stations.iter().find(|s| s.id == "G").and_then(|s| s.capacity_per_min);
    assert!((capacity.expect("a capacity") - 4.0 * 60.0 / 2.2).abs() < 1e-9, "{capacity:?}");
}

fn two_receivers(release: &str, order: &str) -> Trial {
    let text = format!(
        r#"{FEEDER} {{"id": "G", "type": "magazine", "release": "{release}",
            "recipes": {{"big": {{"R": 2, "Q": 1}}, "small": {{"Q": 1}}}}}},
        {{"id": "R", "type": "receiver", "holds": 2, "to": "M"}}, {{"id": "Q", "type": "receiver", "to": "N"}},
        {{"id": "M", "type": "machine", "cycle": "4 s", "to": "out", "inlets": [{{"from": "R", "parts": "the batch"}}]}},
        {{"id": "N", "type": "machine", "cycle": "1 s", "to": "out"}}"#
    );
    Trial::new(&text, &format!(r#", "models": {order}"#))
}

#[test]
fn a_batch_is_released_together_or_on_call() {
    let text = |release: &str| {
        format!(
            r#"{FEEDER} {{"id": "G", "type": "magazine", "release": "{release}", "recipe": {{"R": 2, "Q": 1}}}},
            {{"id": "R", "type": "receiver", "holds": 2, "to": "M"}}, {{"id": "Q", "type": "receiver", "to": "N"}},
            {{"id": "M", "type": "machine", "cycle": "4 s", "to": "out", "inlets": [{{"from": "R", "parts": "the batch"}}]}},
            {{"id": "N", "type": "machine", "cycle": "1 s", "to": "out"}}"#
        )
    };
    let run_of = |release: &str| {
        let trial = Trial::new(&text(release), "");
        let run = trial.run(0, 9.0);
        times(&run, trial.post("G"), Note::Exit(1))
    };
    // Batches are complete at 0.3, 0.6, 0.9 ...; R is emptied at 0.3, 4.3 and 8.3. Together, Q has to wait for R.
    assert_eq!(run_of("together"), [0.3, 0.6, 4.3, 8.3]);
    // On call the portion for Q goes when Q is emptied, at 1.3 for the third batch; the next are loaded when that for R has gone.
    assert_eq!(run_of("on call"), [0.3, 0.6, 1.3, 4.3, 8.3]);
}

#[test]
fn models_come_in_sequence_each_with_its_recipe() {
    let trial = two_receivers("together", r#"{"list": {"big": 1, "small": 2}}"#);
    let run = trial.run(0, 400.0);
    let counts = |no| times(&run, trial.post("G"), Note::Exit(no)).len();
    // For each two pieces to R three go to Q.
    let (r, q) = (counts(0) / 2, counts(1));
    assert!(q >= 3 * r - 2 && q <= 3 * r, "{r} batches for R, {q} pieces for Q");
    assert!(r > 90);
}

#[test]
fn models_at_random_have_their_shares_and_a_stroke_its_mean_time() {
    let trial = Trial::new(
        &format!(
            r#"{FEEDER} {{"id": "G", "type": "magazine", "recipes": {{"six": {{"R": 6}}, "two": {{"R": 2}}}}}},
            {{"id": "R", "type": "receiver", "holds": 6, "to": "M"}},
            {{"id": "M", "type": "machine", "cycle": "2 s", "each": "0.5 s", "to": "out",
              "inlets": [{{"from": "R", "parts": "the batch"}}]}}"#
        ),
        r#", "models": {"order": "random", "list": {"six": 1, "two": 3}}"#,
    );
    let run = trial.run(0, 60_000.0);
    let mut strokes = times(&run, trial.post("M"), Note::Exit(0));
    strokes.dedup();
    // Feeding is faster than use, so a stroke of 2 + 0.5 x pieces follows the other: 5 s or 3 s, 3.5 s on the mean with a
    // standard deviation of 0.866 s; 4.5 standard errors of the number in 60,000 s.
    let expected = 60_000.0 / 3.5;
    let error = 4.5 * 0.866 / 3.5 * f64::sqrt(expected);
    assert!((strokes.len() as f64 - expected).abs() < error + 2.0, "{} strokes, {expected}", strokes.len());
}

#[test]
fn a_batch_that_can_never_be_complete_is_found_as_a_gridlock() {
    // Kinds come mixed down one track; when the one at its end is not wanted, the other can never come.
    let parts = r#""parts": {"ball": {}, "spring": {}}"#;
    let text = format!(
        r#"{{"feedproof": 1, {parts}, "stations": [
        {{"id": "B", "type": "work", "endless": true, "part": "ball", "time": "1 s", "to": "T"}},
        {{"id": "S", "type": "work", "endless": true, "part": "spring", "time": "3.5 s", "to": "T"}},
        {{"id": "T", "type": "track", "capacity": 4, "to": "G"}},
        {{"id": "G", "type": "magazine", "recipe": {{"R": {{"ball": 1, "spring": 1}}}}}},
        {{"id": "R", "type": "receiver", "holds": 2, "to": "M"}},
        {{"id": "M", "type": "machine", "cycle": "0.5 s", "to": "out", "inlets": [{{"from": "R", "parts": "the batch"}}]}}]}}"#
    );
    let checked = crate::scenario::read(&text);
    let scenario = checked.scenario.expect("the line is sound");
    let plan = crate::network::compile(&scenario);
    let mut replica = crate::replication::Replica::new(&plan, 1, 0, ());
    let stop = replica.run_until(ns(100.0));
    let Stop::Gridlock { at, stations } = stop else { panic!("{stop:?}") };
    // The ball of 1 s is taken; those of 2, 3 and 4 s fill the track with the spring of 3.5 s behind two of them; the
    // next ball stands at 5 s, the next spring at 7 s.
    assert_eq!(at, ns(7.0));
    let names: Vec<&str> = stations.iter().map(|s| plan.names.posts[s.ix()].as_str()).collect();
    assert!(names == ["S", "G", "B"], "{names:?}");
    assert!(replica.conserves_parts());
}

#[test]
fn what_can_not_work_is_said_before_a_run() {
    let said = |magazine: &str, holds: u32, more: &str| {
        let text = format!(
            r#"{FEEDER} {{"id": "G", "type": "magazine", {magazine}}},
            {{"id": "R", "type": "receiver", "holds": {holds}, "to": "out"}}"#
        );
        problems(&text, more).join("\n")
    };
    assert!(said(r#""recipe": {"R": 4}"#, 3, "").contains("gives 4 parts together to `R`, which holds 3"));
    assert!(said(r#""recipe": {"R": {"lane": 2}}"#, 3, "").contains("no feeding station or part"));
    assert!(said(r#""load": "1 s""#, 3, "").contains("which exit gets how many"));
    let models = r#", "models": {"list": {"x": 1, "y": 1}}"#;
    assert!(said(r#""recipes": {"x": {"R": 1}}"#, 3, models).contains("no recipe for the model `y`"));
    assert!(said(r#""recipes": {"z": {"R": 1}}"#, 3, "").contains("the line has no model `z`"));
}

#[test]
fn jams_lose_no_piece() {
    for when in ["start", "end", "after"] {
        let trial = Trial::new(
            &format!(
                r#"{FEEDER} {{"id": "G", "type": "magazine", "recipe": {{"R": 3}}, "load": "0.2 s", "release_time": "0.3 s",
                "jams": [{{"per_part": 0.3, "when": "{when}", "time": "1 s"}}]}},
                {{"id": "R", "type": "receiver", "holds": 3, "to": "M"}},
                {{"id": "M", "type": "machine", "cycle": "0.5 s", "to": "out", "inlets": [{{"from": "R", "parts": "the batch"}}]}}"#
            ),
            "",
        );
        let run = trial.run(0, 300.0);
        assert!(run.floor.observer.0.counts[trial.post("G").ix()].stops > 20, "{when}");
    }
}
