//! What the draws of a replication were off their means, added up while the window is open.
//!
//! Each sum is 0 on the mean over replications, whatever they are like: it is one of draws less what was to be expected of
//! each when it was made (a martingale stopped at the edges of the window). Invariant: the sums depend on what was drawn alone.

use super::Measure;
use crate::kernel::{Draw, KindNow, Observer, Outfit};
use crate::part::Nanos;

/// Sums over the draws of each kind.
#[derive(Clone, Debug)]
pub struct Draws {
    first: First,
    sums: Vec<f64>,
}

/// Where the sums of each kind of draw begin.
#[derive(Clone, Debug)]
struct First {
    accepted: usize,
    struck: usize,
    stop: usize,
    between: usize,
    walk: usize,
    conditions: Vec<usize>,
    attitudes: Vec<usize>,
    end: usize,
}

impl First {
    fn of(outfit: &Outfit) -> Self {
        let (n_posts, n_troubles) = (outfit.posts.len(), outfit.troubles.len());
        let struck = 2 * n_posts;
        let (stop, between, walk) = (struck + n_troubles, struck + 2 * n_troubles, struck + 3 * n_troubles);
        let mut end = walk + outfit.pools.len();
        let mut each = |n_of: &dyn Fn(&KindNow) -> usize| -> Vec<usize> {
            let place = |kind: &KindNow| {
                let first = end;
                end += n_of(kind);
                first
            };
            outfit.kinds.iter().map(place).collect()
        };
        let conditions = each(&|kind| kind.conditions.each_share().count());
        let attitudes = each(&|kind| kind.attitudes.each_share().count());
        First { accepted: n_posts, struck, stop, between, walk, conditions, attitudes, end }
    }

    #[inline(always)]
    fn index(&self, draw: Draw) -> usize {
        match draw {
            Draw::Time(post) => post.ix(),
            Draw::Accepted(post) => self.accepted + post.ix(),
            Draw::Struck(trouble) => self.struck + usize::from(trouble),
            Draw::Stop(trouble) => self.stop + usize::from(trouble),
            Draw::Between(trouble) => self.between + usize::from(trouble),
            Draw::Walk(pool) => self.walk + usize::from(pool),
            Draw::Condition(kind, condition) => self.conditions[usize::from(kind)] + usize::from(condition),
            Draw::Attitude(kind, attitude) => self.attitudes[usize::from(kind)] + usize::from(attitude),
        }
    }
}

impl Draws {
    /// Of the floor of a line, all sums 0.
    pub fn new(outfit: &Outfit) -> Self {
        let first = First::of(outfit);
        Draws { sums: vec![0.0; first.end], first }
    }

    /// The sum over draws of one kind, in the unit of [`Draw`].
    pub fn sum(&self, draw: Draw) -> f64 {
        self.sums[self.first.index(draw)]
    }
}

impl Observer for Draws {
    const HEARS_DRAWS: bool = true;

    #[inline(always)]
    fn drew(&mut self, draw: Draw, off: f64) {
        self.sums[self.first.index(draw)] += off;
    }
}

impl Measure for Draws {
    type Near = Draws;

    fn near(self) -> Self {
        self
    }

    fn from_near(near: Self) -> Self {
        near
    }

    fn restart(&mut self) {
        self.sums.fill(0.0);
    }

    fn open(&mut self, _now: Nanos) {
        self.sums.fill(0.0);
    }

    fn close(&mut self, _now: Nanos) {}
}
