//! Shifts that were run before: a study that was interrupted finds them again instead of running them once more.
//!
//! What a study wants of a shift depends on the line and the number of the shift alone, so it can be kept and found by
//! these two. Invariant: what is heard is the same whatever was kept.

use super::crew::Crew;
use super::run::RunError;
use super::variant::{Task, Variant, run_tasks};

/// What is kept of the shifts of a study from one start of it to the next.
pub trait Kept {
    /// What was kept of a shift of a line, by their numbers.
    fn find(&self, line: u64, shift: u64) -> Option<&[f64]>;

    /// Keeps the values of a shift.
    fn keep(&mut self, line: u64, shift: u64, values: &[f64]);
}

/// Keeps nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct NothingKept;

impl Kept for NothingKept {
    fn find(&self, _line: u64, _shift: u64) -> Option<&[f64]> {
        None
    }

    fn keep(&mut self, _line: u64, _shift: u64, _values: &[f64]) {}
}

/// The values that are wanted of a shift.
pub(crate) trait Wanted: AsRef<[f64]> + for<'a> TryFrom<&'a [f64]> {}

impl<V: AsRef<[f64]> + for<'a> TryFrom<&'a [f64]>> Wanted for V {}

/// Shifts to run, and what is wanted of each.
pub(crate) struct Shifts<'a, V> {
    /// Lines to run.
    pub(crate) variants: &'a [Variant],
    /// Which shifts of them, none twice.
    pub(crate) tasks: &'a [Task],
    /// Seed of all luck.
    pub(crate) seed: u64,
    /// The number by which a variant is known in the study.
    pub(crate) line: &'a dyn Fn(usize) -> u64,
    /// What is wanted of the outputs of a variant.
    pub(crate) wanted: &'a dyn Fn(usize, &[f64]) -> V,
}

/// What was wanted of a shift, or what made it worthless.
type Told<V> = Result<V, RunError>;

impl<V: Wanted> Shifts<'_, V> {
    /// Runs those that were not kept, and keeps what is wanted of them. As with [`run_tasks`], `each` hears in the order of
    /// the tasks, and the number of tasks that it heard is returned. What made a shift worthless is not kept.
    pub(crate) fn run<C: Crew>(
        &self,
        crew: &C,
        cancelled: &(dyn Fn() -> bool + Sync),
        kept: &mut dyn Kept,
        each: &mut dyn FnMut(Task, Told<V>),
    ) -> usize {
        let missing: Vec<Task> =
            self.tasks.iter().filter(|task| self.found(task, kept).is_none()).copied().collect();
        let mut heard = 0;
        let ran = run_tasks(self.variants, &missing, self.seed, crew, cancelled, &mut |task, outputs| {
            heard += self.recall(heard, kept, each) + 1;
            let told = outputs.map(|outputs| (self.wanted)(task.variant, outputs));
            if let Ok(values) = &told {
                kept.keep((self.line)(task.variant), task.number, values.as_ref());
            }
            each(task, told);
        });
        if ran == missing.len() {
            heard += self.recall(heard, kept, each);
        }
        heard
    }

    fn found(&self, task: &Task, kept: &dyn Kept) -> Option<V> {
        kept.find((self.line)(task.variant), task.number)?.try_into().ok()
    }

    /// Tells of the tasks from `from` on, up to the first one that was not kept. Returns how many.
    fn recall(&self, from: usize, kept: &dyn Kept, each: &mut dyn FnMut(Task, Told<V>)) -> usize {
        let rest = self.tasks[from..].iter();
        let found = rest.map_while(|task| Some((*task, self.found(task, kept)?)));
        found.map(|(task, values)| each(task, Ok(values))).count()
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::super::Alone;
    use super::*;
    use std::cell::Cell;
    use std::collections::BTreeMap;

    /// Keeps everything in memory.
    #[derive(Debug, Default, Clone)]
    pub(crate) struct Shelf(pub(crate) BTreeMap<(u64, u64), Vec<f64>>);

    impl Kept for Shelf {
        fn find(&self, line: u64, shift: u64) -> Option<&[f64]> {
            self.0.get(&(line, shift)).map(Vec::as_slice)
        }

        fn keep(&mut self, line: u64, shift: u64, values: &[f64]) {
            let before = self.0.insert((line, shift), values.to_vec());
            assert_eq!(before, None, "no shift is run twice");
        }
    }

    const LINE: &str = r#"{"feedproof": 1, "stations": [
        {"id": "F", "type": "work", "endless": true, "time": {"law": "exponential", "mean": "1 s"}},
        {"id": "M", "type": "work", "time": "0.5 s"}],
        "plan": {"shift": "2 min"}}"#;

    /// Whichever shifts were kept, all are heard of in order, and only the others are run.
    #[test]
    fn what_was_kept_is_heard_in_its_place() {
        let variants = [Variant::read(LINE).unwrap(), Variant::read(&LINE.replace("0.5", "0.9")).unwrap()];
        let tasks: Vec<Task> =
            (0..6).flat_map(|number| [0, 1].map(|variant| Task { variant, number })).collect();
        let n_run = Cell::new(0);
        let rate = variants[0].rate_index();
        let wanted = |_: usize, outputs: &[f64]| {
            n_run.set(n_run.get() + 1);
            [outputs[rate]]
        };
        let shifts =
            Shifts { variants: &variants, tasks: &tasks, seed: 3, line: &|ix| ix as u64, wanted: &wanted };
        let run = |kept: &mut Shelf| {
            let mut all = Vec::new();
            n_run.set(0);
            let heard = shifts.run(&Alone, &|| false, kept, &mut |task, values| {
                all.push((task, values.unwrap()[0]));
            });
            assert_eq!((heard, kept.0.len()), (tasks.len(), tasks.len()));
            assert!(all.iter().map(|(task, _)| *task).eq(tasks.iter().copied()));
            (all, n_run.get())
        };
        let mut whole = Shelf::default();
        let (all, n) = run(&mut whole);
        assert_eq!(n, tasks.len());
        // All 4096 subsets would be too many: every 61st.
        for subset in (0..1_u32 << tasks.len()).step_by(61) {
            let mut some = whole.clone();
            let mut position = 0;
            some.0.retain(|_, _| {
                position += 1;
                subset >> (position - 1) & 1 == 1
            });
            let n_kept = some.0.len();
            assert_eq!(run(&mut some), (all.clone(), tasks.len() - n_kept), "{subset:b}");
        }
    }

    #[test]
    fn a_cancelled_run_has_heard_the_first_tasks_and_kept_them() {
        let variants = [Variant::read(LINE).unwrap()];
        let tasks: Vec<Task> = (0..40).map(|number| Task { variant: 0, number }).collect();
        let shifts =
            Shifts { variants: &variants, tasks: &tasks, seed: 3, line: &|_| 7, wanted: &|_, all| [all[0]] };
        let mut shelf = Shelf::default();
        (0..5).chain(20..40).for_each(|shift| shelf.keep(7, shift, &[1.0]));
        let asked = std::sync::atomic::AtomicUsize::new(0);
        let cancelled = || asked.fetch_add(1, std::sync::atomic::Ordering::Relaxed) >= 3;
        let heard = shifts.run(&Alone, &cancelled, &mut shelf, &mut |_, _| ());
        assert_eq!((heard, shelf.0.len()), (8, 28));
    }
}
