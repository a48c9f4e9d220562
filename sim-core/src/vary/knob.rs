//! Knobs: the numbers of a scenario that mean something, each with the way in which it is changed by a little.
//!
//! What a number is, and which way it is relaxed, is said where it is read. Invariant: only the bytes of the number differ.

use crate::scenario::Scenario;
use crate::text::fields::{Relax, Setting, SettingSort};
use crate::units::{Dimension, parse};
use serde_json::Value;

/// How a number is changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Change {
    /// By this factor; all quantities of a law alike.
    Times(f64),
    /// By this many, for whole numbers and every draw of a law of them.
    Plus(i64),
    /// What is left to one is multiplied by this factor, for chances of something good.
    RestTimes(f64),
}

impl Change {
    /// In words, such as `x 0.9`.
    pub fn words(self) -> String {
        match self {
            Change::Times(factor) => {
                format!("x {factor:.3}").trim_end_matches('0').trim_end_matches('.').to_owned()
            }
            Change::Plus(step) => format!("{step:+}"),
            Change::RestTimes(factor) => format!("rest x {factor}"),
        }
    }
}

/// A setting with its value as it is written.
#[derive(Debug, Clone, PartialEq)]
pub struct Knob {
    /// Its path in the file.
    pub path: String,
    /// What is written there.
    pub written: String,
    setting: Setting,
}

/// All numbers of the stations, sensors and attendants of a scenario that was read from `source`.
pub fn knobs(source: &str, scenario: &Scenario) -> Vec<Knob> {
    knobs_under(&["stations", "sensors", "attendants"], source, scenario)
}

/// All numbers under these keys of the file.
pub fn knobs_under(keys: &[&str], source: &str, scenario: &Scenario) -> Vec<Knob> {
    let of_line = |setting: &&Setting| keys.iter().any(|key| setting.place.path.starts_with(key));
    let knob = |setting: &Setting| Knob {
        path: setting.place.path.clone(),
        written: source[setting.place.span.start..setting.place.span.end].to_owned(),
        setting: setting.clone(),
    };
    scenario.settings.iter().filter(of_line).map(knob).collect()
}

impl Knob {
    /// What relaxes it if it is a limit of the line, by a tenth or by one: see [`Relax`]. A chance of something good is
    /// relaxed by a tenth of what it lacks to one. None for what is no limit, such as the level of a call.
    pub fn relaxed(&self) -> Option<Change> {
        let change = match (self.setting.sort, self.setting.relax) {
            (_, Relax::Never) => return None,
            (SettingSort::Chance, Relax::Up) => Change::RestTimes(0.9),
            (SettingSort::Count | SettingSort::CountLaw, Relax::Up) => Change::Plus(1),
            (SettingSort::Count | SettingSort::CountLaw, Relax::Down) => Change::Plus(-1),
            (SettingSort::Quantity(_), Relax::Up) => Change::Times(1.1),
            (SettingSort::Quantity(_) | SettingSort::Chance, Relax::Down) => Change::Times(0.9),
        };
        Some(change)
    }

    /// A change to both sides: `part` goes from -1, down by this share of the number, over 0 to 1, up by as much. A chance
    /// above one half moves by a share of what it lacks to one, a whole number in whole steps of equal parts, one at least.
    /// None for what is no limit.
    pub fn moved(&self, share: f64, part: f64) -> Option<Change> {
        let steps = |most: f64| {
            let most = most.round().max(1.0);
            let step = (0.5 * (part + 1.0) * (2.0 * most + 1.0)).floor() - most;
            Change::Plus(step.min(most) as i64)
        };
        match (self.setting.sort, self.setting.relax) {
            (_, Relax::Never) => None,
            (SettingSort::Chance, Relax::Up | Relax::Down) if chance_of(&self.written)? > 0.5 => {
                Some(Change::RestTimes(1.0 - share * part))
            }
            (SettingSort::Count, Relax::Up | Relax::Down) => {
                Some(steps(share * self.written.parse::<f64>().ok()?))
            }
            (SettingSort::CountLaw, Relax::Up | Relax::Down) => Some(steps(1.0)),
            (SettingSort::Quantity(_) | SettingSort::Chance, Relax::Up | Relax::Down) => {
                Some(Change::Times(1.0 + share * part))
            }
        }
    }

    /// The text of the file with this number changed; none if the change makes no sense for it.
    pub fn changed(&self, source: &str, change: Change) -> Option<(String, String)> {
        let new = self.rewritten(change)?;
        let span = self.setting.place.span;
        let moves = new != self.written && self.moves(change);
        moves.then(|| (format!("{}{new}{}", &source[..span.start], &source[span.end..]), new))
    }

    /// Whether a change makes another number of it: no share of nothing does, nor of what a chance of one lacks to one.
    pub fn moves(&self, change: Change) -> bool {
        let nothing = match change {
            Change::Times(_) => Change::Times(1.0),
            Change::Plus(_) => Change::Plus(0),
            Change::RestTimes(_) => Change::RestTimes(1.0),
        };
        self.rewritten(change) != self.rewritten(nothing)
    }

    /// What would be written instead, as JSON; none if the change makes no sense for this number.
    pub fn rewritten(&self, change: Change) -> Option<String> {
        let new = match self.setting.sort {
            SettingSort::Quantity(dimension) => {
                let Change::Times(factor) = change else { return None };
                let mut value: Value = serde_json::from_str(&self.written).ok()?;
                scale(&mut value, dimension, factor);
                serde_json::to_string(&value).ok()?
            }
            SettingSort::CountLaw => {
                let Change::Plus(step) = change else { return None };
                raised(&self.written, step)?
            }
            SettingSort::Count => {
                let Change::Plus(step) = change else { return None };
                let value: i64 = self.written.parse().ok()?;
                value.checked_add(step).filter(|value| *value >= 0)?.to_string()
            }
            SettingSort::Chance => {
                let chance = chance_of(&self.written)?;
                let new = match change {
                    Change::Times(factor) => chance * factor,
                    Change::RestTimes(factor) => 1.0 - factor * (1.0 - chance),
                    Change::Plus(_) => return None,
                };
                rounded(new.clamp(0.0, 1.0)).to_string()
            }
        };
        Some(new)
    }
}

/// A value with all quantities inside of it scaled; notes and words stay as they are.
fn scale(value: &mut Value, dimension: Dimension, factor: f64) {
    match value {
        Value::String(text) => {
            if let Some(scaled) = scaled_text(text, dimension, factor) {
                *text = scaled;
            }
        }
        Value::Array(list) => list.iter_mut().for_each(|value| scale(value, dimension, factor)),
        Value::Object(map) => {
            let parameters = map.iter_mut().filter(|(key, _)| *key != "note");
            parameters.for_each(|(_, value)| scale(value, dimension, factor));
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

/// A law of whole numbers of which every draw is so much more; none if it would have to be less, and may then be too little.
fn raised(written: &str, step: i64) -> Option<String> {
    let step = u64::try_from(step).ok()?;
    let mut value: Value = serde_json::from_str(written).ok()?;
    match &mut value {
        Value::Array(values) => {
            for value in values {
                *value = (value.as_u64()? + step).into();
            }
        }
        Value::Object(law) => {
            let minimum = law.get("minimum").map_or(Some(0), Value::as_u64)?;
            law.insert("minimum".to_owned(), (minimum + step).into());
        }
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => return None,
    }
    serde_json::to_string(&value).ok()
}

/// A quantity by a factor, in the unit in which it is written if there is one only.
fn scaled_text(text: &str, dimension: Dimension, factor: f64) -> Option<String> {
    let value = parse(text, dimension).ok()?;
    let end =
        text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+'))).unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    if let Ok(number) = number.parse::<f64>() {
        let new = format!("{}{unit}", rounded(number * factor));
        // `1 h 30 min` has two numbers: then the whole is written in base units.
        if parse(&new, dimension).is_ok_and(|new| (new - value * factor).abs() <= 1e-6 * value.abs() * factor)
        {
            return Some(new);
        }
    }
    Some(format!("{} {}", rounded(value * factor), dimension.base_unit()).trim_end().to_owned())
}

/// Nine digits: what a product of two short numbers has too many of is left out.
fn rounded(value: f64) -> f64 {
    format!("{value:.9e}").parse().unwrap_or(value)
}

fn chance_of(written: &str) -> Option<f64> {
    let value: Value = serde_json::from_str(written).ok()?;
    match &value {
        Value::Number(number) => number.as_f64(),
        Value::String(text) => match text.split_once(" of ") {
            Some((seen, of)) => ratio(seen.trim().parse().ok()?, of.trim().parse().ok()?),
            None => parse(text, Dimension::Share).ok(),
        },
        Value::Object(counts) => ratio(counts.get("seen")?.as_f64()?, counts.get("of")?.as_f64()?),
        Value::Null | Value::Bool(_) | Value::Array(_) => None,
    }
}

fn ratio(seen: f64, of: f64) -> Option<f64> {
    (of > 0.0).then(|| seen / of)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario;

    const LINE: &str = r#"{"feedproof": 1, "stations": [
        {"id": "B", "type": "bin", "endless": true},
        {"id": "L", "type": "elevator", "cleats": "1 /s", "lift": "2 s", "per_cleat": {"law": "poisson", "mean": 2}},
        {"id": "F", "type": "work", "time": {"law": "exponential", "mean": "1 h 30 min"}},
        {"id": "T", "type": "track", "capacity": 5, "travel": "2.5 s"},
        {"id": "C", "type": "machine", "cycle": ["1 s", "1100 ms"],
         "jams": [{"per_part": "1 in 50", "time": "4 s"}],
         "breakdowns": [{"every": "2 h", "clock": "wall", "time": "10 min"}]}],
        "sensors": [{"id": "S", "watches": "T", "high": 4, "on_delay": "2 s", "holds": ["F"]}]}"#;

    fn change(path: &str, change: Option<Change>) -> Option<String> {
        let scenario = scenario::read(LINE).scenario?;
        let knob = knobs(LINE, &scenario).into_iter().find(|knob| knob.path.ends_with(path))?;
        let (text, new) = knob.changed(LINE, change.or(knob.relaxed())?)?;
        assert!(scenario::read(&text).scenario.is_some(), "{text}");
        Some(new)
    }

    #[test]
    fn relaxes_each_number_in_its_own_way() {
        let relaxed = |path| change(path, None);
        assert_eq!(relaxed(".time").as_deref(), Some(r#"{"law":"exponential","mean":"4860 s"}"#));
        assert_eq!(relaxed(".capacity").as_deref(), Some("6"));
        assert_eq!(relaxed(".per_cleat").as_deref(), Some(r#"{"law":"poisson","mean":2,"minimum":1}"#));
        assert_eq!(relaxed(".travel").as_deref(), Some(r#""2.25 s""#));
        assert_eq!(relaxed(".cycle").as_deref(), Some(r#"["0.9 s","990 ms"]"#));
        assert_eq!(relaxed(".per_part").as_deref(), Some("0.018"));
        assert_eq!(relaxed(".every").as_deref(), Some(r#""2.2 h""#), "the time between stops gets longer");
        assert_eq!(relaxed(".on_delay").as_deref(), Some(r#""1.8 s""#));
        assert_eq!(relaxed(".high"), None, "a level is no limit");
    }

    #[test]
    fn moves_to_both_sides_by_a_share() {
        let moved = |path: &str, part: f64| {
            let scenario = scenario::read(LINE).scenario?;
            let knob = knobs(LINE, &scenario).into_iter().find(|knob| knob.path.ends_with(path))?;
            knob.rewritten(knob.moved(0.2, part)?)
        };
        assert_eq!(moved(".travel", -1.0).as_deref(), Some(r#""2 s""#));
        assert_eq!(moved(".travel", 1.0).as_deref(), Some(r#""3 s""#));
        let capacity: Vec<String> =
            [-1.0, -0.4, 0.0, 0.3, 0.4, 1.0].iter().filter_map(|part| moved(".capacity", *part)).collect();
        assert_eq!(capacity, ["4", "4", "5", "5", "6", "6"], "three values in equal parts");
        assert_eq!(moved(".per_part", 1.0).as_deref(), Some("0.024"), "1 in 50");
        assert_eq!(moved(".per_cleat", -1.0), None, "a law of whole numbers goes up only");
        assert!(moved(".per_cleat", 1.0).is_some());
        assert_eq!(moved(".high", 1.0), None, "a level is no limit");
    }

    #[test]
    fn what_a_share_does_not_move_stays() {
        let moves = |written: &str, sort: SettingSort, change: Change| {
            let setting = Setting { place: crate::diag::Place::default(), sort, relax: Relax::Up };
            Knob { path: String::new(), written: written.to_owned(), setting }.moves(change)
        };
        for all in ["1", "1.0", "\"100 %\""] {
            assert!(!moves(all, SettingSort::Chance, Change::RestTimes(0.9)), "{all}");
        }
        for nothing in ["0", "\"0 %\""] {
            assert!(!moves(nothing, SettingSort::Chance, Change::Times(0.9)), "{nothing}");
        }
        assert!(!moves("\"0 s\"", SettingSort::Quantity(Dimension::Time), Change::Times(1.1)));
        assert!(moves("\"1 s\"", SettingSort::Quantity(Dimension::Time), Change::Times(1.1)));
        assert!(moves("0.9", SettingSort::Chance, Change::RestTimes(0.9)));
        assert!(moves("4", SettingSort::Count, Change::Plus(1)));
    }

    #[test]
    fn a_change_that_makes_no_sense_is_none() {
        assert_eq!(change(".capacity", Some(Change::Times(2.0))), None);
        assert_eq!(change(".travel", Some(Change::Plus(1))), None);
    }
}
