//! The sweep file: which scenario, which factors, which points, how often, and what is kept.
//!
//! Reading never stops at the first problem. Whether addresses lead anywhere is seen when the scenario is at hand; see
//! [`Points`](super::Points).

use super::factor::{Factor, factors, named};
use super::points::check_addresses;
use crate::design::sobol::MOST_FACTORS;
use crate::diag::{Diagnostic, Diagnostics, Problem, code};
use crate::statistics::precision::FEWEST_TO_STOP;
use crate::text::fields::{Object, read_text};
use crate::text::forms::{
    Choice, Form, Spanned, Variant, count, either, list_of, nested, placed, share, text, variants,
};
use crate::text::{json, schema};

/// Version of the sweep file that this program reads.
pub(super) const SWEEP_FORMAT: u64 = 1;
/// Most points of a sweep.
pub(super) const MOST_POINTS: u64 = 10_000_000;
/// What is kept of a point unless the file says otherwise.
pub(super) const OUTPUTS: [&str; 6] =
    ["rate", "gross_rate", "feed_availability", "bad_ppm", "passes_per_delivered", "stops"];

/// Where the points lie.
#[derive(Debug, Clone, PartialEq)]
pub enum Design {
    /// Every level of every factor with every level of the others, the last factor changing first.
    Grid,
    /// As a table of points says.
    List(Spanned<String>),
    /// So many points that fill all ranges evenly, one factor at a time (McKay, Beckman & Conover 1979).
    LatinHypercube(u64),
    /// So many points of a scrambled sequence that fills all ranges evenly together (Sobol' 1967; Owen 1998).
    Sobol(u64),
}

/// How often a point is run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Replications {
    /// So many times.
    Fixed(u64),
    /// Until the error of the mean rate is at most this share of it.
    Precision {
        /// The share, strictly between 0 and 1.
        share: f64,
        /// Most replications.
        at_most: u64,
    },
}

/// A sweep as its file states it.
#[derive(Debug, Clone, PartialEq)]
pub struct Sweep {
    /// What it is about.
    pub title: Option<String>,
    /// The scenario: a path seen from the folder of the sweep file, or a line that is built in.
    pub scenario: Spanned<String>,
    /// What is changed.
    pub factors: Vec<Factor>,
    /// Where the points lie.
    pub design: Design,
    /// How often a point is run.
    pub replications: Replications,
    /// Seed of all luck and of designs that are drawn; none: that of the scenario.
    pub seed: Option<u64>,
    /// Names of the outputs that are kept; `*` stands for anything.
    pub outputs: Vec<Spanned<String>>,
}

/// Whether a text says that it is a sweep file, sound or not.
pub fn is_sweep(source: &str) -> bool {
    json::parse(source, &mut Diagnostics::new()).is_some_and(|root| root.entry("feedproof_sweep").is_some())
}

/// What came of reading a sweep file.
#[derive(Debug)]
pub struct ReadSweep {
    /// What it says, if there is no error among the problems.
    pub sweep: Option<Sweep>,
    /// What is wrong.
    pub problems: Vec<Diagnostic>,
    /// What was read of a file with errors: good for nothing but finding more of them. Factors whose addresses are not known
    /// are not in it.
    unsound: Option<Sweep>,
}

impl ReadSweep {
    /// The scenario that it names, as far as that is known.
    pub fn scenario(&self) -> Option<&str> {
        let sweep = self.sweep.as_ref().or(self.unsound.as_ref())?;
        Some(sweep.scenario.value.as_str()).filter(|name| !name.is_empty())
    }

    /// Checks addresses that are known against a sound base scenario, and tells what is wrong with the rest.
    pub fn tell_addresses(&mut self, base: &str) {
        if let Some(sweep) = self.sweep.as_ref().or(self.unsound.as_ref()) {
            self.problems.extend(check_addresses(sweep, base));
            self.problems.sort_by_key(|problem| problem.span.start);
        }
    }
}

/// Reads a sweep file.
pub fn read(source: &str) -> ReadSweep {
    let (sweep, mut problems) = read_text(source, read_root);
    if let Some(sweep) = &sweep {
        check(sweep, &mut problems);
    }
    if !problems.has_errors() {
        return ReadSweep { sweep, problems: problems.into_vec(), unsound: None };
    }
    let unsound = sweep.map(|sweep| known_part(sweep, &problems));
    ReadSweep { sweep: None, problems: problems.into_vec(), unsound }
}

/// What is known of a sweep with errors: the scenario, and factors whose addresses were read.
fn known_part(mut sweep: Sweep, problems: &Diagnostics) -> Sweep {
    let is_wrong = |path: &str| problems.errors().any(|error| error.path == path);
    if is_wrong(&sweep.scenario.place.path) {
        sweep.scenario = Spanned::default();
    }
    sweep.factors.retain(|factor| {
        factor
            .addresses
            .iter()
            .all(|address| !address.place.path.is_empty() && !is_wrong(&address.place.path))
    });
    sweep
}

/// The JSON Schema of sweep files.
pub fn schema() -> serde_json::Value {
    schema::describe("feedproof sweep", read_root)
}

const DESIGNS: &[Variant<Design>] = &[
    Variant {
        word: "grid",
        doc: "Every level of every factor with every level of the others; the last factor changes first",
        read: |_| Design::Grid,
    },
    Variant {
        word: "list",
        doc: "The points of a table: CSV with a column for each factor",
        read: |object| {
            let doc = "The table, seen from the folder of the sweep file; a cell holds a value, or the label of one";
            Design::List(object.required("file", placed(text()), doc))
        },
    },
    Variant {
        word: "latin_hypercube",
        doc: "Points that fill the range of each factor evenly, one factor at a time",
        read: |object| Design::LatinHypercube(read_points(object)),
    },
    Variant {
        word: "sobol",
        doc: "Points of a scrambled Sobol sequence, which fills all ranges evenly together; a power of two is best",
        read: |object| Design::Sobol(read_points(object)),
    },
];

fn read_points(object: &mut Object<'_>) -> u64 {
    object.required("points", count().at_least(2).at_most(MOST_POINTS), "Number of points")
}

fn read_root(object: &mut Object<'_>) -> Sweep {
    object.maybe("$schema", text(), "Where an editor finds the schema; not read");
    object.required(
        "feedproof_sweep",
        count().at_least(SWEEP_FORMAT).at_most(SWEEP_FORMAT),
        "Version of the sweep file: 1",
    );
    let replications = either(
        count().at_least(2).at_most(1_000_000),
        nested("precision", |object| {
            let wanted = "Error of the mean rate at which a point is done, as a share of it";
            let share = object.required("precision", share().positive().at_most("50 %"), wanted);
            let most = count().at_least(FEWEST_TO_STOP).at_most(1_000_000);
            let at_most = object.optional("at_most", most, "1000", "Most replications of a point");
            Replications::Precision { share, at_most }
        }),
    )
    .map(|choice| match choice {
        Choice::First(n) => Replications::Fixed(n),
        Choice::Second(precision) => precision,
    });
    let outputs: Option<Vec<Spanned<String>>> = object.maybe(
        "outputs",
        list_of(placed(text())).at_least(1),
        "What is kept of each point, by name as in the columns of replications.csv; `*` stands for anything. Left out: \
         rate, gross_rate, feed_availability, bad_ppm, passes_per_delivered, stops",
    );
    Sweep {
        title: object.maybe("title", text(), "What the sweep is for, in a few words"),
        scenario: object.required(
            "scenario",
            placed(text()),
            "The scenario: a file, seen from the folder of the sweep file, or the name of a built-in line",
        ),
        factors: named(object.required("factors", factors(), "What is changed from point to point, by name")),
        design: object.optional(
            "design",
            variants("design", "type", DESIGNS),
            "{\"type\": \"grid\"}",
            "Where the points lie",
        ),
        replications: object.optional(
            "replications",
            replications,
            "20",
            "Replications of each point: a number, or until a precision is reached",
        ),
        seed: object.maybe("seed", count(), "Seed of all luck; left out: that of the scenario"),
        outputs: outputs.unwrap_or_else(|| {
            let plain = |name: &&str| Spanned { value: (*name).to_owned(), place: Default::default() };
            OUTPUTS.iter().map(plain).collect()
        }),
    }
}

/// What each design needs of the factors.
fn check(sweep: &Sweep, problems: &mut Diagnostics) {
    let mut n_points: u64 = 1;
    for factor in &sweep.factors {
        let (lacks, expected) = match sweep.design {
            Design::List(_) => continue,
            Design::Grid => {
                (factor.n_levels().is_none(), "`values`; or `low`, `high` and `step` or `points`")
            }
            Design::LatinHypercube(_) | Design::Sobol(_) => {
                (factor.is_free(), "`values`, or `low` and `high`")
            }
        };
        let is_misread = problems.errors().any(|error| error.path.starts_with(&factor.place.path));
        if lacks && !is_misread && !problems.errors().any(|error| error.path.starts_with("design")) {
            let message = format!("the factor `{}` has no values for this design", factor.name);
            problems.error(&factor.place, Problem::new(code::MISSING_KEY, message).expected(expected));
        }
        n_points = n_points.saturating_mul(factor.n_levels().unwrap_or(1));
    }
    let place = || sweep.factors.last().map(|factor| factor.place.clone()).unwrap_or_default();
    if let Design::Sobol(_) = sweep.design
        && sweep.factors.len() > MOST_FACTORS
    {
        let message = format!("a Sobol sequence has {MOST_FACTORS} factors at most");
        let problem = Problem::new(code::OUT_OF_RANGE, message);
        problems.error(&place(), problem.help("a design of type `latin_hypercube` takes any number"));
    }
    if sweep.design == Design::Grid && n_points > MOST_POINTS {
        let message = format!("the grid has more than {MOST_POINTS} points");
        problems.error(
            &place(),
            Problem::new(code::OUT_OF_RANGE, message).help("a design of type `sobol` needs fewer points"),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sweep_file_is_read_with_its_defaults() {
        let ReadSweep { sweep, problems, .. } = read(
            r#"{"feedproof_sweep": 1, "scenario": "starter",
                "factors": {"track": {"set": "track.length", "low": "0.6 m", "high": "1.2 m", "step": "0.2 m"}}}"#,
        );
        assert_eq!(problems, []);
        let sweep = sweep.unwrap();
        assert_eq!(
            (sweep.design, sweep.replications, sweep.seed),
            (Design::Grid, Replications::Fixed(20), None)
        );
        assert_eq!((sweep.outputs.len(), sweep.factors[0].name.as_str()), (OUTPUTS.len(), "track"));
    }

    #[test]
    fn all_problems_are_told_at_once_with_their_places() {
        let ReadSweep { sweep, problems, .. } = read(
            r#"{"feedproof_sweep": 1, "scenaro": "starter", "replications": {"precision": "0.5 m"},
                "design": {"type": "gird"}, "factors": {"track": {"set": "track.length", "lo": 1}}}"#,
        );
        assert!(sweep.is_none());
        let paths: Vec<(&str, &str)> =
            problems.iter().map(|p| (p.path.as_str(), p.help.as_deref().unwrap_or(""))).collect();
        assert_eq!(
            paths,
            [
                ("scenaro", "did you mean `scenario`?"),
                ("replications.precision", ""),
                ("design.type", "did you mean `grid`?"),
                // A range has two ends, however they are spelt.
                ("factors.track", ""),
                ("factors.track.lo", "did you mean `low`?"),
            ]
        );
        let ReadSweep { sweep, problems, .. } = read(
            r#"{"feedproof_sweep": 1, "scenario": "x", "factors": {"f": {"set": "a.b", "low": 0.5, "high": 1}}}"#,
        );
        assert!(sweep.is_none() && problems[0].message.contains("no values for this design"), "{problems:?}");
    }
}
