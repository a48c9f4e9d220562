//! Attendants and breaks of the file, as pools and break plans.

use super::layout::Layout;
use super::plan::{BreakPlan, Owner};
use crate::kernel::sampler::Method;
use crate::kernel::{Pool, Sampler, StationId, StreamKey, TimerId};
use crate::part::SECOND;
use crate::scenario::{BreakSpec, PoolSpec, Scenario};

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
        pools.push(Pool::new(attendants, walk, spec.walk_from, priorities(scenario, layout, spec), key));
    }
    Crew { pools, n_attendants: post - first_post }
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

/// Makes the break plans, one per break of the file, and the number of timers that they need.
pub(super) fn breaks_of(scenario: &Scenario, layout: &Layout) -> (Vec<BreakPlan>, usize) {
    let plans: Vec<BreakPlan> =
        scenario.plan.breaks.iter().map(|spec| break_plan(scenario, layout, spec)).collect();
    let n = plans.len();
    (plans, n)
}

fn break_plan(scenario: &Scenario, layout: &Layout, spec: &BreakSpec) -> BreakPlan {
    let concerns = |id: &str| spec.of.is_empty() || spec.of.iter().any(|name| name.value == id);
    let mut posts = Vec::new();
    for (unit, &rank) in layout.units.iter().zip(&layout.rank) {
        let id = unit.entry.map(|entry| scenario.stations[entry].id.value.as_str());
        if id.is_some_and(concerns) {
            posts.push(StationId(rank as u16));
        }
    }
    posts.sort_unstable();
    let mut pools = Vec::new();
    let mut post = layout.units.len();
    for (ix, pool) in scenario.attendants.iter().enumerate() {
        let attendants: Vec<StationId> =
            (post..post + pool.number as usize).map(|post| StationId(post as u16)).collect();
        post += pool.number as usize;
        let named = spec.of.iter().any(|name| name.value == pool.id.value);
        if named || (spec.of.is_empty() && pool.breaks) {
            posts.extend(&attendants);
            pools.push((ix as u16, attendants));
        }
    }
    BreakPlan { posts, pools, spans: spans(spec, scenario.plan.shift_s) }
}

fn spans(spec: &BreakSpec, shift_s: f64) -> Vec<(u64, u64)> {
    let nanos = |seconds: f64| (seconds * SECOND as f64).round() as u64;
    let mut spans = Vec::new();
    let mut at = spec.at_s;
    while at < shift_s {
        spans.push((nanos(at), nanos(at + spec.length_s)));
        match spec.every_s {
            Some(every) => at += every,
            None => break,
        }
    }
    spans
}
