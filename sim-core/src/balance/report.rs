//! What the balance says, as plain values in the order of the file.

use super::demand::{Demand, Flows, Pace, load, node_flow, own_load};
use super::limit::Most;
use super::net::Net;
use super::stops::{StopCount, count_stops};
use crate::scenario::Scenario;
use crate::stations::blueprint::{Run, Split};
use crate::units::as_stated;
use schemars::JsonSchema;
use serde::Serialize;

/// Usual free rate of the feeders over the demand: common practice, no source.
const USUAL_OVER_FEED: (f64, f64) = (1.15, 1.5);

/// The balance of a line. Flows and capacities are parts a minute.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Balance {
    /// The part kind of the run that it is about; `None` without a product sequence.
    pub run: Option<String>,
    /// Promised good parts at the points of use; `None` without a promise of a rate.
    pub promised_per_min: Option<f64>,
    /// Good parts at the points of use for which the flows hold: what is promised, or the most (also of a run that cannot do
    /// what is promised of all together); with streams alone, what they bring.
    pub rate_per_min: f64,
    /// The most good parts that the line can deliver by this count, however those who share by room do; `None` if nothing
    /// limits it, or it was not found.
    pub most_per_min: Option<f64>,
    /// Where others share by room with a point of use, the most hangs on chance: (what is left if those that are served
    /// before take all that they can, what there is if they leave as much as can be). Elsewhere both are the most.
    pub most_bounds_per_min: Option<(f64, f64)>,
    /// Whether the most could not be found: what is mixed where parts share by room may not settle in this count.
    pub most_is_unknown: bool,
    /// The station that limits it.
    pub limiting: Option<String>,
    /// Stations in file order.
    pub stations: Vec<StationBalance>,
    /// Stations that send classes of parts different ways, in file order.
    pub sorting: Vec<SortingBalance>,
    /// What feeds each point of use (each of its inlets, if it has several).
    pub feeds: Vec<FeedBalance>,
    /// What arrives at the points of use.
    pub point: PointBalance,
    /// Load of the attendants, by pool.
    pub attendants: Vec<PoolBalance>,
    /// Jams of all stations, an hour.
    pub jams_per_hour: f64,
    /// What else is worth knowing.
    pub notes: Vec<Note>,
}

/// One station of the file; equal ones together.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct StationBalance {
    /// Its name.
    pub id: String,
    /// Equal stations.
    pub count: u32,
    /// Demanded flow into it (what it makes, if it has several inlets).
    pub flow_per_min: f64,
    /// Bounds of the flow where shares depend on room, spacing or loading, or surplus goes round or piles up: (lowest, highest), the
    /// same elsewhere. `None` if there is no highest one, or they were not found.
    pub bounds_per_min: Option<(f64, f64)>,
    /// Rated capacity at the mix of classes that it sees; `None` without a limit.
    pub capacity_per_min: Option<f64>,
    /// What it may handle where its times depend on the order of the parts or on how many come together; the same elsewhere.
    /// `None` without a limit.
    pub capacity_at_most_per_min: Option<f64>,
    /// What it would handle if it never waited, for parts, for nests of its own, for its turn or for a reach that others use.
    /// `None` without a limit.
    pub free_per_min: Option<f64>,
    /// Capacity / demanded flow - 1; `None` without a limit or without flow.
    pub margin: Option<f64>,
    /// The same capacity after the time for which jams and breakdowns stop it, queues for attendants not counted.
    pub capacity_with_stops_per_min: Option<f64>,
    /// Parts that go through it for each good part delivered.
    pub visits: f64,
    /// Its inlets, if it has several.
    pub inlets: Vec<InletBalance>,
    /// What it brings into the line, if it does.
    pub supply: Option<SupplyBalance>,
    /// Jams to be expected, an hour.
    pub jams_per_hour: f64,
    /// Share of time stopped by jams and breakdowns, of each of the equal stations.
    pub stopped: f64,
}

/// One inlet of a machine with several.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct InletBalance {
    /// The station that feeds it.
    pub from: String,
    /// Parts in each product.
    pub per_product: f64,
    /// Demanded flow into it: products times parts per product.
    pub demanded_per_min: f64,
    /// What flows into it by the balance; differs from the demand if a stream or a fixed share brings something else.
    pub flow_per_min: f64,
}

/// What a station brings into the line.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SupplyBalance {
    /// Fresh parts.
    pub brings_per_min: f64,
    /// The most that it can bring; `None` if it never runs out.
    pub most_per_min: Option<f64>,
    /// Whether it brings them wanted or not.
    pub is_driven: bool,
}

/// The flow account of a station that sends classes different ways. The flows but `offered` add up to it.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SortingBalance {
    /// The station.
    pub id: String,
    /// Parts that come, fresh and again.
    pub offered_per_min: f64,
    /// Good parts sent off by their attitude (or by mistake).
    pub by_attitude_per_min: f64,
    /// Parts in a bad condition sent off.
    pub by_defect_per_min: f64,
    /// Parts that go on.
    pub accepted_per_min: f64,
    /// Share of one pass that goes on.
    pub accepted: f64,
    /// Mean passes for each part that goes on; `None` if none does.
    pub passes: Option<f64>,
    /// What is sent off and comes back.
    pub recirculated_per_min: f64,
    /// Each exit.
    pub exits: Vec<ExitFlow>,
}

/// Flow through one exit.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ExitFlow {
    /// Its key in the file.
    pub key: String,
    /// The station beyond; `None` out of the line.
    pub to: Option<String>,
    /// Its flow.
    pub flow_per_min: f64,
    /// Whether what leaves here can come back to the station.
    pub comes_back: bool,
}

/// What feeds a point of use, or one of its inlets.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FeedBalance {
    /// The point of use.
    pub to: String,
    /// The station that feeds this inlet, if there are several inlets.
    pub inlet: Option<String>,
    /// Free rate of the feed over the demand: the least capacity / flow of the stations ahead.
    pub over_feed: Option<f64>,
    /// The station that limits it.
    pub limited_by: Option<String>,
}

/// What arrives at the points of use.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PointBalance {
    /// Their names.
    pub at: Vec<String>,
    /// Good parts completed.
    pub good_per_min: f64,
    /// Bad ones, or the wrong way round.
    pub bad_per_min: f64,
    /// Bad ones for each million completed.
    pub bad_per_million: f64,
}

/// Load of a pool of attendants by clearing, repairing and fetching, walks included, to first order.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PoolBalance {
    /// Its name.
    pub id: String,
    /// People.
    pub number: u32,
    /// Share of the time of each that is taken.
    pub load: f64,
    /// Minutes of attendance an hour, of all together.
    pub minutes_per_hour: f64,
}

/// Something worth knowing that is no number of its own.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Note {
    /// A stable name of what it is about.
    pub code: &'static str,
    /// In words.
    pub message: String,
}

/// Draws everything up at the promised rate (parts/s), or at the most.
pub(super) fn report(
    scenario: &Scenario,
    demand: &Demand<'_>,
    promised: Option<f64>,
    run: Option<Run>,
) -> Balance {
    let net = demand.net;
    let (limit, limiting) = demand.most();
    let most = limit.found().map(|(_, high)| high);
    // One run of several may be slower than what is promised of all together: it is shown at its most.
    let promised_of_run =
        promised.map(|rate| if run.is_some() { rate.min(most.unwrap_or(rate)) } else { rate });
    let sure = limit.found().map(|(low, high)| if low > 0.0 { low } else { high });
    let rate = promised_of_run.or(sure).unwrap_or(1.0 / 60.0);
    let flows = demand.at(rate, most);
    let bounds = demand.bounds(&flows, rate, limit);
    let mut stations = Vec::new();
    let mut sorting = Vec::new();
    let mut attendance = vec![0.0; scenario.attendants.len()];
    let mut jams_per_s = 0.0;
    for entry in 0..scenario.stations.len() {
        let node = net.node_of[entry];
        let flow = &flows.total[net.state(node, 0)..net.state(node + 1, 0)];
        let busy = own_load(net, &flows.total, node, Pace::Rated);
        let stops = count_stops(scenario, net, &net.nodes[node], flow, busy);
        attendance.iter_mut().zip(&stops.attendance).for_each(|(all, own)| *all += own);
        jams_per_s += stops.jams_per_s;
        let bounds = bounds[node].map(|(low, high)| (low * 60.0, high * 60.0));
        stations.push(station(scenario, net, &flows, entry, rate, &stops, bounds));
        sorting.extend(sort(scenario, net, &flows, entry));
    }
    let name = |node: usize| scenario.stations[net.nodes[node].entry].id.value.clone();
    let attendants = scenario.attendants.iter().zip(&attendance).map(|(pool, seconds)| PoolBalance {
        id: pool.id.value.clone(),
        number: pool.number,
        load: seconds / f64::from(pool.number),
        minutes_per_hour: seconds * 60.0,
    });
    let bad = (flows.completed - flows.good).max(0.0);
    let mut balance = Balance {
        run: run.map(|run| scenario.kinds[usize::from(run.kind)].name.clone()),
        promised_per_min: promised.map(|rate| rate * 60.0),
        rate_per_min: flows.good * 60.0,
        most_per_min: most.map(|most| most * 60.0),
        most_bounds_per_min: limit.found().map(|(low, high)| (low * 60.0, high * 60.0)),
        most_is_unknown: limit == Most::Unknown,
        limiting: limiting.map(name),
        stations,
        sorting,
        feeds: feeds(scenario, net, &flows),
        point: PointBalance {
            at: net.points.iter().map(|&point| name(point)).collect(),
            good_per_min: flows.good * 60.0,
            bad_per_min: bad * 60.0,
            bad_per_million: if flows.completed > 0.0 { bad / flows.completed * 1e6 } else { 0.0 },
        },
        attendants: attendants.collect(),
        jams_per_hour: jams_per_s * 3600.0,
        notes: Vec::new(),
    };
    balance.notes = notes(&balance, &flows);
    balance.notes.extend(net.stocks.iter().map(|&entry| stock_note(&scenario.stations[entry].id.value)));
    if let Some(run) = &balance.run {
        let message = format!("all of it is for the run of `{run}`, and without changeovers");
        balance.notes.push(Note { code: "one-run", message });
    }
    balance
}

fn stock_note(id: &str) -> Note {
    let message = format!(
        "nothing fresh comes to `{id}`: what it holds at the start is counted as if it never ran out, and in the mix that it has \
         in the long run, with what comes back"
    );
    Note { code: "stock", message }
}

fn station(
    scenario: &Scenario,
    net: &Net,
    flows: &Flows,
    entry: usize,
    rate: f64,
    stops: &StopCount,
    bounds_per_min: Option<(f64, f64)>,
) -> StationBalance {
    let of = &scenario.stations[entry];
    let node = net.node_of[entry];
    let flow = node_flow(net, &flows.total, node);
    let busy = load(net, &flows.total, node, Pace::Rated);
    let supply = (0..net.supplies.len())
        .find(|&supply| net.supplies[supply].node == node && net.supplies[supply].assembly.is_none());
    // Where nothing flows, what it could take of any class, if that is the same for all.
    let idle = &net.nodes[node];
    let seconds = idle.seconds.iter().copied().fold(0.0, f64::max);
    let is_alike = seconds > 0.0 && idle.seconds.iter().all(|one| *one == seconds);
    let capacity_at = |pace: Pace| match load(net, &flows.total, node, pace) {
        busy if busy > 0.0 => flow / busy,
        _ if is_alike && flow <= 0.0 && pace == Pace::Rated => idle.places / seconds,
        _ => f64::INFINITY,
    };
    let mut capacity = capacity_at(Pace::Rated);
    let mut at_most = if flow > 0.0 { capacity_at(Pace::Best) } else { capacity };
    let working = own_load(net, &flows.total, node, Pace::Rated) - flow * idle.loading_s / idle.places;
    let mut free = match () {
        () if working > 0.0 => flow / working,
        () if is_alike && flow <= 0.0 => idle.places / (seconds - idle.loading_s),
        () => f64::INFINITY,
    } * f64::from(of.count)
        / idle.at_once;
    let mut margin = if busy > 0.0 { 1.0 / busy - 1.0 } else { f64::INFINITY };
    if let Some(supply) = supply {
        let (brings, most) = (flows.scale[supply], net.supplies[supply].most_per_s);
        // A stream is measured by what it would have to bring.
        let needed = if net.supplies[supply].is_driven && flows.good > 0.0 {
            brings * rate / flows.good
        } else {
            brings
        };
        if needed > 0.0 {
            margin = margin.min(most / needed - 1.0);
            capacity = capacity.min(flow * most / brings);
            free = free.min(flow * most / brings);
            at_most = at_most.min(flow * most / brings);
        }
    }
    let stopped = (stops.stopped / f64::from(of.count)).min(1.0);
    let with_stops = stops.left_of(capacity, flow, idle.at_once);
    let limit = |value: f64| value.is_finite().then_some(value);
    StationBalance {
        id: of.id.value.clone(),
        count: of.count,
        flow_per_min: flow * 60.0,
        bounds_per_min,
        capacity_per_min: limit(capacity * 60.0),
        capacity_at_most_per_min: limit(at_most * 60.0),
        free_per_min: limit(free * 60.0),
        margin: if flow > 0.0 { limit(margin) } else { None },
        capacity_with_stops_per_min: limit(capacity).map(|_| with_stops * 60.0),
        visits: if flows.good > 0.0 { flow / flows.good } else { 0.0 },
        inlets: inlets(scenario, net, flows, node),
        supply: supply.map(|supply| SupplyBalance {
            brings_per_min: flows.scale[supply] * 60.0,
            most_per_min: limit(net.supplies[supply].most_per_s * 60.0),
            is_driven: net.supplies[supply].is_driven,
        }),
        jams_per_hour: stops.jams_per_s * 3600.0,
        stopped,
    }
}

fn inlets(scenario: &Scenario, net: &Net, flows: &Flows, node: usize) -> Vec<InletBalance> {
    let Some(assembly) = net.assemblies.iter().find(|a| net.supplies[a.supply].node == node) else {
        return Vec::new();
    };
    let named = scenario.stations[net.nodes[node].entry].blueprint.named_inlets();
    let each = assembly.ports.iter().zip(&assembly.per_product).enumerate();
    each.map(|(inlet, (&port, &per_product))| InletBalance {
        from: named.get(inlet).map(|name| name.value.clone()).unwrap_or_default(),
        per_product,
        demanded_per_min: per_product * flows.scale[assembly.supply] * 60.0,
        flow_per_min: node_flow(net, &flows.total, port) * 60.0,
    })
    .collect()
}

/// The flow account of a station that sorts by class.
fn sort(scenario: &Scenario, net: &Net, flows: &Flows, entry: usize) -> Option<SortingBalance> {
    let node = net.node_of[entry];
    let of = &net.nodes[node];
    let parts_ways = of.routes.iter().flatten().any(|&(exit, _, share)| exit > 0 && share > 0.0);
    if of.split != Split::ByClass || !parts_ways {
        return None;
    }
    let leads_on = |exit: usize| exit < of.ways_on;
    let mut by_exit = vec![0.0; of.targets.len()];
    let (mut by_attitude, mut by_defect) = (0.0, 0.0);
    for class in 0..net.n_classes {
        let flow = flows.total[net.state(node, class)];
        for (exit, _, share) in of.routes_by(&flows.shares[node], class) {
            by_exit[exit] += flow * share;
            match net.class_names[class].1 {
                _ if leads_on(exit) => {}
                0 => by_attitude += flow * share,
                _ => by_defect += flow * share,
            }
        }
    }
    let specs = scenario.stations[entry].blueprint.exits();
    let exits: Vec<ExitFlow> = (0..by_exit.len())
        .map(|exit| ExitFlow {
            key: specs[exit].key.to_owned(),
            to: of.targets[exit].map(|to| scenario.stations[net.nodes[to].entry].id.value.clone()),
            flow_per_min: by_exit[exit] * 60.0,
            comes_back: comes_back(net, of.targets[exit], entry),
        })
        .collect();
    let offered: f64 = by_exit.iter().sum();
    let accepted: f64 = by_exit[..of.ways_on].iter().sum();
    Some(SortingBalance {
        id: scenario.stations[entry].id.value.clone(),
        offered_per_min: offered * 60.0,
        by_attitude_per_min: by_attitude * 60.0,
        by_defect_per_min: by_defect * 60.0,
        accepted_per_min: accepted * 60.0,
        accepted: if offered > 0.0 { accepted / offered } else { 0.0 },
        passes: (accepted > 0.0).then(|| offered / accepted),
        recirculated_per_min: exits[of.ways_on..]
            .iter()
            .filter(|e| e.comes_back)
            .fold(0.0, |sum, e| sum + e.flow_per_min),
        exits,
    })
}

/// Whether parts get from a node to a station. What goes back into an endless bin can come out of it.
fn comes_back(net: &Net, from: Option<usize>, entry: usize) -> bool {
    let from = from.map(|from| net.node_of[net.nodes[from].entry]);
    let beyond = net.beyond(from);
    (0..beyond.len()).any(|node| beyond[node] && net.nodes[node].entry == entry)
}

fn feeds(scenario: &Scenario, net: &Net, flows: &Flows) -> Vec<FeedBalance> {
    let mut feeds = Vec::new();
    for &point in &net.points {
        let to = scenario.stations[net.nodes[point].entry].id.value.clone();
        match net.assemblies.iter().find(|a| net.supplies[a.supply].node == point) {
            Some(assembly) => {
                let named = inlets(scenario, net, flows, point);
                for (&port, inlet) in assembly.ports.iter().zip(named) {
                    feeds.push(feed(scenario, net, flows, port, to.clone(), Some(inlet.from)));
                }
            }
            None => feeds.push(feed(scenario, net, flows, point, to, None)),
        }
    }
    feeds
}

fn feed(
    scenario: &Scenario,
    net: &Net,
    flows: &Flows,
    into: usize,
    to: String,
    inlet: Option<String>,
) -> FeedBalance {
    let mut least: Option<(f64, usize)> = None;
    let mut see = |ratio: f64, node: usize| {
        if ratio.is_finite() && least.is_none_or(|(least, _)| ratio < least) {
            least = Some((ratio, node));
        }
    };
    let is_ahead = |node: usize| {
        node != into
            && !net.points.contains(&node)
            && !net.nodes[node].absorbs
            && net.beyond(Some(node))[into]
    };
    let ahead: Vec<bool> = (0..net.nodes.len()).map(is_ahead).collect();
    for node in (0..net.nodes.len()).filter(|&node| ahead[node]) {
        see(1.0 / load(net, &flows.total, node, Pace::Rated), node);
    }
    for (supply, scale) in net.supplies.iter().zip(&flows.scale) {
        if ahead[supply.node] && !supply.is_driven {
            see(supply.most_per_s / scale, supply.node);
        }
    }
    FeedBalance {
        to,
        inlet,
        over_feed: least.map(|(ratio, _)| ratio),
        limited_by: least.map(|(_, node)| scenario.stations[net.nodes[node].entry].id.value.clone()),
    }
}

fn notes(balance: &Balance, flows: &Flows) -> Vec<Note> {
    let mut notes = Vec::new();
    let mut note = |code, message| notes.push(Note { code, message });
    if let (Some(promised), Some(most)) = (balance.promised_per_min, balance.most_per_min)
        && most < promised * (1.0 - 1e-9)
    {
        let limited = match &balance.limiting {
            Some(limiting) => format!("limited by `{limiting}`"),
            None => "limited by what is brought into it".to_owned(),
        };
        let text = format!("the line can deliver {most:.2} a minute at most, {limited}");
        match balance.run {
            None => note("too-little", text),
            Some(_) => {
                let promised = as_stated(promised);
                note("slow-run", format!("{text}; what is promised is {promised}, of all runs together"))
            }
        }
    }
    if let (Some(promised), Some((low, high))) = (balance.promised_per_min, balance.most_bounds_per_min)
        && low < promised * (1.0 - 1e-9)
        && high >= promised * (1.0 - 1e-9)
    {
        let text = format!(
            "the line can deliver {low:.2} to {high:.2} a minute at most, as chance has it who finds room, what comes together and in \
             which order: what is promised lies between"
        );
        note("perhaps-too-little", text);
    }
    if balance.promised_per_min.is_some() {
        for feed in &balance.feeds {
            let (Some(ratio), Some(by)) = (feed.over_feed, &feed.limited_by) else { continue };
            let place = feed.inlet.as_ref().unwrap_or(&feed.to);
            if ratio < USUAL_OVER_FEED.0 {
                let text = format!(
                    "the feed through `{place}` has {ratio:.2} times what is wanted (by `{by}`); usual is 1.15 to 1.5"
                );
                note("little-over-feed", text);
            } else if ratio > USUAL_OVER_FEED.1 {
                let text = format!(
                    "the feed through `{place}` has {ratio:.2} times what is wanted (by `{by}`); usual is 1.15 to 1.5, less would do"
                );
                note("much-over-feed", text);
            }
        }
    }
    for pool in balance.attendants.iter().filter(|pool| pool.load > 0.8) {
        note(
            "busy-attendants",
            format!("`{}` are taken for {:.0} % of the time", pool.id, pool.load * 100.0),
        );
    }
    if balance.most_is_unknown {
        let text = "the most that the line can deliver was not found: what is mixed where parts share by room, or hangs on \
                    how they come to sensed tools and crowded paths, does not settle in this count; `run` says what it gets";
        note("no-most", text.to_owned());
    } else if balance.most_per_min.is_none() {
        note(
            "no-limit",
            "nothing limits the line; its flows are shown for one good part a minute".to_owned(),
        );
    }
    if !flows.is_settled {
        note("not-settled", "the shares that follow room did not settle; flows are approximate".to_owned());
    }
    notes
}
