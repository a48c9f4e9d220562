//! A gridlock put into words: who waits for what, and what would open it.

use super::result::Waiting;
use super::shift::{name_of, seconds};
use crate::kernel::{Exit, Floor, Observer, PlaceId, State, StationId, UNLIMITED};
use crate::network::Plan;
use crate::part::Nanos;
use crate::replication::Replica;
use crate::stations::Station;

/// A described gridlock.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Knot {
    /// When, s.
    pub(super) at_s: f64,
    /// Who waits for what.
    pub(super) waiting: Vec<Waiting>,
    /// What would open it.
    pub(super) opened_by: String,
}

impl Knot {
    /// Describes the knot of `stations` as it stands at `at`.
    #[cold]
    pub(super) fn of<O: Observer>(replica: &Replica<'_, O>, at: Nanos, stations: &[StationId]) -> Self {
        let (plan, floor) = (replica.plan(), &replica.floor);
        let mut full: Vec<PlaceId> = Vec::new();
        let waiting = stations
            .iter()
            .map(|&station| {
                let blocking = blocking_places(plan, floor, station);
                full.extend(blocking.iter().filter(|place| !full.contains(place)).collect::<Vec<_>>());
                Waiting { station: name_of(plan, station), for_what: wants(replica, station, &blocking) }
            })
            .collect();
        let opened_by = unwanted(replica, stations)
            .or_else(|| lost_model(replica, stations))
            .unwrap_or_else(|| way_out(plan, floor, &full));
        Knot { at_s: seconds(at), waiting, opened_by }
    }
}

/// Places before which a station stands because they are full.
fn blocking_places<O: Observer>(plan: &Plan, floor: &Floor<O>, me: StationId) -> Vec<PlaceId> {
    if plan.links.bodies[me.ix()].is_some() {
        return Vec::new();
    }
    let stands = plan.links.exits[me.ix()].iter().filter_map(|exit| match *exit {
        Exit::Leave | Exit::Hand(_) => None,
        Exit::Store(place) => floor.place(place).waiting().contains(&me).then_some(place),
    });
    stands.collect()
}

/// Who should take the part in the hand of a station.
fn awaited<O: Observer>(plan: &Plan, floor: &Floor<O>, me: StationId) -> Option<String> {
    plan.links.exits[me.ix()].iter().find_map(|exit| match *exit {
        Exit::Leave | Exit::Store(_) => None,
        Exit::Hand(place) => {
            let takers = floor.place(place).takers().iter();
            let names: Vec<String> = takers.map(|taker| name_of(plan, *taker)).collect();
            (!floor.place(place).is_empty()).then(|| names.join(" or "))
        }
    })
}

fn wants<O: Observer>(replica: &Replica<'_, O>, me: StationId, blocking: &[PlaceId]) -> String {
    let (plan, floor) = (replica.plan(), &replica.floor);
    let name = |place: &PlaceId| plan.names.places[place.ix()].clone();
    if let Some(body) = plan.links.bodies[me.ix()] {
        return if floor.place(body).is_empty() {
            "parts".to_owned()
        } else {
            format!("somebody to take the part at the end of {}", name(&body))
        };
    }
    if floor.state(me) == State::Held {
        return holders(plan, floor, me);
    }
    if !blocking.is_empty() {
        let rooms: Vec<String> = blocking.iter().map(|&place| fullness(plan, floor, place)).collect();
        return format!("room in {}", rooms.join(", "));
    }
    if let Some(takers) = awaited(plan, floor, me) {
        return format!("{takers} to take its part");
    }
    if let Some(lacks) = replica.stations[me.ix()].lacks() {
        let names: Vec<String> = lacks.iter().map(name).collect();
        return format!("parts that it still wants from {}", names.join(" or "));
    }
    let empty = plan.links.inlets[me.ix()].iter().filter(|place| floor.place(**place).is_empty());
    format!("parts from {}", empty.map(name).collect::<Vec<_>>().join(", "))
}

/// The sensors that hold a station, with what they see.
fn holders<O: Observer>(plan: &Plan, floor: &Floor<O>, me: StationId) -> String {
    let holding = floor.sensors().iter().filter(|sensor| sensor.on && sensor.holds.contains(&me));
    let seen = |places: &[PlaceId]| {
        let seen: Vec<String> = places.iter().map(|&place| fullness(plan, floor, place)).collect();
        seen.join(", ")
    };
    let all = holding.map(|sensor| {
        let name = name_of(plan, sensor.post);
        format!(
            "{name} to release it, which sees {} and switches off at {}",
            seen(&sensor.places),
            sensor.low
        )
    });
    let all: Vec<String> = all.collect();
    if all.is_empty() { "what holds it".to_owned() } else { all.join(", ") }
}

fn fullness<O: Observer>(plan: &Plan, floor: &Floor<O>, place: PlaceId) -> String {
    let (name, content) = (&plan.names.places[place.ix()], floor.place(place));
    match content.capacity() {
        UNLIMITED => format!("{name} ({} parts)", content.len()),
        capacity => format!("{name} ({} of {capacity})", content.len()),
    }
}

/// Where a part that a recipe does not want stands before one that it does, that is what has to go.
fn unwanted<O: Observer>(replica: &Replica<'_, O>, knot: &[StationId]) -> Option<String> {
    let of_recipe = |me: &&StationId| matches!(replica.stations[me.ix()], Station::Magazine(_));
    let lacks = knot.iter().filter(of_recipe).filter_map(|me| replica.stations[me.ix()].lacks()).flatten();
    let mut in_the_way = lacks.filter(|place| !replica.floor.place(*place).is_empty());
    let place = in_the_way.next()?;
    let name = &replica.plan().names.places[place.ix()];
    Some(format!(
        "the part at the end of {name} taken out by hand, which the recipe does not want; it does not come about with a \
         lane of its own for each part of the recipe"
    ))
}

/// Where a magazine stands with a batch of one model while somebody waits for one of another, the order of the models has
/// to change.
fn lost_model<O: Observer>(replica: &Replica<'_, O>, knot: &[StationId]) -> Option<String> {
    let (plan, floor) = (replica.plan(), &replica.floor);
    let is_magazine = |me: &&StationId| matches!(replica.stations[me.ix()], Station::Magazine(_));
    for me in knot.iter().filter(is_magazine) {
        let gives_to = plan.links.exits[me.ix()].iter().filter_map(|exit| match *exit {
            Exit::Store(place) => Some(place),
            Exit::Leave | Exit::Hand(_) => None,
        });
        let (empty, full): (Vec<PlaceId>, Vec<PlaceId>) =
            gives_to.partition(|place| floor.place(*place).is_empty());
        let is_missed =
            |place: &PlaceId| knot.iter().any(|other| plan.links.inlets[other.ix()].contains(place));
        let (Some(missed), false) = (empty.into_iter().find(is_missed), full.is_empty()) else { continue };
        let (missed, name) = (&plan.names.places[missed.ix()], name_of(plan, *me));
        let full: Vec<String> = full.iter().map(|&place| fullness(plan, floor, place)).collect();
        return Some(format!(
            "a batch for {missed}, which {name} does not make up before its present batch is gone, and that finds no room in \
             {}; it does not come about if each model serves all that are needed together, or if the models come in turn",
            full.join(", ")
        ));
    }
    None
}

/// The largest of the places that are in the way gives the best hint: it is the loop that has filled.
fn way_out<O: Observer>(plan: &Plan, floor: &Floor<O>, full: &[PlaceId]) -> String {
    let stores = full.iter().filter(|place| floor.place(**place).capacity() != UNLIMITED);
    let largest = stores.max_by_key(|place| (floor.place(**place).capacity(), std::cmp::Reverse(place.0)));
    match largest {
        Some(&place) => format!(
            "parts taken out of {} by hand; it fills no more with an exit for surplus parts, or a lower feed",
            fullness(plan, floor, place)
        ),
        None => "what the first of them waits for".to_owned(),
    }
}
