//! All that is done with a log of times: fits, goodness, warnings, a proposal.
//!
//! The proposal: of the laws whose distance is not unlikely (5 %), the one with the least corrected criterion of Akaike; the times
//! themselves if all laws are unlikely; the exponential law, which has one parameter, if fewer than [`FEWEST_FOR_SHAPE`] ended.
//! Invariant: a law is never proposed without the reason.

use super::goodness::goodness;
use super::result::{GoodnessFit, LawFit, NotFitted, ParameterFit, TimesFit};
use super::{Family, Fitted, Sample, estimators, fitted::Parameter, paste};

/// With fewer ends than this, no law of two parameters is proposed.
pub const FEWEST_FOR_SHAPE: u64 = 5;
/// With fewer ends than this, laws cannot be told apart.
pub const FEWEST_TO_TELL: u64 = 10;
/// With fewer ends than this, only gross differences are seen.
pub const FEWEST_TO_SEE: u64 = 30;
/// Below this chance a law is not proposed.
const UNLIKELY: f64 = 0.05;
/// Below this chance an order of the rows is warned of.
const SUSPECT: f64 = 0.01;

/// How to fit.
#[derive(Debug, Clone, PartialEq)]
pub struct TimesOptions {
    /// Unit of the times, as a scenario writes it.
    pub unit: String,
    /// Where the times come from, for the note in the scenario.
    pub origin: String,
    /// Level of the intervals, strictly between 0 and 1.
    pub level: f64,
    /// Bootstrap samples for each law; 0: no chances.
    pub bootstrap: u64,
    /// Seed of the bootstrap samples.
    pub seed: u64,
}

/// Fits all laws to a sample.
pub fn fit_times(sample: &Sample, options: &TimesOptions) -> TimesFit {
    let (mut fits, mut not_fitted) = (Vec::new(), Vec::new());
    for family in Family::ALL {
        let found = estimators::fit(family, sample).map_err(|why| why.to_string());
        match found.and_then(|law| law.law().check().map(|()| law)) {
            Ok(law) => fits.push(of_law(sample, &law, options)),
            Err(why) => not_fitted.push(NotFitted { law: family, why }),
        }
    }
    let (proposed, reason) = proposal(sample, &fits);
    fits.sort_by(|a, b| {
        let is_proposed = |fit: &LawFit| proposed.as_deref() == Some(fit.law.word());
        let criterion = |fit: &LawFit| fit.aicc.unwrap_or(fit.bic);
        is_proposed(b).cmp(&is_proposed(a)).then(criterion(a).total_cmp(&criterion(b)))
    });
    let warnings = warnings(sample, &fits, options);
    TimesFit {
        unit: options.unit.clone(),
        n: sample.n,
        n_ended: sample.n_ended,
        n_cut_off: sample.n - sample.n_ended,
        total: sample.total,
        range: sample.grains.first().zip(sample.grains.last()).map(|(first, last)| (first.time, last.time)),
        is_exact: sample.is_exact,
        level: options.level,
        seed: options.seed,
        order: sample.order,
        laws: fits,
        not_fitted,
        empirical: paste::empirical(sample).map(|law| {
            paste::law(&law, &options.unit, &format!("as observed: {}", counted(sample, options)))
        }),
        proposed,
        reason,
        warnings,
    }
}

fn counted(sample: &Sample, options: &TimesOptions) -> String {
    let cut_off = match sample.n - sample.n_ended {
        0 => String::new(),
        n => format!(", {n} of them cut off"),
    };
    format!("{} times{cut_off}, {}", sample.n, options.origin)
}

fn of_law(sample: &Sample, law: &Fitted, options: &TimesOptions) -> LawFit {
    let parameter = |found: &Parameter| ParameterFit {
        name: found.name.to_owned(),
        unit: if found.is_time { options.unit.clone() } else { String::new() },
        value: found.value,
        standard_error: found.standard_error,
        low: found.low,
        high: found.high,
    };
    let (aicc, bic) = law.criteria();
    let (mean, spread) = law.mean_and_spread();
    let found = goodness(sample, law, options.bootstrap, options.seed);
    let note = format!("fitted by maximum likelihood to {}", counted(sample, options));
    LawFit {
        law: law.family,
        parameters: law.parameters(options.level).iter().map(parameter).collect(),
        natural: law.natural_parameters(options.level).iter().map(parameter).collect(),
        mean,
        spread,
        log_likelihood: law.log_likelihood,
        aicc,
        bic,
        goodness: GoodnessFit {
            statistic: found.statistic.name().to_owned(),
            value: found.value,
            chance: found.chance,
            samples: found.samples,
        },
        paste: paste::law(&law.law(), &options.unit, &note),
    }
}

fn proposal(sample: &Sample, fits: &[LawFit]) -> (Option<String>, String) {
    if sample.n_ended == 0 {
        return (None, "no time ended, so no law can be fitted".to_owned());
    }
    let is_there = |family: Family| fits.iter().any(|fit| fit.law == family);
    if sample.n_ended < FEWEST_FOR_SHAPE && is_there(Family::Exponential) {
        let reason = format!("{} ends are enough for a mean, not for a shape", sample.n_ended);
        return (Some(Family::Exponential.word().to_owned()), reason);
    }
    let is_likely = |fit: &&LawFit| fit.goodness.chance.is_none_or(|chance| chance >= UNLIKELY);
    let criterion = |fit: &LawFit| fit.aicc.unwrap_or(fit.bic);
    let best = fits.iter().filter(is_likely).min_by(|a, b| criterion(a).total_cmp(&criterion(b)));
    match best {
        Some(best) => {
            let likely = fits.iter().filter(is_likely).count();
            let reason = if likely == 1 {
                "the only law that is not unlikely at 5 %".to_owned()
            } else {
                format!("least AICc of the {likely} laws that are not unlikely at 5 %")
            };
            (Some(best.law.word().to_owned()), reason)
        }
        None if fits.is_empty() => (Some("observed".to_owned()), "no law can be fitted".to_owned()),
        None => (
            Some("observed".to_owned()),
            "every law is unlikely at 5 %: take the times themselves".to_owned(),
        ),
    }
}

fn warnings(sample: &Sample, fits: &[LawFit], options: &TimesOptions) -> Vec<String> {
    let mut said = Vec::new();
    let (n, ended) = (sample.n, sample.n_ended);
    if ended == 0 {
        if sample.total > 0.0 {
            // No end in a time T: exp(-T / mean) is 1 - level (rule of three).
            let bound = sample.total / -libm::log(1.0 - options.level);
            said.push(format!(
                "No time ended. If times are exponential their mean is above {} {} ({:.0} % sure); that is all these rows say.",
                paste::rounded(bound),
                options.unit,
                100.0 * options.level
            ));
        }
        return said;
    }
    if ended < FEWEST_TO_TELL {
        said.push(format!("Too few: {ended} times that ended cannot tell one law from another; look at the intervals, and measure more."));
    } else if ended < FEWEST_TO_SEE {
        said.push(format!(
            "Few: {ended} times that ended show only gross differences from a law; the tail is guessed."
        ));
    }
    if let Some(order) = sample.order {
        if order.trend_chance < SUSPECT {
            let way = if order.trend > 0.0 { "shorter" } else { "longer" };
            said.push(format!(
                "Trend: times get {way} from row to row (Lewis-Robinson {:.2}, chance {:.2e}). One law for all of them is wrong; fit the later rows alone, or find the cause.",
                order.trend, order.trend_chance
            ));
        }
        if order.lag_1_chance < SUSPECT {
            said.push(format!(
                "Not independent: neighbouring rows are correlated (lag 1: {:.2}, chance {:.2e}). Errors and chances here are too small; a shift will vary more than the model says.",
                order.lag_1, order.lag_1_chance
            ));
        }
    }
    if sample.is_sorted {
        said.push("The rows are in order of size, so a trend or a dependence cannot be seen any more; fit the log as it was written.".to_owned());
    }
    if ended >= 20 && 5 * sample.n_different() < ended && sample.is_exact {
        said.push(format!(
            "Coarse: {ended} times take only {} values; goodness of fit judges the rounding too.",
            sample.n_different()
        ));
    }
    if 2 * ended < n {
        said.push(
            "More than half of the times were cut off: what a law says of long times is extrapolated."
                .to_owned(),
        );
    }
    if !fits.is_empty() && fits.iter().all(|fit| fit.goodness.chance.is_some_and(|chance| chance < UNLIKELY))
    {
        said.push(
            "No law fits: there may be two kinds of stops in one log. Look at the quantile plot.".to_owned(),
        );
    }
    if !sample.is_exact {
        said.push(
            "Many rows: times were kept in groups of one part in 16 384, which changes no digit shown."
                .to_owned(),
        );
    }
    said
}
