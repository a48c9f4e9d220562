use super::*;
use crate::diag::{Problem, code};

#[test]
fn quantities_in_both_systems_are_the_nearest_number_in_si() {
    // Outside values: 1 in = 0.0254 m, 1 lb = 0.45359237 kg (agreement of 1959), 1 US gal = 231 in3.
    for (text, dimension, si) in [
        ("0.8 s", Dimension::Time, 0.8),
        ("600 ms", Dimension::Time, 0.6),
        ("25us", Dimension::Time, 25e-6),
        ("1.5 min", Dimension::Time, 90.0),
        ("2 h", Dimension::Time, 7200.0),
        ("1 day", Dimension::Time, 86400.0),
        ("1 h 30 min", Dimension::Time, 5400.0),
        ("1 h 30 min 2.5 s", Dimension::Time, 5402.5),
        ("1e3 s", Dimension::Time, 1000.0),
        ("1.25 in", Dimension::Length, 0.03175),
        ("1 1/4 in", Dimension::Length, 0.03175),
        ("3/8 in", Dimension::Length, 0.009525),
        ("5 ft 6 in", Dimension::Length, 1.6764),
        ("1.25\"", Dimension::Length, 0.03175),
        ("12 mm", Dimension::Length, 0.012),
        ("2 yd", Dimension::Length, 1.8288),
        ("-2 mm", Dimension::Length, -0.002),
        ("30 ft/min", Dimension::Speed, 0.1524),
        ("30 ft per min", Dimension::Speed, 0.1524),
        ("30ft / min", Dimension::Speed, 0.1524),
        ("30 fpm", Dimension::Speed, 0.1524),
        ("100 in/min", Dimension::Speed, 2.54 / 60.0),
        ("9 m/min", Dimension::Speed, 0.15),
        ("12 lb", Dimension::Mass, 5.44310844),
        ("16 oz", Dimension::Mass, 0.45359237),
        ("40 g", Dimension::Mass, 0.04),
        ("1 gal", Dimension::Volume, 0.003785411784),
        ("1 ft3", Dimension::Volume, 0.028316846592),
        ("1 ft³", Dimension::Volume, 0.028316846592),
        ("231 in^3", Dimension::Volume, 0.003785411784),
        ("250 ml", Dimension::Volume, 0.00025),
        ("85 ppm", Dimension::Rate, 85.0 / 60.0),
        ("85 /min", Dimension::Rate, 85.0 / 60.0),
        ("85 parts/min", Dimension::Rate, 85.0 / 60.0),
        ("60 cleats/min", Dimension::Rate, 1.0),
        ("30 /h", Dimension::Rate, 30.0 / 3600.0),
        ("1/min", Dimension::Rate, 1.0 / 60.0),
        ("36 L/h", Dimension::VolumeRate, 1e-5),
        ("6 ft3/h", Dimension::VolumeRate, 6.0 * 0.028316846592 / 3600.0),
        ("12 /L", Dimension::Density, 12000.0),
        ("28316846592 parts/ft3", Dimension::Density, 1e12),
        ("2 %", Dimension::Share, 0.02),
        ("0.02", Dimension::Share, 0.02),
        ("1 in 5000", Dimension::Share, 0.0002),
        ("0 s", Dimension::Time, 0.0),
    ] {
        let value = parse(text, dimension).unwrap_or_else(|error| panic!("{text}: {error}"));
        assert!((value - si).abs() <= si.abs() * f64::EPSILON, "{text} is {value}, not {si}");
    }
    assert_eq!(parse("0.6 s", Dimension::Time), Ok(0.6), "seconds are not touched");
    assert_eq!(parse("3 ms", Dimension::Time), Ok(0.003));
    assert_eq!(parse("-0 s", Dimension::Time).map(f64::is_sign_negative), Ok(false));
}

#[test]
fn what_is_wrong_is_said() {
    let cases = [
        ("", Dimension::Time, code::EMPTY, "the text is empty"),
        (
            "30",
            Dimension::Speed,
            code::UNIT_MISSING,
            "`30` needs a unit of speed; expected a speed, such as `30 ft/min`",
        ),
        ("30 ft", Dimension::Speed, code::UNIT_WRONG_KIND, "`30 ft` is a length; expected a speed"),
        ("3 lb/h", Dimension::VolumeRate, code::UNIT_WRONG_KIND, "is a mass per time"),
        ("3 parts", Dimension::Rate, code::UNIT_WRONG_KIND, "is a number of pieces"),
        ("3 %/h", Dimension::Rate, code::UNIT_WRONG_KIND, "do not go together"),
        ("1 in 5000", Dimension::Length, code::UNIT_MISSING, "needs a unit of length"),
        ("1 ppm 2 ppm", Dimension::Rate, code::UNIT_WRONG_KIND, "more than one quantity"),
        ("30 ft/mim", Dimension::Speed, code::UNIT_UNKNOWN, "did you mean `min`?"),
        ("30 FT/MIN", Dimension::Speed, code::UNIT_UNKNOWN, "did you mean `ft`?"),
        (
            "30 furlongs",
            Dimension::Length,
            code::UNIT_UNKNOWN,
            "the unit `furlongs` in `30 furlongs` is not known",
        ),
        ("12,000 /ft3", Dimension::Density, code::UNIT_UNKNOWN, "without separators"),
        ("30 ft/", Dimension::Speed, code::UNIT_UNKNOWN, "missing beside the stroke"),
        ("1h30min", Dimension::Time, code::UNIT_UNKNOWN, "is not known"),
        ("fast", Dimension::Speed, code::NUMBER_UNREADABLE, "does not begin with a number"),
        ("NaN s", Dimension::Time, code::NUMBER_UNREADABLE, "not a finite number"),
        ("-inf s", Dimension::Time, code::NUMBER_UNREADABLE, "not a finite number"),
        ("1 h -30 min", Dimension::Time, code::NUMBER_UNREADABLE, "cannot be read"),
        ("1e308 h", Dimension::Time, code::OUT_OF_RANGE, "larger than anything"),
        ("1e308 s", Dimension::Time, code::OUT_OF_RANGE, "larger than anything"),
        ("1e999 s", Dimension::Time, code::OUT_OF_RANGE, "larger than anything"),
        ("1e-300 s", Dimension::Time, code::OUT_OF_RANGE, "smaller than anything"),
    ];
    for (text, dimension, code, words) in cases {
        let error = parse(text, dimension).expect_err(text);
        let said = error.to_string();
        assert!(said.contains(words), "{text}: {said}");
        assert_eq!(Problem::from(error).code, code, "{text}");
    }
}

#[test]
fn every_example_is_of_its_dimension_and_of_no_other() {
    for dimension in Dimension::ALL {
        for other in Dimension::ALL {
            let fits = parse(dimension.example(), other).is_ok();
            assert_eq!(fits, dimension == other, "{} as {}", dimension.example(), other.name());
        }
    }
}

#[test]
fn demands_are_shown_as_they_were_stated() {
    for (value, text) in [
        (85.0, "85"),
        (85.714_3, "85.7143"),
        (1_234.567_8, "1234.5678"),
        (60.0 * (85.3 / 60.0), "85.3"),
        // 95 L/h at 1,900 pieces a litre; two fifths of a part a day.
        (3_008.333_333_333, "3008.33"),
        (0.4 / 1440.0, "0.000277778"),
        (1_234_567.891_23, "1234568"),
        (-0.000_01, "-0.00001"),
        (0.0, "0"),
    ] {
        assert_eq!(as_stated(value), text);
    }
}

#[test]
fn reports_show_three_digits_in_a_sensible_unit() {
    for (value, dimension, inch, metric) in [
        (0.8, Dimension::Time, "0.8 s", "0.8 s"),
        (0.034, Dimension::Time, "34 ms", "34 ms"),
        (2e-6, Dimension::Time, "2 us", "2 us"),
        (0.0, Dimension::Time, "0 s", "0 s"),
        (600.0, Dimension::Time, "10 min", "10 min"),
        (28_800.0, Dimension::Time, "8 h", "8 h"),
        (0.03175, Dimension::Length, "1.25 in", "31.8 mm"),
        (1.8288, Dimension::Length, "6 ft", "1.83 m"),
        (0.1524, Dimension::Speed, "30 ft/min", "9.14 m/min"),
        (1.3607771, Dimension::Mass, "3 lb", "1.36 kg"),
        (85.0 / 60.0, Dimension::Rate, "85 /min", "85 /min"),
        (0.2 / 60.0, Dimension::Rate, "12 /h", "12 /h"),
        (0.028316846592, Dimension::Volume, "1 ft3", "28.3 L"),
        (423_776.0, Dimension::Density, "12000 /ft3", "424 /L"),
        (0.0213, Dimension::Share, "2.13 %", "2.13 %"),
        (0.000_021_34, Dimension::Share, "0.00213 %", "0.00213 %"),
    ] {
        assert_eq!(format(value, dimension, System::Inch), inch);
        assert_eq!(format(value, dimension, System::Metric), metric);
    }
}
