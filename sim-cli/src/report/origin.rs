//! What the proof rests on: inputs, warnings, notes, cautions; and where to look next.

use super::{Context, heading};
use crate::builtin;
use crate::ink::Ink;
use crate::numbers::grouped;
use crate::problems::counted;
use crate::screen::{WIDTH, safe, width, wrap};
use sim_core::diag::line_column;
use sim_core::study::RunResult;
use sim_core::study::result::{InputReport, Knowledge};

/// Most assumed inputs that are listed by name.
const LISTED: usize = 8;

/// Which inputs were measured and which assumed.
pub(super) fn inputs(result: &RunResult, ink: Ink) -> String {
    if result.inputs.is_empty() {
        return String::new();
    }
    let of = |knowledge: Knowledge| -> Vec<&InputReport> {
        result.inputs.iter().filter(|input| input.knowledge == knowledge).collect()
    };
    let (measured, assumed) = (of(Knowledge::Measured), of(Knowledge::Assumed));
    let mut page = heading("INPUTS that chance decides", ink);
    let mut list = |what: &str, inputs: &[&InputReport]| {
        if inputs.is_empty() {
            page.push_str(&format!("  {what}: none\n"));
            return;
        }
        let mut names: Vec<String> = inputs.iter().take(LISTED).map(|input| name(input)).collect();
        if inputs.len() > LISTED {
            names.push(format!("and {} more (see --json)", inputs.len() - LISTED));
        }
        let text = format!("{what} ({} of {}): {}", inputs.len(), result.inputs.len(), names.join("; "));
        page.push_str(&wrap(&safe(&text), "  ", "    ", WIDTH));
    };
    list("measured", &measured);
    list("assumed", &assumed);
    page
}

fn name(input: &InputReport) -> String {
    match input.trials {
        Some(trials) => format!("{} from {}", input.path, grouped(trials)),
        None => input.path.clone(),
    }
}

/// Warnings about the file, one line each.
pub(super) fn warnings(context: &Context<'_>) -> String {
    if context.warnings.is_empty() {
        return String::new();
    }
    let title = format!("WARNINGS about the file ({})", counted(context.warnings.len(), "warning"));
    let mut page = format!("{}\n", context.ink.warn(&title));
    for warning in context.warnings {
        let (line, column) = line_column(&context.source.text, warning.span.start);
        let text = format!("{}: {}", warning.path, warning.message);
        page.push_str(&wrap(&safe(&text), &format!("  {line}:{column} "), "    ", WIDTH));
    }
    page
}

/// Notes and cautions.
pub(super) fn notes(result: &RunResult, ink: Ink) -> String {
    let mut page = String::new();
    for (title, texts) in [("NOTES", &result.notes), ("CAUTIONS", &result.cautions)] {
        if texts.is_empty() {
            continue;
        }
        if !page.is_empty() {
            page.push('\n');
        }
        page.push_str(&heading(title, ink));
        for text in texts {
            page.push_str(&wrap(&safe(text), "  - ", "    ", WIDTH));
        }
    }
    page
}

/// Where to look next.
pub(super) fn next(context: &Context<'_>) -> String {
    let source = context.source;
    let name = safe(&source.name);
    let mut rows: Vec<(String, &str)> = Vec::new();
    if source.is_built_in {
        rows.push((format!("feedproof show {name}"), "the file behind this proof"));
        rows.push((format!("feedproof new FILE --like {name}"), "a file of your own like it"));
        if name != builtin::STARTER {
            rows.push(("feedproof new FILE".to_owned(), "a small one to start from"));
        }
        rows.push(("feedproof list".to_owned(), "the other lines that are built in"));
    } else if source.name != "standard input" {
        rows.push((format!("feedproof check {name}"), "what each station can carry"));
        rows.push((format!("feedproof trace {name}"), "every event of one shift"));
        rows.push((format!("feedproof run {name} --json"), "all numbers, with their errors"));
        rows.push((format!("feedproof run {name} --out DIR"), "the same as files"));
    } else {
        return String::new();
    }
    let widest = rows.iter().map(|(command, _)| command.chars().count()).max().unwrap_or(0);
    let mut page = heading("NEXT", context.ink);
    // With a long name, what a command tells stands below it.
    let is_wide = rows.iter().any(|(_, what)| widest + width(what) + 4 > WIDTH);
    for (command, what) in rows {
        let line = if is_wide {
            format!("  {command}\n      {what}\n")
        } else {
            format!("  {command:<widest$}  {what}\n")
        };
        page.push_str(&line);
    }
    page
}
