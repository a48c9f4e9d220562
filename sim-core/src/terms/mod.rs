//! Terms that many parts of a scenario use.

pub mod law;
pub mod law_form;
