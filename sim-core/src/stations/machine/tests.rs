use crate::kernel::Note;
use crate::stations::trial::{Run, Trial, times};

/// A machine with these inlets that reads its nests while they are empty, and takes one for full at three looks in ten.
fn hasty(feeders: &[(&str, &str)], parts: u32) -> Trial {
    let feeder = |(id, time): &(&str, &str)| {
        format!(r#"{{"id": "{id}", "type": "work", "endless": true, "time": "{time}", "to": "m"}}, "#)
    };
    let inlet = |(id, _): &(&str, &str)| {
        format!(r#"{{"from": "{id}", "parts": {parts}, "nest": {{"capacity": {parts}}}}}"#)
    };
    let inlets: Vec<String> = feeders.iter().map(inlet).collect();
    let machine = format!(
        r#"{{"id": "m", "type": "machine", "cycle": "0.5 s", "to": "out", "inlets": [{}],
        "check": {{"again": "0.25 s", "false_full": 0.3, "reads_unloaded": true}}}}"#,
        inlets.join(", ")
    );
    Trial::new(&(feeders.iter().map(feeder).collect::<String>() + &machine), "")
}

/// Good and bad of the machine, strokes with a part missing, and parts that went on.
fn made(trial: &Trial, run: &Run<'_>) -> (usize, usize, usize, usize) {
    let (point, m) = (&run.floor.observer.0.points[0], trial.post("m"));
    let n = |note| times(run, m, note).len();
    (point.good as usize, point.bad as usize, n(Note::StrokeShort), n(Note::Left))
}

#[test]
fn a_stroke_without_any_part_counts_as_a_bad_assembly() {
    let two = hasty(&[("a", "2 s"), ("b", "2.3 s")], 1);
    let run = two.run(0, 3600.0);
    let (good, bad, short, left) = made(&two, &run);
    // A stroke may be under way at the end.
    assert!(bad == short || bad + 1 == short, "{bad} bad, {short} strokes with a part missing");
    assert!(left < good + bad, "strokes without any part were made");
}

#[test]
fn of_one_inlet_each_missing_part_counts_as_a_bad_one() {
    let one = hasty(&[("a", "2 s")], 1);
    let (good, bad, short, left) = made(&one, &one.run(0, 3600.0));
    assert!(short > 1000 && (bad == short || bad + 1 == short), "{bad} bad, {short} strokes");
    assert_eq!(left, good);
    let three = hasty(&[("a", "0.4 s")], 3);
    let run = three.run(0, 3600.0);
    let (good, bad, short, left) = made(&three, &run);
    assert_eq!(left, good);
    // Two strokes or fewer are under way or waiting: three parts, good or missing, come of each.
    let strokes = (good + bad) / 3;
    assert_eq!((good + bad) % 3, 0);
    assert!(short > 100 && bad >= short - 1 && strokes >= short, "{good} good, {bad} bad, {short} short");
}
