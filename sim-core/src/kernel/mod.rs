//! What a replication runs on: streams of luck, samplers, dice.

pub mod dice;
mod discrete;
pub mod luck;
mod quantile;
pub mod sampler;
mod ziggurat;
mod ziggurat_tables;
