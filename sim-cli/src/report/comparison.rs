//! A comparison as a page: which one, by how much, how sure; then what it rests on.

use super::{heading, listed};
use crate::ink::Ink;
use crate::numbers::{NONE, from_to, number, plain, scaled, stated};
use crate::screen::{WIDTH, safe, wrap};
use crate::tables::Table;
use sim_core::study::compare::{Choice, CompareResult, DifferenceReport, Gap};
use sim_core::study::result::StoppedBecause;
use std::io::Write;

/// Pairs that are shown however many there are; with more, only those of the best.
const PAIRS_MAX: usize = 6;

/// The whole page.
pub(crate) fn comparison(found: &CompareResult, ink: Ink) -> String {
    let mut page = wrap(&safe(&answer(found)), "", "", WIDTH);
    page.push_str(&wrap(&how(found), "", "", WIDTH));
    page.push('\n');
    page.push_str(&designs(found, ink));
    page.push('\n');
    page.push_str(&differences(found, ink));
    if !found.notes.is_empty() {
        page.push('\n');
        page.push_str(&heading("NOTES", ink));
        let lines = found.notes.iter().map(|note| wrap(&safe(note), "  ", "  ", WIDTH));
        page.extend(lines);
    }
    page
}

/// Which one, by how much, how sure.
fn answer(found: &CompareResult) -> String {
    match &found.choice {
        Choice::Sure { best } => format!(
            "`{best}` makes more: {}. The chance that this or any interval below is wrong is at most {}.",
            lead_of(found, best),
            stated(1.0 - found.level)
        ),
        Choice::Chosen { best, indifference, level } => format!(
            "`{best}` is chosen: {}. If the best design leads by {} parts a minute or more, this is it, with a chance of \
             at least {}.",
            lead_of(found, best),
            plain(*indifference),
            stated(*level)
        ),
        Choice::WithoutLuck { best: Some(best) } => {
            format!("`{best}` makes more: {}. Nothing is random in these lines.", lead_of(found, best))
        }
        Choice::WithoutLuck { best: None } => {
            "No single design makes more than all others. Nothing is random in these lines.".to_owned()
        }
        Choice::Open { in_play } => {
            let more = if found.stopped_because == StoppedBecause::Cancelled {
                "It was interrupted; more shifts tell more."
            } else {
                "More shifts (--at-most) tell more; if a small lead does not matter, say so (--indifference)."
            };
            let gap = match &found.differences[..] {
                [pair] => {
                    format!(" The difference lies {} parts a minute.", from_to(pair.rate.low, pair.rate.high))
                }
                [] | [_, _, ..] => String::new(),
            };
            format!("Not decided: {} may each make the most.{gap} {more}", listed(in_play))
        }
    }
}

/// The lead of the best over whoever comes next.
fn lead_of(found: &CompareResult, best: &str) -> String {
    let leads = found.differences.iter().filter_map(|pair| {
        if pair.second == best {
            Some((pair.first.as_str(), pair.rate))
        } else {
            (pair.first == best).then(|| (pair.second.as_str(), turned(pair.rate)))
        }
    });
    let Some((next, lead)) = leads.min_by(|a, b| a.1.difference.total_cmp(&b.1.difference)) else {
        return "nobody else was compared".to_owned();
    };
    let by = number(lead.difference, Some(0.5 * (lead.high - lead.low)));
    let among = if found.designs.len() > 2 { ", which comes next" } else { "" };
    format!("{by} parts a minute more than `{next}`{among} ({})", from_to(lead.low, lead.high))
}

/// First less second.
fn turned(gap: Gap) -> Gap {
    Gap { difference: -gap.difference, standard_error: gap.standard_error, low: -gap.high, high: -gap.low }
}

fn how(found: &CompareResult) -> String {
    let most = found.designs.iter().map(|design| design.shifts).max().unwrap_or(0);
    let ended = match found.stopped_because {
        StoppedBecause::Decided => format!("ended as soon as it was decided (at most {})", found.budget),
        StoppedBecause::NoLuck => "ended because all shifts were alike".to_owned(),
        StoppedBecause::BudgetUsed | StoppedBecause::PrecisionReached => "all that were asked for".to_owned(),
        StoppedBecause::Cancelled => "interrupted".to_owned(),
    };
    let given_up = if found.designs.iter().any(|design| design.shifts < most) {
        " of those that were not given up"
    } else {
        ""
    };
    let luck = if found.own_luck { "each with luck of its own" } else { "with the same luck in each" };
    format!("{most} shifts of each design{given_up}, {luck}; {ended}; seed {}.", found.seed)
}

fn designs(found: &CompareResult, ink: Ink) -> String {
    let chance = found.required.map(|rate| format!("reach|{}|%", plain(rate)));
    let mut titles = vec!["design", "shifts", "parts|a minute", "+-"];
    titles.extend(chance.as_deref());
    titles.extend(["parts|there|%", "people|at|work"]);
    let mut table = Table::new(&titles);
    for design in &found.designs {
        let half = design.rate.half_width().filter(|half| *half > 0.0);
        let mut cells = vec![
            design.name.clone(),
            design.shifts.to_string(),
            scaled(&design.rate, 1.0, 3),
            half.map_or(NONE.to_owned(), |half| number(half, Some(half))),
        ];
        if found.required.is_some() {
            cells
                .push(design.chance.map_or(NONE.to_owned(), |chance| format!("{:.1}", 100.0 * chance.share)));
        }
        cells.extend([scaled(&design.feed_availability, 100.0, 3), scaled(&design.attendance, 1.0, 3)]);
        table.row(cells);
    }
    let mut page = heading("DESIGNS", ink);
    page.push_str(&table.render(ink));
    let mut notes = "+-: 95 % interval of this design alone. Parts there: share of the time in which the point of use is ready \
                     for a part and there is one (feed availability). People at work: attendants, on average."
        .to_owned();
    if let Some(rate) = found.required {
        notes.push_str(&format!(" Reach {}: share of shifts with that rate.", plain(rate)));
    }
    page.push_str(&wrap(&notes, "  ", "  ", WIDTH));
    page
}

fn differences(found: &CompareResult, ink: Ink) -> String {
    let title = if found.own_luck {
        "DIFFERENCES, each design with luck of its own"
    } else {
        "DIFFERENCES, paired shift by shift"
    };
    let mut page = heading(title, ink);
    let best = match &found.choice {
        Choice::Sure { best } | Choice::Chosen { best, .. } | Choice::WithoutLuck { best: Some(best) } => {
            Some(best)
        }
        Choice::WithoutLuck { best: None } | Choice::Open { .. } => None,
    };
    let is_all = found.differences.len() <= PAIRS_MAX;
    let of_best = |pair: &&DifferenceReport| {
        is_all || best.is_some_and(|best| pair.first == *best || pair.second == *best)
    };
    let shown: Vec<&DifferenceReport> = found.differences.iter().filter(of_best).collect();
    shown.iter().for_each(|pair| page.push_str(&pair_page(found, pair, best, ink)));
    let mut note = format!("All intervals hold together at {}.", stated(found.level));
    if shown.len() < found.differences.len() {
        note.push_str(&format!(
            " {} other pairs are in the result (--json, --out).",
            found.differences.len() - shown.len()
        ));
    }
    page.push_str(&wrap(&note, "  ", "  ", WIDTH));
    page
}

fn pair_page(found: &CompareResult, pair: &DifferenceReport, best: Option<&String>, ink: Ink) -> String {
    // The best stands first, so that what it gains is above 0.
    let is_turned = best == Some(&pair.first);
    let (more, less) = if is_turned { (&pair.first, &pair.second) } else { (&pair.second, &pair.first) };
    let (by, without) = match (found.own_luck, found.controls) {
        (false, false) => ("the same luck", "it"),
        (false, true) => ("the same luck and the controls", "them"),
        (true, _) => ("the controls", "them"),
    };
    let saved = match (pair.variance_ratio, pair.unpaired_shifts) {
        (Some(_), _) if found.own_luck && !found.controls => {
            "luck of its own for each, so that nothing is saved".to_owned()
        }
        (Some(ratio), Some(unpaired)) if ratio < 1.0 => format!(
            "{by} saved {:.0} % of the variance: {unpaired:.0} shifts of each would tell as much without {without}",
            100.0 * (1.0 - ratio)
        ),
        (Some(ratio), _) if ratio >= 1.0 => format!("{by} saved nothing here"),
        (Some(_), _) => format!("{by} saved all of the variance"),
        (None, _) => "nothing varies".to_owned(),
    };
    let title = format!("`{more}` less `{less}`; {} pairs of shifts; {saved}", pair.shifts);
    let mut page = wrap(&safe(&title), "  ", "  ", WIDTH);
    let mut table = Table::new(&["", "difference", "from", "to", ""]);
    let mut row = |name: &str, gap: Option<Gap>, factor: f64| {
        let Some(gap) = gap.map(|gap| if is_turned { turned(gap) } else { gap }) else { return };
        let half = Some(0.5 * (gap.high - gap.low) * factor).filter(|half| *half > 0.0);
        let cell = |value: f64| number(value * factor, half);
        let said = if gap.is_sure() { "" } else { "not told from 0" };
        table.row([name.to_owned(), cell(gap.difference), cell(gap.low), cell(gap.high), said.to_owned()]);
    };
    row("parts a minute", Some(pair.rate), 1.0);
    let chance = found.required.map(|rate| format!("chance of {} a minute, %", plain(rate)));
    row(chance.as_deref().unwrap_or_default(), pair.chance, 100.0);
    row("parts there when ready, %", pair.feed_availability, 100.0);
    row("attendants at work, people", pair.attendance, 1.0);
    page.push_str(&table.render(ink));
    page.push('\n');
    page
}

/// All differences as a table: one row for each pair and measure.
///
/// # Errors
/// If it cannot be written.
pub(crate) fn differences_csv(found: &CompareResult, to: &mut dyn Write) -> Result<(), csv::Error> {
    let mut table = csv::Writer::from_writer(to);
    table.write_record([
        "first",
        "second",
        "measure",
        "unit",
        "difference",
        "standard_error",
        "low",
        "high",
        "pairs",
        "variance_ratio",
    ])?;
    for pair in &found.differences {
        for (measure, unit, gap) in [
            ("rate", "parts/min", Some(pair.rate)),
            ("chance", "", pair.chance),
            ("feed_availability", "", pair.feed_availability),
            ("attendance", "people", pair.attendance),
        ] {
            let Some(gap) = gap else { continue };
            let ratio = pair.variance_ratio.filter(|_| measure == "rate");
            table.write_record([
                pair.first.clone(),
                pair.second.clone(),
                measure.to_owned(),
                unit.to_owned(),
                gap.difference.to_string(),
                gap.standard_error.to_string(),
                gap.low.to_string(),
                gap.high.to_string(),
                pair.shifts.to_string(),
                ratio.map_or(String::new(), |ratio| ratio.to_string()),
            ])?;
        }
    }
    table.flush()?;
    Ok(())
}
