//! Gauge: takes one part, measures or looks, and rejects what it takes for bad.
//!
//! **By a dimension**: `size` names a measured dimension of the part; a part whose reading is below `least` or
//! above `most` is rejected. The true dimension was drawn once, when the part was made; the gauge adds only
//! its own error, normal with standard deviation `error` (ruling 9). A part that was rejected for a dimension
//! is marked: any gauge that measures rejects it again, without looking, as long as the mark lasts (in a bin
//! such parts form a class of their own). **By condition**: `catches` gives the chance to reject a bad part by
//! its condition, `false_reject` the chance to reject any other.
//!
//! **Timing**: as a [bench](super::bench).
//!
//! In the balance a gauge by a dimension rejects the share of the parts as made; marked parts that come back
//! are not told apart there, so it is exact only if its rejects don't return.

use super::Station;
use super::bench::{Bench, BenchSetup, Deed, DeedTable, Judge, compiled, table_traffic};
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, read_to};
use super::comes_back::{ComebackSpec, comes_back};
use super::tool_spec::all_names;
use super::tooling::{ReturnRule, class_names};
use crate::diag::{Diagnostics, Problem, code};
use crate::kernel::sampler::Method;
use crate::kernel::{Sampler, Stream};
use crate::part::{Nanos, Part};
use crate::terms::kind::{Kind, must_be_one_of};
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{Chance, Spanned, chance, length, map_of, name};
use crate::units::Dimension;

/// Number of quantiles that a part can have.
const QUANTILES: u32 = 1 << 16;
/// Points over which the share rejected by a gauge with an error is averaged.
const POINTS: u32 = 4096;

/// The true dimension of a part whose quantile is `quantile`, m: the middle of its cell of the law.
pub fn size_m(law: &Sampler, quantile: u16) -> f64 {
    law.draw(&mut Stream::telling(u64::from(quantile) << 48 | 1 << 47))
}

/// Limits on a dimension, with the error of the reading, m.
#[derive(Clone, Debug)]
pub struct Limits {
    /// Below it a part is rejected.
    pub least: f64,
    /// Above it a part is rejected.
    pub most: f64,
    /// Standard deviation of the reading.
    pub error: f64,
}

impl Limits {
    /// Chance to be rejected for a part of true dimension `x`.
    fn chance(&self, x: f64) -> f64 {
        if self.error == 0.0 {
            return f64::from(x < self.least || x > self.most);
        }
        let tail = |z: f64| 0.5 * libm::erfc(z / std::f64::consts::SQRT_2);
        tail((x - self.least) / self.error) + tail((self.most - x) / self.error)
    }

    /// Share of the parts of a law that is rejected. Without error it is exact to the grid of the quantiles.
    pub fn share(&self, law: &Sampler) -> f64 {
        if self.error == 0.0 {
            let first = |stops: &dyn Fn(f64) -> bool| {
                let (mut low, mut high) = (0, QUANTILES);
                while low < high {
                    let middle = u32::midpoint(low, high);
                    if stops(size_m(law, middle as u16)) { high = middle } else { low = middle + 1 }
                }
                f64::from(low) / f64::from(QUANTILES)
            };
            return first(&|x| x >= self.least) + 1.0 - first(&|x| x > self.most);
        }
        let step = QUANTILES / POINTS;
        let points = (0..POINTS).map(|n| self.chance(size_m(law, (n * step + step / 2) as u16)));
        points.sum::<f64>() / f64::from(POINTS)
    }
}

/// Quantiles between two marks of a [`SizeLaw`], as a shift.
const MARK_SHIFT: u32 = 6;

/// The law of a dimension with marks along it, so that the dimension itself is worked out only for the few parts
/// that lie near a limit: the quantile of a law costs more than all else that is done with a part.
#[derive(Clone, Debug)]
pub struct SizeLaw {
    law: Sampler,
    /// Dimension at every 64th quantile and at the last one, m.
    marks: Box<[f64]>,
}

impl SizeLaw {
    /// A law with its marks.
    pub fn new(law: Sampler) -> Self {
        let last = QUANTILES - 1;
        let marks = (0..=QUANTILES >> MARK_SHIFT).map(|n| size_m(&law, (n << MARK_SHIFT).min(last) as u16));
        SizeLaw { marks: marks.collect(), law }
    }

    /// Whether a part of this quantile, read with this error, lies within the limits.
    fn passes(&self, quantile: u16, error: f64, limits: &Limits) -> bool {
        let within = |size: f64| {
            let reading = size + error;
            (reading >= limits.least, reading <= limits.most)
        };
        let mark = usize::from(quantile) >> MARK_SHIFT;
        match (within(self.marks[mark]), within(self.marks[mark + 1])) {
            ((true, _), (_, true)) => true,
            ((_, false), _) | (_, (false, _)) => false,
            _ => within(size_m(&self.law, quantile)) == (true, true),
        }
    }
}

/// The running judge by a dimension.
#[derive(Clone, Debug)]
pub struct SizeJudge {
    /// By kind: which of its two dimensions, and its law; `None`: the kind is not measured.
    pub laws: Vec<Option<(u8, SizeLaw)>>,
    /// The limits.
    pub limits: Limits,
    /// Time for one part.
    pub time: Sampler,
}

impl SizeJudge {
    /// Exit and time for a part; a part that fails is marked.
    pub(super) fn decide(&self, part: &mut Part, luck: &mut Stream) -> (u8, Nanos) {
        let time = self.time.draw_ns(luck);
        let Some((which, law)) = &self.laws[usize::from(part.kind)] else { return (0, time) };
        // The error is drawn for every part, so that paired designs stay in step.
        let error = if self.limits.error > 0.0 { self.limits.error * luck.normal() } else { 0.0 };
        if part.is_off_size() {
            return (1, time);
        }
        if !law.passes(part.sizes[usize::from(*which)], error, &self.limits) {
            part.mark_off_size();
            return (1, time);
        }
        (0, time)
    }
}

#[derive(Debug, Clone)]
enum Way {
    BySize { size: Spanned<String>, limits: Limits },
    ByCondition { catches: Vec<(Spanned<String>, Chance)>, false_reject: f64 },
}

/// A gauge as the file states it.
#[derive(Debug, Clone)]
pub struct GaugeSpec {
    to: To,
    rejects_to: Spanned<String>,
    comes_back: ComebackSpec,
    time: Law,
    way: Way,
}

/// Reads a gauge.
pub fn read(object: &mut Object<'_>) -> GaugeSpec {
    GaugeSpec {
        to: read_to(object),
        rejects_to: object.required("rejects_to", name(), "The station that gets what is rejected"),
        comes_back: object.optional(
            "comes_back",
            comes_back(),
            "remixed",
            "How rejected parts lie when they come back",
        ),
        time: object.required("time", law(Dimension::Time), "Time for one part"),
        way: read_way(object),
    }
}

fn read_way(object: &mut Object<'_>) -> Way {
    let size = object.maybe("size", name(), "The dimension that it measures; or give `catches`");
    let least = object.maybe("least", length(), "Least dimension that passes; left out: no such limit");
    let most = object.maybe("most", length(), "Largest dimension that passes; left out: no such limit");
    let error = object.optional("error", length(), "0 mm", "Standard deviation of its reading");
    let catches = object.optional(
        "catches",
        map_of(chance()),
        "{}",
        "By condition, the chance that a bad part is rejected; others pass",
    );
    let false_reject =
        object.optional("false_reject", chance(), "0", "Chance that a part is rejected that should pass");
    let by_condition = object.has("catches") || object.has("false_reject");
    if object.sound(&["size", "least", "most", "error", "catches", "false_reject"]) {
        if size.is_some() == by_condition {
            let problem = Problem::new(code::BAD_CONNECTION, "what it goes by is not clear");
            object.fail_here(problem.expected("`size` with a limit, or `catches`, not both"));
        } else if size.is_some() && least.is_none() && most.is_none() {
            let problem = Problem::new(code::MISSING_KEY, "a dimension without a limit lets all parts pass");
            object.fail("size", problem.expected("`least`, `most` or both"));
        } else if size.is_none() && (least.is_some() || most.is_some()) {
            let key = if least.is_some() { "least" } else { "most" };
            object.fail(key, Problem::new(code::BAD_CONNECTION, "a limit needs the `size` that it is for"));
        } else if least.unwrap_or(0.0) > most.unwrap_or(f64::INFINITY) {
            object.fail("least", Problem::new(code::OUT_OF_RANGE, "`least` is above `most`"));
        }
    }
    match size {
        Some(size) => {
            let (least, most) = (least.unwrap_or(f64::NEG_INFINITY), most.unwrap_or(f64::INFINITY));
            Way::BySize { size, limits: Limits { least, most, error } }
        }
        None => Way::ByCondition { catches, false_reject: false_reject.value() },
    }
}

impl GaugeSpec {
    /// Shares by class, where it goes by condition or, on the average, by a dimension.
    fn table(&self, kinds: &[Kind]) -> DeedTable {
        let by_kind: Vec<f64> = match &self.way {
            Way::ByCondition { .. } => Vec::new(),
            Way::BySize { size, limits } => kinds
                .iter()
                .map(|kind| sampler_of(kind, size).map_or(0.0, |(_, l)| limits.share(&l)))
                .collect(),
        };
        let row = |class: super::tooling::ClassName| {
            let condition = &kinds[usize::from(class.kind)].conditions[usize::from(class.condition)];
            let out = match &self.way {
                Way::BySize { .. } => by_kind[usize::from(class.kind)],
                Way::ByCondition { catches, false_reject } => {
                    let found = catches.iter().find(|(name, _)| name.value == *condition);
                    found.map_or(*false_reject, |(_, chance)| chance.value())
                }
            };
            let deed = |exit| Deed { exit, attitude: class.attitude, time: 0 };
            let rows = [(deed(0), 1.0 - out), (deed(1), out)];
            rows.into_iter().filter(|(_, share)| *share > 0.0).collect()
        };
        class_names(kinds).into_iter().map(row).collect()
    }

    fn rules(&self, kinds: &[Kind]) -> [ReturnRule; 2] {
        [ReturnRule::AsLeft, self.comes_back.rule(kinds)]
    }
}

/// The dimension of a kind: which one, and its law.
fn sampler_of(kind: &Kind, size: &Spanned<String>) -> Option<(u8, Sampler)> {
    let which = kind.sizes.iter().position(|(name, _)| *name == size.value)?;
    Some((which as u8, Sampler::new(&kind.sizes[which].1, 1.0, Method::Inversion)))
}

impl Blueprint for GaugeSpec {
    fn redirects_jammed_parts(&self) -> bool {
        true
    }

    fn exits(&self) -> Vec<ExitSpec> {
        let rejects = To::Named(self.rejects_to.clone());
        vec![ExitSpec { key: "to", to: self.to.clone() }, ExitSpec { key: "rejects_to", to: rejects }]
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        self.comes_back.check(kinds, problems);
        match &self.way {
            Way::BySize { size, .. } => {
                let known: Vec<&str> =
                    kinds.iter().flat_map(|kind| kind.sizes.iter().map(|(name, _)| &name[..])).collect();
                must_be_one_of(size, "dimension", &known, problems);
            }
            Way::ByCondition { catches, .. } => {
                let known = all_names(kinds, |kind| &kind.conditions);
                catches.iter().for_each(|(name, _)| must_be_one_of(name, "condition", &known, problems));
            }
        }
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let (table, rules) = (self.table(traffic.kinds), self.rules(traffic.kinds));
        (traffic.routes, traffic.seconds) = table_traffic(&table, &[self.time.mean()], &rules, traffic.kinds);
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let rules = self.rules(site.kinds);
        let exits = site.exits.iter().zip(&rules).map(|(exit, rule)| (*exit, rule.compiled())).collect();
        let setup = BenchSetup { inlets: site.inlets.clone(), exits, classes: site.classes.clone() };
        let time = site.law(&self.time);
        let judge = match &self.way {
            Way::ByCondition { .. } => {
                Judge::ByClass { rows: compiled(&self.table(site.kinds)), times: vec![time] }
            }
            Way::BySize { size, limits } => Judge::BySize(SizeJudge {
                laws: site
                    .kinds
                    .iter()
                    .map(|kind| sampler_of(kind, size).map(|(which, law)| (which, SizeLaw::new(law))))
                    .collect(),
                limits: limits.clone(),
                time,
            }),
        };
        let (alarm, luck) = (site.alarm(), site.dice("gauge"));
        Station::Bench(Bench::new(site.me, alarm, setup, judge, luck))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::terms::law::Shape;

    fn uniform() -> Sampler {
        let law = Law { minimum: 0.0, shape: Shape::Uniform { from: 0.010, to: 0.012 } };
        Sampler::new(&law, 1.0, Method::Inversion)
    }

    fn judge(error: f64) -> SizeJudge {
        let limits = Limits { least: 0.0102, most: 0.0116, error };
        let time = Sampler::new(&Law::fixed(0.5), 1.0, Method::Fast);
        SizeJudge { laws: vec![Some((0, SizeLaw::new(uniform())))], limits, time }
    }

    #[test]
    fn a_quantile_is_the_middle_of_its_cell_of_the_law() {
        let law = uniform();
        for quantile in [0_u16, 1, 30_000, u16::MAX] {
            let expected = 0.010 + 0.002 * (f64::from(quantile) + 0.5) / f64::from(QUANTILES);
            assert!((size_m(&law, quantile) - expected).abs() < 1e-12);
        }
        // The median of a lognormal law is mean / sqrt(1 + (spread / mean)^2) (Aitchison and Brown 1957).
        let law = Law { minimum: 0.0, shape: Shape::Lognormal { mean: 0.02, spread: 0.01 } };
        let law = Sampler::new(&law, 1.0, Method::Inversion);
        let median = 0.02 / 1.25_f64.sqrt();
        assert!((size_m(&law, 1 << 15) / median - 1.0).abs() < 1e-4);
    }

    #[test]
    fn the_share_rejected_is_that_beyond_the_limits() {
        // 10 % of the uniform law lie below the limit, 20 % above.
        assert!((judge(0.0).limits.share(&uniform()) - 0.3).abs() < 2.0 / f64::from(QUANTILES));
        // An error that is small against the distance of the limits moves as much in as out.
        assert!((judge(0.00005).limits.share(&uniform()) - 0.3).abs() < 1e-4);
        // With an error s at the edge of a uniform law of width w, less than 4 s from it, the share changes;
        // a limit half a millimetre beyond everything rejects nothing.
        let beyond = Limits { least: f64::NEG_INFINITY, most: 0.0125, error: 0.00005 };
        assert!(beyond.share(&uniform()) < 1e-20);
    }

    #[test]
    fn marks_along_the_law_change_no_reading() {
        let judge = judge(0.0);
        let (_, law) = judge.laws[0].as_ref().expect("it is measured");
        for error in [0.0, 1.3e-5, -7.7e-5] {
            for quantile in (0..QUANTILES).map(|quantile| quantile as u16) {
                let reading = size_m(&uniform(), quantile) + error;
                let expected = reading >= judge.limits.least && reading <= judge.limits.most;
                assert_eq!(law.passes(quantile, error, &judge.limits), expected, "{quantile} {error}");
            }
        }
    }

    #[test]
    fn a_gauge_with_an_error_rejects_its_share_and_a_marked_part_for_ever() {
        let judge = judge(0.0002);
        let share = judge.limits.share(&uniform());
        let mut luck = Stream::new(1, 0, "gauge", "gauge");
        const N: u32 = 40_000;
        let mut n_rejected = 0;
        for n in 0..N {
            let mut part = Part::new(0, 0, 0, 0);
            part.sizes[0] = (u64::from(n) * u64::from(QUANTILES) / u64::from(N)) as u16;
            let (exit, time) = judge.decide(&mut part, &mut luck);
            assert_eq!((time, part.is_off_size()), (500_000_000, exit == 1));
            n_rejected += u32::from(exit);
            if exit == 1 {
                part.sizes[0] = 1 << 15;
                assert_eq!(judge.decide(&mut part, &mut luck).0, 1, "it always fails again");
            }
        }
        let error = (share * (1.0 - share) / f64::from(N)).sqrt();
        assert!((f64::from(n_rejected) / f64::from(N) - share).abs() < 5.0 * error, "{n_rejected} {share}");
    }
}
