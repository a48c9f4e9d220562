//! The limits of a line, ranked by what the rate gains.

use super::heading;
use crate::ink::Ink;
use crate::numbers::scaled;
use crate::screen::{WIDTH, safe, wrap};
use crate::tables::Table;
use sim_core::study::{LimitReport, LimitsResult};
use sim_core::vary::short;

/// Rows shown however many limits there are.
const ROWS_MAX: usize = 20;
/// Names of numbers that cannot be moved.
const UNMOVED_MAX: usize = 6;

/// The whole page.
pub(crate) fn limits(found: &LimitsResult, ink: Ink) -> String {
    let mut page = format!("{}\n", safe(found.title.as_deref().unwrap_or("A line without a title")));
    let how = format!(
        "{} good parts a minute over {} shifts; seed {}. One number at a time was relaxed.",
        scaled(&found.rate, 1.0, 3),
        found.replications,
        found.seed
    );
    page.push_str(&wrap(&how, "", "", WIDTH));
    page.push('\n');
    let (sure, open): (Vec<_>, Vec<_>) = found.limits.iter().partition(|limit| is_sure(limit));
    page.push_str(&heading("WHAT THE RATE GAINS, good parts a minute", ink));
    let mut table = Table::new(&["number of the file", "from", "to", "gain", "+-"]).texts(3);
    for limit in sure.iter().take(ROWS_MAX) {
        let half = limit.gain.half_width().map_or("-".to_owned(), |half| format!("{half:.3}"));
        table.row([
            short(&limit.path),
            clipped(&limit.from),
            if limit.from.len() > 14 { limit.change.clone() } else { clipped(&limit.to) },
            scaled(&limit.gain, 1.0, 3),
            half,
        ]);
    }
    if table.is_empty() {
        page.push_str("  Nothing that could be told from no gain in so few shifts.\n");
    } else {
        page.push_str(&table.render(ink));
    }
    let mut notes = vec![format!(
        "Paired with the line as it is, shift by shift, with the same luck; the intervals hold together at {:.0} %. Times and \
         chances of something bad x 0.9, chances of something good: what is left to one x 0.9; speeds, rates, lengths \
         of tracks and times between stops x 1.1; whole numbers one step.",
        100.0 * found.level
    )];
    if sure.len() > ROWS_MAX {
        notes.push(format!("{} more have a gain or loss that is told from none.", sure.len() - ROWS_MAX));
    }
    if !open.is_empty() {
        notes.push(format!(
            "{} other numbers make no difference that these shifts tell from none.",
            open.len()
        ));
    }
    if !found.not_tried.is_empty() {
        let list: Vec<String> = found.not_tried.iter().map(|path| short(path)).collect();
        notes.push(format!("Not tried, because the file would not be sound: {}.", list.join(", ")));
    }
    match &found.unmoved[..] {
        [] => {}
        some if some.len() <= UNMOVED_MAX => {
            let list: Vec<String> = some.iter().map(|path| short(path)).collect();
            notes.push(format!(
                "Nothing already, or a chance of one, so that it cannot be moved: {}.",
                list.join(", ")
            ));
        }
        some => notes.push(format!(
            "{} numbers cannot be moved: they are nothing already, or a chance of one.",
            some.len()
        )),
    }
    page.push_str(&wrap(&safe(&notes.join(" ")), "  ", "  ", WIDTH));
    page
}

/// Whether the gain or loss is told from none.
fn is_sure(limit: &LimitReport) -> bool {
    limit.gain.low.is_some_and(|low| low > 0.0) || limit.gain.high.is_some_and(|high| high < 0.0)
}

fn clipped(text: &str) -> String {
    let text = text.trim_matches('"');
    if text.chars().count() <= 14 { text.to_owned() } else { text.chars().take(13).chain(['~']).collect() }
}
