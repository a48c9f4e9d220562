//! Properties that hold on every line; see `judge` for the claims.
//!
//! Replay one seed: `FEEDPROOF_SEED=n FEEDPROOF_LINES=1 cargo test -p feedproof-tests --test properties`.

use feedproof_tests::judge::Limits;
use feedproof_tests::luck::Luck;
use feedproof_tests::random_blocks::time_law;
use feedproof_tests::random_line::random_line;
use feedproof_tests::trials::{judge_all, number};
use serde_json::json;

#[test]
fn random_lines_keep_every_claim() {
    let limits = Limits { events: 20_000, time: 420_000_000_000, steps: 40, may_loop: false };
    let (from, n) = (number("FEEDPROOF_SEED", 1), number("FEEDPROOF_LINES", 3000));
    let series = judge_all(from, n, limits, |seed| random_line(seed, 1 + (seed % 12) as usize));
    println!("{series:?}");
    assert!(series.refused * 50 <= series.n, "the generator makes lines that the reader takes: {series:?}");
}

/// Lines that have been in doubt: a lift that spills back before a machine held by what it holds itself, and a sensor
/// that holds a station and slows the track before it.
#[test]
fn lines_that_were_in_doubt_keep_every_claim() {
    let limits = Limits { events: 20_000, time: 420_000_000_000, steps: 40, may_loop: false };
    let series = judge_all(1, number("FEEDPROOF_LINES", 400), limits, |seed| {
        let mut luck = Luck::new(seed);
        let machine = json!({"id": "M", "type": "machine", "cycle": time_law(&mut luck, 0.7)});
        let track = json!({"id": "T", "type": "track", "drive": "live", "capacity": luck.within(1, 9), "travel": "1 s"});
        let lift = json!({"id": "L", "type": "elevator", "cleats": "60 /min", "per_cleat": luck.within(1, 4),
                          "when_full": "spills back", "lift": luck.one(&["0 s", "1 s", "2.5 s"])});
        let bin = json!({"id": "B", "type": "bin", "capacity": 500, "content": luck.within(1, 500)});
        let last = json!({"id": "W", "type": "work", "time": time_law(&mut luck, 0.8)});
        let with_track = luck.percent(60);
        let mut stations = vec![bin, lift];
        stations.extend(with_track.then_some(track));
        stations.extend([machine, last]);
        let names: Vec<&str> = if with_track { vec!["T", "M", "L", "W"] } else { vec!["M", "L", "W"] };
        let watched = if with_track { luck.one(&["T", "M"]) } else { "M" };
        let high = luck.within(1, 3);
        let mut sensor = json!({"id": "N", "watches": watched, "high": high, "low": luck.below(high),
                                "holds": [names[luck.below(names.len())]]});
        for key in ["on_delay", "off_delay"] {
            sensor[key] = json!(luck.one(&["0 s", "0.4 s", "5 s"]));
        }
        if with_track && luck.percent(60) {
            sensor["slows"] = json!(["T"]);
            sensor["slow_to"] = json!(luck.one(&["50 %", "5 %"]));
        }
        json!({"feedproof": 1, "stations": stations, "sensors": [sensor], "plan": {"start": "primed"}})
            .to_string()
    });
    println!("{series:?}");
    assert!(series.refused * 10 <= series.n, "nearly all are taken: {series:?}");
}
