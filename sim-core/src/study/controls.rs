//! Controls: what the luck of a shift should have cost, in parts, by the balance of the line.
//!
//! A control is a weighted sum of what draws were off their means ([`Draws`]), and so has the mean 0 whatever the weights
//! are. The weights come from the balance, not from what was simulated: a second lost at a station costs the parts that it
//! could have sent to the point of use, and counts the less the more it has in reserve. They only decide how much is saved.
//! For each station there is one for what stops it and one for times and outcomes, for each pool of attendants one for
//! walks, for each kind of part one for those that are good. Not among them: how much a container holds and when it comes,
//! how lots and shifts differ, cleats, clumps, dimensions. Invariant: controls depend on the scenario alone.

use super::outputs::entry_of;
use crate::balance::{Balance, StationBalance, solve};
use crate::kernel::luck::StreamKey;
use crate::kernel::troubles::{Trigger, Trouble};
use crate::kernel::{Draw, KindNow, StationId};
use crate::measure::Draws;
use crate::network::Plan;
use crate::scenario::Scenario;
use crate::stations::catalogue::Entry;
use crate::statistics::Moments;

/// What is lost at a station counts by this power of what the limiting station could deliver over what this one could: a reserve
/// of a quarter halves it. Somewhere between 0 (all stations alike) and many (the limiting one alone), as buffers lie between
/// none and ample ones; no source.
const POWER: f64 = 3.0;

/// A number of a shift whose mean is 0.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Control {
    pub(super) name: String,
    terms: Vec<(Draw, f64)>,
}

impl Control {
    fn new(name: String, terms: Vec<(Draw, f64)>) -> Option<Self> {
        let terms: Vec<_> = terms.into_iter().filter(|(_, weight)| *weight != 0.0).collect();
        (!terms.is_empty()).then_some(Control { name, terms })
    }

    /// Parts that the luck of a shift should have cost.
    pub(super) fn value(&self, draws: &Draws) -> f64 {
        self.terms.iter().map(|(draw, weight)| weight * draws.sum(*draw)).sum()
    }
}

/// The controls of a line, and what they can't explain.
#[derive(Debug, Default)]
pub(super) struct Controls {
    pub(super) list: Vec<Control>,
    /// For each stop the chance that one is under way when the window opens or closes, and the variance of the parts that it then
    /// costs: what is left of it is in no control.
    under_way: Vec<(f64, f64)>,
}

/// A stop of which so many are expected to be under way at the edges of the shifts of a study is seen there often enough for its
/// share in what controls leave to be seen as well.
const SEEN_ENOUGH: f64 = 5.0;

impl Controls {
    /// The variance of a shift's rate that no control explains and that so many shifts hardly show, (parts/min)2: stops that are
    /// rare, in a window of so many minutes. Most studies see none of them at the edges, and would take what controls leave for
    /// next to nothing.
    pub(super) fn hardly_seen(&self, shifts: usize, window_min: f64) -> f64 {
        let rare = self.under_way.iter().filter(|(chance, _)| chance * (shifts as f64) < SEEN_ENOUGH);
        rare.map(|(_, variance)| variance).sum::<f64>() / (window_min * window_min)
    }
}

/// The controls of a line.
pub(super) fn controls(scenario: &Scenario, plan: &Plan) -> Controls {
    // A line that passed its checks has a balance; without one there are no weights.
    let Ok(balance) = solve(scenario) else { return Controls::default() };
    let line = Line { plan, balance: &balance, groups: groups(scenario, plan) };
    let stops = line.groups.iter().map(|group| line.stops(group));
    let flows = line.groups.iter().map(|group| line.flow(group));
    let walks = scenario.attendants.iter().enumerate().map(|(n, pool)| line.walks(n as u16, &pool.id.value));
    let good = scenario.kinds.iter().enumerate().map(|(n, kind)| line.good(n as u8, &kind.name));
    let list = stops.chain(flows).chain(walks).chain(good).flatten().collect();
    let edges = if plan.open_ns > 0 { 2.0 } else { 1.0 };
    let under_way = line.groups.iter().flat_map(|group| line.under_way(group));
    Controls {
        list,
        under_way: under_way.map(|(chance, variance)| (edges * chance, edges * variance)).collect(),
    }
}

/// Equal stations of the file.
pub(super) struct Group {
    name: String,
    posts: Vec<usize>,
}

pub(super) fn groups(scenario: &Scenario, plan: &Plan) -> Vec<Group> {
    let of = |(entry, spec): (usize, &Entry)| Group {
        name: spec.id.value.clone(),
        posts: (0..plan.stations.len()).filter(|&post| entry_of(plan, post) == Some(entry)).collect(),
    };
    scenario.stations.iter().enumerate().map(of).collect()
}

/// What weights are worked out from.
pub(super) struct Line<'a> {
    pub(super) plan: &'a Plan,
    pub(super) balance: &'a Balance,
    pub(super) groups: Vec<Group>,
}

impl Line<'_> {
    fn balance_of(&self, group: &Group) -> Option<&StationBalance> {
        self.balance.stations.iter().find(|station| station.id == group.name)
    }

    /// Good parts a minute with which the line is at its limit.
    fn most(&self) -> f64 {
        self.balance.most_per_min.unwrap_or(self.balance.rate_per_min)
    }

    /// Parts that a second of one of these stations is worth, as it counts.
    pub(super) fn per_second(&self, group: &Group) -> f64 {
        let station = self.balance_of(group);
        let reserve = station.and_then(|station| station.margin).map_or(1.0, |margin| 1.0 + margin);
        // What it could deliver if nothing else limited the line.
        let could = self.balance.rate_per_min * reserve;
        let could = could.max(self.most());
        could * libm::pow(self.most() / could, POWER) / 60.0 / group.posts.len().max(1) as f64
    }

    /// Time that one strike of a trouble takes on the mean, with a walk, s.
    pub(super) fn strike_s(&self, trouble: &Trouble) -> f64 {
        let walk = trouble.pool.map_or(0.0, |pool| self.plan.outfit.pools[usize::from(pool)].mean_walk_s());
        1e-9 * trouble.mean_stop_ns() + walk
    }

    pub(super) fn troubles<'a>(&'a self, group: &'a Group) -> impl Iterator<Item = (u16, &'a Trouble)> {
        let troubles = self.plan.outfit.troubles.iter().enumerate();
        troubles
            .filter(|(_, trouble)| group.posts.contains(&trouble.station.ix()))
            .map(|(ix, trouble)| (ix as u16, trouble))
    }

    /// Jams and breakdowns: strikes, and how long they take.
    fn stops(&self, group: &Group) -> Option<Control> {
        let worth = self.per_second(group);
        let mut terms = Vec::new();
        for (ix, trouble) in self.troubles(group) {
            let one = self.strike_s(trouble);
            terms.push((Draw::Stop(ix), 1e-9 * worth));
            match &trouble.trigger {
                Trigger::Part { .. } => {
                    terms.push((Draw::Struck(ix), worth * one));
                    // Of equal stations each part comes by one.
                    let of_each = worth * one / group.posts.len() as f64;
                    terms.extend(self.strikes_by_condition(trouble, of_each));
                }
                // A longer time between strikes means fewer of them.
                Trigger::Time { between, .. } => {
                    terms.push((Draw::Between(ix), -1e-9 * worth * one / between.mean()));
                }
            }
        }
        Control::new(format!("{}: stops", group.name), terms)
    }

    /// For each stop of these stations the chance that it is under way at one instant, and the variance of the parts that this
    /// costs: with strikes at a rate r and stops R the mean square of what is left is r E (R^3) / 3 (renewal theory: Cox 1962, *Renewal theory*,
    /// section 5), and r (E R)^3 where what is left is expected to be E R whenever it is asked.
    fn under_way(&self, group: &Group) -> Vec<(f64, f64)> {
        let worth = self.per_second(group);
        let of_one = |(_, trouble): (u16, &Trouble)| {
            let per_s = self.strikes_per_s(group, trouble);
            (per_s * self.strike_s(trouble), per_s * self.third_moment(trouble) * worth * worth)
        };
        let is_known = |(chance, variance): &(f64, f64)| chance.is_finite() && variance.is_finite();
        self.troubles(group).map(of_one).filter(is_known).collect()
    }

    /// Strikes of a trouble of one of these stations, a second, with the line at its limit.
    pub(super) fn strikes_per_s(&self, group: &Group, trouble: &Trouble) -> f64 {
        match &trouble.trigger {
            Trigger::Part { .. } => {
                let flow = self.balance_of(group).map_or(0.0, |station| station.flow_per_min / 60.0);
                let flow = flow * self.most() / self.balance.rate_per_min;
                flow / group.posts.len().max(1) as f64 * trouble.chance_by(0, 0)
            }
            Trigger::Time { between, .. } => 1.0 / between.mean(),
        }
    }

    /// E (R^3) / 3 of a stop R, s3; (E R)^3 if it has no memory.
    fn third_moment(&self, trouble: &Trouble) -> f64 {
        if trouble.work.has_no_memory() && trouble.pool.is_none() {
            return libm::pow(self.strike_s(trouble), 3.0);
        }
        self.mean_over_stops(trouble, |stop| libm::pow(stop, 3.0)) / 3.0
    }

    /// The mean of a function of the length of a stop, s, over draws.
    pub(super) fn mean_over_stops(&self, trouble: &Trouble, of: impl Fn(f64) -> f64) -> f64 {
        const DRAWS: usize = 4000;
        let mean = self.strike_s(trouble);
        // The laws of notice and work are known by their draws alone; what is fixed besides them is in the mean.
        let mut luck = StreamKey::new("controls", "stops under way").stream(0, 0);
        let mut draw = || {
            let notice = if trouble.pool.is_some() { trouble.notice.draw(&mut luck) } else { 0.0 };
            notice + trouble.work.draw(&mut luck)
        };
        let draws: Vec<f64> = (0..DRAWS).map(|_| draw()).collect();
        let rest = mean - draws.iter().sum::<f64>() / DRAWS as f64;
        draws.iter().map(|stop| of((stop + rest).max(0.0))).sum::<f64>() / DRAWS as f64
    }

    /// What a part in each condition costs more than a good one by a jam that some are more likely to cause, if each of
    /// them comes by once; a strike is worth `one`.
    fn strikes_by_condition(&self, trouble: &Trouble, one: f64) -> Vec<(Draw, f64)> {
        let kinds = self.plan.outfit.kinds.iter().zip(0..);
        let of = |(kind, n): (&KindNow, u8)| {
            let conditions = 0..kind.conditions.each_share().count() as u8;
            let more = move |c| one * (trouble.chance_by(n, c) - trouble.chance_by(n, 0));
            conditions.map(move |c| (Draw::Condition(n, c), more(c))).collect::<Vec<_>>()
        };
        kinds.flat_map(of).collect()
    }

    /// Times, and how many parts were sent on.
    fn flow(&self, group: &Group) -> Option<Control> {
        let worth = self.per_second(group);
        let mut terms: Vec<(Draw, f64)> =
            group.posts.iter().map(|&post| (Draw::Time(StationId(post as u16)), 1e-9 * worth)).collect();
        terms.extend(self.sorting(group).unwrap_or_default());
        Control::new(format!("{}: times and outcomes", group.name), terms)
    }

    /// What is sent on by a station that sorts out, and how parts lie that come to it.
    fn sorting(&self, group: &Group) -> Option<Vec<(Draw, f64)>> {
        let station = self.balance_of(group)?;
        let sorting = self.balance.sorting.iter().find(|sorting| sorting.id == group.name)?;
        // Time of one of them for each part that it sends on.
        let seconds = 60.0 * f64::from(station.count) / (station.capacity_per_min? * sorting.accepted);
        let worth = -self.per_second(group) * seconds;
        if !worth.is_finite() {
            return None;
        }
        let mut terms: Vec<(Draw, f64)> =
            group.posts.iter().map(|&post| (Draw::Accepted(StationId(post as u16)), worth)).collect();
        let first = &self.plan.stations[*group.posts.first()?];
        for (n, kind) in self.plan.outfit.kinds.iter().enumerate() {
            let kind_no = n as u8;
            let chance = |condition, attitude| first.chance_onward(kind_no, condition, attitude);
            for attitude in 0..kind.attitudes.each_share().count() as u8 {
                terms.push((Draw::Attitude(kind_no, attitude), worth * chance(0, attitude)?));
            }
            for condition in 0..kind.conditions.each_share().count() as u8 {
                let shares = kind.attitudes.each_share().zip(0..);
                let mean = shares.map(|(share, attitude)| Some(share * chance(condition, attitude)?));
                terms.push((Draw::Condition(kind_no, condition), worth * mean.sum::<Option<f64>>()?));
            }
        }
        Some(terms)
    }

    /// Walks of a pool: a second of one costs what a second of the stations costs whose stops it clears.
    fn walks(&self, pool: u16, name: &str) -> Option<Control> {
        let called = self
            .groups
            .iter()
            .filter(|group| self.troubles(group).any(|(_, trouble)| trouble.pool == Some(pool)));
        let worths: Vec<f64> = called.map(|group| self.per_second(group)).collect();
        let worth = worths.iter().sum::<f64>() / worths.len().max(1) as f64;
        Control::new(format!("{name}: walks"), vec![(Draw::Walk(pool), 1e-9 * worth)])
    }

    /// Good parts of a kind.
    fn good(&self, kind: u8, name: &str) -> Option<Control> {
        let n = self.plan.outfit.kinds[usize::from(kind)].conditions.each_share().count();
        Control::new(
            format!("{name}: conditions"),
            vec![(Draw::Condition(kind, 0), if n > 1 { -1.0 } else { 0.0 })],
        )
    }
}

/// Shifts for each control of a regression: with so many, estimating the coefficients costs about a ninth of the variance.
const SHIFTS_OF_CONTROL: usize = 10;
/// What the rest of the controls is called, taken together.
const REST: &str = "all others together";

/// A control with its value in each of the shifts.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Column {
    pub(super) name: String,
    pub(super) values: Vec<f64>,
}

/// The controls to use, one at least for ten shifts each: those that spread most, and the sum of all others. What the shifts made
/// is not looked at, so that the regression is what it would be had they been named beforehand.
pub(super) fn chosen(mut columns: Vec<Column>) -> Vec<Column> {
    let spread =
        |column: &Column| column.values.iter().copied().collect::<Moments>().variance().unwrap_or(0.0);
    columns.retain(|column| spread(column) > 0.0);
    // The sort is stable, so that equal ones stay in the order of the file.
    columns.sort_by(|a, b| spread(b).total_cmp(&spread(a)));
    let most = columns.first().map_or(0, |column| column.values.len() / SHIFTS_OF_CONTROL).max(1);
    if columns.len() <= most {
        return columns;
    }
    let rest = columns.split_off(most - 1);
    let sum = |t: usize| rest.iter().map(|column| column.values[t]).sum();
    let values = (0..rest[0].values.len()).map(sum).collect();
    let name = if rest.len() == 1 { rest[0].name.clone() } else { REST.to_owned() };
    columns.push(Column { name, values });
    columns
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::variant::{Desk, Variant};

    const LINES: [(&str, &str); 9] = [
        ("knob-two-paths", include_str!("../../../scenarios/knob-two-paths.json")),
        ("rivet-heads", include_str!("../../../scenarios/rivet-heads.json")),
        ("dowels-graded", include_str!("../../../scenarios/dowels-graded.json")),
        ("hand-wheels", include_str!("../../../scenarios/hand-wheels.json")),
        ("hook-family", include_str!("../../../scenarios/hook-family.json")),
        ("soap-checks", include_str!("../../../scenarios/soap-checks.json")),
        ("one-attendant-six-lines", include_str!("../../../scenarios/one-attendant-six-lines.json")),
        ("fuse-blow", include_str!("../../../scenarios/fuse-blow.json")),
        ("tack-degrease", include_str!("../../../scenarios/tack-degrease.json")),
    ];

    /// 150 shifts of 20 minutes after a warm-up of 10, cut where they happen to be. A right control of some 60 is more than
    /// five standard errors off 0 with a chance under 1e-4 in all, if its mean is nearly normal; there is one seed.
    #[test]
    fn every_control_is_0_on_the_mean_wherever_the_shift_is_cut() {
        let mut n = 0;
        for (name, text) in LINES {
            let checked = crate::scenario::read(text);
            let mut scenario = checked.scenario.unwrap_or_else(|| panic!("{:?}", checked.problems));
            scenario.plan.warm_up = crate::scenario::WarmUp::Given(0.0);
            let mut variant = Variant::new(scenario).with_controls();
            variant.cut(600.0, 1800.0);
            let names = variant.control_names();
            let mut sums = vec![Moments::new(); names.len()];
            let (mut desk, mut values) = (Desk::default(), Vec::new());
            for number in 0..150 {
                variant.shift(3, number, &mut desk, &mut values).unwrap();
                sums.iter_mut().zip(variant.controls_of(&values)).for_each(|(sum, value)| sum.push(*value));
            }
            for (control, sum) in names.iter().zip(&sums).filter(|(_, sum)| sum.variance() > Some(0.0)) {
                let off = sum.mean().unwrap() / sum.standard_error().unwrap();
                assert!(off.abs() < 5.0, "{name}, {control}: {off} standard errors off");
                n += 1;
            }
        }
        assert!(n >= 40, "{n}");
    }

    /// The parts lie and lie again as they fall, so that the share which a path sends on is the same by the balance.
    #[test]
    fn the_chance_to_go_on_is_what_the_balance_counts() {
        let scenario = crate::scenario::read(LINES[0].1).scenario.unwrap();
        let plan = crate::network::compile(&scenario);
        let balance = solve(&scenario).unwrap();
        let path = plan.names.posts.iter().position(|name| name == "path 1").unwrap();
        let fall = plan.outfit.kinds[0].attitudes.each_share().zip(0..);
        let on: f64 = fall
            .map(|(share, attitude)| share * plan.stations[path].chance_onward(0, 0, attitude).unwrap())
            .sum();
        assert!((on - balance.sorting[0].accepted).abs() < 1e-9, "{on} {:?}", balance.sorting);
    }

    fn column(name: &str, values: &[f64]) -> Column {
        Column { name: name.to_owned(), values: values.to_vec() }
    }

    #[test]
    fn those_that_spread_most_are_chosen_and_the_rest_is_taken_together() {
        let spreading = |name, by: f64| column(name, &(0..20).map(|t| by * f64::from(t)).collect::<Vec<_>>());
        let columns =
            vec![spreading("a", 1.0), spreading("none", 0.0), spreading("b", 4.0), spreading("c", 2.0)];
        // Twenty shifts: two controls.
        let found = chosen(columns.clone());
        assert_eq!(found, [spreading("b", 4.0), spreading(REST, 3.0)]);
        let found = chosen(columns[..3].to_vec());
        assert_eq!(found, [spreading("b", 4.0), spreading("a", 1.0)]);
        // Fewer than twenty: one, and never none.
        let few = columns.iter().map(|all| column(&all.name, &all.values[..5])).collect();
        assert_eq!(chosen(few), [column(REST, &[0.0, 7.0, 14.0, 21.0, 28.0])]);
        assert_eq!(chosen(Vec::new()), []);
    }

    /// Exact: 1 s for a part, so that 60 a minute are the limit; a jam in 50 parts for 20 s.
    #[test]
    fn weights_are_parts_that_the_balance_says_are_lost() {
        let text = r#"{"feedproof": 1, "stations": [
            {"id": "F", "type": "work", "endless": true, "time": {"law": "exponential", "mean": "1 s"},
             "jams": [{"per_part": 0.02, "time": "20 s"}]},
            {"id": "M", "type": "work", "time": {"law": "exponential", "mean": "0.5 s"}}],
            "plan": {"shift": "10 min"}}"#;
        let scenario = crate::scenario::read(text).scenario.unwrap();
        let plan = crate::network::compile(&scenario);
        let found = controls(&scenario, &plan).list;
        let post =
            |name: &str| StationId(plan.names.posts.iter().position(|known| known == name).unwrap() as u16);
        let near = |control: &Control, terms: &[(Draw, f64)]| {
            assert_eq!(control.terms.len(), terms.len(), "{control:?}");
            for ((draw, weight), (wanted, by)) in control.terms.iter().zip(terms) {
                assert!(draw == wanted && (weight - by).abs() <= 1e-9 * by.abs(), "{control:?} {terms:?}");
            }
        };
        let named = |name: &str| found.iter().find(|control| control.name == name).unwrap();
        near(named("F: stops"), &[(Draw::Stop(0), 1e-9), (Draw::Struck(0), 20.0)]);
        near(named("F: times and outcomes"), &[(Draw::Time(post("F")), 1e-9)]);
        // It could make twice as many: a second there is worth two parts, and counts by (1/2)^3.
        near(named("M: times and outcomes"), &[(Draw::Time(post("M")), 0.25e-9)]);
        assert_eq!(found.len(), 3, "{found:?}");
    }
}
