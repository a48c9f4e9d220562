//! Jams and breakdowns of the file, as troubles of single stations.

use super::plan::Owner;
use crate::kernel::sampler::Method;
use crate::kernel::troubles::{Automatic, Clock, StopKind, Trigger, Trouble};
use crate::kernel::{Moment, Pool, Post, Sampler, StationId, StreamKey, TimerId};
use crate::scenario::Scenario;
use crate::stations::blueprint::moment;
use crate::stations::catalogue::Entry;
use crate::terms::kind::Kind;
use crate::terms::law::Law;
use crate::terms::stops::{Cause, ClockWord, StopSpec};

/// Troubles and pools under construction.
#[derive(Debug, Default)]
pub(super) struct TroubleBook {
    pub(super) troubles: Vec<Trouble>,
    pub(super) pools: Vec<Pool>,
}

impl TroubleBook {
    /// Adds the troubles of one station and gives it the timers that they need.
    #[expect(clippy::too_many_arguments, reason = "everything that a trouble is made of")]
    pub(super) fn add(
        &mut self,
        scenario: &Scenario,
        entry: &Entry,
        name: &str,
        station: StationId,
        method: Method,
        owners: &mut Vec<Owner>,
        post: &mut Post,
    ) {
        let own = entry.stops.iter().map(|stop| (stop.clone(), moment(stop.when)));
        let all: Vec<(StopSpec, Moment)> = own.chain(entry.blueprint.inner_stops()).collect();
        if all.is_empty() {
            return;
        }
        post.stop_timer = Some(TimerId(owners.len() as u16));
        owners.push(Owner::Stop(station));
        for (n, (stop, moment)) in all.iter().enumerate() {
            let ix = self.troubles.len() as u16;
            let key = StreamKey::new(name, &format!("stop {}", n + 1));
            let trigger = trigger(scenario, stop, *moment, method, || {
                owners.push(Owner::Trouble(ix));
                TimerId((owners.len() - 1) as u16)
            });
            post.troubles.push(ix);
            self.troubles.push(self.trouble(scenario, entry, station, stop, trigger, key, method));
        }
    }

    #[expect(clippy::too_many_arguments, reason = "everything that a trouble is made of")]
    fn trouble(
        &self,
        scenario: &Scenario,
        entry: &Entry,
        station: StationId,
        stop: &StopSpec,
        trigger: Trigger,
        key: StreamKey,
        method: Method,
    ) -> Trouble {
        let law = |law: &Law| Sampler::new(law, 1.0, method);
        let kind = if stop.is_breakdown { StopKind::Breakdown } else { StopKind::Jam };
        let automatic = stop.automatic.as_ref().map(|automatic| Automatic {
            time: law(&automatic.time),
            success: automatic.success.value(),
            tries: automatic.tries,
        });
        let pool = stop.by.as_ref().and_then(|name| {
            scenario.attendants.iter().position(|pool| pool.id.value == name.value).map(|ix| ix as u16)
        });
        let exits = entry.blueprint.exits();
        let redirect = stop.then.as_ref().and_then(|key| exits.iter().position(|exit| exit.key == key.value));
        let redirect = redirect.map(|exit| exit as u8);
        Trouble::new(
            station,
            kind,
            trigger,
            automatic,
            pool,
            law(&stop.notice),
            law(&stop.time),
            redirect,
            key,
        )
    }
}

fn trigger(
    scenario: &Scenario,
    stop: &StopSpec,
    moment: Moment,
    method: Method,
    timer: impl FnOnce() -> TimerId,
) -> Trigger {
    match &stop.cause {
        // Lots of one kind change its own chances only, so there has to be one for each kind and condition.
        Cause::PerPart(chance) if scenario.kinds.iter().any(Kind::jams_vary) => {
            let mut chances = Vec::new();
            let mut first = Vec::new();
            for kind in &scenario.kinds {
                first.push(chances.len() as u16);
                chances.extend(kind.conditions.iter().map(|_| chance.value()));
            }
            Trigger::Part { moment, chances, countdowns: Vec::new(), first }
        }
        Cause::PerPart(chance) => {
            Trigger::Part { moment, chances: vec![chance.value()], countdowns: Vec::new(), first: Vec::new() }
        }
        Cause::PerPartByCondition(map) => {
            let mut chances = Vec::new();
            let mut first = Vec::new();
            for kind in &scenario.kinds {
                first.push(chances.len() as u16);
                chances.extend(kind.conditions.iter().map(|condition| {
                    map.iter().find(|(name, _)| name.value == *condition).map_or(0.0, |(_, c)| c.value())
                }));
            }
            Trigger::Part { moment, chances, countdowns: Vec::new(), first }
        }
        Cause::Every(between, clock) => Trigger::Time {
            clock: match clock {
                ClockWord::Working => Clock::Working,
                ClockWord::Powered => Clock::Powered,
                ClockWord::Wall => Clock::Wall,
            },
            between: Sampler::new(between, 1.0, method),
            timer: timer(),
        },
    }
}
