//! A short hash of a text, to see whether it has changed. Not against forgery.

/// 64-bit FNV-1a (Fowler, Noll & Vo).
pub fn fnv_1a(bytes: &[u8]) -> u64 {
    fnv_1a_on(0xcbf2_9ce4_8422_2325, bytes)
}

/// The hash of a text of which `hash` is that of the beginning and `bytes` is the rest.
pub fn fnv_1a_on(hash: u64, bytes: &[u8]) -> u64 {
    bytes.iter().fold(hash, |hash, byte| (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_is_the_published_one() {
        // Test vectors of the authors of the hash (Fowler, Noll & Vo), from memory: "", "a", "foobar".
        assert_eq!(fnv_1a(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv_1a(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(fnv_1a(b"foobar"), 0x8594_4171_f739_67e8);
        assert_eq!(fnv_1a_on(fnv_1a(b"foo"), b"bar"), fnv_1a(b"foobar"));
    }
}
