//! What a sweep is outside of the library: its files, its folder, its journal, its summary.

mod folder;
mod job;
mod journal;
mod part;
mod rows;
mod summary;

pub(crate) use folder::{FILES, Finished, Folder, read_finished};
pub(crate) use job::{Job, scenario_of};
pub(crate) use journal::Journal;
pub(crate) use part::Part;
pub(crate) use rows::{entry_of, text_of};
pub(crate) use summary::summary;
