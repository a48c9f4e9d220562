//! A row of tools: what each does to a part by its condition and attitude.
//!
//! A tool maps a part to: onward in an attitude, or to an exit, each with its chance. What can't be
//! otherwise draws no luck. The row is compiled into one table per tool, indexed by the class of the part.

use super::crowding::{Blend, Crowding};
use crate::kernel::dice::Outcomes;
use crate::kernel::{Exit, Floor, Observer, PlaceId, Stream, dice};
use crate::part::Part;

/// What a tool did with a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// It goes on in this attitude.
    Onward(u8),
    /// It leaves through this exit.
    Exit(u8),
}

/// Where the classes of a kind stand in a tool's table: class = first + condition * attitudes + attitude.
#[derive(Clone, Copy, Debug)]
pub struct ClassBlock {
    /// First class of the kind.
    pub first: u16,
    /// Number of attitudes of the kind.
    pub n_attitudes: u16,
    /// Number of conditions of the kind.
    pub n_conditions: u16,
}

/// Numbers the classes of all kinds.
#[derive(Clone, Debug, Default)]
pub struct Classes {
    blocks: Vec<ClassBlock>,
    n: usize,
}

impl Classes {
    /// Numbers the classes of kinds with the given numbers of (conditions, attitudes).
    pub fn new(kinds: &[(usize, usize)]) -> Self {
        let mut classes = Classes::default();
        for &(n_conditions, n_attitudes) in kinds {
            classes.blocks.push(ClassBlock {
                first: classes.n as u16,
                n_attitudes: n_attitudes as u16,
                n_conditions: n_conditions as u16,
            });
            classes.n += n_conditions * n_attitudes;
        }
        classes
    }

    /// Number of classes.
    pub fn len(&self) -> usize {
        self.n
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.n == 0
    }

    /// The class of a part.
    #[inline]
    pub fn of(&self, part: &Part) -> usize {
        self.index(part.kind, part.condition, part.attitude)
    }

    /// For each class the number of the one of the same kind and condition in attitude 0.
    fn of_attitude_0(&self) -> impl Iterator<Item = usize> + '_ {
        self.blocks.iter().flat_map(|block| {
            let (first, n) = (usize::from(block.first), usize::from(block.n_attitudes));
            (0..usize::from(block.n_conditions) * n).map(move |class| first + class - class % n.max(1))
        })
    }

    /// Whether no kind has more than one attitude.
    pub fn have_one_attitude(&self) -> bool {
        self.blocks.iter().all(|block| block.n_attitudes <= 1)
    }

    /// The class of a (kind, condition, attitude).
    #[inline]
    pub fn index(&self, kind: u8, condition: u8, attitude: u8) -> usize {
        let block = self.blocks[usize::from(kind)];
        usize::from(block.first + u16::from(condition) * block.n_attitudes + u16::from(attitude))
    }
}

/// What one tool does with one class.
#[derive(Clone, Debug)]
pub struct Row {
    /// Of two fates: words below this give the first.
    threshold: u64,
    /// First fate, and second if there is one: most rows have no more.
    pair: [Fate; 2],
    choice: Choice,
    /// All fates, where there are more than two or their chances depend on the loading.
    many: Option<Box<Many>>,
}

/// Fates that need more than one threshold.
#[derive(Clone, Debug)]
enum Many {
    Fixed(Outcomes, Vec<Fate>),
    Blended(Blend),
}

/// How much luck a row takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Choice {
    None,
    OfTwo,
    OfMany,
    ByLoading,
}

impl Row {
    /// A row of weighted fates; weights are normalised.
    ///
    /// # Errors
    /// If there is no fate, or a weight is negative or not finite, or all are zero.
    pub fn new(fates: &[(Fate, f64)]) -> Result<Self, String> {
        let weights: Vec<f64> = fates.iter().map(|(_, weight)| *weight).collect();
        let outcomes = dice::Outcomes::new(&weights)?;
        let fates: Vec<Fate> = fates.iter().map(|(fate, _)| *fate).collect();
        let (pair, threshold) = ([fates[0], fates[outcomes.last().min(1)]], outcomes.first_threshold());
        let (choice, many) = match fates.len() {
            0 | 1 => (Choice::None, None),
            2 => (Choice::OfTwo, None),
            _ => (Choice::OfMany, Some(Box::new(Many::Fixed(outcomes, fates)))),
        };
        Ok(Row { threshold, pair, choice, many })
    }

    /// A row whose chances depend on the loading of the path; fixed if the two rows are the same.
    ///
    /// # Errors
    /// As [`Row::new`].
    pub fn blended(
        crowding: Crowding,
        uncrowded: &[(Fate, f64)],
        crowded: &[(Fate, f64)],
    ) -> Result<Self, String> {
        let row = Row::new(uncrowded)?;
        if uncrowded == crowded {
            return Ok(row);
        }
        Row::new(crowded)?;
        let many = Some(Box::new(Many::Blended(Blend::new(crowding, uncrowded, crowded))));
        Ok(Row { choice: Choice::ByLoading, many, ..row })
    }

    /// The fates with their chances; half-way between the points where they depend on the loading.
    fn fates(&self) -> Vec<(Fate, f64)> {
        match (self.choice, self.many.as_deref()) {
            (Choice::None, _) => vec![(self.pair[0], 1.0)],
            (_, Some(Many::Fixed(outcomes, fates))) => {
                fates.iter().copied().zip(outcomes.each_share()).collect()
            }
            (_, Some(Many::Blended(blend))) => blend.fates_half_way().collect(),
            (Choice::OfTwo | Choice::OfMany | Choice::ByLoading, None) => {
                let first = self.threshold as f64 / 18_446_744_073_709_551_616.0;
                vec![(self.pair[0], first), (self.pair[1], 1.0 - first)]
            }
        }
    }

    #[inline(never)]
    fn fate_of_many(&self, loading: f64, luck: &mut Stream) -> Fate {
        match self.many.as_deref() {
            Some(Many::Fixed(outcomes, fates)) => fates[outcomes.pick(luck)],
            Some(Many::Blended(blend)) => blend.fate(loading, luck),
            None => panic!("a choice of many lists them"),
        }
    }

    /// The fates with their chances at a loading, if they depend on it.
    fn fates_at(&self, loading: f64) -> Option<impl Iterator<Item = (Fate, f64)>> {
        match self.many.as_deref() {
            Some(Many::Blended(blend)) => Some(blend.fates(loading)),
            Some(Many::Fixed(..)) | None => None,
        }
    }
}

/// One tool: a row for each class.
#[derive(Clone, Debug)]
pub struct Tool {
    rows: Vec<Row>,
    /// By class; see [`look_ahead`]. It stands here, and not in the station, so that stations are as small as can be.
    onward: Vec<f64>,
}

impl Tool {
    /// A tool from its rows, one per class.
    pub fn new(rows: Vec<Row>) -> Self {
        Tool { rows, onward: Vec::new() }
    }

    /// Whether what it does depends on the loading of the path.
    pub fn depends_on_loading(&self) -> bool {
        self.rows.iter().any(|row| row.choice == Choice::ByLoading)
    }

    /// What happens to a part of `class` on a path of this loading (0 to 1), which is worked out where it counts.
    #[inline(always)]
    pub fn fate(&self, class: usize, loading: impl FnOnce() -> f64, luck: &mut Stream) -> Fate {
        let row = &self.rows[class];
        match row.choice {
            Choice::None => row.pair[0],
            Choice::OfTwo => {
                if luck.next_u64() < row.threshold {
                    row.pair[0]
                } else {
                    row.pair[1]
                }
            }
            Choice::OfMany => row.fate_of_many(1.0, luck),
            Choice::ByLoading => row.fate_of_many(loading(), luck),
        }
    }
}

/// Works out for each tool of a row the chance that a part which comes to it goes on through exit 0 in the end.
pub fn look_ahead(tools: &mut [Tool], classes: &Classes) {
    let mut after = vec![1.0; classes.len()];
    for tool in tools.iter_mut().rev() {
        let of_fate = |first: usize, (fate, chance): (Fate, f64)| match fate {
            Fate::Onward(attitude) => chance * after[first + usize::from(attitude)],
            Fate::Exit(0) => chance,
            Fate::Exit(_) => 0.0,
        };
        let of = |(class, first): (usize, usize)| -> f64 {
            tool.rows[class].fates().into_iter().map(|fate| of_fate(first, fate)).sum()
        };
        after = classes.of_attitude_0().enumerate().map(of).collect();
        tool.onward.clone_from(&after);
    }
}

/// The chance that a part of `class`, whose class in attitude 0 is `first`, goes on in the end, before tool number `tool`
/// acts on a path of this loading. What later tools do counts as [`look_ahead`] has it.
pub(super) fn chance_onward_at(
    tools: &[Tool],
    tool: usize,
    first: usize,
    class: usize,
    loading: impl FnOnce() -> f64,
) -> f64 {
    let row = &tools[tool].rows[class];
    let Some(fates) = (row.choice == Choice::ByLoading).then(|| row.fates_at(loading())).flatten() else {
        return tools[tool].onward[class];
    };
    let after = |(fate, chance): (Fate, f64)| match fate {
        Fate::Onward(attitude) => chance * chance_onward(tools, tool + 1, first + usize::from(attitude)),
        Fate::Exit(exit) => chance * f64::from(u8::from(exit == 0)),
    };
    fates.map(after).sum()
}

/// The chance that a part of `class` goes on in the end, before tool number `tool` of a row that was looked through.
#[inline]
pub fn chance_onward(tools: &[Tool], tool: usize, class: usize) -> f64 {
    tools.get(tool).map_or(1.0, |tool| tool.onward[class])
}

/// What the only tool of a row does with a part of one class, with nothing left to look up.
#[derive(Clone, Copy, Debug)]
pub(super) struct Gate {
    threshold: u64,
    ways: [Way; 2],
    draws: bool,
}

/// Where a part goes, and how.
#[derive(Clone, Copy, Debug)]
pub(super) struct Way {
    /// The store beyond the exit.
    pub(super) place: PlaceId,
    /// The exit.
    pub(super) exit: u8,
    /// Attitude in which it comes there.
    pub(super) attitude: u8,
}

impl Gate {
    /// The gates of a row of tools by class; empty unless it has only one tool, that has no more than two fates for any
    /// class, and all exits lead into stores.
    pub(super) fn of(tools: &[Tool], classes: &Classes, exits: &[Exit]) -> Vec<Gate> {
        let [tool] = tools else { return Vec::new() };
        let attitudes = classes.blocks.iter().flat_map(|block| {
            (0..block.n_conditions * block.n_attitudes).map(|n| (n % block.n_attitudes) as u8)
        });
        let gates = tool.rows.iter().zip(attitudes);
        gates
            .map(|(row, attitude)| Gate::of_row(row, attitude, exits))
            .collect::<Option<_>>()
            .unwrap_or_default()
    }

    fn of_row(row: &Row, attitude: u8, exits: &[Exit]) -> Option<Gate> {
        let draws = match row.choice {
            Choice::None => false,
            Choice::OfTwo => true,
            Choice::OfMany | Choice::ByLoading => return None,
        };
        let way = |fate: Fate| {
            let (exit, attitude) = match fate {
                Fate::Onward(attitude) => (0, attitude),
                Fate::Exit(no) => (no, attitude),
            };
            match exits[usize::from(exit)] {
                Exit::Store(place) => Some(Way { place, exit, attitude }),
                Exit::Leave | Exit::Hand(_) => None,
            }
        };
        let ways = [way(row.pair[0])?, way(row.pair[usize::from(draws)])?];
        Some(Gate { threshold: row.threshold, ways, draws })
    }

    /// The way of a part.
    #[inline(always)]
    pub(super) fn pass(&self, luck: &mut Stream) -> Way {
        if self.draws && luck.next_u64() >= self.threshold { self.ways[1] } else { self.ways[0] }
    }
}

/// Attitude of a part that comes back, by the rule of the exit through which it left.
#[derive(Clone, Debug)]
pub enum Comeback {
    /// Anew from the natural chances (the default).
    Remix,
    /// The attitude at entry to the pass is kept with this chance, otherwise anew.
    Keep(f64),
    /// As the tools left it.
    AsLeft,
    /// By a matrix: the attitude at entry to the pass gives the row, one outcome per attitude.
    Matrix(Vec<Outcomes>),
}

impl Comeback {
    /// Whether it leaves every part of these classes as it is, without any luck.
    pub(super) fn is_idle(&self, classes: &Classes) -> bool {
        match self {
            Comeback::AsLeft => true,
            Comeback::Remix => classes.have_one_attitude(),
            Comeback::Keep(_) | Comeback::Matrix(_) => false,
        }
    }

    /// Gives a part that leaves, and entered the pass in the attitude `at_entry`, the attitude of this rule.
    #[inline(always)]
    pub(super) fn turn<O: Observer>(
        &self,
        floor: &mut Floor<O>,
        at_entry: u8,
        part: &mut Part,
        luck: &mut Stream,
    ) {
        match self {
            Comeback::AsLeft => {}
            Comeback::Remix => floor.remix(part, luck),
            Comeback::Keep(_) | Comeback::Matrix(_) => self.turn_by_entry(floor, at_entry, part, luck),
        }
    }

    #[inline(never)]
    fn turn_by_entry<O: Observer>(
        &self,
        floor: &mut Floor<O>,
        at_entry: u8,
        part: &mut Part,
        luck: &mut Stream,
    ) {
        match self {
            Comeback::Keep(chance) if luck.chance(*chance) => part.turn_to(at_entry),
            Comeback::Keep(_) | Comeback::Remix => floor.remix(part, luck),
            Comeback::Matrix(rows) => part.turn_to(rows[usize::from(at_entry)].pick(luck) as u8),
            Comeback::AsLeft => {}
        }
    }
}
