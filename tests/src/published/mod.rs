//! Rows of the table of published values as scenario files, and how they are tested.
//!
//! **The rule, declared beforehand.** Each row is simulated in independent replications from
//! [`FIRST_SEED`] on. It agrees if the exact value lies in the t interval of level 1 - [`ALPHA`] of the
//! replications' means; if it does not, the whole row is repeated once from [`SECOND_SEED`] on, and fails if it
//! does not agree again. The interval must not be wider to each side than the row's own declared share of
//! the exact value, so that no row passes by being vague. Values that luck does not touch are compared
//! exactly, within a stated rounding.
//!
//! **Chance that a right program fails.** A long-run row opens its window after
//! [`WARM_UP_MEMORIES`](trial::WARM_UP_MEMORIES) relaxation times; what the start leaves in the mean is a
//! 2e-9th part of its first size, far below a tenth of the half-width. Even with a bias of a full tenth of
//! the half-width, one try fails with chance P(|Z + z/10| > z) for P(|Z| > z) = ALPHA, which is 5.2e-4;
//! two tries 2.7e-7; 125 simulated rows at most 3.4e-5: under 1 in 10,000. [`false_alarm`] works this out and a test asserts
//! it. Means of the replications are taken as normal; every row has at least 100 of them.
//!
//! What a relaxation time is bounded by is stated beside each family, from the diffusion that the content
//! of the line follows: it is a bound to choose the warm-up by, not a result.

pub mod assembly;
pub mod attendants;
pub mod design;
pub mod fitting;
pub mod jams;
pub mod line;
pub mod lines;
pub mod orienting;
pub mod queues;
pub mod sensitivity;
pub mod start_up;
pub mod table;
pub mod transport;
pub mod trial;

use sim_core::statistics::quantiles::normal_upper;
use sim_core::statistics::{Estimate, Moments};
use table::{Value, value_of};
use trial::Trial;

/// Chance that one try of a right row disagrees.
pub const ALPHA: f64 = 2.5e-4;
/// Seed of the first try; the number of the row in the table is added, so that rows do not share their luck.
pub const FIRST_SEED: u64 = 1000;
/// Seed of the repeat, likewise.
pub const SECOND_SEED: u64 = 2000;

/// How a row is tested.
pub enum Test {
    /// By simulation: the interval has to contain the value and be no wider than this share of it.
    Simulated {
        /// The trial.
        trial: Trial,
        /// Largest half-width as a share of the value.
        widest: f64,
    },
    /// Without luck: one number that differs by at most this much.
    Exactly {
        /// Works out the number.
        found: Box<dyn Fn() -> f64 + Send + Sync>,
        /// Largest difference.
        within: f64,
    },
}

/// A row of the table, ready to be tested. Several may test the same row in different ways.
pub struct Row {
    /// Which row of the table.
    pub id: &'static str,
    /// What the trial measures, from the table's value (the value itself, unless stated).
    pub expected: fn(f64) -> f64,
    /// How.
    pub test: Test,
}

impl Row {
    /// A simulated row.
    pub fn simulated(id: &'static str, widest: f64, trial: Trial) -> Self {
        Row { id, expected: |exact| exact, test: Test::Simulated { trial, widest } }
    }

    /// A row without luck.
    pub fn exactly(id: &'static str, within: f64, found: impl Fn() -> f64 + Send + Sync + 'static) -> Self {
        Row { id, expected: |exact| exact, test: Test::Exactly { found: Box::new(found), within } }
    }

    /// States what the trial measures, as a function of the table's value.
    #[must_use]
    pub fn expecting(mut self, expected: fn(f64) -> f64) -> Self {
        self.expected = expected;
        self
    }

    /// Tests the row; says what came of it.
    ///
    /// # Errors
    /// What was found instead.
    pub fn check(&self) -> Result<String, String> {
        let value = value_of(self.id);
        let exact = (self.expected)(value.exact);
        match &self.test {
            Test::Simulated { trial, widest } => {
                let first = attempt(trial, FIRST_SEED + value.number, exact, *widest, &value)?;
                if first.agrees {
                    return Ok(first.words);
                }
                let second = attempt(trial, SECOND_SEED + value.number, exact, *widest, &value)?;
                if second.agrees {
                    Ok(second.words)
                } else {
                    Err(format!("{}\n{}", first.words, second.words))
                }
            }
            Test::Exactly { found, within } => {
                let found = found();
                let words = format!("{}: {found} for {exact}, within {within}", self.id);
                if (found - exact).abs() <= *within { Ok(words) } else { Err(words) }
            }
        }
    }
}

struct Attempt {
    agrees: bool,
    words: String,
}

fn attempt(trial: &Trial, seed: u64, exact: f64, widest: f64, value: &Value) -> Result<Attempt, String> {
    let mut moments = Moments::new();
    for result in trial.run(seed, 0..trial.replications) {
        moments.push(result);
    }
    let estimate = Estimate::of_mean(&moments, 1.0 - ALPHA).map_err(|why| why.to_string())?;
    let half = estimate.half_width() / exact;
    let off = (estimate.mean - exact) / estimate.standard_error;
    let words = format!(
        "{} ({}; {}): {:.6} +/- {:.3} % for {:.6}, {off:+.2} standard errors off, seed {seed}",
        value.id,
        value.parameters,
        value.quantity,
        estimate.mean,
        100.0 * half,
        exact
    );
    if half > widest {
        return Err(format!("{words}: wider than the declared {} %", 100.0 * widest));
    }
    Ok(Attempt { agrees: estimate.low <= exact && exact <= estimate.high, words })
}

/// Every row that is tested.
pub fn rows() -> Vec<Row> {
    let families = [
        queues::rows(),
        start_up::rows(),
        lines::rows(),
        jams::rows(),
        attendants::rows(),
        orienting::rows(),
        transport::rows(),
        assembly::rows(),
        design::rows(),
        sensitivity::rows(),
        fitting::rows(),
    ];
    families.into_iter().flatten().collect()
}

/// Why a packing fraction is no value of a line.
const NO_SHAPES: &str = "a packing fraction is the volume of a part times the pieces per volume in bulk; a line knows the second, \
    as `density` of its parts, and of the first nothing: parts have a length and a weight, no shape. So the fraction could only \
    be put in, divided by a volume worked out here, and come out again as it was put in";

/// Rows of the table that are not tested, and why.
pub const LEFT_OUT: &[(&str, &str)] = &[("K-05", NO_SHAPES), ("K-06", NO_SHAPES)];

/// Chance that a right program fails at one of `n` simulated rows, each tried twice, with a bias of a tenth
/// of the half-width in all of them.
pub fn false_alarm(n: usize) -> f64 {
    let z = normal_upper(0.5 * ALPHA);
    let beyond = |x: f64| 0.5 * libm::erfc(x / std::f64::consts::SQRT_2);
    let once = beyond(z - 0.1 * z) + beyond(z + 0.1 * z);
    n as f64 * once * once
}

/// Tests all rows of a family; all that disagree are reported together.
///
/// # Panics
/// If a row disagrees.
pub fn check_family(family: &str, rows: &[Row]) {
    assert!(!rows.is_empty(), "family {family} has rows");
    let mut wrong = Vec::new();
    for row in rows {
        match row.check() {
            Ok(words) => println!("{words}"),
            Err(words) => wrong.push(words),
        }
    }
    assert!(wrong.is_empty(), "rows of family {family} disagree:\n{}", wrong.join("\n"));
}
