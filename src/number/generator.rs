//! Numbers from a seed, the same for ever: the generator behind drifts.
//!
//! Source: the SplitMix64 finaliser of G. Steele, D. Lea, C. Flood, "Fast Splittable Pseudorandom Number Generators",
//! OOPSLA 2014 (constants from memory; pinned by a test below). A library's generator may change its stream with a version; a shot
//! must not. Not for secrets.

/// A stream of 64-bit numbers determined by its seed.
#[derive(Debug, Clone)]
pub(crate) struct Generator {
    state: u64,
}

impl Generator {
    /// A stream from `seed`; any seed is legal.
    #[must_use]
    pub(crate) fn new(seed: u64) -> Self {
        Generator { state: seed }
    }

    /// The next 64 bits.
    pub(crate) fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// The next number in `0 <= x < 1`, a multiple of 2^-53.
    #[allow(clippy::cast_precision_loss, reason = "53 bits are exact")]
    pub(crate) fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0)
    }

    /// The next number in `low <= x < high`.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stream_of_a_seed_never_changes() {
        let mut g = Generator::new(1_234_567);
        // First outputs for this seed as published with the algorithm's reference code (from memory).
        assert_eq!(g.bits(), 6_457_827_717_110_365_317);
        assert_eq!(g.bits(), 3_203_168_211_198_807_973);
    }

    #[test]
    fn unit_numbers_stay_in_their_half_open_range() {
        let mut g = Generator::new(7);
        for _ in 0..10_000 {
            let x = g.unit();
            assert!((0.0..1.0).contains(&x));
        }
    }
}
