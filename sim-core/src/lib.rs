//! Discrete-event simulation of bulk parts-feeding lines.
//!
//! Data flows one way: text -> scenario -> compiled network -> replication -> measures -> study.
//! Nothing in this crate prints, opens files, reads clocks or asks the system for randomness.

pub mod balance;
mod components;
pub mod design;
pub mod diag;
pub mod evidence;
pub mod fit;
pub mod kernel;
pub mod matching;
pub mod measure;
pub mod money;
pub mod network;
pub mod part;
pub mod replication;
pub mod run_off;
pub mod scenario;
pub mod screening;
pub mod stations;
pub mod statistics;
pub mod study;
pub mod sweep;
pub mod terms;
pub mod text;
pub mod units;
pub mod vary;
