//! Which outputs are kept: names, where `*` stands for anything.

use crate::diag::{Diagnostic, Problem, Severity, code};
use crate::study::Output;
use crate::text::forms::Spanned;
use crate::text::json::clipped;
use crate::text::suggest::nearest;

/// Whether a name is what a pattern says.
fn matches(pattern: &str, name: &str) -> bool {
    let Some((head, rest)) = pattern.split_once('*') else { return pattern == name };
    let Some(name) = name.strip_prefix(head) else { return false };
    // After a `*` the rest may begin anywhere.
    name.char_indices().map(|(at, _)| at).chain([name.len()]).any(|at| matches(rest, &name[at..]))
}

/// Where the outputs that are kept stand among all, in the order of the patterns.
pub(super) fn picked(patterns: &[String], outputs: &[Output]) -> Vec<usize> {
    let mut picked = Vec::new();
    for pattern in patterns {
        let fitting = (0..outputs.len()).filter(|ix| matches(pattern, &outputs[*ix].name));
        let new: Vec<usize> = fitting.filter(|ix| !picked.contains(ix)).collect();
        picked.extend(new);
    }
    picked
}

/// The patterns of the file that fit no output of any of some lines. Of those that stand for what the file does not say, a
/// line need not have all.
pub fn unmatched(patterns: &[Spanned<String>], lines: &[Vec<Output>]) -> Vec<Diagnostic> {
    let names = || lines.iter().flatten().map(|output| output.name.as_str());
    let is_lost = |pattern: &&Spanned<String>| {
        !pattern.place.path.is_empty() && !names().any(|name| matches(&pattern.value, name))
    };
    let diagnostic = |pattern: &Spanned<String>| {
        let problem =
            Problem::new(code::UNKNOWN_NAME, format!("no output is called `{}`", clipped(&pattern.value)));
        let problem = match nearest(&pattern.value, names()) {
            Some(near) => problem.help(format!("did you mean `{near}`?")),
            None => problem.help("outputs are called as in replications.csv of `feedproof run --out`"),
        };
        Diagnostic::new(Severity::Error, pattern.place.clone(), problem)
    };
    patterns.iter().filter(is_lost).map(diagnostic).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_star_stands_for_anything() {
        for (pattern, name, fits) in [
            ("rate", "rate", true),
            ("rate", "gross_rate", false),
            ("*rate", "gross_rate", true),
            ("press.*", "press.calls", true),
            ("press.*", "press", false),
            ("*.*_share", "lift 1.working_share", true),
            ("a*b*c", "aXbXbXc", true),
            ("a*b*c", "aXbX", false),
            ("*", "é", true),
        ] {
            assert_eq!(matches(pattern, name), fits, "{pattern} {name}");
        }
    }
}
