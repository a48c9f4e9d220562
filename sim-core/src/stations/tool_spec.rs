//! Tools of an orienting path as a scenario states them.
//!
//! A tool maps a part, by its attitude and condition, to: onward as it is, onward in another attitude, or out
//! through an exit, each with its chance. The rules of one tool:
//!
//! * `drops` names conditions or attitudes and comes first: a part to which several of them apply meets each
//!   by itself. What is dropped leaves.
//! * `turns` says by attitude into which attitudes a part is turned.
//! * `passes` says by attitude what goes on as it is; then **whatever is neither turned nor passed leaves**,
//!   attitudes that are not listed altogether. `accepts` is the same chance for all attitudes.
//! * With neither `passes` nor `accepts`, what is not turned goes on as it is.
//! * `by_condition` gives parts of a condition rules of their own in place of these, `by_part` those of a kind
//!   (tooling that is changed from product to product).
//!
//! * `crowded` gives the chances on a crowded path in place of those of the same rules; what it leaves out is as on an
//!   uncrowded one. Between the loadings `uncrowded_at` and `crowded_at` of the tool every chance goes over in a straight
//!   line (ruling 12; [`super::crowding`] says what loading is).
//!
//! A *sensed* tool (an ejector behind a sensor) misreads both ways: what the rules let go on is rejected with
//! the chance `false_reject`, what they reject goes on as it is with the chance `false_pass`. A part that comes
//! closer to the one before than `least_spacing` is rejected unseen (or passes, if the file says so).
//!
//! Invariant: the chances of a row add up to 1; attitudes are looked up in each part kind by name.

use super::comes_back::{ComebackSpec, comes_back};
use super::crowding::Crowding;
use super::tools::Fate;
use crate::diag::{Diagnostics, Place, Problem, code};
use crate::terms::kind::{Kind, must_be_one_of};
use crate::terms::stops::{StopSpec, read_jams};
use crate::text::fields::Object;
use crate::text::forms::{
    Chance, Choice, Spanned, chance, either, length, less_helps, map_of, more_helps, name, nested, one_of,
    share, time,
};

type ByName<T> = Vec<(Spanned<String>, T)>;

/// Chances this far above one in sum are rounding.
const SUM_TOLERANCE: f64 = 1e-9;

/// What a tool does with the parts of some conditions.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Rules {
    accepts: Option<Chance>,
    passes: Option<ByName<Chance>>,
    turns: Option<ByName<ByName<Chance>>>,
    drops: Option<ByName<Chance>>,
    /// The same on a crowded path, if that differs.
    crowded: Option<Box<Rules>>,
}

/// A sensor before an ejector.
#[derive(Debug, Clone, PartialEq)]
pub struct SensedSpec {
    /// Time from seeing to ejecting, s.
    pub reaction_s: f64,
    /// Least spacing in metres or seconds; left out: the reaction time.
    pub least_spacing: Option<Choice<f64, f64>>,
    /// A part that is too close passes instead of being rejected.
    pub passes_close: bool,
    false_reject: Chance,
    false_pass: Chance,
}

/// One tool as the file states it.
#[derive(Debug, Clone, PartialEq)]
pub struct ToolSpec {
    /// Its name, for messages.
    pub id: Spanned<String>,
    /// Where it stands in the file.
    pub place: Place,
    rules: Rules,
    by_condition: ByName<Rules>,
    by_part: ByName<Rules>,
    /// The exit for what it rejects, if it has one of its own.
    pub to: Option<Spanned<String>>,
    /// How parts come back from that exit, if it says so itself.
    pub comes_back: Option<ComebackSpec>,
    /// Where it acts, m from the entry; left out: at the end.
    pub position_m: Option<Spanned<f64>>,
    /// From where to where it grows crowded.
    crowding: Crowding,
    /// Its sensor, if it has one.
    pub sensed: Option<SensedSpec>,
    /// Ways to get stuck in it.
    pub jams: Vec<StopSpec>,
}

/// Keys of the chances of a set of rules.
const CHANCES: [&str; 4] = ["accepts", "passes", "turns", "drops"];

fn read_chances(object: &mut Object<'_>) -> Rules {
    let rules = Rules {
        accepts: object.maybe(
            "accepts",
            more_helps(chance()),
            "Chance that a part goes on as it is, whatever its attitude; others leave",
        ),
        passes: object.maybe(
            "passes",
            more_helps(map_of(chance())),
            "By attitude, the chance to go on as it is; what is neither passed nor turned leaves",
        ),
        turns: object.maybe(
            "turns",
            more_helps(map_of(map_of(chance()))),
            "By attitude, the attitudes into which it is turned, each with its chance; left out: nothing is turned",
        ),
        drops: object.maybe(
            "drops",
            map_of(chance()),
            "By condition or attitude, the chance to leave here before anything else; left out: nothing is dropped",
        ),
        crowded: None,
    };
    if object.sound(&["accepts", "passes"]) && rules.accepts.is_some() && rules.passes.is_some() {
        let problem = Problem::new(code::BAD_CONNECTION, "`accepts` and `passes` say the same twice");
        object.fail("accepts", problem.help("list every attitude in `passes`, or take it out"));
    }
    rules
}

fn read_rules(object: &mut Object<'_>) -> Rules {
    let rules = read_chances(object);
    let crowded = object.maybe(
        "crowded",
        nested("crowded-tool-rules", read_crowded),
        "Chances on a crowded path, in place of these; what it leaves out is as on an uncrowded path; left out: the loading does not matter",
    );
    if object.sound(&["accepts", "passes", "turns"]) {
        rules.check_sums(object, if object.has("turns") { "turns" } else { "passes" });
    }
    let crowded = crowded.map(|crowded| Box::new(crowded.or(&rules)));
    if let (Some(crowded), true) = (&crowded, object.sound(&["accepts", "passes", "turns", "crowded"])) {
        crowded.check_sums(object, "crowded");
    }
    Rules { crowded, ..rules }
}

fn read_crowded(object: &mut Object<'_>) -> Rules {
    let rules = read_chances(object);
    if object.sound(&CHANCES) && !CHANCES.iter().any(|key| object.has(key)) {
        let problem = Problem::new(code::MISSING_KEY, "it does not say what differs on a crowded path");
        object.fail_here(problem.expected("`accepts`, `passes`, `turns` or `drops`"));
    }
    rules
}

/// The loadings between which the chances go over.
fn read_crowding(object: &mut Object<'_>) -> Crowding {
    let crowding = Crowding {
        uncrowded_at: object.optional(
            "uncrowded_at",
            share().non_negative().at_most("100 %"),
            "0 %",
            "Up to this loading of the path the chances of an uncrowded path hold. Loading is, for parts in file, the share of the live length that parts take up with their gaps; one at a time, pass / (wait before it + pass)",
        ),
        crowded_at: object.optional(
            "crowded_at",
            share().positive().at_most("100 %"),
            "100 %",
            "From this loading of the path on those of a crowded one hold; between the two they go over in a straight line",
        ),
    };
    let is_known = object.sound(&["uncrowded_at", "crowded_at"]);
    if is_known && crowding.uncrowded_at >= crowding.crowded_at {
        let key = if object.has("crowded_at") { "crowded_at" } else { "uncrowded_at" };
        let problem = Problem::new(
            code::OUT_OF_RANGE,
            "a path is crowded from a higher loading on than it is uncrowded",
        );
        object.fail(key, problem.expected("`uncrowded_at` below `crowded_at`"));
    }
    crowding
}

fn read_sensed(object: &mut Object<'_>) -> SensedSpec {
    const CLOSE: &[(&str, bool, &str)] =
        &[("is rejected", false, "it leaves as if it were wrong"), ("passes", true, "it goes on as it is")];
    SensedSpec {
        reaction_s: object.optional(
            "reaction",
            time().at_most("10 s").usual("20 ms", "60 ms", "20 to 60 ms"),
            "40 ms",
            "Time from seeing a part to acting on it; one at a time, it is part of the pass",
        ),
        least_spacing: object.maybe(
            "least_spacing",
            less_helps(either(length(), time())),
            "Least distance, or time, after the part before (front to front) to tell a part from it; left out: the reaction time",
        ),
        passes_close: object.optional(
            "too_close",
            one_of(CLOSE),
            "is rejected",
            "What becomes of a part that comes closer than the least spacing",
        ),
        false_reject: object.optional(
            "false_reject",
            chance(),
            "0",
            "Chance that a part that should go on is rejected",
        ),
        false_pass: object.optional(
            "false_pass",
            chance(),
            "0",
            "Chance that a part that should be rejected goes on as it is",
        ),
    }
}

/// Reads a tool.
pub fn read(object: &mut Object<'_>) -> ToolSpec {
    let place = object.place();
    let position = object.maybe(
        "position",
        length(),
        "Where it acts, from the entry of the path (parts in file); left out: at the end",
    );
    let position_place = object.place_of("position");
    let spec = ToolSpec {
        id: object.required("id", name(), "Its name"),
        place,
        rules: read_rules(object),
        by_condition: object.optional(
            "by_condition",
            map_of(nested("tool-rules", read_rules)),
            "{}",
            "Rules of their own for parts of a condition, in place of the tool's",
        ),
        by_part: object.optional(
            "by_part",
            map_of(nested("tool-rules", read_rules)),
            "{}",
            "Rules of their own for parts of a kind, in place of the tool's; those of a condition come first",
        ),
        to: object.maybe(
            "to",
            name(),
            "The station that gets what this tool rejects; left out: `rejects_to` of the path",
        ),
        comes_back: object.maybe(
            "comes_back",
            comes_back(),
            "How parts that this tool rejects lie when they come back; left out: as for the path",
        ),
        // What could not be read is compared with nothing.
        position_m: position
            .or((object.has("position") && !object.sound(&["position"])).then_some(f64::NAN))
            .map(|value| Spanned { value, place: position_place }),
        sensed: object.maybe(
            "sensed",
            nested("tool-sensor", read_sensed),
            "The tool is an ejector behind a sensor; left out: it is passive",
        ),
        crowding: read_crowding(object),
        jams: read_jams(object),
    };
    for key in ["uncrowded_at", "crowded_at"] {
        let is_known = object.sound(&[key, "crowded", "by_condition", "by_part"]);
        if is_known && object.has(key) && spec.crowding().is_none() {
            let problem = Problem::new(code::BAD_CONNECTION, "no chance of this tool depends on the loading");
            object
                .fail(key, problem.help("give `crowded` with the chances on a crowded path, or take it out"));
        }
    }
    spec
}

fn find<'r, T>(rows: &'r [(Spanned<String>, T)], name: &str) -> Option<&'r T> {
    rows.iter().find(|(known, _)| known.value == name).map(|(_, value)| value)
}

impl Rules {
    /// These, and what they leave out as in `other`.
    fn or(self, other: &Rules) -> Self {
        let (accepts, passes) = match (self.accepts, self.passes) {
            (None, None) => (other.accepts, other.passes.clone()),
            own => own,
        };
        let turns = self.turns.or_else(|| other.turns.clone());
        let drops = self.drops.or_else(|| other.drops.clone());
        Rules { accepts, passes, turns, drops, crowded: None }
    }

    fn check_sums(&self, object: &mut Object<'_>, key: &'static str) {
        for (attitude, sum) in self.sums().into_iter().filter(|(_, sum)| *sum > 1.0 + SUM_TOLERANCE) {
            let message = format!("the chances of a part that lies `{attitude}` add up to {sum:.6}");
            object.fail(key, Problem::new(code::SHARES_SUM, message).expected("a sum of at most 1"));
        }
    }

    /// These rules, or those for a crowded path.
    fn on(&self, is_crowded: bool) -> &Rules {
        self.crowded.as_deref().filter(|_| is_crowded).unwrap_or(self)
    }

    fn turns(&self) -> &[(Spanned<String>, ByName<Chance>)] {
        self.turns.as_deref().unwrap_or_default()
    }

    fn drops(&self) -> &[(Spanned<String>, Chance)] {
        self.drops.as_deref().unwrap_or_default()
    }

    /// Sums of chances to go on, by attitude.
    fn sums(&self) -> Vec<(String, f64)> {
        let turned = |name: &str| -> f64 {
            let rows = find(self.turns(), name);
            rows.map_or(0.0, |rows| rows.iter().map(|(_, chance)| chance.value()).sum())
        };
        let passed = |name: &str| -> f64 {
            let own = self.passes.as_ref().and_then(|rows| find(rows, name)).or(self.accepts.as_ref());
            own.map_or(0.0, |chance| chance.value())
        };
        let mut names: Vec<&str> = Vec::new();
        for name in self
            .turns()
            .iter()
            .map(|(name, _)| name)
            .chain(self.passes.iter().flatten().map(|(name, _)| name))
        {
            if !names.contains(&&name.value[..]) {
                names.push(&name.value);
            }
        }
        names.into_iter().map(|name| (name.to_owned(), turned(name) + passed(name))).collect()
    }

    /// Shares of a part in `attitude`: onward by attitude, and out.
    fn shares(&self, kind: &Kind, condition: usize, attitude: usize) -> (Vec<f64>, f64) {
        let own_names = [&kind.conditions[condition], &kind.attitudes[attitude]];
        let applies = |(name, _): &&(Spanned<String>, Chance)| own_names.contains(&&name.value);
        let kept: f64 = self.drops().iter().filter(applies).map(|(_, chance)| 1.0 - chance.value()).product();
        let mut onward = vec![0.0; kind.attitudes.len()];
        let mut turned = 0.0;
        for (into, chance) in find(self.turns(), &kind.attitudes[attitude]).into_iter().flatten() {
            if let Some(into) = kind.attitudes.iter().position(|known| *known == into.value) {
                onward[into] += chance.value();
                turned += chance.value();
            }
        }
        let rest = (1.0_f64 - turned).max(0.0);
        let passed = match (&self.passes, self.accepts) {
            (Some(rows), _) => find(rows, &kind.attitudes[attitude]).map_or(0.0, |chance| chance.value()),
            (None, Some(chance)) => chance.value(),
            (None, None) => rest,
        };
        onward[attitude] += passed.min(rest);
        for share in &mut onward {
            *share *= kept;
        }
        // What the rules leave out, without the dust of subtracting chances that add up to one.
        let out = (rest - passed).max(0.0) * kept + (1.0 - kept);
        (onward, if out < 1e-15 { 0.0 } else { out })
    }
}

impl ToolSpec {
    /// What becomes of a part of a class: fates with chances above 0 that add up to 1. Rejected parts leave
    /// through `exit`; without one they go on as they are (which is reported by [`ToolSpec::check`]). The path is
    /// crowded or uncrowded.
    pub fn row(
        &self,
        kind: &Kind,
        condition: usize,
        attitude: usize,
        exit: Option<u8>,
        is_crowded: bool,
    ) -> Vec<(Fate, f64)> {
        let of_part = || find(&self.by_part, &kind.name);
        let rules =
            find(&self.by_condition, &kind.conditions[condition]).or_else(of_part).unwrap_or(&self.rules);
        let (mut onward, mut out) = rules.on(is_crowded).shares(kind, condition, attitude);
        if let Some(sensed) = &self.sensed {
            let (refused, let_go) = (sensed.false_reject.value(), sensed.false_pass.value());
            let right: f64 = onward.iter().sum();
            for share in &mut onward {
                *share *= 1.0 - refused;
            }
            onward[attitude] += out * let_go;
            out = out * (1.0 - let_go) + right * refused;
        }
        let exit_fate = exit.map_or(Fate::Onward(attitude as u8), Fate::Exit);
        let fates = onward.iter().enumerate().map(|(to, share)| (Fate::Onward(to as u8), *share));
        fates.chain([(exit_fate, out)]).filter(|(_, share)| *share > 0.0).collect()
    }

    /// All rules, those for a crowded path among them.
    fn all_rules(&self) -> impl Iterator<Item = &Rules> {
        let own = self.by_condition.iter().chain(&self.by_part).map(|(_, rules)| rules);
        std::iter::once(&self.rules)
            .chain(own)
            .flat_map(|rules| [rules].into_iter().chain(rules.crowded.as_deref()))
    }

    /// The loadings between which its chances go over, if they depend on the loading.
    pub fn crowding(&self) -> Option<Crowding> {
        self.all_rules().any(|rules| rules.crowded.is_some()).then_some(self.crowding)
    }

    /// Whether it can reject parts of these kinds.
    pub fn rejects(&self, kinds: &[Kind]) -> bool {
        let rejects = |kind: &Kind| {
            let classes =
                (0..kind.conditions.len()).flat_map(|c| (0..kind.attitudes.len()).map(move |a| (c, a)));
            let is_exit = |(fate, _): &(Fate, f64)| matches!(fate, Fate::Exit(_));
            let rows = classes
                .into_iter()
                .flat_map(|(c, a)| [false, true].map(|is_crowded| self.row(kind, c, a, Some(1), is_crowded)));
            rows.into_iter().any(|row| row.iter().any(is_exit))
        };
        kinds.iter().any(rejects)
    }

    /// Checks the names of attitudes and conditions.
    pub fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        let attitudes = all_names(kinds, |kind| &kind.attitudes);
        let conditions = all_names(kinds, |kind| &kind.conditions);
        let mut known = |what: &str, name: &Spanned<String>, names: &[&str]| {
            must_be_one_of(name, what, names, problems);
        };
        for rules in self.all_rules() {
            rules.passes.iter().flatten().for_each(|(name, _)| known("attitude", name, &attitudes));
            for (name, into) in rules.turns() {
                known("attitude", name, &attitudes);
                into.iter().for_each(|(name, _)| known("attitude", name, &attitudes));
            }
            let both: Vec<&str> = conditions.iter().chain(&attitudes).copied().collect();
            rules.drops().iter().for_each(|(name, _)| known("condition or attitude", name, &both));
        }
        self.by_condition.iter().for_each(|(name, _)| known("condition", name, &conditions));
        let parts: Vec<&str> = kinds.iter().map(|kind| kind.name.as_str()).collect();
        self.by_part.iter().for_each(|(name, _)| known("part", name, &parts));
    }
}

/// Names of all kinds, each once, in order.
pub(super) fn all_names(kinds: &[Kind], of: fn(&Kind) -> &Vec<String>) -> Vec<&str> {
    let mut names: Vec<&str> = Vec::new();
    for name in kinds.iter().flat_map(of) {
        if !names.contains(&&name[..]) {
            names.push(name);
        }
    }
    names
}
