//! The kernel: simulated time, the calendar, places and the moves between them, stops, people, control.
//!
//! **Time** is a whole number of nanoseconds. **Equal times:** the timer with the lower rank goes first;
//! ranks run from the point of use upstream, so the downstream event goes first. **After each timed event**
//! the zero-time moves run to a fixed point, again downstream first; sensors, calls and stop rules look
//! after the fixed point. The kernel knows no text, no names and no station types.

mod batch;
pub mod calendar;
mod changes;
pub mod control;
pub mod dice;
mod discrete;
pub mod floor;
pub mod kinds;
pub mod luck;
pub mod multinomial;
pub mod observer;
pub mod pace;
pub mod people;
pub mod place;
pub(crate) mod quantile;
pub mod ranks;
pub mod reach;
pub mod sampler;
pub mod shelf;
pub mod state;
mod stock;
mod telling;
pub mod troubles;
mod ziggurat;
mod ziggurat_tables;

pub use calendar::{Calendar, TimerId};
pub use floor::{Exit, Floor, Inlets, Join, Message, Offer, Outfit, PlaceId, Post, StationId};
pub use kinds::KindNow;
pub use luck::{MIRRORED, Stream, StreamKey};
pub use observer::{Draw, Intake, Note, Observer};
pub use pace::Pace;
pub use people::Job;
pub use people::Pool;
pub use place::{Bin, BinClass, Place, Spread, UNLIMITED};
pub use sampler::Sampler;
pub use state::State;
pub use troubles::Moment;
