//! Random laws, in every way in which the file format can state them.

use crate::luck::Luck;
use serde_json::{Value, json};

/// A random law around `mean`, with a minimum if it is wished; `text` writes an amount with its unit.
pub(crate) fn law(luck: &mut Luck, mean: f64, minimum: bool, text: fn(f64) -> String) -> Value {
    let s = |x: f64| text(mean * x);
    let values = || json!([s(0.5), s(1.0), s(1.5)]);
    let mut law = match luck.below(16) {
        0 => json!({"law": "fixed", "value": s(1.0)}),
        1 => json!({"law": "exponential", "mean": s(1.0)}),
        2 => json!({"law": "uniform", "from": s(0.5), "to": s(1.5)}),
        3 => json!({"from": s(0.5), "to": s(1.5)}),
        4 => json!({"law": "triangular", "low": s(0.4), "likely": s(1.0), "high": s(2.0)}),
        5 => json!({"low": s(0.4), "likely": s(1.0), "high": s(2.0)}),
        6 => json!({"law": "gamma", "mean": s(1.0), "spread": s(0.4)}),
        7 => json!({"mean": s(1.0), "spread": s(0.4)}),
        8 => json!({"law": "lognormal", "mean": s(1.0), "spread": s(0.7)}),
        9 => json!({"law": "weibull", "shape": luck.one(&[0.7, 1.0, 2.5]), "scale": s(1.0)}),
        10 => json!({"law": "geometric", "mean": s(2.0), "step": s(0.5)}),
        11 => {
            let rows = [json!({"value": s(0.5), "weight": 3}), json!({"value": s(2.0), "weight": 1})];
            json!({"law": "table", "values": rows})
        }
        12 => json!({"law": "observed", "values": values()}),
        13 if !minimum => return values(),
        14 => json!({"law": "exponential", "mean": s(0.5)}),
        _ if !minimum => return json!(s(1.0)),
        _ => json!({"law": "gamma", "mean": s(0.5), "spread": s(0.5)}),
    };
    if minimum {
        law["minimum"] = json!(s(0.5));
    }
    law
}

/// A random number of parts around `mean`, one at least.
pub(crate) fn count_law(luck: &mut Luck, mean: usize) -> Value {
    let mut law = match luck.below(9) {
        0 => json!({"law": "fixed", "value": mean}),
        1 => json!({"law": "uniform", "from": 1, "to": 2 * mean}),
        2 => json!({"from": 1, "to": 2 * mean}),
        3 => json!({"law": "geometric", "mean": mean + 1, "step": 1}),
        4 => json!({"law": "binomial", "trials": 2 * mean, "chance": 0.5}),
        5 => json!({"law": "poisson", "mean": mean}),
        6 => {
            let rows = [json!({"value": 1, "weight": 3}), json!({"value": 2 * mean, "weight": 1})];
            json!({"law": "table", "values": rows})
        }
        7 => json!({"law": "observed", "values": [1, mean, 2 * mean]}),
        _ => return json!([1, mean, 2 * mean]),
    };
    if luck.percent(50) {
        law["minimum"] = json!(1);
    }
    law
}
