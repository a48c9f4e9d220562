//! What an orienting path tells the balance, and what is wrong with a file.

use crate::kernel::Note;
use crate::stations::bench::Routes;
use crate::stations::bench_test::{problems, run, traffic};
use crate::stations::tooling::tests::entry_flow;

const SOURCE: &str = r#"{"id": "source", "type": "work", "endless": true, "time": "1 ms"}"#;
const SCRAP: &str = r#"{"id": "scrap", "type": "scrap box"}"#;

/// The invented part of rows O-04 to O-09 of the check values, 20 mm long.
const INVENTED: &str =
    r#""rivet": {"length": "20 mm", "attitudes": {"a": 0.4, "b": 0.3, "c": 0.2, "d": 0.1}}"#;
/// Its two tooled steps.
const STEPS: &str = r#""tools": [
    {"id": "one", "passes": {"a": 1.0, "b": 0.2, "c": 0.5}, "turns": {"b": {"a": 0.6}}},
    {"id": "two", "passes": {"a": 0.95}, "turns": {"c": {"a": 0.3}}}]"#;

fn path(more: &str) -> String {
    format!(
        r#"{SOURCE}, {{"id": "path", "type": "orienting path", "to": "out", "rejects_to": "scrap", {more}}}, {SCRAP}"#
    )
}

fn invented(more: &str) -> (Routes, Vec<f64>) {
    traffic(INVENTED, &path(&format!(r#"{STEPS}, {more}"#)), "path")
}

const FRESH: [f64; 4] = [0.4, 0.3, 0.2, 0.1];

fn accepted(routes: &[Vec<(u8, usize, f64)>], shares: &[f64]) -> f64 {
    let on = |rows: &Vec<(u8, usize, f64)>| -> f64 {
        rows.iter().filter(|(exit, ..)| *exit == 0).map(|(.., share)| share).sum()
    };
    routes.iter().zip(shares).map(|(rows, share)| on(rows) * share).sum()
}

#[test]
fn passes_of_parts_without_attitudes_are_geometric() {
    // Rows O-01, O-02 and O-03 of the check values (geometric law): p = 0.35.
    let tools = r#""pass": "1 s", "tools": [{"id": "edge", "accepts": 0.35}]"#;
    let (routes, seconds) = traffic(r#""part": {}"#, &path(tools), "path");
    assert_eq!(seconds, [1.0]);
    let p = accepted(&routes, &[1.0]);
    let mean: f64 = entry_flow(&routes, 1, &[1.0]).iter().sum();
    assert!((mean - 2.857_142_857).abs() < 1e-9, "{mean}");
    assert!(((1.0 - p) / (p * p) - 5.306_122_449).abs() < 1e-9);
    let passes = (1..).find(|n| 1.0 - (1.0 - p).powi(*n) >= 0.99);
    assert_eq!(passes, Some(11));
}

/// What jams at a tool and is sent on leaves as it lies there, past the other tools (ruling 19).
#[test]
fn a_single_part_that_jams_may_be_sent_on_past_the_tools() {
    let tools = r#""pass": "1 s", "tools": [{"id": "wall", "accepts": 0,
        "jams": [{"per_part": 0.1, "time": "1 s", "then": "to"}]}]"#;
    let run = run(r#""part": {}"#, &path(tools), "", 2000);
    let n = |exit| run.times("path", Note::Exit(exit)).len();
    assert!(n(0) > 100 && n(0).abs_diff(run.stops("path").len()) <= 1, "{} on, {} off", n(0), n(1));
}

#[test]
fn delivered_rate_is_speed_times_efficiency_over_length() {
    // Rows O-04, O-05 and O-06 of the check values (matrix technique: Boothroyd, Poli and Murch 1982; Boothroyd
    // 2005; matrices invented): efficiency 0.581, and 2.324 and 2.596648045 parts per second.
    let (routes, seconds) = invented(r#""speed": "80 mm/s", "live_length": "800 mm""#);
    let efficiency = accepted(&routes, &FRESH);
    assert!((efficiency - 0.581).abs() < 1e-12, "{efficiency}");
    let mean = |seconds: &[f64]| -> f64 { seconds.iter().zip(FRESH).map(|(s, share)| s * share).sum() };
    assert!((efficiency / mean(&seconds) - 2.324).abs() < 1e-9);
    let (_, seconds) =
        invented(r#""speed": "80 mm/s", "live_length": "800 mm", "lengths": {"c": "12 mm", "d": "15 mm"}"#);
    assert!((efficiency / mean(&seconds) - 2.596_648_045).abs() < 1e-9);
}

#[test]
fn a_loop_with_memory_takes_more_passes() {
    // Rows O-07, O-08 and O-09 of the check values (Kemeny and Snell 1960; matrices invented).
    let passes =
        |rule: &str| entry_flow(&invented(&format!(r#""pass": "1 s", "comes_back": {rule}"#)).0, 1, &FRESH);
    let remixed: f64 = passes(r#""remixed""#).iter().sum();
    assert!((remixed - 1.721_170_396).abs() < 1e-9, "{remixed}");
    let kept = passes(r#"{"keeps": 0.7}"#);
    let all: f64 = kept.iter().sum();
    assert!((all - 2.345_084_063).abs() < 1e-9, "{all}");
    assert!((kept[3] / all - 0.199_498_920_7).abs() < 1e-10, "{}", kept[3] / all);
    // The same rule written as a list by attitude.
    let rows = r#"{"by_attitude": {
        "a": {"a": 0.82, "b": 0.09, "c": 0.06, "d": 0.03}, "b": {"a": 0.12, "b": 0.79, "c": 0.06, "d": 0.03},
        "c": {"a": 0.12, "b": 0.09, "c": 0.76, "d": 0.03}, "d": {"a": 0.12, "b": 0.09, "c": 0.06, "d": 0.73}}}"#;
    let listed: f64 = passes(rows).iter().sum();
    assert!((listed - 2.345_084_063).abs() < 1e-9, "{listed}");
}

#[test]
fn parts_that_wear_are_lost_on_the_way() {
    // Row O-11 of the check values (own case): d = 0.01, p = 0.35, share finally accepted 0.9719495091.
    let tools = r#""pass": "1 s", "tools": [
        {"id": "wear", "accepts": 0.99, "to": "waste"}, {"id": "edge", "accepts": 0.35}]"#;
    let stations = format!(r#"{}, {{"id": "waste", "type": "scrap box"}}"#, path(tools));
    let (routes, _) = traffic(r#""part": {}"#, &stations, "path");
    let flow = entry_flow(&routes, 1, &[1.0]);
    let good = accepted(&routes, &flow);
    assert!((good - 0.971_949_509_1).abs() < 1e-9, "{good}");
}

#[test]
fn conditions_misreads_and_drops_are_in_the_routes() {
    let parts =
        r#""screw": {"attitudes": {"up": 0.5, "down": 0.5}, "conditions": {"short": 0.01, "bent": 0.02}}"#;
    let tools = r#""pass": "1 s", "tools": [
        {"id": "slot", "drops": {"short": 0.95, "down": 0.5}, "to": "waste"},
        {"id": "eye", "passes": {"up": 1.0}, "by_condition": {"bent": {"accepts": 0.0}},
            "sensed": {"false_reject": 0.02, "false_pass": 0.1}}]"#;
    let stations = format!(r#"{}, {{"id": "waste", "type": "scrap box"}}"#, path(tools));
    let (routes, _) = traffic(parts, &stations, "path");
    let share = |class: usize, exit: u8| -> f64 {
        routes[class].iter().filter(|(no, ..)| *no == exit).map(|(.., share)| share).sum()
    };
    // Classes: good up, good down, short up, short down, bent up, bent down. Exits: on, scrap, waste.
    for (class, on, waste) in [
        (0, 0.98, 0.0),
        (1, 0.5 * 0.1, 0.5),
        (2, 0.05 * 0.98, 0.95),
        (3, 0.05 * 0.5 * 0.1, 1.0 - 0.05 * 0.5),
        (4, 0.1, 0.0),
        (5, 0.5 * 0.1, 0.5),
    ] {
        assert!((share(class, 0) - on).abs() < 1e-12, "class {class}: {:?}", routes[class]);
        assert!((share(class, 2) - waste).abs() < 1e-12, "class {class}: {:?}", routes[class]);
        let all: f64 = routes[class].iter().map(|(.., share)| share).sum();
        assert!((all - 1.0).abs() < 1e-12);
    }
}

#[test]
fn a_tool_that_only_turns_rejects_nothing_and_what_is_left_escapes() {
    let tools = r#""pass": "1 s", "tools": [{"id": "turner", "turns": {"d": {"a": 0.6}}}]"#;
    let (routes, _) = traffic(INVENTED, &path(tools), "path");
    assert_eq!(routes[0], [(0, 0, 1.0)]);
    assert_eq!(routes[3], [(0, 0, 0.6), (0, 3, 0.4)]);
}

#[test]
fn simulation_and_balance_agree_on_exits_and_attitudes() {
    let run = run(
        INVENTED,
        &path(&format!(r#""pass": "10 ms", {STEPS}, "comes_back": {{"keeps": 0.7}}"#)),
        "",
        400,
    );
    let (routes, _) = invented(r#""pass": "10 ms", "comes_back": {"keeps": 0.7}"#);
    let (on, back) = (run.notes("path", Note::Exit(0)), run.notes("path", Note::Exit(1)));
    let n = (on.len() + back.len()) as f64;
    assert!(n > 30_000.0, "{n}");
    for (exit, parts) in [(0, on), (1, back)] {
        for attitude in 0..4_u8 {
            let seen = parts.iter().filter(|(_, part)| part.attitude == attitude).count() as f64;
            let rows =
                routes.iter().zip(FRESH).flat_map(|(rows, fresh)| rows.iter().map(move |row| (row, fresh)));
            let here = rows.filter(|((no, class, _), _)| *no == exit && *class == usize::from(attitude));
            let p: f64 = here.map(|((.., share), fresh)| share * fresh).sum();
            // Entries are independent, so counts are binomial.
            let error = (n * p * (1.0 - p)).sqrt();
            assert!((seen - n * p).abs() <= 5.0 * error, "exit {exit} attitude {attitude}: {seen} {}", n * p);
        }
    }
}

#[test]
fn tangled_parts_are_rejected_by_the_first_tool() {
    for motion in [r#""pass": "10 ms""#, r#""speed": "2 m/s", "live_length": "2 m""#] {
        let tools = r#""tools": [{"id": "gate", "accepts": 1.0}], "clumps": {"chance": 0.02, "parts": 3, "breaks_up": 0.5}"#;
        let run = run(INVENTED, &path(&format!("{motion}, {tools}")), "", 400);
        let (on, back) = (run.times("path", Note::Exit(0)).len(), run.notes("path", Note::Exit(1)));
        let n = (on + back.len()) as f64;
        assert!(n > 30_000.0, "{n}");
        // Rejects do not return: share 3 p / (1 - p + 3 p), clumps of three.
        let share = 0.06 / 1.04;
        let error = 3.0 * (share * (1.0 - share) * n / 3.0).sqrt();
        assert!((back.len() as f64 - n * share).abs() < 5.0 * error, "{} {}", back.len(), n * share);
        let still = back.iter().filter(|(_, part)| part.is_tangled()).count() as f64;
        let half = back.len() as f64 / 2.0;
        assert!((still - half).abs() < 5.0 * (half / 2.0).sqrt(), "{still} {half}");
    }
}

#[test]
fn what_is_wrong_is_said() {
    let bad = |more: &str| problems(INVENTED, &path(more)).join("\n");
    for (more, said) in [
        (r#""pass": "1 s", "tools": [{"id": "t", "passes": {"e": 1.0}}]"#, "there is no attitude `e`"),
        (
            r#""pass": "1 s", "tools": [{"id": "t", "passes": {"a": 0.5}, "turns": {"a": {"b": 0.6}}}]"#,
            "add up to 1.1",
        ),
        (
            r#""pass": "1 s", "tools": [{"id": "t", "accepts": 0.5, "passes": {"a": 0.5}}]"#,
            "say the same twice",
        ),
        (
            r#""pass": "1 s", "tools": [{"id": "t", "drops": {"shrot": 0.5}}]"#,
            "condition or attitude `shrot`",
        ),
        (
            r#""pass": "1 s", "tools": [{"id": "t", "accepts": 0.5}, {"id": "t", "accepts": 0.5}]"#,
            "two tools are named `t`",
        ),
        (r#""pass": "1 s", "speed": "1 m/s""#, "how parts move along the path is not clear"),
        (r#""tools": []"#, "how parts move along the path is not clear"),
        (r#""pass": "1 s", "gap": 2"#, "parts in file only"),
        (r#""pass": "1 s", "tools": [{"id": "t", "accepts": 0.5, "position": "1 m"}]"#, "has no position"),
        (r#""pass": "1 s", "comes_back": {"by_attitude": {"a": {"x": 1.0}}}"#, "there is no attitude `x`"),
        (r#""pass": "1 s", "clumps": {"chance": 0.1, "breaks_up": 0.1}"#, "the first tool rejects clumps"),
        (
            r#""speed": "1 m/s", "live_length": "1 m", "tools": [{"id": "t", "accepts": 0.5, "position": "2 m"}]"#,
            "beyond the end",
        ),
        (
            r#""speed": "1 m/s", "live_length": "1 m", "tools": [
                {"id": "t", "accepts": 0.5, "position": "0.8 m"}, {"id": "u", "accepts": 0.5, "position": "0.5 m"}]"#,
            "stands before the tool that comes before it",
        ),
        (
            r#""speed": "1 m/s", "live_length": "1 m", "tools": [
                {"id": "t", "accepts": 0.5, "sensed": {"least_spacing": "30 mm"}}]"#,
            "closer together than the least spacing",
        ),
    ] {
        assert!(bad(more).contains(said), "{more}: {}", bad(more));
    }
    let sound = r#""pass": "0.25 s", "tools": [{"id": "t", "passes": {"a": 0.9}}]"#;
    assert_eq!(bad(sound), "");
}

#[test]
fn a_tool_that_rejects_needs_an_exit_and_parts_in_file_need_a_length() {
    let stations = format!(
        r#"{SOURCE}, {{"id": "path", "type": "orienting path", "speed": "1 m/s", "live_length": "1 m",
            "tools": [{{"id": "edge", "accepts": 0.5}}]}}"#
    );
    let said = problems(r#""part": {}"#, &stations).join("\n");
    assert!(said.contains("the tool `edge` rejects parts, and nothing says where to"), "{said}");
    assert!(said.contains("needs the `length` of part `part`"), "{said}");
}

#[test]
fn names_are_suggested() {
    let tools = r#""pass": "1 s", "tools": [{"id": "wiper", "passes": {"face upp": 0.98}}]"#;
    let parts = r#""cap": {"attitudes": {"face up": 0.7, "face down": 0.3}}"#;
    let said = problems(parts, &path(tools)).join("\n");
    assert!(said.contains("did you mean `face up`?"), "{said}");
}

#[test]
fn the_schema_knows_the_stations_and_their_keys() {
    let schema = crate::scenario::schema().to_string();
    for key in ["orienting path", "selector", "gauge", "screen", "scrap box", "comes_back", "least_spacing"] {
        assert!(schema.contains(key), "{key}");
    }
}
