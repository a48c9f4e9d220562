//! Tools as plain shares: what a pass does to a class of parts, on the average.
//!
//! The running tools ([`super::tools`]) draw; this module multiplies. A row of tools is a row of stochastic
//! matrices (the matrix technique: Boothroyd, Poli and Murch 1982), so what becomes of a class in one pass is
//! exact. It knows nothing of time. Invariant: the shares that [`Tooling::through`] gives for one entry
//! class add up to 1.

use super::crowding::{Blend, Crowding};
use super::tools::{Classes, Comeback, Fate, Row, Tool};
use crate::kernel::Moment;
use crate::kernel::dice::Outcomes;
use crate::terms::kind::Kind;

/// What one tool does, by class: fates with their chances, which add up to 1.
pub type ToolTable = Vec<Vec<(Fate, f64)>>;

/// A class of parts by its indices.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClassName {
    /// Index of the kind.
    pub kind: u8,
    /// Index of the condition.
    pub condition: u8,
    /// Index of the attitude.
    pub attitude: u8,
}

/// All classes, in the order of their numbers.
pub fn class_names(kinds: &[Kind]) -> Vec<ClassName> {
    let mut names = Vec::new();
    for (kind, of) in kinds.iter().enumerate() {
        for condition in 0..of.conditions.len() {
            for attitude in 0..of.attitudes.len() {
                let (kind, condition, attitude) = (kind as u8, condition as u8, attitude as u8);
                names.push(ClassName { kind, condition, attitude });
            }
        }
    }
    names
}

/// Numbers of the classes of these kinds.
pub fn classes_of(kinds: &[Kind]) -> Classes {
    let sizes: Vec<_> = kinds.iter().map(|kind| (kind.conditions.len(), kind.attitudes.len())).collect();
    Classes::new(&sizes)
}

/// The attitude in which a part leaves, by the rule of its exit: shares by attitude, or `None` as it was left.
pub fn comes_back_as(comeback: &ReturnRule, kind: &Kind, at_entry: usize) -> Option<Vec<f64>> {
    match comeback {
        ReturnRule::AsLeft => None,
        ReturnRule::Remix => Some(kind.attitude_shares.clone()),
        ReturnRule::Keep(chance) => {
            let mut shares: Vec<f64> = kind.attitude_shares.iter().map(|s| s * (1.0 - chance)).collect();
            shares[at_entry] += chance;
            Some(shares)
        }
        ReturnRule::Matrix(rows) => Some(rows[at_entry].clone()),
    }
}

/// The rule of an exit (ruling 10), with plain shares.
#[derive(Clone, Debug, PartialEq, Default)]
pub enum ReturnRule {
    /// Anew from the natural chances.
    #[default]
    Remix,
    /// The attitude at entry to the pass is kept with this chance, otherwise anew.
    Keep(f64),
    /// As the tools left it.
    AsLeft,
    /// By the attitude at entry: shares by attitude.
    Matrix(Vec<Vec<f64>>),
}

impl ReturnRule {
    /// The rule as it runs with parts of these kinds: where there is one attitude there is nothing to draw.
    pub fn compiled_for(&self, kinds: &[Kind]) -> Comeback {
        let is_remix = *self == ReturnRule::Remix;
        let has_one = kinds.iter().all(|kind| kind.attitudes.len() == 1);
        if is_remix && has_one { Comeback::AsLeft } else { self.compiled() }
    }

    /// The rule as it runs.
    pub fn compiled(&self) -> Comeback {
        match self {
            ReturnRule::Remix => Comeback::Remix,
            ReturnRule::Keep(chance) => Comeback::Keep(*chance),
            ReturnRule::AsLeft => Comeback::AsLeft,
            ReturnRule::Matrix(rows) => {
                let outcomes = |row: &Vec<f64>| {
                    Outcomes::new(row).unwrap_or_else(|e| panic!("the shares of a row were checked: {e}"))
                };
                Comeback::Matrix(rows.iter().map(outcomes).collect())
            }
        }
    }
}

/// A jam by part whose part leaves through a stated exit once it is cleared.
#[derive(Clone, Debug)]
pub struct LeadsOff {
    /// When it strikes.
    pub at: Moment,
    /// Its chance, by class.
    pub chances: Vec<f64>,
    /// The exit.
    pub exit: u8,
}

/// A row of tools with the rules of the exits.
#[derive(Clone, Debug, Default)]
pub struct Tooling {
    /// The tools, in order.
    pub tools: Vec<ToolTable>,
    /// Tools whose chances depend on the loading of the path: their number, the points, and what they do on a crowded path.
    pub crowded: Vec<(usize, Crowding, ToolTable)>,
    /// Rule of each exit; that of exit 0 is not used.
    pub rules: Vec<ReturnRule>,
    /// Share of all entering parts that hang together with others, and the exit through which the first tool
    /// sends them.
    pub tangled: Option<(f64, u8)>,
    /// Jams that take their part off the row of tools.
    pub leads_off: Vec<LeadsOff>,
}

impl Tooling {
    /// What becomes of a part of class `entry` in one pass: (exit, class in which it leaves, share), exits
    /// ascending, shares above 0. Too close parts and overflow are not in it.
    pub fn through(&self, kinds: &[Kind], entry: usize) -> Vec<(u8, usize, f64)> {
        let classes = classes_of(kinds);
        let ClassName { kind, condition, attitude } = class_names(kinds)[entry];
        let of = &kinds[usize::from(kind)];
        let class = |attitude: usize| classes.index(kind, condition, attitude as u8);
        let at_entry = usize::from(attitude);
        let n = of.attitudes.len();
        let (tangled, tangled_exit) = self.tangled.unwrap_or((0.0, 0));
        let mut here = vec![0.0; n];
        here[at_entry] = 1.0;
        let mut out = vec![vec![0.0; n]; self.rules.len()];
        let mut led = out.clone();
        let mut jam = |moment: Moment, shares: &mut Vec<f64>| {
            for jam in self.leads_off.iter().filter(|jam| jam.at == moment) {
                for (attitude, share) in shares.iter_mut().enumerate() {
                    let struck = *share * jam.chances[class(attitude)];
                    *share -= struck;
                    led[usize::from(jam.exit)][attitude] += struck;
                }
            }
        };
        jam(Moment::Start, &mut here);
        for (no, tool) in self.tools.iter().enumerate() {
            jam(Moment::Tool(no as u8), &mut here);
            if no == 0 {
                out[usize::from(tangled_exit)][at_entry] += here[at_entry] * tangled;
                here[at_entry] *= 1.0 - tangled;
            }
            let mut next = vec![0.0; n];
            for (attitude, share) in here.iter().enumerate() {
                for (fate, chance) in &tool[class(attitude)] {
                    match fate {
                        Fate::Onward(to) => next[usize::from(*to)] += share * chance,
                        Fate::Exit(no) => out[usize::from(*no)][attitude] += share * chance,
                    }
                }
            }
            here = next;
        }
        out.iter_mut().chain([&mut here]).for_each(|shares| jam(Moment::End, shares));
        out[0] = here;
        for (shares, led) in out.iter_mut().zip(led) {
            shares.iter_mut().zip(led).for_each(|(share, led)| *share += led);
        }
        let mut routes = Vec::new();
        for (no, left_as) in out.iter().enumerate() {
            let shares = if no == 0 { left_as.clone() } else { self.as_returned(of, no, at_entry, left_as) };
            let rows = shares.iter().enumerate().filter(|(_, share)| **share > 0.0);
            routes.extend(rows.map(|(attitude, share)| (no as u8, class(attitude), *share)));
        }
        routes
    }

    /// The same tools with the chances of a crowded path for those for which `is_crowded` says so, and of an uncrowded path
    /// for the others.
    pub fn at_corner(&self, is_crowded: impl Fn(usize) -> bool) -> Tooling {
        let mut corner = Tooling { crowded: Vec::new(), ..self.clone() };
        for (tool, _, table) in self.crowded.iter().filter(|(tool, ..)| is_crowded(*tool)) {
            corner.tools[*tool].clone_from(table);
        }
        corner
    }

    /// The same tools with chances half-way between those of an uncrowded and of a crowded path.
    pub fn half_way(&self) -> Tooling {
        let mut middle = Tooling { crowded: Vec::new(), ..self.clone() };
        for (tool, points, table) in &self.crowded {
            let pairs = self.tools[*tool].iter().zip(table);
            let row = |(uncrowded, crowded): (&Vec<_>, &Vec<_>)| -> Vec<(Fate, f64)> {
                Blend::new(*points, uncrowded, crowded)
                    .fates_half_way()
                    .filter(|(_, chance)| *chance > 0.0)
                    .collect()
            };
            middle.tools[*tool] = pairs.map(row).collect();
        }
        middle
    }

    fn as_returned(&self, kind: &Kind, no: usize, at_entry: usize, left_as: &[f64]) -> Vec<f64> {
        match comes_back_as(&self.rules[no], kind, at_entry) {
            None => left_as.to_vec(),
            Some(shares) => {
                let all: f64 = left_as.iter().sum();
                shares.iter().map(|share| share * all).collect()
            }
        }
    }

    /// The tools as they run.
    pub fn compiled(&self) -> Vec<Tool> {
        let crowded = |no: usize| self.crowded.iter().find(|(known, ..)| *known == no);
        let row = |no: usize, class: usize| match crowded(no) {
            None => Row::new(&self.tools[no][class]),
            Some((_, points, table)) => Row::blended(*points, &self.tools[no][class], &table[class]),
        };
        let checked = |row: Result<Row, String>| {
            row.unwrap_or_else(|e| panic!("the chances of a tool's row were checked: {e}"))
        };
        let tool = |no: usize| (0..self.tools[no].len()).map(|class| checked(row(no, class))).collect();
        (0..self.tools.len()).map(|no| Tool::new(tool(no))).collect()
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// The invented part of rows O-04 to O-09 of the check values: four aspects, two tooled steps.
    pub(crate) fn invented_part() -> Kind {
        Kind {
            attitudes: ["a", "b", "c", "d"].map(str::to_owned).to_vec(),
            attitude_shares: vec![0.4, 0.3, 0.2, 0.1],
            ..Kind::plain("invented")
        }
    }

    fn step(rows: [&[(u8, f64)]; 4]) -> ToolTable {
        let row = |row: &&[(u8, f64)]| {
            let mut fates: Vec<(Fate, f64)> = row.iter().map(|(to, p)| (Fate::Onward(*to), *p)).collect();
            let lost = 1.0 - row.iter().map(|(_, p)| p).sum::<f64>();
            if lost > 1e-12 {
                fates.push((Fate::Exit(1), lost));
            }
            fates
        };
        rows.iter().map(row).collect()
    }

    fn two_steps(rule: ReturnRule) -> Tooling {
        Tooling {
            tools: vec![
                step([&[(0, 1.0)], &[(0, 0.6), (1, 0.2)], &[(2, 0.5)], &[]]),
                step([&[(0, 0.95)], &[], &[(0, 0.3)], &[]]),
            ],
            crowded: Vec::new(),
            rules: vec![ReturnRule::AsLeft, rule],
            tangled: None,
            leads_off: Vec::new(),
        }
    }

    /// Flow into the path by class when rejects come back to its entry and `fresh` parts enter, by solving
    /// x = fresh + x Q with as many rounds as it takes.
    pub(crate) fn entry_flow(routes: &[Vec<(u8, usize, f64)>], back: u8, fresh: &[f64]) -> Vec<f64> {
        let mut flow = fresh.to_vec();
        for _ in 0..10_000 {
            let mut next = fresh.to_vec();
            for (class, rows) in routes.iter().enumerate() {
                for (exit, to, share) in rows {
                    if *exit == back {
                        next[*to] += flow[class] * share;
                    }
                }
            }
            flow = next;
        }
        flow
    }

    fn routes(tooling: &Tooling, kinds: &[Kind]) -> Vec<Vec<(u8, usize, f64)>> {
        (0..kinds[0].n_classes()).map(|class| tooling.through(kinds, class)).collect()
    }

    #[test]
    fn a_row_of_tools_is_a_product_of_matrices() {
        // Row O-04 of the check values: efficiency 0.581 (matrix technique: Boothroyd, Poli and Murch 1982;
        // matrices invented).
        let kinds = [invented_part()];
        let routes = routes(&two_steps(ReturnRule::Remix), &kinds);
        let accepted = |class: usize| -> f64 {
            routes[class].iter().filter(|(exit, ..)| *exit == 0).map(|(.., share)| share).sum()
        };
        let efficiency: f64 =
            kinds[0].attitude_shares.iter().enumerate().map(|(class, p)| p * accepted(class)).sum();
        assert!((efficiency - 0.581).abs() < 1e-12, "{efficiency}");
        for rows in &routes {
            let sum: f64 = rows.iter().map(|(.., share)| share).sum();
            assert!((sum - 1.0).abs() < 1e-12, "{rows:?}");
        }
    }

    #[test]
    fn rejects_that_are_remixed_take_fewer_passes_than_those_that_remember() {
        // Rows O-07, O-08 and O-09 (Kemeny and Snell 1960, fundamental matrix; matrices invented).
        let kinds = [invented_part()];
        let fresh = kinds[0].attitude_shares.clone();
        for (rule, passes) in [(ReturnRule::Remix, 1.721_170_396), (ReturnRule::Keep(0.7), 2.345_084_063)] {
            let flow = entry_flow(&routes(&two_steps(rule), &kinds), 1, &fresh);
            let mean: f64 = flow.iter().sum();
            assert!((mean - passes).abs() < 1e-9, "{mean} {passes}");
            if passes > 2.0 {
                let share_of_d = flow[3] / mean;
                assert!((share_of_d - 0.199_498_920_7).abs() < 1e-10, "{share_of_d}");
            }
        }
    }

    #[test]
    fn what_is_left_as_it_was_or_goes_by_a_matrix() {
        let kinds = [invented_part()];
        let as_left = two_steps(ReturnRule::AsLeft).through(&kinds, 1);
        // b: 0.6 to a (of which 0.03 is lost at the second step), 0.2 stays b and is lost, 0.2 lost at once.
        let expected = [(0, 0, 0.57), (1, 0, 0.03), (1, 1, 0.4)];
        assert_eq!(as_left.len(), 3, "{as_left:?}");
        for (row, (exit, class, share)) in as_left.iter().zip(expected) {
            assert!(row.0 == exit && row.1 == class && (row.2 - share).abs() < 1e-12, "{as_left:?}");
        }
        let mut matrix = vec![vec![0.25; 4]; 4];
        matrix[3] = vec![0.0, 0.0, 1.0, 0.0];
        let by_matrix = two_steps(ReturnRule::Matrix(matrix)).through(&kinds, 3);
        assert_eq!(by_matrix, [(1, 2, 1.0)]);
    }

    #[test]
    fn classes_are_numbered_as_the_running_tools_number_them() {
        let mut other = Kind::plain("other");
        other.conditions.push("bent".to_owned());
        let kinds = [invented_part(), other];
        let classes = classes_of(&kinds);
        for (number, name) in class_names(&kinds).iter().enumerate() {
            assert_eq!(classes.index(name.kind, name.condition, name.attitude), number);
        }
    }
}
