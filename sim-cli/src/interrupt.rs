//! Ctrl-C (and the polite kill signals): once to end cleanly, twice to end at once.

use crate::ending::Ending;
use crate::ending::Failure;
use crate::{files, screen};
use std::sync::atomic::{AtomicBool, Ordering};

static ASKED: AtomicBool = AtomicBool::new(false);

/// From now on an interruption is noted instead of ending the program.
///
/// # Errors
/// If the system does not allow it.
pub(crate) fn listen() -> Result<(), Failure> {
    let handler = || {
        if ASKED.swap(true, Ordering::Relaxed) {
            files::drop_drafts();
            std::process::exit(130);
        }
        screen::say("\nstopping after the shifts under way; once more stops at once\n");
    };
    ctrlc::set_handler(handler)
        .map_err(|why| Failure::new(Ending::Failed, format!("cannot listen for interruptions: {why}")))
}

/// Whether the user wants to stop.
pub(crate) fn asked() -> bool {
    ASKED.load(Ordering::Relaxed)
}
