//! Time from the text of a file to a line that can run.

use criterion::{Criterion, criterion_group, criterion_main};
use sim_core::{network, scenario};
use std::fmt::Write;
use std::hint::black_box;

/// A line of forty stations.
fn forty_stations() -> String {
    let mut stations = String::from(r#"{"id": "feeder", "type": "work", "endless": true, "time": "1 s"}"#);
    for n in 1..20 {
        let _ = write!(
            stations,
            r#",{{"id": "track {n}", "type": "track", "capacity": 20, "travel": "2 s"}},
               {{"id": "station {n}", "type": "work", "time": {{"mean": "1 s", "spread": "0.2 s"}},
                 "jams": [{{"per_part": "1 in 5000", "time": "20 s", "by": "anna"}}]}}"#
        );
    }
    let _ = write!(stations, r#",{{"id": "sink", "type": "machine", "cycle": "1 s", "to": "out"}}"#);
    format!(r#"{{"feedproof": 1, "stations": [{stations}], "attendants": [{{"id": "anna"}}]}}"#)
}

fn check(criterion: &mut Criterion) {
    let text = forty_stations();
    criterion.bench_function("check and compile 40 stations", |bencher| {
        bencher.iter(|| {
            let checked = scenario::read(black_box(&text));
            let Some(scenario) = checked.scenario else {
                panic!("the line is sound: {:?}", checked.problems)
            };
            black_box(network::compile(&scenario))
        });
    });
}

criterion_group!(benches, check);
criterion_main!(benches);
