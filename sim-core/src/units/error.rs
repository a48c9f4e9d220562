//! What is wrong with the text of a quantity.

use std::fmt;

use super::Dimension;
use super::table::{self, Kind};
use crate::diag::{Problem, code};
use crate::text::json::clipped;
use crate::text::suggest::nearest;

/// Why a text is no quantity of the expected dimension.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnitError {
    code: &'static str,
    message: String,
    dimension: Dimension,
    help: Option<String>,
}

impl UnitError {
    fn new(code: &'static str, dimension: Dimension, message: String) -> Self {
        UnitError { code, message, dimension, help: None }
    }

    pub(super) fn empty(dimension: Dimension) -> Self {
        Self::new(code::EMPTY, dimension, "the text is empty".to_owned())
    }

    /// A number without a unit; also for a number that stands in a file where text is needed.
    pub fn bare(number: &str, dimension: Dimension) -> Self {
        let unit = match dimension {
            Dimension::Density => "of pieces per volume".to_owned(),
            Dimension::Time
            | Dimension::Length
            | Dimension::Speed
            | Dimension::Mass
            | Dimension::Volume
            | Dimension::Rate
            | Dimension::VolumeRate
            | Dimension::Share => format!("of {}", dimension.name().trim_start_matches("a ")),
        };
        Self::new(code::UNIT_MISSING, dimension, format!("`{}` needs a unit {unit}", clipped(number)))
    }

    pub(super) fn number(whole: &str, dimension: Dimension) -> Self {
        let message =
            format!("`{}` does not begin with a number, or a number in it cannot be read", clipped(whole));
        let mut error = Self::new(code::NUMBER_UNREADABLE, dimension, message);
        let folded = whole.to_lowercase();
        if ["nan", "inf"].iter().any(|word| folded.trim_start_matches(['-', '+']).starts_with(word)) {
            error.message = format!("`{}` is not a finite number", clipped(whole));
        }
        error
    }

    pub(super) fn kind(whole: &str, found: Kind, dimension: Dimension) -> Self {
        let whole = clipped(whole);
        let message = match found {
            Kind::Of(found) if found == dimension => format!("`{whole}` is more than one quantity"),
            Kind::Of(found) => format!("`{whole}` is {}", found.name()),
            Kind::Pieces => format!("`{whole}` is a number of pieces"),
            Kind::MassPerTime => format!("`{whole}` is a mass per time"),
            Kind::MassPerVolume => format!("`{whole}` is a mass per volume"),
            Kind::Other => format!("`{whole}` has units that do not go together"),
        };
        Self::new(code::UNIT_WRONG_KIND, dimension, message)
    }

    pub(super) fn unknown(unit: &str, whole: &str, dimension: Dimension) -> Self {
        let message = format!("the unit `{}` in `{}` is not known", clipped(unit), clipped(whole));
        let mut error = Self::new(code::UNIT_UNKNOWN, dimension, message);
        let folded = unit.to_lowercase();
        let same = table::words().find(|word| word.to_lowercase() == folded);
        error.help = if unit.starts_with(',') {
            Some("write numbers with a point and without separators: 12000.5".to_owned())
        } else if unit.is_empty() {
            Some("a unit is missing beside the stroke".to_owned())
        } else {
            same.or_else(|| nearest(unit, table::words())).map(|word| format!("did you mean `{word}`?"))
        };
        error
    }

    pub(super) fn size(whole: &str, dimension: Dimension, small: bool) -> Self {
        let size = if small { "smaller" } else { "larger" };
        let message = format!("`{}` is {size} than anything on a line", clipped(whole));
        Self::new(code::OUT_OF_RANGE, dimension, message)
    }

    /// What is wrong, one of [`code`].
    pub fn code(&self) -> &'static str {
        self.code
    }

    /// What was expected: "a speed, such as `30 ft/min`".
    pub fn expected(&self) -> String {
        format!("{}, such as `{}`", self.dimension.name(), self.dimension.example())
    }
}

impl From<UnitError> for Problem {
    fn from(error: UnitError) -> Self {
        let problem = Problem::new(error.code, error.message.clone()).expected(error.expected());
        match error.help {
            Some(help) => problem.help(help),
            None => problem,
        }
    }
}

impl fmt::Display for UnitError {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}; expected {}", self.message, self.expected())?;
        match &self.help {
            Some(help) => write!(out, "; {help}"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for UnitError {}
