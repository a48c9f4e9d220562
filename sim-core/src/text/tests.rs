use serde_json::json;

use super::fields::{Object, read_text};
use super::forms::*;
use super::json;
use super::schema::describe;
use crate::diag::{Diagnostic, Problem, Severity, code};

#[derive(Debug, Clone, Copy, PartialEq)]
enum Pour {
    AtOnce,
    Slowly,
}

const POURS: [(&str, Pour, &str); 2] =
    [("at once", Pour::AtOnce, "all at the end of the tip"), ("slowly", Pour::Slowly, "at a rate")];

#[derive(Debug)]
struct Tool {
    id: Spanned<String>,
    jam: Chance,
}

fn read_tool(object: &mut Object<'_>) -> Tool {
    Tool {
        id: object.required("id", name(), "Its name"),
        jam: object.optional(
            "jam",
            chance().usual(0.0, 0.01, "up to 1 %"),
            "1 in 5000",
            "Chance to jam per part",
        ),
    }
}

#[derive(Debug)]
struct Lift {
    speed: f64,
    cleats: u64,
    pour: Pour,
    tools: Vec<Tool>,
    low: f64,
    high: f64,
    feeds: Vec<Spanned<String>>,
    lag: Option<f64>,
}

fn read_lift(object: &mut Object<'_>) -> Lift {
    let usual = speed().positive().usual("10 ft/min", "60 ft/min", "10 to 60 ft/min");
    let lift = Lift {
        speed: object.required("speed", usual, "Speed of the belt"),
        cleats: object.optional("cleats", count().at_least(1), "12", "Cleats on the belt"),
        pour: object.optional("pour", one_of(&POURS), "at once", "How parts are poured"),
        tools: object.optional("tools", list_of(nested("tool", read_tool)), "[]", "Tools in flow order"),
        low: object.optional("low", real().at_least(0.0).at_most(1.0), "0.2", "Low mark"),
        high: object.optional("high", real().at_least(0.0).at_most(1.0), "0.8", "High mark"),
        feeds: object.optional("feeds", one_or_many(name()), "bin", "Where the parts go"),
        lag: object.maybe("lag", time(), "Delay; none if left out"),
    };
    if object.sound(&["low", "high"]) && lift.low >= lift.high {
        object.fail("high", Problem::new(code::OUT_OF_RANGE, "the high mark is not above the low mark"));
    }
    lift
}

fn problems(source: &str) -> Vec<Diagnostic> {
    read_text(source, read_lift).1.into_vec()
}

/// (code, path, underlined text) of each, in the order of the file.
fn places<'s>(source: &'s str, list: &'s [Diagnostic]) -> Vec<(&'static str, &'s str, &'s str)> {
    list.iter().map(|d| (d.code, d.path.as_str(), &source[d.span.start..d.span.end])).collect()
}

/// The problems of one value under one form, and what it became.
fn one<F: Form>(form: F, value: &str) -> (Option<F::Out>, Vec<Diagnostic>) {
    let source = format!("{{\"x\": {value}}}");
    let (out, problems) = read_text(&source, |object| object.maybe("x", &form, "x"));
    (out.flatten(), problems.into_vec())
}

fn refused<F: Form>(form: F, value: &str, code: &str, words: &str) {
    let (_, problems) = one(form, value);
    assert_eq!(problems.iter().map(|d| d.code).collect::<Vec<_>>(), [code], "{value}: {problems:?}");
    let said = format!("{} / {:?} / {:?}", problems[0].message, problems[0].expected, problems[0].help);
    assert!(said.contains(words), "{value}: {said}");
    assert!(problems[0].path.starts_with('x'), "{value}: {}", problems[0].path);
}

#[test]
fn a_complete_object_and_its_defaults() {
    let source = r#"{"speed": "30 ft/min", "tools": [{"id": "edge"}], "note": ["a", "b"], "lag": "50 ms", "feeds": ["a", "b"]}"#;
    let (lift, problems) = read_text(source, read_lift);
    assert!(problems.is_empty(), "{problems:?}");
    let lift = lift.expect("an object");
    assert_eq!((lift.speed, lift.cleats, lift.pour, lift.lag), (0.1524, 12, Pour::AtOnce, Some(0.05)));
    assert_eq!((lift.tools[0].id.value.as_str(), lift.tools[0].jam), ("edge", Chance::Known(0.0002)));
    assert_eq!(lift.tools[0].id.place.path, "tools[\"edge\"].id");
    assert_eq!(lift.feeds.iter().map(|name| name.value.as_str()).collect::<Vec<_>>(), ["a", "b"]);
    assert_eq!(read_text(r#"{"speed": "30 ft/min"}"#, read_lift).0.expect("an object").feeds[0].value, "bin");
}

#[test]
fn all_errors_of_a_file_at_once_each_at_its_place() {
    let source = r#"{
  "sped": "30 ft/min",
  "cleats": 2.5,
  "pour": "at onse",
  "tools": [{"id": "edge", "jam": 3}, {"jam": "2 furlongs"}, 7],
  "low": 0.9,
  "lag": 30,
  "colour": "red",
  "note": 1
}"#;
    let list = problems(source);
    assert_eq!(
        places(source, &list),
        [
            (code::OUT_OF_RANGE, "", source), // the low mark is above the default of the high one
            (code::UNKNOWN_KEY, "sped", "\"sped\""),
            (code::OUT_OF_RANGE, "cleats", "2.5"),
            (code::UNKNOWN_WORD, "pour", "\"at onse\""),
            (code::OUT_OF_RANGE, "tools[\"edge\"].jam", "3"),
            (code::MISSING_KEY, "tools[1]", "{\"jam\": \"2 furlongs\"}"),
            (code::UNIT_UNKNOWN, "tools[1].jam", "\"2 furlongs\""),
            (code::WRONG_TYPE, "tools[2]", "7"),
            (code::UNIT_MISSING, "lag", "30"),
            (code::UNKNOWN_KEY, "colour", "\"colour\""),
            (code::WRONG_TYPE, "note", "1"),
        ]
    );
}

#[test]
fn checks_between_fields_are_placed_at_the_field_and_not_made_on_stand_ins() {
    let source = r#"{"speed": "30 ft/min", "low": 0.5, "high": 0.4}"#;
    assert_eq!(places(source, &problems(source)), [(code::OUT_OF_RANGE, "high", "0.4")]);
    let source = r#"{"speed": "30 ft/min", "low": 0.9}"#;
    assert_eq!(places(source, &problems(source)), [(code::OUT_OF_RANGE, "", source)]);
    let source = r#"{"speed": "30 ft/min", "low": 0.9, "high": 7}"#;
    assert_eq!(problems(source).len(), 1, "the range of `high` only");
}

#[test]
fn a_misspelt_key_and_its_missing_self_are_one_error() {
    let list = problems(r#"{"sped": "30 ft/min"}"#);
    assert_eq!(list.len(), 1);
    assert_eq!(list[0].help.as_deref(), Some("did you mean `speed`?"));
    let list = problems(r#"{"hue": "red"}"#);
    assert_eq!(list.iter().map(|d| d.code).collect::<Vec<_>>(), [code::MISSING_KEY, code::UNKNOWN_KEY]);
    assert_eq!(
        list[0].expected.as_deref(),
        Some("\"speed\": a speed above zero, such as `30 ft/min`"),
        "a missing key says what it takes"
    );
}

#[test]
fn unusual_values_warn_and_are_kept() {
    let (lift, list) = read_text(r#"{"speed": "300 ft/min"}"#, read_lift);
    let list = list.into_vec();
    assert_eq!((list.len(), list[0].severity, list[0].code), (1, Severity::Warning, code::UNUSUAL_VALUE));
    assert_eq!(list[0].expected.as_deref(), Some("usual: 10 to 60 ft/min"));
    assert_eq!(lift.expect("an object").speed, 1.524);
}

#[test]
fn quantities_out_of_their_limits_are_refused() {
    let form = length().positive().at_most("2 ft");
    for (value, code, words) in [
        (r#""0 in""#, code::OUT_OF_RANGE, "has to be above zero"),
        (r#""-1 in""#, code::OUT_OF_RANGE, "has to be above zero"),
        (r#""3 ft""#, code::OUT_OF_RANGE, "is more than 2 ft"),
        (r#""30 s""#, code::UNIT_WRONG_KIND, "is a time"),
        (r#""NaN in""#, code::NUMBER_UNREADABLE, "not a finite number"),
        (r#""1e308 in""#, code::OUT_OF_RANGE, "larger than anything"),
        ("12", code::UNIT_MISSING, "`12` needs a unit of length"),
        ("[]", code::WRONG_TYPE, "an empty list stands here"),
        ("null", code::WRONG_TYPE, "null stands here"),
    ] {
        refused(form, value, code, words);
    }
    refused(time(), r#""-1 s""#, code::OUT_OF_RANGE, "is below zero");
    refused(time().at_least("1 s"), r#""1 ms""#, code::OUT_OF_RANGE, "is less than 1 s");
    assert_eq!(one(length().any_sign(), r#""-1 in""#).0, Some(-0.0254));
}

#[test]
fn counts_are_whole_and_reals_are_bounded() {
    for (value, words) in [
        ("0", "0 is less than 1"),
        ("9", "9 is more than 8"),
        ("-3", "-3 is below zero"),
        ("3.0", "3.0 is not written as a whole number"),
        ("1e300", "is more than 8"),
    ] {
        refused(count().at_least(1).at_most(8), value, code::OUT_OF_RANGE, words);
    }
    refused(count(), r#""3""#, code::WRONG_TYPE, "a whole number from 0");
    assert_eq!(one(count().at_most(u64::MAX), "18446744073709551615").0, Some(u64::MAX));
    refused(real().positive(), "0", code::OUT_OF_RANGE, "above 0");
    refused(real(), "1e308", code::OUT_OF_RANGE, "out of range");
    refused(flag(), "1", code::WRONG_TYPE, "true or false");
    assert_eq!(one(flag(), "true").0, Some(true));
    assert_eq!(one(count().usual(1, 5, "1 to 5"), "7").1[0].code, code::UNUSUAL_VALUE);
    assert_eq!(one(real().usual(1.0, 5.0, "1 to 5"), "7").1[0].severity, Severity::Warning);
}

#[test]
fn chances_in_all_spellings() {
    for (value, chance) in [
        ("0.02", Chance::Known(0.02)),
        (r#""2 %""#, Chance::Known(0.02)),
        (r#""0.02""#, Chance::Known(0.02)),
        (r#""1 in 50""#, Chance::Known(0.02)),
        (r#""3 of 500""#, Chance::Counted { seen: 3, of: 500 }),
        (r#"{"seen": 3, "of": 500, "note": "drop test"}"#, Chance::Counted { seen: 3, of: 500 }),
        ("0", Chance::Known(0.0)),
        ("1", Chance::Known(1.0)),
    ] {
        let (read, problems) = one(super::forms::chance(), value);
        assert_eq!((read, problems), (Some(chance), vec![]), "{value}");
    }
    assert_eq!(Chance::Counted { seen: 3, of: 500 }.value(), 0.006);
    for (value, code, words) in [
        ("2", code::OUT_OF_RANGE, "`2` is above one"),
        ("2", code::OUT_OF_RANGE, "\\\"2 %\\\""),
        ("-0.1", code::OUT_OF_RANGE, "below zero"),
        (r#""200 %""#, code::OUT_OF_RANGE, "above one"),
        (r#""2 s""#, code::UNIT_WRONG_KIND, "is a time"),
        (r#""7 of 5""#, code::OUT_OF_RANGE, "7 of 5 cannot"),
        (r#"{"seen": 7, "of": 5}"#, code::OUT_OF_RANGE, "7 of 5 cannot"),
        (r#"{"seen": 0, "of": 0}"#, code::OUT_OF_RANGE, "0 is less than 1"),
        (r#"{"seen": 1}"#, code::MISSING_KEY, "`of` is missing"),
        ("true", code::WRONG_TYPE, "a chance from 0 to 1"),
    ] {
        refused(super::forms::chance(), value, code, words);
    }
}

#[test]
fn shares_are_counts_or_add_up_to_one() {
    let read = |value| {
        let (shares, problems) = one(shares(), value);
        assert_eq!(problems, [], "{value}");
        shares.expect("shares")
    };
    let drop_test = read(r#"{"face up": 212, "face down": 168, "note": "drop test", "on its side": 120}"#);
    assert!(matches!(drop_test, Shares::Counted(_)));
    assert_eq!(drop_test.values(), [0.424, 0.336, 0.24]);
    assert_eq!(drop_test.names()[2].value, "on its side");
    assert_eq!(read(r#"{"a": 0.25, "b": "50 %", "c": "rest"}"#).values(), [0.25, 0.5, 0.25]);
    assert!(matches!(read(r#"{"a": 1, "b": 0}"#), Shares::Known(_)), "a sum of one is no count");
    assert_eq!(read(r#"{"a": 1}"#).values(), [1.0]);
    assert_eq!(read(r#"{"a": 0.1, "b": 0.2, "c": 0.7}"#).values().len(), 3);
    for (value, code, words) in [
        (r#"{"a": 0.3, "b": 0.3}"#, code::SHARES_SUM, "add up to 0.6"),
        (r#"{"a": 0.3, "b": 0.3}"#, code::SHARES_SUM, "may be \\\"rest\\\""),
        (r#"{"a": 0.8, "b": 0.3, "c": "rest"}"#, code::SHARES_SUM, "add up to 1.1"),
        (r#"{"a": "rest", "b": "rest"}"#, code::SHARES_SUM, "second"),
        (r#"{"a": 0.5, "b": 3}"#, code::OUT_OF_RANGE, "`3` is above one"),
        (r#"{"a": 0, "b": 0}"#, code::SHARES_SUM, "add up to 0"),
        (r#"{"a": -1, "b": 2.0}"#, code::OUT_OF_RANGE, ""),
        (r#"{"a": -1, "b": 212}"#, code::OUT_OF_RANGE, "the number -1 is no count of a test"),
        (r#"{}"#, code::TOO_FEW, "nothing stands in it"),
        (r#"{"a]b": 1}"#, code::BAD_NAME, "has the character `]`"),
        (r#"{"a": {"seen": 1, "of": 2}}"#, code::WRONG_TYPE, "counts by name"),
        (r#"[0.5, 0.5]"#, code::WRONG_TYPE, "counts by name"),
    ] {
        if words.is_empty() {
            assert_eq!(one(shares(), value).1.len(), 2, "both values are wrong");
        } else {
            refused(shares(), value, code, words);
        }
    }
}

#[test]
fn names_words_lists_and_maps() {
    for (value, code, words) in [
        (r#""""#, code::EMPTY, "the name is empty"),
        (r#"" ""#, code::EMPTY, "the name is empty"),
        (r#"" a""#, code::BAD_NAME, "begins or ends with a space"),
        (r#""a\nb""#, code::BAD_NAME, "has the character"),
        (r#""a`b""#, code::BAD_NAME, "has the character"),
        (r#""a\"b""#, code::BAD_NAME, "has the character"),
        (r#""a\\b""#, code::BAD_NAME, "has the character"),
        (r#""a\u202eb""#, code::BAD_NAME, "has the character"),
        (r#""=1+1""#, code::BAD_NAME, "a formula"),
        ("3", code::WRONG_TYPE, "a name in double quotes"),
    ] {
        refused(name(), value, code, words);
    }
    refused(name(), &format!("\"{}\"", "a".repeat(61)), code::BAD_NAME, "too long");
    assert_eq!(one(name(), r#""Förderer 1.b_c-d""#).1, []);
    assert_eq!(one(name(), r#""<script>alert(1)</script>""#).1, []);
    assert_eq!(one(name(), r#""lift #2 (left) & 50 %/h = a+b""#).1, []);
    refused(text(), r#""  ""#, code::EMPTY, "the text is empty");
    refused(one_of(&POURS), r#""slow""#, code::UNKNOWN_WORD, "did you mean `slowly`?");
    refused(one_of(&POURS), "1", code::WRONG_TYPE, "one of \\\"at once\\\", \\\"slowly\\\"");
    refused(list_of(flag()).at_least(2), "[true]", code::TOO_FEW, "only 1 stand in it; at least 2");
    refused(list_of(flag()), "true", code::WRONG_TYPE, "a list in square brackets");
    refused(one_or_many(flag()), "[]", code::TOO_FEW, "nothing stands in it");
    refused(one_or_many(time()), "30", code::UNIT_MISSING, "needs a unit of time");
    refused(list_of(one_or_many(flag())), "3", code::WRONG_TYPE, "or a list of such");
    let (map, problems) = one(map_of(count()), r#"{"b": 1, "note": "n", "a": 2, "c": true}"#);
    let names: Vec<(String, u64)> = map.into_iter().flatten().map(|(name, n)| (name.value, n)).collect();
    // What could not be read keeps its name.
    assert_eq!(names, [("b".to_owned(), 1), ("a".to_owned(), 2), ("c".to_owned(), count().stand_in())]);
    assert_eq!(problems.iter().map(|d| d.path.as_str()).collect::<Vec<_>>(), ["x.c"]);
    refused(map_of(count()).at_least(1), r#"{"note": "n"}"#, code::TOO_FEW, "nothing stands in it");
}

fn read_square(object: &mut Object<'_>) -> f64 {
    object.required("side", length().positive(), "Side").powi(2)
}

fn read_round(object: &mut Object<'_>) -> f64 {
    object.required("radius", length().positive(), "Radius")
}

static OUTLINES: [Variant<f64>; 2] = [
    Variant { word: "square", doc: "A square", read: read_square },
    Variant { word: "round", doc: "A disc", read: read_round },
];

#[test]
fn variants_and_alternatives() {
    let form = || variants("outline", "is", &OUTLINES);
    let read = |value: &str| {
        let source = format!("{{\"x\": {value}}}");
        let (out, problems) = read_text(&source, |object| object.required("x", form(), "x"));
        (out.expect("an object"), problems.into_vec())
    };
    assert_eq!(read(r#"{"is": "round", "radius": "2 m"}"#), (2.0, vec![]));
    for (value, code, path) in [
        (r#"{"radius": "2 m"}"#, code::MISSING_KEY, "x"),
        (r#"{"is": "rond", "radius": "2 m"}"#, code::UNKNOWN_WORD, "x.is"),
        (r#"{"is": "square", "side": "2 m", "radius": "2 m"}"#, code::UNKNOWN_KEY, "x.radius"),
        (r#"7"#, code::WRONG_TYPE, "x"),
    ] {
        let list = read(value).1;
        assert_eq!(
            list.iter().map(|d| (d.code, d.path.as_str())).collect::<Vec<_>>(),
            [(code, path)],
            "{value}"
        );
    }
    let endless = || either(one_of(&[("endless", (), "without end")]), placed(count()));
    assert_eq!(one(endless(), "\"endless\"").0, Some(Choice::First(())));
    assert!(
        matches!(one(endless(), "7").0, Some(Choice::Second(seven)) if seven.value == 7 && seven.place.path == "x")
    );
    refused(endless(), "true", code::WRONG_TYPE, "\\\"endless\\\"; or a whole number");
    assert_eq!(one(count().map(|n| n * 2), "7").0, Some(14));
    let contents = || either(count(), either(mass(), volume()));
    assert_eq!(one(contents(), "500").0, Some(Choice::First(500)));
    assert_eq!(one(contents(), r#""1 kg""#).0, Some(Choice::Second(Choice::First(1.0))));
    assert_eq!(one(contents(), r#""1 m3""#).0, Some(Choice::Second(Choice::Second(1.0))));
    refused(contents(), r#""1 s""#, code::WRONG_TYPE, "or a mass, such as `12 lb`; or a volume");
    refused(contents(), r#""1 kgs""#, code::UNIT_UNKNOWN, "did you mean `kg`?");
    let limit = || either(time(), one_of(&[("endless", (), "without end")]));
    assert_eq!(one(limit(), r#""2 s""#).0, Some(Choice::First(2.0)));
    assert_eq!(one(limit(), r#""endless""#).0, Some(Choice::Second(())));
    refused(limit(), r#""endles""#, code::UNKNOWN_WORD, "did you mean `endless`?");
    refused(limit(), r#""2""#, code::UNIT_MISSING, "needs a unit of time");
}

#[test]
fn the_same_function_describes() {
    let schema = describe("Lift", read_lift);
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    assert_eq!(schema["additionalProperties"], json!(false));
    assert_eq!(schema["required"], json!(["speed"]));
    assert_eq!(schema["properties"]["cleats"]["default"], json!(12));
    assert_eq!(schema["properties"]["pour"]["default"], json!("at once"));
    assert_eq!(schema["properties"]["pour"]["enum"], json!(["at once", "slowly"]));
    assert_eq!(schema["properties"]["tools"]["items"], json!({"$ref": "#/$defs/tool"}));
    assert_eq!(schema["$defs"]["tool"]["required"], json!(["id"]));
    assert_eq!(schema["$defs"]["tool"]["properties"]["jam"]["default"], json!("1 in 5000"));
    let speed = schema["properties"]["speed"]["description"].as_str().expect("text");
    assert!(speed.starts_with("Speed of the belt (a speed above zero; units: "), "{speed}");
    let keys: Vec<&String> = schema["properties"].as_object().expect("properties").keys().collect();
    assert_eq!(keys, ["speed", "cleats", "pour", "tools", "low", "high", "feeds", "lag", "note"]);
    let outline = describe("Part", |object| {
        object.required("outline", variants("outline", "is", &OUTLINES), "Outline")
    });
    assert_eq!(outline["$defs"]["outline-round"]["properties"]["is"]["const"], json!("round"));
    assert_eq!(outline["$defs"]["outline"]["oneOf"][1], json!({"$ref": "#/$defs/outline-round"}));
}

#[test]
#[should_panic(expected = "the default `fast` of `speed` is read by its own form")]
fn a_default_that_its_form_cannot_read_is_found_at_once() {
    describe("Lift", |object| object.optional("speed", speed(), "fast", "Speed"));
}

#[test]
fn a_hostile_list_ends_early() {
    let source = format!("{{\"speed\": \"1 m/s\", \"tools\": [0{}]}}", ",0".repeat(500_000));
    let (_, problems) = read_text(&source, read_lift);
    assert!(problems.is_full() && problems.error_count() < 1000);
}

/// A small generator of its own for mutations (Marsaglia, 2003: xorshift); any sequence would do.
fn next(state: &mut u64) -> usize {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    (*state >> 16) as usize
}

#[test]
fn mutated_files_never_panic_and_all_places_are_inside() {
    let source = r#"{"speed": "30 ft/min", "cleats": 12, "pour": "slowly", "tools": [{"id": "edge", "jam": {"seen": 3, "of": 500}},
 {"id": "cut-out", "jam": "1 in 5000", "note": ["é", "\u00e9"]}], "low": 0.2, "high": 8e-1, "feeds": ["a", "b"], "lag": "1 h 30 min"}"#;
    let alphabet = b"{}[]\",:\\0123456789.eE+-/% aftnul\xc3\xa9\xff";
    let (mut state, mut clean) = (0x9e37_79b9_7f4a_7c15_u64, 0);
    for round in 0..20_000 {
        let mut bytes = source.as_bytes().to_vec();
        for _ in 0..=next(&mut state) % 3 {
            let at = next(&mut state) % bytes.len().max(1);
            let byte = alphabet[next(&mut state) % alphabet.len()];
            match next(&mut state) % 4 {
                0 => bytes.insert(at, byte),
                1 if at > 0 => bytes.truncate(at),
                2 if at > 0 => drop(bytes.remove(at)),
                _ => bytes.iter_mut().skip(at).take(1).for_each(|old| *old = byte),
            }
        }
        let text = String::from_utf8_lossy(&bytes);
        assert_eq!(json::decode(&bytes).is_ok(), matches!(text, std::borrow::Cow::Borrowed(_)));
        let (_, problems) = read_text(&text, read_lift);
        clean += usize::from(problems.is_empty());
        for problem in problems.into_vec() {
            let span = problem.span;
            assert!(text.get(span.start..span.end).is_some(), "round {round}: {problem:?} in {text}");
        }
    }
    assert!(clean > 100, "some mutations leave a valid file, or the others prove little: {clean}");
}
