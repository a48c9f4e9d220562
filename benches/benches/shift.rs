//! Time of whole shifts: the reference lines, and the default line.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use feedproof_benches::{compile, replicate};
use std::hint::black_box;

const LINES: &[(&str, &str)] = &[
    ("ref12", include_str!("../../scenarios/reference/ref12.json")),
    ("tandem", include_str!("../../scenarios/reference/tandem.json")),
    ("mm1", include_str!("../../scenarios/reference/mm1.json")),
    ("knob-two-paths", include_str!("../../scenarios/knob-two-paths.json")),
];

fn shifts(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("shift");
    group.sample_size(20);
    for (name, text) in LINES {
        let plan = compile(text);
        group.throughput(Throughput::Elements(replicate(&plan, 0)));
        let mut replication = 0;
        group.bench_function(*name, |bencher| {
            bencher.iter(|| {
                replication += 1;
                black_box(replicate(&plan, replication))
            });
        });
    }
    group.finish();
}

criterion_group!(benches, shifts);
criterion_main!(benches);
