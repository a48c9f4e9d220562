//! Family L: saturated lines, blocking after service.
//!
//! Relaxation: the contents of the gaps between stations walk within their limits; a generous bound is half
//! the square of all parts that the line can hold, in mean services (a walk within 0..n forgets in
//! (n + 1)^2 / pi^2 steps).

use super::Row;
use super::line::{erlang, exponential, file, row, seconds, track, with, work};
use super::trial::{Ended, Trial};
use serde_json::{Value, json};
use sim_core::kernel::State;

/// Stations with these times and slots between them.
fn trial(
    times: &[Value],
    slots: &[u32],
    replications: u64,
    measure: impl Fn(&Ended<'_>) -> f64 + Send + Sync + 'static,
) -> Trial {
    let held = slots.iter().sum::<u32>() as f64 + times.len() as f64;
    Trial::new(file(row(times, slots)), 0.5 * held * held, 20_000.0, replications, measure)
}

fn rate_of(station: usize) -> impl Fn(&Ended<'_>) -> f64 + Send + Sync + 'static {
    let name = format!("S{station}");
    move |e| e.rate(&name)
}

/// Throughput of a line of stations with this law of time.
fn throughput(id: &'static str, times: &[Value], slots: &[u32]) -> Row {
    Row::simulated(id, 0.005, trial(times, slots, 100, rate_of(times.len())))
}

fn alike(n: usize) -> Vec<Value> {
    vec![exponential(1.0); n]
}

fn of_means(means: &[f64]) -> Vec<Value> {
    means.iter().map(|&mean| exponential(mean)).collect()
}

/// L-14: the mean of the outer stations that makes the most of three: where the parabola through the throughputs of three
/// means has its top. The lines run on the same luck, so that what is left of it is small beside their difference. The curve is
/// no parabola: worked out by the chain of the eight states of this line, its top with these means lies 0.0002 below the
/// optimum, which is under a tenth of the half-width, 0.004.
fn best_of_bowl() -> Trial {
    const MEANS: [f64; 3] = [1.04, 1.09, 1.14];
    let of = |outer: f64| of_means(&[outer, 3.0 - 2.0 * outer, outer]);
    let further = MEANS[1..].iter().map(|outer| file(row(&of(*outer), &[0, 0]))).collect();
    trial(&of(MEANS[0]), &[0, 0], 100, rate_of(3)).beside(further, |rates| {
        let [low, mid, high] = *rates else { panic!("three lines have three rates") };
        MEANS[1] + 0.5 * (MEANS[1] - MEANS[0]) * (low - high) / (low - 2.0 * mid + high)
    })
}

/// L-26: carriers go round through four stations; all of them start on one track.
fn loop_of_four() -> Trial {
    let mut stations = Vec::new();
    for n in 1..=4 {
        stations.push(track(&format!("B{n}"), 8));
        stations.push(work(&format!("S{n}"), exponential(1.0)));
    }
    stations[7] = with(stations[7].clone(), "to", json!("B1"));
    let mut line = file(stations);
    line["plan"] = json!({"start_at": {"B1": "primed"}});
    Trial::new(line, 100.0, 20_000.0, 100, |e| e.rate("S4"))
}

/// Rows of the family.
pub fn rows() -> Vec<Row> {
    let mut rows = vec![
        throughput("L-01", &alike(2), &[0]),
        throughput("L-02", &alike(2), &[1]),
        throughput("L-03", &alike(2), &[2]),
        throughput("L-04", &alike(2), &[5]),
        throughput("L-05", &of_means(&[1.0, 0.8]), &[2]),
        Row::simulated("L-06", 0.015, {
            trial(&of_means(&[1.0, 0.8]), &[2], 100, |e| e.share("S1", &[State::Blocked]))
        }),
        throughput("L-07", &alike(3), &[0, 0]),
        throughput("L-08", &alike(3), &[1, 1]),
        throughput("L-09", &alike(3), &[2, 2]),
        throughput("L-10", &alike(4), &[0, 0, 0]),
        throughput("L-11", &alike(4), &[1, 1, 1]),
        throughput("L-12", &alike(4), &[2, 2, 2]),
        throughput("L-13", &alike(5), &[0, 0, 0, 0]),
        Row::simulated("L-14", 0.005, best_of_bowl()),
        throughput("L-15", &of_means(&[1.08553, 3.0 - 2.0 * 1.08553, 1.08553]), &[0, 0]),
        throughput("L-16", &of_means(&[1.1, 0.8, 1.1]), &[0, 0]),
        throughput("L-17", &of_means(&[1.0, 1.25, 1.0 / 1.2]), &[1, 2]),
        // The line turned round has the same throughput.
        throughput("L-17", &of_means(&[1.0 / 1.2, 1.25, 1.0]), &[2, 1]),
    ];
    rows.extend(other_laws());
    rows.extend(other_measures());
    rows
}

fn other_laws() -> Vec<Row> {
    let uniform = json!({"from": seconds(0.5), "to": seconds(1.5)});
    vec![
        throughput("L-18", &vec![erlang(2, 1.0); 2], &[0]),
        throughput("L-19", &vec![erlang(2, 1.0); 2], &[1]),
        throughput("L-20", &vec![erlang(4, 1.0); 2], &[2]),
        throughput("L-21", &vec![erlang(2, 1.0); 3], &[1, 1]),
        throughput("L-22", &[uniform.clone(), uniform], &[0]),
        throughput("L-23", &[exponential(1.0), json!("1 s")], &[0]),
        throughput("L-23", &[json!("1 s"), exponential(1.0)], &[0]),
        Row::simulated("L-26", 0.005, loop_of_four()),
    ]
}

fn other_measures() -> Vec<Row> {
    vec![
        Row::simulated("L-24", 0.01, trial(&alike(3), &[2, 2], 100, |e| e.level("B1") + e.level("B2"))),
        Row::simulated("L-25", 0.01, trial(&alike(3), &[2, 2], 100, |e| e.share("S1", &[State::Blocked]))),
    ]
}
