//! A sweep file with all that it names, read and checked.

use crate::builtin;
use crate::ending::Failure;
use crate::ink::Ink;
use crate::logs::miscounted;
use crate::problems;
use crate::source::Source;
use sim_core::diag::{Problem, Severity, code};
use sim_core::scenario::Scenario;
use sim_core::study::Variant;
use sim_core::sweep::{self, Design, Points, Replications, Sweep, Table, TableProblem, Terms};
use sim_core::text::hash::fnv_1a;
use std::path::{Path, PathBuf};

/// Points whose outputs are looked at to see whether what is to be kept is known anywhere.
const LOOKED_AT: u64 = 16;

/// A sweep that can be run.
#[derive(Debug)]
pub(crate) struct Job {
    /// The sweep file.
    pub(crate) source: Source,
    /// What it says.
    pub(crate) sweep: Sweep,
    /// The scenario.
    pub(crate) base: Source,
    /// Hash of the list of points, if there is one.
    pub(crate) list_hash: Option<u64>,
    /// The points.
    pub(crate) points: Points,
    /// How they are run.
    pub(crate) terms: Terms,
}

impl Job {
    /// Reads a sweep file, its scenario and its list; `replications` and `seed` replace what it says.
    ///
    /// # Errors
    /// All that is wrong with one of them.
    pub(crate) fn load(file: &Path, replications: Option<u64>, seed: Option<u64>) -> Result<Self, Failure> {
        let source = Source::load(file)?;
        let (sweep, base, scenario) = with_scenario(Some(file), &source)?;
        let seed = seed.or(sweep.seed).unwrap_or(scenario.plan.seed);
        let (list, list_hash) = match &sweep.design {
            Design::List(name) => {
                let table = Source::load(&beside(file, &name.value))?;
                let levels = sweep::levels_of_list(&sweep.factors, &read_table(&table)?)
                    .map_err(|problems| refused_list(&table.name, &problems))?;
                (levels, Some(fnv_1a(table.text.as_bytes())))
            }
            Design::Grid | Design::LatinHypercube(_) | Design::Sobol(_) => (Vec::new(), None),
        };
        let points = Points::new(&sweep, base.text.clone(), list, seed);
        let terms = Terms {
            replications: replications.map_or(sweep.replications, Replications::Fixed),
            seed,
            outputs: sweep.outputs.iter().map(|pattern| pattern.value.clone()).collect(),
            level: 0.95,
        };
        let job = Job { source, sweep, base, list_hash, points, terms };
        job.look_ahead(scenario)?;
        Ok(job)
    }

    /// Looks at a few points: outputs that none of them has are a slip, and so is a sweep without any sound point.
    fn look_ahead(&self, scenario: Scenario) -> Result<(), Failure> {
        let n = self.points.count();
        let looked_at = n.min(LOOKED_AT);
        let some = (0..looked_at).map(|k| k * n / looked_at);
        let mut lines = vec![Variant::new(scenario).outputs()];
        lines.extend(
            some.filter_map(|point| self.points.prepare(point).ok()).map(|variant| variant.outputs()),
        );
        let is_any_sound = lines.len() > 1;
        if !is_any_sound && (0..n).all(|point| self.points.prepare(point).is_err()) {
            let why = self.points.prepare(0).err();
            let Some(why) = why else { panic!("the first point is among those that were not sound") };
            let name = format!("point 1 ({})", self.words(0));
            let page = problems::page(&why.problems, &name, &why.text, Ink::of_stderr());
            return Err(Failure::page(format!(
                "{page}\nno point of the sweep is sound; this is the first\n"
            )));
        }
        let unmatched = sweep::unmatched(&self.sweep.outputs, &lines);
        if unmatched.is_empty() { Ok(()) } else { Err(self.source.refused(&unmatched)) }
    }

    /// The levels of a point: `track = 0.6 m, cycle = 1 s`.
    pub(crate) fn words(&self, point: u64) -> String {
        let levels = self.points.levels(point);
        let pairs = self.points.factors().iter().zip(&levels);
        pairs
            .map(|(factor, level)| format!("{} = {}", factor.name, level.label))
            .collect::<Vec<_>>()
            .join(", ")
    }
}

/// What a sweep file says, and its scenario; warnings of neither are told.
///
/// # Errors
/// All that is wrong with the two. Whether addresses lead anywhere is seen in a sound scenario.
pub(crate) fn with_scenario(
    file: Option<&Path>,
    source: &Source,
) -> Result<(Sweep, Source, Scenario), Failure> {
    let mut read = sweep::read(&source.text);
    let named = read.scenario().map(|name| Source::load(&beside(file.unwrap_or(Path::new("")), name)));
    let base = named.transpose().and_then(|base| {
        let checked = base.as_ref().map(Source::check).transpose()?;
        Ok(base.zip(checked.map(|(scenario, _)| scenario)))
    });
    if let Ok(Some((base, _))) = &base {
        read.tell_addresses(&base.text);
    }
    let is_sound = read.problems.iter().all(|problem| problem.severity != Severity::Error);
    let sweep = if is_sound { Ok(read.sweep) } else { Err(source.refused(&read.problems)) };
    match Failure::both(sweep, base)? {
        (Some(sweep), Some((base, scenario))) => Ok((sweep, base, scenario)),
        (None, _) | (_, None) => Err(source.refused(&read.problems)),
    }
}

/// A path as seen from the folder of another file; a name that no file has there may be that of a built-in line.
fn beside(file: &Path, name: &str) -> PathBuf {
    let near = file.parent().map_or_else(|| PathBuf::from(name), |folder| folder.join(name));
    if !near.is_file() && builtin::find(name).is_some() { PathBuf::from(name) } else { near }
}

fn read_table(source: &Source) -> Result<Table, Failure> {
    let text = source.text.trim_start_matches('\u{feff}');
    let mut reader =
        csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let broken = |why: csv::Error| Failure::unreadable(&format!("`{}`", source.name), why);
    let head: Vec<String> = reader.headers().map_err(broken)?.iter().map(str::to_owned).collect();
    let (mut rows, mut problems) = (Vec::new(), Vec::new());
    for record in reader.records() {
        let record = record.map_err(broken)?;
        let line = record.position().map_or(0, csv::Position::line);
        if let Some(what) = miscounted(record.len(), head.len(), Some("write a point")) {
            let problem = Problem::new(code::WRONG_TYPE, format!("this row has {what}"));
            problems.push(TableProblem { line, problem });
        }
        rows.push((line, record.iter().map(str::to_owned).collect()));
    }
    if problems.is_empty() { Ok(Table { head, rows }) } else { Err(refused_list(&source.name, &problems)) }
}

fn refused_list(name: &str, problems: &[TableProblem]) -> Failure {
    const SHOWN: usize = 20;
    let mut page = String::new();
    for TableProblem { line, problem } in problems.iter().take(SHOWN) {
        page.push_str(&format!("error: {}\n  at {name}:{line}\n", problem.message));
        if let Some(expected) = &problem.expected {
            page.push_str(&format!("  expected: {expected}\n"));
        }
        if let Some(help) = &problem.help {
            page.push_str(&format!("  help: {help}\n"));
        }
        page.push('\n');
    }
    page.push_str(&format!("{} in {name}\n", problems::counted(problems.len(), "error")));
    Failure::page(crate::screen::safe(&page))
}
