//! Prices of a scenario: what the line costs and what it replaces, for the pay-back.

use crate::text::fields::Object;
use crate::text::forms::real;
use schemars::JsonSchema;
use serde::Serialize;

/// Prices, all in one currency.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Prices {
    /// Cost of the line, once.
    pub cost: f64,
    /// Labour that the line replaces, for each hour of a shift.
    pub labour_per_hour: f64,
    /// Value of a minute in which the point of use waits for parts.
    pub lost_minute: f64,
    /// What running the line costs, for each hour of a shift.
    pub running_per_hour: f64,
    /// Shifts in a year.
    pub shifts_per_year: f64,
}

/// Reads prices.
pub(super) fn read(object: &mut Object<'_>) -> Prices {
    Prices {
        cost: object.required("cost", real().at_least(0.0), "Cost of the line, once"),
        labour_per_hour: object.required(
            "labour_per_hour",
            real().at_least(0.0),
            "Labour that the line replaces, for each hour of a shift",
        ),
        lost_minute: object.required(
            "lost_minute",
            real().at_least(0.0),
            "Value of a minute in which the point of use waits for parts",
        ),
        running_per_hour: object.optional(
            "running_per_hour",
            real().at_least(0.0),
            "0",
            "What running the line costs, for each hour of a shift",
        ),
        shifts_per_year: object.required(
            "shifts_per_year",
            real().at_least(0.0).at_most(1100.0),
            "Shifts in a year",
        ),
    }
}
