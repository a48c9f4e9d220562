//! A station's luck: a stream with the key from which each replication starts it.

use crate::kernel::{Stream, StreamKey};

/// Luck for one purpose of one station.
#[derive(Clone, Debug)]
pub struct Dice {
    key: StreamKey,
    stream: Stream,
}

impl Dice {
    /// Luck of the station `name` for `purpose`.
    pub fn new(name: &str, purpose: &str) -> Self {
        let key = StreamKey::new(name, purpose);
        Dice { key, stream: key.stream(0, 0) }
    }

    /// Starts the luck of a replication.
    pub fn seed(&mut self, seed: u64, replication: u64) {
        self.stream = self.key.stream(seed, replication);
    }

    /// The stream.
    #[inline]
    pub fn stream(&mut self) -> &mut Stream {
        &mut self.stream
    }
}
