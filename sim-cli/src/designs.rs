//! Designs named on the command line: files, and one file with values changed.
//!
//! Invariant: a design is checked like any file before anything is run, and no two have the same name.

use crate::ending::{Ending, Failure};
use crate::source::Source;
use sim_core::diag::Problem;
use sim_core::study::Variant;
use sim_core::study::compare::Design;
use sim_core::vary::{self, Setting};

/// The settings of one design: `ADDRESS=VALUE`, several of them divided by `;`.
///
/// # Errors
/// What is wrong with those that cannot be read.
pub(crate) fn settings(text: &str) -> Result<Vec<Setting>, Failure> {
    let parts = divided(text);
    Failure::none_in(parts.iter().map(|part| Setting::read(part).map_err(|problem| refused(&problem))))
}

/// At each `;` that is not inside of quotes; empty ends are left out.
fn divided(text: &str) -> Vec<String> {
    let mut quoted = false;
    let parts = text.split(|letter| {
        quoted ^= letter == '"';
        letter == ';' && !quoted
    });
    let parts: Vec<String> =
        parts.map(str::trim).filter(|part| !part.is_empty()).map(str::to_owned).collect();
    // Nothing at all is said of the whole.
    if parts.is_empty() { vec![text.to_owned()] } else { parts }
}

/// A problem that has no place in a file.
pub(crate) fn refused(problem: &Problem) -> Failure {
    let failure = Failure::new(Ending::BadInput, problem.message.clone());
    match (&problem.help, &problem.expected) {
        (Some(help), _) => failure.help(help),
        (None, Some(expected)) => failure.help(format!("expected {expected}")),
        (None, None) => failure,
    }
}

/// The source with these settings made.
///
/// # Errors
/// All addresses that lead nowhere, and what is wrong with the other settings, of a source that is sound.
pub(crate) fn with(source: &Source, settings: &[Setting]) -> Result<Source, Failure> {
    let (mut made, mut failures) = (Vec::with_capacity(settings.len()), Vec::new());
    let mut text = source.text.clone();
    for setting in settings {
        made.push(setting.clone());
        match vary::set(&source.text, &made) {
            Ok(changed) => text = changed,
            Err(why) => {
                made.pop();
                failures.push(refused(&why.problem));
            }
        }
    }
    let changed = Source::changed(format!("{} with {}", source.name, words(&made).join(", ")), text);
    if !failures.is_empty() && !made.is_empty() {
        failures.extend(changed.check().err());
    }
    failures.into_iter().reduce(Failure::and).map_or(Ok(changed), Err)
}

/// Settings as they are shown.
pub(crate) fn words(settings: &[Setting]) -> Vec<String> {
    let word = |setting: &Setting| format!("{} = {}", setting.address.text(), vary::plain(&setting.value));
    settings.iter().map(word).collect()
}

/// The files, then the first one with each set of settings.
///
/// # Errors
/// Files and settings that cannot be used.
pub(crate) fn designs(sources: Vec<Source>, changed: &[Vec<Setting>]) -> Result<Vec<Design>, Failure> {
    // What is changed can be judged by itself only where the first file is sound.
    let is_sound = sources[0].check().is_ok();
    let files = sources.iter().map(|source| Ok((source.name.clone(), Vec::new(), source.clone())));
    let changed = changed.iter().map(|settings| {
        let words = words(settings);
        Ok((words.join(", "), words, with(&sources[0], settings)?))
    });
    let checked = files.chain(changed.filter(|one| is_sound || one.is_err())).map(|one| {
        let (name, settings, source) = one?;
        Ok((name, settings, source.check_aloud()?, source.text))
    });
    let mut designs: Vec<Design> = Vec::new();
    for (name, settings, scenario, text) in Failure::none_in(checked)? {
        let variant = Variant::new(scenario);
        let known = |name: &str| designs.iter().any(|design| design.name == name);
        let again = (2..).map(|n| format!("{name} ({n})"));
        let name = std::iter::once(name.clone()).chain(again).find(|name| !known(name)).unwrap_or_default();
        designs.push(Design { name, settings, variant, text });
    }
    Ok(designs)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_are_divided_outside_of_quotes() {
        let read = |text: &str| words(&settings(text).unwrap());
        assert_eq!(read("a.b=1; c.d=2 s"), ["a.b = 1", "c.d = 2 s"]);
        assert_eq!(read("[\"x;y\"].note=\"one; two\";"), ["[\"x;y\"].note = one; two"]);
        assert!(settings("a.b").is_err() && settings("").is_err() && settings(";").is_err());
    }
}
