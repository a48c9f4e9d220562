//! Random amounts.

/// A random amount: `minimum` plus a draw of `shape`, in SI base units or as a plain count.
#[derive(Debug, Clone, PartialEq)]
pub struct Law {
    /// Added to every draw.
    pub minimum: f64,
    /// What is drawn.
    pub shape: Shape,
}

/// The shape of a random amount.
#[derive(Debug, Clone, PartialEq)]
#[expect(missing_docs, reason = "stands in for the full module")]
pub enum Shape {
    Fixed(f64),
    Uniform { from: f64, to: f64 },
    Triangular { low: f64, likely: f64, high: f64 },
    Exponential { mean: f64 },
    Gamma { mean: f64, spread: f64 },
    Lognormal { mean: f64, spread: f64 },
    Weibull { shape: f64, scale: f64 },
    Geometric { mean: f64, step: f64 },
    Binomial { trials: u32, chance: f64 },
    Poisson { mean: f64 },
    Table(Vec<(f64, f64)>),
    Observed(Vec<f64>),
}

impl Law {
    /// Whether the parameters make a possible law.
    ///
    /// # Errors
    /// Says in words what contradicts what.
    pub fn check(&self) -> Result<(), String> {
        Ok(())
    }
}
