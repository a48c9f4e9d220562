//! What the account of causes has to know of a line: who feeds whom, and how long it takes.

use super::plan::Links;
use crate::kernel::control::Sensor;
use crate::kernel::{Exit, Place, PlaceId, StationId};
use crate::measure::{CausePlace, CauseSensor, CauseSetup, CauseStation, Particular, TallySetup};
use crate::stations::Station;

/// Gathers it from the parts of a plan. `told` gives the places of each inlet that a station tells apart, `reach` the
/// number of the reach that it shares.
pub(super) fn causes_of(
    stations: &[Station],
    places: &[Place],
    sensors: &[Sensor],
    links: &Links,
    tally: &TallySetup,
    told: impl Fn(usize) -> Vec<Vec<PlaceId>>,
    reach: impl Fn(usize) -> Option<u16>,
) -> CauseSetup {
    let boxes = |ix: usize| -> Vec<StationId> {
        let holds = |station: &Station| match station {
            Station::PartBox(of) => of.holds(StationId(ix as u16)),
            _other => false,
        };
        (0..stations.len()).filter(|of| holds(&stations[*of])).map(|of| StationId(of as u16)).collect()
    };
    let station = |ix: usize| {
        let told = told(ix);
        let all = &links.inlets[ix];
        CauseStation {
            inlets: if told.is_empty() && !all.is_empty() { vec![all.clone()] } else { told },
            next: links.exits[ix].iter().flat_map(|exit| beyond(*exit, places, links)).collect(),
            body: links.bodies[ix],
            passage: stations[ix].passage(),
            rests_blocked: matches!(stations[ix], Station::Dumper(_) | Station::HandFill(_)),
            freezes: false,
            is_in_loop: false,
            is_box: matches!(stations[ix], Station::PartBox(_)),
            boxes: boxes(ix),
            reach: reach(ix),
        }
    };
    let place = |ix: usize| CausePlace {
        feeders: match &links.feeders[ix][..] {
            // A bin or hopper that nobody gives to is a source itself.
            [] => carrier_of(PlaceId(ix as u16), links).into_iter().collect(),
            feeders => nearest_feeders(feeders, places[ix].takers()),
        },
        transit: places[ix].transit(),
        headway: places[ix].headway(),
    };
    let sensor = |sensor: &Sensor| CauseSensor {
        post: Some(sensor.post),
        keepers: sensor.places.iter().flat_map(|place| keepers(*place, places, links)).collect(),
        holds: sensor.holds.clone(),
        slows: sensor.slows.clone(),
        slow_to: sensor.slow_to,
    };
    let mut all: Vec<CauseStation> = (0..stations.len()).map(station).collect();
    for ix in 0..all.len() {
        all[ix].is_in_loop = comes_back(ix, &all);
    }
    CauseSetup {
        n_posts: tally.n_posts,
        particular: particular(&all, sensors),
        stations: all,
        places: (0..places.len()).map(place).collect(),
        sensors: sensors.iter().map(sensor).collect(),
        points: tally.points.clone(),
    }
}

/// The causes that say more than a station and its state.
fn particular(stations: &[CauseStation], sensors: &[Sensor]) -> Vec<Particular> {
    let mut all = Vec::new();
    for sensor in sensors {
        let post = sensor.post;
        all.extend(sensor.holds.iter().map(|&station| Particular::HeldBy { station, sensor: post }));
        all.extend(sensor.slows.iter().map(|&station| Particular::SlowedBy { station, sensor: post }));
    }
    for (ix, of) in stations.iter().enumerate() {
        let station = StationId(ix as u16);
        all.extend(of.is_box.then_some(Particular::Full(station)));
        all.extend(of.reach.map(|reach| Particular::Reach { station, reach }));
    }
    all
}

/// Feeders from further up; those that bring something back from further down only if there are no others. Numbers of
/// stations rise upstream.
fn nearest_feeders(feeders: &[StationId], takers: &[StationId]) -> Vec<StationId> {
    let Some(first) = takers.iter().min() else { return feeders.to_vec() };
    let above: Vec<StationId> = feeders.iter().copied().filter(|feeder| feeder > first).collect();
    if above.is_empty() { feeders.to_vec() } else { above }
}

fn beyond(exit: Exit, places: &[Place], links: &Links) -> Vec<StationId> {
    match exit {
        Exit::Leave => Vec::new(),
        Exit::Store(place) | Exit::Hand(place) => keepers(place, places, links),
    }
}

/// Who takes from a place, and the transporter whose body it is.
fn keepers(place: PlaceId, places: &[Place], links: &Links) -> Vec<StationId> {
    places[place.ix()].takers().iter().copied().chain(carrier_of(place, links)).collect()
}

/// The station whose body a place is.
fn carrier_of(place: PlaceId, links: &Links) -> Option<StationId> {
    let carrier = links.bodies.iter().position(|body| *body == Some(place));
    carrier.map(|ix| StationId(ix as u16))
}

/// Whether what a station gives can come back to it.
fn comes_back(from: usize, stations: &[CauseStation]) -> bool {
    let mut seen = vec![false; stations.len()];
    let mut open = stations[from].next.clone();
    while let Some(station) = open.pop() {
        if station.ix() == from {
            return true;
        }
        if !std::mem::replace(&mut seen[station.ix()], true) {
            open.extend(&stations[station.ix()].next);
        }
    }
    false
}
