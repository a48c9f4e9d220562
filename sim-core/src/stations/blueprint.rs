//! What a scenario's station has to say to the rest: where it gives to, what its body is, how it is built.
//!
//! A blueprint is a station as the file states it, checked in itself. The network asks it for its exits and
//! its body, connects these by name, and has it built on its site.

use super::Station;
use super::alarm::Alarm;
use super::dice::Dice;
use super::recipe::RecipeSpec;
use super::tools::Classes;
use crate::diag::{Diagnostics, Place as FilePlace, Problem, code};
use crate::kernel::sampler::Method;
use crate::kernel::{Exit, Inlets, Moment, Place, PlaceId, Sampler, StationId, TimerId};
use crate::terms::kind::{Kind, must_be_one_of};
use crate::terms::law::Law;
use crate::terms::models::Models;
use crate::terms::stops::{MomentWord, StopSpec};
use crate::text::fields::Object;
use crate::text::forms::{Spanned, name};
use std::fmt::Debug;

/// Where an exit leads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum To {
    /// To the next station of the file.
    Next,
    /// To the station with this name; `out` leaves the line.
    Named(Spanned<String>),
}

/// One exit of a station. Exit 0 is the way on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ExitSpec {
    /// The key in the file, such as `to` or `rejects_to`.
    pub key: &'static str,
    /// Where it leads.
    pub to: To,
}

/// Reads the key `to`: where the station gives to.
pub fn read_to(object: &mut Object<'_>) -> To {
    let to = object.maybe(
        "to",
        name(),
        "The station that comes next, or `out`; left out: the next one in the file (the last one: `out`)",
    );
    to.map_or(To::Next, To::Named)
}

/// A station as the file states it.
pub trait Blueprint: Debug + Send + Sync {
    /// Its exits, the way on first. A station without exits ends the line.
    fn exits(&self) -> Vec<ExitSpec>;

    /// How many of its exits lead on, the first ones: those that stand under the same key as the first.
    fn ways_on(&self) -> usize {
        let exits = self.exits();
        exits.iter().take_while(|exit| exit.key == exits[0].key).count()
    }

    /// Whether it takes parts from others.
    fn takes(&self) -> bool {
        true
    }

    /// The kind of part that it brings into the line, if it is a source.
    fn brings(&self, _kinds: &[Kind]) -> Option<u8> {
        None
    }

    /// Whether a primed line starts with its body full of good parts (tracks).
    fn starts_full(&self) -> bool {
        false
    }

    /// Whether it needs no feeder: it holds parts of its own from the start, or never runs out.
    fn is_stocked(&self) -> bool {
        false
    }

    /// Whether it brings parts back to an earlier point of the line: such edges are left out of the ranks.
    fn recirculates(&self) -> bool {
        false
    }

    /// Whether somebody has to take from it: it gives nothing by itself (bins).
    fn needs_a_taker(&self) -> bool {
        false
    }

    /// Whether its timers rank after the attendants (dumpers).
    fn ranks_last(&self) -> bool {
        false
    }

    /// Names of the stations that feed its inlets, where the file tells inlets apart.
    fn named_inlets(&self) -> Vec<Spanned<String>> {
        Vec::new()
    }

    /// The place that is the station's body (tracks, belts, bins); `None` for stations that take by
    /// themselves.
    fn body(&self, _kinds: &[Kind], _name: &str) -> Option<Place> {
        None
    }

    /// Stops that belong to insides of the station, with the moment at which they strike.
    fn inner_stops(&self) -> Vec<(StopSpec, Moment)> {
        Vec::new()
    }

    /// Names of attendants that it calls by itself (hauling, refilling).
    fn pools(&self) -> Vec<Spanned<String>> {
        Vec::new()
    }

    /// Moments at which its jams by part can strike, and why not at others.
    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        (MomentWord::ALL, "")
    }

    /// Whether a part that jams here can leave through another exit than its own (`then` of a jam).
    fn redirects_jammed_parts(&self) -> bool {
        false
    }

    /// Whether a jam by a clock has hold of one part, which then can leave through another exit.
    fn clock_jams_hold_a_part(&self) -> bool {
        true
    }

    /// Parts that it takes at once: for each of its named inlets, or one number for all it takes from.
    fn takes_at_once(&self) -> Vec<u32> {
        Vec::new()
    }

    /// Parts that it takes at a time if they are there, on the mean, where it does with fewer as well; none otherwise.
    fn takes_up_to(&self, _kinds: &[Kind]) -> Option<f64> {
        None
    }

    /// Whether all that it takes at a time is handed on at the same instant.
    fn releases_at_once(&self) -> bool {
        false
    }

    /// Finished parts that can stand in it at once for the next station to take.
    fn stand_at_most(&self) -> u32 {
        1
    }

    /// Parts for which the place beyond must have room at once.
    fn room_at_once(&self) -> u32 {
        1
    }

    /// Whether its jams by part may depend on the condition of the part (not where they come by the container).
    fn jams_by_condition(&self) -> bool {
        true
    }

    /// Whether a hold or a break freezes it, instead of only keeping it from starting (lifts and belts).
    fn freezes(&self) -> bool {
        false
    }

    /// Whether it has a speed that a sensor can lower (paths, lifts, belts and live tracks).
    fn has_speed(&self) -> bool {
        false
    }

    /// Whether breaks leave it alone (gravity tracks).
    fn ignores_breaks(&self) -> bool {
        false
    }

    /// Whether what its way on leads to must be a bin (it pours).
    fn gives_to_bin(&self) -> bool {
        false
    }

    /// Whether it fills the bin that it gives to up to its capacity, which the bin then must have.
    fn fills_up(&self) -> bool {
        false
    }

    /// Whether all that it takes from must be bins (it lifts parts out of bulk).
    fn takes_from_bin(&self) -> bool {
        false
    }

    /// The key of a level that is a share of a capacity, and of whose.
    fn share_of_capacity(&self) -> Option<(&'static str, Whose)> {
        None
    }

    /// Whether it takes all that is there in no time, however much that is.
    fn takes_without_limit(&self) -> bool {
        false
    }

    /// Number of inlets whose lack is told apart (machines with several), else 0.
    fn n_told_inlets(&self) -> u32 {
        0
    }

    /// Its recipes by product model, if it has any.
    fn recipes(&self) -> Option<&RecipeSpec> {
        None
    }

    /// Whether all pieces of a recipe for one exit are given together, as a batch.
    fn gives_batches(&self) -> bool {
        false
    }

    /// Most parts that come to an exit together; the pieces of a recipe aside.
    fn lands_together(&self) -> u32 {
        1
    }

    /// The reach that it shares with others of the same name.
    fn reach(&self) -> Option<&Spanned<String>> {
        None
    }

    /// The exit by which clumps leave that never break up by themselves, and where the file says so.
    fn exit_of_lasting_clumps(&self) -> Option<(u8, &FilePlace)> {
        None
    }

    /// Checks against the part kinds; problems go to `problems`.
    fn check(&self, _kinds: &[Kind], _problems: &mut Diagnostics) {}

    /// What it does to the flow of parts, for the balance.
    fn traffic(&self, traffic: &mut TrafficSite<'_>);

    /// Builds the running station.
    fn build(&self, site: &mut Site<'_>) -> Station;
}

/// What the balance tells a station, and what the station tells the balance: see [`crate::balance`].
#[derive(Debug)]
pub struct TrafficSite<'a> {
    /// Part kinds.
    pub kinds: &'a [Kind],
    /// Numbers of classes.
    pub classes: &'a Classes,
    /// What becomes of a part of each class: rows of (exit, class it leaves in, share). Starts as: all go on
    /// through exit 0 as they came.
    pub routes: Vec<Routes>,
    /// What else it may do with a part, as room and spacing have it. Left empty: nothing.
    pub other_ways: Vec<OtherWay>,
    /// Behind which classes a part can come too close; left empty: behind none.
    pub close_behind: Vec<bool>,
    /// There are more other ways than are counted.
    pub has_uncounted_ways: bool,
    /// Mean time for which a part of each class keeps one of the places of the station, s. Starts as 0.
    pub seconds: Vec<f64>,
    /// Parts handled at once. Starts as 1.
    pub places: f64,
    /// Of these times what it waits for loads of its own, s each time that its places are filled. Starts as 0.
    pub loading_s: f64,
    /// How equal ones work that deliver strictly in turn. Starts as at once.
    pub turns: Turns,
    /// Time for which it uses the reach that it shares, s each time that its places are filled. Starts as 0.
    pub reach_s: f64,
    /// How much of these times is sure, whatever the parts before and after: below 1 where moves can be spared, or more
    /// handled at once than on the mean. Starts as 1.
    pub sure: f64,
    /// What it does for parts of each side, if it goes from side to side.
    pub sides: Option<SidesTraffic>,
    /// Whether it runs on when its way on is full, and what is surplus falls back to where it was taken from.
    pub spills: bool,
    /// Whether it holds any number of parts: what is beyond it holds up nothing that is ahead.
    pub holds_any: bool,
    /// Parts that it brings into the line, if it is a source.
    pub source: Option<SourceTraffic>,
    /// How it shares the flow among its exits 0, 1, 2 ..., if it does so by room and not by class.
    pub split: Split,
    /// Parts of each inlet in one product (machines with several inlets).
    pub per_product: Vec<f64>,
    /// Fewest and most parts of each inlet in one product. Left empty: always the same.
    pub per_product_bounds: Vec<(f64, f64)>,
    /// For each of [`Blueprint::inner_stops`] and each class of entering parts: how many of them it can strike,
    /// from 0 to 1. Left empty: all parts of all classes come by.
    pub strikes: Vec<Vec<f64>>,
    /// What each of [`Blueprint::pools`] is called for. Left empty: nothing.
    pub attendance: Vec<Attendance>,
    /// Product models.
    pub models: &'a Models,
    /// Stations that feed it, and how many equal ones each is.
    pub feeders: Vec<(String, u32)>,
    /// Jams and breakdowns of the station as a whole.
    pub stops: &'a [StopSpec],
    /// The routes have in them where jams send their parts.
    pub routes_hold_jams: bool,
    /// Pieces of a batch by the station that gets it.
    pub batches: &'a [BatchTraffic],
    /// Most parts that come to it together.
    pub together: u32,
    /// Parts that each station that feeds it holds, if there is a limit.
    pub rooms: Vec<(String, Option<u32>)>,
    /// Most parts that can be before one of its equals to be taken at a time.
    pub most_before: f64,
    /// Most parts that it can hand on through exit 0 at one time.
    pub most_beyond: f64,
    /// For each exit, whether what leaves there can come back on a way without a bin. Left empty: it can't.
    pub comes_back: Vec<bool>,
    /// The run of a product sequence that is looked at.
    pub run: Option<Run>,
}

/// Whose capacity a level is a share of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whose {
    /// Of its own.
    Own,
    /// Of what it takes from.
    Before,
    /// Of what it gives to.
    Next,
}

/// What becomes of the parts of a class: (exit, class in which they leave, share).
pub type Routes = Vec<(u8, usize, f64)>;

/// Something else that a station may do with a part than its routes say.
#[derive(Debug, Clone)]
pub struct OtherWay {
    /// Routes by class.
    pub routes: Vec<Routes>,
    /// What would go on leaves through another exit: only when there is no room for it.
    pub runs_over: bool,
    /// The part has come too close behind another one.
    pub too_close: bool,
    /// Tools do with it what they do on a crowded path.
    pub crowded: bool,
}

/// A run of a product sequence, for the balance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Run {
    /// The kind of the first run: what brings it goes over from run to run.
    pub first: u8,
    /// The kind of this run.
    pub kind: u8,
}

impl Run {
    /// What a source brings during the run that brings `kind` in the first one.
    pub fn brought(self, kind: u8) -> u8 {
        if kind == self.first { self.kind } else { kind }
    }
}

impl<'a> TrafficSite<'a> {
    /// Asks nothing yet: every part goes on through exit 0 as it came, in no time.
    pub fn new(kinds: &'a [Kind], classes: &'a Classes, models: &'a Models) -> Self {
        TrafficSite {
            kinds,
            classes,
            models,
            feeders: Vec::new(),
            stops: &[],
            routes_hold_jams: false,
            batches: &[],
            together: 1,
            rooms: Vec::new(),
            most_before: f64::INFINITY,
            most_beyond: f64::INFINITY,
            comes_back: Vec::new(),
            run: None,
            routes: (0..classes.len()).map(|class| vec![(0, class, 1.0)]).collect(),
            other_ways: Vec::new(),
            close_behind: Vec::new(),
            has_uncounted_ways: false,
            seconds: vec![0.0; classes.len()],
            sure: 1.0,
            sides: None,
            spills: false,
            holds_any: false,
            places: 1.0,
            loading_s: 0.0,
            turns: Turns::AtOnce,
            reach_s: 0.0,
            source: None,
            split: Split::ByClass,
            per_product: Vec::new(),
            per_product_bounds: Vec::new(),
            strikes: Vec::new(),
            attendance: Vec::new(),
        }
    }

    /// Number of stations that feed it, one at least.
    pub fn n_feeders(&self) -> u32 {
        self.feeders.iter().map(|(_, count)| count).sum::<u32>().max(1)
    }

    /// What a source brings that is stated to bring the part with this name (left out: the first one).
    pub fn brought(&self, part: Option<&Spanned<String>>) -> u8 {
        let stated = kind_named(self.kinds, part);
        self.run.map_or(stated, |run| run.brought(stated))
    }

    /// The part kind of the run, where there is a product sequence.
    pub fn kind_of_run(&self) -> Option<&'a Kind> {
        self.run.map(|run| &self.kinds[usize::from(run.kind)])
    }

    /// Pieces that are taken at once from the station with this name, as a batch: on the mean, at least and at most. Where
    /// they come one by one it is one if they are wanted as fast as they come, and all that there is room for if not.
    pub fn batch(&self, from: &str) -> (f64, (f64, f64)) {
        let of = self.batches.iter().find(|batch| batch.to == from);
        let mean = of.map_or(1.0, |batch| batch.mean);
        match of {
            Some(batch) if batch.fewest > 1 => (mean, (mean, mean)),
            Some(_) | None => {
                let room =
                    self.rooms.iter().find(|(name, _)| name == from).map_or(Some(1), |(_, room)| *room);
                (mean, (1.0, room.map_or(f64::INFINITY, f64::from).max(mean)))
            }
        }
    }
}

/// Pieces that are given together, as a batch.
#[derive(Debug, Clone, PartialEq)]
pub struct BatchTraffic {
    /// The station that gets them.
    pub to: String,
    /// How many on the mean.
    pub mean: f64,
    /// How many at least.
    pub fewest: u32,
}

/// A station whose time depends on the side on which it stood: how it sends parts. How often it goes across hangs on the
/// order in which parts come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SidesTraffic {
    /// Exits that are sides: so many, the first ones.
    pub exits: u8,
    /// Time of a part for the side where it stands, s.
    pub same_s: f64,
    /// Time of a part for another side, s.
    pub other_s: f64,
}

/// What a station calls attendants for, apart from its stops.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Attendance {
    /// Calls for each part handled.
    pub calls: f64,
    /// Time of the work of a call, without the walk, s.
    pub work_s: f64,
}

/// What a source brings.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceTraffic {
    /// Which kind.
    pub kind: u8,
    /// Most parts per second; infinite if it never runs out.
    pub most_per_s: f64,
    /// Whether it brings that many whether or not they are wanted (streams).
    pub is_driven: bool,
    /// Whether it brings parts only when the content of the store beyond it is low.
    pub waits_for_call: bool,
}

/// How equal stations work that deliver strictly in turn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turns {
    /// All at once; what one has done waits for its turn.
    AtOnce,
    /// One at a time: none starts before its turn.
    OneByOne,
    /// Between these two, as chance has it.
    Between,
}

/// How a station shares its flow among exits of the same sort.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Split {
    /// By class only: the rows say it all.
    #[default]
    ByClass,
    /// By fixed shares.
    Fixed(Vec<f64>),
    /// The first takes what it can, the next one the rest, and so on.
    FillFirst,
    /// Evenly as long as all have room, then by what each can take.
    Even,
    /// By what has been taken already (the emptiest, who has called for longest): as good as evenly where all are alike, in
    /// any way where they are not.
    Any,
    /// By these shares as long as all have room, then by what each can take.
    Ratio(Vec<f64>),
}

impl Split {
    /// Whether the shares stand in the file, whatever room there is.
    pub fn is_stated(&self) -> bool {
        matches!(self, Split::ByClass | Split::Fixed(_))
    }
}

/// What the network gives to a station that is being built.
#[derive(Debug)]
pub struct Site<'a> {
    /// Its number.
    pub me: StationId,
    /// Its name.
    pub name: &'a str,
    /// Part kinds.
    pub kinds: &'a [Kind],
    /// Numbers of classes.
    pub classes: &'a Classes,
    /// Places it takes from, joined as the file says.
    pub inlets: Inlets,
    /// The place from which each named inlet takes, in the order of [`Blueprint::named_inlets`].
    pub named_inlets: Vec<Inlets>,
    /// Stations that give to it.
    pub senders: Vec<StationId>,
    /// Its exits, in the order of [`Blueprint::exits`].
    pub exits: Vec<Exit>,
    /// Its body.
    pub body: Option<PlaceId>,
    /// Pools of attendants, in the order of [`Blueprint::pools`].
    pub pools: Vec<u16>,
    /// Product models.
    pub models: &'a Models,
    /// Number of the reach that it shares.
    pub reach: Option<u16>,
    /// The station of the file that feeds each of its inlets.
    pub feeders: Vec<&'a str>,
    /// How variates are drawn.
    pub method: Method,
    pub(crate) timers: &'a [TimerId],
    /// For each timer asked for: whether it stands still with the station.
    pub(crate) asked: Vec<bool>,
    pub(crate) watch: Vec<PlaceId>,
    pub(crate) wakes: Vec<(PlaceId, u32)>,
}

/// Most timers that one station may ask for.
pub const STATION_TIMERS: usize = 4;

impl Site<'_> {
    /// The next timer of the station. Timers are numbered `which` = 0, 1, 2 ... in the order of asking, and
    /// stand still while the station does.
    ///
    /// # Panics
    /// If a station asks for more than [`STATION_TIMERS`].
    pub fn alarm(&mut self) -> Alarm {
        self.ask(true)
    }

    /// As [`Site::alarm`], but the timer goes on while the station stands.
    pub fn free_alarm(&mut self) -> Alarm {
        self.ask(false)
    }

    fn ask(&mut self, stands: bool) -> Alarm {
        let timer = self.timers[self.asked.len()];
        self.asked.push(stands);
        Alarm::new(timer)
    }

    /// A compiled law.
    pub fn law(&self, law: &Law) -> Sampler {
        Sampler::new(law, 1.0, self.method)
    }

    /// Luck for one purpose.
    pub fn dice(&self, purpose: &str) -> Dice {
        Dice::new(self.name, purpose)
    }

    /// Has the station look (see [`Station::look`]) after every change of content of `place`.
    pub fn watch(&mut self, place: PlaceId) {
        self.watch.push(place);
    }

    /// Has the station marked by entries into `place` as long as it holds at most `level` parts (it takes
    /// several at once).
    pub fn wake_until(&mut self, place: PlaceId, level: u32) {
        self.wakes.push((place, level));
    }

    /// Index of the part kind with this name; the first one without a name. Checked before.
    pub fn kind(&self, name: Option<&Spanned<String>>) -> u8 {
        kind_named(self.kinds, name)
    }
}

/// Reports a part kind that is not known.
pub fn check_kind(kinds: &[Kind], name: Option<&Spanned<String>>, problems: &mut Diagnostics) {
    if let Some(name) = name {
        let names: Vec<&str> = kinds.iter().map(|kind| kind.name.as_str()).collect();
        must_be_one_of(name, "part", &names, problems);
    }
}

/// The number of the kind with this name; the first without a name.
pub fn kind_named(kinds: &[Kind], name: Option<&Spanned<String>>) -> u8 {
    name.and_then(|name| kinds.iter().position(|kind| kind.name == name.value)).unwrap_or(0) as u8
}

/// Reads which part a source brings.
pub fn read_part(object: &mut Object<'_>) -> Option<Spanned<String>> {
    object.maybe("part", name(), "The part kind that it brings; left out: the first one of the file")
}

/// The problem of a quantity of a part that is needed here and was not given.
pub fn part_needs(place: &FilePlace, kind: &Kind, key: &str, why: &str, problems: &mut Diagnostics) {
    if kind.misread.contains(&key) {
        return;
    }
    problems.error(
        place,
        Problem::new(code::MISSING_KEY, format!("{why} needs the `{key}` of part `{}`", kind.name))
            .help(format!("give `{key}` at the part")),
    );
}

/// The moment that a word of the file means.
pub(crate) fn moment(word: MomentWord) -> Moment {
    match word {
        MomentWord::Start => Moment::Start,
        MomentWord::End => Moment::End,
        MomentWord::After => Moment::After,
    }
}
