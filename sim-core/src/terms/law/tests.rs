use super::*;

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * b.abs().max(1e-12)
}

#[test]
fn moments_follow_the_textbook() {
    // Worked by hand from the definitions.
    let rows: [(Shape, f64, f64); 11] = [
        (Shape::Fixed(3.0), 3.0, 0.0),
        (Shape::Uniform { from: 1.0, to: 4.0 }, 2.5, 0.75),
        (Shape::Triangular { low: 0.0, likely: 1.0, high: 5.0 }, 2.0, 21.0 / 18.0),
        (Shape::Exponential { mean: 2.0 }, 2.0, 4.0),
        (Shape::Lognormal { mean: 2.0, spread: 0.5 }, 2.0, 0.25),
        // Shape 1/2: mean = gamma(3) = 2, second moment = gamma(5) = 24.
        (Shape::Weibull { shape: 0.5, scale: 1.0 }, 2.0, 20.0),
        (Shape::Geometric { mean: 2.0, step: 0.5 }, 2.0, 3.0),
        (Shape::Binomial { trials: 10, chance: 0.2 }, 2.0, 1.6),
        (Shape::Poisson { mean: 2.5 }, 2.5, 2.5),
        (Shape::Table(vec![(1.0, 3.0), (5.0, 1.0)]), 2.0, 3.0),
        (Shape::Observed(vec![1.0, 2.0, 3.0, 6.0]), 3.0, 3.5),
    ];
    for (shape, mean, variance) in rows {
        let law = Law { minimum: 1.5, shape };
        assert!(close(law.mean(), 1.5 + mean), "mean of {law:?}: {}", law.mean());
        assert!(close(law.variance(), variance), "variance of {law:?}: {}", law.variance());
        assert_eq!(law.check(), Ok(()));
        assert!(law.least() >= 1.5 && law.least() <= law.mean());
        assert_eq!(law.is_fixed(), variance == 0.0);
    }
}

#[test]
fn hidden_constants_are_recognised() {
    let rows = [
        (Shape::Gamma { mean: 2.0, spread: 0.0 }, 2.0),
        (Shape::Geometric { mean: 2.0, step: 2.0 }, 2.0),
        (Shape::Binomial { trials: 4, chance: 1.0 }, 4.0),
        (Shape::Table(vec![(7.0, 0.0), (2.0, 1.0), (2.0, 3.0)]), 2.0),
        (Shape::Exponential { mean: 0.0 }, 0.0),
    ];
    for (shape, value) in rows {
        let law = Law::from(shape);
        assert!(law.is_fixed(), "{law:?}");
        assert_eq!((law.mean(), law.least(), law.variance()), (value, value, 0.0), "{law:?}");
    }
}

#[test]
fn nonsense_is_refused_with_what_was_expected() {
    let rows = [
        (Shape::Fixed(-1.0), "zero or more"),
        (Shape::Fixed(f64::NAN), "zero or more"),
        (Shape::Uniform { from: 2.0, to: 1.0 }, "at or below"),
        (Shape::Triangular { low: 1.0, likely: 0.5, high: 2.0 }, "low <= likely <= high"),
        (Shape::Exponential { mean: f64::INFINITY }, "zero or more"),
        (Shape::Gamma { mean: 0.0, spread: 1.0 }, "to 100 means"),
        (Shape::Gamma { mean: 1.0, spread: 101.0 }, "to 100 means"),
        (Shape::Lognormal { mean: 1.0, spread: -0.1 }, "a spread of zero or more"),
        (Shape::Weibull { shape: 0.0, scale: 1.0 }, "a shape above 0"),
        (Shape::Weibull { shape: 1e-3, scale: 1.0 }, "finite mean and variance"),
        (Shape::Geometric { mean: 1.0, step: 2.0 }, "a mean of 1 to"),
        (Shape::Binomial { trials: 3, chance: 1.1 }, "from 0 to 1"),
        (Shape::Poisson { mean: 1e10 }, "at most"),
        (Shape::Table(vec![(1.0, 0.0)]), "sum above zero"),
        (Shape::Table(vec![]), "sum above zero"),
        (Shape::Observed(vec![]), "at least one"),
    ];
    for (shape, expected) in rows {
        let message = Law::from(shape.clone()).check().expect_err("a nonsense law passed the check");
        assert!(message.contains(expected), "{shape:?}: {message}");
    }
    let low = Law { minimum: -1.0, shape: Shape::Fixed(2.0) };
    assert!(low.check().is_err());
}

#[test]
fn laws_are_written_with_lower_case_names() {
    let law = Law { minimum: 0.5, shape: Shape::Gamma { mean: 2.0, spread: 1.0 } };
    let text = serde_json::to_string(&law).expect("a law is plain data");
    assert_eq!(text, r#"{"minimum":0.5,"shape":{"gamma":{"mean":2.0,"spread":1.0}}}"#);
}
