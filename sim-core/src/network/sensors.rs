//! Sensors of the file.

use super::layout::Layout;
use super::plan::Owner;
use crate::kernel::control::{Sensor, Sight};
use crate::kernel::{Pace, Place, PlaceId, StationId, TimerId, UNLIMITED};
use crate::part::SECOND;
use crate::scenario::{Level, Scenario, SensorSpec, SightWord};
use crate::text::forms::Spanned;

/// Makes the sensors and has them watch their places; their posts begin at `first_post`.
pub(super) fn sensors_of(
    scenario: &Scenario,
    layout: &Layout,
    places: &mut [Place],
    owners: &mut Vec<Owner>,
    first_post: u16,
) -> Vec<Sensor> {
    let mut sensors = Vec::new();
    for (ix, spec) in scenario.sensors.iter().enumerate() {
        let post = first_post + ix as u16;
        let timer = TimerId(owners.len() as u16);
        owners.push(Owner::Sensor(ix as u16));
        let watched = watched_places(scenario, layout, spec);
        watched.iter().for_each(|place| places[place.ix()].add_watcher(post));
        sensors.push(sensor(scenario, layout, spec, places, watched, StationId(post), timer));
    }
    sensors
}

/// Bodies of the watched stations; of those that have none, the places where parts wait for them.
fn watched_places(scenario: &Scenario, layout: &Layout, spec: &SensorSpec) -> Vec<PlaceId> {
    let mut watched = Vec::new();
    for name in &spec.watches {
        for unit in &layout.units {
            let id = unit.entry.map(|entry| scenario.stations[entry].id.value.as_str());
            if id == Some(name.value.as_str()) {
                match unit.body {
                    Some(body) => watched.push(body),
                    None => watched.extend(unit.inlets.iter().map(|(place, _)| *place)),
                }
            }
        }
    }
    watched
}

fn sensor(
    scenario: &Scenario,
    layout: &Layout,
    spec: &SensorSpec,
    places: &[Place],
    watched: Vec<PlaceId>,
    post: StationId,
    timer: TimerId,
) -> Sensor {
    let room: u64 = watched
        .iter()
        .map(|place| places[place.ix()].capacity())
        .filter(|c| *c != UNLIMITED)
        .map(u64::from)
        .sum();
    let parts = |level: Level| match level {
        Level::Parts(parts) => parts,
        Level::Share(share) => (share * room as f64 + 1e-9).floor().min(4e9) as u32,
    };
    let high = parts(spec.high).max(1);
    let nanos = |seconds: f64| (seconds * SECOND as f64).round() as u64;
    let named = |names: &[Spanned<String>]| {
        let mut named = Vec::new();
        for name in names {
            for (unit, &rank) in layout.units.iter().zip(&layout.rank) {
                let id = unit.entry.map(|entry| scenario.stations[entry].id.value.as_str());
                if id == Some(name.value.as_str()) {
                    named.push(StationId(rank as u16));
                }
            }
        }
        named
    };
    Sensor {
        post,
        places: watched,
        sight: match spec.sight {
            SightWord::Content => Sight::Content,
            SightWord::Queue => Sight::Queue,
        },
        high,
        low: parts(spec.low).min(high - 1),
        delay_on: nanos(spec.delay_on_s),
        delay_off: nanos(spec.delay_off_s),
        debounced: spec.debounced,
        holds: named(&spec.holds),
        slows: named(&spec.slows),
        slow_to: Pace::of(spec.slow_to),
        timer,
        on: false,
        pending: false,
    }
}
