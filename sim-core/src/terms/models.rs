//! Product models: what a line makes in turn or at random, for stations with a recipe for each.
//!
//! The order of the models is a property of the line: every station that goes by models sees the same sequence, each
//! with a counter of its own, so that the third batch of one table and the third of another are for the same
//! product. It knows no recipes.

use crate::diag::{Place, Problem, code};
use crate::kernel::Stream;
use crate::kernel::dice::Outcomes;
use crate::kernel::luck::StreamKey;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, map_of, one_of, real};

/// Largest run of one model in a sequence.
const RUN_MAX: f64 = 1e9;

/// The product models of a line; without any there is one that has no name.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Models {
    /// Names, in file order.
    pub names: Vec<Spanned<String>>,
    /// For each model its share (random order), or how many come in a row (sequence).
    pub amounts: Vec<f64>,
    /// Whether they come at random; otherwise in a fixed sequence.
    pub at_random: bool,
}

/// Reads the models.
pub fn read(object: &mut Object<'_>) -> Models {
    const ORDERS: &[(&str, bool, &str)] = &[
        ("sequence", false, "as listed, so many of each in a row, again and again"),
        ("random", true, "at random, with these shares, one independent of the other"),
    ];
    let list = object.required(
        "list",
        map_of(real().positive().at_most(RUN_MAX)).at_least(1),
        "By name of the model, how many come in a row, or its share (in any unit: they are set to add up to 1)",
    );
    let at_random = object.optional("order", one_of(ORDERS), "sequence", "In which order they come");
    if !at_random && list.iter().any(|(_, n)| n.fract() != 0.0) && object.sound(&["list", "order"]) {
        let problem =
            Problem::new(code::OUT_OF_RANGE, "in a sequence, whole numbers of a model come in a row");
        object.fail("list", problem.expected("whole numbers, or \"order\": \"random\""));
    }
    let (names, amounts) = list.into_iter().unzip();
    Models { names, amounts, at_random }
}

impl Models {
    /// Number of models, one at least.
    pub fn len(&self) -> usize {
        self.names.len().max(1)
    }

    /// Never: a line without models has one without a name.
    pub fn is_empty(&self) -> bool {
        false
    }

    /// Shares over many products; they add up to 1.
    pub fn shares(&self) -> Vec<f64> {
        if self.amounts.is_empty() {
            return vec![1.0];
        }
        let sum: f64 = self.amounts.iter().sum();
        self.amounts.iter().map(|amount| amount / sum).collect()
    }

    /// Share of the products of one model that are followed by one of another.
    pub fn follows(&self, one: usize, next: usize) -> f64 {
        if self.at_random {
            return self.shares()[next];
        }
        let in_a_row = self.amounts.get(one).copied().unwrap_or(1.0);
        let is_next = |model: usize| f64::from(u8::from(next == model));
        ((in_a_row - 1.0) * is_next(one) + is_next((one + 1) % self.len())) / in_a_row
    }

    /// Where the list of models stands.
    pub fn place(&self) -> Place {
        self.names.first().map(|name| name.place.clone()).unwrap_or_default()
    }
}

/// The sequence of models as a station sees it.
#[derive(Debug, Clone)]
pub struct ModelOrder {
    order: Order,
    key: StreamKey,
    luck: Stream,
}

#[derive(Debug, Clone)]
enum Order {
    /// So many of each, and how many of which have come.
    Sequence {
        runs: Vec<u64>,
        model: usize,
        come: u64,
    },
    Random(Outcomes),
}

impl ModelOrder {
    /// The sequence of these models, at its start.
    pub fn new(models: &Models) -> Self {
        let key = StreamKey::new("models", "order");
        let order = if models.at_random {
            let outcomes = Outcomes::new(&models.amounts);
            Order::Random(outcomes.unwrap_or_else(|e| panic!("shares of models are above zero: {e}")))
        } else {
            let runs = models.amounts.iter().map(|n| *n as u64).collect();
            Order::Sequence { runs, model: 0, come: 0 }
        };
        ModelOrder { order, key, luck: key.stream(0, 0) }
    }

    /// Starts the sequence of a replication.
    pub fn seed(&mut self, seed: u64, replication: u64) {
        self.luck = self.key.stream(seed, replication);
        if let Order::Sequence { model, come, .. } = &mut self.order {
            (*model, *come) = (0, 0);
        }
    }

    /// The model of the next product.
    pub fn next_model(&mut self) -> usize {
        match &mut self.order {
            Order::Random(outcomes) => outcomes.pick(&mut self.luck),
            Order::Sequence { runs, model, come } => {
                let now = *model;
                *come += 1;
                if runs.get(now).is_some_and(|run| *come >= *run) {
                    (*model, *come) = ((now + 1) % runs.len(), 0);
                }
                now
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn models(amounts: &[f64], at_random: bool) -> Models {
        let name = |n: usize| Spanned { value: format!("m{n}"), place: Place::default() };
        Models { names: (0..amounts.len()).map(name).collect(), amounts: amounts.to_vec(), at_random }
    }

    #[test]
    fn a_sequence_has_so_many_of_each_in_a_row_and_begins_anew() {
        let mut order = ModelOrder::new(&models(&[2.0, 1.0], false));
        let seen: Vec<usize> = (0..7).map(|_| order.next_model()).collect();
        assert_eq!(seen, [0, 0, 1, 0, 0, 1, 0]);
        order.seed(1, 5);
        assert_eq!(order.next_model(), 0);
        assert_eq!(order.next_model(), 0);
    }

    #[test]
    fn a_line_without_models_has_one() {
        let mut order = ModelOrder::new(&Models::default());
        assert_eq!((order.next_model(), order.next_model()), (0, 0));
        assert_eq!(Models::default().shares(), [1.0]);
    }

    #[test]
    fn two_stations_see_the_same_random_sequence_with_the_stated_shares() {
        let all = models(&[3.0, 1.0], true);
        let (mut one, mut other) = (ModelOrder::new(&all), ModelOrder::new(&all));
        one.seed(7, 3);
        other.seed(7, 3);
        let n = 40_000;
        let first: Vec<usize> = (0..n).map(|_| one.next_model()).collect();
        assert!(first.iter().all(|model| *model == other.next_model()));
        // 4.5 standard errors of a share of 1/4.
        let share = first.iter().sum::<usize>() as f64 / n as f64;
        assert!((share - 0.25).abs() < 4.5 * (0.25 * 0.75 / n as f64).sqrt(), "{share}");
    }
}
