//! A shelf: a list of fixed length of which the first 64 things lie in the structure itself.
//!
//! It is for what the loop touches at every move. A thing near the front is found by its number alone: there
//! is no pointer to load anew after every write, and the check of the index is against a constant. Most lines
//! have nothing beyond the front; what is there costs one comparison more. It has nothing but its index and
//! its iterators. Invariant: a spare place of the front is never looked at.

use std::ops::{Index, IndexMut};

/// Things in the structure itself.
pub const NEAR: usize = 64;

/// A list of fixed length; see the module.
#[derive(Clone, Debug)]
pub struct Shelf<T> {
    near: [T; NEAR],
    far: Vec<T>,
    len: usize,
}

impl<T> Shelf<T> {
    /// A shelf of `things`; `spare` fills up the front.
    pub fn new(things: Vec<T>, spare: impl Fn() -> T) -> Self {
        let len = things.len();
        let mut things = things.into_iter();
        let near = std::array::from_fn(|_| things.next().unwrap_or_else(&spare));
        Shelf { near, far: things.collect(), len }
    }

    #[cold]
    #[inline(never)]
    fn beyond(&self, ix: usize) -> &T {
        &self.far[ix - NEAR]
    }

    #[cold]
    #[inline(never)]
    fn beyond_mut(&mut self, ix: usize) -> &mut T {
        &mut self.far[ix - NEAR]
    }

    /// The thing with this number. `near` says that all things lie near, which spares the test: it is meant to be
    /// known when the caller is compiled.
    #[inline(always)]
    pub fn at(&self, ix: usize, near: bool) -> &T {
        if near { &self.near[ix % NEAR] } else { &self[ix] }
    }

    /// The same, to be changed.
    #[inline(always)]
    pub fn at_mut(&mut self, ix: usize, near: bool) -> &mut T {
        if near { &mut self.near[ix % NEAR] } else { &mut self[ix] }
    }

    /// Number of things.
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// All things in order.
    pub fn iter(&self) -> impl Iterator<Item = &T> {
        self.near[..self.len.min(NEAR)].iter().chain(&self.far)
    }

    /// All things in order, to be changed.
    pub fn iter_mut(&mut self) -> impl Iterator<Item = &mut T> {
        self.near[..self.len.min(NEAR)].iter_mut().chain(&mut self.far)
    }

    /// Makes all things equal.
    pub fn fill(&mut self, thing: T)
    where
        T: Clone,
    {
        self.iter_mut().for_each(|old| old.clone_from(&thing));
    }
}

impl<T: Default> Default for Shelf<T> {
    fn default() -> Self {
        Shelf::new(Vec::new(), T::default)
    }
}

impl<T: PartialEq> PartialEq for Shelf<T> {
    fn eq(&self, other: &Self) -> bool {
        self.iter().eq(other.iter())
    }
}

impl<T> Index<usize> for Shelf<T> {
    type Output = T;

    #[inline(always)]
    fn index(&self, ix: usize) -> &T {
        if ix < NEAR { &self.near[ix] } else { self.beyond(ix) }
    }
}

impl<T> IndexMut<usize> for Shelf<T> {
    #[inline(always)]
    fn index_mut(&mut self, ix: usize) -> &mut T {
        if ix < NEAR { &mut self.near[ix] } else { self.beyond_mut(ix) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keeps_order_near_and_far() {
        for n in [0, 1, 64, 65, 200] {
            let mut shelf = Shelf::new((0..n).collect(), || usize::MAX);
            assert_eq!((shelf.len(), shelf.is_empty()), (n, n == 0));
            assert!(shelf.iter().copied().eq(0..n));
            for ix in 0..n {
                shelf[ix] += 1000;
            }
            assert!((0..n).all(|ix| shelf[ix] == ix + 1000));
            shelf.fill(7);
            assert_eq!(shelf.iter().sum::<usize>(), 7 * n);
        }
    }
}
