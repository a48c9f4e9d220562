//! The line, station by station and place by place.

use super::rate::with_unit;
use super::{blocks, heading};
use crate::ink::Ink;
use crate::numbers::{NONE, grouped, hundred, mean, scaled};
use crate::screen::{WIDTH, columns, draws, safe, wrap};
use crate::tables::Table;
use sim_core::kernel::State;
use sim_core::study::RunResult;
use sim_core::study::result::{Figure, PlaceReport, StationReport};

/// Columns of the picture of a level.
const BAR: usize = 14;

/// Columns of the table of shares of time.
const COLUMNS: [&str; 8] =
    ["working", "starved", "blocked", "held", "jam:|waiting", "jam:|cleared", "down", "off"];

/// The column that a state is shown in.
fn column(state: State) -> usize {
    match state {
        State::Working | State::Checking | State::Loading => 0,
        State::Starved => 1,
        State::Blocked => 2,
        State::Held => 3,
        State::JamWaiting => 4,
        State::JamClearing | State::JamAutomatic => 5,
        State::DownWaiting | State::DownRepair => 6,
        State::Off | State::Changeover => 7,
    }
}

/// Shares of time of all stations.
pub(super) fn time_shares(result: &RunResult, ink: Ink) -> String {
    let mut titles = vec!["station"];
    titles.extend(COLUMNS);
    let mut table = Table::new(&titles);
    let mut widest: f64 = 0.0;
    for station in &result.stations {
        let mut shares = [0.0; COLUMNS.len()];
        for one in &station.states {
            shares[column(one.state)] += one.share.mean.unwrap_or(0.0);
            widest = widest.max(one.half_width.unwrap_or(0.0));
        }
        if shares.iter().sum::<f64>() > 0.0 {
            table.row(std::iter::once(station.name.clone()).chain(hundred(&shares)));
        }
    }
    if table.is_empty() {
        return String::new();
    }
    let mut page = heading("STATIONS, share of time in % (each line adds up to 100)", ink);
    page.push_str(&table.render(ink));
    let mut notes = Vec::new();
    if widest > 0.0 {
        notes.push(format!("Mean over shifts; half-widths are {:.2} % at most.", 100.0 * widest));
    }
    let any = |state: State| {
        let has = |station: &StationReport| {
            station
                .states
                .iter()
                .any(|one| one.state == state && one.share.mean.is_some_and(|mean| mean > 0.0))
        };
        result.stations.iter().any(has)
    };
    for (state, text) in [
        (State::Checking, "Checks count as working."),
        (State::Loading, "Loading of nests counts as working."),
        (State::JamAutomatic, "Automatic clearing counts as cleared."),
        (State::Changeover, "Changeovers count as off."),
    ] {
        if any(state) {
            notes.push(text.to_owned());
        }
    }
    if !notes.is_empty() {
        page.push_str(&wrap(&notes.join(" "), "  ", "  ", WIDTH));
    }
    page
}

/// Flows, recirculation and passes.
pub(super) fn flow(result: &RunResult, ink: Ink) -> String {
    let mut table = Table::new(&["station", "taken|/min", "goes on|%", "sent off for each|that goes on"]);
    for station in &result.stations {
        let Some(path) = &station.path else { continue };
        table.row([
            station.name.clone(),
            scaled(&station.taken_per_hour, 1.0 / 60.0, 2),
            scaled(&path.accepted_share, 100.0, 2),
            scaled(&path.recirculation_ratio, 1.0, 3),
        ]);
    }
    let passes = with_unit(&result.line.passes_per_delivered, "orienting passes for each part delivered");
    if table.is_empty() && passes.is_none() {
        return String::new();
    }
    let mut page = heading("FLOW where parts part ways", ink);
    if !table.is_empty() {
        page.push_str(&table.render(ink));
    }
    if let Some(passes) = passes {
        page.push_str(&format!("  {passes}, all paths together\n"));
    }
    page
}

/// Points of use: passes, time in the line, escapes, longest gap.
pub(super) fn points(result: &RunResult, ink: Ink) -> String {
    let mut table = Table::new(&[
        "point|of use",
        "good|/min",
        "bad in|a million",
        "passes|mean",
        "passes|95 %",
        "time in line|s",
        "longest gap|mean s",
        "worst|s",
    ]);
    let has_paths = result.line.passes_per_delivered.mean.is_some();
    for point in &result.points {
        let p95 = match point.passes_p95.filter(|_| has_paths) {
            Some(255) => "255+".to_owned(),
            Some(n) => n.to_string(),
            None => NONE.to_owned(),
        };
        table.row([
            point.station.clone(),
            scaled(&point.good_per_minute, 1.0, 3),
            scaled(&point.bad_ppm, 1.0, 0),
            if has_paths { scaled(&point.passes, 1.0, 3) } else { NONE.to_owned() },
            p95,
            scaled(&point.time_in_line_s, 1.0, 1),
            scaled(&point.longest_starved_s, 1.0, 1),
            point.longest_starved_max_s.map_or(NONE.to_owned(), |s| format!("{s:.0}")),
        ]);
    }
    if table.is_empty() {
        return String::new();
    }
    let mut page = heading("PARTS at the point of use", ink);
    page.push_str(&table.render(ink));
    page.push_str("  A gap is a spell without a part to take; of each shift the longest one counts.\n");
    page
}

/// Contents of tracks, belts and bins.
pub(super) fn levels(result: &RunResult, ink: Ink) -> String {
    let mut titles =
        vec!["place", "holds", "content|mean", "|5 %", "|50 %", "|95 %", "empty|%", "full|%", "mean stay|s"];
    let has_pictures = draws() && columns() >= WIDTH + BAR + 2;
    if has_pictures {
        titles.push("empty to full|   ");
    }
    let mut table = Table::new(&titles);
    let count = |level: Option<u32>| level.map_or(NONE.to_owned(), |level| grouped(u64::from(level)));
    let is_hand = |place: &PlaceReport| {
        place.name.strip_suffix(" hand").is_some_and(|of| result.stations.iter().any(|one| one.name == of))
    };
    for place in result.places.iter().filter(|place| !is_hand(place)) {
        let bar = match (place.content_p5, place.content_p50, place.content_p95, place.capacity) {
            (Some(low), Some(middle), Some(high), Some(full)) => blocks::level(low, middle, high, full, BAR),
            (_, _, _, _) => String::new(),
        };
        let numbers = [
            place.name.clone(),
            place.capacity.map_or("no limit".to_owned(), |n| grouped(u64::from(n))),
            scaled(&place.mean_content, 1.0, 1),
            count(place.content_p5),
            count(place.content_p50),
            count(place.content_p95),
            scaled(&place.share_empty, 100.0, 1),
            place.share_full.as_ref().map_or(NONE.to_owned(), |full| scaled(full, 100.0, 1)),
            scaled(&place.mean_stay_s, 1.0, 1),
        ];
        table.row(numbers.into_iter().chain(has_pictures.then_some(bar)));
    }
    let mut page = section("LEVELS of tracks, belts and bins", &table, ink);
    if !page.is_empty() {
        page.push_str("  5 %: for 5 % of the time of all shifts together it held this much or less.\n");
    }
    page
}

/// Jams and breakdowns.
pub(super) fn stops(result: &RunResult, ink: Ink) -> String {
    let mut table = Table::new(&["station", "stop", "cause", "by", "per hour", "per 1000|parts"]).texts(4);
    for stop in &result.stops {
        table.row([
            stop.station.clone(),
            format!("{} {}", stop.what, stop.number),
            stop.cause.clone(),
            stop.by.clone().unwrap_or_else(|| "itself".to_owned()),
            scaled(&stop.per_hour, 1.0, 2),
            scaled(&stop.per_thousand_parts, 1.0, 3),
        ]);
    }
    if table.is_empty() {
        return String::new();
    }
    let mut page = section("JAMS AND STOPS", &table, ink);
    if let Some(all) = with_unit(&result.line.stops_per_hour, "stops an hour in all") {
        page.push_str(&format!("  {all}\n"));
    }
    page
}

/// Attendants.
pub(super) fn people(result: &RunResult, ink: Ink) -> String {
    let mut table = Table::new(&[
        "attendants",
        "people",
        "load|% of time",
        "off|% of time",
        "minutes|an hour",
        "calls|an hour",
    ]);
    for pool in &result.attendants {
        table.row([
            pool.name.clone(),
            pool.number.to_string(),
            scaled(&pool.load, 100.0, 1),
            scaled(&pool.off, 100.0, 1),
            scaled(&pool.minutes_per_hour, 1.0, 1),
            scaled(&pool.calls_per_hour, 1.0, 1),
        ]);
    }
    section("ATTENDANTS, walking and at work", &table, ink)
}

/// Sensors, and the starts that they cause.
pub(super) fn sensors(result: &RunResult, ink: Ink) -> String {
    let mut table = Table::new(&["sensor", "on|% of time", "switched on|an hour"]);
    for sensor in &result.sensors {
        table.row([
            sensor.name.clone(),
            scaled(&sensor.on_share, 100.0, 1),
            scaled(&sensor.switched_on_per_hour, 1.0, 1),
        ]);
    }
    let mut page = section("SENSORS", &table, ink);
    let restarts: Vec<String> = result
        .stations
        .iter()
        .filter(|station| station.restarts_per_hour.mean.is_some_and(|mean| mean > 0.0))
        .map(|station| format!("`{}` {}", station.name, mean(&station.restarts_per_hour)))
        .collect();
    if !restarts.is_empty() {
        page.push_str(&wrap(
            &safe(&format!("Starts an hour after a hold: {}.", restarts.join(", "))),
            "  ",
            "    ",
            WIDTH,
        ));
    }
    page
}

/// Measures of the file's own.
pub(super) fn measures(result: &RunResult, ink: Ink) -> String {
    let mut table = Table::new(&["measure", "% of time"]);
    for one in &result.measures {
        table.row([one.name.clone(), scaled(&one.share, 100.0, 2)]);
    }
    section("MEASURES of the file", &table, ink)
}

/// What is worth a line of its own where it happens at all.
pub(super) fn losses(result: &RunResult, ink: Ink) -> String {
    let mut lines = Vec::new();
    for station in &result.stations {
        for (figure, what) in happenings(station) {
            if figure.mean.is_some_and(|mean| mean > 0.0) {
                lines.push(format!("`{}`: {} {what}", station.name, mean(figure)));
            }
        }
        for inlet in &station.missing_by_inlet {
            if let Some(share) = inlet.missing_share.mean.filter(|share| *share > 0.0) {
                let name = &station.name;
                lines.push(format!(
                    "`{name}`: {:.1} % of time without a part of `{}`",
                    100.0 * share,
                    inlet.from
                ));
            }
        }
    }
    for (figure, what) in [
        (&result.line.changeovers_per_hour, "changeovers an hour"),
        (&result.line.purged_per_hour, "parts an hour taken out of the line in changeovers"),
    ] {
        if figure.mean.is_some_and(|mean| mean > 0.0) {
            lines.push(format!("{} {what}", mean(figure)));
        }
    }
    if lines.is_empty() {
        return String::new();
    }
    let text: String = lines.iter().map(|line| wrap(&safe(line), "  ", "    ", WIDTH)).collect();
    format!("{}{text}", heading("ALSO", ink))
}

fn happenings(station: &StationReport) -> [(&Figure, &'static str); 7] {
    let is_box = matches!(station.station_type.as_str(), "box out" | "scrap box");
    [
        (
            &station.tips_per_hour,
            if is_box { "boxes exchanged an hour" } else { "containers emptied an hour" },
        ),
        (&station.lost_per_hour, "parts an hour lost for want of room"),
        (&station.spilled_per_hour, "parts an hour spilled for want of room"),
        (&station.overfilled_per_hour, "times an hour filled beyond its capacity"),
        (&station.checks_failed_per_hour, "presence checks failed an hour"),
        (&station.short_strokes_per_hour, "strokes an hour with a part missing"),
        (&station.empty_strokes_per_hour, "strokes an hour that found nothing to release"),
    ]
}

fn section(title: &str, table: &Table, ink: Ink) -> String {
    if table.is_empty() { String::new() } else { format!("{}{}", heading(title, ink), table.render(ink)) }
}
