//! What the tests of the whole program share: random lines, a watcher that knows the rules, mutated files.
//!
//! Nothing here is part of the program. A failing trial always says which claim broke, by how much, the seed that
//! replays it and the smallest scenario text that still breaks it.

pub mod calm;
pub mod judge;
pub mod luck;
pub mod mutate;
pub mod mutate_values;
pub mod published;
mod random_batches;
pub mod random_blocks;
mod random_evidence;
pub mod random_feeders;
mod random_laws;
pub mod random_line;
mod random_options;
mod random_plan;
pub mod random_roomy;
pub mod random_sides;
mod random_stores;
pub mod round_trip;
pub mod shifts;
pub mod shrink;
pub mod slips;
pub mod steady;
pub mod trials;
pub mod watch;
pub mod words;
