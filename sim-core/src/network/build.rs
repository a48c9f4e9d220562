//! From a checked scenario to a plan of plain numbers.

use super::causes::causes_of;
use super::changeover::change_plan;
use super::layout::{Layout, Unit, Wire, right_attitude};
use super::people::{breaks_of, pools_of};
use super::plan::{Fill, Held, Links, Names, Owner, Plan};
use super::sensors::sensors_of;
use super::troubles::TroubleBook;
use crate::kernel::dice::Outcomes;
use crate::kernel::sampler::Method;
use crate::kernel::{
    Exit, Inlets, Join, KindNow, Outfit, Place, PlaceId, Post, StationId, TimerId, UNLIMITED,
};
use crate::measure::{Pick, TallySetup};
use crate::part::SECOND;
use crate::scenario::{Scenario, Start, StatePick, WarmUp};
use crate::stations::blueprint::{STATION_TIMERS, Site};
use crate::stations::catalogue::Entry;
use crate::stations::divider::{Divider, Rule};
use crate::stations::lots::{LotLuck, ShiftLots};
use crate::stations::tools::Classes;
use crate::stations::{Alarm, Dice, Station};
use crate::terms::kind::Kind;

/// What one station asked for while it was built.
#[derive(Debug, Default)]
struct Asked {
    timers: Vec<bool>,
    watch: Vec<PlaceId>,
    wakes: Vec<(PlaceId, u32)>,
}

/// A plan under construction.
struct Builder<'a> {
    scenario: &'a Scenario,
    layout: Layout,
    classes: Classes,
    method: Method,
    /// Units by rank.
    by_rank: Vec<usize>,
}

/// Compiles a checked scenario.
///
/// # Panics
/// If the scenario was not checked.
pub fn compile(scenario: &Scenario) -> Plan {
    let layout = Layout::new(scenario);
    let mut by_rank = vec![0; layout.units.len()];
    for (unit, &rank) in layout.rank.iter().enumerate() {
        by_rank[rank] = unit;
    }
    let sizes: Vec<(usize, usize)> =
        scenario.kinds.iter().map(|kind| (kind.conditions.len(), kind.attitudes.len())).collect();
    let method = if scenario.plan.inversion { Method::Inversion } else { Method::Fast };
    let builder = Builder { scenario, layout, classes: Classes::new(&sizes), method, by_rank };
    builder.build()
}

impl Builder<'_> {
    fn build(self) -> Plan {
        let asked: Vec<Asked> = self.by_rank.iter().map(|&unit| self.station(unit, None).1).collect();
        let mut owners = Vec::new();
        let mut posts: Vec<Post> = self.by_rank.iter().map(|&unit| self.post(unit)).collect();
        let (breaks, n_break_timers) = breaks_of(self.scenario, &self.layout);
        owners.extend((0..n_break_timers).map(|ix| Owner::Breaks(ix as u16)));
        let mut book = TroubleBook::default();
        let n = self.by_rank.len();
        let mut timers = vec![Vec::new(); n];
        for last in [false, true] {
            if last {
                let crew = pools_of(self.scenario, &self.layout, self.method, &mut owners, posts.len());
                posts.extend((0..crew.n_attendants).map(|_| Post::default()));
                book.pools = crew.pools;
            }
            for rank in 0..n {
                if self.ranks_last(self.by_rank[rank]) == last {
                    timers[rank] = self.time_station(rank, &asked[rank], &mut owners, &mut posts, &mut book);
                }
            }
        }
        let stations: Vec<Station> = self
            .by_rank
            .iter()
            .enumerate()
            .map(|(rank, &unit)| self.station(unit, Some(&timers[rank])).0)
            .collect();
        let mut places = self.places();
        for (rank, asked) in asked.iter().enumerate() {
            asked.watch.iter().for_each(|place| places[place.ix()].add_watcher(rank as u16));
            asked.wakes.iter().for_each(|&(place, level)| places[place.ix()].set_wake(level));
        }
        let first_sensor = posts.len() as u16;
        let sensors = sensors_of(self.scenario, &self.layout, &mut places, &mut owners, first_sensor);
        posts.extend(sensors.iter().map(|_| Post::default()));
        let change = self.scenario.plan.changeover.as_ref().map(|spec| {
            let (post, timer) = (StationId(posts.len() as u16), TimerId(owners.len() as u16));
            owners.push(Owner::Change);
            posts.push(Post::default());
            change_plan(self.scenario, spec, &self.layout, self.method, post, timer)
        });
        for place in change.iter().flat_map(|change| self.given_by(&change.counted)) {
            places[place.ix()].set_counted();
        }
        let tally = self.tally(&posts, &places, book.troubles.len());
        let names = self.names();
        let links = self.links();
        let (told, reach) = (|rank| self.told_inlets(rank), |rank| self.reach_of(rank));
        let mut causes = causes_of(&stations, &places, &sensors, &links, &tally, told, reach);
        for (station, post) in causes.stations.iter_mut().zip(&posts) {
            station.freezes = post.freezes;
        }
        let outfit = Outfit {
            n_timers: owners.len(),
            kinds: self.kinds(),
            troubles: book.troubles,
            pools: book.pools,
            sensors,
            places,
            posts,
            n_reaches: self.reaches().len(),
        };
        let plan = &self.scenario.plan;
        let warm_up_s = if let WarmUp::Given(warm_up) = plan.warm_up { warm_up } else { 0.0 };
        Plan {
            stations,
            owners,
            breaks,
            first_sensor,
            change,
            links,
            causes,
            fills: self.fills(),
            held: self.held(),
            shifts: self.shifts(),
            names,
            tally,
            events_max: plan.events_max,
            open_ns: (warm_up_s * SECOND as f64).round() as u64,
            close_ns: (plan.shift_s * SECOND as f64).round() as u64,
            outfit,
        }
    }

    fn unit_id(&self, unit: usize) -> StationId {
        StationId(self.layout.rank[unit] as u16)
    }

    fn ranks_last(&self, unit: usize) -> bool {
        let entry = self.layout.units[unit].entry;
        entry.is_some_and(|entry| self.scenario.stations[entry].blueprint.ranks_last())
    }

    fn post(&self, unit: usize) -> Post {
        let unit = &self.layout.units[unit];
        let mut post = Post::default();
        post.no_breaks = true;
        if let Some(entry) = unit.entry {
            let blueprint = &self.scenario.stations[entry].blueprint;
            post.body = unit.body;
            post.freezes = blueprint.freezes();
            post.no_breaks = blueprint.ignores_breaks();
        }
        post
    }

    /// Gives a station its timers, and the timers of its troubles.
    fn time_station(
        &self,
        rank: usize,
        asked: &Asked,
        owners: &mut Vec<Owner>,
        posts: &mut [Post],
        book: &mut TroubleBook,
    ) -> Vec<TimerId> {
        let mut timers = Vec::new();
        for (which, stands) in asked.timers.iter().enumerate() {
            let timer = TimerId(owners.len() as u16);
            owners.push(Owner::Station { ix: rank as u16, which: which as u8 });
            timers.push(timer);
            if *stands {
                posts[rank].timers.push(timer);
            }
        }
        if let Some(entry) = self.layout.units[self.by_rank[rank]].entry {
            let unit = &self.layout.units[self.by_rank[rank]];
            let entry = &self.scenario.stations[entry];
            book.add(
                self.scenario,
                entry,
                &unit.name,
                StationId(rank as u16),
                self.method,
                owners,
                &mut posts[rank],
            );
        }
        timers
    }

    /// Builds one station. Without timers it is built only to learn what it asks for.
    fn station(&self, unit_ix: usize, timers: Option<&[TimerId]>) -> (Station, Asked) {
        let unit = &self.layout.units[unit_ix];
        let unset = [TimerId(0); STATION_TIMERS];
        let timers = timers.unwrap_or(&unset);
        let me = self.unit_id(unit_ix);
        let exits: Vec<Exit> = unit.wires.iter().map(|wire| exit_of(*wire)).collect();
        let Some(entry) = unit.entry else {
            let junction =
                Divider::new(me, Alarm::new(timers[0]), self.inlets(unit, None), exits, Rule::FirstWithRoom);
            let asked = Asked { timers: vec![true], ..Asked::default() };
            return (Station::Divider(junction), asked);
        };
        let entry = &self.scenario.stations[entry];
        let named = entry.blueprint.named_inlets();
        let mut site = Site {
            me,
            name: &unit.name,
            kinds: &self.scenario.kinds,
            classes: &self.classes,
            inlets: self.inlets(unit, None),
            named_inlets: named.iter().map(|name| self.inlets(unit, Some(&name.value))).collect(),
            senders: self.senders(unit),
            exits,
            body: unit.body,
            pools: entry.blueprint.pools().iter().map(|name| self.pool(&name.value)).collect(),
            models: &self.scenario.models,
            reach: entry.blueprint.reach().and_then(|name| self.reach(&name.value)),
            feeders: self.feeders(unit),
            method: self.method,
            timers,
            asked: Vec::new(),
            watch: Vec::new(),
            wakes: Vec::new(),
        };
        let station = entry.blueprint.build(&mut site);
        (station, Asked { timers: site.asked, watch: site.watch, wakes: site.wakes })
    }

    /// Names of the reaches that stations share, in file order.
    fn reaches(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for name in self.scenario.stations.iter().filter_map(|entry| entry.blueprint.reach()) {
            if !names.contains(&name.value.as_str()) {
                names.push(&name.value);
            }
        }
        names
    }

    fn reach(&self, name: &str) -> Option<u16> {
        self.reaches().iter().position(|known| *known == name).map(|ix| ix as u16)
    }

    /// The reach that the station of this rank shares.
    fn reach_of(&self, rank: usize) -> Option<u16> {
        let entry = self.layout.units[self.by_rank[rank]].entry?;
        self.reach(&self.scenario.stations[entry].blueprint.reach()?.value)
    }

    /// The station of the file that feeds each inlet of a unit.
    fn feeders(&self, unit: &Unit) -> Vec<&str> {
        let name = |feeding: usize| {
            let entry = self.layout.units[feeding].entry;
            entry.map_or("", |entry| self.scenario.stations[entry].id.value.as_str())
        };
        unit.inlets.iter().map(|(_, feeding)| name(*feeding)).collect()
    }

    fn pool(&self, name: &str) -> u16 {
        let found = self.scenario.attendants.iter().position(|pool| pool.id.value == name);
        found.unwrap_or(0) as u16
    }

    /// The places from which each inlet takes that a station tells apart.
    fn told_inlets(&self, rank: usize) -> Vec<Vec<PlaceId>> {
        let unit = &self.layout.units[self.by_rank[rank]];
        let Some(entry) = unit.entry else { return Vec::new() };
        let blueprint = &self.scenario.stations[entry].blueprint;
        let named = blueprint.named_inlets();
        let told = named.iter().take(blueprint.n_told_inlets() as usize);
        told.map(|name| self.inlets(unit, Some(&name.value)).places).collect()
    }

    /// Places into which these stations give what goes on.
    fn given_by(&self, stations: &[StationId]) -> Vec<PlaceId> {
        let first = |station: &StationId| self.layout.units[self.by_rank[station.ix()]].wires.first();
        let place = |wire: &Wire| match wire {
            Wire::Body(place, _) | Wire::Hand(place) => Some(*place),
            Wire::Leave | Wire::Taken => None,
        };
        stations.iter().filter_map(first).filter_map(place).collect()
    }

    /// Stations that give to a unit, each once.
    fn senders(&self, unit: &Unit) -> Vec<StationId> {
        let mut senders: Vec<StationId> =
            unit.inlets.iter().map(|(_, feeding)| self.unit_id(*feeding)).collect();
        senders.sort_unstable();
        senders.dedup();
        senders
    }

    /// The places that a unit takes from; only those fed by the entry with this name, if one is given.
    fn inlets(&self, unit: &Unit, feeder: Option<&str>) -> Inlets {
        let is_from = |feeding: usize| {
            let entry = self.layout.units[feeding].entry;
            feeder.is_none_or(|name| entry.is_some_and(|e| self.scenario.stations[e].id.value == name))
        };
        let places: Vec<PlaceId> =
            unit.inlets.iter().filter(|(_, feeding)| is_from(*feeding)).map(|(place, _)| *place).collect();
        let stated = unit.entry.is_some_and(|entry| !self.scenario.stations[entry].priority.is_empty());
        Inlets::new(places, if stated { Join::Listed } else { Join::LongestWaiting })
    }

    /// All places with their takers, owners and carriers.
    fn places(&self) -> Vec<Place> {
        let mut places = self.layout.places.clone();
        for (ix, place) in places.iter_mut().enumerate() {
            if let Some(owner) = self.layout.feeders[ix].first().copied()
                && !self.layout.units.iter().any(|unit| unit.body == Some(PlaceId(ix as u16)))
            {
                *place = Place::hand(self.unit_id(owner));
            }
            let takers: Vec<StationId> =
                self.layout.takers[ix].iter().map(|&unit| self.unit_id(unit)).collect();
            place.set_takers(&takers, self.layout.spreads[ix]);
        }
        for (ix, unit) in self.layout.units.iter().enumerate() {
            let Some(body) = unit.body else { continue };
            let place = &mut places[body.ix()];
            place.set_carrier(self.unit_id(ix));
            let Some(entry) = unit.entry.map(|entry| &self.scenario.stations[entry]) else { continue };
            if self.scenario.plan.start_of(&entry.id.value) == Start::Empty {
                place.set_start(0, 0);
            }
            let feeders = &self.layout.feeders[body.ix()];
            let mut order = Vec::new();
            for name in &entry.priority {
                order.extend(self.units_named(&name.value).filter(|unit| feeders.contains(unit)));
            }
            place.set_priority(order.into_iter().map(|unit| self.unit_id(unit)).collect());
            let jams_by_part = entry.stops.iter().any(|stop| !stop.is_by_clock());
            if jams_by_part && place.counts().is_none() {
                place.set_keeps_entered();
                place.add_watcher(self.unit_id(ix).0);
            }
        }
        self.set_turns(&mut places);
        places
    }

    /// Equal stations that deliver strictly in turn.
    fn set_turns(&self, places: &mut [Place]) {
        for (entry_ix, entry) in self.scenario.stations.iter().enumerate() {
            if !entry.in_turn || entry.count < 2 {
                continue;
            }
            let equals: Vec<usize> = (0..self.layout.units.len())
                .filter(|&u| self.layout.units[u].entry == Some(entry_ix))
                .collect();
            let turns: Vec<StationId> = equals.iter().map(|&unit| self.unit_id(unit)).collect();
            let wire = equals.first().and_then(|&unit| self.layout.units[unit].wires.first());
            if let Some(Wire::Body(place, _)) = wire {
                places[place.ix()].set_turns(turns);
            }
        }
    }

    fn kinds(&self) -> Vec<KindNow> {
        let make = |shares: &[f64]| {
            Outcomes::new(shares).unwrap_or_else(|problem| panic!("shares were checked: {problem}"))
        };
        let kinds = self.scenario.kinds.iter().map(|kind| KindNow {
            conditions: make(&kind.condition_shares),
            attitudes: make(&kind.attitude_shares),
            right_way: kind.right_way,
            n_sizes: kind.sizes.len() as u8,
            jams: 1.0,
        });
        kinds.collect()
    }

    /// How shifts differ.
    fn shifts(&self) -> Vec<ShiftLots> {
        let kinds = self.scenario.kinds.iter().zip(0..).filter(|(kind, _)| kind.shifts.varies());
        let make = |(kind, ix): (&Kind, u8)| {
            let lots = LotLuck::new(kind, &kind.shifts);
            let lots = lots.unwrap_or_else(|problem| panic!("the spread of shifts was checked: {problem}"));
            ShiftLots { kind: ix, lots, luck: Dice::new(&kind.name, "shift") }
        };
        kinds.map(make).collect()
    }

    fn links(&self) -> Links {
        let ids = |units: &Vec<usize>| units.iter().map(|&unit| self.unit_id(unit)).collect();
        let units = || self.by_rank.iter().map(|&unit| &self.layout.units[unit]);
        Links {
            inlets: units().map(|unit| unit.inlets.iter().map(|(place, _)| *place).collect()).collect(),
            exits: units().map(|unit| unit.wires.iter().map(|wire| exit_of(*wire)).collect()).collect(),
            feeders: self.layout.feeders.iter().map(ids).collect(),
            bodies: units().map(|unit| unit.body).collect(),
        }
    }

    fn tally(&self, posts: &[Post], places: &[Place], n_troubles: usize) -> TallySetup {
        let inlets = self.by_rank.iter().enumerate().filter_map(|(rank, &unit)| {
            let entry = self.layout.units[unit].entry?;
            let n = self.scenario.stations[entry].blueprint.n_told_inlets();
            (n > 0).then_some((StationId(rank as u16), n))
        });
        let measures = self.scenario.measures.iter().map(|measure| self.picks(&measure.any_of));
        let net_of = self.picks(&self.scenario.promise.net_of);
        TallySetup {
            n_posts: posts.len(),
            capacities: places.iter().map(Place::capacity).collect(),
            n_troubles,
            points: self.points(),
            right_way: self.scenario.kinds.iter().map(|kind| kind.right_way).collect(),
            inlets: inlets.collect(),
            measures: measures.chain(std::iter::once(net_of)).collect(),
        }
    }

    fn picks(&self, picks: &[StatePick]) -> Vec<Pick> {
        let mut all = Vec::new();
        for pick in picks {
            for unit in self.units_named(&pick.station.value) {
                all.extend(
                    pick.states.iter().map(|state| Pick { station: self.unit_id(unit), state: *state }),
                );
            }
        }
        all
    }

    fn units_named<'b>(&'b self, name: &'b str) -> impl Iterator<Item = usize> + 'b {
        (0..self.layout.units.len()).filter(move |&unit| {
            let entry = self.layout.units[unit].entry;
            entry.is_some_and(|entry| self.scenario.stations[entry].id.value == name)
        })
    }

    /// Stations at which good parts are counted.
    fn points(&self) -> Vec<StationId> {
        let at = &self.scenario.promise.at;
        let units: Vec<usize> = if at.is_empty() {
            let leads_out = |unit: &Unit| unit.wires.first() == Some(&Wire::Leave);
            (0..self.layout.units.len()).filter(|&unit| leads_out(&self.layout.units[unit])).collect()
        } else {
            at.iter().flat_map(|name| self.units_named(&name.value)).collect()
        };
        units.into_iter().map(|unit| self.unit_id(unit)).collect()
    }

    fn names(&self) -> Names {
        let mut stations: Vec<String> =
            self.by_rank.iter().map(|&unit| self.layout.units[unit].name.clone()).collect();
        let entries = self.by_rank.iter().map(|&unit| self.layout.units[unit].entry).collect();
        for pool in &self.scenario.attendants {
            for n in 0..pool.number {
                let id = &pool.id.value;
                stations.push(if pool.number == 1 { id.clone() } else { format!("{id} {}", n + 1) });
            }
        }
        stations.extend(self.scenario.sensors.iter().map(|sensor| sensor.id.value.clone()));
        stations.extend(self.scenario.plan.changeover.iter().map(|_| "changeover".to_owned()));
        let reaches = self.reaches().into_iter().map(str::to_owned).collect();
        Names { posts: stations, entries, places: self.layout.place_names.clone(), reaches }
    }

    /// What stands on tracks at the start, by the plan's start condition.
    fn fills(&self) -> Vec<Fill> {
        let kinds_at = self.layout.kinds_at(self.scenario);
        let mut fills = Vec::new();
        for unit in &self.layout.units {
            let Some(entry) = unit.entry.map(|entry| &self.scenario.stations[entry]) else { continue };
            let start = self.scenario.plan.start_of(&entry.id.value);
            if start == Start::Empty {
                continue;
            }
            let mut fill = |place: PlaceId, n: u32| {
                let kind = kinds_at[place.ix()].unwrap_or(0);
                let attitude = right_attitude(&self.scenario.kinds[usize::from(kind)]);
                fills.push(Fill { place, n, kind, attitude });
            };
            if let Some(body) = unit.body {
                let place = &self.layout.places[body.ix()];
                if entry.blueprint.starts_full() && place.capacity() != UNLIMITED {
                    fill(body, place.capacity());
                }
            } else if start == Start::Full {
                for wire in ways_on(unit, entry) {
                    if let Wire::Hand(place) = wire {
                        fill(*place, 1);
                    }
                }
            }
        }
        fills
    }

    /// Stations that start with a finished part, for which there is no place of its own: their way on leads to a
    /// track, a belt or a bin. What would leave the line is not held.
    fn held(&self) -> Vec<Held> {
        let kinds_at = self.layout.kinds_at(self.scenario);
        let mut held = Vec::new();
        for (ix, unit) in self.layout.units.iter().enumerate() {
            let Some(entry) = unit.entry.map(|entry| &self.scenario.stations[entry]) else { continue };
            let is_full = self.scenario.plan.start_of(&entry.id.value) == Start::Full;
            if let (true, None, Some(Wire::Body(place, _))) =
                (is_full, unit.body, ways_on(unit, entry).first())
            {
                let kind = kinds_at[place.ix()].unwrap_or(0);
                let attitude = right_attitude(&self.scenario.kinds[usize::from(kind)]);
                held.push(Held { station: self.unit_id(ix), kind, attitude });
            }
        }
        held
    }
}

/// The wires of those exits that lead on; exits for rejects and surplus parts are left out.
fn ways_on<'a>(unit: &'a Unit, entry: &Entry) -> &'a [Wire] {
    let exits = entry.blueprint.exits();
    let n = exits.iter().take_while(|exit| exit.key == exits[0].key).count();
    &unit.wires[..n.min(unit.wires.len())]
}

fn exit_of(wire: Wire) -> Exit {
    match wire {
        Wire::Leave | Wire::Taken => Exit::Leave,
        Wire::Body(place, _) => Exit::Store(place),
        Wire::Hand(place) => Exit::Hand(place),
    }
}
