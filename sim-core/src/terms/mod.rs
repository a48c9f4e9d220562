//! What a plan is made of once it is read and checked: plain values without text.

pub mod law;
