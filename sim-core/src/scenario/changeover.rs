//! The product sequence and its changeovers, as a scenario states them (ruling 24).

use crate::diag::{Diagnostics, Place, Problem, code};
use crate::terms::kind::{Kind, must_be_one_of};
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{
    Choice, Spanned, count, either, list_of, name, nested, one_of, one_or_many, rate, time, volume_rate,
};
use crate::units::Dimension;

/// When a run ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RunEnd {
    /// After so many good parts.
    Good(u64),
    /// After this time, s.
    After(f64),
    /// Never.
    Never,
}

/// One run of the sequence.
#[derive(Debug, Clone, PartialEq)]
pub struct RunSpec {
    /// The part kind.
    pub part: Spanned<String>,
    /// When it ends.
    pub end: RunEnd,
}

/// How what is left is taken out.
#[derive(Debug, Clone, PartialEq)]
pub struct PurgeSpec {
    /// Tracks, belts and bins.
    pub of: Vec<Spanned<String>>,
    /// Parts or volume per second.
    pub rate: Choice<f64, f64>,
    /// Where the rate stands.
    pub rate_place: Place,
    /// Who does it; nobody: it takes its time by itself.
    pub by: Option<Spanned<String>>,
    /// What is taken out is scrap (otherwise it is kept in a container).
    pub is_scrap: bool,
}

/// One task of the tooling change.
#[derive(Debug, Clone, PartialEq)]
pub struct ToolingSpec {
    /// Its time.
    pub time: Law,
    /// Who does it; nobody: it takes its time by itself.
    pub by: Option<Spanned<String>>,
}

/// A product sequence.
#[derive(Debug, Clone, PartialEq)]
pub struct ChangeoverSpec {
    /// Where it stands.
    pub place: Place,
    /// Where good parts are counted.
    pub counts_at: Spanned<String>,
    /// What is run, one after the other.
    pub runs: Vec<RunSpec>,
    /// Stations that stop starting when a run ends.
    pub stops: Vec<Spanned<String>>,
    /// Stations that have to run empty.
    pub run_out: Vec<Spanned<String>>,
    /// The line is not run out for longer than this, s.
    pub run_out_at_most_s: Option<f64>,
    /// What is taken out then.
    pub purge: Option<PurgeSpec>,
    /// What is changed then, all at the same time.
    pub tooling: Vec<ToolingSpec>,
    /// Stations that are changed; all if empty.
    pub of: Vec<Spanned<String>>,
}

fn read_run(object: &mut Object<'_>) -> RunSpec {
    let part = object.required("part", name(), "The part kind that is run");
    let good = object.maybe("good", count().at_least(1), "Good parts after which the run ends");
    let after = object.maybe("for", time().positive(), "Time after which the run ends, from its start");
    let end = match (good, after) {
        (Some(good), None) => RunEnd::Good(good),
        (None, Some(after)) => RunEnd::After(after),
        (None, None) => RunEnd::Never,
        (Some(good), Some(_)) => {
            if object.sound(&["good", "for"]) {
                let problem =
                    Problem::new(code::BAD_CONNECTION, "a run ends by its parts or by its time, not by both");
                object.fail("for", problem.help("take one of the two out"));
            }
            RunEnd::Good(good)
        }
    };
    RunSpec { part, end }
}

fn read_purge(object: &mut Object<'_>) -> PurgeSpec {
    const TO: &[(&str, bool, &str)] = &[
        ("container", false, "kept in a container: out of the line, not lost"),
        ("scrap", true, "scrap: counted as lost"),
    ];
    PurgeSpec {
        of: object.required("of", list_of(name()).at_least(1), "Tracks, belts and bins that are emptied"),
        rate: object.required(
            "rate",
            either(rate().positive(), volume_rate().positive()),
            "Parts or volume per time that are taken out; content / rate is the time that it takes",
        ),
        rate_place: object.place_of("rate"),
        by: object.maybe("by", name(), "The attendants who do it; left out: it takes its time by itself"),
        is_scrap: object.optional("to", one_of(TO), "container", "What becomes of the parts"),
    }
}

fn read_tooling(object: &mut Object<'_>) -> ToolingSpec {
    ToolingSpec {
        time: object.required(
            "time",
            law(Dimension::Time).usual("5 min", "45 min", "5 to 45 min"),
            "Time to change the tooling",
        ),
        by: object.maybe("by", name(), "The attendants who do it; left out: it takes its time by itself"),
    }
}

/// Reads a product sequence.
pub(super) fn read(object: &mut Object<'_>) -> ChangeoverSpec {
    let place = object.place();
    let runs = object.required(
        "runs",
        list_of(nested("run", read_run)).at_least(1),
        "What is run, one after the other; if the last run ends too, the first one follows",
    );
    if let Some(run) = runs.iter().rev().skip(1).find(|run| run.end == RunEnd::Never)
        && object.sound(&["runs"])
    {
        let message = format!("the run of `{}` never ends, and others follow it", run.part.value);
        let problem = Problem::new(code::MISSING_KEY, message);
        object.fail("runs", problem.expected("`good` or `for` at every run but the last"));
    }
    ChangeoverSpec {
        place,
        counts_at: object.required("counts_at", name(), "The station at which good parts are counted"),
        runs,
        stops: object.optional(
            "stops",
            list_of(name()),
            "[]",
            "Stations that stop starting (and calling for containers) when a run ends; work in progress is finished",
        ),
        run_out: object.optional(
            "run_out",
            list_of(name()),
            "[]",
            "Stations that have to run empty before anything is changed; what is not named keeps its parts",
        ),
        run_out_at_most_s: object.maybe(
            "run_out_at_most",
            time().positive(),
            "The line is not run out for longer than this; left out: there is no limit",
        ),
        purge: object.maybe(
            "purge",
            nested("purge", read_purge),
            "What is taken out once the line has run out; left out: nothing",
        ),
        tooling: object
            .maybe(
                "tooling",
                one_or_many(nested("tooling", read_tooling)),
                "Tasks of the change, called for at the same time; the next run starts when all are done; left out: none",
            )
            .unwrap_or_default(),
        of: object.optional(
            "of",
            list_of(name()),
            "[]",
            "Stations that stand while the line is purged and tooled; empty: all",
        ),
    }
}

impl ChangeoverSpec {
    /// Names of stations, wherever they stand.
    pub(super) fn stations(&self) -> impl Iterator<Item = &Spanned<String>> {
        let purged = self.purge.iter().flat_map(|purge| &purge.of);
        let lists = self.stops.iter().chain(&self.run_out).chain(&self.of);
        std::iter::once(&self.counts_at).chain(lists).chain(purged)
    }

    /// Names of attendants, wherever they stand.
    pub(super) fn pools(&self) -> impl Iterator<Item = &Spanned<String>> {
        let purges = self.purge.iter().filter_map(|purge| purge.by.as_ref());
        purges.chain(self.tooling.iter().filter_map(|tooling| tooling.by.as_ref()))
    }

    /// Checks the part kinds; `brought` are those that sources bring, if that is known.
    pub(super) fn check(&self, kinds: &[Kind], brought: Option<&[u8]>, problems: &mut Diagnostics) {
        let names: Vec<&str> = kinds.iter().map(|kind| kind.name.as_str()).collect();
        self.runs.iter().for_each(|run| must_be_one_of(&run.part, "part", &names, problems));
        if let Some(first) = self.runs.first()
            && let Some(kind) = names.iter().position(|name| *name == first.part.value)
            && brought.is_some_and(|brought| !brought.contains(&(kind as u8)))
        {
            let message = format!("nothing brings the part `{}` of the first run", first.part.value);
            problems.error(
                &first.part.place,
                Problem::new(code::BAD_CONNECTION, message)
                    .help("give it as `part` to the sources that go over from run to run"),
            );
        }
        if let Some(purge) = &self.purge
            && let Choice::Second(_) = purge.rate
            && let Some(kind) = kinds.iter().find(|kind| kind.density_m3.is_none())
        {
            crate::stations::blueprint::part_needs(
                &purge.rate_place,
                kind,
                "density",
                "a rate by volume",
                problems,
            );
        }
    }
}
