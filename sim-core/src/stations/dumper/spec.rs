//! Dumper: what the file says of it.

use super::{Bringing, Dumper, DumperSetup, Pour, Station};
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::{Exit, Sampler};
use crate::scenario::{Level, level};
use crate::stations::amounts::{Amount, kind_of};
use crate::stations::blueprint::{
    Attendance, Blueprint, ExitSpec, Site, SourceTraffic, To, TrafficSite, Whose, check_kind, kind_named,
    part_needs, read_part, read_to,
};
use crate::stations::errand::{self, Errand};
use crate::stations::lots::LotLuck;
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::law_form::{count_law, law};
use crate::terms::stops::MomentWord;
use crate::text::fields::Object;
use crate::text::forms::{
    Choice, Form, Spanned, Variant, count, either, mass, no_limit, one_of, placed, rate, variants, volume,
    volume_rate,
};
use crate::units::Dimension;

/// What a container holds.
#[derive(Debug, Clone)]
enum Contents {
    Parts(Law),
    Of(Amount),
}

/// Who brings containers.
#[derive(Debug, Clone)]
enum BringingSpec {
    Always,
    OnCall(Law),
    AtIntervals(Law),
    ByHand(Spanned<String>, Law),
}

/// How fast a container empties.
type Flow = Choice<f64, f64>;

/// A dumper as the file states it.
#[derive(Debug, Clone)]
pub struct DumperSpec {
    to: To,
    part: Option<Spanned<String>>,
    place: crate::diag::Place,
    contents: Spanned<Contents>,
    call_level: Level,
    places: u32,
    at_start: u32,
    bringing: BringingSpec,
    times: [Law; 4],
    pour_rate: Option<Spanned<Flow>>,
    portions: u32,
}

fn contents() -> impl Form<Out = Spanned<Contents>> {
    placed(no_limit(either(count_law().positive(), either(mass().positive(), volume().positive()))).map(
        |choice| match choice {
            Choice::First(law) => Contents::Parts(law),
            Choice::Second(Choice::First(kg)) => Contents::Of(Amount::Mass(kg)),
            Choice::Second(Choice::Second(m3)) => Contents::Of(Amount::Volume(m3)),
        },
    ))
}

const BRINGING: &[Variant<BringingSpec>] = &[
    Variant { word: "hauler", doc: "A hauler brings one a lead time after the call", read: read_hauler },
    Variant { word: "intervals", doc: "They come at intervals, called or not", read: read_intervals },
    Variant { word: "by hand", doc: "An attendant is called and brings one", read: read_by_hand },
];

fn read_hauler(object: &mut Object<'_>) -> BringingSpec {
    bringing_of(errand::read_hauler(
        object,
        "Time from the call until the container is there; with `by`, from the time when a hauler sets out",
        "The pool of haulers (among the attendants) that brings it, one container at a time; several dumpers may share it; left out: there is always one",
    ))
}

fn bringing_of(errand: Errand) -> BringingSpec {
    match errand.by {
        Some(by) => BringingSpec::ByHand(by, errand.time),
        None => BringingSpec::OnCall(errand.time),
    }
}

fn read_intervals(object: &mut Object<'_>) -> BringingSpec {
    BringingSpec::AtIntervals(object.required(
        "every",
        law(Dimension::Time).positive(),
        "Time between containers; the first one comes after the first interval",
    ))
}

fn read_by_hand(object: &mut Object<'_>) -> BringingSpec {
    bringing_of(errand::read_by_hand(
        object,
        "The attendants who bring it",
        "Time for which bringing one keeps an attendant",
    ))
}

fn bringing() -> impl Form<Out = BringingSpec> {
    const ALWAYS: &[(&str, (), &str)] = &[("always there", (), "there is always a full container")];
    either(one_of(ALWAYS), variants("bringing", "how", BRINGING)).map(|choice| match choice {
        Choice::First(()) => BringingSpec::Always,
        Choice::Second(spec) => spec,
    })
}

/// Reads a dumper.
pub fn read(object: &mut Object<'_>) -> DumperSpec {
    let places = object.optional(
        "waiting_places",
        count().at_most(1000),
        "1",
        "Places for full containers beside it; with 0 a container is called when it is to be tipped",
    );
    let at_start = object.maybe(
        "waiting_at_start",
        no_limit(count().at_most(1000)),
        "Full containers that wait there at the start; left out: one on every place",
    );
    if let Some(at_start) = at_start
        && at_start > places
        && object.sound(&["waiting_places", "waiting_at_start"])
    {
        let message = format!("{at_start} containers do not fit on {places} places");
        object.fail("waiting_at_start", Problem::new(code::OUT_OF_RANGE, message));
    }
    let bringing = object.optional("containers", bringing(), "always there", "How full containers come");
    if let (BringingSpec::AtIntervals(_), 0) = (&bringing, places)
        && object.sound(&["waiting_places", "containers"])
    {
        let problem =
            Problem::new(code::BAD_CONNECTION, "containers that come at intervals need a place to wait");
        object.fail("waiting_places", problem.help("give one waiting place at least"));
    }
    let contents = object.required(
        "contents",
        contents(),
        "What a container holds: a number of parts (fixed or random), a weight or a volume",
    );
    DumperSpec {
        to: read_to(object),
        part: read_part(object),
        place: object.place(),
        contents,
        call_level: object.required(
            "call_level",
            level(),
            "Content of the bin, in parts or as a share of its capacity, at or below which a container is tipped",
        ),
        places: places as u32,
        at_start: at_start.unwrap_or(places) as u32,
        bringing,
        times: read_times(object),
        pour_rate: object.maybe(
            "pour_rate",
            placed(either(rate().positive(), volume_rate().positive())),
            "Parts or volume per time that run out while it is tilted, held while the bin is full; left out: all falls at the end of the tip",
        ),
        portions: object.optional(
            "portions",
            no_limit(count().at_least(1).at_most(100_000)),
            "50",
            "Portions in which a container runs out at a rate",
        ) as u32,
    }
}

fn read_times(object: &mut Object<'_>) -> [Law; 4] {
    let time = || law(Dimension::Time);
    [
        object.optional("lift", time(), "0 s", "Time to lift a container"),
        object.required(
            "tip",
            time().usual("5 s", "150 s", "45 to 150 s for the whole cycle"),
            "Time to tilt it, until parts fall",
        ),
        object.optional("return", time(), "0 s", "Time to set the empty container down"),
        object.optional("exchange", time(), "0 s", "Time to take the empty away"),
    ]
}

impl DumperSpec {
    fn kind<'a>(&self, kinds: &'a [Kind]) -> Option<&'a Kind> {
        kind_of(kinds, self.part.as_ref())
    }

    /// Parts of a container as a law; what the part lacks is an error of its own.
    fn contents_of(&self, kind: Option<&Kind>) -> Law {
        match &self.contents.value {
            Contents::Parts(law) => law.clone(),
            Contents::Of(amount) => {
                let parts = kind.and_then(|kind| amount.parts(kind)).unwrap_or(1);
                Law::fixed(f64::from(parts.max(1)))
            }
        }
    }

    fn pour(&self, kinds: &[Kind]) -> Pour {
        let per_s = self.pour_rate.as_ref().map(|flow| match flow.value {
            Choice::First(per_s) => per_s,
            Choice::Second(m3_s) => self.kind(kinds).and_then(|kind| kind.density_m3).unwrap_or(1.0) * m3_s,
        });
        per_s.map_or(Pour::AtOnce, |per_s| Pour::Rate { per_s, portions: self.portions })
    }

    /// Containers of so many parts per second that can be tipped at most.
    fn most_containers_per_s(&self, kinds: &[Kind], contents: f64) -> f64 {
        let pour = match self.pour(kinds) {
            Pour::AtOnce => 0.0,
            Pour::Rate { per_s, .. } => contents / per_s,
        };
        let cycle = self.times.iter().map(Law::mean).sum::<f64>() + pour;
        let fetched = |lead: f64| match self.places {
            // The next one is called for when the bin asks for it.
            0 => 1.0 / (cycle + lead),
            places => (1.0 / cycle).min(f64::from(places) / lead),
        };
        match &self.bringing {
            BringingSpec::Always => 1.0 / cycle,
            BringingSpec::OnCall(lead) => fetched(lead.mean()),
            BringingSpec::AtIntervals(every) => (1.0 / cycle).min(1.0 / every.mean()),
            BringingSpec::ByHand(_, time) => fetched(time.mean()),
        }
    }
}

impl Blueprint for DumperSpec {
    fn share_of_capacity(&self) -> Option<(&'static str, Whose)> {
        matches!(self.call_level, Level::Share(_)).then_some(("call_level", Whose::Next))
    }

    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn takes(&self) -> bool {
        false
    }

    fn brings(&self, kinds: &[Kind]) -> Option<u8> {
        Some(kind_named(kinds, self.part.as_ref()))
    }

    fn ranks_last(&self) -> bool {
        true
    }

    fn gives_to_bin(&self) -> bool {
        true
    }

    fn pools(&self) -> Vec<Spanned<String>> {
        match &self.bringing {
            BringingSpec::ByHand(by, _) => vec![by.clone()],
            BringingSpec::Always | BringingSpec::OnCall(_) | BringingSpec::AtIntervals(_) => Vec::new(),
        }
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        check_kind(kinds, self.part.as_ref(), problems);
        let Some(kind) = self.kind(kinds) else { return };
        if let Contents::Of(amount) = self.contents.value {
            amount.check(&self.contents.place, kind, "contents by weight or volume", problems);
            if amount.parts(kind) == Some(0) {
                let problem = Problem::new(code::OUT_OF_RANGE, "a container holds less than half a part");
                problems.error(&self.contents.place, problem);
            }
        }
        if let Some(Spanned { value: Choice::Second(_), place }) = &self.pour_rate
            && kind.density_m3.is_none()
        {
            part_needs(place, kind, "density", "a rate by volume", problems);
        }
        if let Err(message) = LotLuck::new(kind, &kind.lots) {
            let problem =
                Problem::new(code::OUT_OF_RANGE, format!("containers can't differ so much: {message}"));
            problems.error(&self.place, problem);
        }
    }

    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        (&[MomentWord::Start, MomentWord::End], "a container jams as it is lifted or poured")
    }

    fn jams_by_condition(&self) -> bool {
        false
    }

    /// Rated capacity: contents / cycle with exchange, or what is brought if that is less.
    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let kind = traffic.brought(self.part.as_ref());
        let contents = self.contents_of(traffic.kinds.get(usize::from(kind))).mean();
        traffic.source = Some(SourceTraffic {
            kind,
            most_per_s: contents * self.most_containers_per_s(traffic.kinds, contents),
            is_driven: false,
            waits_for_call: true,
        });
        if let BringingSpec::ByHand(_, time) = &self.bringing {
            let calls = 1.0 / contents;
            traffic.attendance = vec![Attendance { calls, work_s: time.mean() }];
        }
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let Exit::Store(bin) = site.exits[0] else { panic!("a dumper is checked to give to a bin") };
        let law = |law: &Law| Sampler::new(law, 1.0, site.method);
        let bringing = match &self.bringing {
            BringingSpec::Always => Bringing::Always,
            BringingSpec::OnCall(lead) => Bringing::OnCall(law(lead)),
            BringingSpec::AtIntervals(every) => Bringing::AtIntervals(law(every)),
            BringingSpec::ByHand(_, time) => Bringing::ByHand(site.pools[0], law(time)),
        };
        let of_kind = |kind: &Kind| (law(&self.contents_of(Some(kind))), LotLuck::possible(kind));
        let setup = DumperSetup {
            bin,
            kind: site.kind(self.part.as_ref()),
            contents: site.kinds.iter().map(of_kind).collect(),
            shifts_differ: site.kinds.iter().map(|kind| kind.shifts.varies()).collect(),
            call_level: self.call_level,
            places: self.places,
            at_start: self.at_start,
            bringing,
            times: self.times.each_ref().map(law),
            pour: self.pour(site.kinds),
        };
        site.watch(bin);
        let (cycle, coming) = (site.alarm(), site.free_alarm());
        let (times, parts) = (site.dice("times"), site.dice("parts"));
        Station::Dumper(Dumper::new(site.me, cycle, coming, setup, times, parts))
    }
}
