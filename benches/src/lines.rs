//! Lines of three for each type of station: what it costs in a line.

/// What stands between a source and a sink.
pub const STATIONS: &[(&str, &str)] = &[
    ("none", ""),
    ("work", r#"{"id": "x", "type": "work", "time": "0.9 s"},"#),
    ("track", r#"{"id": "x", "type": "track", "capacity": 30, "travel": "4 s"},"#),
    (
        "belt, spaced",
        r#"{"id": "x", "type": "belt", "length": "1 m", "speed": "0.2 m/s", "spacing": "50 mm"},"#,
    ),
    ("escapement", r#"{"id": "x", "type": "escapement", "stroke": "0.5 s"},"#),
    ("machine", r#"{"id": "x", "type": "machine", "cycle": "0.9 s"},"#),
    ("air tube", r#"{"id": "x", "type": "air tube", "travel": "0.9 s"},"#),
    ("receiver", r#"{"id": "x", "type": "receiver", "time": "0.5 s"},"#),
    (
        "row pusher, rows of 5",
        r#"{"id": "x", "type": "row pusher", "row": 5, "push": "0.5 s"}, {"id": "y", "type": "track", "capacity": 10},"#,
    ),
    (
        "magazine and receiver, batches of 5",
        r#"{"id": "x", "type": "magazine", "recipe": {"y": 5}}, {"id": "y", "type": "receiver", "holds": 5},"#,
    ),
    (
        "indexing table, groups of 4",
        r#"{"id": "x", "type": "indexing table", "nests": 16, "group": 4, "load": "0.1 s", "index": "0.5 s"},"#,
    ),
    (
        "robot",
        r#"{"id": "x", "type": "robot", "fetches": [{"from": "source", "time": "0.5 s"}], "set_down": "0.3 s"},"#,
    ),
    (
        "divider by recipe, moving",
        r#"{"id": "x", "type": "divider", "rule": "by recipe", "recipe": {"y": 2, "z": 1}, "move": "0.3 s"},
        {"id": "y", "type": "track", "capacity": 9, "to": "sink"}, {"id": "z", "type": "track", "capacity": 9, "to": "sink"},"#,
    ),
    (
        "divider, in turn",
        r#"{"id": "x", "type": "divider", "rule": "in turn", "exits": ["y", "z"]},
        {"id": "y", "type": "track", "capacity": 9, "to": "sink"}, {"id": "z", "type": "track", "capacity": 9, "to": "sink"},"#,
    ),
    (
        "work, jams and attendant",
        r#"{"id": "x", "type": "work", "time": "0.9 s", "jams": [{"per_part": 0.01, "time": "2 s"}]},"#,
    ),
    (
        "orienting path, one at a time",
        r#"{"id": "x", "type": "orienting path", "pass": "0.9 s", "tools": [{"id": "t", "passes": {"up": 1, "down": 1}}]},"#,
    ),
    (
        "orienting path in file",
        r#"{"id": "x", "type": "orienting path", "speed": "6 m/min", "live_length": "1 m",
            "tools": [{"id": "t", "passes": {"up": 1, "down": 1}}]},"#,
    ),
    (
        "orienting path in file, half rejected onto a recirculation belt",
        r#"{"id": "x", "type": "orienting path", "speed": "6 m/min", "live_length": "1 m",
            "tools": [{"id": "t", "passes": {"up": 1}}], "rejects_to": "r", "to": "sink"},
        {"id": "r", "type": "recirculation belt", "capacity": 60, "travel": "5 s", "to": "x"},"#,
    ),
    (
        "selector, half turned",
        r#"{"id": "x", "type": "selector", "corrects": ["down"], "time": "0.5 s", "time_with_turn": "0.9 s"},"#,
    ),
    (
        "selector, shuttle",
        r#"{"id": "x", "type": "selector", "shuttle": {"sends": {"up": "y", "down": "z"}, "same_side": "0.5 s", "other_side": "0.9 s"}},
        {"id": "y", "type": "track", "capacity": 9, "to": "sink"}, {"id": "z", "type": "track", "capacity": 9, "to": "sink"},"#,
    ),
    (
        "screen and scrap box",
        r#"{"id": "x", "type": "screen", "time": "0.5 s", "removes": {"bent": 0.9}, "removed_to": "s", "to": "sink"},
        {"id": "s", "type": "scrap box"},"#,
    ),
    (
        "gauge of a size and scrap box",
        r#"{"id": "x", "type": "gauge", "time": "0.5 s", "size": "width", "most": "10.2 mm", "error": "0.02 mm",
            "rejects_to": "s", "to": "sink"}, {"id": "s", "type": "scrap box"},"#,
    ),
    (
        "gauge by condition and scrap box of 10, exchanged",
        r#"{"id": "x", "type": "gauge", "time": "0.5 s", "catches": {"bent": 0.9}, "rejects_to": "s", "to": "sink"},
        {"id": "s", "type": "scrap box", "holds": 10, "exchange": {"how": "by hand", "by": "A", "time": "20 s"}},"#,
    ),
    (
        "escapement on a clock",
        r#"{"id": "x", "type": "escapement", "strokes": "on a clock", "stroke": "0.5 s"},"#,
    ),
    ("bath, one by one", r#"{"id": "x", "type": "bath", "residence": "60 s", "capacity": 100},"#),
    (
        "bin and elevator, 5 on a cleat",
        r#"{"id": "x", "type": "bin", "capacity": 500}, {"id": "y", "type": "elevator", "cleats": "15 /min", "lift": "5 s", "per_cleat": 5},
        {"id": "z", "type": "belt", "capacity": 20},"#,
    ),
];

/// Whole supplies.
pub const SUPPLIES: &[(&str, &str)] = &[
    ("none: endless work", r#"{"id": "x", "type": "work", "endless": true, "time": "1 s"},"#),
    (
        "stream",
        r#"{"id": "x", "type": "stream", "spacing": "1 s"}, {"id": "y", "type": "track", "capacity": 20},"#,
    ),
    (
        "bin and meter conveyor by the index",
        r#"{"id": "x", "type": "bin", "endless": true}, {"id": "y", "type": "meter conveyor", "per_index": 1, "index_time": "0.9 s"},"#,
    ),
    (
        "bin and metering tray, portions of 10",
        r#"{"id": "x", "type": "bin", "endless": true}, {"id": "y", "type": "metering tray", "rate": "60 /min", "portion": "10 s"},
        {"id": "z", "type": "belt", "capacity": 40},"#,
    ),
    (
        "dumper, bin and step feeder",
        r#"{"id": "d", "type": "dumper", "contents": 500, "call_level": 200, "lift": "20 s", "tip": "20 s", "return": "20 s"}, {"id": "x", "type": "bin", "capacity": 1000, "content": 400},
        {"id": "y", "type": "step feeder", "per_index": 1, "index_time": "0.9 s"},"#,
    ),
    (
        "bin, tunnel in bulk, bin and step feeder",
        r#"{"id": "x", "type": "bin", "endless": true}, {"id": "t", "type": "tunnel", "rate": "60 /min", "portion": "10 s", "residence": "60 s"},
        {"id": "z", "type": "bin", "capacity": 1000, "content": 100}, {"id": "y", "type": "step feeder", "per_index": 1, "index_time": "0.9 s"},"#,
    ),
    (
        "hopper topped up and step feeder",
        r#"{"id": "x", "type": "hopper", "capacity": 1000, "content": 400, "call_level": 200,
            "refill": {"how": "topped up", "by": "A", "time": "30 s", "parts": 500}},
        {"id": "y", "type": "step feeder", "per_index": 1, "index_time": "0.9 s"},"#,
    ),
    (
        "filling by hand, bin and step feeder",
        r#"{"id": "d", "type": "filling by hand", "amount": 500, "call_level": 200, "by": "A", "time": "30 s"},
        {"id": "x", "type": "bin", "capacity": 1000, "content": 400},
        {"id": "y", "type": "step feeder", "per_index": 1, "index_time": "0.9 s"},"#,
    ),
    (
        "endless work and a box out of 100 on the way",
        r#"{"id": "w", "type": "work", "endless": true, "time": "0.9 s"}, {"id": "d", "type": "divider", "exits": ["b", "t"], "rule": "in turn"},
        {"id": "b", "type": "box out", "holds": 100, "exchange": {"how": "by hand", "by": "A", "time": "20 s"}},
        {"id": "t", "type": "track", "capacity": 9},"#,
    ),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{compile, line_from, line_of, replicate};
    use sim_core::stations::catalogue::CATALOGUE;

    #[test]
    fn every_type_of_the_catalogue_stands_in_a_line() {
        let all: String = STATIONS.iter().chain(SUPPLIES).map(|(_, text)| *text).collect();
        for variant in CATALOGUE {
            assert!(
                all.contains(&format!(r#""type": "{}""#, variant.word)),
                "no bench has a `{}`",
                variant.word
            );
        }
    }

    #[test]
    fn every_line_has_a_row_in_the_readme() {
        let readme = include_str!("../README.md");
        for (name, _) in STATIONS.iter().chain(SUPPLIES) {
            assert!(readme.contains(&format!("\n| {name} |")), "`{name}` has no row");
        }
    }

    #[test]
    fn every_line_runs() {
        for line in STATIONS.iter().map(|(_, text)| line_of(text)) {
            assert!(replicate(&compile(&line), 0) > 1000, "{line}");
        }
        for line in SUPPLIES.iter().map(|(_, text)| line_from(text)) {
            assert!(replicate(&compile(&line), 0) > 1000, "{line}");
        }
    }
}
