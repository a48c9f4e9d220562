//! Timing of parts in file, to the nanosecond: flow, gaps, jams, blocking, overflow, spacing.

use crate::kernel::Note;
use crate::part::{Nanos, SECOND};
use crate::replication::Stop;
use crate::stations::bench_test::{Run, run};

/// 20 mm long: with 80 mm/s a part clears the entry in 0.25 s; 800 mm take 10 s.
const PART: &str = r#""pin": {"length": "20 mm"}"#;
const SPACING: Nanos = SECOND / 4;
const TRAVEL: Nanos = 10 * SECOND;

fn line(path: &str, after: &str) -> String {
    format!(
        r#"{{"id": "source", "type": "work", "endless": true, "time": "1 ms"}},
        {{"id": "path", "type": "orienting path", "speed": "80 mm/s", "live_length": "800 mm",
            "rejects_to": "scrap", {path}}},
        {after} {{"id": "scrap", "type": "scrap box"}}"#
    )
}

fn flow(path: &str, seconds: u64) -> Run {
    run(PART, &line(&format!(r#""to": "out", {path}"#), ""), "", seconds)
}

/// How much of the time from `from` on passes in the spans until `travel` of it has passed outside of them.
fn arrival(from: Nanos, travel: Nanos, spans: &[(Nanos, Nanos)]) -> Nanos {
    let mut at = from;
    let mut left = travel;
    for &(start, end) in spans {
        if end <= at {
            continue;
        }
        let moving = start.saturating_sub(at);
        if moving >= left {
            break;
        }
        left -= moving;
        at = end;
    }
    at.saturating_add(left)
}

#[test]
fn parts_enter_a_part_length_apart_and_travel_the_live_length() {
    let run = flow(r#""tools": []"#, 60);
    let (entries, exits) = (run.times("path", Note::Took), run.times("path", Note::Exit(0)));
    assert!(entries.windows(2).all(|pair| pair[1] - pair[0] == SPACING));
    assert_eq!(exits.len(), 200, "four a second, from the tenth second on");
    assert!(entries.iter().zip(&exits).all(|(entry, exit)| exit - entry == TRAVEL));
    let wider = flow(r#""tools": [], "gap": 2.0"#, 60);
    let entries = wider.times("path", Note::Took);
    assert!(entries.windows(2).all(|pair| pair[1] - pair[0] == 2 * SPACING));
}

#[test]
fn a_rejected_part_leaves_at_its_tool_and_its_gap_is_not_closed() {
    let run = flow(r#""tools": [{"id": "edge", "accepts": 0.5, "position": "200 mm"}]"#, 600);
    let entries = run.times("path", Note::Took);
    let (on, off) = (run.times("path", Note::Exit(0)), run.times("path", Note::Exit(1)));
    let is_entry = |at: &Nanos, travel: Nanos| entries.binary_search(&(at - travel)).is_ok();
    assert!(on.iter().all(|at| is_entry(at, TRAVEL)));
    assert!(off.iter().all(|at| is_entry(at, TRAVEL / 4)));
    assert!(on.windows(2).any(|pair| pair[1] - pair[0] > SPACING), "gaps stay");
    let n = (on.len() + off.len()) as f64;
    assert!((on.len() as f64 - n / 2.0).abs() < 5.0 * (n / 4.0).sqrt() + 30.0, "{} of {n}", on.len());
}

#[test]
fn delivered_rate_of_the_invented_part() {
    // Row O-05 of the check values (matrix technique: Boothroyd, Poli and Murch 1982; matrices invented): 2.324/s.
    let part = r#""rivet": {"length": "20 mm", "attitudes": {"a": 0.4, "b": 0.3, "c": 0.2, "d": 0.1}}"#;
    let tools = r#""to": "out", "tools": [
        {"id": "one", "passes": {"a": 1.0, "b": 0.2, "c": 0.5}, "turns": {"b": {"a": 0.6}}, "position": "300 mm"},
        {"id": "two", "passes": {"a": 0.95}, "turns": {"c": {"a": 0.3}}}]"#;
    let run = run(part, &line(tools, ""), "", 10_010);
    let n = run.times("path", Note::Exit(0)).len() as f64;
    let error = (40_000.0_f64 * 0.581 * 0.419).sqrt();
    assert!((n - 23_240.0).abs() < 5.0 * error, "{n}");
}

#[test]
fn a_jam_at_a_tool_keeps_what_is_upstream_and_lets_go_on_what_is_past_it() {
    let tools = r#""tools": [{"id": "slot", "position": "400 mm", "accepts": 1.0,
        "jams": [{"per_part": 0.02, "time": "7.3 s"}]}]"#;
    let run = flow(tools, 2000);
    let (entries, exits) = (run.times("path", Note::Took), run.times("path", Note::Exit(0)));
    let spans = run.stops("path");
    assert!(spans.len() > 50, "{}", spans.len());
    let mut n_past = 0;
    for (entry, exit) in entries.iter().zip(&exits) {
        // Half of the way is upstream of the tool. The part that jams stands at the tool.
        let at_tool = arrival(*entry, TRAVEL / 2, &spans);
        let jammed = spans.iter().find(|(start, _)| *start == at_tool);
        let past = jammed.map_or(at_tool, |(_, end)| *end);
        assert_eq!(*exit, past + TRAVEL / 2, "entered at {entry}");
        n_past += usize::from(spans.iter().any(|(start, end)| past < *start && exit > start && exit <= end));
    }
    assert!(n_past > 100, "many parts went on past a jam: {n_past}");
}

#[test]
fn a_stop_by_a_clock_keeps_everything() {
    for stop in [
        r#""jams": [{"every": {"law": "exponential", "mean": "60 s"}, "time": "7.3 s"}]"#,
        r#""breakdowns": [{"every": {"law": "exponential", "mean": "60 s"}, "clock": "wall", "time": "7.3 s"}]"#,
    ] {
        let tools = r#""tools": [{"id": "slot", "position": "400 mm", "accepts": 1.0}]"#;
        let run = flow(&format!("{tools}, {stop}"), 2000);
        let spans = run.stops("path");
        assert!(spans.len() > 10);
        let (entries, exits) = (run.times("path", Note::Took), run.times("path", Note::Exit(0)));
        for (entry, exit) in entries.iter().zip(&exits) {
            assert_eq!(*exit, arrival(*entry, TRAVEL, &spans), "entered at {entry}");
        }
    }
}

#[test]
fn a_jammed_part_may_be_taken_out() {
    let tools = r#""tools": [{"id": "slot", "position": "400 mm", "accepts": 1.0,
        "jams": [{"per_part": 0.02, "time": "3 s", "then": "rejects_to"}]}]"#;
    let run = flow(tools, 1000);
    let cleared: Vec<Nanos> =
        run.stops("path").iter().map(|(_, end)| *end).filter(|end| *end < Nanos::MAX).collect();
    assert!(cleared.len() > 20);
    assert_eq!(run.times("path", Note::Exit(1)), cleared);
}

/// Ruling 19: a jam ends in a named exit, and the way on is one.
#[test]
fn a_jammed_part_may_be_sent_on_past_the_tools() {
    let tools = r#""tools": [{"id": "slot", "position": "400 mm", "accepts": 0.0,
        "jams": [{"per_part": 0.02, "time": "3 s", "then": "to"}]}]"#;
    let run = flow(tools, 1000);
    let cleared: Vec<Nanos> =
        run.stops("path").iter().map(|(_, end)| *end).filter(|end| *end < Nanos::MAX).collect();
    assert!(cleared.len() > 20);
    assert_eq!(run.times("path", Note::Exit(0)), cleared);
}

#[test]
fn a_path_whose_way_on_is_full_stands_as_a_whole() {
    let after = r#"{"id": "press", "type": "work", "time": "1 s", "to": "out"},"#;
    let run = run(PART, &line(r#""to": "press", "tools": []"#, after), "", 200);
    let (entries, exits) = (run.times("path", Note::Took), run.times("path", Note::Exit(0)));
    // The press takes a part a second; the path moves a part length, then stands for 0.75 s until the part at
    // its end has been taken. A part sees 39 others off before it: 10 s of travel and 39 such stops.
    let late: Vec<(&Nanos, &Nanos)> = entries.iter().zip(&exits).skip(80).collect();
    assert!(late.len() > 60);
    assert!(late.iter().all(|(entry, exit)| **exit - **entry == 157 * SPACING), "{late:?}");
    assert!(late.windows(2).all(|pair| pair[1].1 - pair[0].1 == SECOND));
}

#[test]
fn a_reject_exit_without_room_stops_the_path_too() {
    let after = r#"{"id": "press", "type": "work", "time": "1 s", "to": "out"},"#;
    let tools = r#""to": "out", "tools": [
        {"id": "all off", "accepts": 0.0, "to": "press", "position": "400 mm"}]"#;
    let run = run(PART, &line(tools, after), "", 200);
    let (entries, exits) = (run.times("path", Note::Took), run.times("path", Note::Exit(2)));
    // As before, with 5 s of travel and 19 stops.
    let late: Vec<(&Nanos, &Nanos)> = entries.iter().zip(&exits).skip(60).collect();
    assert!(late.len() > 60);
    assert!(late.iter().all(|(entry, exit)| **exit - **entry == 77 * SPACING), "{late:?}");
}

#[test]
fn surplus_falls_off_and_the_path_runs_on() {
    let after = r#"{"id": "rail", "type": "track", "capacity": 1, "to": "press"},
        {"id": "press", "type": "work", "time": "1 s", "to": "out"},"#;
    let path = r#""to": "rail", "overflow_to": "scrap", "tools": []"#;
    let run = run(PART, &line(path, after), "", 300);
    let entries = run.times("path", Note::Took);
    let (on, over) = (run.times("path", Note::Exit(0)), run.times("path", Note::Exit(2)));
    let mut all: Vec<Nanos> = on.iter().chain(&over).copied().collect();
    all.sort_unstable();
    assert!(entries.iter().zip(&all).all(|(entry, exit)| exit - entry == TRAVEL), "it never stands");
    assert!(on.len().abs_diff(290) <= 2, "one a second goes on: {}", on.len());
    assert!(over.len().abs_diff(870) <= 2, "{}", over.len());
}

#[test]
fn a_sensed_tool_rejects_what_comes_too_close_or_lets_it_pass() {
    let tool = |more: &str| {
        format!(r#""tools": [{{"id": "eye", "accepts": 1.0, "position": "400 mm", "sensed": {{{more}}}}}]"#)
    };
    // Parts come 20 mm, 0.25 s apart.
    for (more, on, off) in [
        (r#""least_spacing": "20 mm""#, 40, 0),
        (r#""least_spacing": "0.25 s""#, 40, 0),
        (r#""least_spacing": "24 mm""#, 1, 59),
        (r#""least_spacing": "0.3 s", "too_close": "passes""#, 40, 0),
        (r#""reaction": "0.3 s""#, 1, 59),
    ] {
        let run = flow(&tool(more), 20);
        let counts = (run.times("path", Note::Exit(0)).len(), run.times("path", Note::Exit(1)).len());
        assert_eq!(counts, (on, off), "{more}");
    }
    // A part that an earlier tool has taken out is not the one before.
    let two = r#""tools": [{"id": "edge", "accepts": 0.5, "position": "100 mm"},
        {"id": "eye", "accepts": 1.0, "position": "400 mm", "sensed": {"least_spacing": "24 mm"}, "to": "press"}]"#;
    let after = r#"{"id": "press", "type": "scrap box"},"#;
    let run = run(PART, &line(&format!(r#""to": "out", {two}"#), after), "", 2000);
    let (on, off) = (run.times("path", Note::Exit(0)), run.times("path", Note::Exit(2)));
    assert!(on.windows(2).all(|pair| pair[1] - pair[0] >= 2 * SPACING));
    // Of the parts that the edge lets pass, half have another one directly before them.
    let n = (on.len() + off.len()) as f64;
    assert!((off.len() as f64 - n / 2.0).abs() < 5.0 * (n / 4.0).sqrt() + 30.0, "{} of {n}", off.len());
}

#[test]
fn standing_does_not_count_as_spacing() {
    // The path stands for most of every second; the sensed tool still sees parts 20 mm apart.
    let after = r#"{"id": "press", "type": "work", "time": "1 s", "to": "out"},"#;
    let tools = r#""to": "press", "tools": [
        {"id": "eye", "accepts": 1.0, "position": "400 mm", "sensed": {"least_spacing": "24 mm"}}]"#;
    let run = run(PART, &line(tools, after), "", 300);
    assert_eq!(run.times("path", Note::Exit(0)).len(), 1);
    assert!(run.times("path", Note::Exit(1)).len() > 1000);
}

#[test]
fn parts_past_a_jam_wait_for_room_and_leave_when_there_is_some() {
    let after = r#"{"id": "press", "type": "work", "time": "1 s", "to": "out"},"#;
    let tools = r#""to": "press", "tools": [{"id": "slot", "position": "400 mm", "accepts": 1.0,
        "jams": [{"per_part": 0.003, "time": "100 s"}]}]"#;
    let run = run(PART, &line(tools, after), "", 9000);
    let exits = run.times("path", Note::Exit(0));
    let spans = run.stops("path");
    assert!(spans.len() > 5, "{spans:?}");
    for (start, end) in spans.iter().filter(|(_, end)| *end < Nanos::MAX) {
        let during: Vec<Nanos> = exits.iter().copied().filter(|at| at > start && at < end).collect();
        // Between the part at the tool and the one at the end are nineteen; fewer shortly after another jam.
        assert!(during.len() <= 20, "{}", during.len());
        let gap_before = spans.iter().all(|(_, other)| other > start || start - other > 90 * SECOND);
        if gap_before && *start > 100 * SECOND {
            // The press was busy all the time, so it takes a part a second.
            assert!(during.windows(2).all(|pair| pair[1] - pair[0] == SECOND));
            assert!(during.len() >= 19, "{during:?} from {start}");
        }
    }
}

#[test]
fn a_break_lets_parts_under_way_go_on_and_takes_nothing() {
    let more = r#", "plan": {"breaks": [{"at": "50 s", "for": "100 s", "of": ["path"]}]}"#;
    let run = run(PART, &line(r#""to": "out", "tools": []"#, ""), more, 300);
    let (entries, exits) = (run.times("path", Note::Took), run.times("path", Note::Exit(0)));
    assert!(entries.iter().zip(&exits).all(|(entry, exit)| exit - entry == TRAVEL));
    let pause = (50 * SECOND, 150 * SECOND);
    assert!(!entries.iter().any(|at| *at > pause.0 && *at < pause.1));
    assert!(entries.iter().any(|at| *at >= pause.1));
}

#[test]
fn rejects_that_fill_their_own_way_back_lock_the_line_and_it_is_found() {
    let stations = r#"{"id": "source", "type": "work", "endless": true, "time": "1 ms"},
        {"id": "path", "type": "orienting path", "speed": "80 mm/s", "live_length": "800 mm", "to": "out",
            "rejects_to": "belt", "tools": [{"id": "edge", "accepts": 0.5}]},
        {"id": "belt", "type": "recirculation belt", "capacity": 3, "to": "path"}"#;
    let stations = stations.replacen(
        r#""live_length": "800 mm", "#,
        r#""live_length": "800 mm", "priority": ["source", "belt"], "#,
        1,
    );
    let run = run(PART, &stations, "", 20_000);
    assert!(matches!(run.stop, Stop::Gridlock { .. }), "{:?}", run.stop);
}

#[test]
fn a_surplus_part_without_room_takes_whatever_opens_first() {
    // The way on opens every second, the overflow belt every ten; both paths share the overflow belt.
    for motion in [r#""speed": "80 mm/s", "live_length": "800 mm""#, r#""pass": "0.25 s""#] {
        let stations = format!(
            r#"{{"id": "source", "type": "work", "endless": true, "time": "1 ms"}},
            {{"id": "path", "type": "orienting path", {motion}, "to": "rail", "overflow_to": "chute"}},
            {{"id": "rail", "type": "track", "capacity": 1, "to": "press"}},
            {{"id": "press", "type": "work", "time": "1 s", "to": "out"}},
            {{"id": "other", "type": "work", "endless": true, "time": "1 ms", "to": "chute"}},
            {{"id": "chute", "type": "track", "capacity": 1, "to": "slow"}},
            {{"id": "slow", "type": "work", "time": "10 s", "to": "out"}}"#
        );
        let run = run(PART, &stations, "", 1000);
        let on = run.times("path", Note::Exit(0)).len();
        let (over, other) = (run.times("path", Note::Exit(1)).len(), run.times("other", Note::Exit(0)).len());
        assert!(on > 970, "the press never starves: {on}");
        assert!(over + other > 95, "the slow one never starves: {over} {other}");
        assert!(other > 40, "room is not kept for a part that has gone: {over} {other}");
    }
}
