//! What each type of station costs: an hour of a line of three, at one part a second.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use feedproof_benches::lines::{STATIONS, SUPPLIES};
use feedproof_benches::{compile, line_from, line_of, replicate};
use std::hint::black_box;

/// Parts that pass in the hour.
const PARTS: u64 = 3600;

fn stations(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("station");
    group.throughput(Throughput::Elements(PARTS));
    for (name, text) in STATIONS {
        let plan = compile(&line_of(text));
        group.bench_function(*name, |bencher| bencher.iter(|| black_box(replicate(&plan, 1))));
    }
    group.finish();
    let mut group = criterion.benchmark_group("supply");
    group.throughput(Throughput::Elements(PARTS));
    for (name, text) in SUPPLIES {
        let plan = compile(&line_from(text));
        group.bench_function(*name, |bencher| bencher.iter(|| black_box(replicate(&plan, 1))));
    }
    group.finish();
}

criterion_group!(benches, stations);
criterion_main!(benches);
