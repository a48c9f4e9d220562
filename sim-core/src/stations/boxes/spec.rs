//! Boxes: what the file says of them.

use super::{BoxSetup, Exchange, OFF_SIZE, PartBox, Station};
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::{Exit, Sampler};
use crate::scenario::{Level, OUT, level};
use crate::stations::amounts::{Amount, amount, kind_of};
use crate::stations::blueprint::{Attendance, Blueprint, ExitSpec, Site, To, TrafficSite, check_kind};
use crate::stations::errand::{self, Errand};
use crate::stations::scrap_box::ScrapBox;
use crate::terms::kind::{Kind, must_be_one_of};
use crate::terms::law::Law;
use crate::terms::stops::MomentWord;
use crate::text::fields::Object;
use crate::text::forms::{Chance, Spanned, Variant, chance, map_of, more_helps, name, one_of, variants};

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
    exchange_of(errand::read_by_hand(
        object,
        "The attendants who do it",
        "Time for which an exchange keeps an attendant",
    ))
}

fn read_hauler(object: &mut Object<'_>) -> ExchangeSpec {
    exchange_of(errand::read_hauler(
        object,
        "Time from the call until the box is exchanged; with `by`, from the time when a hauler sets out",
        "The pool of haulers (among the attendants) that does it; left out: there is always one",
    ))
}

fn exchange_of(errand: Errand) -> ExchangeSpec {
    match errand.by {
        Some(by) => ExchangeSpec::ByHand(by, errand.time),
        None => ExchangeSpec::Hauler(errand.time),
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
    // A box whose size could not be read is compared with nothing.
    let holds = object.sound(&["holds"]).then_some(holds);
    read_common(object, false, holds)
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
            more_helps(map_of(chance())),
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
    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        (&[], "a box handles no single part")
    }

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
        self.repairs.iter().for_each(|(name, _)| must_be_one_of(name, "condition", &known, problems));
    }

    /// Parts that are put right go on as good ones; an attendant is kept by each exchange.
    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        traffic.places = f64::INFINITY;
        if let (Some(ExchangeSpec::ByHand(_, time)), Some(full)) = (&self.exchange, self.full(traffic.kinds))
        {
            let calls = 1.0 / f64::from(self.call(full).max(1));
            traffic.attendance = vec![Attendance { calls, work_s: time.mean() }];
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
