//! Crews: who runs replications.
//!
//! A crew fills sheets, one per replication, each worker with a desk of its own (state that is reused). It knows
//! nothing of what a sheet is. Invariants: sheets are begun in order, and the ones that are done are the first ones;
//! what is on a sheet depends on the sheet alone, so that any crew gives the same. Threads exist only behind the
//! feature `threads`.

/// Somebody who runs replications.
pub trait Crew {
    /// Number of workers, each of whom needs a desk.
    fn size(&self) -> usize;

    /// Has `work` done on each sheet, in any order, by workers at their desks. Before each sheet `cancelled` is asked;
    /// once it says yes no more are begun. Returns how many were done: the first ones.
    fn fill<D: Send, S: Send>(
        &self,
        desks: &mut [D],
        sheets: &mut [S],
        cancelled: &(dyn Fn() -> bool + Sync),
        work: &(impl Fn(&mut D, &mut S) + Sync),
    ) -> usize;
}

/// One worker, in the thread that asks.
#[derive(Debug, Clone, Copy, Default)]
pub struct Alone;

impl Crew for Alone {
    fn size(&self) -> usize {
        1
    }

    fn fill<D: Send, S: Send>(
        &self,
        desks: &mut [D],
        sheets: &mut [S],
        cancelled: &(dyn Fn() -> bool + Sync),
        work: &(impl Fn(&mut D, &mut S) + Sync),
    ) -> usize {
        let [desk, ..] = desks else { return 0 };
        for (n, sheet) in sheets.iter_mut().enumerate() {
            if cancelled() {
                return n;
            }
            work(desk, sheet);
        }
        sheets.len()
    }
}

/// Several workers, each in a thread of its own.
#[cfg(feature = "threads")]
#[derive(Debug, Clone, Copy)]
pub struct Hands {
    /// How many; 0 counts as 1.
    pub n: usize,
}

#[cfg(feature = "threads")]
impl Crew for Hands {
    fn size(&self) -> usize {
        self.n.max(1)
    }

    fn fill<D: Send, S: Send>(
        &self,
        desks: &mut [D],
        sheets: &mut [S],
        cancelled: &(dyn Fn() -> bool + Sync),
        work: &(impl Fn(&mut D, &mut S) + Sync),
    ) -> usize {
        if desks.len().min(sheets.len()) <= 1 {
            return Alone.fill(desks, sheets, cancelled, work);
        }
        let pile = std::sync::Mutex::new((sheets.iter_mut(), 0));
        // The question is asked while the pile is held, so that the sheets begun are always the first ones.
        let next = || {
            let mut pile = pile.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            if cancelled() {
                return None;
            }
            let sheet = pile.0.next()?;
            pile.1 += 1;
            Some(sheet)
        };
        let next = &next;
        let (first, others) = desks.split_at_mut(1);
        std::thread::scope(|scope| {
            for desk in others {
                scope.spawn(move || {
                    while let Some(sheet) = next() {
                        work(desk, sheet);
                    }
                });
            }
            while let Some(sheet) = next() {
                work(&mut first[0], sheet);
            }
        });
        pile.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner).1
    }
}
