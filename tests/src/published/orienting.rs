//! Family O: orienting paths and recirculation.

use super::Row;

/// Rows of the family.
pub fn rows() -> Vec<Row> {
    Vec::new()
}
