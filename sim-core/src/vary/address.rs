//! Addresses: how a person names a value of a scenario file.
//!
//! `plan.shift`, `stations["lift"].cleats`, `stations[2].tools[0].chance`: keys joined by dots, entries of lists by their
//! id or name, or by their index from 0, as in every message about a file. What stands at the beginning may also be the id
//! of a station, sensor, pool of attendants or measure, or the name of a part kind: `lift.cleats`. Nothing here knows what a value means.
//! Invariant: an address that finds something finds one value only.

use crate::diag::{Diagnostics, Problem, Span, code};
use crate::text::json::{Node, Value, clipped, parse, push_index, push_key};
use crate::text::suggest::nearest;

/// Lists and objects of the file whose entries may be named at the beginning of an address.
const NAMED: [&str; 5] = ["stations", "sensors", "attendants", "measures", "parts"];

/// The short form of a path: `stations["path 1"].jams[0].per_part` as `path 1.jams[0].per_part`: an address as well.
pub fn short(path: &str) -> String {
    let Some((_, rest)) = path.split_once("[\"") else { return path.to_owned() };
    rest.replacen("\"]", "", 1)
}

/// One step from a value into what it is made of.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Step {
    /// A key of an object, or an entry of a list by its id.
    Key(String),
    /// An entry of a list, from 0.
    Index(usize),
}

/// An address, as it was typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Address {
    text: String,
    steps: Vec<Step>,
}

/// What an address leads to.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// The whole path, as in messages: the same for all spellings of an address.
    pub path: String,
    /// Bytes of the value; none if the object has no such key yet.
    pub span: Option<Span>,
    /// For a key that is not there yet: bytes of the object it would be in, and whether that has other keys.
    pub(super) home: Option<(Span, bool)>,
    /// The last key.
    pub(super) key: String,
}

impl Spot {
    /// Whether setting this after `earlier` leaves nothing of it: it is the same value, or holds it.
    pub fn undoes(&self, earlier: &Spot) -> bool {
        let rest = earlier.path.strip_prefix(&self.path);
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']))
    }
}

impl Address {
    /// Reads an address.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn read(text: &str) -> Result<Self, Problem> {
        let mut steps = Vec::new();
        let mut rest = text.trim();
        while !rest.is_empty() {
            let (step, after) = if let Some(inside) = rest.strip_prefix("[\"") {
                let (key, after) = inside.split_once("\"]").ok_or_else(|| broken(text))?;
                (Step::Key(key.to_owned()), after)
            } else if let Some(inside) = rest.strip_prefix('[') {
                let (index, after) = inside.split_once(']').ok_or_else(|| broken(text))?;
                (Step::Index(index.trim().parse().map_err(|_| broken(text))?), after)
            } else {
                let word = if steps.is_empty() {
                    rest
                } else {
                    rest.strip_prefix('.').ok_or_else(|| broken(text))?
                };
                let end = word.find(['.', '[']).unwrap_or(word.len());
                (Step::Key(word[..end].trim().to_owned()), &word[end..])
            };
            if step == Step::Key(String::new()) {
                return Err(broken(text));
            }
            steps.push(step);
            rest = after;
        }
        if steps.is_empty() { Err(broken(text)) } else { Ok(Address { text: text.trim().to_owned(), steps }) }
    }

    /// As it was typed.
    pub fn text(&self) -> &str {
        &self.text
    }
}

fn broken(text: &str) -> Problem {
    Problem::new(code::NUMBER_UNREADABLE, format!("`{}` is no address of a value", clipped(text))).expected(
        "keys joined by dots, such as `lift.cleats`, `plan.shift` or `stations[\"lift\"].jams[0].time`",
    )
}

/// Finds an address in the text of a scenario.
///
/// # Errors
/// Where it leads nowhere, and the nearest word that would; or that the text is no JSON.
pub fn find(source: &str, address: &Address) -> Result<Spot, Problem> {
    let mut problems = Diagnostics::new();
    let Some(root) = parse(source, &mut problems) else {
        return Err(Problem::new(code::SYNTAX, "the file is not JSON"));
    };
    let mut walk = Walk { node: &root, path: String::new() };
    let mut steps = address.steps.as_slice();
    if let Some(named) = named(&root, &steps[0]) {
        (walk, steps) = (named, &steps[1..]);
    }
    for (n, step) in steps.iter().enumerate() {
        match walk.step(step) {
            Ok(next) => walk = next,
            Err(missing) => match (step, &walk.node.value) {
                // Whether the object knows the key is for the reader of the file to say. At the top it would be a name
                // that nothing has.
                (Step::Key(key), Value::Object(entries)) if n + 1 == steps.len() && !walk.path.is_empty() => {
                    let mut path = walk.path;
                    push_key(&mut path, key);
                    let home = Some((walk.node.span, !entries.is_empty()));
                    return Ok(Spot { path, span: None, home, key: key.clone() });
                }
                _ => return Err(missing.in_address(address, &walk.path)),
            },
        }
    }
    let key = match steps.last() {
        Some(Step::Key(key)) => key.clone(),
        Some(Step::Index(_)) | None => String::new(),
    };
    Ok(Spot { path: walk.path, span: Some(walk.node.span), home: None, key })
}

/// Whatever has this name, if no key of the file has it.
fn named<'a>(root: &'a Node, step: &Step) -> Option<Walk<'a>> {
    let Step::Key(name) = step else { return None };
    if root.entry(name).is_some() {
        return None;
    }
    NAMED.iter().find_map(|list| {
        let home = Walk { node: &root.entry(list)?.node, path: (*list).to_owned() };
        home.step(step).ok()
    })
}

/// A place in the tree that was come to.
struct Walk<'a> {
    node: &'a Node,
    path: String,
}

/// Why there is no way on: what was looked for, and the words that there are.
struct Missing {
    step: String,
    words: Vec<String>,
}

impl<'a> Walk<'a> {
    fn step(&self, step: &Step) -> Result<Walk<'a>, Missing> {
        let mut path = self.path.clone();
        match (&self.node.value, step) {
            (Value::Object(entries), Step::Key(key)) => {
                if let Some(entry) = entries.iter().find(|entry| entry.key == *key) {
                    push_key(&mut path, key);
                    return Ok(Walk { node: &entry.node, path });
                }
            }
            (Value::List(list), step) => {
                let ix = match step {
                    Step::Index(ix) => Some(*ix),
                    Step::Key(key) => list.iter().position(|node| id_of(node) == Some(key)),
                };
                if let Some((ix, node)) = ix.and_then(|ix| Some((ix, list.get(ix)?))) {
                    push_index(&mut path, ix, node);
                    return Ok(Walk { node, path });
                }
            }
            (
                Value::Object(_) | Value::Null | Value::Bool(_) | Value::Number(..) | Value::Text(_),
                Step::Key(_) | Step::Index(_),
            ) => {}
        }
        let step = match step {
            Step::Key(key) => key.clone(),
            Step::Index(ix) => format!("[{ix}]"),
        };
        Err(Missing { step, words: self.words() })
    }

    /// What can be stepped to from here; at the top also whatever has a name.
    fn words(&self) -> Vec<String> {
        let here: Vec<String> = match &self.node.value {
            Value::Object(entries) => entries.iter().map(|entry| entry.key.clone()).collect(),
            Value::List(list) => list.iter().filter_map(id_of).map(str::to_owned).collect(),
            Value::Null | Value::Bool(_) | Value::Number(..) | Value::Text(_) => Vec::new(),
        };
        if !self.path.is_empty() {
            return here;
        }
        let lists = NAMED.iter().filter_map(|list| self.node.entry(list));
        let names = lists.flat_map(|entry| Walk { node: &entry.node, path: entry.key.clone() }.words());
        here.iter().cloned().chain(names).collect()
    }
}

impl Missing {
    fn in_address(self, address: &Address, path: &str) -> Problem {
        let place = if path.is_empty() { "the file".to_owned() } else { format!("`{path}`") };
        let message =
            format!("`{}` leads nowhere: {place} has no `{}`", clipped(&address.text), clipped(&self.step));
        let problem = Problem::new(code::UNKNOWN_NAME, message);
        if let Some(word) = nearest(&self.step, self.words.iter().map(String::as_str)) {
            return problem.help(format!("did you mean `{word}`?"));
        }
        const SHOWN: usize = 12;
        if self.words.is_empty() {
            return problem.help("there is nothing further down here");
        }
        let more = if self.words.len() > SHOWN { ", ..." } else { "" };
        let shown = &self.words[..self.words.len().min(SHOWN)];
        problem.expected(format!("one of {}{more}", shown.join(", ")))
    }
}

/// What names an entry of a list, as in a path of a message.
fn id_of(node: &Node) -> Option<&str> {
    ["id", "name"].iter().find_map(|key| node.entry(key)?.node.text())
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINE: &str = r#"{"feedproof": 1,
        "parts": {"pin": {"length": "3 mm"}},
        "stations": [{"id": "lift 1", "cleats": "1 /s"}, {"id": "M", "cycle": "1 s", "jams": [{"time": "2 s"}]},
            {"id": "<b>x=1;y.</b>", "cycle": "3 s"}],
        "plan": {"shift": "8 h"}}"#;

    fn look(address: &str) -> Result<(String, Option<&'static str>), Problem> {
        let spot = find(LINE, &Address::read(address)?)?;
        Ok((spot.path, spot.span.map(|span| &LINE[span.start..span.end])))
    }

    #[test]
    fn every_spelling_leads_to_the_same_value() {
        for address in [
            "M.jams[0].time",
            "stations[\"M\"].jams[0].time",
            "stations[1].jams[0].time",
            "stations.M.jams[0].time",
        ] {
            assert_eq!(look(address).unwrap(), ("stations[\"M\"].jams[0].time".to_owned(), Some("\"2 s\"")));
        }
        assert_eq!(look("lift 1.cleats").unwrap().1, Some("\"1 /s\""));
        assert_eq!(look("[\"lift 1\"].cleats").unwrap().1, Some("\"1 /s\""));
        let signs = "stations[\"<b>x=1;y.</b>\"].cycle";
        assert_eq!(look(signs).unwrap(), (signs.to_owned(), Some("\"3 s\"")));
        assert_eq!(look("plan.shift").unwrap().1, Some("\"8 h\""));
        assert_eq!(look("pin.length").unwrap().0, "parts.pin.length");
        assert!(look("M").unwrap().1.unwrap().contains("cycle"), "a whole station");
    }

    #[test]
    fn setting_a_whole_undoes_its_parts_and_no_neighbour() {
        let spot = |address: &str| find(LINE, &Address::read(address).unwrap()).unwrap();
        let undoes = |later: &str, earlier: &str| spot(later).undoes(&spot(earlier));
        assert!(undoes("M", "M.jams[0].time") && undoes("stations[1].jams", "M.jams[0].time"));
        assert!(undoes("M.cycle", "stations.M.cycle") && undoes("plan", "plan.seed"));
        assert!(!undoes("M.jams[0].time", "M") && !undoes("plan.seed", "plan.seeds"));
        assert!(!undoes("M.cycle", "lift 1.cleats"));
    }

    #[test]
    fn a_key_that_is_not_there_yet_can_be_added() {
        assert_eq!(look("plan.seed").unwrap(), ("plan.seed".to_owned(), None));
    }

    #[test]
    fn an_address_that_leads_nowhere_says_where_it_stops() {
        let help = |address: &str| look(address).unwrap_err().help.unwrap_or_default();
        assert_eq!(help("lift1.cleats"), "did you mean `lift 1`?");
        assert_eq!(help("M.jms[0].time"), "did you mean `jams`?");
        assert_eq!(help("M.cycle.mean"), "there is nothing further down here");
        assert!(look("M.jams[3].time").unwrap_err().message.contains("no `[3]`"));
        for broken in ["", ".", "M..x", "M.jams[", "M.jams[x]", "M]"] {
            assert!(look(broken).is_err(), "{broken}");
        }
    }
}
