//! Streams of luck: xoshiro256++ (Blackman and Vigna, 2019), one stream for every (seed, replication, name,
//! purpose).
//!
//! A stream depends on these four and on nothing else, so two designs that share a station name see the
//! same luck there, whatever else differs. Invariant: the hash below is pinned by known answers; to change it
//! is to change every published result.
//!
//! The hash: name and purpose each give FNV-1a (64 bits, over the UTF-8 bytes) passed through the SplitMix64
//! finaliser (Steele, Lea and Flood, 2014). Seed, replication, name and purpose are then absorbed in this order by
//! `h = finalise((h ^ word) + GOLDEN)`, and four SplitMix64 outputs counted on from `h` are the state. Two of
//! 10^8 streams start alike with a chance below 3 in 10,000.
//!
//! A stream can be *mirrored*: every word is complemented, so that a draw by inversion sees 1 - u where the plain
//! stream sees u. Compiled samplers are then shared by both halves of a mirrored pair. Replications are numbered below
//! 2^63; the highest bit of the number is left out of the hash, and mirrors all streams of the replication.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// Odd number nearest to 2^64 over the golden ratio, the step of SplitMix64.
const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;
const FNV_OFFSET: u64 = 0xcbf2_9ce4_8422_2325;
const FNV_PRIME: u64 = 0x0000_0100_0000_01b3;
/// 2^-53, the grid of [`Stream::unit`].
const GRID: f64 = 1.0 / (1_u64 << 53) as f64;

/// Added to the number of a replication: the same replication with all streams mirrored.
pub const MIRRORED: u64 = 1 << 63;

/// Finaliser of SplitMix64: a mixing permutation of the 64-bit words.
const fn finalise(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// One more word absorbed into a hash.
#[inline]
pub(crate) const fn absorb(h: u64, word: u64) -> u64 {
    finalise((h ^ word).wrapping_add(GOLDEN))
}

/// FNV-1a over the bytes, finalised.
fn hash_text(text: &str) -> u64 {
    let folded = text.bytes().fold(FNV_OFFSET, |h, byte| (h ^ u64::from(byte)).wrapping_mul(FNV_PRIME));
    finalise(folded)
}

/// Who draws and what for, hashed once when the line is compiled, so that a replication starts its streams
/// without touching text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StreamKey {
    /// Hash of the station's name.
    pub name_hash: u64,
    /// Hash of the purpose.
    pub purpose_hash: u64,
}

impl StreamKey {
    /// Key of a station name and a purpose, such as `"feeder a"` and `"jam"`.
    pub fn new(name: &str, purpose: &str) -> Self {
        StreamKey { name_hash: hash_text(name), purpose_hash: hash_text(purpose) }
    }

    /// The stream of this key in one replication of one seed, at its start; mirrored if [`MIRRORED`] was added to the
    /// number of the replication.
    pub fn stream(&self, seed: u64, replication: u64) -> Stream {
        let words = [seed, replication & !MIRRORED, self.name_hash, self.purpose_hash];
        let mut h = words.iter().fold(0, |h, word| absorb(h, *word));
        let mut state = [0_u8; 32];
        for bytes in state.chunks_exact_mut(8) {
            h = h.wrapping_add(GOLDEN);
            bytes.copy_from_slice(&finalise(h).to_le_bytes());
        }
        let flip = if replication & MIRRORED == 0 { 0 } else { u64::MAX };
        Stream { generator: Xoshiro256PlusPlus::from_seed(state), flip }
    }
}

/// A stream of random numbers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stream {
    generator: Xoshiro256PlusPlus,
    /// All ones in a mirrored stream, else zero.
    flip: u64,
}

impl Stream {
    /// The stream of (seed, replication, name, purpose), at its start.
    pub fn new(seed: u64, replication: u64, name: &str, purpose: &str) -> Self {
        StreamKey::new(name, purpose).stream(seed, replication)
    }

    /// The same stream with every word complemented from here on: 1 - u instead of u. Twice mirrored is plain.
    #[must_use]
    pub fn mirrored(self) -> Self {
        Stream { generator: self.generator, flip: !self.flip }
    }

    /// A stream whose first word is `word`, to ask an inversion for one quantile: xoshiro256++ gives
    /// rotl(s0 + s3, 23) + s0, which is rotl(s3, 23) where s0 is zero.
    pub(crate) fn telling(word: u64) -> Self {
        let mut state = [0_u8; 32];
        state[8] = 1;
        state[24..].copy_from_slice(&word.rotate_right(23).to_le_bytes());
        Stream { generator: Xoshiro256PlusPlus::from_seed(state), flip: 0 }
    }

    /// A standard normal variate by inversion: one word.
    pub fn normal(&mut self) -> f64 {
        super::quantile::normal(self.inner_unit())
    }

    /// 64 random bits.
    #[inline(always)]
    pub fn next_u64(&mut self) -> u64 {
        self.generator.next_u64() ^ self.flip
    }

    /// Uniform on [0, 1): a multiple of 2^-53.
    #[inline(always)]
    pub fn unit(&mut self) -> f64 {
        // 53 bits fit a signed word, whose conversion is one instruction on every common processor.
        (self.next_u64() >> 11).cast_signed() as f64 * GRID
    }

    /// Uniform on (0, 1]: a multiple of 2^-53. Safe below a logarithm.
    #[inline]
    pub fn open_unit(&mut self) -> f64 {
        ((self.next_u64() >> 11).cast_signed() + 1) as f64 * GRID
    }

    /// Uniform on (0, 1), both ends excluded: an odd multiple of 2^-53. In the mirrored stream exactly one minus it;
    /// `1.0 - u` is exact as well. This is the uniform of every inversion.
    #[inline]
    pub fn inner_unit(&mut self) -> f64 {
        ((self.next_u64() >> 11) | 1).cast_signed() as f64 * GRID
    }

    /// Uniform on 0..n without bias (Lemire, 2019); 0 if `n` is 0. Nearly always one word.
    #[inline]
    pub fn below(&mut self, n: u64) -> u64 {
        let mut wide = u128::from(self.next_u64()) * u128::from(n);
        if (wide as u64) < n {
            let least = n.wrapping_neg() % n;
            while (wide as u64) < least {
                wide = u128::from(self.next_u64()) * u128::from(n);
            }
        }
        (wide >> 64) as u64
    }

    /// True with chance `p`: never for 0, always for 1. Takes one word whatever `p` is, so that designs which differ
    /// in a chance stay in step.
    #[inline]
    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn generator_is_xoshiro256_plus_plus() {
        // Reference program of Blackman and Vigna started at (1, 2, 3, 4); first outputs as printed in the
        // tests of the crate rand_xoshiro.
        let mut state = [0_u8; 32];
        for (bytes, word) in state.chunks_exact_mut(8).zip(1_u64..) {
            bytes.copy_from_slice(&word.to_le_bytes());
        }
        let mut stream = Stream { generator: Xoshiro256PlusPlus::from_seed(state), flip: 0 };
        let expected = [41_943_041, 58_720_359, 3_588_806_011_781_223, 3_591_011_842_654_386];
        for word in expected {
            assert_eq!(stream.next_u64(), word);
        }
    }

    #[test]
    fn fnv_and_splitmix_are_the_published_ones() {
        // SplitMix64 from 0: first outputs of the reference program (from memory, widely printed).
        assert_eq!(finalise(GOLDEN), 0xe220_a839_7b1d_cdaf);
        assert_eq!(finalise(GOLDEN.wrapping_mul(2)), 0x6e78_9e6a_a1b9_65f4);
        // FNV-1a, 64 bits, of "a" and "foobar": Fowler, Noll and Vo, test vectors (from memory).
        assert_eq!(hash_text("a"), finalise(0xaf63_dc4c_8601_ec8c));
        assert_eq!(hash_text("foobar"), finalise(0x8594_4171_f739_67e8));
    }

    #[test]
    fn a_telling_stream_says_its_word_first() {
        for word in [0, 1, 0x8000_0000_0000_0000, u64::MAX, 0x0123_4567_89ab_cdef] {
            assert_eq!(Stream::telling(word).next_u64(), word);
        }
        // Quantile of 0.975 of the normal law: 1.959963984540054 (Wichura 1988, and any table).
        let word = (0.975 * 18_446_744_073_709_551_616.0) as u64;
        assert!((Stream::telling(word).normal() - 1.959_963_984_540_054).abs() < 1e-12);
    }

    #[test]
    fn stream_hash_is_pinned() {
        let first =
            |seed, replication, name, purpose| Stream::new(seed, replication, name, purpose).next_u64();
        assert_eq!(first(1, 0, "feeder", "jam"), PINNED[0]);
        assert_eq!(first(1, 1, "feeder", "jam"), PINNED[1]);
        assert_eq!(first(2, 0, "feeder", "jam"), PINNED[2]);
        assert_eq!(first(1, 0, "jam", "feeder"), PINNED[3]);
        assert_eq!(first(u64::MAX, MIRRORED - 1, "", "Zuführer"), PINNED[4]);
        // The highest bit of the number is not hashed: it mirrors.
        assert_eq!(first(u64::MAX, u64::MAX, "", "Zuführer"), !PINNED[4]);
    }
    /// Worked out by a second program, written from the description at the top of this file.
    const PINNED: [u64; 5] = [
        2_824_406_923_774_999_050,
        5_480_823_440_017_343_757,
        9_255_246_912_222_407_904,
        577_715_134_239_639_468,
        18_313_865_243_578_389_497,
    ];

    #[test]
    fn units_stay_in_their_ranges_and_mirror_exactly() {
        let plain = Stream::new(5, 0, "a", "b");
        for _ in 0..3 {
            let (mut p, mut m) = (plain.clone(), plain.clone().mirrored());
            for _ in 0..10_000 {
                assert_eq!(p.inner_unit() + m.inner_unit(), 1.0);
                assert_eq!(p.unit() + m.open_unit(), 1.0);
            }
        }
        assert_eq!(plain.clone().mirrored().mirrored(), plain);
    }

    #[test]
    fn below_is_even_and_in_range() {
        let mut stream = Stream::new(6, 0, "a", "below");
        let mut counts = [0_u32; 7];
        for _ in 0..70_000 {
            counts[stream.below(7) as usize] += 1;
        }
        // Standard error of a count: sqrt(70000 * 1/7 * 6/7) = 92.6; allowed: 5 of them.
        assert!(counts.iter().all(|&n| n.abs_diff(10_000) < 463), "{counts:?}");
        assert_eq!(stream.below(1), 0);
        assert_eq!(stream.below(0), 0);
        // A range for which a third of the words is rejected: all below 3 * 2^62, none favoured.
        let n = 3 << 62;
        let low = (0..30_000).filter(|_| stream.below(n) < n / 3).count();
        // Standard error sqrt(30000 * 2/9) = 81.6; a biased draw would give 15,000.
        assert!(low.abs_diff(10_000) < 408, "{low}");
    }

    #[test]
    fn chance_hits_its_share() {
        let mut stream = Stream::new(7, 0, "a", "chance");
        assert!((0..1000).all(|_| stream.chance(1.0) && !stream.chance(0.0)));
        let hits = (0..100_000).filter(|_| stream.chance(0.3)).count();
        // Standard error sqrt(100000 * 0.21) = 144.9; allowed: 5 of them.
        assert!(hits.abs_diff(30_000) < 725, "{hits}");
    }

    #[test]
    fn different_keys_give_unrelated_streams() {
        let variants = [
            Stream::new(1, 0, "feeder", "jam"),
            Stream::new(1, 0, "feeder", "clear"),
            Stream::new(1, 0, "feeder 2", "jam"),
            Stream::new(1, 1, "feeder", "jam"),
            Stream::new(2, 0, "feeder", "jam"),
            Stream::new(1, 0, "jam", "feeder"),
        ];
        const N: usize = 20_000;
        for (i, a) in variants.iter().enumerate() {
            for b in &variants[i + 1..] {
                let (mut a, mut b) = (a.clone(), b.clone());
                let sum: f64 = (0..N).map(|_| 12.0 * (a.unit() - 0.5) * (b.unit() - 0.5)).sum();
                let correlation = sum / N as f64;
                // Standard error 1/sqrt(20000) = 0.0071; allowed: 5 of them.
                assert!(correlation.abs() < 0.0354, "correlation {correlation}");
            }
        }
    }

    #[test]
    fn neighbouring_replications_start_evenly() {
        // First draws of consecutive replications: as good as consecutive draws of one stream.
        let key = StreamKey::new("feeder", "jam");
        const N: u64 = 50_000;
        let firsts: Vec<f64> = (0..N).map(|r| key.stream(9, r).unit()).collect();
        let mean = firsts.iter().sum::<f64>() / N as f64;
        let serial: f64 = firsts.windows(2).map(|w| 12.0 * (w[0] - 0.5) * (w[1] - 0.5)).sum();
        // Standard errors: sqrt(1/12/50000) = 0.00129 and sqrt(1/50000) = 0.00447; allowed: 5 of them.
        assert!((mean - 0.5).abs() < 0.0065, "mean {mean}");
        assert!((serial / N as f64).abs() < 0.0224, "serial {}", serial / N as f64);
    }
}
