//! A part kind as a scenario states it: size, attitudes, conditions, measured dimensions.

use super::law::Law;
use super::law_form::law;
use crate::diag::{Diagnostics, Place, Problem, code};
use crate::text::fields::Object;
use crate::text::forms::{
    Chance, Shares, Spanned, chance, density, length, map_of, mass, name, nested, one_or_many, shares,
};
use crate::text::{is_name, without_dust};
use crate::units::Dimension;

/// Most attitudes, conditions or kinds: parts keep them in a byte, and the right attitudes are bits of a word.
pub const NAMES_MAX: usize = 60;

/// Keys that others rely on.
const KEYS: [&str; 7] = ["length", "mass", "density", "attitudes", "right_way", "conditions", "sizes"];

/// How strongly attitudes, defects and jams differ from lot to lot, a lot being a container or a shift (ruling 11).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LotSpread {
    /// Between-lot standard deviation of each condition's share, by condition (without good); 0 = none.
    pub conditions: Vec<f64>,
    /// Between-lot standard deviation of the share of the first attitude; the others move with it.
    pub attitudes: Option<f64>,
    /// Between-lot spread of the factor on all chances to jam (mean 1).
    pub jams: Option<f64>,
}

impl LotSpread {
    /// Whether anything differs.
    pub fn varies(&self) -> bool {
        let wide = |spread: &Option<f64>| spread.is_some_and(|spread| spread > 0.0);
        self.conditions.iter().any(|spread| *spread > 0.0) || wide(&self.attitudes) || wide(&self.jams)
    }
}

/// A part kind.
#[derive(Debug, Clone, PartialEq)]
pub struct Kind {
    /// Its name.
    pub name: String,
    /// Where it stands in the file.
    pub place: Place,
    /// Length in the direction of flow, m.
    pub length_m: Option<f64>,
    /// Mass, kg.
    pub mass_kg: Option<f64>,
    /// Pieces per cubic metre in bulk.
    pub density_m3: Option<f64>,
    /// Names of the attitudes.
    pub attitudes: Vec<String>,
    /// Natural chances of the attitudes, adding up to 1.
    pub attitude_shares: Vec<f64>,
    /// Counts behind them, if they were measured.
    pub attitude_counts: Option<Vec<u64>>,
    /// Bit `a` is set where attitude `a` is the right way round.
    pub right_way: u64,
    /// Names of the conditions, good first.
    pub conditions: Vec<String>,
    /// Shares of the conditions, adding up to 1.
    pub condition_shares: Vec<f64>,
    /// The chances as given, by condition after good.
    pub condition_chances: Vec<Chance>,
    /// Measured dimensions by name, two at most.
    pub sizes: Vec<(String, Law)>,
    /// Variation from container to container.
    pub lots: LotSpread,
    /// Variation from shift to shift.
    pub shifts: LotSpread,
    /// Keys that stand in the file and could not be read: nobody can say that they are missing.
    pub misread: Vec<&'static str>,
}

impl Kind {
    /// A kind without any particulars: good parts that lie one way.
    pub fn plain(name: &str) -> Self {
        Kind {
            name: name.to_owned(),
            place: Place::default(),
            length_m: None,
            mass_kg: None,
            density_m3: None,
            attitudes: vec!["any".to_owned()],
            attitude_shares: vec![1.0],
            attitude_counts: None,
            right_way: 1,
            conditions: vec!["good".to_owned()],
            condition_shares: vec![1.0],
            condition_chances: Vec::new(),
            sizes: Vec::new(),
            lots: LotSpread::default(),
            shifts: LotSpread::default(),
            misread: Vec::new(),
        }
    }

    /// Whether the chances of these parts to jam vary from container to container or from shift to shift.
    pub fn jams_vary(&self) -> bool {
        self.lots.jams.is_some() || self.shifts.jams.is_some()
    }

    /// A kind of which nothing could be read: nobody knows what its attitudes, conditions and dimensions are called.
    pub fn unread(name: &str) -> Self {
        let mut kind = Kind { misread: KEYS.to_vec(), ..Kind::plain(name) };
        kind.attitudes[0].clear();
        kind.conditions[0].clear();
        kind.sizes.push((String::new(), Law::fixed(1.0)));
        kind
    }

    /// Whether its attitudes, and the right one, could be read.
    pub fn has_known_attitudes(&self) -> bool {
        !self.misread.iter().any(|key| matches!(*key, "attitudes" | "right_way"))
    }

    /// Number of classes (condition, attitude).
    pub fn n_classes(&self) -> usize {
        self.conditions.len() * self.attitudes.len()
    }
}

/// Spreads between lots as given: of attitudes, of jams, of conditions by name.
type LotsGiven = (Option<f64>, Option<f64>, Option<Vec<(Spanned<String>, Chance)>>);

fn read_lots(object: &mut Object<'_>) -> LotsGiven {
    let attitudes = object.maybe(
        "attitudes",
        chance(),
        "Standard deviation (between containers, or between shifts) of the share of the first attitude; left out: no difference",
    );
    let jams = object.maybe(
        "jams",
        crate::text::forms::real().positive().at_most(5.0),
        "Standard deviation (between containers, or between shifts) of the factor (mean 1) on all chances to jam; left out: no difference",
    );
    let conditions = object.maybe(
        "conditions",
        map_of(chance()),
        "Standard deviation (between containers, or between shifts) of the share of each condition; left out: no difference",
    );
    (attitudes.map(Chance::value), jams, conditions)
}

/// Reads a part kind; its name is the key under which it stands.
pub fn read(object: &mut Object<'_>) -> Kind {
    let place = object.place();
    let length_m = object.maybe(
        "length",
        length().positive().usual("1 mm", "1 m", "1 mm to 1 m"),
        "Length in the direction of flow; needed where parts run in file or fill a track by length",
    );
    let mass_kg = object.maybe("mass", mass().positive(), "Mass of one part; needed for contents by weight");
    let density_m3 = object.maybe(
        "density",
        density().positive(),
        "Pieces per volume in bulk; needed for contents and flows by volume",
    );
    let attitudes = object.optional(
        "attitudes",
        shares(),
        "{\"any\": 1.0}",
        "How the part lies or points when it falls freely: a chance for each way, or the counts of a drop test",
    );
    let right = object.maybe(
        "right_way",
        one_or_many(name()),
        "The attitude (or attitudes) in which the part has to arrive; left out: the first one",
    );
    let conditions = object.optional(
        "conditions",
        map_of(chance().usual(0.00001, 0.02, "0.001 to 2 % of bad or foreign parts in bulk")),
        "{}",
        "Share of each sort of bad or foreign part; the rest is good",
    );
    let sizes = object.optional(
        "sizes",
        map_of(law(Dimension::Length)),
        "{}",
        "Measured dimensions for gauges, two at most, each as a law of lengths",
    );
    let lots = object.maybe(
        "between_lots",
        nested("between-lots", read_lots),
        "How containers that dumpers bring differ; left out: they do not, and the spread of shifts is then too small",
    );
    let shifts = object.maybe(
        "between_shifts",
        nested("between-lots", read_lots),
        "How shifts differ (all parts of a shift alike: a batch of the supplier, weather, wear); containers then differ around their shift; left out: they do not",
    );
    let mut kind = Kind { place, length_m, mass_kg, density_m3, ..Kind::plain("") };
    take_attitudes(object, &mut kind, &attitudes, right.as_deref());
    take_conditions(object, &mut kind, conditions);
    for (key, names) in [("attitudes", &mut kind.attitudes), ("conditions", &mut kind.conditions)] {
        if object.node(key).is_some_and(|node| !node.is_object()) {
            // Nobody knows what they are called.
            names[0].clear();
        }
    }
    if sizes.len() > 2 {
        object.fail("sizes", Problem::new(code::OUT_OF_RANGE, "a part has at most two measured dimensions"));
    }
    kind.sizes = sizes.into_iter().map(|(name, law)| (name.value, law)).collect();
    if object.node("sizes").is_some_and(|node| !node.is_object()) {
        kind.sizes.push((String::new(), Law::fixed(1.0)));
    }
    kind.lots = spread_of(object, "between_lots", &kind, lots);
    kind.shifts = spread_of(object, "between_shifts", &kind, shifts);
    kind.misread.extend(KEYS.iter().filter(|key| object.has(key) && !object.sound(&[key])));
    kind
}

fn spread_of(object: &mut Object<'_>, key: &'static str, kind: &Kind, given: Option<LotsGiven>) -> LotSpread {
    let Some((attitudes, jams, conditions)) = given else { return LotSpread::default() };
    let bad = &kind.conditions[1..];
    let mut spread = LotSpread { conditions: vec![0.0; bad.len()], attitudes, jams };
    for (name, given) in conditions.unwrap_or_default() {
        match bad.iter().position(|known| *known == name.value) {
            Some(ix) => spread.conditions[ix] = given.value(),
            None => object.fail(key, unknown("condition", &name.value, bad)),
        }
    }
    spread
}

fn take_attitudes(
    object: &mut Object<'_>,
    kind: &mut Kind,
    attitudes: &Shares,
    right: Option<&[Spanned<String>]>,
) {
    kind.attitudes = attitudes.names().iter().map(|name| name.value.clone()).collect();
    kind.attitude_shares = attitudes.values();
    kind.attitude_counts = match attitudes {
        Shares::Known(_) => None,
        Shares::Counted(rows) => Some(rows.iter().map(|(_, count)| *count).collect()),
    };
    if kind.attitudes.len() > NAMES_MAX {
        object.fail("attitudes", Problem::new(code::OUT_OF_RANGE, "a part has at most 60 attitudes"));
        kind.attitudes.truncate(NAMES_MAX);
        kind.attitude_shares.truncate(NAMES_MAX);
    }
    kind.right_way = u64::from(!kind.attitudes.is_empty());
    if let Some(right) = right {
        kind.right_way = 0;
        for name in right {
            match kind.attitudes.iter().position(|known| *known == name.value) {
                Some(ix) => kind.right_way |= 1 << ix,
                None if object.sound(&["attitudes", "right_way"]) => {
                    object.fail_at(&name.place, unknown("attitude", &name.value, &kind.attitudes));
                    kind.misread.push("right_way");
                }
                None => {}
            }
        }
    }
}

fn take_conditions(object: &mut Object<'_>, kind: &mut Kind, given: Vec<(Spanned<String>, Chance)>) {
    let bad: f64 = given.iter().map(|(_, chance)| chance.value()).sum();
    if object.sound(&["conditions"]) && bad > 1.0 + 1e-9 {
        object.fail(
            "conditions",
            Problem::new(
                code::SHARES_SUM,
                format!("the shares of bad parts add up to {}", without_dust(bad)),
            )
            .expected("a sum of at most 1; the rest is good"),
        );
    }
    if given.len() >= NAMES_MAX {
        object.fail("conditions", Problem::new(code::OUT_OF_RANGE, "a part has at most 60 conditions"));
    }
    let bad = bad.min(1.0);
    kind.condition_shares = vec![1.0 - bad];
    for (name, chance) in given.into_iter().take(NAMES_MAX - 1) {
        if name.value == "good" {
            let problem = Problem::new(code::BAD_NAME, "`good` is what is left and has no share of its own");
            object.fail("conditions", problem.help("leave it out"));
            continue;
        }
        kind.conditions.push(name.value);
        kind.condition_shares.push(chance.value());
        kind.condition_chances.push(chance);
    }
}

/// Reports a name that is none of these. What can't be a name was reported as such; and where one of the known names could
/// not be read (it is empty then), that may be the one.
pub fn must_be_one_of<S: AsRef<str>>(
    name: &Spanned<String>,
    what: &str,
    known: &[S],
    problems: &mut Diagnostics,
) {
    let may_be = |known: &S| known.as_ref() == name.value || known.as_ref().is_empty();
    if is_name(&name.value) && !known.iter().any(may_be) {
        problems.error(&name.place, unknown(what, &name.value, known));
    }
}

/// The problem of a name that is not known, with the nearest one.
pub fn unknown<S: AsRef<str>>(what: &str, name: &str, known: &[S]) -> Problem {
    let words: Vec<&str> = known.iter().map(AsRef::as_ref).collect();
    let problem = Problem::new(code::UNKNOWN_NAME, format!("there is no {what} `{name}`"));
    match crate::text::suggest::nearest(name, words.iter().copied()) {
        Some(near) => problem.help(format!("did you mean `{near}`?")),
        None if words.is_empty() => problem.help(format!("no {what} is known here")),
        None => {
            let list: Vec<String> = words.iter().take(12).map(|word| format!("`{word}`")).collect();
            problem.expected(format!("one of {}", list.join(", ")))
        }
    }
}
