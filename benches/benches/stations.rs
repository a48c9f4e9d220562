//! What each type of station costs: an hour of a line of three, at one part a second.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use feedproof_benches::{compile, line_of, replicate};
use std::hint::black_box;

/// Parts that pass in the hour.
const PARTS: u64 = 3600;

const STATIONS: &[(&str, &str)] = &[
    ("none", ""),
    ("work", r#"{"id": "x", "type": "work", "time": "0.9 s"},"#),
    ("track", r#"{"id": "x", "type": "track", "capacity": 30, "travel": "4 s"},"#),
    (
        "belt, spaced",
        r#"{"id": "x", "type": "belt", "length": "1 m", "speed": "0.2 m/s", "spacing": "50 mm"},"#,
    ),
    ("escapement", r#"{"id": "x", "type": "escapement", "stroke": "0.5 s"},"#),
    ("machine", r#"{"id": "x", "type": "machine", "cycle": "0.9 s"},"#),
    ("air tube", r#"{"id": "x", "type": "air tube", "travel": "0.9 s"},"#),
    ("receiver", r#"{"id": "x", "type": "receiver", "time": "0.5 s"},"#),
    (
        "row pusher, rows of 5",
        r#"{"id": "x", "type": "row pusher", "row": 5, "push": "0.5 s"}, {"id": "y", "type": "track", "capacity": 10},"#,
    ),
    (
        "magazine and receiver, batches of 5",
        r#"{"id": "x", "type": "magazine", "recipe": {"y": 5}}, {"id": "y", "type": "receiver", "holds": 5},"#,
    ),
    (
        "indexing table, groups of 4",
        r#"{"id": "x", "type": "indexing table", "nests": 16, "group": 4, "load": "0.1 s", "index": "0.5 s"},"#,
    ),
    (
        "robot",
        r#"{"id": "x", "type": "robot", "fetches": [{"from": "source", "time": "0.5 s"}], "set_down": "0.3 s"},"#,
    ),
    (
        "divider by recipe, moving",
        r#"{"id": "x", "type": "divider", "rule": "by recipe", "recipe": {"y": 2, "z": 1}, "move": "0.3 s"},
        {"id": "y", "type": "track", "capacity": 9, "to": "sink"}, {"id": "z", "type": "track", "capacity": 9, "to": "sink"},"#,
    ),
    (
        "work, jams and attendant",
        r#"{"id": "x", "type": "work", "time": "0.9 s", "jams": [{"per_part": 0.01, "time": "2 s"}]},"#,
    ),
];

fn stations(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("station");
    group.throughput(Throughput::Elements(PARTS));
    for (name, text) in STATIONS {
        let plan = compile(&line_of(text));
        group.bench_function(*name, |bencher| bencher.iter(|| black_box(replicate(&plan, 1))));
    }
    group.finish();
}

criterion_group!(benches, stations);
criterion_main!(benches);
