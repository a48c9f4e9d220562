//! What the tests of the whole program share: random lines, a watcher that knows the rules, mutated files.
//!
//! Nothing here is part of the program. A failing trial always says which claim broke, by how much, the seed that
//! replays it and the smallest scenario text that still breaks it.

pub mod judge;
pub mod luck;
pub mod mutate;
pub mod mutate_values;
pub mod published;
mod random_batches;
pub mod random_blocks;
pub mod random_feeders;
pub mod random_line;
pub mod round_trip;
pub mod shifts;
pub mod shrink;
pub mod trials;
pub mod watch;
