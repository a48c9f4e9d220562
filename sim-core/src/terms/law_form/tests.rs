use super::*;
use crate::diag::{Diagnostic, Severity};
use crate::text::fields::read_text;
use crate::text::schema::describe;

fn read(form: LawForm, value: &str) -> (Option<Law>, Vec<Diagnostic>) {
    let source = format!("{{\"x\": {value}}}");
    let (law, problems) = read_text(&source, |object| object.maybe("x", form, "x"));
    (law.flatten(), problems.into_vec())
}

#[test]
fn every_spelling_of_a_random_time() {
    for (value, minimum, shape) in [
        (r#""600 ms""#, 0.0, Shape::Fixed(0.6)),
        (r#"["1 s", "2 s"]"#, 0.0, Shape::Observed(vec![1.0, 2.0])),
        (r#"{"mean": "2 s", "spread": "500 ms"}"#, 0.0, Shape::Gamma { mean: 2.0, spread: 0.5 }),
        (r#"{"law": "gamma", "mean": "2 s", "spread": "0 s"}"#, 0.0, Shape::Gamma { mean: 2.0, spread: 0.0 }),
        (
            r#"{"low": "1 s", "likely": "2 s", "high": "1 min"}"#,
            0.0,
            Shape::Triangular { low: 1.0, likely: 2.0, high: 60.0 },
        ),
        (
            r#"{"from": "1 s", "to": "2 s", "minimum": "1 s", "note": "n"}"#,
            1.0,
            Shape::Uniform { from: 1.0, to: 2.0 },
        ),
        (r#"{"law": "exponential", "mean": "1 h"}"#, 0.0, Shape::Exponential { mean: 3600.0 }),
        (
            r#"{"law": "lognormal", "mean": "2 s", "spread": "1 s"}"#,
            0.0,
            Shape::Lognormal { mean: 2.0, spread: 1.0 },
        ),
        (
            r#"{"law": "weibull", "shape": 1.5, "scale": "1 h"}"#,
            0.0,
            Shape::Weibull { shape: 1.5, scale: 3600.0 },
        ),
        (
            r#"{"law": "geometric", "mean": "4 s", "step": "2 s"}"#,
            0.0,
            Shape::Geometric { mean: 4.0, step: 2.0 },
        ),
        (r#"{"law": "fixed", "value": "2 s", "minimum": "1 s"}"#, 1.0, Shape::Fixed(2.0)),
        (r#"{"law": "observed", "values": ["2 s"]}"#, 0.0, Shape::Observed(vec![2.0])),
        (
            r#"{"law": "table", "values": [{"value": "1 s", "weight": 0.3}, {"value": "2 s", "weight": 7}]}"#,
            0.0,
            Shape::Table(vec![(1.0, 0.3), (2.0, 7.0)]),
        ),
    ] {
        assert_eq!(read(law(Dimension::Time), value), (Some(Law { minimum, shape }), vec![]), "{value}");
    }
}

#[test]
fn every_spelling_of_a_random_count() {
    for (value, shape) in [
        ("3", Shape::Fixed(3.0)),
        ("[1, 2, 2]", Shape::Observed(vec![1.0, 2.0, 2.0])),
        (r#"{"law": "binomial", "trials": 6, "chance": "50 %"}"#, Shape::Binomial { trials: 6, chance: 0.5 }),
        (r#"{"law": "poisson", "mean": 2.2}"#, Shape::Poisson { mean: 2.2 }),
        (r#"{"law": "geometric", "mean": 2.5}"#, Shape::Geometric { mean: 2.5, step: 1.0 }),
        (r#"{"from": 1, "to": 3}"#, Shape::Table(vec![(1.0, 1.0), (2.0, 1.0), (3.0, 1.0)])),
        (r#"{"law": "table", "values": [{"value": 0, "weight": 1}]}"#, Shape::Table(vec![(0.0, 1.0)])),
    ] {
        assert_eq!(read(count_law(), value), (Some(Law { minimum: 0.0, shape }), vec![]), "{value}");
    }
}

#[test]
fn what_is_wrong_is_reported_at_the_parameter() {
    let (of_time, of_counts) = (law(Dimension::Time), count_law());
    for (form, value, code, path) in [
        (of_time, "3", code::UNIT_MISSING, "x"),
        (of_time, r#""-1 s""#, code::OUT_OF_RANGE, "x"),
        (of_time, r#""1e308 s""#, code::OUT_OF_RANGE, "x"),
        (of_time, r#""NaN s""#, code::NUMBER_UNREADABLE, "x"),
        (of_time, r#"[]"#, code::TOO_FEW, "x"),
        (of_time, r#"["1 s", "2 m"]"#, code::UNIT_WRONG_KIND, "x[1]"),
        (of_time, r#"true"#, code::WRONG_TYPE, "x"),
        (of_time, r#"{}"#, code::MISSING_KEY, "x"),
        (of_time, r#"{"mean": "2 s"}"#, code::MISSING_KEY, "x"),
        (of_time, r#"{"mean": "2 s", "spred": "1 s"}"#, code::UNKNOWN_KEY, "x.spred"),
        (of_time, r#"{"law": "exponental", "mean": "2 s"}"#, code::UNKNOWN_WORD, "x.law"),
        (of_time, r#"{"law": "poisson", "mean": 2}"#, code::UNKNOWN_WORD, "x.law"),
        (of_time, r#"{"law": 3}"#, code::WRONG_TYPE, "x.law"),
        (of_time, r#"{"law": "exponential", "mean": "0 s"}"#, code::OUT_OF_RANGE, "x.mean"),
        (
            of_time,
            r#"{"law": "exponential", "mean": "2 s", "minimum": "-1 s"}"#,
            code::OUT_OF_RANGE,
            "x.minimum",
        ),
        (of_time, r#"{"law": "weibull", "shape": 0, "scale": "1 h"}"#, code::OUT_OF_RANGE, "x.shape"),
        (of_time, r#"{"law": "geometric", "mean": "1 s", "step": "2 s"}"#, code::LAW_IMPOSSIBLE, "x"),
        (of_time, r#"{"low": "3 s", "likely": "2 s", "high": "4 s"}"#, code::LAW_IMPOSSIBLE, "x"),
        (
            of_time,
            r#"{"law": "table", "values": [{"value": "1 s", "weight": 0}]}"#,
            code::LAW_IMPOSSIBLE,
            "x",
        ),
        (of_time, r#"{"law": "table", "values": [{"value": "1 s"}]}"#, code::MISSING_KEY, "x.values[0]"),
        (of_time, r#"{"law": "table", "values": [7]}"#, code::WRONG_TYPE, "x.values[0]"),
        (of_time.positive(), r#""0 s""#, code::OUT_OF_RANGE, "x"),
        (of_time.positive(), r#"["0 s", "0 s"]"#, code::OUT_OF_RANGE, "x"),
        (of_counts, "2.5", code::OUT_OF_RANGE, "x"),
        (of_counts, r#""2 s""#, code::WRONG_TYPE, "x"),
        (of_counts, r#"{"law": "gamma", "mean": 2, "spread": 1}"#, code::UNKNOWN_WORD, "x.law"),
        (of_counts, r#"{"law": "binomial", "trials": 0, "chance": 0.5}"#, code::OUT_OF_RANGE, "x.trials"),
        (of_counts, r#"{"from": 3, "to": 1}"#, code::OUT_OF_RANGE, "x.to"),
        (of_counts, r#"{"from": 0, "to": 1000000000}"#, code::OUT_OF_RANGE, "x.to"),
        (of_counts, r#"{"law": "poisson", "mean": 1e308}"#, code::OUT_OF_RANGE, "x.mean"),
    ] {
        let (law, problems) = read(form, value);
        assert_eq!(law, None, "{value}");
        let found: Vec<_> = problems.iter().map(|d| (d.code, d.path.as_str())).collect();
        assert_eq!(found, [(code, path)], "{value}: {problems:?}");
    }
}

#[test]
fn unusual_means_warn() {
    let form = law(Dimension::Time).usual("0.4 s", "0.9 s", "0.4 to 0.9 s");
    let (law, problems) = read(form, r#"{"law": "exponential", "mean": "2 s"}"#);
    assert!(law.is_some());
    assert_eq!(problems.len(), 1);
    assert_eq!(
        (problems[0].severity, problems[0].message.as_str()),
        (Severity::Warning, "a mean of 2 s is unusual")
    );
    assert_eq!(read(form, r#""0.5 s""#).1, []);
    assert_eq!(read(count_law().usual("0.7", "3", "0.7 to 3 parts"), "4").1.len(), 1);
}

#[test]
fn a_law_describes_itself() {
    let schema = describe("x", |object| {
        object.required("time", law(Dimension::Time), "A time");
        object.required("parts", count_law(), "Parts");
    });
    let named = &schema["$defs"];
    assert_eq!(schema["properties"]["time"]["$ref"], "#/$defs/random-time");
    assert_eq!(named["random-time-gamma"]["required"], json!(["mean", "spread"]), "the name may be left out");
    assert_eq!(named["random-time-lognormal"]["required"], json!(["law", "mean", "spread"]));
    assert_eq!(named["random-count-poisson"]["properties"]["law"]["const"], "poisson");
    assert_eq!(named["random-count"]["anyOf"].as_array().map(Vec::len), Some(2 + Kind::OF_COUNTS.len()));
    assert!(named.get("random-count-gamma").is_none());
}
