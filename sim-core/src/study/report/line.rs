//! The line station by station, place by place.

use super::super::outputs::{Count, Key, entry_of, n_exits, sorts_out};
use super::super::result::{
    AttendantReport, ExitFlow, Figure, InletReport, LineReport, MeasureReport, PathReport, PlaceReport,
    PointReport, SensorReport, StateShare, StationReport, StopReport,
};
use super::super::run::Study;
use crate::kernel::troubles::{Clock, StopKind, Trigger};
use crate::kernel::{State, UNLIMITED};
use crate::scenario::{OUT, target_of};
use crate::stations::catalogue::Entry;

pub(super) fn line(study: &Study<'_>) -> LineReport {
    LineReport {
        feed_availability: study.figure(Key::FeedAvailability),
        passes_per_delivered: study.figure(Key::PassesPerDelivered),
        created_per_hour: study.figure(Key::LineCreated),
        stops_per_hour: study.figure(Key::LineStops),
        changeovers_per_hour: study.figure(Key::Changeovers),
        purged_per_hour: study.figure(Key::Purged),
    }
}

pub(super) fn points(study: &Study<'_>) -> Vec<PointReport> {
    let points = study.plan.tally.points.iter().enumerate();
    points
        .map(|(n, station)| PointReport {
            station: study.plan.names.posts[station.ix()].clone(),
            good_per_minute: study.figure(Key::PointGood(n)),
            bad_ppm: study.figure(Key::PointBadPpm(n)),
            passes: study.figure(Key::PointPasses(n)),
            passes_p95: study.passes.get(n).and_then(|passes| percentile_of(passes, 0.95)),
            parts_by_passes: study.passes.get(n).map(|passes| without_zeros(passes)).unwrap_or_default(),
            time_in_line_s: study.figure(Key::PointTime(n)),
            longest_starved_s: study.figure(Key::PointLongest(n)),
            longest_starved_max_s: study.moments_of(Key::PointLongest(n)).max(),
        })
        .collect()
}

/// Counts up to the last one that is not 0.
fn without_zeros(counts: &[u64]) -> Vec<u64> {
    let n = counts.iter().rposition(|n| *n > 0).map_or(0, |last| last + 1);
    counts[..n].to_vec()
}

/// The smallest value that at least this share of all counted ones does not exceed.
fn percentile_of(counts: &[u64], share: f64) -> Option<u32> {
    let all: u64 = counts.iter().sum();
    let needed = (all as f64 * share).ceil() as u64;
    let mut sum = 0;
    let found = counts.iter().position(|n| {
        sum += n;
        sum >= needed
    });
    if all == 0 { None } else { found.map(|value| value as u32) }
}

pub(super) fn stations(study: &Study<'_>) -> Vec<StationReport> {
    study.outputs.stations.iter().filter_map(|&post| station(study, post)).collect()
}

fn station(study: &Study<'_>, post: usize) -> Option<StationReport> {
    let (plan, scenario) = (&study.plan, study.job.scenario);
    let entry_ix = entry_of(plan, post)?;
    let entry = &scenario.stations[entry_ix];
    let per_hour = |count| study.figure(Key::PerHour(post, count));
    let share = |state| {
        let share = study.figure(Key::Share(post, state));
        StateShare { state, share, half_width: share.half_width() }
    };
    let path = PathReport {
        accepted_share: study.figure(Key::Accepted(post)),
        recirculation_ratio: study.figure(Key::Recirculation(post)),
    };
    Some(StationReport {
        name: plan.names.posts[post].clone(),
        station_type: entry.word.to_owned(),
        is_point_of_use: plan.tally.points.iter().any(|point| point.ix() == post),
        states: State::ALL.map(share).to_vec(),
        taken_per_hour: per_hour(Count::Taken),
        created_per_hour: per_hour(Count::Created),
        exits: exits(study, post, entry_ix),
        path: sorts_out(scenario, plan, post).then_some(path),
        stops_per_hour: per_hour(Count::Stops),
        calls_per_hour: per_hour(Count::Calls),
        restarts_per_hour: per_hour(Count::Restarts),
        empty_strokes_per_hour: per_hour(Count::EmptyStrokes),
        empty_strokes_share: study.figure(Key::EmptyStrokesShare(post)),
        lost_per_hour: per_hour(Count::Lost),
        spilled_per_hour: per_hour(Count::Spilled),
        overfilled_per_hour: per_hour(Count::Overfilled),
        tips_per_hour: per_hour(Count::Tips),
        checks_failed_per_hour: per_hour(Count::ChecksFailed),
        short_strokes_per_hour: per_hour(Count::ShortStrokes),
        missing_by_inlet: missing(study, post, entry),
    })
}

fn exits(study: &Study<'_>, post: usize, entry_ix: usize) -> Vec<ExitFlow> {
    let scenario = study.job.scenario;
    let exits = scenario.stations[entry_ix].blueprint.exits();
    let flow = |exit: usize| ExitFlow {
        exit: exit as u32,
        key: exits[exit].key.to_owned(),
        to: target_of(scenario, entry_ix, &exits[exit].to)
            .map_or_else(|| OUT.to_owned(), |to| scenario.stations[to].id.value.clone()),
        per_hour: study.figure(Key::Exit(post, exit)),
    };
    (0..n_exits(scenario, &study.plan, post)).map(flow).collect()
}

fn missing(study: &Study<'_>, post: usize, entry: &Entry) -> Vec<InletReport> {
    let named = entry.blueprint.named_inlets();
    let machine = study.plan.tally.inlets.iter().find(|(station, _)| station.ix() == post);
    let report = |inlet: usize| InletReport {
        from: named.get(inlet).map_or_else(|| format!("inlet {}", inlet + 1), |name| name.value.clone()),
        missing_share: study.figure(Key::Missing(post, inlet)),
    };
    (0..machine.map_or(0, |(_, n)| *n as usize)).map(report).collect()
}

pub(super) fn places(study: &Study<'_>) -> Vec<PlaceReport> {
    let places = study.plan.names.places.iter().enumerate();
    places
        .map(|(n, name)| {
            let capacity = study.plan.tally.capacities.get(n).copied().filter(|c| *c != UNLIMITED);
            let percentile = |percent| study.levels.get(n).and_then(|levels| levels.percentile(percent));
            PlaceReport {
                name: name.clone(),
                capacity,
                mean_content: study.figure(Key::Content(n)),
                content_p5: percentile(5),
                content_p50: percentile(50),
                content_p95: percentile(95),
                share_empty: study.figure(Key::Empty(n)),
                share_full: capacity.map(|_| study.figure(Key::Full(n))),
                departures_per_hour: study.figure(Key::Departures(n)),
                mean_stay_s: study.figure(Key::Stay(n)),
            }
        })
        .collect()
}

pub(super) fn stops(study: &Study<'_>) -> Vec<StopReport> {
    let plan = &study.plan;
    let mut stops = Vec::new();
    for &post in &study.outputs.stations {
        for (number, &ix) in plan.outfit.posts[post].troubles.iter().enumerate() {
            let trouble = &plan.outfit.troubles[usize::from(ix)];
            stops.push(StopReport {
                station: plan.names.posts[post].clone(),
                number: number as u32 + 1,
                what: match trouble.kind {
                    StopKind::Jam => "jam".to_owned(),
                    StopKind::Breakdown => "breakdown".to_owned(),
                },
                cause: cause(&trouble.trigger).to_owned(),
                by: trouble
                    .pool
                    .map(|pool| study.job.scenario.attendants[usize::from(pool)].id.value.clone()),
                per_hour: study.figure(Key::Stop(usize::from(ix))),
                per_thousand_parts: study.figure(Key::StopPerThousand(usize::from(ix))),
            });
        }
    }
    stops
}

fn cause(trigger: &Trigger) -> &'static str {
    match trigger {
        Trigger::Part { .. } => "by part",
        Trigger::Time { clock: Clock::Working, .. } => "by working time",
        Trigger::Time { clock: Clock::Powered, .. } => "by powered time",
        Trigger::Time { clock: Clock::Wall, .. } => "by the clock",
    }
}

pub(super) fn attendants(study: &Study<'_>) -> Vec<AttendantReport> {
    let pools = study.job.scenario.attendants.iter().enumerate();
    pools
        .map(|(n, pool)| {
            let load = study.figure(Key::Load(n));
            AttendantReport {
                name: pool.id.value.clone(),
                number: pool.number,
                load,
                off: study.figure(Key::Off(n)),
                minutes_per_hour: times(load, 60.0 * f64::from(pool.number)),
                calls_per_hour: study.figure(Key::PoolCalls(n)),
            }
        })
        .collect()
}

/// A figure in another unit.
fn times(figure: Figure, factor: f64) -> Figure {
    let scaled = |value: Option<f64>| value.map(|value| value * factor);
    Figure {
        mean: scaled(figure.mean),
        standard_error: scaled(figure.standard_error),
        low: scaled(figure.low),
        high: scaled(figure.high),
        ..figure
    }
}

pub(super) fn sensors(study: &Study<'_>) -> Vec<SensorReport> {
    let sensors = study.job.scenario.sensors.iter().enumerate();
    sensors
        .map(|(n, sensor)| SensorReport {
            name: sensor.id.value.clone(),
            on_share: study.figure(Key::SensorOn(n)),
            switched_on_per_hour: study.figure(Key::SensorSwitches(n)),
        })
        .collect()
}

pub(super) fn measures(study: &Study<'_>) -> Vec<MeasureReport> {
    let measures = study.job.scenario.measures.iter().enumerate();
    measures
        .map(|(n, measure)| MeasureReport {
            name: measure.id.value.clone(),
            share: study.figure(Key::Own(n)),
        })
        .collect()
}
