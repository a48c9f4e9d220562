//! Magazine: collects a batch by the recipe of the product model, and releases it to its stations.
//!
//! **Keys.** `recipe` or `recipes`: pieces for each station that gets some, by product model, maybe by lane or part kind.
//! `load`: time to load one piece (default none). `release`: *together* (default: when all stations of the recipe have
//! room) or *on call* (each portion as soon as its own station has room). `release_time`: until the magazine is open
//! again after the last portion has gone (default none). A batch is its pieces: they keep their kind, condition and
//! attitude, and land together.
//!
//! **Timing.** *Open*: the next product's model has been drawn (see `models`); each lane loads one piece at a time that
//! the recipe still wants, beside the other lanes; pieces are assigned to stations in the order of the recipe. A piece
//! at the end of a lane that is not wanted stays there, and what is behind it too. *Complete*: all pieces are loaded; no
//! more are taken. *Releasing*: a portion leaves in no time when its station has room for all of it (a receiver when it
//! is empty; it takes its own time from then on). `release_time` after the last portion has gone the magazine is open
//! for the next model. In the balance a batch takes load x rounds + release time, with as many rounds as it takes its lanes to
//! load it if they load in step and never wait: the most pieces of one lane, where the recipe tells lanes apart. Part
//! kinds are not told apart there.
//!
//! **States.** Working while a piece is loaded and during the release time; blocked while complete without room; starved
//! while open and no wanted piece is there. A jam by part strikes when the loading of a piece starts, when it ends, or
//! for the first piece of a portion that has left.

use super::Station;
use super::alarm::Alarm;
use super::blueprint::{Blueprint, ExitSpec, Site, Split, TrafficSite};
use super::dice::Dice;
use super::recipe::{Need, RecipeSpec, Source, read_needed_recipe};
use crate::kernel::{
    Exit, Floor, Inlets, Join, Message, Moment, Observer, Offer, PlaceId, Sampler, State, StationId,
};
use crate::part::{Nanos, Part};
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::terms::models::ModelOrder;
use crate::text::fields::Object;
use crate::text::forms::one_of;
use crate::units::Dimension;

/// One feeding place.
#[derive(Clone, Debug)]
struct Lane {
    inlets: Inlets,
    /// Number among the lanes that the recipe tells apart.
    no: Option<u8>,
    /// The piece that is being loaded, for which need, and until when.
    loading: Option<(Nanos, Part, usize)>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Open,
    /// All is loaded; portions are still here.
    Complete,
    /// Empty, until the release time is over.
    Closing,
}

/// What does not change of a magazine.
#[derive(Clone, Debug)]
struct Setup {
    exits: Vec<Exit>,
    /// By model.
    recipes: Vec<Vec<Need>>,
    together: bool,
    load: Sampler,
    release: Sampler,
}

/// State of a magazine.
#[derive(Clone, Debug)]
pub struct Magazine {
    me: StationId,
    alarm: Alarm,
    setup: Setup,
    lanes: Vec<Lane>,
    luck: Dice,
    order: ModelOrder,
    stage: Stage,
    started: bool,
    model: usize,
    /// By need of the recipe: pieces taken, those under way included.
    taken: Vec<u32>,
    /// Loaded pieces by exit.
    portions: Vec<Vec<Part>>,
    next_loaded: Nanos,
}

impl Magazine {
    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
        self.order.seed(seed, replication);
    }

    pub(super) fn content(&self) -> usize {
        let loading = self.lanes.iter().filter(|lane| lane.loading.is_some()).count();
        loading + self.portions.iter().map(Vec::len).sum::<usize>()
    }

    /// Places from which it still wants pieces.
    pub(super) fn lacks(&self) -> Vec<PlaceId> {
        let wanted = self.lanes.iter().filter(|lane| {
            let could = |source: Source| match source {
                Source::Any | Source::Kind(_) => true,
                Source::Lane(no) => lane.no == Some(no),
            };
            self.open_needs().any(|(_, need)| could(need.of))
        });
        wanted.flat_map(|lane| lane.inlets.places.iter().copied()).collect()
    }

    fn open_needs(&self) -> impl Iterator<Item = (usize, &Need)> {
        let recipe = self.setup.recipes[self.model].iter().enumerate();
        let open = self.started && self.stage == Stage::Open;
        recipe.filter(move |(n, need)| open && self.taken[*n] < need.pieces)
    }

    fn open_next(&mut self) {
        self.started = true;
        self.stage = Stage::Open;
        self.model = self.order.next_model();
        self.taken.clear();
        self.taken.resize(self.setup.recipes[self.model].len(), 0);
    }

    pub(super) fn fire(&mut self) {
        self.alarm.spent();
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if !self.started {
            self.open_next();
        }
        if self.stage == Stage::Closing && floor.now >= self.next_loaded {
            self.open_next();
        }
        if self.stage == Stage::Open && !self.load(floor) {
            return;
        }
        if self.stage == Stage::Complete && !self.release(floor) {
            return;
        }
        match self.stage {
            Stage::Closing => {
                self.alarm.set(floor, self.next_loaded);
                floor.set_state(self.me, State::Working);
            }
            Stage::Complete => {
                self.alarm.set(floor, Nanos::MAX);
                let open = self.is_open(floor);
                floor.set_idle(self.me, !open);
            }
            Stage::Open => {
                self.alarm.set(floor, self.next_loaded);
                if self.lanes.iter().any(|lane| lane.loading.is_some()) {
                    floor.set_state(self.me, State::Working);
                } else {
                    floor.set_idle(self.me, false);
                }
            }
        }
    }

    /// Ends loads that are over and starts new ones; false if a jam has struck.
    fn load<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        let mut next = Nanos::MAX;
        for n in 0..self.lanes.len() {
            loop {
                if let Some((end, part, need)) = self.lanes[n].loading {
                    if end > floor.now {
                        next = next.min(end);
                        break;
                    }
                    self.lanes[n].loading = None;
                    let exit = self.setup.recipes[self.model][need].exit;
                    self.portions[usize::from(exit)].push(part);
                    if floor.jams(self.me, &part, Moment::End) {
                        // All that is being loaded goes on when it is cleared.
                        return false;
                    }
                }
                match self.take(floor, n) {
                    Taken::Piece { jammed: true } => return false,
                    Taken::Piece { jammed: false } => {}
                    Taken::Due(at) => {
                        next = next.min(at);
                        break;
                    }
                    Taken::Nothing => break,
                }
            }
        }
        self.next_loaded = next;
        let is_full =
            self.taken.iter().zip(&self.setup.recipes[self.model]).all(|(n, need)| *n == need.pieces);
        if is_full && self.lanes.iter().all(|lane| lane.loading.is_none()) {
            self.stage = Stage::Complete;
        }
        true
    }

    fn take<O: Observer>(&mut self, floor: &mut Floor<O>, n: usize) -> Taken {
        if !floor.may_start(self.me) {
            return Taken::Nothing;
        }
        let lane_no = self.lanes[n].no;
        let place = match floor.offer(self.me, &self.lanes[n].inlets) {
            Offer::Ready(place) => place,
            Offer::Due(at) => return Taken::Due(at),
            Offer::Nothing => return Taken::Nothing,
        };
        let kind = floor.place(place).head().map(|part| part.kind);
        let fits = |source: Source| match source {
            Source::Any => true,
            Source::Lane(no) => lane_no == Some(no),
            Source::Kind(of) => kind.is_none_or(|kind| kind == of),
        };
        let Some(need) = self.open_needs().find(|(_, need)| fits(need.of)).map(|(n, _)| n) else {
            return Taken::Nothing;
        };
        self.taken[need] += 1;
        let part = floor.take(self.me, place);
        let end = floor.now + self.luck.time(floor, self.me, &self.setup.load);
        self.lanes[n].loading = Some((end, part, need));
        Taken::Piece { jammed: floor.jams(self.me, &part, Moment::Start) }
    }

    /// Whether something can be released, room considered.
    fn is_open<O: Observer>(&self, floor: &Floor<O>) -> bool {
        let open = |(no, pieces): (usize, &Vec<Part>)| {
            floor.has_room_for(self.me, self.setup.exits[no], pieces.len() as u32)
        };
        let mut portions = self.portions.iter().enumerate().filter(|(_, pieces)| !pieces.is_empty());
        if self.setup.together { portions.all(open) } else { portions.any(open) }
    }

    /// Releases what has room; false if a jam has struck.
    fn release<O: Observer>(&mut self, floor: &mut Floor<O>) -> bool {
        let goes = floor.may_start(self.me) && (!self.setup.together || self.is_open(floor));
        let mut first = None;
        for no in 0..self.portions.len() {
            let pieces = self.portions[no].len();
            if pieces == 0 {
                continue;
            }
            let exit = self.setup.exits[no];
            match (floor.has_room_for(self.me, exit, pieces as u32), exit) {
                (true, _) if goes => {
                    floor.hand_over_together(self.me, no as u8, exit, &self.portions[no]);
                    first = self.portions[no].first().copied();
                    self.portions[no].clear();
                }
                // It takes no turn while it waits for others.
                (true, Exit::Store(place)) => floor.stop_waiting(self.me, place),
                (false, Exit::Store(place)) => floor.wait_for_room(self.me, place),
                (_, Exit::Leave | Exit::Hand(_)) => {}
            }
        }
        if self.portions.iter().all(Vec::is_empty) {
            self.stage = Stage::Closing;
            self.next_loaded = floor.now + self.luck.time(floor, self.me, &self.setup.release);
            if self.next_loaded == floor.now {
                // The next batch in another settling, so that an endless flow in no time is found by the count of rounds.
                floor.dirty.insert(self.me.0);
            }
        }
        !first.is_some_and(|part| floor.jams(self.me, &part, Moment::After))
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            Message::Thawed(stood) => {
                self.alarm.shift(stood);
                if self.stage == Stage::Closing {
                    self.next_loaded += stood;
                }
                for (end, ..) in self.lanes.iter_mut().filter_map(|lane| lane.loading.as_mut()) {
                    *end += stood;
                }
            }
            Message::Redirect(_) | Message::Attended(_) => {}
        }
    }
}

/// What came of looking at a lane.
enum Taken {
    Piece { jammed: bool },
    Due(Nanos),
    Nothing,
}

/// A magazine as the file states it.
#[derive(Debug, Clone)]
pub struct MagazineSpec {
    recipe: RecipeSpec,
    load: Law,
    together: bool,
    release_time: Law,
}

/// Reads a magazine.
pub fn read(object: &mut Object<'_>) -> MagazineSpec {
    const RELEASES: &[(&str, bool, &str)] = &[
        ("together", true, "when all stations of the recipe have room for their portions"),
        ("on call", false, "each portion as soon as its own station has room for it"),
    ];
    MagazineSpec {
        recipe: read_needed_recipe(object),
        load: object.optional(
            "load",
            law(Dimension::Time),
            "0 s",
            "Time to load one piece; lanes load beside each other",
        ),
        together: object.optional(
            "release",
            one_of(RELEASES),
            "together",
            "When a complete batch is released",
        ),
        release_time: object.optional(
            "release_time",
            law(Dimension::Time),
            "0 s",
            "Time from the release until the magazine is open for the next batch",
        ),
    }
}

impl Blueprint for MagazineSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        self.recipe.exits()
    }

    fn recipes(&self) -> Option<&RecipeSpec> {
        Some(&self.recipe)
    }

    fn gives_batches(&self) -> bool {
        true
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let pieces = self.recipe.mean_pieces(traffic.models);
        let all: f64 = pieces.iter().sum();
        if all > 0.0 {
            traffic.split = Split::Fixed(pieces.iter().map(|n| n / all).collect());
            let rounds = self.recipe.mean_rounds(traffic.models, &traffic.feeders);
            traffic.seconds.fill((self.load.mean() * rounds + self.release_time.mean()) / all);
        }
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let named = self.recipe.lanes(site.kinds);
        let lane = |(place, feeder): (&PlaceId, &&str)| Lane {
            inlets: Inlets::new(vec![*place], Join::Listed),
            no: named.iter().position(|name| name.value == **feeder).map(|no| no as u8),
            loading: None,
        };
        let lanes: Vec<Lane> = site.inlets.places.iter().zip(&site.feeders).map(lane).collect();
        let setup = Setup {
            exits: site.exits.clone(),
            recipes: self.recipe.compiled(site.models, site.kinds),
            together: self.together,
            load: site.law(&self.load),
            release: site.law(&self.release_time),
        };
        let (alarm, luck) = (site.alarm(), site.dice("load"));
        Station::Magazine(Box::new(Magazine {
            me: site.me,
            alarm,
            portions: vec![Vec::new(); setup.exits.len()],
            setup,
            lanes,
            luck,
            order: ModelOrder::new(site.models),
            stage: Stage::Open,
            started: false,
            model: 0,
            taken: Vec::new(),
            next_loaded: Nanos::MAX,
        }))
    }
}

#[cfg(test)]
mod tests;
