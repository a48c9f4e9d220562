//! The reference line agrees with the values of `tests/data/reference-lines.md`, the tie rule included.
//!
//! 200 shifts; |difference| <= 4.5 standard errors of the difference, for fourteen outputs: a right program fails
//! less than once in 10,000 choices of the seed (normal tail 6.8e-6, times fourteen).

use sim_core::kernel::{PlaceId, State, StationId};
use sim_core::measure::Tally;
use sim_core::network::{Plan, compile};
use sim_core::replication::{Replica, Stop};
use sim_core::scenario;
use sim_core::statistics::Moments;

const TEXT: &str = include_str!("../../scenarios/reference/ref12.json");

/// Name, mean and 95 % half-width.
const VALUES: [(&str, f64, f64); 14] = [
    ("throughput", 5791.9, 0.94),
    ("share of C1", 0.54484, 0.00014),
    ("T", 15.19, 0.025),
    ("B", 16.285, 0.0041),
    ("X1", 14.723, 0.0003),
    ("X2", 3.659, 0.009),
    ("E starved", 0.01968, 0.0001),
    ("E blocked", 0.01501, 0.00016),
    ("O starved", 0.18429, 0.00009),
    ("O blocked", 0.01132, 0.00014),
    ("C1 starved", 0.0, 0.0),
    ("C2 starved", 0.16399, 0.0003),
    ("C1 down", 0.03578, 0.0003),
    ("C2 down", 0.03049, 0.0003),
];

fn shift(plan: &Plan, replication: u64) -> [f64; 14] {
    let mut replica = Replica::new(plan, 1, replication, Tally::new(&plan.tally));
    assert_eq!(replica.run_until(plan.open_ns), Stop::TimeReached);
    replica.floor.observer.open(plan.open_ns);
    assert_eq!(replica.run_until(plan.close_ns), Stop::TimeReached);
    replica.floor.observer.close(plan.close_ns);
    let tally = &replica.floor.observer;
    let window = tally.window as f64;
    let station = |name: &str| {
        let ix = plan.names.posts.iter().position(|n| n == name).expect("there is such a station");
        StationId(ix as u16)
    };
    let time = |name: &str, states: &[State]| {
        let spent = &tally.time[station(name).ix()];
        states.iter().map(|state| spent[*state as usize] as f64).sum::<f64>() / window
    };
    let content = |name: &str| {
        let ix = plan.names.places.iter().position(|n| n == name).expect("there is such a place");
        tally.levels[PlaceId(ix as u16).ix()].area() as f64 / window
    };
    let good = |name: &str| {
        let n = plan.tally.points.iter().position(|p| *p == station(name)).expect("it is a point of use");
        tally.points[n].good as f64
    };
    let all = good("C1") + good("C2");
    let down = [State::JamWaiting, State::JamClearing];
    [
        all * 3.6e12 / window,
        good("C1") / all,
        content("T"),
        content("B"),
        content("X1"),
        content("X2"),
        time("E", &[State::Starved]),
        time("E", &[State::Blocked]),
        time("O", &[State::Starved]),
        time("O", &[State::Blocked]),
        time("C1", &[State::Starved]),
        time("C2", &[State::Starved]),
        time("C1", &down),
        time("C2", &down),
    ]
}

#[test]
fn the_reference_line_agrees_in_every_output() {
    let scenario = scenario::read(TEXT).scenario.expect("the reference line is sound");
    let plan = compile(&scenario);
    let mut moments: [Moments; 14] = Default::default();
    for replication in 0..200 {
        for (output, value) in moments.iter_mut().zip(shift(&plan, replication)) {
            output.push(value);
        }
    }
    for ((name, value, half_width), found) in VALUES.iter().zip(&moments) {
        let (mean, error) = (found.mean().expect("values"), found.standard_error().expect("values"));
        let error = (error * error + (half_width / 1.96) * (half_width / 1.96)).sqrt();
        assert!((mean - value).abs() <= 4.5 * error + 1e-9, "{name}: {mean} against {value}, error {error}");
    }
}
