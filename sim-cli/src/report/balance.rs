//! The balance of a line as a page.

use super::{heading, listed};
use crate::ink::Ink;
use crate::numbers::{NONE, plain};
use crate::screen::{WIDTH, safe, width, wrap};
use crate::tables::Table;
use sim_core::balance::{Balance, SortingBalance, StationBalance};

/// Flows, capacities and margins, and what limits the line.
pub(crate) fn balance(balance: &Balance, ink: Ink) -> String {
    let mut page = String::new();
    let title = match &balance.run {
        Some(run) => format!("BALANCE of the run of `{}`", safe(run)),
        None => format!("BALANCE at {}", demand(balance)),
    };
    let is_short = balance.run.is_none() && width(&title) <= WIDTH;
    if is_short {
        page.push_str(&heading(&title, ink));
    } else {
        let title = if balance.run.is_some() { &title } else { "BALANCE" };
        page.push_str(&heading(title, ink));
        page.push_str(&wrap(&format!("At {}.", demand(balance)), "  ", "  ", WIDTH));
    }
    page.push_str(&stations(balance, ink));
    page.push_str(&wrap(&limit(balance), "  ", "  ", WIDTH));
    page.push_str("  Free of stops and waiting, means alone; what chance does to it, `run` tells.\n");
    for section in [sorting(balance, ink), feeds(balance, ink), people(balance, ink), notes(balance, ink)] {
        if !section.is_empty() {
            page.push('\n');
            page.push_str(&section);
        }
    }
    page
}

/// The flow for which the balance holds.
fn demand(balance: &Balance) -> String {
    let at = listed(&balance.point.at);
    // A run that cannot do what is promised of all together is shown at its most.
    let is_shown = |promised: &f64| balance.run.is_none() || balance.rate_per_min >= promised * (1.0 - 1e-9);
    match balance.promised_per_min.filter(is_shown) {
        Some(promised) => format!("the promised {} good parts a minute at {at}", plain(promised)),
        None => format!("{} good parts a minute at {at}", plain(balance.rate_per_min)),
    }
}

fn stations(balance: &Balance, ink: Ink) -> String {
    let mut table = Table::new(&[
        "station",
        "flow|/min",
        "capacity|/min",
        "margin|%",
        "with stops|/min",
        "visits|per part",
        "jams|/h",
    ]);
    for station in &balance.stations {
        let name = if station.count > 1 {
            format!("{} x {}", station.count, station.id)
        } else {
            station.id.clone()
        };
        let marks = if Some(&station.id) == balance.limiting.as_ref() { " <" } else { "" };
        table.row([
            format!("{name}{marks}"),
            flow(station),
            capacity(station),
            station.margin.map_or(NONE.to_owned(), |margin| format!("{:+.1}", 100.0 * margin)),
            station.capacity_with_stops_per_min.map_or(NONE.to_owned(), digits),
            format!("{:.3}", station.visits),
            if station.jams_per_hour > 0.0 {
                format!("{:.2}", station.jams_per_hour)
            } else {
                NONE.to_owned()
            },
        ]);
    }
    table.render(ink)
}

/// The flow, or its bounds where it depends on chance.
fn flow(station: &StationBalance) -> String {
    match station.bounds_per_min {
        Some((low, high)) if high - low > 1e-6 * high.abs() => format!("{} to {}", digits(low), digits(high)),
        Some(_) | None => digits(station.flow_per_min),
    }
}

/// The rated capacity, and what it may be in the order that suits the station best.
fn capacity(station: &StationBalance) -> String {
    match (station.capacity_per_min, station.capacity_at_most_per_min) {
        (None, _) => "no limit".to_owned(),
        (Some(rated), Some(most)) if most - rated > 1e-6 * most => {
            format!("{} to {}", digits(rated), digits(most))
        }
        (Some(rated), Some(_)) => digits(rated),
        (Some(rated), None) => format!("{} or more", digits(rated)),
    }
}

fn digits(value: f64) -> String {
    format!("{value:.2}")
}

fn limit(balance: &Balance) -> String {
    match &balance.limiting {
        Some(station) => format!("{}; `{}` (<) limits it.", most(balance), safe(station)),
        None => format!("{}.", most(balance)),
    }
}

/// The most that the line can deliver, in words: the begin of a sentence.
pub(crate) fn most(balance: &Balance) -> String {
    match balance.most_bounds_per_min {
        Some((low, high)) if high - low > 1e-6 * high => format!(
            "The line can deliver {} to {} good parts a minute at most, as chance has it who finds room, what comes together and in which order",
            digits(low),
            digits(high)
        ),
        Some((_, most)) => format!("The line can deliver {} good parts a minute at most", digits(most)),
        None if balance.most_is_unknown => "The most that the line can deliver was not found".to_owned(),
        None => "Nothing limits the line".to_owned(),
    }
}

fn sorting(balance: &Balance, ink: Ink) -> String {
    let mut table = Table::new(&[
        "sorted at",
        "offered|/min",
        "off by|attitude",
        "off by|defect",
        "goes on|/min",
        "goes on|%",
        "passes|per part",
        "comes back|/min",
    ]);
    // A shuttle between two ways on sends nothing off.
    let sends_off =
        |one: &&SortingBalance| one.exits.len() > 2 || one.by_attitude_per_min + one.by_defect_per_min > 0.0;
    for one in balance.sorting.iter().filter(sends_off) {
        table.row([
            one.id.clone(),
            digits(one.offered_per_min),
            digits(one.by_attitude_per_min),
            digits(one.by_defect_per_min),
            digits(one.accepted_per_min),
            format!("{:.2}", 100.0 * one.accepted),
            one.passes.map_or(NONE.to_owned(), |passes| format!("{passes:.3}")),
            digits(one.recirculated_per_min),
        ]);
    }
    section("FLOW ACCOUNT where parts part ways", &table, ink)
}

fn feeds(balance: &Balance, ink: Ink) -> String {
    let mut table = Table::new(&["feed of", "free rate|over demand", "limited by"]).texts(1);
    for feed in balance.feeds.iter().filter(|feed| feed.over_feed.is_some()) {
        let name = match &feed.inlet {
            Some(inlet) => format!("{}, from {inlet}", feed.to),
            None => feed.to.clone(),
        };
        table.row([
            name,
            feed.over_feed.map_or(NONE.to_owned(), digits),
            feed.limited_by.clone().unwrap_or_else(|| NONE.to_owned()),
        ]);
    }
    section("OVER-FEED (1.15 to 1.5 is usual: common practice, no source)", &table, ink)
}

fn people(balance: &Balance, ink: Ink) -> String {
    let mut table = Table::new(&["attendants", "people", "load|% of time", "minutes|an hour"]);
    for pool in &balance.attendants {
        table.row([
            pool.id.clone(),
            pool.number.to_string(),
            format!("{:.1}", 100.0 * pool.load),
            format!("{:.1}", pool.minutes_per_hour),
        ]);
    }
    section("ATTENDANTS, to first order", &table, ink)
}

fn notes(balance: &Balance, ink: Ink) -> String {
    if balance.notes.is_empty() {
        return String::new();
    }
    let mut page = heading("NOTES", ink);
    for note in &balance.notes {
        page.push_str(&wrap(&safe(&note.message), "  - ", "    ", WIDTH));
    }
    page
}

fn section(title: &str, table: &Table, ink: Ink) -> String {
    if table.is_empty() { String::new() } else { format!("{}{}", heading(title, ink), table.render(ink)) }
}
