//! What a sweep is outside of the library: its files, its folder, its journal, its summary.

mod folder;
mod job;
mod journal;
mod part;
mod points;
mod rows;
mod summary;

pub(crate) use folder::{FILES, Finished, Folder, read_finished};
pub(crate) use job::{Job, with_scenario};
pub(crate) use journal::Journal;
pub(crate) use part::Part;
#[cfg(test)]
pub(crate) use points::Output;
pub(crate) use points::{Point, Spread, Sum, each_point, setting, short, split_unit};
pub(crate) use rows::{entry_of, text_of};
pub(crate) use summary::summary;
