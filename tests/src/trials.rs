//! Many trials on several threads, and a failure told so that it can be replayed.

use crate::judge::{Limits, Verdict, judge};
use crate::shrink::shrink;
use crate::watch::Broken;
use std::cell::Cell;
use std::sync::Mutex;
use std::sync::Once;
use std::sync::atomic::{AtomicU64, Ordering};

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

/// Keeps panics of this thread off the screen: a trial reports them by itself.
pub fn be_quiet() {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let usual = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            if !QUIET.get() {
                usual(info);
            }
        }));
    });
    QUIET.set(true);
}

/// A number from the environment, or a usual one.
pub fn number(name: &str, usual: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
}

/// What a series of trials did.
#[derive(Clone, Copy, Debug, Default)]
pub struct Series {
    /// Trials.
    pub n: u64,
    /// Texts refused by the reader.
    pub refused: u64,
    /// Runs with a knot.
    pub knotted: u64,
    /// Runs cut short.
    pub cut: u64,
    /// Timed events of all.
    pub events: u64,
    /// Parts that left.
    pub left: u64,
    /// Runs that let at least one part out.
    pub flowing: u64,
}

impl Series {
    fn add(&mut self, verdict: &Verdict) {
        self.n += 1;
        match verdict {
            Verdict::Refused => self.refused += 1,
            Verdict::Ran { events, left, knotted, cut } => {
                self.events += events;
                self.left += left;
                self.knotted += u64::from(*knotted);
                self.cut += u64::from(*cut);
                self.flowing += u64::from(*left > 0);
            }
        }
    }
}

/// Judges the text of every seed from `from` on, `n` of them.
///
/// # Panics
/// If a claim is broken, with the seed and the smallest text that breaks it.
pub fn judge_all(from: u64, n: u64, limits: Limits, text_of: impl Fn(u64) -> String + Sync) -> Series {
    let mut series = Series::default();
    for verdict in try_all(from, n, text_of, |text, seed| judge(text, seed, limits)) {
        series.add(&verdict);
    }
    series
}

/// What came of each trial: one for every seed from `from` on, `n` of them, in this order.
///
/// # Panics
/// If a claim is broken, with the seed and the smallest text that breaks it.
pub fn try_all<V: Send>(
    from: u64,
    n: u64,
    text_of: impl Fn(u64) -> String + Sync,
    judge: impl Fn(&str, u64) -> Result<V, Broken> + Sync,
) -> Vec<V> {
    let next = AtomicU64::new(from);
    let failed: Mutex<Option<(u64, String, Broken)>> = Mutex::new(None);
    let all = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                be_quiet();
                let mut own = Vec::new();
                loop {
                    let seed = next.fetch_add(1, Ordering::Relaxed);
                    if seed >= from + n {
                        break;
                    }
                    let text = text_of(seed);
                    match judge(&text, seed) {
                        Ok(verdict) => own.push((seed, verdict)),
                        Err(broken) => {
                            next.store(from + n, Ordering::Relaxed);
                            let mut slot = failed.lock().unwrap_or_else(|poison| poison.into_inner());
                            if slot.as_ref().is_none_or(|(known, _, _)| seed < *known) {
                                *slot = Some((seed, text, broken));
                            }
                            break;
                        }
                    }
                }
                all.lock().unwrap_or_else(|poison| poison.into_inner()).append(&mut own);
            });
        }
    });
    if let Some((seed, text, found)) = failed.into_inner().unwrap_or_else(|poison| poison.into_inner()) {
        be_quiet();
        let (small, found) = shrink(&text, found, |text| judge(text, seed).err());
        QUIET.set(false);
        panic!(
            "seed {seed}: {}\n  found: {}\n  smallest text: {small}\n  whole text: {text}",
            found.claim, found.found
        );
    }
    let mut all = all.into_inner().unwrap_or_else(|poison| poison.into_inner());
    all.sort_by_key(|(seed, _)| *seed);
    all.into_iter().map(|(_, verdict)| verdict).collect()
}
