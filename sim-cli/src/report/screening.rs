//! What a screening found: a page for a person, a table for other programs.

use super::{heading, listed};
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::numbers::{NONE, grouped, number, plain, scaled, with_error};
use crate::screen::{WIDTH, clip, safe, wrap};
use crate::tables::Table;
use sim_core::screening::{
    EffectFinding, Findings, LeftOut, PairFinding, ScreenResult, ShareFinding, TornadoFinding,
};
use sim_core::study::result::Figure;

/// Rows shown however many factors there are.
const ROWS_MAX: usize = 25;
/// Names listed in one sentence.
const NAMES_MAX: usize = 6;
/// Width of a value of a factor.
const VALUE: usize = 10;

/// The whole page; it is said if inputs are known from evidence.
pub(crate) fn screening(found: &ScreenResult, has_evidence: bool, ink: Ink) -> String {
    let mut page = format!("{}\n", safe(found.title.as_deref().unwrap_or("A line without a title")));
    let (body, notes) = match &found.findings {
        Findings::Tornado { as_it_stands, factors } => {
            page.push_str(&wrap(
                &head(found, &format!("{} as it stands", with_error(as_it_stands))),
                "",
                "",
                WIDTH,
            ));
            tornado(found, factors, ink)
        }
        Findings::Effects { trajectories, factors, .. } => {
            let ways = format!("{trajectories} random ways through the ranges");
            page.push_str(&wrap(&head(found, &ways), "", "", WIDTH));
            effects(found, factors, ink)
        }
        Findings::Shares { mean, variance, luck_variance, rows, .. } => {
            let root = |figure: &Figure| {
                figure.mean.map_or(NONE.to_owned(), |mean| number(mean.max(0.0).sqrt(), None))
            };
            let luck = luck_variance
                .as_ref()
                .map_or(String::new(), |luck| format!(", and {} from shift to shift by luck", root(luck)));
            let words = format!(
                "{} over the ranges, with a standard deviation of {} by the factors{luck}; {} rows",
                with_error(mean),
                root(variance),
                grouped(*rows)
            );
            page.push_str(&wrap(&head(found, &words), "", "", WIDTH));
            shares(found, ink)
        }
    };
    page.push('\n');
    page.push_str(&body);
    page.push_str(&wrap(&safe(&notes.join(" ")), "  ", "  ", WIDTH));
    if has_evidence {
        let note = "Inputs that are known from evidence are taken as known where they are no factor: `run` says what is not \
                    known of them.";
        page.push_str(&wrap(note, "  ", "  ", WIDTH));
    }
    page.push_str(&left_out(&found.left_out));
    page
}

/// What was looked at, and how often.
fn head(found: &ScreenResult, words: &str) -> String {
    safe(&format!(
        "{}: {words}; {} shifts at each of {} points; seed {}.",
        output(found),
        found.replications,
        grouped(found.points),
        found.seed
    ))
}

fn output(found: &ScreenResult) -> String {
    if found.unit.is_empty() { found.output.clone() } else { format!("{} ({})", found.output, found.unit) }
}

fn half(figure: &Figure) -> String {
    figure.half_width().map_or(NONE.to_owned(), |half| number(half, Some(half)))
}

fn value(text: &str) -> String {
    clip(text, VALUE)
}

/// What is said of the factors that are not in the table.
fn others(n_clear: usize, unclear: &[&str], notes: &mut Vec<String>) {
    if n_clear > ROWS_MAX {
        notes.push(format!("{} more make a difference that is told from none.", n_clear - ROWS_MAX));
    }
    match unclear {
        [] => {}
        [one] => notes.push(format!("`{one}` makes no difference that these shifts tell from none.")),
        some if some.len() <= NAMES_MAX => {
            let names: Vec<String> = some.iter().map(|name| (*name).to_owned()).collect();
            notes.push(format!("No difference that these shifts tell from none: {}.", listed(&names)));
        }
        some => {
            notes.push(format!("{} more make no difference that these shifts tell from none.", some.len()))
        }
    }
}

const NOTHING: &str = "  Nothing that could be told from no difference in so few shifts.\n";

/// The table, or a word if it is empty.
fn rendered(table: &Table, ink: Ink) -> String {
    if table.is_empty() { NOTHING.to_owned() } else { table.render(ink) }
}

fn tornado(found: &ScreenResult, factors: &[TornadoFinding], ink: Ink) -> (String, Vec<String>) {
    let title = format!("ONE AT A TIME: what {} gains or loses", output(found));
    let (clear, unclear): (Vec<_>, Vec<_>) = factors.iter().partition(|finding| finding.is_clear);
    let mut table = Table::new(&["factor", "low", "change", "+-", "high", "change", "+-"]);
    for finding in clear.iter().take(ROWS_MAX) {
        let (low, high) = (&finding.low.change, &finding.high.change);
        table.row([
            finding.factor.clone(),
            value(&finding.low.value),
            scaled(low, 1.0, 3),
            half(low),
            value(&finding.high.value),
            scaled(high, 1.0, 3),
            half(high),
        ]);
    }
    let mut notes = vec![format!(
        "Each moved alone from the line as it is, paired shift by shift with the same luck; all intervals hold together at \
         {} %. What factors do together is not seen this way: `--method effects`.",
        plain(100.0 * found.level)
    )];
    let names: Vec<&str> = unclear.iter().map(|finding| finding.factor.as_str()).collect();
    others(clear.len(), &names, &mut notes);
    (heading(&safe(&title), ink) + &rendered(&table, ink), notes)
}

fn effects(found: &ScreenResult, factors: &[EffectFinding], ink: Ink) -> (String, Vec<String>) {
    let title = format!("ELEMENTARY EFFECTS on {}, over the whole range of a factor", output(found));
    let (clear, unclear): (Vec<_>, Vec<_>) = factors.iter().partition(|finding| finding.is_clear);
    let mut table =
        Table::new(&["factor", "low", "high", "size|mu*", "+-", "effect|mu", "+-", "spread|sigma"]);
    for finding in clear.iter().take(ROWS_MAX) {
        table.row([
            finding.factor.clone(),
            value(&finding.low),
            value(&finding.high),
            scaled(&finding.size, 1.0, 3),
            half(&finding.size),
            scaled(&finding.mean, 1.0, 3),
            half(&finding.mean),
            scaled(&finding.spread, 1.0, 3),
        ]);
    }
    let mut notes = Vec::new();
    let depends: Vec<String> =
        clear.iter().filter(|finding| finding.depends).map(|finding| finding.factor.clone()).collect();
    if depends.is_empty() {
        notes.push("No factor's effect depends much on where it or the others stand.".to_owned());
    } else {
        notes.push(format!(
            "Interactions: what these do depends on where the others stand, or on where they stand themselves: {}. `--method \
             shares --pairs` tells with whom.",
            listed(&depends)
        ));
    }
    notes.push(format!(
        "Intervals hold luck and the choice of places, and those of one column hold together at {} %.",
        plain(100.0 * found.level)
    ));
    let names: Vec<&str> = unclear.iter().map(|finding| finding.factor.as_str()).collect();
    others(clear.len(), &names, &mut notes);
    (heading(&safe(&title), ink) + &rendered(&table, ink), notes)
}

fn shares(found: &ScreenResult, ink: Ink) -> (String, Vec<String>) {
    let Findings::Shares { factors, pairs, .. } = &found.findings else {
        panic!("shares are shown of shares");
    };
    let title = format!("SHARES OF THE VARIANCE of {}, percent", output(found));
    let (clear, unclear): (Vec<_>, Vec<_>) = factors.iter().partition(|finding| finding.is_clear);
    let mut table =
        Table::new(&["factor", "low", "high", "alone", "+-", "in all", "+-", "with|others", "+-"]);
    let percent = |figure: &Figure| scaled(figure, 100.0, 1);
    let error = |figure: &Figure| {
        figure.half_width().map_or(NONE.to_owned(), |half| number(100.0 * half, Some(100.0 * half)))
    };
    for finding in clear.iter().take(ROWS_MAX) {
        table.row([
            finding.factor.clone(),
            value(&finding.low),
            value(&finding.high),
            percent(&finding.first_order),
            error(&finding.first_order),
            percent(&finding.total),
            error(&finding.total),
            percent(&finding.interactions),
            error(&finding.interactions),
        ]);
    }
    let mut page = heading(&safe(&title), ink) + &rendered(&table, ink);
    let mut notes = interactions(&clear, pairs);
    if pairs.iter().any(|pair| pair.is_clear) {
        page.push_str(&heading("\nPAIRS that work together, percent of the variance", ink));
        let mut table = Table::new(&["pair", "share", "+-"]);
        for pair in pairs.iter().filter(|pair| pair.is_clear).take(ROWS_MAX) {
            table.row([
                format!("{} with {}", pair.factor, pair.with),
                percent(&pair.share),
                error(&pair.share),
            ]);
        }
        page.push_str(&table.render(ink));
    }
    notes.push(format!(
        "Alone: what would go if the factor were known. In all: what would stay if all others were. Intervals hold luck and \
         the choice of places, and those of one column hold together at {} %.",
        plain(100.0 * found.level)
    ));
    let names: Vec<&str> = unclear.iter().map(|finding| finding.factor.as_str()).collect();
    others(clear.len(), &names, &mut notes);
    (page, notes)
}

/// Who works together with others, in words.
fn interactions(clear: &[&ShareFinding], pairs: &[PairFinding]) -> Vec<String> {
    let together: Vec<String> =
        clear.iter().filter(|finding| finding.interacts).map(|finding| finding.factor.clone()).collect();
    let mut notes = Vec::new();
    if together.is_empty() {
        notes.push("Interactions: none that is told from none.".to_owned());
    } else {
        let with_whom = if pairs.is_empty() { " `--pairs` tells with whom." } else { "" };
        notes.push(format!("Interactions: {} work together with others.{with_whom}", listed(&together)));
    }
    if !pairs.is_empty() && !pairs.iter().any(|pair| pair.is_clear) {
        notes.push("No pair works together by more than these shifts tell from none.".to_owned());
    }
    notes
}

fn left_out(list: &[LeftOut]) -> String {
    const SHOWN: usize = 5;
    let mut page = String::new();
    for LeftOut { factor, reason } in list.iter().take(SHOWN) {
        page.push_str(&wrap(&safe(&format!("left out: {factor}: {reason}")), "  ", "    ", WIDTH));
    }
    if list.len() > SHOWN {
        page.push_str(&format!("  left out: {} more\n", list.len() - SHOWN));
    }
    page
}

/// One row for each factor, or pair, and measure; full digits.
///
/// # Errors
/// If it cannot be written.
pub(crate) fn screening_csv(found: &ScreenResult) -> Result<String, Failure> {
    let failed = |why: String| Failure::new(Ending::Failed, format!("the table cannot be written: {why}"));
    let mut csv = csv::Writer::from_writer(Vec::new());
    let head = [
        "method",
        "output",
        "unit",
        "factor",
        "with",
        "from",
        "to",
        "measure",
        "mean",
        "standard_error",
        "low",
        "high",
        "level",
        "n",
    ];
    csv.write_record(head).map_err(|why| failed(why.to_string()))?;
    for (method, names, measure, figure) in measures(found) {
        let text = |value: Option<f64>| value.map_or(String::new(), |value| value.to_string());
        let [factor, with, from, to] = names;
        let row = [
            method.to_owned(),
            found.output.clone(),
            found.unit.clone(),
            factor.to_owned(),
            with.to_owned(),
            from.to_owned(),
            to.to_owned(),
            measure.to_owned(),
            text(figure.mean),
            text(figure.standard_error),
            text(figure.low),
            text(figure.high),
            figure.level.to_string(),
            figure.n.to_string(),
        ];
        csv.write_record(row).map_err(|why| failed(why.to_string()))?;
    }
    let bytes = csv.into_inner().map_err(|why| failed(why.to_string()))?;
    String::from_utf8(bytes).map_err(|why| failed(why.to_string()))
}

/// Method; factor, partner, low end and high end; measure and figure.
type Measure<'a> = (&'static str, [&'a str; 4], &'static str, &'a Figure);

fn measures(found: &ScreenResult) -> Vec<Measure<'_>> {
    let mut rows: Vec<Measure<'_>> = Vec::new();
    match &found.findings {
        Findings::Tornado { as_it_stands, factors } => {
            rows.push(("tornado", [""; 4], "as_it_stands", as_it_stands));
            for one in factors {
                let names = [&*one.factor, "", &*one.low.value, &*one.high.value];
                let figures = [("low", &one.low.change), ("high", &one.high.change), ("whole", &one.whole)];
                rows.extend(figures.map(|(measure, figure)| ("tornado", names, measure, figure)));
            }
        }
        Findings::Effects { factors, .. } => {
            for one in factors {
                let names = [&*one.factor, "", &*one.low, &*one.high];
                let figures = [("size", &one.size), ("mean", &one.mean), ("spread", &one.spread)];
                rows.extend(figures.map(|(measure, figure)| ("effects", names, measure, figure)));
            }
        }
        Findings::Shares { mean, variance, luck_variance, factors, pairs, .. } => {
            rows.push(("shares", [""; 4], "mean", mean));
            rows.push(("shares", [""; 4], "variance", variance));
            rows.extend(luck_variance.iter().map(|luck| ("shares", [""; 4], "luck_variance", luck)));
            for one in factors {
                let names = [&*one.factor, "", &*one.low, &*one.high];
                let figures = [
                    ("first_order", &one.first_order),
                    ("total", &one.total),
                    ("interactions", &one.interactions),
                ];
                rows.extend(figures.map(|(measure, figure)| ("shares", names, measure, figure)));
            }
            rows.extend(pairs.iter().map(|one| -> Measure<'_> {
                ("shares", [&one.factor, &one.with, "", ""], "second_order", &one.share)
            }));
        }
    }
    rows
}
