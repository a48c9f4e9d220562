//! The states of a station, which exclude each other and add up to all of the time.

use serde::Serialize;

/// What a station's second is charged to. The order of the list is the order of precedence of the time
/// account, stops first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
#[repr(u8)]
pub enum State {
    /// Jammed, being freed without a person.
    JamAutomatic,
    /// Jammed, waiting for an attendant (notice, queue and walk).
    JamWaiting,
    /// Jammed, being cleared.
    JamClearing,
    /// Broken down, waiting for an attendant.
    DownWaiting,
    /// Broken down, being repaired.
    DownRepair,
    /// In changeover.
    Changeover,
    /// Off (break, shift) with nothing in work.
    Off,
    /// Working; a transporter that moves with parts aboard.
    Working,
    /// Waiting for a presence check to be repeated.
    Checking,
    /// A nest of its own is being loaded, and nothing else is missing.
    Loading,
    /// A finished part finds no room.
    Blocked,
    /// Held by a sensor.
    Held,
    /// Nothing to take; a transporter that moves empty.
    Starved,
}

/// Number of states.
pub const N_STATES: usize = 13;

impl State {
    /// All states in order of precedence.
    pub const ALL: [State; N_STATES] = [
        State::JamAutomatic,
        State::JamWaiting,
        State::JamClearing,
        State::DownWaiting,
        State::DownRepair,
        State::Changeover,
        State::Off,
        State::Working,
        State::Checking,
        State::Loading,
        State::Blocked,
        State::Held,
        State::Starved,
    ];

    /// The word used in files and reports.
    pub fn word(self) -> &'static str {
        match self {
            State::JamAutomatic => "jam, automatic",
            State::JamWaiting => "jam, waiting",
            State::JamClearing => "jam, clearing",
            State::DownWaiting => "down, waiting",
            State::DownRepair => "down, repair",
            State::Changeover => "changeover",
            State::Off => "off",
            State::Working => "working",
            State::Checking => "checking",
            State::Loading => "loading",
            State::Blocked => "blocked",
            State::Held => "held",
            State::Starved => "starved",
        }
    }

    /// Whether a powered clock runs in this state: not down, held or off, even if empty or blocked.
    pub fn is_powered(self) -> bool {
        match self {
            State::Working | State::Checking | State::Loading | State::Blocked | State::Starved => true,
            State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair
            | State::Changeover
            | State::Off
            | State::Held => false,
        }
    }

    /// Whether it stops the station whatever there is to do: a jam, a breakdown, a changeover, a break.
    pub fn is_stop(self) -> bool {
        match self {
            State::JamAutomatic
            | State::JamWaiting
            | State::JamClearing
            | State::DownWaiting
            | State::DownRepair
            | State::Changeover
            | State::Off => true,
            State::Working
            | State::Checking
            | State::Loading
            | State::Blocked
            | State::Held
            | State::Starved => false,
        }
    }
}
