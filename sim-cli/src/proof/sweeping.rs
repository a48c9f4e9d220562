//! A sweep as a document: what each factor does to each output, alone and two together, and the points.
//!
//! It is made of the files of the sweep, so that a sweep that was resumed or merged has the same page. Invariant: each
//! interval says what is in it.

use crate::charts::{Cells, Chart, Dot, Dots, Kind, Level, Panel, Responses};
use crate::document::{Block, Cell, Document, Grid, number, numbers, word, words};
use crate::ending::Failure;
use crate::numbers::{self, NONE, grouped, plain, stated};
use crate::source::Source;
use crate::sweep::{FILES, Finished, Point, Spread, Sum, each_point, setting, short, split_unit};
use sim_core::scenario::{Goal, Scenario};
use sim_core::statistics::quantiles::student_t;
use std::collections::BTreeSet;
use std::path::Path;

/// Points listed as the best.
const BEST: usize = 10;
/// Rows of the table of all points.
const LISTED: usize = 2000;
/// Points drawn in a picture.
const DRAWN: usize = 600;
/// Factors in the pictures of an output.
const FACTORS: usize = 12;
/// Outputs with pictures of their own.
const OUTPUTS: usize = 12;
/// Factors of which all pairs are shown, for the first output.
const PAIRED: usize = 3;
/// Columns or rows of a table of two factors.
const CELLS_MAX: usize = 9;
/// Points that came to nothing and are listed.
const FAILED: usize = 20;

/// A finished sweep, with what is known around it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Swept<'a> {
    /// Where its files are.
    pub(crate) folder: &'a Path,
    pub(crate) finished: &'a Finished,
    /// The sweep file and the scenario, where they are at hand.
    pub(crate) texts: Option<(&'a Source, &'a Source)>,
    /// Rate that the scenario promises, parts/min.
    pub(crate) demand: Option<f64>,
    /// The command that makes it again.
    pub(crate) command: &'a str,
}

/// All points, and how factors and outputs are told apart.
struct Field {
    columns: Vec<String>,
    spreads: Vec<Spread>,
    outputs: Vec<String>,
    points: Vec<Point>,
    /// Whether every level is there with every other: then a mean over points has no luck of the choice in it.
    is_full: bool,
}

/// The document.
///
/// # Errors
/// If the files of the sweep cannot be read.
pub(crate) fn sweeping(swept: &Swept<'_>) -> Result<Document, Failure> {
    let field = Field::read(swept)?;
    let identity = &swept.finished.identity;
    let mut document = Document {
        title: identity.text("title").unwrap_or("A sweep without a title").to_owned(),
        kind: "Sweep",
        headline: None,
        figures: figures(swept, &field),
        sections: Vec::new(),
    };
    document.add("best", "The best points", best(&field));
    let (moving, still): (Vec<usize>, Vec<usize>) = (0..field.outputs.len()).partition(|n| field.moves(*n));
    for n in moving.iter().copied().take(OUTPUTS) {
        let output = &field.outputs[n];
        let demand = swept.demand.filter(|_| is_rate(output));
        document.add(format!("output-{}", n + 1), output.clone(), field.effects(n, demand));
    }
    document.add("others", "Other outputs", field.others(moving.get(OUTPUTS..).unwrap_or(&[]), &still));
    document.add("points", "All points", field.all());
    document.add("failed", "Points without a result", field.failed());
    document.add("again", "How to make this again", again(swept));
    if let Some((sweep, scenario)) = swept.texts {
        document.add("file", "The sweep file in full", vec![Block::Code(sweep.text.clone())]);
        document.add("scenario", "The scenario in full", vec![Block::Code(scenario.text.clone())]);
    }
    Ok(document)
}

/// The rate that a scenario promises of a shift or of the mean, parts/min.
pub(crate) fn demand_of(scenario: &Scenario) -> Option<f64> {
    let rates = scenario.promise.clauses.iter().filter_map(|clause| match clause.goal {
        Goal::ShiftRate { rate, .. } | Goal::MeanRate(rate) => Some(60.0 * rate),
        Goal::FeedAvailability(_) => None,
    });
    rates.reduce(f64::max)
}

/// Whether an output is the rate that promises are about.
fn is_rate(output: &str) -> bool {
    split_unit(output).0 == "rate"
}

fn figures(swept: &Swept<'_>, field: &Field) -> Vec<(String, String, String)> {
    let written = &swept.finished.written;
    let count = |state: &str| written["states"][state].as_u64().unwrap_or(0);
    let often = match (written["replications"].as_u64(), written["precision"].as_f64()) {
        (Some(n), _) => format!("{} shifts each; seed {}", grouped(n), written["seed"]),
        (None, Some(share)) => {
            format!("shifts until the mean rate is known to {}; seed {}", stated(share), written["seed"])
        }
        (None, None) => String::new(),
    };
    let all: u64 = ["done", "imprecise", "unsound", "failed"].iter().map(|state| count(state)).sum();
    let mut figures = vec![("Points".to_owned(), grouped(all), often)];
    let Some(output) = field.outputs.first() else { return figures };
    if let Some(point) = field.ranked(0).first() {
        let settings = field.settings(point);
        figures.push((format!("Highest {output}"), field.estimate(point, 0), settings));
    }
    let reaches = |demand: f64| field.values(0).filter(|(_, mean, _)| *mean >= demand).count();
    if let Some(demand) = swept.demand.filter(|_| is_rate(output)) {
        figures.push((
            format!("Mean rate of {} /min or more", plain(demand)),
            format!(
                "{} of {} points",
                grouped(reaches(demand) as u64),
                grouped(field.values(0).count() as u64)
            ),
            "by their estimates; whether a promise holds is for `run` to say".replace('`', ""),
        ));
    }
    figures
}

impl Field {
    fn read(swept: &Swept<'_>) -> Result<Self, Failure> {
        let columns = swept.finished.identity.columns();
        let mut spreads = vec![Spread::default(); columns.len()];
        let mut levels: Vec<BTreeSet<String>> = vec![BTreeSet::new(); columns.len()];
        let mut outputs: Vec<String> = Vec::new();
        let mut points = Vec::new();
        each_point(swept.folder, columns.len(), &mut |point| {
            for ((spread, levels), cell) in spreads.iter_mut().zip(&mut levels).zip(&point.cells) {
                spread.see(cell);
                levels.insert(cell.clone());
            }
            for output in &point.outputs {
                if !outputs.contains(&output.name) {
                    outputs.push(output.name.clone());
                }
            }
            points.push(point);
        })?;
        let full = levels.iter().try_fold(1usize, |all, levels| all.checked_mul(levels.len()));
        let is_full = full == Some(points.iter().filter(|point| !point.outputs.is_empty()).count());
        Ok(Field { columns, spreads, outputs, points, is_full })
    }

    /// Points that have an output, with its mean and half of its interval.
    fn values(&self, output: usize) -> impl Iterator<Item = (&Point, f64, f64)> {
        let name = self.outputs.get(output);
        self.points.iter().filter_map(move |point| {
            let found = point.outputs.iter().find(|one| Some(&one.name) == name)?;
            Some((point, found.mean, found.half))
        })
    }

    /// Whether an output differs between points.
    fn moves(&self, output: usize) -> bool {
        let mut means = self.values(output).map(|(_, mean, _)| mean);
        let first = means.next();
        means.any(|mean| Some(mean) != first)
    }

    /// Outputs without pictures.
    fn others(&self, more: &[usize], still: &[usize]) -> Vec<Block> {
        let of = |n: &usize| {
            let value = self.values(*n).next().map_or(NONE.to_owned(), |(_, mean, _)| plain(mean));
            format!("{}: the same at all points, {value}", self.outputs[*n])
        };
        let mut items: Vec<String> = still.iter().map(of).collect();
        items.extend(more.iter().map(|n| format!("{}: see {}", self.outputs[*n], FILES[1])));
        if items.is_empty() { Vec::new() } else { vec![Block::List(items)] }
    }

    /// The points, the highest first.
    fn ranked(&self, output: usize) -> Vec<&Point> {
        let mut ranked: Vec<(&Point, f64)> =
            self.values(output).map(|(point, mean, _)| (point, mean)).collect();
        ranked.sort_by(|a, b| b.1.total_cmp(&a.1));
        ranked.into_iter().map(|(point, _)| point).collect()
    }

    fn settings(&self, point: &Point) -> String {
        let pairs = self.columns.iter().zip(&point.cells);
        pairs.map(|(head, cell)| setting(head, cell)).collect::<Vec<_>>().join(", ")
    }

    /// An output of a point as it is written.
    fn estimate(&self, point: &Point, output: usize) -> String {
        let name = self.outputs.get(output);
        match point.outputs.iter().find(|one| Some(&one.name) == name) {
            Some(found) => with_half(found.mean, found.half),
            None => NONE.to_owned(),
        }
    }

    /// Sums of an output by level, for each factor that has several.
    fn sums(&self, output: usize) -> Vec<(usize, Vec<Sum>)> {
        let several = |ix: &usize| self.spreads[*ix].n_places() > 1;
        let factors: Vec<usize> = (0..self.columns.len()).filter(several).collect();
        let mut sums: Vec<(usize, Vec<Sum>)> =
            factors.iter().map(|ix| (*ix, vec![Sum::default(); self.spreads[*ix].n_places()])).collect();
        for (point, mean, half) in self.values(output) {
            for (ix, sums) in &mut sums {
                if let Some(sum) = sums.get_mut(self.spreads[*ix].place(&point.cells[*ix])) {
                    sum.add(mean, half);
                }
            }
        }
        let span = |sums: &[Sum]| {
            let means = || sums.iter().filter(|sum| sum.n > 0).map(|sum| sum.mean);
            means().fold(f64::NEG_INFINITY, f64::max) - means().fold(f64::INFINITY, f64::min)
        };
        sums.sort_by(|a, b| span(&b.1).total_cmp(&span(&a.1)));
        sums
    }

    /// Half of the interval of a mean over points: the luck, which all points share; and where the points are not all
    /// combinations, which of them there are.
    fn half(&self, sum: &Sum) -> f64 {
        match sum.spread() {
            _ if self.is_full => sum.half,
            Some(spread) => {
                let choice = student_t(0.975, (sum.n - 1) as f64) * spread / (sum.n as f64).sqrt();
                (choice * choice + sum.half * sum.half).sqrt()
            }
            None => f64::NAN,
        }
    }

    /// What each factor does to an output.
    fn effects(&self, output: usize, demand: Option<f64>) -> Vec<Block> {
        let sums = self.sums(output);
        let sums = &sums[..sums.len().min(FACTORS)];
        if sums.is_empty() {
            return Vec::new();
        }
        let mark = demand.map(|rate| (format!("promised {}", plain(rate)), rate));
        let mut blocks =
            vec![self.effect_chart(output, sums, mark.clone()), self.responses(output, sums, mark.clone())];
        let paired = if output == 0 { PAIRED } else { 2 };
        let fits: Vec<usize> = sums
            .iter()
            .map(|(ix, _)| *ix)
            .filter(|ix| self.spreads[*ix].n_places() <= CELLS_MAX)
            .take(paired)
            .collect();
        for (n, first) in fits.iter().enumerate() {
            for second in &fits[n + 1..] {
                blocks.push(self.two(output, *first, *second, mark.clone()));
            }
        }
        blocks
    }

    fn effect_chart(&self, output: usize, sums: &[(usize, Vec<Sum>)], mark: Option<(String, f64)>) -> Block {
        let name = &self.outputs[output];
        let (_, unit) = split_unit(name);
        let mut grid = Grid::new(
            format!("Levels, {}", split_unit(name).0),
            vec![
                words("Factor"),
                words("Level"),
                numbers("Points", ""),
                numbers("Mean", unit),
                numbers("+-", unit),
            ],
        )
        .drawing("Mean");
        let mut groups = Vec::new();
        for (ix, sums) in sums {
            let mut dots = Vec::new();
            for (place, sum) in sums.iter().enumerate().filter(|(_, sum)| sum.n > 0) {
                let (level, half) = (self.spreads[*ix].level(place), self.half(sum));
                let (mean, error) = shown(sum.mean, half);
                grid.row(vec![
                    word(self.columns[*ix].clone()),
                    word(level.clone()),
                    number(Some(sum.n as f64), grouped(sum.n)),
                    number(Some(sum.mean), mean.clone()),
                    number(Some(half), error),
                ]);
                dots.push(Dot { name: self.dashed(*ix, place), value: sum.mean, shown: mean, half });
            }
            groups.push((self.columns[*ix].clone(), dots));
        }
        let luck = "as all points have the same luck, its errors do not average out";
        let interval = if self.is_full {
            format!("Whiskers: 95 % intervals for the luck of the shifts; {luck}.")
        } else {
            format!(
                "Whiskers: 95 % intervals for the luck of the shifts ({luck}) and for the choice of points."
            )
        };
        let left = self.columns.len() - sums.len();
        let left =
            if left > 0 { format!(" {left} factors with less effect are left out.") } else { String::new() };
        let chart = Chart {
            title: format!("What each factor does to {name}, the most first."),
            says: format!("Each dot is the mean over all points that have this level. {interval}{left}"),
            kind: Kind::Dots(Dots { groups, mark, label: name.clone() }),
        };
        Block::Chart(chart, grid)
    }

    /// A level as short as can be, for a picture.
    fn dashed(&self, factor: usize, place: usize) -> String {
        let level = self.spreads[factor].level(place);
        if self.spreads[factor].in_quarters() { level.replace(" to ", "–") } else { level }
    }

    fn responses(&self, output: usize, sums: &[(usize, Vec<Sum>)], mark: Option<(String, f64)>) -> Block {
        let name = &self.outputs[output];
        let (_, unit) = split_unit(name);
        let n = self.values(output).count();
        let every = n.div_ceil(DRAWN).max(1);
        let panels = sums.iter().map(|(ix, sums)| self.panel(output, *ix, sums, every));
        let mut grid = Grid::new(
            format!("Points, {}", split_unit(name).0),
            self.columns.iter().map(|head| numbers(split_unit(head).0, split_unit(head).1)).collect(),
        );
        grid.columns.push(numbers("Mean", unit));
        for (n, column) in grid.columns.iter_mut().enumerate() {
            column.is_text = self.spreads.get(n).is_some_and(|spread| !spread.is_number());
        }
        for (point, mean, half) in self.values(output).step_by(every) {
            let mut row: Vec<Cell> = point.cells.iter().map(|cell| cell_of(cell)).collect();
            row.push(number(Some(mean), shown(mean, half).0));
            grid.row(row);
        }
        let thinned = if every > 1 {
            format!(" Of the {} points every {every}th is drawn.", grouped(n as u64))
        } else {
            String::new()
        };
        let chart = Chart {
            title: format!("{name} against each factor."),
            says: format!(
                "Small dots are points; large ones the means of the levels, or of quarters of a range. How far the points \
                 of a level lie apart is what the other factors do.{thinned}"
            ),
            kind: Kind::Responses(Responses { panels: panels.collect(), mark, label: name.clone() }),
        };
        Block::Chart(chart, grid)
    }

    fn panel(&self, output: usize, ix: usize, sums: &[Sum], every: usize) -> Panel {
        let spread = &self.spreads[ix];
        let words: Vec<String> = match spread.is_number() {
            true => Vec::new(),
            false => (0..sums.len()).map(|place| spread.level(place)).collect(),
        };
        let levels = sums.iter().enumerate().filter(|(_, sum)| sum.n > 0).map(|(place, sum)| Level {
            at: spread.middle(place).unwrap_or(place as f64),
            mean: sum.mean,
            half: self.half(sum),
        });
        let points = self.values(output).step_by(every).map(|(point, mean, _)| {
            let cell = &point.cells[ix];
            (if spread.is_number() { cell.parse().unwrap_or(0.0) } else { spread.place(cell) as f64 }, mean)
        });
        Panel {
            name: self.columns[ix].clone(),
            points: points.collect(),
            levels: levels.collect(),
            words,
            is_at_levels: !spread.in_quarters(),
        }
    }

    /// An output over two factors: means over all others.
    fn two(&self, output: usize, up: usize, across: usize, mark: Option<(String, f64)>) -> Block {
        let name = &self.outputs[output];
        let (rows, columns) = (&self.spreads[up], &self.spreads[across]);
        let mut sums = vec![vec![Sum::default(); columns.n_places()]; rows.n_places()];
        for (point, mean, half) in self.values(output) {
            let row = sums.get_mut(rows.place(&point.cells[up]));
            if let Some(sum) = row.and_then(|row| row.get_mut(columns.place(&point.cells[across]))) {
                sum.add(mean, half);
            }
        }
        let levels =
            |spread: &Spread| (0..spread.n_places()).map(|place| spread.level(place)).collect::<Vec<_>>();
        let dashed =
            |ix: usize| (0..self.spreads[ix].n_places()).map(|place| self.dashed(ix, place)).collect();
        let mean = |sum: &Sum| (sum.n > 0).then_some(sum.mean);
        let values: Vec<Vec<Option<f64>>> = sums.iter().map(|row| row.iter().map(mean).collect()).collect();
        let halves = sums.iter().flatten().filter(|sum| sum.n > 0).map(|sum| self.half(sum));
        let widest = halves.filter(|half| half.is_finite()).fold(0.0, f64::max);
        let all = || values.iter().flatten().flatten().copied();
        let decimals =
            decimals(all().fold(f64::NEG_INFINITY, f64::max) - all().fold(f64::INFINITY, f64::min));
        let mut heads = vec![words(&self.columns[up])];
        heads.extend(levels(columns).iter().map(|level| numbers(level, "")));
        let short = |ix: usize| split_unit(&self.columns[ix]).0;
        let title = format!("{} and {}, {}", short(up), short(across), split_unit(name).0);
        let mut grid = Grid::new(title, heads);
        for (level, row) in levels(rows).into_iter().zip(&values) {
            let text = |value: &Option<f64>| {
                number(*value, value.map_or(NONE.to_owned(), |value| format!("{value:.decimals$}")))
            };
            grid.row(std::iter::once(word(level)).chain(row.iter().map(text)).collect());
        }
        let parted = match &mark {
            Some((_, rate)) if all().any(|value| value >= *rate) && all().any(|value| value < *rate) => {
                format!(" The heavy line parts cells of {} and more from those below.", plain(*rate))
            }
            Some((_, rate)) if all().any(|value| value >= *rate) => format!(" All reach {}.", plain(*rate)),
            Some((_, rate)) => format!(" None reaches {}.", plain(*rate)),
            None => String::new(),
        };
        let chart = Chart {
            title: format!("{name} over {} and {}.", short(up), short(across)),
            says: format!(
                "Means over all points that have both levels, known to within {} (95 %); the darker the more.{parted}",
                shown(0.0, widest).1
            ),
            kind: Kind::Cells(Cells {
                across: (self.columns[across].clone(), dashed(across)),
                up: (self.columns[up].clone(), dashed(up)),
                values,
                decimals,
                mark,
            }),
        };
        Block::Chart(chart, grid)
    }

    /// The table of all points.
    fn all(&self) -> Vec<Block> {
        let mut heads = vec![numbers("Point", "")];
        heads.extend(self.columns.iter().map(|head| words(head)));
        heads.push(words("State"));
        for output in self.outputs.iter().take(OUTPUTS) {
            heads.extend([numbers(output, ""), numbers("+-", "")]);
        }
        let mut grid = Grid::new("All points", heads);
        for point in self.points.iter().take(LISTED) {
            let mut row = vec![cell_of(&point.number)];
            row.extend(point.cells.iter().map(|cell| cell_of(cell)));
            row.push(word(point.state.clone()));
            for name in self.outputs.iter().take(OUTPUTS) {
                let found = point.outputs.iter().find(|one| one.name == *name);
                let (mean, half) =
                    found.map_or((NONE.to_owned(), NONE.to_owned()), |one| shown(one.mean, one.half));
                row.push(number(found.map(|one| one.mean), mean));
                row.push(number(found.map(|one| one.half), half));
            }
            grid.row(row);
        }
        let more = match self.points.len().saturating_sub(LISTED) {
            0 => String::new(),
            more => format!(" {} more points are left out here.", grouped(more as u64)),
        };
        let text = format!(
            "+-: half of the 95 % interval of each point by itself. Points have the same luck, so that differences between \
             them are known better than that. All of it is in {} and {}.{more}",
            FILES[0], FILES[1]
        );
        vec![Block::Text(text), Block::Archive(grid)]
    }

    /// Points that have no result, and why.
    fn failed(&self) -> Vec<Block> {
        let failed: Vec<&Point> = self.points.iter().filter(|point| point.outputs.is_empty()).collect();
        if failed.is_empty() {
            return Vec::new();
        }
        let mut items: Vec<String> = failed
            .iter()
            .take(FAILED)
            .map(|point| format!("Point {} ({}): {}", point.number, self.settings(point), point.reason))
            .collect();
        if failed.len() > FAILED {
            items.push(format!("{} more; see {}.", grouped((failed.len() - FAILED) as u64), FILES[0]));
        }
        vec![Block::List(items)]
    }
}

fn best(field: &Field) -> Vec<Block> {
    let Some(output) = field.outputs.first() else {
        return vec![Block::Text("No point has a result.".to_owned())];
    };
    let mut grid = Grid::new(
        format!("Best points, {}", split_unit(output).0),
        vec![
            numbers("Point", ""),
            numbers("Mean", split_unit(output).1),
            numbers("+-", split_unit(output).1),
            words("Settings"),
        ],
    );
    for point in field.ranked(0).into_iter().take(BEST) {
        let Some(found) = point.outputs.iter().find(|one| one.name == *output) else { continue };
        let (mean, half) = shown(found.mean, found.half);
        grid.row(vec![
            cell_of(&point.number),
            number(Some(found.mean), mean),
            number(Some(found.half), half),
            word(field.settings(point)),
        ]);
    }
    let text = "The best of many by their means are partly the luckiest. A second sweep of the best ones with another seed \
                says how good they are, and run whether a promise holds.";
    vec![Block::Table(grid), Block::Text(text.to_owned())]
}

fn again(swept: &Swept<'_>) -> Vec<Block> {
    let written = &swept.finished.written;
    let text = |key: &str| written[key].as_str().map(str::to_owned);
    let fact = |what: &str, value: String| (what.to_owned(), value);
    let hash =
        |key: &str| text(key).map_or(String::new(), |hash| format!("64-bit FNV-1a hash of its bytes {hash}"));
    let name = |source: Option<&Source>, key: &str| match source {
        Some(source) => format!("{}; {}", source.name, hash(key)),
        None => hash(key),
    };
    let mut facts = vec![
        fact("Command", swept.command.to_owned()),
        fact("Program", format!("feedproof {}", text("program_version").unwrap_or_default())),
        fact("Sweep file", name(swept.texts.map(|(sweep, _)| sweep), "sweep_hash")),
        fact("Scenario", format!("{}; {}", text("scenario").unwrap_or_default(), hash("scenario_hash"))),
        fact("Seed", written["seed"].to_string()),
    ];
    if text("list_hash").is_some() {
        facts.push(fact("List of points", hash("list_hash")));
    }
    if let Some(part) = text("part") {
        facts.push(fact("Part", format!("{part} of the sweep; feedproof merge puts the parts together")));
    }
    vec![Block::Facts(facts)]
}

/// What stands in a file of the sweep: a number if it is one.
fn cell_of(text: &str) -> Cell {
    number(text.parse().ok(), short(text))
}

fn shown(mean: f64, half: f64) -> (String, String) {
    let error = half.is_finite().then_some(half);
    (numbers::number(mean, error), error.map_or(NONE.to_owned(), |half| numbers::number(half, error)))
}

fn with_half(mean: f64, half: f64) -> String {
    match shown(mean, half) {
        (mean, half) if half == NONE => mean,
        (mean, half) => format!("{mean} +- {half}"),
    }
}

/// Decimals that tell values apart that lie within such a span.
fn decimals(span: f64) -> usize {
    if span > 0.0 && span.is_finite() { (1.0 - span.log10().floor()).clamp(0.0, 6.0) as usize } else { 2 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::Output;

    fn field(cells: &[(&str, f64)], is_full: bool) -> Field {
        let mut spread = Spread::default();
        cells.iter().for_each(|(cell, _)| spread.see(cell));
        let point = |(n, (cell, mean)): (usize, &(&str, f64))| Point {
            number: (n + 1).to_string(),
            cells: vec![(*cell).to_owned()],
            state: "done".to_owned(),
            reason: String::new(),
            outputs: vec![Output { name: "rate [parts/min]".to_owned(), mean: *mean, half: 0.2 }],
        };
        Field {
            columns: vec!["track [m]".to_owned()],
            spreads: vec![spread],
            outputs: vec!["rate [parts/min]".to_owned()],
            points: cells.iter().enumerate().map(point).collect(),
            is_full,
        }
    }

    /// The 97.5 % point of Student's t with 2 degrees of freedom is 4.303 in every table of it.
    #[test]
    fn the_choice_of_points_is_in_the_interval_where_not_all_combinations_are_there() {
        let cells = [("1", 2.0), ("1", 4.0), ("1", 9.0), ("2", 5.0)];
        let random = field(&cells, false);
        let sums = random.sums(0);
        let expected = ((4.303 * (13.0f64 / 3.0).sqrt()).powi(2) + 0.04).sqrt();
        assert!((random.half(&sums[0].1[0]) - expected).abs() < 0.002, "{}", random.half(&sums[0].1[0]));
        assert!(random.half(&sums[0].1[1]).is_nan(), "one point says nothing of the choice");
        let full = field(&cells, true);
        assert!((full.half(&full.sums(0)[0].1[0]) - 0.2).abs() < 1e-12, "luck alone, which all points share");
    }

    #[test]
    fn outputs_that_do_not_move_have_no_pictures() {
        let still = field(&[("1", 3.0), ("2", 3.0)], true);
        assert!(
            !still.moves(0)
                && matches!(&still.others(&[], &[0])[..], [Block::List(items)] if items[0].ends_with("points, 3"))
        );
        assert!(field(&[("1", 3.0), ("2", 3.5)], true).moves(0));
    }
}
