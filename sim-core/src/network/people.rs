//! Attendants and breaks of the file, as pools and break plans.

use super::layout::Layout;
use super::plan::{BreakPlan, Owner};
use crate::kernel::sampler::Method;
use crate::kernel::{Pool, Sampler, StationId, StreamKey, TimerId};
use crate::part::SECOND;
use crate::scenario::{BreakSpec, PoolSpec, Scenario};
use crate::text::forms::Spanned;

/// All pools.
#[derive(Debug)]
pub(super) struct Crew {
    pub(super) pools: Vec<Pool>,
    pub(super) n_attendants: usize,
}

/// Makes the pools; attendants get post numbers from `first_post` on.
pub(super) fn pools_of(
    scenario: &Scenario,
    layout: &Layout,
    method: Method,
    owners: &mut Vec<Owner>,
    first_post: usize,
) -> Crew {
    let mut pools = Vec::new();
    let mut post = first_post;
    for (ix, spec) in scenario.attendants.iter().enumerate() {
        let mut attendants = Vec::new();
        for who in 0..spec.number {
            attendants.push((StationId(post as u16), TimerId(owners.len() as u16)));
            owners.push(Owner::Attendant { pool: ix as u16, who: who as u16 });
            post += 1;
        }
        let key = StreamKey::new(&spec.id.value, "walk");
        let walk = Sampler::new(&spec.walk, 1.0, method);
        let pool = Pool::new(attendants, walk, spec.walk_from, priorities(scenario, layout, spec), key);
        let index = |name: &Spanned<String>| {
            scenario.attendants.iter().position(|pool| pool.id.value == name.value).map(|ix| ix as u16)
        };
        let helps = spec.helps.iter().filter_map(index).filter(|helped| usize::from(*helped) != ix).collect();
        pools.push(pool.with_walks(walks_to(scenario, layout, spec, method)).with_helps(helps));
    }
    Crew { pools, n_attendants: post - first_post }
}

/// Walks to the stations for which a time of their own is given.
fn walks_to(
    scenario: &Scenario,
    layout: &Layout,
    spec: &PoolSpec,
    method: Method,
) -> Vec<(StationId, Sampler)> {
    let mut walks = Vec::new();
    for (unit, &rank) in layout.units.iter().zip(&layout.rank) {
        let id = unit.entry.map(|entry| scenario.stations[entry].id.value.as_str());
        if let Some((_, walk)) = spec.walk_to.iter().find(|(name, _)| Some(name.value.as_str()) == id) {
            walks.push((StationId(rank as u16), Sampler::new(walk, 1.0, method)));
        }
    }
    walks
}

/// Priority of each station, by its number: its place in the pool's list, the others after it.
fn priorities(scenario: &Scenario, layout: &Layout, spec: &PoolSpec) -> Vec<u8> {
    let last = spec.priority.len().min(255) as u8;
    let mut priority = vec![last; layout.units.len()];
    for (unit, &rank) in layout.units.iter().zip(&layout.rank) {
        let id = unit.entry.map(|entry| scenario.stations[entry].id.value.as_str());
        if let Some(place) = spec.priority.iter().position(|name| Some(name.value.as_str()) == id) {
            priority[rank] = place.min(255) as u8;
        }
    }
    priority
}

/// Makes the break plans: one per break of the file, or one for each of those concerned if it is staggered; and one
/// for each pool that is not always there. Each needs a timer.
pub(super) fn breaks_of(scenario: &Scenario, layout: &Layout) -> (Vec<BreakPlan>, usize) {
    let mut plans = Vec::new();
    for spec in &scenario.plan.breaks {
        let whom = concerned(scenario, layout, spec);
        let spans = |later_s: f64| spans(spec, later_s, scenario.plan.shift_s);
        if spec.stagger_s > 0.0 {
            for (n, one) in whom.iter().enumerate() {
                plans.push(plan_for(std::slice::from_ref(one), spans(n as f64 * spec.stagger_s)));
            }
        } else {
            plans.push(plan_for(&whom, spans(0.0)));
        }
    }
    let mut post = layout.units.len();
    for (ix, pool) in scenario.attendants.iter().enumerate() {
        let people =
            (post..post + pool.number as usize).map(|post| (StationId(post as u16), Some(ix as u16)));
        post += pool.number as usize;
        if !pool.shifts.is_empty() {
            plans.push(plan_for(&people.collect::<Vec<_>>(), absences(&pool.shifts, scenario.plan.shift_s)));
        }
    }
    let n = plans.len();
    (plans, n)
}

/// Stations and attendants that a break concerns, each with its pool: in the order of `of`, or of the file.
fn concerned(scenario: &Scenario, layout: &Layout, spec: &BreakSpec) -> Vec<(StationId, Option<u16>)> {
    let mut all: Vec<(&str, StationId, Option<u16>)> = Vec::new();
    for (unit, &rank) in layout.units.iter().zip(&layout.rank) {
        if let Some(entry) = unit.entry {
            all.push((&scenario.stations[entry].id.value, StationId(rank as u16), None));
        }
    }
    let mut post = layout.units.len();
    for (ix, pool) in scenario.attendants.iter().enumerate() {
        for _ in 0..pool.number {
            if pool.breaks || !spec.of.is_empty() {
                all.push((&pool.id.value, StationId(post as u16), Some(ix as u16)));
            }
            post += 1;
        }
    }
    if !spec.of.is_empty() {
        let place = |id: &str| spec.of.iter().position(|name| name.value == id);
        all.retain(|(id, ..)| place(id).is_some());
        all.sort_by_key(|(id, ..)| place(id));
    }
    all.into_iter().map(|(_, post, pool)| (post, pool)).collect()
}

fn plan_for(whom: &[(StationId, Option<u16>)], spans: Vec<(u64, u64)>) -> BreakPlan {
    let mut posts: Vec<StationId> = whom.iter().map(|(post, _)| *post).collect();
    posts.sort_unstable();
    let mut pools: Vec<(u16, Vec<StationId>)> = Vec::new();
    for &(post, pool) in whom {
        let Some(pool) = pool else { continue };
        match pools.iter_mut().find(|(known, _)| *known == pool) {
            Some((_, people)) => people.push(post),
            None => pools.push((pool, vec![post])),
        }
    }
    BreakPlan { posts, pools, spans }
}

/// The times between presences, ns.
fn absences(shifts: &[(f64, f64)], shift_s: f64) -> Vec<(u64, u64)> {
    let nanos = |seconds: f64| (seconds * SECOND as f64).round() as u64;
    let mut spans = Vec::new();
    let mut gone_from = 0.0;
    for &(from, to) in shifts {
        if from > gone_from {
            spans.push((nanos(gone_from), nanos(from)));
        }
        gone_from = to.max(gone_from);
    }
    if gone_from < shift_s {
        // Beyond the end, so that nobody comes back at the very last instant.
        spans.push((nanos(gone_from), nanos(shift_s + 1.0)));
    }
    spans
}

fn spans(spec: &BreakSpec, later_s: f64, shift_s: f64) -> Vec<(u64, u64)> {
    let nanos = |seconds: f64| (seconds * SECOND as f64).round() as u64;
    let mut spans = Vec::new();
    let mut at = spec.at_s + later_s;
    while at < shift_s {
        spans.push((nanos(at), nanos(at + spec.length_s)));
        match spec.every_s {
            Some(every) => at += every,
            None => break,
        }
    }
    spans
}
