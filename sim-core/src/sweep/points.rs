//! The points of a sweep over one scenario: which levels, which text, and whether it is sound.
//!
//! Any point can be asked for by its number, in any order. Invariant: the levels of a point depend on the sweep file,
//! the list and the seed alone.

use super::factor::{Factor, Level};
use super::file::{Design, Sweep};
use crate::balance;
use crate::design::{Grid, LatinHypercube, Sobol};
use crate::diag::{Diagnostic, Place, Problem, Severity, code};
use crate::study::Variant;
use crate::text::json::clipped;
use crate::text::suggest::nearest;
use crate::vary::{Spot, Unchanged, find, set};

/// Values of the plan that are the same at all points.
const NOT_FOR_FACTORS: [&str; 2] = ["plan.seed", "plan.replications"];

/// A table of points, as it was read.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Table {
    /// Heads of the columns.
    pub head: Vec<String>,
    /// Line of the file and cells.
    pub rows: Vec<(u64, Vec<String>)>,
}

/// What is wrong with a table.
#[derive(Debug, Clone, PartialEq)]
pub struct TableProblem {
    /// Line of the file, from 1.
    pub line: u64,
    /// What is wrong there.
    pub problem: Problem,
}

/// Where the points lie.
#[derive(Debug, Clone)]
enum Layout {
    Grid(Grid),
    List(Vec<Vec<Level>>),
    Latin(LatinHypercube),
    Sobol(Sobol),
}

/// The points of a sweep.
#[derive(Debug, Clone)]
pub struct Points {
    base: String,
    factors: Vec<Factor>,
    layout: Layout,
    n: u64,
}

/// Why a point cannot be run.
#[derive(Debug, Clone, PartialEq)]
pub struct Unsound {
    /// The text of the scenario at this point; that of the base if it could not be changed.
    pub text: String,
    /// What is wrong with it: errors only, as warnings are those of the base.
    pub problems: Vec<Diagnostic>,
}

impl Unsound {
    /// The first error in one line.
    pub fn reason(&self) -> String {
        let first = self.problems.first().map_or(String::new(), |problem| match problem.path.as_str() {
            "" => problem.message.clone(),
            path => format!("{path}: {}", problem.message),
        });
        match self.problems.len() {
            0 | 1 => first,
            n => format!("{first} (and {} more)", n - 1),
        }
    }
}

/// Checks that the addresses of all factors lead somewhere in the base scenario, each to a value of its own. An address
/// may lead into what an earlier factor sets, but not set anew what holds a value that an earlier one set.
pub fn check_addresses(sweep: &Sweep, base: &str) -> Vec<Diagnostic> {
    let mut problems = Vec::new();
    let mut seen: Vec<(Spot, &str)> = Vec::new();
    let mut may_be_set = false;
    for factor in &sweep.factors {
        for address in &factor.addresses {
            let mut report =
                |problem| problems.push(Diagnostic::new(Severity::Error, address.place.clone(), problem));
            match find(base, &address.value) {
                Err(problem) => {
                    if !may_be_set {
                        report(problem);
                    }
                }
                Ok(spot) if NOT_FOR_FACTORS.contains(&spot.path.as_str()) => {
                    let message = format!("`{}` is the same at all points", spot.path);
                    let key = spot.path.trim_start_matches("plan.");
                    report(
                        Problem::new(code::UNKNOWN_NAME, message)
                            .help(format!("see the key `{key}` of the sweep file")),
                    );
                }
                Ok(spot) => {
                    if let Some((earlier, other)) = seen.iter().find(|(earlier, _)| spot.undoes(earlier)) {
                        report(set_twice(&spot, &factor.name, earlier, other));
                    }
                    seen.push((spot, &factor.name));
                }
            }
        }
        may_be_set |= factor.sets_objects();
    }
    problems
}

/// Two factors, or two addresses of one, of which the later one undoes what the earlier one set.
fn set_twice(spot: &Spot, name: &str, earlier: &Spot, other: &str) -> Problem {
    if spot.path == earlier.path {
        let message = format!("`{}` is set by the factor `{other}` already", spot.path);
        return Problem::new(code::DUPLICATE_NAME, message);
    }
    let message = format!(
        "the factor `{name}` sets all of `{}`, which undoes what the factor `{other}` sets: `{}`",
        spot.path, earlier.path
    );
    let help = if name == other {
        format!("leave out `{}`, or name it after `{}`", earlier.path, spot.path)
    } else {
        format!("put the factor `{name}` before `{other}`, or leave one of them out")
    };
    Problem::new(code::DUPLICATE_NAME, message).help(help)
}

/// The levels of each point of a list.
///
/// # Errors
/// Columns that are missing or not known, and cells that are no levels.
pub fn levels_of_list(factors: &[Factor], table: &Table) -> Result<Vec<Vec<Level>>, Vec<TableProblem>> {
    let mut problems = Vec::new();
    let is_of = |factor: &Factor, head: &str| head == factor.name || head == factor.column();
    for head in table.head.iter().filter(|head| !factors.iter().any(|factor| is_of(factor, head))) {
        // Columns of a table of points that a sweep wrote.
        if ["point", "state", "replications", "reason"].contains(&head.as_str()) {
            continue;
        }
        let problem = Problem::new(code::UNKNOWN_NAME, format!("`{}` is no factor", clipped(head)));
        let near = nearest(head, factors.iter().map(|factor| factor.name.as_str()));
        let problem = match near {
            Some(near) => problem.help(format!("did you mean `{near}`?")),
            None => problem,
        };
        problems.push(TableProblem { line: 1, problem });
    }
    let mut columns = Vec::new();
    for factor in factors {
        match table.head.iter().position(|head| is_of(factor, head)) {
            Some(column) => columns.push(column),
            None => {
                let message = format!("there is no column for the factor `{}`", factor.name);
                problems.push(TableProblem { line: 1, problem: Problem::new(code::MISSING_KEY, message) });
            }
        }
    }
    if table.rows.is_empty() {
        problems
            .push(TableProblem { line: 1, problem: Problem::new(code::TOO_FEW, "there is no point in it") });
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    let mut points = Vec::new();
    for (line, cells) in &table.rows {
        let cell = |column: &usize| cells.get(*column).map_or("", String::as_str);
        let levels = factors.iter().zip(&columns).map(|(factor, column)| factor.typed(cell(column)));
        match levels.collect::<Result<Vec<Level>, Problem>>() {
            Ok(levels) => points.push(levels),
            Err(problem) => problems.push(TableProblem { line: *line, problem }),
        }
    }
    if problems.is_empty() { Ok(points) } else { Err(problems) }
}

impl Points {
    /// The points of a sweep over a base scenario, with the levels of its list if it has one; `seed` draws the points of
    /// a design that is drawn.
    ///
    /// # Panics
    /// If the sweep was not read by [`read`](super::read), which sees to it that its factors have what the design needs.
    pub fn new(sweep: &Sweep, base: String, list: Vec<Vec<Level>>, seed: u64) -> Self {
        let factors = sweep.factors.clone();
        let (layout, n) = match sweep.design {
            Design::Grid => {
                let grid = Grid::new(factors.iter().map(|factor| factor.n_levels().unwrap_or(0)).collect());
                let grid = grid.unwrap_or_else(|why| panic!("every factor of a grid has levels: {why}"));
                let n = grid.len();
                (Layout::Grid(grid), n)
            }
            Design::List(_) => {
                let n = list.len() as u64;
                (Layout::List(list), n)
            }
            Design::LatinHypercube(n) => {
                let latin = LatinHypercube::new(n, factors.len(), seed);
                (Layout::Latin(latin.unwrap_or_else(|why| panic!("a design has points: {why}"))), n)
            }
            Design::Sobol(n) => {
                let sobol = Sobol::scrambled(factors.len(), seed);
                (Layout::Sobol(sobol.unwrap_or_else(|why| panic!("factors were counted: {why}"))), n)
            }
        };
        Points { base, factors, layout, n }
    }

    /// How many there are.
    pub fn count(&self) -> u64 {
        self.n
    }

    /// What is changed.
    pub fn factors(&self) -> &[Factor] {
        &self.factors
    }

    /// The level of each factor at a point, from 0.
    pub fn levels(&self, point: u64) -> Vec<Level> {
        let mut shares = Vec::new();
        match &self.layout {
            Layout::List(levels) => return levels[point as usize].clone(),
            Layout::Grid(grid) => {
                let mut at = Vec::new();
                grid.point(point, &mut at);
                return self.factors.iter().zip(at).map(|(factor, n)| factor.level(n)).collect();
            }
            Layout::Latin(latin) => latin.point(point, &mut shares),
            Layout::Sobol(sobol) => sobol.point(point, &mut shares),
        }
        self.factors.iter().zip(shares).map(|(factor, share)| factor.at(share)).collect()
    }

    /// The scenario text of a point.
    ///
    /// # Errors
    /// The first address that leads nowhere there.
    pub fn text(&self, point: u64) -> Result<String, Unchanged> {
        let levels = self.levels(point);
        let settings: Vec<_> =
            self.factors.iter().zip(&levels).flat_map(|(factor, level)| factor.settings(level)).collect();
        set(&self.base, &settings)
    }

    /// The line of a point, ready to run.
    ///
    /// # Errors
    /// All that is wrong with its scenario.
    pub fn prepare(&self, point: u64) -> Result<Variant, Unsound> {
        let text = self.text(point).map_err(|why| {
            let place = Place { path: why.address, ..Place::default() };
            let problems = vec![Diagnostic::new(Severity::Error, place, why.problem)];
            Unsound { text: self.base.clone(), problems }
        })?;
        prepare(text)
    }
}

/// The line of a scenario text, ready to run.
///
/// # Errors
/// All that is wrong with it.
pub fn prepare(text: String) -> Result<Variant, Unsound> {
    let checked = balance::read(&text);
    let Some(scenario) = checked.scenario else {
        return Err(Unsound { text, problems: errors(checked.problems) });
    };
    Ok(Variant::new(scenario))
}

fn errors(mut problems: Vec<Diagnostic>) -> Vec<Diagnostic> {
    problems.retain(|problem| problem.severity == Severity::Error);
    problems
}
