//! `feedproof explain`: more about a problem that was reported, or the keys of a type of station.

use crate::ending::{Ending, Failure};
use crate::explanations::{ALL, Explanation};
use crate::ink::Ink;
use crate::screen::{self, WIDTH, wrap};
use sim_core::scenario;
use sim_core::stations::catalogue::CATALOGUE;
use sim_core::text::suggest::nearest;

/// What to explain.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The code that stands in brackets under a message, or a type of station, such as `air tube`; left out: lists all
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
    let page = if asked.is_empty() {
        all()
    } else if let Some(explanation) = ALL.iter().find(|e| e.code == asked) {
        render(explanation, ink)
    } else if let Some(page) = station(asked, ink) {
        page
    } else {
        return Err(unknown(asked));
    };
    screen::print(&page)?;
    Ok(Ending::Done)
}

fn all() -> String {
    let line = |e: &Explanation| wrap(e.meaning, &format!("{:<19}", e.code), &" ".repeat(19), WIDTH);
    let codes: String = ALL.iter().map(line).collect();
    let words: Vec<&str> = CATALOGUE.iter().map(|variant| variant.word).collect();
    let stations = format!("Types of station, whose keys it explains: {}.", words.join(", "));
    format!("{codes}\n{}", wrap(&stations, "", "", WIDTH))
}

/// The keys of a type of station, with units and defaults as the schema of the file has them.
fn station(word: &str, ink: Ink) -> Option<String> {
    let variant = CATALOGUE.iter().find(|variant| variant.word == word)?;
    let schema = scenario::schema();
    let of = &schema["$defs"][format!("station-{}", word.replace(' ', "-"))];
    let is_needed =
        |key: &str| of["required"].as_array().is_some_and(|list| list.iter().any(|one| one == key));
    let mut sections =
        [("needed", String::new()), ("may be left out", String::new()), ("every station", String::new())];
    for (key, value) in of["properties"].as_object()?.iter().filter(|(key, _)| *key != "type") {
        let nth = if is_needed(key) { 0 } else { 1 + usize::from(GENERAL.contains(&key.as_str())) };
        let default = value.get("default").filter(|default| !default.as_array().is_some_and(Vec::is_empty));
        let default = default.map_or(String::new(), |default| format!("; left out: {}", plain(default)));
        let text = format!("{}{default}", value["description"].as_str().unwrap_or_default());
        sections[nth].1.push_str(&wrap(&text, &format!("  {key:<17} "), &" ".repeat(20), WIDTH));
    }
    let (_, what) = variant.doc.split_once(": ").unwrap_or(("", variant.doc));
    let mut page = wrap(&format!("{word}: {what}"), "", "", WIDTH);
    for (title, keys) in sections.iter().filter(|(_, keys)| !keys.is_empty()) {
        page.push_str(&format!("\n{}\n{keys}", ink.bold(title)));
    }
    Some(page)
}

fn plain(value: &serde_json::Value) -> String {
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

fn unknown(code: &str) -> Failure {
    let failure = Failure::new(
        Ending::BadInput,
        format!("no problem has the code `{code}`, and no type of station is called so"),
    );
    let words = CATALOGUE.iter().map(|variant| variant.word);
    match nearest(code, ALL.iter().map(|e| e.code).chain(words)) {
        Some(near) => failure.help(format!("did you mean `{near}`?")),
        None => failure.help("`feedproof explain` lists all codes and stations"),
    }
}
