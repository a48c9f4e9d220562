//! The token that stands for one part under way.
//!
//! A part is sixteen bytes of plain data that is copied from place to place; everything that is the same
//! for all parts of a kind lives in the kind. It knows no station and no place.

/// Ticks of simulated time: one nanosecond.
pub type Nanos = u64;

/// Nanoseconds in one second.
pub const SECOND: Nanos = 1_000_000_000;

/// Simulated time must stay below this many nanoseconds (2^50 ns, 13 days): calendar keys and part stamps
/// keep the time in 50 bits.
pub const TIME_LIMIT: Nanos = 1 << 50;

/// Most parts of a stamp's low bits: passes are counted up to here and then stay.
const PASSES_MAX: u64 = (1 << 14) - 1;

const STARTER: u8 = 1;
const OFF_SIZE: u8 = 2;
const SPOILED: u8 = 4;
const TANGLED: u8 = 8;

/// One part (or one finished assembly) under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Part {
    /// Time of entry in the upper 50 bits, orienting passes in the lower 14.
    stamp: u64,
    /// Index of the part kind.
    pub kind: u8,
    /// Index of the condition within the kind; 0 is good.
    pub condition: u8,
    /// Index of the attitude within the kind.
    pub attitude: u8,
    flags: u8,
    /// True dimensions as quantiles (0 to 65535) of the kind's distributions; two at most.
    pub sizes: [u16; 2],
}

impl Part {
    /// A part of `kind` that enters the line at `now` (ns).
    pub fn new(kind: u8, condition: u8, attitude: u8, now: Nanos) -> Self {
        Part { stamp: now << 14, kind, condition, attitude, flags: 0, sizes: [0; 2] }
    }

    /// A part that was in the line when the run started: it counts as input, but neither its passes nor
    /// its time in the line are reported.
    pub fn starter(kind: u8, condition: u8, attitude: u8) -> Self {
        Part { flags: STARTER, ..Part::new(kind, condition, attitude, 0) }
    }

    /// The same part with these true dimensions.
    #[inline(always)]
    #[must_use]
    pub fn with_sizes(self, sizes: [u16; 2]) -> Self {
        Part { sizes, ..self }
    }

    /// Gives the part an attitude. A part that keeps its attitude isn't written to: a copy of the whole right
    /// after a write to a piece of it has to wait for the write.
    #[inline(always)]
    pub fn turn_to(&mut self, attitude: u8) {
        if self.attitude != attitude {
            self.attitude = attitude;
        }
    }

    /// Time of entry into the line, ns.
    #[inline]
    pub fn entered_ns(&self) -> Nanos {
        self.stamp >> 14
    }

    /// Orienting passes of this life (a return to a bin ends a life).
    #[inline]
    pub fn passes(&self) -> u32 {
        (self.stamp & PASSES_MAX) as u32
    }

    /// Counts one more orienting pass.
    #[inline]
    pub fn count_pass(&mut self) {
        self.stamp += u64::from(self.stamp & PASSES_MAX != PASSES_MAX);
    }

    /// Whether the part stood in the line when the run started.
    #[inline]
    pub fn is_starter(&self) -> bool {
        self.flags & STARTER != 0
    }

    /// Whether a gauge has rejected the part for a dimension.
    #[inline]
    pub fn is_off_size(&self) -> bool {
        self.flags & OFF_SIZE != 0
    }

    /// Marks the part as rejected for a dimension.
    #[inline]
    pub fn mark_off_size(&mut self) {
        self.flags |= OFF_SIZE;
    }

    /// Whether the part is an assembly with a bad or missing part in it.
    #[inline]
    pub fn is_spoiled(&self) -> bool {
        self.flags & SPOILED != 0
    }

    /// Marks an assembly as bad.
    #[inline]
    pub fn mark_spoiled(&mut self) {
        self.flags |= SPOILED;
    }

    /// Whether the part hangs together with another one.
    #[inline]
    pub fn is_tangled(&self) -> bool {
        self.flags & TANGLED != 0
    }

    /// Sets whether the part hangs together with another one.
    #[inline]
    pub fn set_tangled(&mut self, tangled: bool) {
        self.flags = if tangled { self.flags | TANGLED } else { self.flags & !TANGLED };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_is_sixteen_bytes_and_counts_passes_up_to_its_limit() {
        assert_eq!(size_of::<Part>(), 16);
        let mut part = Part::new(1, 2, 3, TIME_LIMIT - 1);
        for _ in 0..20_000 {
            part.count_pass();
        }
        assert_eq!(part.passes(), (1 << 14) - 1);
        assert_eq!(part.entered_ns(), TIME_LIMIT - 1);
    }
}
