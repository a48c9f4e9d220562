//! The promise, what it rests on, the cautions, and how to make the proof again.

use super::{Proof, unquoted};
use crate::document::{Block, Document, Grid, number, numbers, word, words};
use crate::numbers::{NONE, grouped, plain, stated, time};
use crate::report::{listed, verdict};
use crate::source::Source;
use sim_core::diag::line_column;
use sim_core::study::result::{Knowledge, RateBasis};
use sim_core::text::hash::fnv_1a;

/// Longest piece of the file that is quoted.
const QUOTED_MAX: usize = 90;

/// The clauses, and how much of what they rest on was measured.
pub(super) fn promise(proof: &Proof<'_>) -> Vec<Block> {
    let result = proof.result;
    let mut blocks = Vec::new();
    let mut facts = Vec::new();
    if let Some(promise) = &result.promise {
        let at = listed(&result.rate.at);
        let ignorance = result.ignorance.as_ref();
        for (clause, judged) in promise.clauses.iter().zip(verdict::verdicts(result, promise)) {
            let known = match ignorance {
                Some(_) => format!("; inputs as known: {}", verdict::in_a_word(clause.verdict)),
                None => String::new(),
            };
            facts.push((
                format!("Clause ({}{known})", verdict::in_a_word(judged)),
                unquoted(&format!(
                    "{}{}",
                    verdict::holds(clause, &at),
                    verdict::judged(clause, ignorance.is_some())
                )),
            ));
        }
        for clause in ignorance.iter().flat_map(|ignorance| &ignorance.clauses) {
            facts.push((
                format!("Assurance ({})", verdict::in_a_word(clause.verdict)),
                format!(
                    "{:.0} %: probability, given what was measured, that the line itself holds the clause (simulated to within \
                     {:.0} % and {:.0} %); {} is asked for",
                    100.0 * clause.assurance,
                    100.0 * clause.low,
                    100.0 * clause.high,
                    stated(result.ignorance.as_ref().map_or(0.95, |ignorance| ignorance.demanded_assurance)),
                ),
            ));
        }
        let error = ignorance.map_or(promise.error_each_way, |ignorance| ignorance.error_each_way);
        facts.push((
            "Chance of a wrong verdict by simulation".to_owned(),
            format!("at most {} each way, all looks counted", stated(error)),
        ));
    }
    facts.push(("What was simulated".to_owned(), verdict::ran(result)));
    facts.push((
        "What counts".to_owned(),
        match result.rate.basis {
            RateBasis::Gross => "good parts of the whole window (gross)".to_owned(),
            RateBasis::Net => {
                format!("good parts of the window less {} (net)", result.rate.net_of.join(", "))
            }
        },
    ));
    facts.push(("What it rests on".to_owned(), rests_on(proof)));
    blocks.push(Block::Facts(facts));
    if result.gridlock.replications > 0 {
        blocks.push(Block::List(gridlock(proof)));
    }
    blocks
}

fn rests_on(proof: &Proof<'_>) -> String {
    let inputs = &proof.result.inputs;
    if inputs.is_empty() {
        return "nothing in the line is random".to_owned();
    }
    let measured = inputs.iter().filter(|input| input.knowledge == Knowledge::Measured).count();
    let fewest = inputs.iter().filter_map(|input| input.trials).min();
    let trials =
        fewest.map_or(String::new(), |fewest| format!(", the fewest from {} trials", grouped(fewest)));
    format!(
        "{} inputs that chance decides: {measured} measured{trials}; {} assumed (section “Inputs”)",
        inputs.len(),
        inputs.len() - measured
    )
}

fn gridlock(proof: &Proof<'_>) -> Vec<String> {
    let lock = &proof.result.gridlock;
    let mut items = vec![format!(
        "Gridlock: in {} of {} shifts stations came to wait for each other, and nothing could ever move again{}.",
        grouped(lock.replications),
        grouped(proof.result.replications),
        match (lock.first_in, lock.first_at_s) {
            (Some(first), Some(at)) => format!(", for the first time in shift {first} after {}", time(at)),
            (_, _) => String::new(),
        }
    )];
    items.extend(lock.knot.iter().map(|one| format!("{} waits for {}.", one.station, one.for_what)));
    items.extend(lock.opened_by.iter().map(|by| format!("It would be opened by {by}.")));
    items
}

/// Each input that chance decides: as it stands in the file, and how it is known.
pub(super) fn inputs(proof: &Proof<'_>) -> Vec<Block> {
    let mut grid = Grid::new(
        "Inputs that chance decides",
        vec![
            words("Where in the file"),
            words("What"),
            words("As written"),
            words("Known"),
            numbers("Trials", ""),
        ],
    );
    for input in &proof.scenario.inputs {
        let written = proof.source.text.get(input.place.span.start..input.place.span.end).unwrap_or_default();
        let written = written.split_whitespace().collect::<Vec<_>>().join(" ");
        let short: String = written.chars().take(QUOTED_MAX).collect();
        let more = if short.len() < written.len() { " …" } else { "" };
        grid.row(vec![
            word(input.place.path.clone()),
            word(input.what),
            word(format!("{short}{more}")),
            word(if input.trials.is_some() { "measured" } else { "assumed" }),
            number(input.trials.map(|n| n as f64), input.trials.map_or(NONE.to_owned(), grouped)),
        ]);
    }
    if grid.rows.is_empty() {
        return Vec::new();
    }
    let text = "Measured: given as counts of a test or as observed values. Assumed: given as a number or a law. A proof is \
                as good as these.";
    vec![Block::Text(text.to_owned()), Block::Table(grid)]
}

/// Cautions, notes and warnings.
pub(super) fn cautions(proof: &Proof<'_>) -> Vec<Block> {
    let mut items = proof.result.cautions.clone();
    items.extend(proof.result.notes.iter().map(|note| unquoted(note)));
    for warning in proof.warnings {
        let (line, column) = line_column(&proof.source.text, warning.span.start);
        items.push(format!(
            "About the file, {line}:{column}, {}: {}",
            warning.path,
            unquoted(&warning.message)
        ));
    }
    if items.is_empty() { Vec::new() } else { vec![Block::List(items)] }
}

/// Seed, version, hash and command.
pub(super) fn again(proof: &Proof<'_>) -> Vec<Block> {
    let result = proof.result;
    let window = &result.window;
    let fact = |what: &str, value: String| (what.to_owned(), value);
    vec![Block::Facts(vec![
        fact("Command", proof.command.to_owned()),
        fact("Program", format!("feedproof {}", result.program_version)),
        fact(
            "File",
            format!("{}; 64-bit FNV-1a hash of its bytes {}", proof.source.name, result.scenario_hash),
        ),
        fact("Seed", result.seed.to_string()),
        fact("Shifts", format!("{} of at most {}", grouped(result.replications), grouped(result.budget))),
        fact(
            "Window",
            format!(
                "{} of a shift of {}, from {} to {}",
                time(window.length_s),
                time(window.shift_s),
                time(window.opens_s),
                time(window.closes_s)
            ),
        ),
        fact("Events simulated", grouped(result.events)),
        fact("Level of the intervals", format!("{} %", plain(100.0 * result.level))),
    ])]
}

/// How to make any other document again: the command, the program, and all files in full.
pub(crate) fn add_origin(document: &mut Document, command: &str, sources: &[Source]) {
    let mut facts = vec![
        ("Command".to_owned(), command.to_owned()),
        ("Program".to_owned(), format!("feedproof {}", env!("CARGO_PKG_VERSION"))),
    ];
    facts.extend(sources.iter().map(|source| {
        let hash = fnv_1a(source.text.as_bytes());
        ("File".to_owned(), format!("{}; 64-bit FNV-1a hash of its bytes {hash:016x}", source.name))
    }));
    document.add("again", "How to make this again", vec![Block::Facts(facts)]);
    let mut texts = Vec::new();
    for source in sources {
        if sources.len() > 1 {
            texts.push(Block::Text(source.name.clone()));
        }
        texts.push(Block::Code(source.text.clone()));
    }
    let title = if sources.len() > 1 { "The files in full" } else { "The scenario in full" };
    document.add("scenario", title, texts);
}
