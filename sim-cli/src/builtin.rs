//! The scenarios that are built in.
//!
//! Each is a file of the folder `scenarios`; its title and the first sentence of its note are what is said about it.

use sim_core::text::suggest;

/// A scenario that is built in.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Line {
    /// Its name.
    pub(crate) name: &'static str,
    /// The file.
    pub(crate) text: &'static str,
}

macro_rules! line {
    ($name:literal, $file:literal) => {
        Line { name: $name, text: include_str!(concat!("../../scenarios/", $file)) }
    };
}

/// All of them, the default first: one line each, whatever else is done with them.
pub(crate) const ALL: &[Line] = &[
    line!("knob-two-paths", "knob-two-paths.json"),
    line!("knob-one-path", "knob-one-path.json"),
    line!("hand-wheels", "hand-wheels.json"),
    line!("dowels-graded", "dowels-graded.json"),
    line!("deck-screws-table", "deck-screws-table.json"),
    line!("tack-degrease", "tack-degrease.json"),
    line!("token-thickness", "token-thickness.json"),
    line!("flange-no-return", "flange-no-return.json"),
    line!("roller-sticks", "roller-sticks.json"),
    line!("hook-family", "hook-family.json"),
    line!("bracket-robot", "bracket-robot.json"),
    line!("clip-five-paths", "clip-five-paths.json"),
    line!("bead-rows", "bead-rows.json"),
    line!("saucer-sizes", "saucer-sizes.json"),
    line!("dispenser-kit", "dispenser-kit.json"),
    line!("castor-rework", "castor-rework.json"),
    line!("handle-hopper", "handle-hopper.json"),
    line!("rivet-heads", "rivet-heads.json"),
    line!("fuse-blow", "fuse-blow.json"),
    line!("soap-checks", "soap-checks.json"),
    line!("one-attendant-six-lines", "one-attendant-six-lines.json"),
    line!("starter", "starter.json"),
    line!("ref12", "reference/ref12.json"),
    line!("tandem", "reference/tandem.json"),
    line!("mm1", "reference/mm1.json"),
];

/// The one that is run when no file is named.
pub(crate) fn default() -> &'static Line {
    &ALL[0]
}

/// The one that a new file is copied from.
pub(crate) const STARTER: &str = "starter";

/// The one with this name.
pub(crate) fn find(name: &str) -> Option<&'static Line> {
    ALL.iter().find(|line| line.name == name)
}

/// The name nearest to what was typed.
pub(crate) fn nearest(typed: &str) -> Option<&'static str> {
    suggest::nearest(typed, ALL.iter().map(|line| line.name))
}

impl Line {
    fn root(&self, key: &str) -> Option<serde_json::Value> {
        serde_json::from_str::<serde_json::Value>(self.text).ok()?.get(key).cloned()
    }

    /// Its title.
    pub(crate) fn title(&self) -> String {
        self.root("title").and_then(|title| title.as_str().map(str::to_owned)).unwrap_or_default()
    }

    /// What it shows: the first sentence of its note.
    pub(crate) fn lesson(&self) -> String {
        let note = match self.root("note") {
            Some(serde_json::Value::Array(lines)) => {
                lines.iter().filter_map(serde_json::Value::as_str).collect::<Vec<_>>().join(" ")
            }
            Some(note) => note.as_str().unwrap_or_default().to_owned(),
            None => String::new(),
        };
        match note.split_once(". ") {
            Some((first, _)) => format!("{first}."),
            None => note,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_line_reads_without_a_warning_and_says_what_it_shows() {
        for line in ALL {
            let checked = sim_core::scenario::read(line.text);
            assert!(checked.scenario.is_some(), "{}: {:#?}", line.name, checked.problems);
            let messages: Vec<&str> = checked.problems.iter().map(|p| p.message.as_str()).collect();
            assert!(messages.is_empty() || line.name != STARTER, "{}: {messages:?}", line.name);
            assert!(!line.title().is_empty(), "{} has no title", line.name);
            assert!(!line.lesson().is_empty(), "{} has no note", line.name);
        }
        assert!(find(STARTER).is_some());
    }

    #[test]
    fn a_slip_of_the_keyboard_finds_the_nearest_name() {
        assert_eq!(nearest("knob-two-pahts"), Some("knob-two-paths"));
        assert_eq!(nearest("rocket"), None);
    }
}
