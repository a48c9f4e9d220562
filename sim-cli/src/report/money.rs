//! The pay-back as a page of its own, and as the last section of a proof.

use super::heading;
use crate::ink::Ink;
use crate::numbers::{grouped, number, plain, stated};
use crate::problems::counted;
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
    let fixed = |name: &str, value: f64| [name.to_owned(), whole(value), String::new(), String::new()];
    table.row(fixed("labour replaced", found.labour));
    table.row(fixed("running the line", -found.running));
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

/// An amount without its fractions, and without the sign of a zero.
fn whole(amount: f64) -> String {
    format!("{:.0}", amount.round() + 0.0)
}

/// Rows of one account.
pub(crate) fn amounts(account: &Account) -> [[String; 4]; 4] {
    let three =
        |name: &str, [mean, low, high]: [f64; 3]| [name.to_owned(), whole(mean), whole(low), whole(high)];
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
    let ignorance = with(found).map_or(String::new(), |with| {
        format!("; with what is not known of the inputs {}", paid_back(with.years))
    });
    format!(
        "Cost {}: {}{ignorance}, without interest.",
        plain(found.prices.cost),
        paid_back(found.as_known.years)
    )
}

/// Years until it is paid back with its interval; none: never.
fn paid_back(years: [Option<f64>; 3]) -> String {
    let end = |years: Option<f64>| years.map_or("never".to_owned(), |years| number(years, None));
    match years {
        [None, None, None] => "not paid back".to_owned(),
        [None, low, high] => format!("not paid back (from {} years to {})", end(low), end(high)),
        [Some(mean), low, high] => {
            format!("paid back in {} years (from {} to {})", number(mean, None), end(low), end(high))
        }
    }
}

/// What the intervals hold.
pub(crate) fn meaning(found: &PayBack) -> String {
    let level = stated(found.level);
    let ignorance = match &found.with_ignorance {
        Some(with) => format!(
            " With ignorance: the mean of this line lies there with a probability of {level}, given the evidence ({} draws of \
             {} of it, {} each).",
            grouped(with.draws),
            counted(with.pieces as usize, "piece"),
            counted(with.shifts_each as usize, "shift")
        ),
        None => " All inputs are taken as stated.".to_owned(),
    };
    format!(
        "Plain arithmetic on {}. Amounts are those that were given, in one currency, and taken as certain; no verdict rests on \
         them. As known: from and to are what the simulation leaves open of the mean of many shifts, at {level}.{ignorance}",
        shifts(found)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_never_paid_back_has_no_years() {
        assert_eq!(paid_back([None; 3]), "not paid back");
        assert_eq!(paid_back([None, Some(9.0), None]), "not paid back (from 9 years to never)");
        assert_eq!(paid_back([Some(2.5), Some(2.0), None]), "paid back in 2.5 years (from 2 to never)");
    }

    #[test]
    fn a_zero_has_no_sign() {
        assert_eq!([-0.0, -0.4, 0.4, -0.6, 12.5].map(whole), ["0", "0", "0", "-1", "13"]);
    }
}
