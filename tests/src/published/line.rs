//! Short ways to write the stations of a scenario file. Times are in seconds.

use serde_json::{Value, json};

/// A time as it stands in a file.
pub fn seconds(time_s: f64) -> String {
    format!("{time_s} s")
}

/// Exponential time.
pub fn exponential(mean_s: f64) -> Value {
    json!({"law": "exponential", "mean": seconds(mean_s)})
}

/// Sum of `k` exponential times with this mean of the sum: a gamma law of shape `k`.
pub fn erlang(k: u32, mean_s: f64) -> Value {
    json!({"law": "gamma", "mean": seconds(mean_s), "spread": seconds(mean_s / f64::from(k).sqrt())})
}

/// Work station.
pub fn work(id: &str, time: Value) -> Value {
    json!({"id": id, "type": "work", "time": time})
}

/// Work station that never runs out of parts.
pub fn source(id: &str, time: Value) -> Value {
    json!({"id": id, "type": "work", "endless": true, "time": time})
}

/// Parts that come by themselves.
pub fn stream(id: &str, spacing: Value) -> Value {
    json!({"id": id, "type": "stream", "spacing": spacing})
}

/// Track with room for so many parts and no travel time.
pub fn track(id: &str, capacity: u32) -> Value {
    json!({"id": id, "type": "track", "capacity": capacity})
}

/// Track that always has room.
pub fn room(id: &str) -> Value {
    json!({"id": id, "type": "track", "unlimited": true})
}

/// The same station with one more key.
#[must_use]
pub fn with(mut station: Value, key: &str, value: Value) -> Value {
    station[key] = value;
    station
}

/// A whole file from its stations.
pub fn file(stations: Vec<Value>) -> Value {
    json!({ "stations": stations })
}

/// Stations `S1`, `S2` ... in a row, the first of which never runs out, with tracks `B1`, `B2` ... for so
/// many parts between them; no track where there is no slot.
pub fn row(times: &[Value], slots: &[u32]) -> Vec<Value> {
    let mut stations = vec![source("S1", times[0].clone())];
    for (n, time) in times.iter().enumerate().skip(1) {
        if slots[n - 1] > 0 {
            stations.push(track(&format!("B{n}"), slots[n - 1]));
        }
        stations.push(work(&format!("S{}", n + 1), time.clone()));
    }
    stations
}
