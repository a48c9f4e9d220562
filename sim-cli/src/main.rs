//! `feedproof`: proves the rate of a bulk parts-feeding line before it is built.
fn main() {}
