//! Fitted laws and tables as text for a scenario.
//!
//! Numbers have six significant digits: far more than any log gives. Invariant: a scenario reads the text as it is, and the law
//! that it reads is the fitted one but for that rounding.

use super::{Sample, survival};
use crate::terms::law::{Law, Shape};
use serde_json::{Map, Value, json};

/// Most values of a list or a table; more are put together in so many groups.
pub const VALUES_MAX: usize = 200;

/// A number with six significant digits.
pub fn rounded(value: f64) -> f64 {
    format!("{value:.5e}").parse().unwrap_or(value)
}

fn amount(value: f64, unit: &str) -> Value {
    Value::String(format!("{} {unit}", rounded(value)))
}

/// A law of times in `unit` as an object of a scenario, with a note that says where it comes from.
pub fn law(law: &Law, unit: &str, note: &str) -> Value {
    let time = |value: f64| amount(value, unit);
    let mut object = Map::new();
    let mut put = |key: &str, value: Value| object.insert(key.to_owned(), value);
    match &law.shape {
        Shape::Exponential { mean } => {
            put("law", json!("exponential"));
            put("mean", time(*mean));
        }
        Shape::Weibull { shape, scale } => {
            put("law", json!("weibull"));
            put("shape", json!(rounded(*shape)));
            put("scale", time(*scale));
        }
        Shape::Gamma { mean, spread } => {
            put("law", json!("gamma"));
            put("mean", time(*mean));
            put("spread", time(*spread));
        }
        Shape::Lognormal { mean, spread } => {
            put("law", json!("lognormal"));
            put("mean", time(*mean));
            put("spread", time(*spread));
        }
        Shape::Observed(values) => {
            put("law", json!("observed"));
            put("values", values.iter().map(|value| time(*value)).collect());
        }
        Shape::Table(rows) => {
            let row =
                |(value, weight): &(f64, f64)| json!({"value": time(*value), "weight": rounded(*weight)});
            put("law", json!("table"));
            put("values", rows.iter().map(row).collect());
        }
        Shape::Fixed(_)
        | Shape::Uniform { .. }
        | Shape::Triangular { .. }
        | Shape::Geometric { .. }
        | Shape::Binomial { .. }
        | Shape::Poisson { .. } => panic!("only laws that are fitted are written: {law:?}"),
    }
    put("note", json!(note));
    Value::Object(object)
}

/// The empirical law of a sample: all times where there are few, means of equal shares where there are many; a table of
/// Kaplan-Meier weights where some were cut off, with what is left at the end on the longest time (Efron 1967). None if no time
/// ended.
pub fn empirical(sample: &Sample) -> Option<Law> {
    if sample.n_ended == 0 {
        return None;
    }
    if sample.n_ended == sample.n && sample.n as usize <= VALUES_MAX {
        let values =
            sample.grains.iter().flat_map(|grain| std::iter::repeat_n(grain.time, grain.count as usize));
        return Some(Shape::Observed(values.collect()).into());
    }
    let mut rows: Vec<(f64, f64)> =
        survival::steps(sample).iter().map(|step| (step.time, step.weight())).collect();
    let left = survival::steps(sample).last().map_or(0.0, |step| step.after);
    if let (true, Some(longest)) = (left > 0.0, sample.grains.last()) {
        rows.push((longest.time, left));
    }
    Some(Shape::Table(thinned(rows)).into())
}

/// Neighbouring rows put together until there are few enough, each at its mean; the weights add up to one.
fn thinned(rows: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    if rows.len() <= VALUES_MAX {
        return rows;
    }
    let share = 1.0 / VALUES_MAX as f64;
    let mut groups: Vec<(f64, f64)> = Vec::new();
    let mut done = 0.0;
    let mut current = usize::MAX;
    for (time, weight) in rows {
        let group = ((done + 0.5 * weight) / share) as usize;
        done += weight;
        match groups.last_mut() {
            Some((sum, total)) if group == current => {
                *sum += time * weight;
                *total += weight;
            }
            Some(_) | None => groups.push((time * weight, weight)),
        }
        current = group;
    }
    groups.into_iter().map(|(sum, total)| (sum / total, total)).collect()
}

/// JSON on one line, with a space after each colon and comma, as people write it.
pub fn on_one_line(value: &Value) -> String {
    match value {
        Value::Object(entries) => {
            let entries =
                entries.iter().map(|(key, value)| format!("{}: {}", json!(key), on_one_line(value)));
            format!("{{ {} }}", entries.collect::<Vec<_>>().join(", "))
        }
        Value::Array(list) => format!("[{}]", list.iter().map(on_one_line).collect::<Vec<_>>().join(", ")),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => value.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::sample::Grain;
    use crate::fit::{Family, TimesOptions, fit_times};
    use crate::text::fields::{Object, read_text};
    use crate::units::Dimension;

    /// What a scenario reads where the text is pasted, in seconds.
    fn read(text: &str) -> Law {
        let file = format!("{{\"time\": {text}}}");
        let object = |object: &mut Object<'_>| {
            object.required("time", crate::terms::law_form::law(Dimension::Time).positive(), "A time")
        };
        let (law, problems) = read_text(&file, object);
        assert!(!problems.has_errors(), "{text}: {problems:?}");
        law.expect("a text without errors is a law")
    }

    #[test]
    fn a_scenario_reads_the_fitted_law() {
        let grain = |k: u32| Grain { time: f64::from(k) * 0.37 + 1.0, count: 1, ended: k % 7 != 3 };
        let sample = Sample::of((0..60).map(grain).collect());
        let options = TimesOptions {
            unit: "min".to_owned(),
            origin: "a \"log\"".to_owned(),
            level: 0.95,
            bootstrap: 0,
            seed: 1,
        };
        let found = fit_times(&sample, &options);
        assert_eq!(found.laws.len(), Family::ALL.len());
        for fit in &found.laws {
            let law = read(&on_one_line(&fit.paste));
            assert!((law.mean() / 60.0 / fit.mean - 1.0).abs() < 1e-5, "{:?}", fit.law);
            assert!((law.variance().sqrt() / 60.0 / fit.spread - 1.0).abs() < 1e-4, "{:?}", fit.law);
        }
        let observed = read(&on_one_line(&found.empirical.expect("times ended")));
        let expected = empirical(&sample).expect("times ended");
        assert!((observed.mean() / 60.0 / expected.mean() - 1.0).abs() < 1e-5);
    }

    #[test]
    fn many_times_become_few_groups_with_the_same_mean() {
        let times: Vec<f64> = (0..5000).map(|k| f64::from(k * k % 4999) + 0.5).collect();
        let sample = Sample::complete(&times);
        let Some(law) = empirical(&sample) else { panic!("times ended") };
        let Shape::Table(rows) = &law.shape else { panic!("a table") };
        assert!(rows.len() <= VALUES_MAX + 1 && rows.len() >= VALUES_MAX / 2, "{}", rows.len());
        assert!((law.mean() / (sample.total / 5000.0) - 1.0).abs() < 1e-9);
    }
}
