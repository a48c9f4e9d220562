//! The two accounts of where the rate is lost add up on every line of the gallery (ruling 7): the time account of each
//! point of use, to the nanosecond; the flow account of each station that sends parts off, to the part.

use feedproof_tests::shifts::sound;
use sim_core::kernel::{Note, State};
use sim_core::measure::{Causes, Happening, Tally, Trace};
use sim_core::network::compile;
use sim_core::replication::{Replica, Stop};
use sim_core::study::result::{LossKind, LossReport, LossStep, RunResult, StationReport};
use sim_core::study::{self, Alone, Job, Mode, Options, Watch};
use std::cell::RefCell;

/// Simulated time of the exact accounts.
const HOURS: u64 = 3;
const HOUR_NS: u64 = 3_600_000_000_000;

/// Lines whose selectors turn every part and reject none.
const ALL_GO_ON: [&str; 2] = ["flange-no-return", "rivet-heads"];

/// Bad parts that a station took and gave, counted from the trace.
#[derive(Clone, Default)]
struct Bad {
    took: u64,
    gave: u64,
}

impl Bad {
    fn count(counts: &mut [Bad], happening: Happening) {
        let Happening::Note { station, note, part: Some(part) } = happening else { return };
        if part.condition == 0 {
            return;
        }
        match note {
            Note::Took => counts[station.ix()].took += 1,
            Note::Exit(_) => counts[station.ix()].gave += 1,
            _other => {}
        }
    }
}

/// Exactly, from an empty line on: every second of a point of use has its state, every starved one its cause; and what a
/// station took is what left it through each exit, by defect or not, and what is in it.
fn adds_up_exactly(name: &str, text: &str) {
    let scenario = sound(text);
    let plan = compile(&scenario);
    let close = HOURS * HOUR_NS;
    let bad = RefCell::new(vec![Bad::default(); plan.tally.n_posts]);
    let trace = Trace::new(0, close, |_, happening| Bad::count(&mut bad.borrow_mut(), happening));
    let accounts = (Tally::new(&plan.tally), Causes::new(&plan.causes));
    let mut replica = Replica::new(&plan, 1, 0, (accounts, trace));
    assert_eq!(replica.run_until(close), Stop::TimeReached);
    let ((tally, causes), _) = &mut replica.floor.observer;
    tally.close(close);
    causes.close(close);
    for (number, point) in plan.tally.points.iter().enumerate() {
        let time = &tally.time[point.ix()];
        let post = &plan.names.posts[point.ix()];
        assert_eq!(time.iter().sum::<u64>(), close, "{name}: the states of {post}");
        let charged: u64 = causes.charges(number).iter().sum();
        assert_eq!(charged, time[State::Starved as usize], "{name}: the causes of {post}");
    }
    let mut sorting = 0;
    for (ix, station) in replica.stations.iter().enumerate() {
        let counts = &tally.counts[ix];
        let exits = plan.names.entries[ix].map(|entry| scenario.stations[entry].blueprint.exits());
        let sends_off = exits.is_some_and(|exits| exits.len() > 1 && exits[0].key != exits[1].key);
        let stood_by = counts.took + counts.exits.iter().sum::<u64>() == 0;
        if !sends_off || stood_by {
            continue;
        }
        let out: u64 = counts.exits.iter().sum();
        let post = &plan.names.posts[ix];
        assert_eq!(counts.took, out + station.content() as u64, "{name}: the parts of {post}");
        // A bad part is bad by whatever way it leaves: those that were taken have been given, or are inside.
        let Bad { took, gave } = bad.borrow()[ix].clone();
        assert_eq!(counts.defects.iter().sum::<u64>(), gave, "{name}: the bad parts that left {post}");
        let inside = took.checked_sub(gave).unwrap_or_else(|| panic!("{name}: {post} made parts bad"));
        assert!(inside <= station.content() as u64, "{name}: {inside} bad parts are in {post}");
        sorting += 1;
    }
    let judges = ["orienting path", "selector", "gauge"].iter().any(|word| text.contains(word));
    assert_eq!(sorting > 0, judges && !ALL_GO_ON.contains(&name), "{name}: stations with a flow account");
}

fn result(text: &str) -> RunResult {
    let scenario = sound(text);
    let options = Options { mode: Mode::Fixed, replications: 2, causes: 2, ..Options::of(&scenario) };
    let plan = compile(&scenario);
    let job = Job { scenario: &scenario, plan: &plan, source: text, options };
    let mut watch = Watch { cancelled: &|| false, progress: &mut |_| {}, each: &mut |_, _| {} };
    study::run(&job, &Alone, &mut watch).expect("it runs")
}

/// The steps of the time account lead from the rate at the nominal cycle to the good parts.
fn time_account(name: &str, result: &RunResult, loss: &LossReport) {
    let station = result.stations.iter().find(|one| one.name == loss.station).expect("the point of use");
    let working = station.states.iter().find(|one| one.state == State::Working).expect("it works");
    let working = working.share.mean.expect("a share");
    let shares: f64 = loss.steps.iter().filter_map(|step| step.share.as_ref()?.mean).sum();
    assert!((working + shares - 1.0).abs() < 1e-12, "{name}, {}: {working} and {shares}", loss.station);
    starved_by_cause(name, station, loss);
    let good = loss.good_per_minute.mean.expect("a rate");
    let Some(free) = loss.free_per_minute else { return };
    let lost: f64 = loss.steps.iter().map(|step| step.per_minute.expect("a rate")).sum();
    assert!(
        (free - lost - good).abs() < 1e-9 * free,
        "{name}, {}: {free} - {lost} is not {good}",
        loss.station
    );
}

/// The starved steps make up the starved share, and each names its cause once.
fn starved_by_cause(name: &str, station: &StationReport, loss: &LossReport) {
    let starved: Vec<&LossStep> = loss.steps.iter().filter(|step| step.kind == LossKind::Starved).collect();
    let shares: f64 = starved.iter().filter_map(|step| step.share.as_ref()?.mean).sum();
    let whole = station.states.iter().find(|one| one.state == State::Starved);
    let whole = whole.and_then(|one| one.share.mean).unwrap_or(0.0);
    assert!((shares - whole).abs() < 1e-12, "{name}, {}: {shares} of {whole} starved", loss.station);
    let mut causes: Vec<&str> = starved.iter().map(|step| step.what.as_str()).collect();
    causes.sort_unstable();
    assert!(causes.windows(2).all(|two| two[0] != two[1]), "{name}, {}: {causes:?}", loss.station);
}

/// What a station took went one of the ways of its account, but for what was under way at the edges.
fn flow_accounts(name: &str, result: &RunResult) {
    for flow in &result.flows {
        let steps = [
            &flow.by_attitude_per_hour,
            &flow.by_defect_per_hour,
            &flow.overflow_per_hour,
            &flow.accepted_per_hour,
        ];
        let gone: f64 = steps.iter().map(|step| step.mean.expect("a flow")).sum();
        let offered = flow.offered_per_hour.mean.expect("a flow");
        // A station of the gallery holds fewer than 60 parts more at one edge of an hour or longer than at the other.
        assert!((offered - gone).abs() <= 60.0, "{name}, {}: {offered} and {gone} an hour", flow.station);
    }
}

macro_rules! lines {
    ($($test:ident: $name:literal;)*) => {$(
        #[test]
        fn $test() {
            let text = include_str!(concat!("../../scenarios/", $name, ".json"));
            adds_up_exactly($name, text);
            let result = result(text);
            assert!(!result.losses.is_empty());
            result.losses.iter().for_each(|loss| time_account($name, &result, loss));
            flow_accounts($name, &result);
        }
    )*};
}

lines! {
    knob_two_paths: "knob-two-paths";
    knob_one_path: "knob-one-path";
    hand_wheels: "hand-wheels";
    dowels_graded: "dowels-graded";
    deck_screws_table: "deck-screws-table";
    tack_degrease: "tack-degrease";
    token_thickness: "token-thickness";
    flange_no_return: "flange-no-return";
    roller_sticks: "roller-sticks";
    hook_family: "hook-family";
    bracket_robot: "bracket-robot";
    clip_five_paths: "clip-five-paths";
    bead_rows: "bead-rows";
    saucer_sizes: "saucer-sizes";
    dispenser_kit: "dispenser-kit";
    castor_rework: "castor-rework";
    handle_hopper: "handle-hopper";
    rivet_heads: "rivet-heads";
    fuse_blow: "fuse-blow";
    soap_checks: "soap-checks";
    one_attendant_six_lines: "one-attendant-six-lines";
    starter: "starter";
}
