//! Who takes from whom: the nodes of the account and the places between them, made once.

use super::passage::Passage;
use super::signal::{EVER, Signal, Time};
use super::{CauseSetup, Causes, KEPT, Node, Source};
use crate::kernel::{PlaceId, StationId};

impl Causes {
    /// No charges yet.
    pub fn new(setup: &CauseSetup) -> Self {
        let n = setup.stations.len();
        let mut causes = Causes {
            nodes: (0..n).map(|ix| Node::new(StationId(ix as u16))).collect(),
            ways: setup.places.iter().map(|place| Passage::new(place.transit as Time)).collect(),
            intake_of: vec![None; n],
            account_of: Vec::new(),
            states: Vec::new(),
            sensors_on: Vec::new(),
            n_stopped: 0,
            n_stamps: 0,
            slowness: Vec::new(),
            any_slow: false,
            n_slow_ways: 0,
            charges: vec![vec![0; setup.n_causes()]; setup.points.len()],
            found: Vec::new(),
            setup: setup.clone(),
        };
        for ix in 0..n {
            causes.wire(ix);
        }
        for (number, point) in setup.points.iter().enumerate() {
            let ix = point.ix();
            let account = if causes.intake_of[ix].is_some() {
                causes.add_node(*point, setup.stations[ix].inlets.clone())
            } else if causes.nodes[ix].sources.is_empty() {
                causes.add_source_account(*point)
            } else {
                ix
            };
            let node = &mut causes.nodes[account];
            if node.sources.is_empty() {
                // Nobody gives to it: it bears its starving itself.
                node.sources.push(Vec::new());
            }
            node.point = Some(number);
            causes.account_of.push(account);
        }
        causes.link_back();
        causes.restart();
        causes
    }

    fn wire(&mut self, ix: usize) {
        let station = &self.setup.stations[ix];
        let (inlets, me) = (station.inlets.clone(), StationId(ix as u16));
        let Some(passage) = station.passage.filter(|_| !inlets.is_empty()) else {
            self.nodes[ix].sources = self.sources(&inlets);
            return;
        };
        let intake = self.add_node(me, inlets);
        self.ways.push(Passage::new(passage as Time));
        self.nodes[ix].sources = vec![vec![Source { place: self.ways.len() - 1, node: intake }]];
        self.intake_of[ix] = Some(intake);
    }

    fn add_node(&mut self, me: StationId, inlets: Vec<Vec<PlaceId>>) -> usize {
        let sources = self.sources(&inlets);
        self.nodes.push(Node { sources, ..Node::new(me) });
        self.nodes.len() - 1
    }

    /// The account of a point of use that takes from nowhere: a source, or a place, which starves when it is empty.
    fn add_source_account(&mut self, me: StationId) -> usize {
        let body = self.setup.stations[me.ix()].body;
        let feeders = body.map(|body| self.setup.places[body.ix()].feeders.clone()).unwrap_or_default();
        let place = self.ways.len();
        self.ways.push(Passage::default());
        let sources = vec![feeders.iter().map(|feeder| Source { place, node: feeder.ix() }).collect()];
        self.nodes.push(Node { sources, ..Node::new(me) });
        self.nodes.len() - 1
    }

    fn sources(&self, inlets: &[Vec<PlaceId>]) -> Vec<Vec<Source>> {
        let of_place = |place: &PlaceId| {
            let feeders = self.setup.places[place.ix()].feeders.iter();
            let place = place.ix();
            feeders.map(move |feeder| Source { place, node: feeder.ix() })
        };
        let groups: Vec<Vec<Source>> =
            inlets.iter().map(|places| places.iter().flat_map(of_place).collect()).collect();
        if groups.iter().all(Vec::is_empty) { Vec::new() } else { groups }
    }

    fn link_back(&mut self) {
        for taker in 0..self.nodes.len() {
            for source in self.nodes[taker].sources.concat() {
                let giver = &mut self.nodes[source.node];
                giver.takers.push(taker);
                giver.gives_to.push(source.place);
            }
        }
    }
}

impl Node {
    fn new(me: StationId) -> Self {
        Node {
            me,
            signal: Signal::new(),
            sources: Vec::new(),
            takers: Vec::new(),
            gives_to: Vec::new(),
            follows: false,
            known: 0,
            is_open: false,
            lacking: u32::MAX,
            point: None,
            gave: EVER,
            waits_for: None,
            kept: KEPT,
        }
    }
}
