//! Lots: how containers and shifts differ in their shares of bad parts, in how parts fall, and in jams.
//!
//! Ruling 11: chances vary between lots around their means: each condition's share by a beta law, the shares of
//! the attitudes by a Dirichlet law whose first share has the stated spread, all chances of parts of the kind to jam
//! by one gamma factor of mean 1. In a bin lots mix: attitude chances and jam factor on the floor become the mean of
//! what lies there and what is poured, weighted by numbers. A part that has been poured keeps its condition.
//!
//! **Shifts.** A replication is one shift. What a shift is like is drawn at its start, before bins get their starting
//! content, from the stream (kind, `shift`): it concerns every part of the kind, whoever brings it. Containers then
//! vary around their shift: shares with the concentration that their spread gives around the long-run means, jam
//! factors multiplied.

use super::dice::Dice;
use crate::kernel::dice::{Outcomes, Variation};
use crate::kernel::troubles::Trigger;
use crate::kernel::{Floor, KindNow, Observer, PlaceId, Stream};
use crate::terms::kind::{Kind, LotSpread};

/// How the lots of one kind vary.
#[derive(Debug, Clone)]
pub struct LotLuck {
    /// Mean shares of the conditions, good first.
    conditions: Vec<f64>,
    /// Variation of each condition after good.
    varying: Vec<Option<Spread>>,
    attitudes: Option<(Vec<f64>, Spread)>,
    jams: Option<Variation>,
}

/// A variation around a mean, and how concentrated it is there.
#[derive(Debug, Clone)]
struct Spread {
    variation: Variation,
    concentration: f64,
}

/// What one lot is like.
#[derive(Debug, Clone, PartialEq)]
pub struct Lot {
    /// Shares of the conditions, good first.
    pub conditions: Vec<f64>,
    /// Chances of the attitudes, if they vary.
    pub attitudes: Option<Vec<f64>>,
    /// Factor on the chances to jam, if it varies.
    pub jams: Option<f64>,
}

impl LotLuck {
    /// The variation that a kind states for its containers or its shifts.
    ///
    /// # Errors
    /// If a spread is impossible: the message says what was expected.
    pub fn new(kind: &Kind, spreads: &LotSpread) -> Result<Self, String> {
        let spread = |ix: usize| spreads.conditions.get(ix).copied().unwrap_or(0.0);
        let mut varying = Vec::new();
        for (ix, &mean) in kind.condition_shares.iter().skip(1).enumerate() {
            let varies = spread(ix) > 0.0 && mean > 0.0;
            let concentration = mean * (1.0 - mean) / (spread(ix) * spread(ix)) - 1.0;
            varying.push(if varies {
                Some(Spread { variation: Variation::beta(mean, spread(ix))?, concentration })
            } else {
                None
            });
        }
        let attitudes = match spreads.attitudes {
            Some(spread) if spread > 0.0 && kind.attitude_shares.len() > 1 => {
                let means = kind.attitude_shares.clone();
                // Variance of a share m of a Dirichlet law: m (1 - m) / (concentration + 1).
                let variance = means[0] * (1.0 - means[0]);
                let concentration = variance / (spread * spread) - 1.0;
                let variation = Variation::dirichlet(&means, concentration)?;
                Some((means, Spread { variation, concentration }))
            }
            Some(_) | None => None,
        };
        let jams = match spreads.jams {
            Some(spread) if spread > 0.0 => Some(Variation::factor(spread)?),
            Some(_) | None => None,
        };
        Ok(LotLuck { conditions: kind.condition_shares.clone(), varying, attitudes, jams })
    }

    /// The variation between containers that a kind states, or none where that is impossible (which is an error of
    /// kinds that are brought from the start, and refused there).
    pub(super) fn possible(kind: &Kind) -> Self {
        let lots = LotLuck::new(kind, &kind.lots).or_else(|_| LotLuck::new(kind, &LotSpread::default()));
        lots.unwrap_or_else(|problem| panic!("lots that are all alike are possible: {problem}"))
    }

    /// The same variation around what this shift is like.
    #[must_use]
    fn around(&self, shift: &KindNow) -> Self {
        let conditions = shift.conditions.shares();
        let beta = |(spread, &mean): (&Option<Spread>, &f64)| {
            let concentration = spread.as_ref().filter(|_| mean > 0.0 && mean < 1.0)?.concentration;
            Some(Spread { variation: Variation::beta_around(mean, concentration), concentration })
        };
        let varying = self.varying.iter().zip(&conditions[1..]).map(beta).collect();
        let attitudes = self.attitudes.as_ref().map(|(_, Spread { concentration, .. })| {
            let means = shift.attitudes.shares();
            let variation = Variation::dirichlet_around(&means, *concentration);
            (means, Spread { variation, concentration: *concentration })
        });
        LotLuck { conditions, varying, attitudes, jams: self.jams.clone() }
    }

    /// Draws a lot: conditions, attitudes, jams, in this order.
    pub fn draw(&self, luck: &mut Stream) -> Lot {
        let mut conditions = self.conditions.clone();
        for (ix, variation) in self.varying.iter().enumerate() {
            if let Some(spread) = variation {
                spread.variation.vary(&mut conditions[ix + 1..ix + 2], luck);
            }
        }
        let bad: f64 = conditions.iter().skip(1).sum();
        if bad > 1.0 {
            conditions.iter_mut().for_each(|share| *share /= bad);
        }
        if let Some(good) = conditions.first_mut() {
            *good = (1.0 - bad).max(0.0);
        }
        let attitudes = self.attitudes.as_ref().map(|(means, spread)| {
            let mut shares = means.clone();
            spread.variation.vary(&mut shares, luck);
            shares
        });
        let jams = self.jams.as_ref().map(|variation| {
            // A factor on chances stops at one; a small chance lets it out as it is.
            const SMALL: f64 = 1e-9;
            let mut chance = [SMALL];
            variation.vary(&mut chance, luck);
            chance[0] / SMALL
        });
        Lot { conditions, attitudes, jams }
    }
}

/// How the shifts of one kind differ, with the luck for it.
#[derive(Debug, Clone)]
pub struct ShiftLots {
    /// Which kind.
    pub kind: u8,
    /// How they differ.
    pub lots: LotLuck,
    /// Luck: one draw for each shift.
    pub luck: Dice,
}

impl ShiftLots {
    /// Draws what the shift is like, before its bins are stocked and its parts are made.
    pub fn begin<O: Observer>(&self, floor: &mut Floor<O>, seed: u64, replication: u64) {
        let mut luck = self.luck.clone();
        luck.seed(seed, replication);
        let shift = self.lots.draw(luck.stream());
        let now = floor.kind_mut(self.kind);
        let set = |outcomes: &mut Outcomes, shares: &[f64]| {
            if let Err(message) = outcomes.set_weights(shares) {
                panic!("shares of a shift add up to one: {message}");
            }
        };
        set(&mut now.conditions, &shift.conditions);
        if let Some(attitudes) = &shift.attitudes {
            set(&mut now.attitudes, attitudes);
        }
        if let Some(jams) = shift.jams {
            now.jams = jams;
            floor.troubles_mut().iter_mut().for_each(|trouble| trouble.set_factor(self.kind, jams));
        }
    }
}

/// The variation of containers, set around the shift that has begun, if shifts differ.
pub(super) fn in_this_shift<O: Observer>(
    lots: &mut LotLuck,
    floor: &Floor<O>,
    kind: u8,
    shifts_differ: bool,
) {
    if shifts_differ {
        *lots = lots.around(floor.kind(kind));
    }
}

/// Mixes `n` parts of a lot into what lies in `bin`, before they are poured: attitude chances of the kind and
/// the factor on all jams by part.
pub(super) fn blend<O: Observer>(floor: &mut Floor<O>, bin: PlaceId, kind: u8, lot: &Lot, n: u32) {
    if n == 0 || floor.place(bin).is_endless() {
        return;
    }
    let there = f64::from(floor.count_of_kind(bin, kind));
    let new = f64::from(n) / (there + f64::from(n));
    if let Some(attitudes) = &lot.attitudes {
        let kind = floor.kind_mut(kind);
        let mixed: Vec<f64> =
            kind.attitudes.shares().iter().zip(attitudes).map(|(old, lot)| old + new * (lot - old)).collect();
        if let Err(message) = kind.attitudes.set_weights(&mixed) {
            panic!("shares of a mixture add up to one: {message}");
        }
    }
    if let Some(jams) = lot.jams {
        let jams = jams * floor.kind(kind).jams;
        for trouble in floor.troubles_mut() {
            if let Trigger::Part { .. } = trouble.trigger {
                let factor = trouble.factor(kind) + new * (jams - trouble.factor(kind));
                trouble.set_factor(kind, factor);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stations::trial::{Trial, problems};

    fn kind() -> Kind {
        Kind {
            attitudes: vec!["a".to_owned(), "b".to_owned(), "c".to_owned()],
            attitude_shares: vec![0.5, 0.3, 0.2],
            conditions: vec!["good".to_owned(), "short".to_owned(), "bent".to_owned()],
            condition_shares: vec![0.96, 0.01, 0.03],
            lots: LotSpread { conditions: vec![0.0, 0.02], attitudes: Some(0.1), jams: Some(0.5) },
            ..Kind::plain("pin")
        }
    }

    /// Ruling 11: means and between-lot spreads are those stated (beta, Dirichlet, gamma).
    #[test]
    fn lots_have_the_stated_means_and_spreads() {
        let lots = LotLuck::new(&kind(), &kind().lots).expect("sound spreads");
        let mut luck = Stream::new(1, 0, "test", "lots");
        const N: u32 = 20_000;
        let (mut sums, mut squares) = ([0.0; 3], [0.0; 3]);
        for _ in 0..N {
            let lot = lots.draw(&mut luck);
            assert!((lot.conditions.iter().sum::<f64>() - 1.0).abs() < 1e-12);
            assert_eq!(lot.conditions[1], 0.01, "a condition without a spread stays");
            let attitudes = lot.attitudes.expect("attitudes vary");
            assert!((attitudes.iter().sum::<f64>() - 1.0).abs() < 1e-12);
            let offs = [lot.conditions[2] - 0.03, attitudes[0] - 0.5, lot.jams.expect("jams vary") - 1.0];
            for (ix, off) in offs.into_iter().enumerate() {
                sums[ix] += off;
                squares[ix] += off * off;
            }
        }
        for ((sum, square), spread) in sums.iter().zip(squares).zip([0.02, 0.1, 0.5]) {
            let n = f64::from(N);
            assert!((sum / n).abs() < 5.0 * spread / n.sqrt(), "{sums:?}");
            // The fourth moment of these laws is below 9 spread^4, so the error of the variance below sqrt(8 / n).
            let ratio = square / n / (spread * spread);
            assert!((ratio - 1.0).abs() < 5.0 * (8.0 / n).sqrt(), "{ratio}");
        }
    }

    #[test]
    fn without_spreads_all_lots_are_alike_and_take_no_luck() {
        let plain = Kind { lots: LotSpread::default(), ..kind() };
        let mut luck = Stream::new(2, 0, "test", "lots");
        let before = luck.clone();
        let lot = LotLuck::new(&plain, &plain.lots).expect("no spreads").draw(&mut luck);
        assert_eq!((lot.attitudes, lot.jams, luck), (None, None, before));
        for (share, mean) in lot.conditions.iter().zip(&plain.condition_shares) {
            assert!((share - mean).abs() < 1e-12);
        }
    }

    /// Bad parts among 400 of one shift, and what the shift's factor on jams is; parts are made by a station, stand
    /// in a bin from the start, or come by the container.
    fn shift(trial: &Trial, replication: u64) -> (f64, f64) {
        let mut run = trial.run(replication, 400.0);
        let bad = run.floor.observer.0.points[0].bad;
        let factor = run.floor.troubles_mut()[0].factor(0);
        (bad as f64, factor)
    }

    const JAM: &str = r#""jams": [{"per_part": "1 in 100000", "time": "1 s"}]"#;

    fn spread_line(first: &str, lots: &str) -> Trial {
        let stations = format!(r#"{first} {{"id": "W", "type": "work", "time": "1 s", {JAM}, "to": "out"}}"#);
        let parts = format!(r#", "parts": {{"pin": {{"conditions": {{"short": 0.1}}, {lots}}}}}"#);
        Trial::new(&stations, &format!(r#"{parts}, "plan": {{"start": "primed", "shift": "1 h"}}"#))
    }

    /// Ruling 11: with a standard deviation s between shifts around the mean m the bad ones among n parts have the
    /// variance n m (1 - m) + n (n - 1) s^2 (beta-binomial law), from whatever source; factors on jams have mean 1.
    #[test]
    fn shifts_spread_far_beyond_independent_parts() {
        let made = r#"{"id": "F", "type": "work", "endless": true, "time": "0.5 s"},"#;
        let bin = r#"{"id": "B", "type": "bin", "content": 4000},"#;
        let endless = r#"{"id": "B", "type": "bin", "endless": true},"#;
        for first in [made, bin, endless] {
            let lots = r#""between_shifts": {"conditions": {"short": 0.04}, "jams": 0.5}"#;
            let trial = spread_line(first, lots);
            const N: u64 = 600;
            let (mut sums, mut squares) = ([0.0; 2], [0.0; 2]);
            for replication in 0..N {
                let (bad, factor) = shift(&trial, replication);
                for (ix, off) in [bad - 40.0, factor - 1.0].into_iter().enumerate() {
                    sums[ix] += off;
                    squares[ix] += off * off;
                }
            }
            let n = N as f64;
            let variances = [400.0 * 0.09 + 400.0 * 399.0 * 0.04 * 0.04, 0.25];
            for ((sum, square), variance) in sums.iter().zip(squares).zip(variances) {
                assert!((sum / n).abs() < 5.0 * (variance / n).sqrt(), "{first} {sums:?}");
                // The kurtosis of the gamma factor of shape 4 is 3 + 6 / 4, of the other below 4: the error of the
                // variance is below v sqrt(3.5 / n).
                let ratio = square / n / variance;
                assert!((ratio - 1.0).abs() < 5.0 * (3.5 / n).sqrt(), "{first} {ratio}");
            }
        }
    }

    /// With both, containers vary around their shift: the variance of one container's share is the sum of that of
    /// the shift, s^2, and of E[m (1 - m)] / (c + 1) = (m (1 - m) - s^2) / (c + 1) within it, c + 1 = m (1 - m) / t^2.
    #[test]
    fn containers_vary_around_their_shift() {
        let kind = Kind {
            conditions: vec!["good".to_owned(), "short".to_owned()],
            condition_shares: vec![0.9, 0.1],
            attitudes: vec!["a".to_owned(), "b".to_owned()],
            attitude_shares: vec![0.6, 0.4],
            lots: LotSpread { conditions: vec![0.03], attitudes: Some(0.05), jams: None },
            shifts: LotSpread { conditions: vec![0.04], attitudes: Some(0.1), jams: None },
            ..Kind::plain("pin")
        };
        let lots = LotLuck::new(&kind, &kind.lots).expect("sound spreads");
        let shifts = LotLuck::new(&kind, &kind.shifts).expect("sound spreads");
        let mut luck = Stream::new(5, 0, "test", "lots");
        const N: u32 = 20_000;
        let (mut sums, mut squares, mut products) = ([0.0; 2], [0.0; 2], [0.0; 2]);
        for _ in 0..N {
            let shift = shifts.draw(&mut luck);
            let now = KindNow {
                conditions: Outcomes::new(&shift.conditions).expect("shares"),
                attitudes: Outcomes::new(shift.attitudes.as_ref().expect("they vary")).expect("shares"),
                right_way: 1,
                n_sizes: 0,
                jams: 1.0,
            };
            let here = lots.around(&now);
            let two = [here.draw(&mut luck), here.draw(&mut luck)];
            let offs = two.map(|lot| [lot.conditions[1] - 0.1, lot.attitudes.expect("they vary")[0] - 0.6]);
            for ix in 0..2 {
                sums[ix] += offs[0][ix];
                squares[ix] += offs[0][ix] * offs[0][ix];
                products[ix] += offs[0][ix] * offs[1][ix];
            }
        }
        let n = f64::from(N);
        for (ix, (mean, t, s)) in [(0.1, 0.03, 0.04), (0.6, 0.05, 0.1_f64)].into_iter().enumerate() {
            let within = (mean * (1.0 - mean) - s * s) * t * t / (mean * (1.0 - mean));
            let variance = within + s * s;
            assert!((sums[ix] / n).abs() < 5.0 * (variance / n).sqrt(), "{sums:?}");
            // Kurtosis below 5: errors of variance and covariance are below v sqrt(4 / n).
            let error = 5.0 * variance * (4.0 / n).sqrt();
            assert!((squares[ix] / n - variance).abs() < error, "{} {variance}", squares[ix] / n);
            assert!((products[ix] / n - s * s).abs() < error, "{} {}", products[ix] / n, s * s);
        }
    }

    /// Factors on jams are those of the kind alone, and a shift without spread is as before.
    #[test]
    fn lots_of_one_kind_leave_the_jams_of_another_alone() {
        let stations = format!(
            r#"{{"id": "F", "type": "work", "endless": true, "part": "pin", "time": "1 s"}},
            {{"id": "W", "type": "work", "time": "1 s", {JAM}, "to": "out"}},
            {{"id": "G", "type": "work", "endless": true, "part": "cap", "time": "1 s", "to": "W"}}"#
        );
        let parts =
            r#", "parts": {"pin": {"conditions": {"short": 0.1}}, "cap": {"between_shifts": {"jams": 0.5}}}"#;
        let trial = Trial::new(&stations, parts);
        let mut run = trial.start(3);
        let trouble = &run.floor.troubles_mut()[0];
        assert_eq!(trouble.factor(0), 1.0);
        assert!((trouble.factor(1) - 1.0).abs() > 1e-6, "{}", trouble.factor(1));
    }

    #[test]
    fn spreads_that_cannot_be_or_do_nothing_are_reported() {
        let found = |lots: &str| {
            let parts = format!(r#", "parts": {{"pin": {{"conditions": {{"short": 0.02}}, {lots}}}}}"#);
            problems(r#"{"id": "F", "type": "work", "endless": true, "time": "1 s"}"#, &parts).join("\n")
        };
        assert!(found(r#""between_shifts": {"conditions": {"short": 0.3}}"#).contains("differ so much"));
        assert!(found(r#""between_shifts": {"conditions": {"long": 0.01}}"#).contains("no condition `long`"));
        assert!(found(r#""between_lots": {"conditions": {"short": 0.01}}"#).contains("nobody brings it"));
        assert_eq!(found(r#""between_shifts": {"conditions": {"short": 0.01}}"#), "");
    }

    #[test]
    fn an_impossible_spread_is_refused() {
        let mut wide = kind();
        wide.lots.attitudes = Some(0.6);
        assert!(LotLuck::new(&wide, &wide.lots).is_err(), "a share of 0.5 spreads by 0.5 at most");
    }
}
