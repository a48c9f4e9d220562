//! How often comparing, choosing and sizing are wrong, on lines whose rates are known exactly.
//!
//! Two stations in a row with exponential times of one second and b slots between them let (b + 2)/(b + 3) parts
//! through a second: rows L-01 to L-04 of the table of published values (Hunt 1956; Hillier & Boling 1967). Others are of
//! the families U (stations that jam), O (orienting paths) and I (shared attendants). Each claim is
//! tried on the seeds stated, and fails where the error seen lies more than 4.5 standard errors above the one
//! promised: a right program fails one of them with a chance under 1e-5. Claims of that kind hold with room to spare
//! (Bonferroni), so that each test also asks that the procedure decides most cases; otherwise it would be idle.

use feedproof_tests::published::line::{exponential, row, source};
use feedproof_tests::published::table::value_of;
use serde_json::{Value, json};
use sim_core::diag::Diagnostic;
use sim_core::study::compare::{Choice, CompareOptions, CompareResult, Design, compare};
use sim_core::study::size::{Grid, SizeOptions, SizeResult, Wanted, size};
use sim_core::study::{Alone, Mode, NothingKept, Variant};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

/// Two stations with so many slots; shifts of 140 s of which the first 20 s are not measured.
fn text(slots: u32, promise: &Value) -> String {
    let stations = row(&[exponential(1.0), exponential(1.0)], &[slots]);
    let plan = json!({"shift": "140 s", "warm_up": "20 s"});
    json!({"feedproof": 1, "stations": stations, "plan": plan, "promise": promise}).to_string()
}

/// Parts a minute.
fn exact(slots: u32) -> f64 {
    60.0 * f64::from(slots + 2) / f64::from(slots + 3)
}

#[test]
fn the_closed_form_is_that_of_the_table() {
    for (id, slots) in [("L-01", 0), ("L-02", 1), ("L-03", 2), ("L-04", 5)] {
        assert!((60.0 * value_of(id).exact - exact(slots)).abs() < 1e-7, "{id}");
    }
}

/// What is found with each seed, on all cores.
fn over<T: Send>(seeds: std::ops::Range<u64>, study: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let next = AtomicU64::new(seeds.start);
    let found = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                loop {
                    let seed = next.fetch_add(1, Ordering::Relaxed);
                    if seed >= seeds.end {
                        break;
                    }
                    let one = study(seed);
                    found.lock().unwrap_or_else(|poison| poison.into_inner()).push(one);
                }
            });
        }
    });
    found.into_inner().unwrap_or_else(|poison| poison.into_inner())
}

/// Fails if a share of errors lies too far above the promised one.
fn promised(what: &str, wrong: usize, of: usize, error: f64) {
    let share = wrong as f64 / of as f64;
    println!("{what}: wrong {wrong} of {of}, promised {error}");
    let allowed = error + 4.5 * (error * (1.0 - error) / of as f64).sqrt();
    assert!(share <= allowed, "{what}: wrong with {share}, promised {error}, allowed here {allowed}");
}

fn design(name: &str, text: &str) -> Design {
    let variant = Variant::read(text).unwrap_or_else(|problems| panic!("{problems:?}"));
    Design { name: name.to_owned(), settings: Vec::new(), variant, text: text.to_owned() }
}

fn compared(texts: &[String], seed: u64, replications: u64, indifference: Option<f64>) -> CompareResult {
    compared_by(texts, seed, replications, indifference, false)
}

fn compared_by(
    texts: &[String],
    seed: u64,
    replications: u64,
    indifference: Option<f64>,
    controls: bool,
) -> CompareResult {
    let named = texts.iter().enumerate().map(|(n, text)| design(&n.to_string(), text));
    let mode = Mode::UntilDecided;
    let options = CompareOptions {
        replications,
        mode,
        seed,
        level: 0.95,
        indifference,
        draws_inputs: false,
        own_luck: false,
        controls,
    };
    let found = compare(named.collect(), &options, &Alone, &|| false, &mut |_| (), &mut NothingKept);
    found.unwrap_or_else(|why| panic!("{why}")).unwrap_or_else(|| panic!("it was not cancelled"))
}

/// Seeds 0 to 999. Intervals of the rate have half of the error of 0.05, all looks together, whenever it stops.
#[test]
fn the_interval_of_a_difference_holds_at_whatever_look_it_stops() {
    let texts =
        [text(1, &Value::Null), text(2, &Value::Null)].map(|text| text.replace(r#","promise":null"#, ""));
    let truth = exact(2) - exact(1);
    let all = over(0..1000, |seed| compared(&texts, seed, 60, None));
    let gaps: Vec<_> = all.iter().map(|found| found.differences[0].rate).collect();
    let misses = gaps.iter().filter(|gap| gap.low > truth || truth > gap.high).count();
    promised("interval of a difference", misses, all.len(), 0.025);
    let wrong = gaps.iter().filter(|gap| gap.high < 0.0).count();
    promised("the worse design is called the better one", wrong, all.len(), 0.0125);
    let decided = all.iter().filter(|found| found.choice == Choice::Sure { best: "1".to_owned() }).count();
    assert!(decided > 900, "{decided} of 1000 were decided");
    let ratios: Vec<f64> = all.iter().filter_map(|found| found.differences[0].variance_ratio).collect();
    let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
    println!("variance of a paired difference over that of an unpaired one: {mean}");
    assert!(mean < 0.5, "{mean}");
}

/// Seeds 0 to 999. The same with controls.
#[test]
fn the_interval_of_a_difference_holds_with_controls() {
    let texts =
        [text(1, &Value::Null), text(2, &Value::Null)].map(|text| text.replace(r#","promise":null"#, ""));
    let truth = exact(2) - exact(1);
    let all = over(0..1000, |seed| compared_by(&texts, seed, 60, None, true));
    let gaps: Vec<_> = all.iter().map(|found| found.differences[0].rate).collect();
    let misses = gaps.iter().filter(|gap| gap.low > truth || truth > gap.high).count();
    promised("interval of a difference with controls", misses, all.len(), 0.025);
    let ratios: Vec<f64> = all.iter().filter_map(|found| found.differences[0].variance_ratio).collect();
    let shifts: u64 = all.iter().map(|found| found.differences[0].shifts).sum();
    let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
    println!(
        "variance over that of an unpaired difference: {mean}; {} pairs of shifts",
        shifts as f64 / 1000.0
    );
    assert!(mean < 0.2, "{mean}");
}

/// Seeds 0 to 999. Two lines that are equal but for the names of their stations, so that each has luck of its own.
#[test]
fn equal_designs_are_told_apart_no_more_often_than_stated() {
    let one = text(2, &Value::Null).replace(r#","promise":null"#, "");
    let texts = [one.clone(), one.replace("\"S1\"", "\"A\"").replace("\"S2\"", "\"B\"")];
    let all = over(0..1000, |seed| compared(&texts, seed, 60, None));
    let wrong = all.iter().filter(|found| matches!(found.choice, Choice::Sure { .. })).count();
    promised("equal designs told apart", wrong, all.len(), 0.025);
}

/// Seeds 0 to 999. The best of three leads by the indifference.
#[test]
fn the_best_is_chosen_as_often_as_promised() {
    let texts = [1, 2, 5].map(|slots| text(slots, &Value::Null).replace(r#","promise":null"#, ""));
    let lead = exact(5) - exact(2);
    let all = over(0..1000, |seed| compared(&texts, seed, 400, Some(lead)));
    let chosen = |found: &&CompareResult, name: &str| matches!(&found.choice, Choice::Chosen { best, .. } if best == name);
    let right = all.iter().filter(|found| chosen(found, "2")).count();
    promised("choice of the best", all.len() - right, all.len(), 0.05);
    let shifts: u64 = all.iter().flat_map(|found| &found.designs).map(|design| design.shifts).sum();
    println!("{} shifts of all three on average", shifts as f64 / all.len() as f64);
}

/// The same line, with names of its own for the stations with luck, so that it has luck of its own.
fn with_own_luck(text: &str, n: usize) -> String {
    text.replace("\"S1\"", &format!("\"{n} S1\"")).replace("\"S2\"", &format!("\"{n} S2\""))
}

/// How often another design than the last one, which leads by `lead`, is chosen or none.
fn wrong_choices(what: &str, texts: &[String], lead: f64, seeds: u64) {
    let all = over(0..seeds, |seed| compared(texts, seed, 5000, Some(lead)));
    let last = (texts.len() - 1).to_string();
    let right =
        |found: &&CompareResult| matches!(&found.choice, Choice::Chosen { best, .. } if *best == last);
    promised(what, all.len() - all.iter().filter(right).count(), all.len(), 0.05);
    let shifts: u64 = all.iter().flat_map(|found| &found.designs).map(|design| design.shifts).sum();
    println!("{what}: {} shifts of all designs on average", shifts as f64 / all.len() as f64);
}

/// Seeds 0 to 799. Where it is hardest: four equal lines, each with luck of its own, all exactly the indifference behind the best.
#[test]
fn the_best_is_chosen_among_equals_that_lie_the_indifference_behind() {
    let line = |slots, n| with_own_luck(&text(slots, &Value::Null).replace(r#","promise":null"#, ""), n);
    let texts: Vec<String> =
        [2, 2, 2, 2, 3].into_iter().enumerate().map(|(n, slots)| line(slots, n)).collect();
    wrong_choices("five lines of family L", &texts, exact(3) - exact(2), 800);
}

/// Seeds 0 to 399. Two stations of one second that jam at a part with 0.01 and are cleared within a second with 0.1: rows U-01
/// (2 slots) and U-02 (8). Their store forgets within 20 s (see `published/jams.rs`); 100 s are not measured.
#[test]
fn the_best_is_chosen_among_lines_that_jam() {
    let line = |slots: u32, n| {
        let mut stations = row(&[json!("1 s"), json!("1 s")], &[slots]);
        let time = json!({"law": "geometric", "mean": "10 s", "step": "1 s"});
        for station in [0, 2] {
            stations[station]["jams"] = json!([{"per_part": 0.01, "when": "start", "time": time}]);
        }
        let plan = json!({"shift": "700 s", "warm_up": "100 s"});
        with_own_luck(&json!({"feedproof": 1, "stations": stations, "plan": plan}).to_string(), n)
    };
    let lead = 60.0 * (value_of("U-02").exact - value_of("U-01").exact);
    wrong_choices("four lines of family U", &[line(2, 0), line(2, 1), line(2, 2), line(8, 3)], lead, 400);
}

/// Seeds 0 to 799. Paths that take a part a second and let 0.35 or 0.38 of them pass (a share as in row O-01; what is rejected is
/// gone), so that 21 and 22.8 parts a minute are delivered.
#[test]
fn the_best_is_chosen_among_orienting_paths() {
    let line = |share: f64, n: usize| {
        let path = json!({"id": format!("path {n}"), "type": "orienting path", "pass": "1 s", "rejects_to": "scrap",
            "to": "out", "tools": [{"id": "tool", "accepts": share}]});
        let stations = [source("F", json!("0 s")), path, json!({"id": "scrap", "type": "scrap box"})];
        json!({"feedproof": 1, "stations": stations, "plan": {"shift": "100 s"}}).to_string()
    };
    let texts: Vec<String> =
        [0.35, 0.35, 0.35, 0.38].into_iter().enumerate().map(|(n, share)| line(share, n)).collect();
    wrong_choices("four paths of family O", &texts, 60.0 * (0.38 - 0.35), 800);
}

/// Values from the first one on, and the line with each.
struct Numbers<'a> {
    first: u32,
    values: Vec<String>,
    line: &'a (dyn Fn(u32) -> String + Sync),
}

impl Grid for Numbers<'_> {
    fn values(&self) -> &[String] {
        &self.values
    }

    fn variant(&self, number: usize) -> Result<Variant, Vec<Diagnostic>> {
        Variant::read(&(self.line)(self.first + number as u32))
    }
}

/// Sizes over the seeds 0 to 399 for the smallest value that is enough, and fails if it errs more often than promised, or finds no
/// value within one of the right one in more than half of them.
fn wrong_sizes(
    what: &str,
    numbers: std::ops::RangeInclusive<u32>,
    line: &(dyn Fn(u32) -> String + Sync),
    fewest: u32,
) {
    let error = 0.1;
    let all = over(0..400, |seed| {
        let values = numbers.clone().map(|number| number.to_string()).collect();
        let grid = Numbers { first: *numbers.start(), values, line };
        // Seeds of values are those of the study and on: studies must not share them.
        let options = SizeOptions { wanted: Wanted::Smallest, replications: 80, seed: 100 * seed, error };
        let found = size(&grid, &options, &Alone, &|| false, &mut |_| (), &mut NothingKept);
        found.unwrap_or_else(|why| panic!("{why:?}")).unwrap_or_else(|| panic!("it was not cancelled"))
    });
    let number = |value: &Option<String>| value.as_ref().and_then(|value| value.parse::<u32>().ok());
    let is_wrong = |found: &&SizeResult| {
        number(&found.proved).is_some_and(|proved| proved < fewest)
            || number(&found.disproved).is_some_and(|disproved| disproved >= fewest)
    };
    promised(what, all.iter().filter(is_wrong).count(), all.len(), error);
    let exactly = all.iter().filter(|found| number(&found.proved) == Some(fewest) && found.open == 0).count();
    let near =
        all.iter().filter(|found| number(&found.proved).is_some_and(|proved| proved <= fewest + 1)).count();
    let shifts = all.iter().map(|found| found.shifts).sum::<u64>() as f64 / all.len() as f64;
    println!(
        "{what}: exactly {exactly}, one off at most {near} of {}; {shifts} shifts on average",
        all.len()
    );
    assert!(near > 200, "{near}");
}

/// The mean rate demanded lies midway between two rows; the fewest slots follow.
#[test]
fn the_fewest_slots_are_found_as_surely_as_promised() {
    for (worse, better, fewest) in [("L-01", "L-02", 1), ("L-02", "L-03", 2), ("L-03", "L-04", 4)] {
        let rate = 30.0 * (value_of(worse).exact + value_of(better).exact);
        assert!(exact(fewest) >= rate && exact(fewest - 1) < rate);
        let promise = json!({"clauses": {"mean_rate": format!("{rate} /min")}});
        let what = format!("sizing between {worse} and {better}");
        wrong_sizes(&what, 0..=8, &|slots| text(slots, &promise), fewest);
    }
}

/// Stations that run on average, of `n` that stop at rate `stops` each, cleared at rate 1 by so many attendants: the
/// birth-death model of Palm (1947), with weights n!/(n - k)! stops^k over the product of min(i, attendants) for k stopped.
fn running(n: u32, attendants: u32, stops: f64) -> f64 {
    let (mut weight, mut all, mut up) = (1.0, 1.0, f64::from(n));
    for k in 1..=n {
        weight *= f64::from(n - k + 1) * stops / f64::from(k.min(attendants));
        all += weight;
        up += weight * f64::from(n - k);
    }
    up / all
}

/// Twelve stations of a part a second that stop at rate 0.2, as in row I-07; the mean rate demanded lies midway between two and
/// three attendants, of one to six.
#[test]
fn the_fewest_attendants_are_found_as_surely_as_promised() {
    for (id, n, attendants, stops) in [("I-01", 4, 1, 0.1), ("I-05", 12, 2, 0.1), ("I-07", 12, 2, 0.2)] {
        let gap = running(n, attendants, stops) - value_of(id).exact;
        assert!(gap.abs() < 1e-7, "{id}: {gap}");
    }
    let rate = 30.0 * (running(12, 2, 0.2) + running(12, 3, 0.2));
    let line = |attendants: u32| {
        let mut station = source("S", json!("1 s"));
        station["count"] = json!(12);
        station["to"] = json!("out");
        station["jams"] = json!([{"every": exponential(5.0), "time": exponential(1.0), "by": "A"}]);
        json!({"feedproof": 1, "stations": [station], "attendants": [{"id": "A", "number": attendants}],
            "plan": {"shift": "320 s", "warm_up": "20 s"},
            "promise": {"clauses": {"mean_rate": format!("{rate} /min")}}})
        .to_string()
    };
    wrong_sizes("fewest attendants", 1..=6, &line, 3);
}
