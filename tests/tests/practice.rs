//! Rates seen in practice: **common practice, no source**; check values only.
//!
//! For each sort of line a scenario of our own (`tests/data/practice`), with parameters inside the usual ranges, whose
//! note states how many lifts, paths and selectors are assumed. It reaches the rate; with the one parameter that limits
//! it moved (the list says which way) it does not. Parts, wording and numbers other than the rates are invented.
//!
//! Seed 1, as many shifts as the file says. Lines that reach their rate do so by 4 % or more, those that do not lack 10 %
//! or more and 5 % are asked for: ten standard deviations of the mean of the shifts at least, found on seeds 1 to 40.

use feedproof_tests::shifts::{Shifts, changed, sound};
use sim_core::diag::code;
use sim_core::kernel::State;
use sim_core::scenario;

macro_rules! line {
    ($name:literal) => {
        include_str!(concat!("../data/practice/", $name, ".json"))
    };
}

/// A sort of line, and the parameter that limits it.
struct Practice {
    text: &'static str,
    /// Good parts a minute.
    rate: f64,
    moved: Move,
}

/// One parameter moved.
struct Move {
    from: &'static str,
    to: &'static str,
    /// Which way.
    way: &'static str,
    /// Whether the reader knows the usual range that it leaves.
    leaves_a_known_range: bool,
}

/// A move out of a range that the reader warns of.
const fn out(from: &'static str, to: &'static str, way: &'static str) -> Move {
    Move { from, to, way, leaves_a_known_range: true }
}

/// A move of what has no usual range of its own for the reader.
const fn away(from: &'static str, to: &'static str, way: &'static str) -> Move {
    Move { from, to, way, leaves_a_known_range: false }
}

/// Runs as many shifts as the file says.
fn run(text: &str) -> Shifts {
    let shifts = sound(text).plan.replications;
    Shifts::run(text, 1, shifts)
}

/// Asserts both halves of the claim; gives back the line as it stands, and as moved.
fn reaches_and_then_does_not(line: &Practice) -> (Shifts, Shifts) {
    let problems = scenario::read(line.text).problems;
    assert!(problems.is_empty(), "all parameters are in their usual ranges: {problems:#?}");
    let usual = run(line.text);
    assert!(usual.rate() >= line.rate, "{} of {} a minute", usual.rate(), line.rate);

    let Move { from, to, way, leaves_a_known_range } = line.moved;
    let text = changed(line.text, from, to);
    let problems = scenario::read(&text).problems;
    let warned = problems.iter().any(|problem| problem.code == code::UNUSUAL_VALUE);
    assert_eq!(warned, leaves_a_known_range, "{way}: {problems:#?}");
    let moved = run(&text);
    assert!(moved.rate() < 0.95 * line.rate, "{way}: {} of {} a minute", moved.rate(), line.rate);
    (usual, moved)
}

/// Common practice, no source. One lift, two selectors; the time of a turn is raised.
#[test]
fn two_selectors_alternating_onto_one_track_70_a_minute() {
    reaches_and_then_does_not(&Practice {
        text: line!("pegs-two-selectors"),
        rate: 70.0,
        moved: out(
            r#""time_with_turn": "1.3 s""#,
            r#""time_with_turn": "2.6 s""#,
            "a turn slower than 0.7 to 1.6 s",
        ),
    });
}

/// Common practice, no source. Three lifts, three paths; the share accepted on one of them is lowered.
///
/// A stroke is never made with a part missing: a nest is read only when it is loaded. What is read unloaded can be.
#[test]
fn three_lines_meeting_at_an_assembly_90_strokes_a_minute() {
    let line = Practice {
        text: line!("bumpers-three-lines"),
        rate: 90.0,
        moved: away(
            r#""accepts": "42 %""#,
            r#""accepts": "12 %""#,
            "a share accepted below 15 to 60 %, of one part",
        ),
    };
    let (usual, moved) = reaches_and_then_does_not(&line);
    for shifts in [&usual, &moved] {
        assert_eq!(
            shifts.counted("press", |counts| counts.strokes_short),
            0,
            "no stroke with a part missing"
        );
        assert!(shifts.counted("press", |counts| counts.checks_failed) > 0, "presence is checked");
        assert_eq!(shifts.completed().1, 0, "no bad assembly");
    }
    let hasty = changed(line.text, r#""again": "0.2 s""#, r#""again": "0.2 s", "reads_unloaded": true"#);
    let hasty = run(&changed(&hasty, line.moved.from, line.moved.to));
    assert!(
        hasty.counted("press", |counts| counts.strokes_short) > 0,
        "a check of empty nests lets some through"
    );
}

/// Common practice, no source. One lift, four lanes; the time to load a piece is raised.
#[test]
fn batches_of_36_by_recipe_to_four_destinations_of_three_models() {
    let line = Practice {
        text: line!("candles-by-recipe"),
        rate: 5.5,
        moved: away(
            r#""load": "0.4 s""#,
            r#""load": "1.3 s""#,
            "a stroke for each piece slower than 0.25 to 1 s",
        ),
    };
    let (usual, moved) = reaches_and_then_does_not(&line);
    for shifts in [&usual, &moved] {
        let pieces = shifts.counted("gatherer", |counts| counts.took);
        let (batches, bad) = shifts.completed();
        assert_eq!(bad, 0);
        // One batch in the gatherer, one in the cartons and one in the packer may be under way at either end.
        let slack = 3 * 36 * shifts.tallies.len() as u64;
        assert!(pieces.abs_diff(36 * batches) <= slack, "{pieces} pieces in {batches} batches");
    }
}

/// Common practice, no source. One lift, one belt; what comes back is turned over less often.
#[test]
fn large_flat_stampings_turned_over_by_the_recirculation_70_a_minute() {
    reaches_and_then_does_not(&Practice {
        text: line!("lids-turned-over"),
        rate: 70.0,
        moved: away(
            r#"{ "rim up": 0.85, "rim down": 0.15 }"#,
            r#"{ "rim up": 0.25, "rim down": 0.75 }"#,
            "the return turns over fewer",
        ),
    });
}

/// Common practice, no source. One lift, two shuttles; the time to go across is raised.
#[test]
fn flat_caps_face_selected_side_to_side_160_a_minute() {
    let (usual, _) = reaches_and_then_does_not(&Practice {
        text: line!("caps-by-face"),
        rate: 160.0,
        moved: out(
            r#""other_side": "0.75 s""#,
            r#""other_side": "1.8 s""#,
            "going across slower than 0.7 to 1.6 s",
        ),
    });
    assert_eq!(usual.completed().1, 0, "all caps arrive right way round");
}

/// Common practice, no source. One lift, one path; the time to change the tooling is raised.
#[test]
fn headed_blanks_on_a_rail_120_a_minute_with_quick_tooling_change() {
    reaches_and_then_does_not(&Practice {
        text: line!("blanks-on-rail"),
        rate: 120.0,
        moved: out(
            r#""by": "attendant", "time": "8 min""#,
            r#""by": "attendant", "time": "60 min""#,
            "a tooling change longer than 5 to 45 min",
        ),
    });
}

/// Common practice, no source. One lift, two lanes with two gauges each; the lift is slowed down.
#[test]
fn two_sided_thickness_grading_by_rolling_discs_1000_a_minute() {
    let (usual, _) = reaches_and_then_does_not(&Practice {
        text: line!("discs-graded"),
        rate: 1000.0,
        moved: out(r#""cleats": "30 /min""#, r#""cleats": "12 /min""#, "fewer than 15 to 90 cleats a minute"),
    });
    for gap in ["upper gap 1", "upper gap 2", "lower gap 1", "lower gap 2"] {
        assert!(usual.counted(gap, |counts| counts.exits[1]) > 0, "{gap} takes some out");
    }
}

/// Common practice, no source. One lift, three paths; they are slowed down, or there are only two of them.
#[test]
fn rings_over_three_layers_500_a_minute() {
    let (text, rate) = (line!("rings-three-layers"), 500.0);
    let moved =
        out(r#""speed": "32 ft/min""#, r#""speed": "9 ft/min""#, "a path slower than 10 to 40 ft/min");
    reaches_and_then_does_not(&Practice { text, rate, moved });
    let moved = away(r#""count": 3"#, r#""count": 2"#, "two layers in place of three");
    reaches_and_then_does_not(&Practice { text, rate, moved });
}

/// Common practice, no source. One lift, two belts; they are slowed down.
#[test]
fn light_cups_of_three_sizes_200_to_400_a_minute() {
    let small = line!("cups-three-sizes");
    // Length; cycle of the filler, set with the size; rate.
    for (length, cycle, rate) in
        [("2 in", "0.14 s", 400.0), ("3 in", "0.19 s", 300.0), ("4 in", "0.28 s", 200.0)]
    {
        let text = changed(small, r#""length": "2 in""#, &format!(r#""length": "{length}""#));
        let text = changed(&text, r#""cycle": "0.14 s""#, &format!(r#""cycle": "{cycle}""#));
        reaches_and_then_does_not(&Practice {
            text: text.leak(),
            rate,
            moved: away(
                r#""speed": "100 ft/min""#,
                r#""speed": "18 ft/min""#,
                "belts slower than 20 to 120 ft/min",
            ),
        });
    }
}

/// Common practice, no source. One lift, two selectors, eight spindles; the time of a turn is raised.
#[test]
fn plates_from_one_feeder_to_eight_spindles_100_a_minute_in_all() {
    reaches_and_then_does_not(&Practice {
        text: line!("plates-eight-spindles"),
        rate: 100.0,
        moved: out(
            r#""time_with_turn": "1.3 s""#,
            r#""time_with_turn": "2.6 s""#,
            "a turn slower than 0.7 to 1.6 s",
        ),
    });
}

/// Common practice, no source. No lift, one dumper; the hauler comes later.
#[test]
fn tiny_parts_by_volume_6_cubic_feet_an_hour() {
    // 20,000 eyelets are a cubic foot.
    reaches_and_then_does_not(&Practice {
        text: line!("eyelets-by-volume"),
        rate: 6.0 * 20_000.0 / 60.0,
        moved: out(
            r#""lead": "8 min""#,
            r#""lead": "30 min""#,
            "a hauler later than 3 to 20 min after the call",
        ),
    });
}

/// Common practice, no source. One lift, one path, two fitters; one of them has to do it alone.
#[test]
fn tooling_change_in_under_10_minutes() {
    let text = line!("hinges-tooling-change");
    assert!(scenario::read(text).problems.is_empty(), "all parameters are in their usual ranges");
    let minutes = |shifts: &Shifts| 60.0 * shifts.share("press", State::Changeover) / 100.0;
    let usual = run(text);
    assert!((5.0..10.0).contains(&minutes(&usual)), "{} min", minutes(&usual));
    assert!(usual.rate() >= 20.0, "{} a minute", usual.rate());
    // One after the other: 14 min and what is around them; the mean of four shifts varies by 0.3 min.
    let alone = run(&changed(text, r#""number": 2"#, r#""number": 1"#));
    assert!(minutes(&alone) > 10.5, "{} min", minutes(&alone));
}

/// Common practice, no source. No lift, one selector; the index is slowed down.
///
/// Parts too heavy to recirculate are all accepted and then corrected.
#[test]
fn castings_of_20_lb_indexed_by_a_meter_conveyor() {
    let line = Practice {
        text: line!("castings-by-index"),
        rate: 12.0,
        moved: away(r#""index_time": "4 s""#, r#""index_time": "7 s""#, "a slower index"),
    };
    let (usual, _) = reaches_and_then_does_not(&line);
    let (took, passed) =
        (usual.counted("turner", |counts| counts.took), usual.counted("turner", |counts| counts.exits[0]));
    assert!(took - passed <= 2 * usual.tallies.len() as u64, "all accepted: {passed} of {took}");
    assert_eq!(usual.completed().1, 0, "all corrected");
    // Not corrected, 6 of 10 are the wrong way round: 9,300 castings, a standard error of 0.5 %; 48 lay on the tracks.
    let still = r#""corrects": ["flange down"], "turn_succeeds": 0"#;
    let (good, bad) = run(&changed(line.text, r#""corrects": ["flange down"]"#, still)).completed();
    let share = bad as f64 / (good + bad) as f64;
    assert!((share - 0.6).abs() < 0.03, "{share}");
}

/// Common practice, no source. One lift, four paths; fewer parts lie right.
///
/// A full path hands on to its neighbour: the first ones are always busy, the last one gets what is left.
#[test]
fn cascade_a_full_path_hands_on_to_its_neighbour() {
    let line = Practice {
        text: line!("studs-cascade"),
        rate: 180.0,
        moved: away(
            r#"{ "cap up": 0.4, "cap down": 0.6 }"#,
            r#"{ "cap up": 0.12, "cap down": 0.88 }"#,
            "a share accepted below 15 to 60 %",
        ),
    };
    reaches_and_then_does_not(&line);
    // A lift that brings less than four paths take, more than three: 3.5 of the 143 a minute that each does.
    let less = run(&changed(line.text, r#""trials": 20"#, r#""trials": 17"#));
    let took = |path: &str| less.counted(path, |counts| counts.took);
    assert!(took("path 1").abs_diff(took("path 2")) * 50 < took("path 1"), "both are always busy");
    assert!(took("path 3") * 100 > took("path 1") * 95, "{} {}", took("path 3"), took("path 1"));
    assert!(took("path 4") * 10 < took("path 1") * 7, "{} {}", took("path 4"), took("path 1"));
}

/// Common practice, no source. One lift, one path; what is rejected comes back as it first fell.
///
/// Rejected heavy parts that come back in a better attitude raise the share accepted on later passes.
#[test]
fn heavy_parts_that_come_back_in_a_better_attitude() {
    let line = Practice {
        text: line!("anvils-better-attitude"),
        rate: 15.0,
        moved: away(
            r#"{ "on the base": 0.6, "on the side": 0.4 }"#,
            r#"{ "on the base": 0.3, "on the side": 0.7 }"#,
            "no better attitude",
        ),
    };
    let (better, same) = reaches_and_then_does_not(&line);
    // Of those that came to a pass, the share that it accepted. 5,000 parts or more: a standard error of 0.7 % at most.
    let accepted = |shifts: &Shifts, pass: usize| {
        let passes = || shifts.tallies.iter().flat_map(|tally| &tally.points).map(|point| &point.passes);
        let on_it: u64 = passes().map(|passes| passes[pass]).sum();
        let came: u64 = passes().flat_map(|passes| &passes[pass..]).sum();
        on_it as f64 / came as f64
    };
    for (shifts, pass, share) in [(&better, 1, 0.3), (&better, 2, 0.6), (&same, 1, 0.3), (&same, 2, 0.3)] {
        let found = accepted(shifts, pass);
        assert!((found - share).abs() < 0.035, "pass {pass}: {found} for {share}");
    }
}
