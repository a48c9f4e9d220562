//! What a plan is made of once it is read and checked: plain values, and the forms that read them.

pub mod kind;
pub mod law;
pub mod law_form;
mod law_parts;
pub mod models;
pub mod stops;
