//! The pay-back as a page.

use super::heading;
use crate::ink::Ink;
use crate::numbers::{number, plain};
use crate::screen::{WIDTH, safe, wrap};
use crate::tables::Table;
use sim_core::money::PayBack;

/// The whole page.
pub(crate) fn pay_back(found: &PayBack, ink: Ink) -> String {
    let mut page = format!("{}\n", safe(found.title.as_deref().unwrap_or("A line without a title")));
    page.push_str(&wrap(
        &format!(
            "{} simulated shifts of {} h; seed {}. All amounts are those that were given, in one currency; nothing of this \
             enters a proof.",
            found.replications,
            plain(found.shift_h),
            found.seed
        ),
        "",
        "",
        WIDTH,
    ));
    page.push('\n');
    page.push_str(&heading("MONEY in a year", ink));
    let mut table = Table::new(&["", "amount", "from", "to"]);
    let fixed =
        |name: &str, value: f64| [name.to_owned(), format!("{value:.0}"), String::new(), String::new()];
    let three = |name: &str, [mean, low, high]: [f64; 3]| {
        [name.to_owned(), format!("{mean:.0}"), format!("{low:.0}"), format!("{high:.0}")]
    };
    table.row(fixed("labour replaced", found.labour));
    table.row(fixed("running the line", -found.running));
    table.row(three("minutes lost, waiting for parts", [-found.lost[0], -found.lost[2], -found.lost[1]]));
    table.row(three("gain", found.gain));
    page.push_str(&table.render(ink));
    let shown = |years: Option<f64>| years.map_or("never".to_owned(), |years| number(years, None));
    page.push_str(&wrap(
        &format!(
            "Minutes lost in a shift: {} (from {} to {}). Cost {}: paid back in {} years (from {} to {}), without interest.",
            number(found.lost_minutes[0], None),
            number(found.lost_minutes[1], None),
            number(found.lost_minutes[2], None),
            plain(found.prices.cost),
            shown(found.years[0]),
            shown(found.years[1]),
            shown(found.years[2])
        ),
        "  ",
        "  ",
        WIDTH,
    ));
    page.push_str(&wrap(
        &format!(
            "Intervals at {:.0} %: what the simulation leaves open of the mean of many shifts, with inputs taken as stated.",
            100.0 * found.level
        ),
        "  ",
        "  ",
        WIDTH,
    ));
    page
}
