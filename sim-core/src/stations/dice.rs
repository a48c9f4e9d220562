//! A station's luck: a stream with the key from which each replication starts it.

use crate::kernel::{Floor, Observer, Sampler, StationId, Stream, StreamKey};
use crate::part::Nanos;

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

    /// A time of station `me` by `law`, ns.
    #[inline(always)]
    pub(super) fn time<O: Observer>(&mut self, floor: &mut Floor<O>, me: StationId, law: &Sampler) -> Nanos {
        floor.draw_time(me, law, &mut self.stream)
    }

    /// The stream.
    #[inline]
    pub fn stream(&mut self) -> &mut Stream {
        &mut self.stream
    }
}
