//! `feedproof explain`: more about a problem that was reported, or the keys of a type of station or of a piece of a file.

use crate::ending::{Ending, Failure};
use crate::explanations::{ALL, Explanation};
use crate::ink::Ink;
use crate::screen::{self, WIDTH, wrap};
use serde_json::Value as Json;
use sim_core::scenario;
use sim_core::stations::catalogue::CATALOGUE;
use sim_core::text::suggest::nearest;

/// What to explain.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The code that stands in brackets under a message, a type of station, such as `air tube`, or a piece of a file, such as `tool` or `jam`; left out: lists all
    #[arg(value_name = "CODE|STATION", num_args = 0..)]
    words: Vec<String>,
}

/// What every station may say.
const GENERAL: [&str; 7] = ["count", "spread", "in_turn", "priority", "jams", "breakdowns", "note"];

/// Prints the explanation, or all codes and stations.
pub(super) fn explain(args: &Args) -> Result<Ending, Failure> {
    let ink = Ink::of_stdout();
    let asked = args.words.join(" ");
    let asked = asked.trim_matches(['[', ']']);
    let schema = scenario::schema();
    let page = if asked.is_empty() {
        all()
    } else if let Some(explanation) = ALL.iter().find(|e| e.code == asked) {
        render(explanation, ink)
    } else if let Some(page) = station(asked, &schema, ink).or_else(|| piece(asked, &schema, ink)) {
        page
    } else {
        return Err(unknown(asked, &schema));
    };
    screen::print(&page)?;
    Ok(Ending::Done)
}

fn all() -> String {
    let line = |e: &Explanation| wrap(e.meaning, &format!("{:<19}", e.code), &" ".repeat(19), WIDTH);
    let codes: String = ALL.iter().map(line).collect();
    let words: Vec<&str> = CATALOGUE.iter().map(|variant| variant.word).collect();
    let stations = format!(
        "Types of station, whose keys it explains: {}. Pieces of a file as well: part, tool, jam, breakdown, sensor, \
         attendants, plan, promise, run-off and what they name.",
        words.join(", ")
    );
    format!("{codes}\n{}", wrap(&stations, "", "", WIDTH))
}

/// The keys of a type of station.
fn station(word: &str, schema: &Json, ink: Ink) -> Option<String> {
    let variant = CATALOGUE.iter().find(|variant| variant.word == word)?;
    let (_, what) = variant.doc.split_once(": ").unwrap_or(("", variant.doc));
    let of = &schema["$defs"][format!("station-{}", word.replace(' ', "-"))];
    Some(keys(&format!("{word}: {what}"), of, ink))
}

/// The keys of anything else in braces, such as `tool` or `jam`, by its name in the schema of the file.
fn piece(word: &str, schema: &Json, ink: Ink) -> Option<String> {
    let of = schema["$defs"].get(word.replace(' ', "-"))?;
    of["properties"].is_object().then(|| keys(&format!("{word}: what may stand in its braces"), of, ink))
}

/// The keys of an object, with units and defaults as the schema of the file has them.
fn keys(what: &str, of: &Json, ink: Ink) -> String {
    let is_needed =
        |key: &str| of["required"].as_array().is_some_and(|list| list.iter().any(|one| one == key));
    let is_station = of["properties"].get("type").is_some();
    let mut sections =
        [("needed", String::new()), ("may be left out", String::new()), ("every station", String::new())];
    let mut pieces = Vec::new();
    for (key, value) in of["properties"].as_object().into_iter().flatten().filter(|(key, _)| *key != "type") {
        let is_general = is_station && GENERAL.contains(&key.as_str());
        let nth = if is_needed(key) { 0 } else { 1 + usize::from(is_general) };
        let default = value.get("default").filter(|default| !default.as_array().is_some_and(Vec::is_empty));
        let default = default.map_or(String::new(), |default| format!("; left out: {}", plain(default)));
        let text = format!("{}{default}", value["description"].as_str().unwrap_or_default());
        sections[nth].1.push_str(&wrap(&text, &format!("  {key:<17} "), &" ".repeat(20), WIDTH));
        pieces_in(value, &mut pieces);
    }
    let mut page = wrap(what, "", "", WIDTH);
    for (title, keys) in sections.iter().filter(|(_, keys)| !keys.is_empty()) {
        page.push_str(&format!("\n{}\n{keys}", ink.bold(title)));
    }
    if !pieces.is_empty() {
        let more: Vec<String> = pieces.iter().map(|piece| format!("`feedproof explain {piece}`")).collect();
        page.push('\n');
        page.push_str(&wrap(&format!("What stands in braces: {}", more.join(", ")), "", "", WIDTH));
    }
    page
}

/// Names of the pieces of a file that a value is made of, but for random amounts, whose forms are the same everywhere.
fn pieces_in(value: &Json, names: &mut Vec<String>) {
    match value {
        Json::Object(entries) => {
            let of = value["$ref"].as_str().and_then(|name| name.strip_prefix("#/$defs/"));
            let of = of.filter(|name| !name.starts_with("random-") && *name != "station");
            if let Some(name) = of.filter(|name| !names.iter().any(|known| known == name)) {
                names.push(name.to_owned());
            }
            entries.values().for_each(|value| pieces_in(value, names));
        }
        Json::Array(list) => list.iter().for_each(|value| pieces_in(value, names)),
        Json::Null | Json::Bool(_) | Json::Number(_) | Json::String(_) => {}
    }
}

fn plain(value: &Json) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

fn render(explanation: &Explanation, ink: Ink) -> String {
    let mut page = format!("{}: {}\n\n", ink.bold(explanation.code), explanation.meaning);
    page.push_str(&wrap(explanation.more, "", "", WIDTH));
    for (title, example) in [("wrong", explanation.wrong), ("right", explanation.right)] {
        if !example.is_empty() {
            page.push_str(&format!("\n{title}:\n    {}\n", example.replace('\n', "\n    ")));
        }
    }
    page
}

fn unknown(code: &str, schema: &Json) -> Failure {
    let failure = Failure::new(
        Ending::BadInput,
        format!("no problem has the code `{code}`, and no type of station or piece of a file is called so"),
    );
    let words = CATALOGUE.iter().map(|variant| variant.word);
    let pieces = schema["$defs"].as_object().into_iter().flatten().map(|(name, _)| name.as_str());
    match nearest(code, ALL.iter().map(|e| e.code).chain(words).chain(pieces)) {
        Some(near) => failure.help(format!("did you mean `{near}`?")),
        None => failure.help("`feedproof explain` lists all codes and stations"),
    }
}
