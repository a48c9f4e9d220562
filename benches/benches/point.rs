//! Time that a point of a sweep costs before its first shift: its text, its reading, checking and compiling.

use criterion::{Criterion, criterion_group, criterion_main};
use sim_core::sweep::{self, Points};
use std::hint::black_box;

const LINES: &[(&str, &str, &str)] = &[
    ("starter", include_str!("../../scenarios/starter.json"), "press.cycle"),
    ("knob-two-paths", include_str!("../../scenarios/knob-two-paths.json"), "screwdriver.cycle"),
];

fn points(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("point");
    group.sample_size(20);
    for (name, line, address) in LINES {
        let text = format!(
            r#"{{"feedproof_sweep": 1, "scenario": "-", "factors": {{
                "cycle": {{"set": "{address}", "low": "0.6 s", "high": "0.7 s", "points": 100}},
                "track": {{"set": "track.length", "low": "0.5 m", "high": "2 m", "points": 100}}}}}}"#
        );
        let sweep::ReadSweep { sweep, problems, .. } = sweep::read(&text);
        let Some(sweep) = sweep else { panic!("a bench sweep is sound: {problems:?}") };
        let points = Points::new(&sweep, (*line).to_owned(), Vec::new(), 1);
        let mut point = 0;
        group.bench_function(*name, |bencher| {
            bencher.iter(|| {
                point = (point + 1) % points.count();
                black_box(points.prepare(point)).is_ok()
            });
        });
    }
    group.finish();
}

criterion_group!(benches, points);
criterion_main!(benches);
