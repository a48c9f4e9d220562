//! Notes and cautions: what has to stand beside the numbers.

use super::super::outputs::{Count, Key};
use super::super::run::Study;
use super::super::shift::seconds;
use crate::scenario::{Goal, WarmUp};
use crate::text::evidence::{Seen, few_values};

/// What has to be known to read this result rightly.
pub(super) fn notes(study: &Study<'_>) -> Vec<String> {
    let scenario = study.job.scenario;
    let mut notes = Vec::new();
    if study.is_without_luck() {
        notes.push("Nothing in this line is random: every shift is the same, and one decides.".to_owned());
    }
    let lots_differ = scenario.kinds.iter().any(|kind| kind.lots.varies() || kind.shifts.varies());
    if !lots_differ {
        notes.push(
            "Lots do not differ in this model: every part is drawn from the same shares. Real shifts spread more \
             than `one_shift` says; give `between_lots` or `between_shifts` at the parts if the spread is known."
                .to_owned(),
        );
    }
    if scenario.promise.clauses.iter().any(|clause| matches!(clause.goal, Goal::MeanRate(_))) {
        notes.push(
            "A clause about the mean cannot see shifts that are rare and very bad; demand a rate in a share of the \
             shifts as well."
                .to_owned(),
        );
    }
    warm_up_note(study, &mut notes);
    if study.n_gridlocks > 0 {
        notes.push(format!(
            "In {} of {} shifts stations waited for each other for ever; these shifts count with what they made.",
            study.n_gridlocks,
            study.rates.len()
        ));
    }
    overfull_notes(study, &mut notes);
    notes.extend(scenario.inputs.iter().filter_map(|input| match &input.evidence.as_ref()?.seen {
        Seen::Values { values, .. } => few_values(&input.place.path, values.len() as u64),
        Seen::Chance { .. } | Seen::Shares { .. } | Seen::Events { .. } => None,
    }));
    if study.moments_of(Key::BadPpm).max().is_some_and(|ppm| ppm > 0.0) {
        notes.push("Bad parts that reach the point of use do not count in the rate.".to_owned());
    }
    notes
}

/// Bins that got more than they hold, and from whom.
fn overfull_notes(study: &Study<'_>, notes: &mut Vec<String>) {
    let (plan, names) = (&study.plan, &study.plan.names.posts);
    for (post, body) in plan.links.bodies.iter().enumerate() {
        let Some(body) = body else { continue };
        if !study.outputs.stations.contains(&post) {
            continue;
        }
        let per_hour = study.moments_of(Key::PerHour(post, Count::Overfilled)).mean();
        let Some(per_hour) = per_hour.filter(|n| *n > 0.0) else { continue };
        let feeders = plan.links.feeders[body.ix()].iter().map(|feeder| format!("`{}`", names[feeder.ix()]));
        let feeders: Vec<String> = feeders.collect();
        let by = if feeders.is_empty() { String::new() } else { format!(" by {}", feeders.join(" or ")) };
        notes.push(format!(
            "`{}` was filled beyond the {} parts that it holds {per_hour:.1} times an hour{by}. The model loses nothing; a \
             real one runs over. A lower `call_level`, less at once, a pour at a rate (`pour_rate`), which waits for room, \
             or a larger one mends it.",
            names[post],
            plan.outfit.places[body.ix()].capacity()
        ));
    }
}

fn warm_up_note(study: &Study<'_>, notes: &mut Vec<String>) {
    let length = seconds(study.plan.open_ns);
    match (&study.job.scenario.plan.warm_up, &study.warm_up) {
        (WarmUp::Found, Some(found)) if found.settled => notes.push(format!(
            "The first {length} s of each shift do not count: found by MSER-5 from the parts per minute of {} shifts.",
            super::super::warm_up::REPLICATIONS
        )),
        (WarmUp::Found, Some(_)) => notes.push(format!(
            "The rate has not settled within half of the shift; the first {length} s were left out. Use a longer shift."
        )),
        (WarmUp::Found, None) => notes.push("The run ended before a warm-up was found.".to_owned()),
        (WarmUp::Given(given), _) if *given > 0.0 => {
            notes.push(format!("The first {length} s of each shift do not count: given by the scenario."));
        }
        (WarmUp::Given(_), _) => {}
    }
}

/// What belongs on every proof.
pub(super) fn cautions() -> Vec<String> {
    [
        "Dumpers, elevators, rams and air-driven ejectors can crush, cut, strike and be loud. The simulation shows \
         rate, not safety: guarding, lock-out before clearing a jam, noise, lifting and floor loads follow the local \
         codes and a licensed professional's judgement.",
        "A proof is as good as its inputs: see which of them were measured, from how many trials, and which were \
         assumed.",
    ]
    .map(str::to_owned)
    .to_vec()
}
