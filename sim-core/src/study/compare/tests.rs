use super::*;
use crate::study::Alone;

fn line(capacity: u32, extra: &str) -> String {
    format!(
        r#"{{"feedproof": 1, "stations": [
        {{"id": "F", "type": "work", "endless": true, "time": {{"law": "exponential", "mean": "1 s"}}}},
        {{"id": "T", "type": "track", "capacity": {capacity}, "travel": "0 s"}},
        {{"id": "M", "type": "work", "time": {{"law": "exponential", "mean": "1 s"}}}}],
        "plan": {{"shift": "10 min"{extra}}}, "promise": {{"clauses": {{"rate": "45 /min", "in_shifts": "90 %"}}}}}}"#
    )
}

fn design(name: &str, text: &str) -> Design {
    let variant = Variant::read(text).unwrap_or_else(|problems| panic!("{problems:?}"));
    Design { name: name.to_owned(), settings: Vec::new(), variant }
}

fn options(replications: u64, indifference: Option<f64>) -> CompareOptions {
    CompareOptions { replications, mode: Mode::UntilDecided, seed: 1, level: 0.95, indifference }
}

fn compared(capacities: &[u32], options: &CompareOptions) -> CompareResult {
    let designs =
        capacities.iter().map(|capacity| design(&format!("b{capacity}"), &line(*capacity, ""))).collect();
    compare(designs, options, &Alone, &|| false, &mut |_| ()).unwrap().unwrap()
}

#[test]
fn the_longer_track_is_surely_better_and_pairing_helps() {
    let found = compared(&[1, 8], &options(400, None));
    assert_eq!(found.choice, Choice::Sure { best: "b8".to_owned() });
    assert_eq!(found.stopped_because, StoppedBecause::Decided);
    let [pair] = &found.differences[..] else { panic!("one pair") };
    assert!(pair.rate.low > 0.0 && pair.variance_ratio.unwrap() < 0.8, "{pair:?}");
    assert!(pair.chance.unwrap().difference > 0.0 && pair.attendance.is_none());
    assert!(found.designs[0].shifts < 30 && found.designs[0].given_up_at == Some(found.designs[1].shifts));
}

#[test]
fn equal_designs_stay_open_and_use_the_budget() {
    let found = compared(&[3, 3], &options(30, None));
    let both = vec!["b3".to_owned(), "b3".to_owned()];
    assert_eq!(found.choice, Choice::Open { in_play: both });
    assert_eq!((found.stopped_because, found.designs[0].shifts), (StoppedBecause::BudgetUsed, 30));
    assert_eq!(found.differences[0].rate.difference, 0.0);
}

#[test]
fn many_designs_are_chosen_from_by_elimination() {
    let found = compared(&[1, 2, 3, 4, 20], &options(400, Some(0.5)));
    let choice = Choice::Chosen { best: "b20".to_owned(), indifference: 0.5, level: 0.95 };
    assert_eq!(found.choice, choice);
    assert!(found.designs[0].shifts <= found.designs[4].shifts);
    assert_eq!(found.differences.len(), 10);
}

#[test]
fn a_fixed_number_of_shifts_is_run_of_all_and_told_more_closely() {
    let sequential = compared(&[1, 2, 8], &options(40, None));
    let fixed = compared(&[1, 2, 8], &CompareOptions { mode: Mode::Fixed, ..options(40, None) });
    assert!(fixed.designs.iter().all(|design| design.shifts == 40));
    assert_eq!(fixed.choice, sequential.choice);
    let width = |found: &CompareResult| found.differences[0].rate.high - found.differences[0].rate.low;
    assert!(width(&fixed) < 0.7 * width(&sequential));
}

#[test]
fn the_number_of_workers_changes_nothing() {
    #[cfg(feature = "threads")]
    {
        let run = |n: usize| {
            let designs =
                [1, 2, 4].map(|capacity| design(&format!("b{capacity}"), &line(capacity, ""))).into();
            let hands = crate::study::Hands { n };
            compare(designs, &options(100, Some(1.0)), &hands, &|| false, &mut |_| ()).unwrap()
        };
        assert_eq!(run(1), run(3));
    }
}

#[test]
fn designs_without_luck_are_told_at_once() {
    let fixed = |cycle: &str| {
        line(3, "").replace(r#"{"law": "exponential", "mean": "1 s"}"#, &format!("\"{cycle}\""))
    };
    let designs = vec![design("slow", &fixed("1.1 s")), design("fast", &fixed("1 s"))];
    let found = compare(designs, &options(400, None), &Alone, &|| false, &mut |_| ()).unwrap().unwrap();
    assert_eq!(found.choice, Choice::WithoutLuck { best: Some("fast".to_owned()) });
    assert_eq!(found.designs[0].shifts, 10);
}

#[test]
fn what_cannot_be_compared_is_refused() {
    let none = compare(Vec::new(), &options(400, None), &Alone, &|| false, &mut |_| ());
    assert!(matches!(none, Err(RunError::BadOptions(_))));
    let two = || vec![design("a", &line(1, "")), design("b", &line(2, ""))];
    let few = compare(two(), &options(9, None), &Alone, &|| false, &mut |_| ());
    assert!(matches!(few, Err(RunError::BadOptions(_))));
    let stopped = compare(two(), &options(400, None), &Alone, &|| true, &mut |_| ());
    assert_eq!(stopped, Ok(None));
}
