//! Box out and scrap box that fill up: a container takes parts until it is full, and is exchanged.
//!
//! *Box out*: the container at the end of a line, or one in which parts are set aside to be run again. *Scrap box*
//! with `holds`: the same for rejects. (A scrap box without `holds` never fills: [`super::scrap_box`].)
//!
//! **Levels** (ruling 22). The *full level* is `holds`, the *call level* the content at or above which the
//! exchange is called for, once for each container; left out it is the full level. **Timing.** Parts are taken in
//! no time, one after the other, until the box is full. The exchange is over when the attendant who was called has
//! done his work, or when the hauler comes, a lead time after the call; without an `exchange` in the very
//! moment of the call. Up to then the box goes on filling; from then on an empty one stands there. What is in the box
//! goes with it.
//!
//! **When full** the stations that give to it are held: they take no new part (default), even if that part
//! would go another way; what they have in work is finished and stays there. Or they *block at the exit*: they
//! stand only when one of their parts is for the box. Either way it ends with the exchange.
//!
//! **Set aside and run again.** With `empties_to` the content of the box is poured into a bin when it is
//! exchanged: a life of each part ends (ruling 9), attitudes are mixed anew (ruling 10), parts that a gauge has
//! rejected for a dimension stay a class of their own there. `repairs` gives, by condition, the chance that a
//! part set aside comes back good (`off size` for those rejected for a dimension); it is drawn part by part when
//! the box is emptied. Without `empties_to` a part has left the line when it is in the box.
//!
//! **State:** blocked while full, starved otherwise; held or off it takes nothing. An exchange is counted as a
//! container.

use super::Station;
use super::alarm::Alarm;
use super::amounts::{Amount, amount, kind_of};
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, check_kind};
use super::dice::Dice;
use super::scrap_box::ScrapBox;
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::{
    BinClass, Exit, Floor, Inlets, Job, Message, Note, Observer, Offer, Sampler, State, StationId,
};
use crate::part::{Nanos, Part};
use crate::scenario::{Level, OUT, level};
use crate::terms::kind::{Kind, unknown};
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{Chance, Spanned, Variant, chance, map_of, name, one_of, variants};
use crate::units::Dimension;

/// The word for parts rejected for a dimension.
const OFF_SIZE: &str = "off size";

/// Who exchanges a box.
#[derive(Clone, Debug)]
pub enum Exchange {
    /// An empty one is there in the moment of the call.
    AtOnce,
    /// A hauler, so long after the call.
    Hauler(Sampler),
    /// Attendants of this pool; the time that they work on it.
    ByHand(u16, Sampler),
}

/// What does not change of a box.
#[derive(Clone, Debug)]
pub struct BoxSetup {
    /// Where parts come from.
    pub inlets: Inlets,
    /// Stations that give to it.
    pub senders: Vec<StationId>,
    /// Where the content goes: out of the line part by part, or into a bin by the box.
    pub exit: Exit,
    /// Parts that it holds.
    pub full: u32,
    /// Content at which the exchange is called.
    pub call: u32,
    /// Who exchanges it.
    pub exchange: Exchange,
    /// Whether senders are held while it is full (otherwise they block).
    pub holds_senders: bool,
    /// By kind and condition, the chance to be repaired; and of parts rejected for a dimension.
    pub repairs: Vec<Vec<f64>>,
    /// The same for parts rejected for a dimension.
    pub repairs_off_size: f64,
}

/// State of a box.
#[derive(Clone, Debug)]
pub struct PartBox {
    me: StationId,
    alarm: Alarm,
    hauler: Alarm,
    setup: Box<BoxSetup>,
    luck: Dice,
    /// Parts in it.
    content: u32,
    /// The same by class, if they are to be run again.
    classes: Vec<(BinClass, u32)>,
    called: bool,
    comes_at: Nanos,
    /// An attendant has done the exchange since it was settled last.
    exchanged: bool,
    holding: bool,
}

impl PartBox {
    /// An empty box.
    pub fn new(me: StationId, alarm: Alarm, hauler: Alarm, setup: BoxSetup, luck: Dice) -> Self {
        PartBox {
            me,
            alarm,
            hauler,
            setup: Box::new(setup),
            luck,
            content: 0,
            classes: Vec::new(),
            called: false,
            comes_at: Nanos::MAX,
            exchanged: false,
            holding: false,
        }
    }

    pub(super) fn seed(&mut self, seed: u64, replication: u64) {
        self.luck.seed(seed, replication);
    }

    /// Parts that have not left the line.
    pub(super) fn content(&self) -> usize {
        if self.setup.exit == Exit::Leave { 0 } else { self.content as usize }
    }

    pub(super) fn fire(&mut self, which: u8) {
        if which == 0 { self.alarm.spent() } else { self.hauler.spent() }
    }

    pub(super) fn settle<O: Observer>(&mut self, floor: &mut Floor<O>) {
        if std::mem::take(&mut self.exchanged) || self.comes_at <= floor.now {
            self.empty(floor);
        }
        let mut due = Nanos::MAX;
        if floor.may_start(self.me) && self.content < self.setup.full {
            match floor.offer(self.me, &self.setup.inlets) {
                Offer::Ready(place) => {
                    let part = floor.take(self.me, place);
                    self.put_in(floor, &part);
                    // The next one in another settling, so that moves without any time are bounded.
                    floor.dirty.insert(self.me.0);
                }
                Offer::Due(at) => due = at,
                Offer::Nothing => {}
            }
        }
        if !self.called && self.content >= self.setup.call {
            self.call(floor);
        }
        self.alarm.set(floor, due);
        self.hauler.set(floor, self.comes_at);
        self.hold_senders(floor);
        if self.content >= self.setup.full && floor.may_start(self.me) {
            floor.set_state(self.me, State::Blocked);
        } else {
            floor.set_idle(self.me, false);
        }
    }

    fn put_in<O: Observer>(&mut self, floor: &mut Floor<O>, part: &Part) {
        self.content += 1;
        if self.setup.exit == Exit::Leave {
            let gone = floor.hand_over(self.me, 0, Exit::Leave, part);
            assert!(gone, "there is always room outside of the line");
            return;
        }
        let class = BinClass::of(part);
        match self.classes.iter_mut().find(|(known, _)| *known == class) {
            Some((_, n)) => *n += 1,
            None => self.classes.push((class, 1)),
        }
    }

    fn call<O: Observer>(&mut self, floor: &mut Floor<O>) {
        self.called = true;
        match &self.setup.exchange {
            Exchange::AtOnce => self.empty(floor),
            Exchange::Hauler(lead) => {
                let lead = lead.draw_ns(self.luck.stream());
                self.comes_at = floor.now.saturating_add(lead);
                if lead == 0 {
                    self.empty(floor);
                }
            }
            Exchange::ByHand(pool, time) => {
                let time = time.draw_ns(self.luck.stream());
                floor.call(*pool, self.me, Job::Task(0, time));
            }
        }
    }

    /// The box is exchanged for an empty one.
    fn empty<O: Observer>(&mut self, floor: &mut Floor<O>) {
        (self.content, self.called, self.comes_at) = (0, false, Nanos::MAX);
        floor.note(self.me, Note::Tipped, None);
        floor.dirty.insert(self.me.0);
        let Exit::Store(bin) = self.setup.exit else { return };
        for (class, n) in std::mem::take(&mut self.classes) {
            let repaired = self.repaired(class, n);
            let good = BinClass { kind: class.kind, condition: 0, off_size: false };
            for (class, n) in [(class, n - repaired), (good, repaired)] {
                let part = Part::new(class.kind, class.condition, 0, floor.now);
                for _ in 0..n {
                    floor.note(self.me, Note::Exit(0), Some(&part));
                }
                floor.pour(bin, class, n);
            }
        }
    }

    /// How many of `n` parts of a class are repaired.
    fn repaired(&mut self, class: BinClass, n: u32) -> u32 {
        let chance = if class.off_size {
            self.setup.repairs_off_size
        } else {
            self.setup.repairs[usize::from(class.kind)][usize::from(class.condition)]
        };
        let luck = self.luck.stream();
        (0..n).map(|_| u32::from(luck.chance(chance))).sum()
    }

    /// Holds the senders while the box is full, and lets them go when it no longer is.
    fn hold_senders<O: Observer>(&mut self, floor: &mut Floor<O>) {
        let holds = self.setup.holds_senders && self.content >= self.setup.full;
        if holds == self.holding {
            return;
        }
        self.holding = holds;
        for &sender in &self.setup.senders {
            if holds { floor.hold(sender) } else { floor.release(sender) }
        }
    }

    pub(super) fn message(&mut self, message: Message) {
        match message {
            // The hauler does not stand with the box.
            Message::Thawed(stood) => self.alarm.shift(stood),
            Message::Attended(_) => self.exchanged = true,
            Message::Redirect(_) => {}
        }
    }
}

#[derive(Debug, Clone)]
enum ExchangeSpec {
    Hauler(Law),
    ByHand(Spanned<String>, Law),
}

const EXCHANGES: &[Variant<ExchangeSpec>] = &[
    Variant { word: "by hand", doc: "An attendant is called and exchanges it", read: read_by_hand },
    Variant {
        word: "hauler",
        doc: "A hauler brings an empty one a lead time after the call",
        read: read_hauler,
    },
];

fn read_by_hand(object: &mut Object<'_>) -> ExchangeSpec {
    let by = object.required("by", name(), "The attendants who do it");
    let time = object.required("time", law(Dimension::Time), "Time for which an exchange keeps an attendant");
    ExchangeSpec::ByHand(by, time)
}

fn read_hauler(object: &mut Object<'_>) -> ExchangeSpec {
    let lead = object.required(
        "lead",
        law(Dimension::Time).usual("3 min", "20 min", "3 to 20 min after the call"),
        "Time from the call until the box is exchanged; with `by`, from the time when a hauler sets out",
    );
    let by = object.maybe(
        "by",
        name(),
        "The pool of haulers (among the attendants) that does it; left out: there is always one",
    );
    match by {
        Some(by) => ExchangeSpec::ByHand(by, lead),
        None => ExchangeSpec::Hauler(lead),
    }
}

/// A box as the file states it.
#[derive(Debug, Clone)]
pub struct BoxSpec {
    /// It is a scrap box.
    scrap: bool,
    part: Option<Spanned<String>>,
    holds: Option<Spanned<Amount>>,
    call_level: Option<Spanned<Level>>,
    exchange: Option<ExchangeSpec>,
    blocks: bool,
    empties_to: Option<Spanned<String>>,
    repairs: Vec<(Spanned<String>, Chance)>,
}

/// Reads a box out.
pub fn read_box_out(object: &mut Object<'_>) -> BoxSpec {
    let holds = object.required(
        "holds",
        amount(),
        "What it holds when full, as a number of parts, a weight or a volume",
    );
    read_common(object, false, Some(holds))
}

/// Reads a scrap box.
pub fn read_scrap_box(object: &mut Object<'_>) -> BoxSpec {
    let holds = object.maybe(
        "holds",
        amount(),
        "What it holds when full, as a number of parts, a weight or a volume; left out: it never fills",
    );
    read_common(object, true, holds)
}

fn read_common(object: &mut Object<'_>, scrap: bool, holds: Option<Spanned<Amount>>) -> BoxSpec {
    const WHEN_FULL: &[(&str, bool, &str)] = &[
        ("senders take no new part", false, "the stations that give to it are held until it is exchanged"),
        ("senders block", true, "they stand only when one of their parts is for the box"),
    ];
    let call = object.maybe(
        "call_level",
        level(),
        "Content, in parts or as a share of `holds`, at or above which the exchange is called; left out: when full",
    );
    let call_place = object.place_of("call_level");
    let spec = BoxSpec {
        scrap,
        part: object.maybe(
            "part",
            name(),
            "The part kind whose mass and density turn weights and volumes into numbers; left out: the first one of the file",
        ),
        holds,
        call_level: call.map(|value| Spanned { value, place: call_place }),
        exchange: object.maybe(
            "exchange",
            variants("exchange", "how", EXCHANGES),
            "Who exchanges it; left out: an empty one is always there",
        ),
        blocks: object.optional(
            "when_full",
            one_of(WHEN_FULL),
            "senders take no new part",
            "What a full box does to the stations that give to it",
        ),
        empties_to: object.maybe(
            "empties_to",
            name(),
            "The bin into which it is emptied when it is exchanged, to be run again; left out: its parts have left the line",
        ),
        repairs: object.optional(
            "repairs",
            map_of(chance()),
            "{}",
            "By condition (`off size`: rejected for a dimension), the chance that a part set aside is put right before it is run again",
        ),
    };
    spec.resolve(object);
    spec
}

impl BoxSpec {
    fn resolve(&self, object: &mut Object<'_>) {
        if !object.sound(&["holds", "call_level", "exchange", "empties_to", "repairs"]) {
            return;
        }
        if self.holds.is_none() {
            for key in ["call_level", "exchange", "empties_to"] {
                if object.has(key) {
                    let problem =
                        Problem::new(code::BAD_CONNECTION, "a box that never fills is not exchanged");
                    object.fail(key, problem.help("give `holds`, or take it out"));
                }
            }
        }
        if self.empties_to.is_none() && object.has("repairs") {
            let problem = Problem::new(code::BAD_CONNECTION, "only parts that are run again are put right");
            object.fail("repairs", problem.help("give `empties_to`, or take it out"));
        }
    }

    fn full(&self, kinds: &[Kind]) -> Option<u32> {
        let kind = kind_of(kinds, self.part.as_ref())?;
        self.holds.as_ref()?.value.parts(kind)
    }

    fn call(&self, full: u32) -> u32 {
        match self.call_level.as_ref().map(|level| level.value) {
            None => full,
            Some(Level::Parts(parts)) => parts,
            Some(Level::Share(share)) => (share * f64::from(full)).round() as u32,
        }
    }

    fn chance_to_repair(&self, condition: &str) -> f64 {
        let found = self.repairs.iter().find(|(name, _)| name.value == condition);
        found.map_or(0.0, |(_, chance)| chance.value())
    }
}

impl Blueprint for BoxSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        let to = match (&self.empties_to, self.scrap) {
            (Some(name), _) => name.clone(),
            (None, false) => Spanned { value: OUT.to_owned(), ..Spanned::default() },
            (None, true) => return Vec::new(),
        };
        vec![ExitSpec { key: "empties_to", to: To::Named(to) }]
    }

    fn recirculates(&self) -> bool {
        self.empties_to.is_some()
    }

    fn gives_to_bin(&self) -> bool {
        self.empties_to.is_some()
    }

    fn pools(&self) -> Vec<Spanned<String>> {
        match &self.exchange {
            Some(ExchangeSpec::ByHand(by, _)) => vec![by.clone()],
            Some(ExchangeSpec::Hauler(_)) | None => Vec::new(),
        }
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        check_kind(kinds, self.part.as_ref(), problems);
        let Some(kind) = kind_of(kinds, self.part.as_ref()) else { return };
        if let Some(holds) = &self.holds {
            holds.value.check(&holds.place, kind, "an amount by weight or volume", problems);
            let full = holds.value.parts(kind);
            if full == Some(0) {
                let problem = Problem::new(code::OUT_OF_RANGE, "not even one part fits into the box");
                problems.error(&holds.place, problem);
            }
            if let (Some(full), Some(call)) = (full, &self.call_level)
                && !(1..=full).contains(&self.call(full))
            {
                let message = format!("the exchange is called at {} parts of {full}", self.call(full));
                let problem = Problem::new(code::OUT_OF_RANGE, message);
                problems.error(&call.place, problem.expected("one part at least, and no more than it holds"));
            }
        }
        let mut known: Vec<&str> =
            kinds.iter().flat_map(|kind| kind.conditions.iter().skip(1)).map(String::as_str).collect();
        known.push(OFF_SIZE);
        for (name, _) in self.repairs.iter().filter(|(name, _)| !known.contains(&name.value.as_str())) {
            problems.error(&name.place, unknown("condition", &name.value, &known));
        }
    }

    /// Parts that are put right go on as good ones; an attendant is kept by each exchange.
    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        traffic.places = f64::INFINITY;
        if let (Some(ExchangeSpec::ByHand(_, time)), Some(full)) = (&self.exchange, self.full(traffic.kinds))
        {
            traffic.attendance_s = vec![time.mean() / f64::from(self.call(full).max(1))];
        }
        let mut first = 0;
        for kind in traffic.kinds {
            for (condition, name) in kind.conditions.iter().enumerate().skip(1) {
                let chance = self.chance_to_repair(name);
                for attitude in 0..kind.attitudes.len() {
                    let class = first + condition * kind.attitudes.len() + attitude;
                    if chance > 0.0 {
                        let rows = [(0, class, 1.0 - chance), (0, first + attitude, chance)];
                        traffic.routes[class] = rows.into_iter().filter(|(.., share)| *share > 0.0).collect();
                    }
                }
            }
            first += kind.n_classes();
        }
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let alarm = site.alarm();
        let Some(full) = self.full(site.kinds) else {
            return Station::ScrapBox(ScrapBox::new(site.me, alarm, site.inlets.clone()));
        };
        let law = |law: &Law| Sampler::new(law, 1.0, site.method);
        let exchange = match &self.exchange {
            None => Exchange::AtOnce,
            Some(ExchangeSpec::Hauler(lead)) => Exchange::Hauler(law(lead)),
            Some(ExchangeSpec::ByHand(_, time)) => Exchange::ByHand(site.pools[0], law(time)),
        };
        let of_kind = |kind: &Kind| {
            let chances = kind.conditions.iter().enumerate();
            chances.map(|(ix, name)| if ix == 0 { 0.0 } else { self.chance_to_repair(name) }).collect()
        };
        let setup = BoxSetup {
            inlets: site.inlets.clone(),
            senders: site.senders.clone(),
            exit: site.exits.first().copied().unwrap_or(Exit::Leave),
            full: full.max(1),
            call: self.call(full).max(1),
            exchange,
            holds_senders: !self.blocks,
            repairs: site.kinds.iter().map(of_kind).collect(),
            repairs_off_size: self.chance_to_repair(OFF_SIZE),
        };
        let (hauler, luck) = (site.free_alarm(), site.dice("box"));
        Station::PartBox(PartBox::new(site.me, alarm, hauler, setup, luck))
    }
}

#[cfg(test)]
mod tests;
