//! The drawing of a line: stations in the direction of flow, loops as loops, arrows as wide as their flow.
//!
//! `picture` says what is shown, `ranks`, `rows` and `routes` where it stands, `svg` what it looks like. The layout is
//! our own: layered layouts at hand place boxes well but leave the edges of loops to be straightened out by splines
//! through everything, while a recirculation has to be seen as the loop that it is. Invariant: the same line gives the
//! same bytes.

mod picture;
mod ranks;
mod routes;
mod rows;
mod svg;
mod symbols;
#[cfg(test)]
mod tests;

pub(crate) use picture::{Picture, by_balance};
pub(crate) use svg::{COLOURS, STYLE, svg};

use routes::{Layout, Sizes};

/// Which way the flow runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Direction {
    /// From left to right
    Across,
    /// From top to bottom
    Down,
}

impl Picture {
    /// Lays the picture out.
    pub(crate) fn layout(&self, direction: Direction) -> Layout {
        let sizes = match direction {
            Direction::Across => Sizes {
                along: 120.0,
                across: 80.0,
                small: (58.0, 30.0),
                channel: 34.0,
                track: 13.0,
                between: 26.0,
                is_down: false,
            },
            Direction::Down => Sizes {
                along: 52.0,
                across: 204.0,
                small: (26.0, 62.0),
                channel: 32.0,
                track: 13.0,
                between: 18.0,
                is_down: true,
            },
        };
        routes::layout(&self.graph(), &sizes)
    }
}
