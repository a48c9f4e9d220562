//! The pay-back as a page of its own, and as the last section of a proof.

use super::heading;
use crate::ink::Ink;
use crate::numbers::{grouped, number, plain, stated};
use crate::screen::{WIDTH, safe, wrap};
use crate::tables::Table;
use sim_core::money::{Account, PayBack};
use sim_core::study::RunResult;

/// The whole page.
pub(crate) fn pay_back(found: &PayBack, ink: Ink) -> String {
    let mut page = format!("{}\n", safe(found.title.as_deref().unwrap_or("A line without a title")));
    page.push_str(&wrap(&format!("{}; seed {}.", shifts(found), found.seed), "", "", WIDTH));
    page.push('\n');
    page.push_str(&account(found, ink));
    page
}

/// The section of a proof; nothing without prices.
pub(super) fn section(result: &RunResult, ink: Ink) -> String {
    result.pay_back.as_ref().map_or(String::new(), |found| account(found, ink))
}

fn shifts(found: &PayBack) -> String {
    format!("{} simulated shifts of {} h", grouped(found.replications), plain(found.shift_h))
}

fn account(found: &PayBack, ink: Ink) -> String {
    let mut page = heading("MONEY in a year, apart from the proof", ink);
    let mut table = Table::new(&["", "amount", "from", "to"]);
    let fixed =
        |name: &str, value: f64| [name.to_owned(), format!("{value:.0}"), String::new(), String::new()];
    table.row(fixed("labour replaced", found.labour));
    table.row(fixed("running the line", 0.0 - found.running));
    let rows = [("inputs as known", Some(&found.as_known)), ("with ignorance", with(found))];
    for (name, account) in rows {
        let Some(account) = account else { continue };
        table.row([name.to_owned(), String::new(), String::new(), String::new()]);
        amounts(account).into_iter().for_each(|row| table.row(row));
    }
    page.push_str(&table.render(ink));
    for text in [words(found), meaning(found)] {
        page.push_str(&wrap(&text, "  ", "  ", WIDTH));
    }
    page
}

fn with(found: &PayBack) -> Option<&Account> {
    found.with_ignorance.as_ref().map(|with| &with.account)
}

/// Rows of one account.
pub(crate) fn amounts(account: &Account) -> [[String; 4]; 4] {
    let three = |name: &str, [mean, low, high]: [f64; 3]| {
        [name.to_owned(), format!("{mean:.0}"), format!("{low:.0}"), format!("{high:.0}")]
    };
    let Account { lost_minutes, lost, gain, years } = account;
    let [minutes, fewest, most] = lost_minutes.map(|minutes| number(minutes, None));
    let [years, soonest, latest] = years.map(|years| years.map_or("never".to_owned(), |y| number(y, None)));
    [
        ["- minutes lost in a shift, waiting for parts".to_owned(), minutes, fewest, most],
        three("- their value in a year", [-lost[0], -lost[2], -lost[1]]),
        three("- gain in a year", *gain),
        ["- years until it is paid back".to_owned(), years, soonest, latest],
    ]
}

/// What was found, in a sentence.
pub(crate) fn words(found: &PayBack) -> String {
    let years = |years: Option<f64>| years.map_or("never".to_owned(), |years| number(years, None));
    let span = |account: &Account| {
        let [mean, low, high] = account.years.map(years);
        format!("{mean} years (from {low} to {high})")
    };
    let ignorance = with(found)
        .map_or(String::new(), |with| format!("; with what is not known of the inputs in {}", span(with)));
    format!(
        "Cost {}: paid back in {}{ignorance}, without interest.",
        plain(found.prices.cost),
        span(&found.as_known)
    )
}

/// What the intervals hold.
pub(crate) fn meaning(found: &PayBack) -> String {
    let level = stated(found.level);
    let ignorance = match &found.with_ignorance {
        Some(with) => format!(
            " With ignorance: the mean of this line lies there with a probability of {level}, given the evidence ({} draws of \
             {} pieces of it, {} shifts each).",
            grouped(with.draws),
            with.pieces,
            with.shifts_each
        ),
        None => " All inputs are taken as stated.".to_owned(),
    };
    format!(
        "Plain arithmetic on {}. Amounts are those that were given, in one currency, and taken as certain; no verdict rests on \
         them. As known: from and to are what the simulation leaves open of the mean of many shifts, at {level}.{ignorance}",
        shifts(found)
    )
}
