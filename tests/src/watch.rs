//! An observer that knows the rules and notes the first one that is broken.
//!
//! It keeps an account of its own of everything it is told (states, contents, order of parts, stops, holds,
//! breaks) and compares each new word with it. It trusts nothing of the floor but what it is told.

use serde_json::Value;
use sim_core::kernel::state::N_STATES;
use sim_core::kernel::{Note, Observer, PlaceId, State, StationId, UNLIMITED};
use sim_core::network::Plan;
use sim_core::part::{Nanos, Part};
use std::collections::VecDeque;

/// A rule that was broken: which, and what was seen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Broken {
    /// The rule, always in the same words.
    pub claim: &'static str,
    /// What was seen instead.
    pub found: String,
}

/// What the watcher knows of a place.
#[derive(Clone, Debug)]
struct PlaceBook {
    level: u32,
    capacity: u32,
    is_bin: bool,
    /// The transporter of which it is the body.
    carrier: Option<usize>,
    /// Parts in order of entry; `None` for one that nobody named.
    parts: VecDeque<Option<Part>>,
}

/// What the watcher knows of a station, attendant or sensor.
#[derive(Clone, Debug)]
struct PostBook {
    state: State,
    since: Nanos,
    time: [Nanos; N_STATES],
    is_stopped: bool,
    n_holds: u32,
    /// Breaks that concern it, by plan.
    breaks: Vec<Vec<(Nanos, Nanos)>>,
    /// It may take parts while it is kept from starting: its nests are loaded ahead.
    loads_ahead: bool,
    /// It is loaded though nothing can leave it.
    loads_blocked: bool,
    /// What is past the tool that jams goes on (ruling 15).
    runs_on: bool,
    /// It belongs to a knot that was found: it must not move any more.
    is_knotted: bool,
}

impl PostBook {
    /// Whether one of its breaks has begun before `now` and ends after it.
    fn is_off(&self, now: Nanos) -> bool {
        self.breaks.iter().any(|spans| {
            let next = spans.partition_point(|(from, _)| *from < now);
            next > 0 && now < spans[next - 1].1
        })
    }
}

/// The watcher.
#[derive(Clone, Debug)]
pub struct Watch {
    names: Vec<String>,
    places: Vec<PlaceBook>,
    posts: Vec<PostBook>,
    /// Stations that each sensor holds, by post.
    holds: Vec<Vec<usize>>,
    handing: Option<Part>,
    taken: Option<Option<Part>>,
    /// The transporter that stood when a part left it, until it is told who took it.
    took_from: Option<usize>,
    /// Who takes everything out between two products, by hand.
    changes: Option<StationId>,
    last: Nanos,
    opened: Nanos,
    /// Parts made and gone, as told.
    pub n_left: u64,
    /// Parts taken by all stations.
    pub n_taken: u64,
    /// The first rule broken.
    pub broken: Option<Broken>,
}

/// The entry of the file from which the station of number `ix` was made.
pub fn entry_of<'a>(plan: &Plan, file: &'a Value, ix: usize) -> Option<&'a Value> {
    plan.names.entries.get(ix).copied().flatten().map(|entry| &file["stations"][entry])
}

impl Watch {
    /// A watcher of a line at its start; `file` is the scenario of which the plan was made.
    pub fn new(plan: &Plan, file: &Value) -> Self {
        let n = plan.tally.n_posts;
        let place = |(ix, place): (usize, &sim_core::kernel::Place)| PlaceBook {
            level: if place.is_endless() { 1 } else { place.len() },
            capacity: place.capacity(),
            is_bin: place.counts().is_some(),
            carrier: plan.links.bodies.iter().position(|body| *body == Some(PlaceId(ix as u16))),
            parts: std::iter::repeat_n(None, if place.counts().is_some() { 0 } else { place.len() as usize })
                .collect(),
        };
        let has_nests = |entry: &Value| {
            entry["inlets"].as_array().is_some_and(|inlets| inlets.iter().any(|i| i.get("nest").is_some()))
        };
        let post = |ix: usize| PostBook {
            state: State::Starved,
            since: 0,
            time: [0; N_STATES],
            is_stopped: false,
            n_holds: 0,
            breaks: breaks_of(plan, ix),
            loads_ahead: entry_of(plan, file, ix).is_some_and(has_nests),
            loads_blocked: entry_of(plan, file, ix).is_some_and(|entry| {
                matches!(entry["type"].as_str(), Some("indexing table" | "bath" | "tunnel"))
            }),
            runs_on: entry_of(plan, file, ix)
                .is_some_and(|entry| entry["type"] == "orienting path" && entry.get("speed").is_some()),
            is_knotted: false,
        };
        let mut holds = vec![Vec::new(); n];
        for sensor in &plan.outfit.sensors {
            holds[sensor.post.ix()] = sensor.holds.iter().map(|station| station.ix()).collect();
        }
        Watch {
            names: plan.names.posts.clone(),
            places: plan.outfit.places.iter().enumerate().map(place).collect(),
            posts: (0..n).map(post).collect(),
            holds,
            handing: None,
            taken: None,
            took_from: None,
            changes: plan.change.as_ref().map(|change| change.post),
            last: 0,
            opened: 0,
            n_left: 0,
            n_taken: 0,
            broken: None,
        }
    }

    /// The window opens.
    pub fn open(&mut self, now: Nanos) {
        self.opened = now;
        for post in &mut self.posts {
            (post.since, post.time) = (now, [0; N_STATES]);
        }
    }

    /// When the window was opened, ns.
    pub fn opened(&self) -> Nanos {
        self.opened
    }

    /// The times by state of all posts, up to `now`.
    pub fn close(&mut self, now: Nanos) -> Vec<[Nanos; N_STATES]> {
        for post in &mut self.posts {
            post.time[post.state as usize] += now - post.since;
            post.since = now;
        }
        self.posts.iter().map(|post| post.time).collect()
    }

    /// From now on these stations must not move.
    pub fn knot(&mut self, stations: &[StationId]) {
        stations.iter().for_each(|station| self.posts[station.ix()].is_knotted = true);
    }

    /// Content of a place, as told.
    pub fn level_of(&self, place: usize) -> u32 {
        self.places[place].level
    }

    /// Notes a broken rule, unless one was broken before.
    pub fn fail(&mut self, claim: &'static str, found: impl FnOnce() -> String) {
        if self.broken.is_none() {
            self.broken = Some(Broken { claim, found: found() });
        }
    }

    fn name(&self, station: StationId) -> String {
        self.names.get(station.ix()).cloned().unwrap_or_else(|| format!("number {}", station.ix()))
    }

    fn tick(&mut self, now: Nanos) {
        let last = self.last;
        if now < last {
            self.fail("time never goes back", || format!("{now} ns after {last} ns"));
        }
        self.last = now;
    }

    /// A station takes a part, makes one or hands one on.
    fn moves(&mut self, now: Nanos, station: StationId, starts: bool, what: &str) {
        let post = &self.posts[station.ix()];
        let (held, knotted) = (post.n_holds > 0, post.is_knotted);
        let stopped = post.is_stopped && (starts || !post.runs_on);
        // Nests are loaded ahead, and what a lift has landed may still be taken from its top.
        let is_spare =
            if starts { post.loads_ahead || post.loads_blocked } else { post.state != State::Blocked };
        let knotted = knotted && !is_spare;
        let (starts, state) = (starts && !post.loads_ahead, post.state);
        let off = starts && post.is_off(now);
        if !(stopped || knotted || off || (starts && held)) {
            return;
        }
        let name = self.name(station);
        let seen = || format!("`{name}` ({state:?}) {what} at {now} ns");
        if stopped {
            self.fail("a stopped station neither takes nor gives", seen);
        } else if starts && held {
            self.fail("a held station starts nothing", seen);
        } else if starts && off {
            self.fail("a station in its break starts nothing", seen);
        } else if knotted {
            self.fail("the stations of a knot never move again", seen);
        }
    }

    /// A part leaves a place.
    fn leaves(&mut self, place: usize) {
        if let Some(carrier) = self.places[place].carrier
            && self.posts[carrier].is_stopped
        {
            self.took_from = Some(carrier);
        }
        let book = &mut self.places[place];
        self.taken = if book.is_bin { None } else { Some(book.parts.pop_front().flatten()) };
    }
}

fn breaks_of(plan: &Plan, ix: usize) -> Vec<Vec<(Nanos, Nanos)>> {
    let concerns = |pause: &&sim_core::network::BreakPlan| pause.posts.iter().any(|post| post.ix() == ix);
    if plan.outfit.posts.get(ix).is_none_or(|post| post.no_breaks) {
        return Vec::new();
    }
    plan.breaks.iter().filter(concerns).map(|pause| pause.spans.clone()).collect()
}

impl Observer for Watch {
    fn state(&mut self, now: Nanos, station: StationId, old: State, new: State) {
        self.tick(now);
        let post = &mut self.posts[station.ix()];
        let known = post.state;
        post.time[known as usize] += now - post.since;
        (post.since, post.state) = (now, new);
        if known != old {
            let name = self.name(station);
            self.fail("a state follows on the one before", || {
                format!("`{name}` leaves {old:?} at {now} ns, it was {known:?}")
            });
        }
        let stands = matches!(
            new,
            State::JamAutomatic
                | State::JamWaiting
                | State::JamClearing
                | State::DownWaiting
                | State::DownRepair
        );
        if self.posts[station.ix()].is_stopped && !stands {
            let name = self.name(station);
            self.fail("a stopped station is in a state of stops", || {
                format!("`{name}` is {new:?} at {now} ns")
            });
        }
    }

    fn level(&mut self, now: Nanos, place: PlaceId, old: u32, new: u32) {
        self.tick(now);
        let ix = place.ix();
        let book = &mut self.places[ix];
        let (known, capacity, is_bin) = (book.level, book.capacity, book.is_bin);
        book.level = new;
        if known != old {
            self.fail("a content follows on the one before", || {
                format!("place {ix} goes from {old} to {new} at {now} ns, it held {known}")
            });
        }
        if new > capacity && capacity != UNLIMITED && !is_bin && new > old {
            self.fail("a place never holds more than its capacity", || {
                format!("place {ix} holds {new} of {capacity} at {now} ns")
            });
        }
        if old > new {
            (0..old - new).for_each(|_| self.leaves(ix));
        } else if !is_bin {
            let part = self.handing.take().filter(|_| new - old == 1);
            (0..new - old).for_each(|_| self.places[ix].parts.push_back(part));
        }
    }

    fn note(&mut self, now: Nanos, station: StationId, note: Note, part: Option<&Part>) {
        self.tick(now);
        if let Some(carrier) = self.took_from.take()
            && self.changes != Some(station)
        {
            let name = self.names[carrier].clone();
            self.fail("nothing is taken from a stopped transporter", || format!("from `{name}` at {now} ns"));
        }
        match note {
            Note::Created => self.moves(now, station, true, "makes a part"),
            Note::Took => {
                self.n_taken += 1;
                self.moves(now, station, true, "takes a part");
                if let (Some(Some(expected)), Some(part)) = (self.taken.take(), part)
                    && expected != *part
                {
                    let name = self.name(station);
                    self.fail("parts leave a place in the order in which they entered", || {
                        format!("`{name}` takes {part:?} at {now} ns, the first was {expected:?}")
                    });
                }
            }
            Note::Exit(_) => {
                self.moves(now, station, false, "hands a part on");
                self.handing = part.copied();
            }
            Note::Left => {
                self.handing = None;
                self.n_left += 1;
            }
            Note::Stopped(_) => self.posts[station.ix()].is_stopped = true,
            Note::Cleared(_) => self.posts[station.ix()].is_stopped = false,
            Note::SensorOn | Note::SensorOff => {
                for n in 0..self.holds[station.ix()].len() {
                    let held = self.holds[station.ix()][n];
                    let post = &mut self.posts[held];
                    post.n_holds = if note == Note::SensorOn { post.n_holds + 1 } else { post.n_holds - 1 };
                }
            }
            // What a station takes back out of its own hand is not taken into work.
            Note::Lost | Note::Spilled => self.taken = None,
            Note::Restarted
            | Note::EmptyStroke
            | Note::Overfilled
            | Note::Tipped
            | Note::CheckFailed
            | Note::StrokeShort
            | Note::MadeNothing
            | Note::Called
            | Note::Attended
            | Note::DroppedBack => {}
        }
    }
}
