//! Posteriors: what evidence says of an input, as a law to draw from.
//!
//! | evidence | posterior |
//! |---|---|
//! | chance counted | beta (a + seen, b + not seen) |
//! | shares counted | Dirichlet (shape + count of each) |
//! | events in a time | the rate is gamma (shape + events, rate + time); the times between are exponential |
//! | observed values | weights of the values are Dirichlet (1, 1, ...): the Bayesian bootstrap (Rubin 1981) |
//!
//! Conjugate priors: Gelman et al. (2013), Bayesian Data Analysis, chapter 2 and 3. Gamma variates are drawn by
//! inversion, one word each, so that a draw takes the same words whatever the counts. Invariant: what is drawn lies
//! inside of what the file accepts, but for sums over several inputs.

use crate::kernel::Stream;
use crate::kernel::multinomial::{binomial, multinomial};
use crate::kernel::quantile::Gamma;
use crate::kernel::sampler::{Method, Sampler};
use crate::statistics::Moments;
use crate::statistics::quantiles::{beta, chi_square};
use crate::terms::law::{Law, Shape};
use crate::text::evidence::Seen;
use serde_json::{Value, json};

/// One value drawn from a posterior.
#[derive(Debug, Clone, PartialEq)]
pub enum Drawn {
    /// A chance.
    Chance(f64),
    /// Shares in the order of the file, adding up to one.
    Shares(Vec<f64>),
    /// Mean time between events, s.
    Between(f64),
    /// Weights of the different values, ascending, adding up to one; with mean and variance under them.
    Weights {
        /// The weights.
        weights: Vec<f64>,
        /// Mean of the values.
        mean: f64,
        /// Their variance.
        variance: f64,
    },
}

/// Longest mean time between events that is drawn, s: as good as never, and still a time that the file accepts.
const NEVER_S: f64 = 1e12;

/// Different values, ascending, with how often each was observed.
fn tallied(values: &[f64]) -> Vec<(f64, u64)> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut rows: Vec<(f64, u64)> = Vec::new();
    for value in sorted {
        match rows.last_mut() {
            Some((last, n)) if *last == value => *n += 1,
            _ => rows.push((value, 1)),
        }
    }
    rows
}

/// Draws from a Dirichlet law: gamma variates over their sum. Their logarithms are scaled by the largest, since all may
/// be too small for a double.
fn dirichlet(shapes: impl Iterator<Item = f64>, stream: &mut Stream) -> Vec<f64> {
    let logs: Vec<f64> = shapes.map(|shape| Gamma::new(shape).ln_at(stream.inner_unit())).collect();
    let largest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut shares: Vec<f64> = logs.iter().map(|log| libm::exp(log - largest)).collect();
    let sum: f64 = shares.iter().sum();
    shares.iter_mut().for_each(|share| *share /= sum);
    shares
}

/// One draw from the posterior.
pub fn draw(seen: &Seen, stream: &mut Stream) -> Drawn {
    match seen {
        Seen::Chance { seen, of, prior } => {
            let shapes = [prior.0 + *seen as f64, prior.1 + (of - seen) as f64];
            Drawn::Chance(dirichlet(shapes.into_iter(), stream)[0])
        }
        Seen::Shares { rows, prior } => {
            Drawn::Shares(dirichlet(rows.iter().map(|(_, count)| prior + *count as f64), stream))
        }
        Seen::Events { seen, time_s, prior } => {
            let gamma = Gamma::new(prior.0 + *seen as f64).at(stream.inner_unit());
            Drawn::Between(((time_s + prior.1) / gamma).min(NEVER_S))
        }
        Seen::Values { values, .. } => {
            let rows = tallied(values);
            let weights = dirichlet(rows.iter().map(|(_, n)| *n as f64), stream);
            let weighed = |of: &dyn Fn(f64) -> f64| -> f64 {
                rows.iter().zip(&weights).map(|((value, _), weight)| weight * of(*value)).sum()
            };
            let mean = weighed(&|value| value);
            let variance = weighed(&|value| (value - mean) * (value - mean));
            Drawn::Weights { weights, mean, variance }
        }
    }
}

/// What stands in the file in place of the evidence if this is the truth.
///
/// # Panics
/// If the value is of another sort of evidence.
pub fn written(seen: &Seen, drawn: &Drawn) -> Value {
    match (seen, drawn) {
        (Seen::Chance { .. }, Drawn::Chance(chance)) => json!(chance),
        (Seen::Shares { rows, .. }, Drawn::Shares(shares)) => {
            let entries = rows.iter().zip(shares).map(|((name, _), share)| (name.clone(), json!(share)));
            Value::Object(entries.collect())
        }
        (Seen::Events { .. }, Drawn::Between(mean)) => {
            json!({ "law": "exponential", "mean": format!("{mean} s") })
        }
        (Seen::Values { values, unit, minimum }, Drawn::Weights { weights, .. }) => {
            let amount = |value: f64| {
                if unit.is_empty() { json!(value as u64) } else { json!(format!("{value} {unit}")) }
            };
            let rows = tallied(values);
            let rows = rows.iter().zip(weights);
            let rows: Vec<Value> = rows
                .map(|((value, _), weight)| json!({ "value": amount(*value), "weight": weight }))
                .collect();
            if *minimum > 0.0 {
                json!({ "law": "table", "values": rows, "minimum": amount(*minimum) })
            } else {
                json!({ "law": "table", "values": rows })
            }
        }
        (
            Seen::Chance { .. } | Seen::Shares { .. } | Seen::Events { .. } | Seen::Values { .. },
            Drawn::Chance(_) | Drawn::Shares(_) | Drawn::Between(_) | Drawn::Weights { .. },
        ) => panic!("a draw is of the sort of its evidence"),
    }
}

/// A number of the input, with what the evidence says of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimated {
    /// Which number: a name among shares; empty if there is one only.
    pub name: String,
    /// What is used where the input is taken as known: a share, a mean in base units, events per hour.
    pub estimate: f64,
    /// Lower end of the central credible interval.
    pub low: f64,
    /// Upper end of the central credible interval.
    pub high: f64,
}

/// The numbers of an input with central credible intervals of this level: exact for counts; for values that of the mean,
/// from 2000 draws of the bootstrap with a seed of their own.
pub fn estimated(seen: &Seen, level: f64) -> Vec<Estimated> {
    let (below, above) = (0.5 * (1.0 - level), 0.5 * (1.0 + level));
    let of_beta = |name: &str, estimate: f64, a: f64, b: f64| Estimated {
        name: name.to_owned(),
        estimate,
        low: beta(below, a, b),
        high: beta(above, a, b),
    };
    match seen {
        Seen::Chance { seen, of, prior } => {
            let (hit, miss) = (*seen as f64, (of - seen) as f64);
            vec![of_beta("", hit / *of as f64, prior.0 + hit, prior.1 + miss)]
        }
        Seen::Shares { rows, prior } => {
            let total: u64 = rows.iter().map(|(_, count)| count).sum();
            let all = total as f64 + prior * rows.len() as f64;
            let row = |(name, count): &(String, u64)| {
                let shape = prior + *count as f64;
                of_beta(name, *count as f64 / total as f64, shape, all - shape)
            };
            rows.iter().map(row).collect()
        }
        Seen::Events { seen, time_s, prior } => {
            // Gamma (shape, rate) is chi-square with twice the shape, over twice the rate.
            let (shape, time) = (prior.0 + *seen as f64, time_s + prior.1);
            let per_hour = |p: f64| 3600.0 * chi_square(p, 2.0 * shape) / (2.0 * time);
            let estimate = if *seen > 0 { *seen as f64 / time_s } else { shape / time };
            let name = String::new();
            vec![Estimated { name, estimate: 3600.0 * estimate, low: per_hour(below), high: per_hour(above) }]
        }
        Seen::Values { values, minimum, .. } => {
            const DRAWS: u64 = 2000;
            let mut stream = Stream::new(0, 0, "values", "interval of the mean");
            let mut means: Vec<f64> = (0..DRAWS).map(|_| numbers(&draw(seen, &mut stream))[0]).collect();
            means.sort_by(f64::total_cmp);
            let at = |p: f64| minimum + means[((p * DRAWS as f64) as usize).min(DRAWS as usize - 1)];
            let estimate = minimum + values.iter().sum::<f64>() / values.len() as f64;
            vec![Estimated { name: String::new(), estimate, low: at(below), high: at(above) }]
        }
    }
}

/// Numbers of a draw that a line may depend on: chances (but the last of shares, which follows from the others), a rate
/// of events per s, mean and variance of values.
pub fn numbers(drawn: &Drawn) -> Vec<f64> {
    match drawn {
        Drawn::Chance(chance) => vec![*chance],
        Drawn::Shares(shares) => shares[..shares.len().saturating_sub(1)].to_vec(),
        Drawn::Between(mean_s) => vec![1.0 / mean_s],
        Drawn::Weights { mean, variance, .. } => vec![*mean, *variance],
    }
}

/// Results of further trials.
#[derive(Debug, Clone, PartialEq)]
pub enum Trials {
    /// So many times in so many trials.
    Chance(u32, u32),
    /// Counts by name.
    Shares(Vec<u32>),
    /// Events, in a time in s.
    Events(f64, f64),
    /// Mean of further values, and the variance that such a mean has.
    Mean(f64, f64),
}

/// Most trials of which results are drawn.
const MOST_TRIALS: f64 = 1e9;

/// Draws the results of `times` as many further trials as there were, if `truth` holds. Further values are told by their
/// mean, which is taken as normal with the variance of those observed.
pub fn further(seen: &Seen, truth: &Drawn, times: f64, stream: &mut Stream) -> Trials {
    let trials = |n: u64| (times * n as f64).round().clamp(1.0, MOST_TRIALS) as u32;
    match (seen, truth) {
        (Seen::Chance { of, .. }, Drawn::Chance(chance)) => {
            let n = trials(*of);
            Trials::Chance(binomial(n, *chance, stream), n)
        }
        (Seen::Shares { rows, .. }, Drawn::Shares(shares)) => {
            let n = trials(rows.iter().map(|(_, count)| count).sum());
            Trials::Shares(multinomial(n, shares, stream))
        }
        (Seen::Events { time_s, .. }, Drawn::Between(mean_s)) => {
            let time = times * time_s;
            let law: Law = Shape::Poisson { mean: (time / mean_s).min(MOST_TRIALS) }.into();
            Trials::Events(Sampler::new(&law, 1.0, Method::Inversion).draw(stream), time)
        }
        (Seen::Values { values, .. }, Drawn::Weights { mean, .. }) => {
            let spread: Moments = values.iter().copied().collect();
            let variance = spread.variance().unwrap_or(0.0) / f64::from(trials(values.len() as u64));
            Trials::Mean(mean + variance.sqrt() * stream.normal(), variance)
        }
        (
            Seen::Chance { .. } | Seen::Shares { .. } | Seen::Events { .. } | Seen::Values { .. },
            Drawn::Chance(_) | Drawn::Shares(_) | Drawn::Between(_) | Drawn::Weights { .. },
        ) => panic!("a draw is of the sort of its evidence"),
    }
}

/// Logarithm of the likelihood of such results, but for what does not depend on the input.
pub fn ln_likelihood(results: &Trials, drawn: &Drawn) -> f64 {
    // Nothing seen says nothing, however small the chance: 0 ln 0 is 0.
    let times_ln = |n: f64, p: f64| if n == 0.0 { 0.0 } else { n * libm::log(p) };
    match (results, drawn) {
        (Trials::Chance(hits, n), Drawn::Chance(chance)) => {
            times_ln(f64::from(*hits), *chance) + times_ln(f64::from(n - hits), 1.0 - chance)
        }
        (Trials::Shares(counts), Drawn::Shares(shares)) => {
            counts.iter().zip(shares).map(|(count, share)| times_ln(f64::from(*count), *share)).sum()
        }
        (Trials::Events(events, time), Drawn::Between(mean_s)) => {
            times_ln(*events, 1.0 / mean_s) - time / mean_s
        }
        (Trials::Mean(seen, variance), Drawn::Weights { mean, .. }) if *variance > 0.0 => {
            let gap = seen - mean;
            -0.5 * gap * gap / variance
        }
        (
            Trials::Chance(..) | Trials::Shares(_) | Trials::Events(..) | Trials::Mean(..),
            Drawn::Chance(_) | Drawn::Shares(_) | Drawn::Between(_) | Drawn::Weights { .. },
        ) => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const N: u64 = 20_000;

    /// Moments of the first number of draws.
    fn drawn(seen: &Seen) -> Moments {
        let mut stream = Stream::new(3, 0, "test", "posterior");
        (0..N).map(|_| numbers(&draw(seen, &mut stream))[0]).collect()
    }

    fn holds(moments: &Moments, mean: f64, variance: f64) {
        let error = (variance / N as f64).sqrt();
        let found = moments.mean().unwrap_or(f64::NAN);
        assert!((found - mean).abs() < 4.5 * error, "mean {found} is not {mean}");
        // Variance of a sample variance is about 2 v^2 / n; posteriors here have a kurtosis of up to 12 or so.
        let found = moments.variance().unwrap_or(f64::NAN);
        assert!(
            (found / variance - 1.0).abs() < 4.5 * (12.0 / N as f64).sqrt(),
            "variance {found} is not {variance}"
        );
    }

    /// Moments of the beta, Dirichlet and gamma laws: Johnson, Kotz & Balakrishnan (1995); of the Bayesian bootstrap: Rubin
    /// (1981), mean of the values and their variance (divided by n) over n + 1.
    #[test]
    fn draws_have_the_moments_of_their_laws() {
        let chance = Seen::Chance { seen: 3, of: 50, prior: (0.5, 0.5) };
        holds(&drawn(&chance), 3.5 / 51.0, 3.5 * 47.5 / (51.0 * 51.0 * 52.0));
        let rows = [("a", 0), ("b", 20), ("c", 29)].map(|(name, count)| (name.to_owned(), count)).to_vec();
        let shares = Seen::Shares { rows, prior: 1.0 };
        holds(&drawn(&shares), 1.0 / 52.0, 51.0 / (52.0 * 52.0 * 53.0));
        let events = Seen::Events { seen: 3, time_s: 100.0, prior: (0.5, 0.0) };
        holds(&drawn(&events), 0.035, 3.5 / 10_000.0);
        let values = Seen::Values { values: vec![1.0, 2.0, 2.0, 5.0], unit: "s", minimum: 0.0 };
        holds(&drawn(&values), 2.5, 2.25 / 5.0);
    }

    #[test]
    fn what_is_written_is_what_was_drawn() {
        let values = Seen::Values { values: vec![2.0, 1.0, 2.0], unit: "", minimum: 1.0 };
        let weights = vec![0.25, 0.75];
        let text = written(&values, &Drawn::Weights { weights, mean: 1.75, variance: 0.1 }).to_string();
        let expected =
            r#"{"law":"table","values":[{"value":1,"weight":0.25},{"value":2,"weight":0.75}],"minimum":1}"#;
        assert_eq!(text, expected);
        let events = Seen::Events { seen: 0, time_s: 10.0, prior: (0.5, 0.0) };
        let text = written(&events, &Drawn::Between(12.5)).to_string();
        assert_eq!(text, r#"{"law":"exponential","mean":"12.5 s"}"#);
    }

    /// Garwood (1936): the 95 % interval of a Poisson mean of which 3 were seen is 0.6187 to 8.7673; with the prior gamma
    /// (0, 0) for the lower end and (1, 0) for the upper one the posterior has just these quantiles.
    #[test]
    fn intervals_of_rates_are_those_of_the_tables() {
        let hours = |prior| Seen::Events { seen: 3, time_s: 3600.0, prior };
        assert!((estimated(&hours((1e-9, 0.0)), 0.95)[0].low - 0.6187).abs() < 1e-4);
        assert!((estimated(&hours((1.0, 0.0)), 0.95)[0].high - 8.7673).abs() < 1e-4);
    }

    /// Likelihoods are the laws the results are drawn from: weighed by them, draws come back to the truth.
    #[test]
    fn results_of_many_further_trials_speak_for_the_truth() {
        let mut stream = Stream::new(4, 0, "test", "further");
        let all = [
            Seen::Chance { seen: 5, of: 50, prior: (0.5, 0.5) },
            Seen::Events { seen: 5, time_s: 50.0, prior: (0.5, 0.0) },
            Seen::Values { values: (1..30).map(f64::from).collect(), unit: "s", minimum: 0.0 },
        ];
        for seen in all {
            let truth = draw(&seen, &mut stream);
            let results = further(&seen, &truth, 1000.0, &mut stream);
            let own = numbers(&truth)[0];
            for _ in 0..50 {
                let other = draw(&seen, &mut stream);
                let apart = (numbers(&other)[0] / own - 1.0).abs() > 0.2;
                let gap = ln_likelihood(&results, &truth) - ln_likelihood(&results, &other);
                assert!(!apart || gap > 0.0, "{truth:?} against {other:?} by {results:?}");
            }
        }
    }
}
