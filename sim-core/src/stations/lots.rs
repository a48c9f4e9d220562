//! Lots: how containers (or shifts) differ in their shares of bad parts, in how parts fall, and in jams.
//!
//! Ruling 11: chances vary between lots around their means: each condition's share by a beta law, the shares of
//! the attitudes by a Dirichlet law whose first share has the stated spread, all chances to jam by one gamma
//! factor of mean 1. In a bin lots mix: attitude chances and jam factor on the floor become the mean of what lies
//! there and what is poured, weighted by numbers. A part that has been poured keeps its condition.

use crate::kernel::dice::Variation;
use crate::kernel::troubles::Trigger;
use crate::kernel::{Floor, Observer, PlaceId, Stream};
use crate::terms::kind::Kind;

/// How the lots of one kind vary.
#[derive(Debug, Clone)]
pub struct LotLuck {
    /// Mean shares of the conditions, good first.
    conditions: Vec<f64>,
    /// Variation of each condition after good.
    varying: Vec<Option<Variation>>,
    attitudes: Option<(Vec<f64>, Variation)>,
    jams: Option<Variation>,
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
    /// The variation that a kind states.
    ///
    /// # Errors
    /// If a spread is impossible: the message says what was expected.
    pub fn new(kind: &Kind) -> Result<Self, String> {
        let spread = |ix: usize| kind.lots.conditions.get(ix).copied().unwrap_or(0.0);
        let mut varying = Vec::new();
        for (ix, &mean) in kind.condition_shares.iter().skip(1).enumerate() {
            let varies = spread(ix) > 0.0 && mean > 0.0;
            varying.push(if varies { Some(Variation::beta(mean, spread(ix))?) } else { None });
        }
        let attitudes = match kind.lots.attitudes {
            Some(spread) if spread > 0.0 && kind.attitude_shares.len() > 1 => {
                let means = kind.attitude_shares.clone();
                // Variance of a share m of a Dirichlet law: m (1 - m) / (concentration + 1).
                let variance = means[0] * (1.0 - means[0]);
                let concentration = variance / (spread * spread) - 1.0;
                let variation = Variation::dirichlet(&means, concentration)?;
                Some((means, variation))
            }
            Some(_) | None => None,
        };
        let jams = match kind.lots.jams {
            Some(spread) if spread > 0.0 => Some(Variation::factor(spread)?),
            Some(_) | None => None,
        };
        Ok(LotLuck { conditions: kind.condition_shares.clone(), varying, attitudes, jams })
    }

    /// Draws a lot: conditions, attitudes, jams, in this order.
    pub fn draw(&self, luck: &mut Stream) -> Lot {
        let mut conditions = self.conditions.clone();
        for (ix, variation) in self.varying.iter().enumerate() {
            if let Some(variation) = variation {
                variation.vary(&mut conditions[ix + 1..ix + 2], luck);
            }
        }
        let bad: f64 = conditions.iter().skip(1).sum();
        if bad > 1.0 {
            conditions.iter_mut().for_each(|share| *share /= bad);
        }
        if let Some(good) = conditions.first_mut() {
            *good = (1.0 - bad).max(0.0);
        }
        let attitudes = self.attitudes.as_ref().map(|(means, variation)| {
            let mut shares = means.clone();
            variation.vary(&mut shares, luck);
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
        for trouble in floor.troubles_mut() {
            if let Trigger::Part { .. } = trouble.trigger {
                let factor = trouble.factor + new * (jams - trouble.factor);
                trouble.set_factor(factor);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::terms::kind::LotSpread;

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
        let lots = LotLuck::new(&kind()).expect("sound spreads");
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
        let lot = LotLuck::new(&plain).expect("no spreads").draw(&mut luck);
        assert_eq!((lot.attitudes, lot.jams, luck), (None, None, before));
        for (share, mean) in lot.conditions.iter().zip(&plain.condition_shares) {
            assert!((share - mean).abs() < 1e-12);
        }
    }

    #[test]
    fn an_impossible_spread_is_refused() {
        let mut wide = kind();
        wide.lots.attitudes = Some(0.6);
        assert!(LotLuck::new(&wide).is_err(), "a share of 0.5 spreads by 0.5 at most");
    }
}
