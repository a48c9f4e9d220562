//! How far a run has come: a bar on a terminal, nothing elsewhere.

use crate::numbers::number;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use sim_core::statistics::Verdict;
use sim_core::study::{Hands, Progress};
use std::io::IsTerminal;

/// The bar, if somebody can see it.
#[derive(Debug)]
pub(crate) struct Bar(Option<ProgressBar>);

impl Bar {
    /// A bar on standard error, for `planned` shifts, or `what` else. A thousand shifts, their rate and a verdict fit in 80
    /// columns.
    pub(crate) fn new(planned: u64, what: &str) -> Self {
        if !std::io::stderr().is_terminal() {
            return Bar(None);
        }
        let bar = ProgressBar::with_draw_target(Some(planned), ProgressDrawTarget::stderr_with_hz(10));
        let style = ProgressStyle::with_template(&format!(
            "[{{bar:14}}] {{pos}}/{{len}} {what}  {{msg}}  {{eta}} at most"
        ));
        bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()).progress_chars("=> "));
        Bar(Some(bar))
    }

    /// Shows how far the run has come.
    pub(crate) fn show(&self, progress: &Progress) {
        let Some(bar) = &self.0 else { return };
        bar.set_length(progress.planned);
        bar.set_position(progress.done);
        let rate = match (progress.rate, progress.half_width) {
            (Some(rate), Some(half)) if half > 0.0 => {
                format!("{} +/- {} /min", number(rate, Some(half)), number(half, Some(half)))
            }
            (Some(rate), _) => format!("{rate:.1} /min"),
            (None, _) => String::new(),
        };
        let verdict = match progress.verdict {
            Some(Verdict::Proved) => ", proved",
            Some(Verdict::Disproved) => ", disproved",
            Some(Verdict::Open) => ", open",
            None => "",
        };
        bar.set_message(format!("{rate}{verdict}"));
    }

    /// A bar on standard error that says how long it will take; see [`Bar::share`]. It is not seen before it is known what of.
    pub(crate) fn with_time_left(what: &str, done: u64, of: u64) -> Self {
        if !std::io::stderr().is_terminal() {
            return Bar(None);
        }
        let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr_with_hz(10));
        let style =
            ProgressStyle::with_template(&format!("[{{bar:20}}] {{msg}} {what}{{prefix}}  {{eta}} left"));
        bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()).progress_chars("=> "));
        let bar = Bar(Some(bar));
        if of > 0 {
            bar.share(done as f64, of);
            // What was done before says nothing of how long the rest takes.
            bar.0.iter().for_each(ProgressBar::reset_eta);
        }
        bar
    }

    /// Shows that `done` of `of` are done, in fractions.
    pub(crate) fn share(&self, done: f64, of: u64) {
        const OF_ONE: f64 = 1000.0;
        let Some(bar) = &self.0 else { return };
        bar.set_message(format!("{}/{of}", done as u64));
        bar.set_length((of as f64 * OF_ONE) as u64);
        bar.set_position((done * OF_ONE) as u64);
    }

    /// Shows, beside how much is done, what has been found so far.
    pub(crate) fn note(&self, found: &str) {
        if let Some(bar) = &self.0 {
            bar.set_prefix(format!("  {found}"));
        }
    }

    /// Shows that `done` of `of` are done.
    pub(crate) fn step(&self, done: usize, of: usize) {
        let Some(bar) = &self.0 else { return };
        bar.set_length(of as u64);
        bar.set_position(done as u64);
    }

    /// Shows how much is done, and says what of.
    pub(crate) fn tell(&self, done: u64, message: &str) {
        let Some(bar) = &self.0 else { return };
        bar.set_position(done);
        bar.set_message(message.to_owned());
    }

    /// Takes the bar away.
    pub(crate) fn clear(self) {
        if let Some(bar) = self.0 {
            bar.finish_and_clear();
        }
    }
}

/// Workers for so many threads; one for each core if none are asked for.
pub(crate) fn crew(threads: Option<u16>) -> Hands {
    let cores = || std::thread::available_parallelism().map_or(1, |n| n.get());
    Hands { n: threads.map_or_else(cores, usize::from) }
}
