//! Tests of the robot and of shared reaches: each named after a sentence of their documentation.

use crate::kernel::{Note, State};
use crate::stations::trial::{Trial, problems, states, times};

fn pair(spacing: &str, robot: &str) -> Trial {
    let text = format!(
        r#"{{"id": "F1", "type": "stream", "spacing": "1 s", "to": "left"}},
        {{"id": "F2", "type": "stream", "spacing": "{spacing}", "to": "right"}},
        {{"id": "left", "type": "track", "capacity": 50, "to": "R"}}, {{"id": "right", "type": "track", "capacity": 50, "to": "R"}},
        {{"id": "R", "type": "robot", "fetches": [{{"from": "left", "time": "1 s"}}, {{"from": "right", "time": "1.5 s"}}],
          "set_down": "0.5 s", {robot} "to": "out"}}"#
    );
    Trial::new(&text, "")
}

#[test]
fn one_of_each_is_fetched_and_a_pair_set_down() {
    let trial = pair("1 s", "");
    let run = trial.run(0, 13.0);
    // Parts are there from 1 s on; a pair every 3 s.
    assert_eq!(times(&run, trial.post("R"), Note::Took), [1.0, 2.0, 4.0, 5.0, 7.0, 8.0, 10.0, 11.0, 13.0]);
    assert_eq!(times(&run, trial.post("R"), Note::Exit(0)), [4.0, 7.0, 10.0, 13.0]);
    assert_eq!(trial.traffic("R").0[0], 3.0);
}

#[test]
fn as_listed_it_waits_for_the_one_whose_turn_it_is() {
    let trial = pair("5 s", "");
    let run = trial.run(0, 26.0);
    // It fetches the left one ahead, and waits with it for the right one.
    assert_eq!(times(&run, trial.post("R"), Note::Exit(0)), [7.0, 12.0, 17.0, 22.0]);
    let starved = states(&run, trial.post("R"));
    assert!(
        starved.contains(&(2.0, State::Starved)) && starved.contains(&(8.0, State::Starved)),
        "{starved:?}"
    );
}

#[test]
fn whichever_is_there_is_fetched_first_where_the_file_says_so() {
    let text = |order: &str| {
        format!(
            r#"{{"id": "F1", "type": "stream", "spacing": "4 s", "to": "left"}},
            {{"id": "F2", "type": "stream", "spacing": "1 s", "to": "right"}},
            {{"id": "left", "type": "track", "capacity": 50, "to": "R"}}, {{"id": "right", "type": "track", "capacity": 50, "to": "R"}},
            {{"id": "R", "type": "robot", "order": "{order}", "to": "out",
              "fetches": [{{"from": "left", "time": "1 s"}}, {{"from": "right", "time": "1.5 s"}}]}}"#
        )
    };
    let first = |order: &str| {
        let trial = Trial::new(&text(order), "");
        times(&trial.run(0, 20.0), trial.post("R"), Note::Exit(0))[0]
    };
    // The right one is fetched at 1 s already; the left one comes at 4 s.
    assert_eq!((first("whichever is there"), first("as listed")), (5.0, 6.5));
}

#[test]
fn an_assembly_is_what_its_first_listed_part_is_whichever_came_first() {
    let text = r#"{"id": "F1", "type": "stream", "spacing": "4 s", "part": "body", "to": "left"},
        {"id": "F2", "type": "stream", "spacing": "1 s", "part": "lid", "to": "right"},
        {"id": "left", "type": "track", "capacity": 50, "to": "R"}, {"id": "right", "type": "track", "capacity": 50, "to": "R"},
        {"id": "R", "type": "robot", "order": "whichever is there", "to": "P",
          "fetches": [{"from": "left", "time": "1 s"}, {"from": "right", "time": "1.5 s"}]},
        {"id": "P", "type": "orienting path", "pass": "0.1 s", "rejects_to": "out", "to": "out",
          "tools": [{"id": "lids", "by_part": {"lid": {"accepts": 0}}}]}"#;
    let trial = Trial::new(text, r#", "parts": {"body": {}, "lid": {}}"#);
    let run = trial.run(0, 41.0);
    // Lids are there first: were it one of these, the path would reject it.
    assert!(times(&run, trial.post("P"), Note::Exit(1)).is_empty());
    assert!(times(&run, trial.post("P"), Note::Exit(0)).len() >= 8);
}

#[test]
fn only_one_of_those_that_share_a_reach_is_at_work() {
    let text = r#"{"id": "F", "type": "work", "count": 3, "endless": true, "time": "0.1 s"},
        {"id": "T", "type": "track", "count": 3, "capacity": 5},
        {"id": "M", "type": "machine", "count": 3, "cycle": {"law": "exponential", "mean": "1 s"}, "reach": "arm", "to": "out"}"#;
    let trial = Trial::new(text, "");
    let mut run = trial.start(0);
    let machines = [trial.post("M 1"), trial.post("M 2"), trial.post("M 3")];
    for step in 1..2000 {
        crate::stations::trial::go(&mut run, f64::from(step) * 0.7);
        let working = machines.iter().filter(|m| run.floor.state(**m) == State::Working).count();
        let held = machines.iter().filter(|m| run.floor.state(**m) == State::Held).count();
        assert_eq!((working, held), (1, 2), "at {step}");
    }
    // In order of coming: they take turns.
    let each: Vec<usize> = machines.iter().map(|m| times(&run, *m, Note::Took).len()).collect();
    assert!(each.iter().max().unwrap() - each.iter().min().unwrap() <= 1, "{each:?}");
}

#[test]
fn a_reach_is_given_back_between_the_moves_of_a_robot() {
    let text = r#"{"id": "F", "type": "work", "count": 2, "endless": true, "time": "0.1 s", "to": "R"},
        {"id": "G", "type": "stream", "spacing": "4 s", "to": "S"},
        {"id": "R", "type": "robot", "fetches": [{"from": "F", "time": "1 s"}], "reach": "arm", "to": "out"},
        {"id": "S", "type": "robot", "fetches": [{"from": "G", "time": "1 s"}], "reach": "arm", "set_down": "1 s", "to": "out"}"#;
    let trial = Trial::new(text, "");
    let run = trial.run(0, 40.0);
    // S has 2 s of each 4 s, with R in between; the fetch of S waits for R, 0.1 s after each full second.
    assert_eq!(times(&run, trial.post("S"), Note::Took)[..2], [4.1, 8.1]);
    assert_eq!(times(&run, trial.post("S"), Note::Exit(0))[..2], [7.1, 11.1]);
    let r = times(&run, trial.post("R"), Note::Took).len();
    assert!((21..=24).contains(&r), "{r}");
}

#[test]
fn jams_lose_no_part_and_keep_the_reach() {
    for when in ["start", "end", "after"] {
        let jams = format!(r#""jams": [{{"per_part": 0.3, "when": "{when}", "time": "4 s"}}],"#);
        let trial = pair("1 s", &jams);
        let run = trial.run(0, 300.0);
        assert!(run.floor.observer.0.counts[trial.post("R").ix()].stops > 10, "{when}");
    }
}

#[test]
fn a_reach_that_nobody_else_shares_is_a_slip() {
    let said = problems(
        r#"{"id": "F", "type": "work", "endless": true, "time": "0.1 s"},
        {"id": "M", "type": "machine", "cycle": "1 s", "reach": "amr"}"#,
        "",
    );
    assert!(
        said.iter().any(|problem| problem.contains("no other station shares the reach `amr`")),
        "{said:?}"
    );
}
