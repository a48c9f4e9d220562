use crate::kernel::{Note, State};
use crate::stations::trial::{Trial, go, levels, problems, states, times};

/// A bin, a bath and a bin; a station that takes out of the second bin so seldom that it does not matter.
fn bulk(bath: &str, content: u32, room: u32) -> String {
    format!(
        r#"{{"id": "bin", "type": "bin", "content": {content}}},
        {{"id": "bath", "type": "bath", {bath}}},
        {{"id": "dry", "type": "bin", "capacity": {room}}},
        {{"id": "use", "type": "work", "time": "1000 s"}}"#
    )
}

const PRIMED: &str = r#", "plan": {"start": "primed"}"#;

#[test]
fn portions_go_in_at_the_rate_and_come_out_after_the_residence() {
    let trial =
        Trial::new(&bulk(r#""residence": "60 s", "rate": "150 /min", "portion": "4 s""#, 35, 1000), PRIMED);
    let run = trial.run(0, 100.0);
    // Ten parts at 4, 8, 12 s, the last five at 16 s; each a minute later in the bin. The first one is taken out.
    assert_eq!(levels(&run, trial.place("bin"))[..], [(0.0, 35), (4.0, 25), (8.0, 15), (12.0, 5), (16.0, 0)]);
    assert_eq!(
        levels(&run, trial.place("dry"))[..],
        [(64.0, 10), (64.0, 9), (68.0, 19), (72.0, 29), (76.0, 34)]
    );
    assert_eq!(states(&run, trial.post("bath")), [(4.0, State::Working), (76.0, State::Starved)]);
    let (seconds, _) = trial.traffic("bath");
    assert!((seconds[0] - 0.4).abs() < 1e-12);
}

#[test]
fn a_fraction_of_a_part_is_carried_on() {
    let trial =
        Trial::new(&bulk(r#""residence": "1 s", "rate": "70 /min", "portion": "1 s""#, 1000, 1000), PRIMED);
    let run = trial.run(0, 60.0);
    let (left, gone) = (run.floor.place(trial.place("bin")).len(), 70);
    assert!(left.abs_diff(1000 - gone) <= 1, "{left}");
}

#[test]
fn what_does_not_fit_is_not_taken_and_what_finds_no_room_stays() {
    // Capacity 20 by a residence of 60 s: twenty parts a minute, though the rate is 150.
    let spec = r#""residence": "60 s", "rate": "150 /min", "portion": "4 s", "capacity": 20"#;
    let trial = Trial::new(&bulk(spec, 500, 1000), PRIMED);
    let run = trial.run(0, 240.0);
    // Ten go in at 4 and 8 s, out at 64 and 68 s (at equal times they leave before the next ones are taken).
    let into: Vec<(f64, u32)> = levels(&run, trial.place("bin"))[1..].to_vec();
    assert_eq!(into[..4], [(4.0, 490), (8.0, 480), (64.0, 470), (68.0, 460)]);
    let (seconds, _) = trial.traffic("bath");
    assert!((seconds[0] - 3.0).abs() < 1e-12);
    // A bin beyond for 15 parts: the second portion waits.
    let trial = Trial::new(&bulk(spec, 500, 15), PRIMED);
    let run = trial.run(0, 240.0);
    assert_eq!(levels(&run, trial.place("dry"))[..], [(64.0, 10), (64.0, 9)]);
    assert_eq!(states(&run, trial.post("bath"))[1], (68.0, State::Blocked));
}

#[test]
fn a_flow_through_bath_keeps_its_content() {
    let spec = r#""residence": "flow-through", "rate": "60 /min", "portion": "5 s", "capacity": 100"#;
    let trial = Trial::new(&bulk(spec, 1000, 1000), PRIMED);
    let run = trial.run(0, 201.0);
    // 200 parts have gone in, 100 of them are still inside: residence = content / flow = 100 s.
    let out: Vec<(f64, u32)> = levels(&run, trial.place("dry"));
    assert_eq!(out[0], (105.0, 5));
    assert_eq!(run.floor.place(trial.place("dry")).len(), 99);
    assert_eq!(run.stations[trial.post("bath").ix()].content(), 100);
}

/// Parts in a minute that an ample supply, a bath and an ample machine deliver in the long run.
fn through(source: &str, bath: &str, cycle: &str, target: f64) {
    let trial = Trial::new(
        &format!(
            r#"{source}, {{"id": "bath", "type": "bath", "residence": "flow-through", "capacity": 50, {bath}}},
            {{"id": "dry", "type": "track", "capacity": 40}},
            {{"id": "use", "type": "work", "time": "{cycle}", "to": "out"}}"#
        ),
        PRIMED,
    );
    let left = times(&trial.run(0, 3600.0), trial.post("use"), Note::Left);
    let per_min = left.iter().filter(|at| **at > 600.0).count() as f64 / 50.0;
    assert!((per_min - target).abs() < 0.02 * target, "{source} {bath}: {per_min}, {target} expected");
}

/// rate x time in the long run, from a bin and part by part, also where a portion is larger than the bath; and what
/// is made of them beyond, if that is less.
#[test]
fn a_flow_through_bath_takes_what_comes_up_to_its_rate() {
    let bin = r#"{"id": "bin", "type": "bin", "content": 100000}"#;
    let track = r#"{"id": "come", "type": "work", "endless": true, "time": "0.05 s"},
        {"id": "wet", "type": "track", "capacity": 400}"#;
    for source in [bin, track] {
        through(source, r#""rate": "60 /min", "portion": "20 s""#, "0.2 s", 60.0);
        through(source, r#""rate": "60 /min""#, "0.2 s", 60.0);
        through(source, r#""rate": "600 /min""#, "0.2 s", 300.0);
        through(source, r#""rate": "240 /min", "portion": "20 s""#, "0.2 s", 240.0);
    }
    // Without a rate it takes part after part, and no more than find room beyond.
    through(track, r#""part": "part""#, "0.2 s", 300.0);
    // What comes is less: it all goes through.
    let slow = r#"{"id": "come", "type": "work", "endless": true, "time": "2 s"}, {"id": "wet", "type": "track", "capacity": 40}"#;
    through(slow, r#""rate": "60 /min""#, "0.2 s", 30.0);
}

/// Counts by condition are kept: what comes out is what went in.
#[test]
fn counts_by_condition_are_kept_and_parts_are_counted_as_they_leave() {
    let parts = r#", "parts": {"tack": {"conditions": {"bent": 0.2}}}, "plan": {"start": "primed"}"#;
    let stations = r#"{"id": "bin", "type": "bin", "content": 400},
        {"id": "bath", "type": "bath", "residence": "10 s", "to": "wet"},
        {"id": "wet", "type": "bin"},
        {"id": "tunnel", "type": "tunnel", "residence": "20 s", "rate": "600 /min", "to": "out"}"#;
    let trial = Trial::new(stations, parts);
    let mut run = trial.start(0);
    go(&mut run, 0.0);
    let (_, counts) = run.floor.place(trial.place("bin")).counts().expect("a bin");
    // All of them went in at once.
    assert_eq!(counts.iter().sum::<u32>(), 0);
    go(&mut run, 200.0);
    let point = &run.floor.observer.0.points[0];
    assert_eq!((point.good + point.bad, run.floor.flow()), (400, (400, 400, 0)));
    // 80 bent parts on the mean, standard deviation 8.
    assert!(point.bad.abs_diff(80) < 40, "{}", point.bad);
    assert_eq!(point.n_timed, 0, "no single pieces: no time in the line");
    // 50 parts every five seconds, from 15 s on: into the tunnel until 50 s, the last ones out at 70 s.
    assert_eq!(times(&run, trial.post("tunnel"), Note::Left).last(), Some(&70.0));
}

#[test]
fn single_parts_stay_for_their_own_time() {
    let line = |order: &str| {
        format!(
            r#"{{"id": "come", "type": "stream", "spacing": "10 s"}},
            {{"id": "oven", "type": "tunnel", "order": "{order}", "capacity": 4,
              "residence": {{"law": "observed", "values": ["5 s", "25 s"]}}, "to": "out"}}"#
        )
    };
    let trial = Trial::new(&line("as ready"), "");
    let run = trial.run(3, 300.0);
    let (took, left) =
        (times(&run, trial.post("oven"), Note::Took), times(&run, trial.post("oven"), Note::Left));
    assert_eq!(took[..3], [10.0, 20.0, 30.0]);
    // Each leaves 5 or 25 s after it came: never at a multiple of ten.
    assert!(left.iter().all(|at| at % 10.0 == 5.0), "{left:?}");
    let trial = Trial::new(&line("in order"), "");
    let run = trial.run(3, 300.0);
    let in_order = times(&run, trial.post("oven"), Note::Left);
    assert!(in_order.windows(2).all(|pair| pair[0] <= pair[1]));
    assert!(in_order.len() <= left.len());
}

#[test]
fn parts_in_bulk_are_singled_out_on_a_track() {
    let stations = r#"{"id": "bin", "type": "bin", "content": 12},
        {"id": "bath", "type": "bath", "residence": "10 s"},
        {"id": "track", "type": "track", "capacity": 5},
        {"id": "use", "type": "work", "time": "2 s"}"#;
    let trial = Trial::new(stations, PRIMED.replace("primed", "empty").as_str());
    assert!(trial.run(0, 10.0).floor.flow().0 == 0, "an empty start has no parts");
    let trial = Trial::new(stations, r#", "plan": {"start_at": {"bin": "primed"}}"#);
    let run = trial.run(0, 100.0);
    let used = times(&run, trial.post("use"), Note::Left);
    assert_eq!((used.first(), used.last(), used.len()), (Some(&12.0), Some(&34.0), 12));
}

#[test]
fn what_makes_no_sense_is_refused() {
    assert!(!problems(&bulk(r#""residence": "flow-through""#, 10, 10), PRIMED).is_empty());
    assert!(!problems(&bulk(r#""residence": "5 s", "rate": "9 L/h""#, 10, 10), PRIMED).is_empty());
    assert!(!problems(&bulk(r#""residence": "5 s", "capacity": 0"#, 10, 10), PRIMED).is_empty());
}

#[test]
fn what_takes_without_limit_is_not_put_to_a_bin_that_never_runs_out() {
    let found = |bath: &str| {
        let line = format!(
            r#"{{"id": "bin", "type": "bin", "endless": true}}, {{"id": "bath", "type": "bath", {bath}}}"#
        );
        problems(&line, "").join(" ")
    };
    assert!(found(r#""residence": "9 s""#).contains("never runs out"));
    assert!(found(r#""residence": "flow-through", "capacity": 9"#).contains("never runs out"));
    assert_eq!(found(r#""residence": "9 s", "capacity": 9"#), "");
    assert_eq!(found(r#""residence": "9 s", "rate": "60 /min""#), "");
}
