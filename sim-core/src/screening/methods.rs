//! The three methods: which points, and what their values say.

use super::ScreenError;
use super::result::{
    EffectFinding, End, Findings, LeftOut, PairFinding, ShareFinding, TornadoFinding, figure,
};
use super::runs::{Point, Runs};
use crate::design::{Effect, OneAtATime, ShareDesign, Trajectories};
use crate::statistics::{CannotSay, Estimate, Moments};
use crate::study::Crew;
use crate::study::result::Figure;

/// Groups of a design for variance shares: their number decides how well intervals are known, their size how narrow they
/// are.
const GROUPS: u64 = 16;

/// What a method found.
pub(super) struct Ranked {
    pub(super) findings: Findings,
    pub(super) points: u64,
    pub(super) left_out: Vec<LeftOut>,
}

/// The level of each of `n` intervals so that all together hold at `level` (Bonferroni).
fn each_of(n: usize, level: f64) -> f64 {
    1.0 - (1.0 - level) / n.max(1) as f64
}

fn is_told_from_0(estimate: &Estimate) -> bool {
    estimate.low > 0.0 || estimate.high < 0.0
}

/// Labels at both ends of a dial.
fn ends<C: Crew>(runs: &Runs<'_, '_, C>, dial: usize) -> (String, String) {
    let label = |share| runs.dials[dial].at(share).map_or(String::new(), |stand| stand.label);
    (label(0.0), label(1.0))
}

/// One at a time from the scenario as it stands. None if cancelled.
pub(super) fn tornado<C: Crew>(runs: &mut Runs<'_, '_, C>) -> Result<Option<Ranked>, ScreenError> {
    let n = runs.dials.len();
    // The middle is the scenario as it stands, wherever that lies in the ranges: only what is moved has a share.
    let point = |index: u64| Point {
        turned: index.checked_sub(1).map(|end| ((end / 2) as usize, (end % 2) as f64)).into_iter().collect(),
        first_shift: 0,
    };
    let Some(found) = runs.values(1 + 2 * n as u64, &point) else { return Ok(None) };
    if let Some(reason) = &found.faults[0] {
        return Err(ScreenError::Point {
            levels: "the scenario as it stands".to_owned(),
            reason: reason.clone(),
        });
    }
    let replications = runs.replications();
    let of_point = |index: usize| &found.values[index * replications..(index + 1) * replications];
    let (mut kept, mut values, mut left_out) = (Vec::new(), of_point(0).to_vec(), Vec::new());
    for dial in 0..n {
        let (low, high) = (2 * dial + 1, 2 * dial + 2);
        match found.faults[low].as_ref().or(found.faults[high].as_ref()) {
            Some(reason) => {
                left_out.push(LeftOut { factor: runs.dials[dial].name.clone(), reason: reason.clone() });
            }
            None => {
                kept.push(dial);
                values.extend(of_point(low).iter().chain(of_point(high)));
            }
        }
    }
    if kept.is_empty() {
        return Err(ScreenError::NoFactor);
    }
    let design = OneAtATime::new(vec![0.5; kept.len()], vec![(0.0, 1.0); kept.len()])?;
    // Each factor is clear if one of three differences is.
    let swings = design.swings(&values, replications, each_of(3 * kept.len(), runs.options.level))?;
    let mut factors: Vec<TornadoFinding> = Vec::new();
    for (dial, swing) in kept.into_iter().zip(swings) {
        let (low, high) = ends(runs, dial);
        factors.push(TornadoFinding {
            factor: runs.dials[dial].name.clone(),
            low: End { value: low, change: figure(&swing.low) },
            high: End { value: high, change: figure(&swing.high) },
            whole: figure(&swing.whole),
            swing: swing.size(),
            is_clear: swing.is_clear(),
        });
    }
    factors.sort_by(|a, b| b.swing.total_cmp(&a.swing));
    let as_it_stands: Moments = of_point(0).iter().copied().collect();
    Ok(Some(Ranked {
        findings: Findings::Tornado { as_it_stands: Figure::of(&as_it_stands, runs.options.level), factors },
        points: 1 + 2 * n as u64,
        left_out,
    }))
}

/// Elementary effects. None if cancelled.
pub(super) fn effects<C: Crew>(
    runs: &mut Runs<'_, '_, C>,
    trajectories: u64,
    levels: u64,
) -> Result<Option<Ranked>, ScreenError> {
    let n = runs.dials.len();
    let design = Trajectories::new(n, levels, trajectories, runs.options.seed)?;
    let len = n as u64 + 1;
    let replications = runs.options.replications;
    let point = |index: u64| {
        let mut at = Vec::new();
        design.trajectory(index / len).point((index % len) as usize, &mut at);
        Point { turned: at.into_iter().enumerate().collect(), first_shift: index / len * replications }
    };
    let Some(found) = runs.values(trajectories * len, &point) else { return Ok(None) };
    let mut of_dial: Vec<Vec<Vec<f64>>> = vec![Vec::new(); n];
    let mut left_out = Vec::new();
    for number in 0..trajectories {
        let points = (number * len) as usize..((number + 1) * len) as usize;
        if let Some(ix) = points.clone().find(|ix| found.faults[*ix].is_some()) {
            let reason = found.faults[ix].clone().unwrap_or_default();
            left_out.push(LeftOut { factor: runs.words(&point(ix as u64)), reason });
            continue;
        }
        let values = &found.values[points.start * runs.replications()..points.end * runs.replications()];
        let effects = design.trajectory(number).effects(values, runs.replications())?;
        effects.into_iter().zip(&mut of_dial).for_each(|(effects, all)| all.push(effects));
    }
    let done = trajectories - left_out.len() as u64;
    if let (true, Some(LeftOut { factor, reason })) = (done < 2, left_out.first()) {
        return Err(ScreenError::Point { levels: factor.clone(), reason: reason.clone() });
    }
    let level = each_of(n, runs.options.level);
    let mut factors: Vec<EffectFinding> = Vec::new();
    for (dial, effects) in of_dial.iter().enumerate() {
        let effect = Effect::of(effects, level)?;
        factors.push(effect_finding(runs, dial, &effect));
    }
    let size = |finding: &EffectFinding| finding.size.mean.unwrap_or(0.0);
    factors.sort_by(|a, b| size(b).total_cmp(&size(a)));
    let findings = Findings::Effects { trajectories: done, levels, factors };
    Ok(Some(Ranked { findings, points: trajectories * len, left_out }))
}

fn effect_finding<C: Crew>(runs: &Runs<'_, '_, C>, dial: usize, effect: &Effect) -> EffectFinding {
    let (low, high) = ends(runs, dial);
    let spread = effect.spread;
    EffectFinding {
        factor: runs.dials[dial].name.clone(),
        low,
        high,
        size: figure(&effect.size),
        mean: figure(&effect.mean),
        spread: Figure {
            mean: Some(spread.value),
            standard_error: Some(spread.standard_error),
            low: Some(spread.low),
            high: Some(spread.high),
            level: effect.mean.level,
            n: effect.mean.n,
        },
        is_clear: is_told_from_0(&effect.mean) || effect.size.low > 0.0,
        depends: effect.spread_is_told() && spread.value >= 0.5 * effect.size.mean,
    }
}

/// Variance shares. None if cancelled.
pub(super) fn shares<C: Crew>(
    runs: &mut Runs<'_, '_, C>,
    rows: u64,
    with_pairs: bool,
) -> Result<Option<Ranked>, ScreenError> {
    let n = runs.dials.len();
    let rows_of_group = rows.div_ceil(GROUPS).max(2);
    let design = ShareDesign::new(n, GROUPS, rows_of_group, with_pairs, runs.options.seed)?;
    let len = design.group_len() as u64;
    let replications = runs.options.replications;
    let point = |index: u64| {
        let mut at = Vec::new();
        design.point(index / len, (index % len) as usize, &mut at);
        Point { turned: at.into_iter().enumerate().collect(), first_shift: index / len * replications }
    };
    let Some(found) = runs.values(GROUPS * len, &point) else { return Ok(None) };
    if let Some((index, Some(reason))) = found.faults.iter().enumerate().find(|(_, fault)| fault.is_some()) {
        let levels = runs.words(&point(index as u64));
        return Err(ScreenError::Point { levels, reason: reason.clone() });
    }
    let of_groups = found.values.chunks(len as usize * runs.replications());
    let tallies: Vec<_> =
        of_groups.map(|values| design.tally(values, runs.replications())).collect::<Result<_, _>>()?;
    let factors_level = each_of(n, runs.options.level);
    let no_variance = |why| match why {
        CannotSay::OutOfRange { what: crate::design::shares::VARIANCE, .. } => ScreenError::NoVariance,
        CannotSay::OutOfRange { .. }
        | CannotSay::TooFew { .. }
        | CannotSay::NotPaired { .. }
        | CannotSay::NotFinite => ScreenError::Statistics(why),
    };
    let shares = design.shares(&tallies, runs.replications(), factors_level).map_err(no_variance)?;
    let n_pairs = shares.pairs.len();
    let of_pairs = design.shares(&tallies, runs.replications(), each_of(n_pairs, runs.options.level));
    let whole = design.shares(&tallies, runs.replications(), runs.options.level).map_err(no_variance)?;
    let mut factors: Vec<ShareFinding> = Vec::new();
    for (dial, share) in shares.factors.iter().enumerate() {
        let (low, high) = ends(runs, dial);
        factors.push(ShareFinding {
            factor: runs.dials[dial].name.clone(),
            low,
            high,
            first_order: figure(&share.first),
            total: figure(&share.total),
            interactions: figure(&share.interactions),
            is_clear: is_told_from_0(&share.total),
            interacts: share.interactions.low > 0.0,
        });
    }
    let mut pairs: Vec<PairFinding> = Vec::new();
    for pair in of_pairs.map_err(no_variance)?.pairs {
        pairs.push(PairFinding {
            factor: runs.dials[pair.factors.0].name.clone(),
            with: runs.dials[pair.factors.1].name.clone(),
            share: figure(&pair.share),
            is_clear: pair.share.low > 0.0,
        });
    }
    let mean = |figure: &Figure| figure.mean.unwrap_or(0.0);
    factors.sort_by(|a, b| mean(&b.total).total_cmp(&mean(&a.total)));
    pairs.sort_by(|a, b| mean(&b.share).total_cmp(&mean(&a.share)));
    let findings = Findings::Shares {
        rows: GROUPS * rows_of_group,
        groups: GROUPS,
        mean: figure(&whole.mean),
        variance: figure(&whole.variance),
        luck_variance: whole.luck.as_ref().map(figure),
        factors,
        pairs,
    };
    Ok(Some(Ranked { findings, points: GROUPS * len, left_out: Vec::new() }))
}
