//! Numbers for disturbances, the same for the same seed on every machine.

/// SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, Fast splittable pseudorandom number generators, OOPSLA 2014).
#[derive(Debug)]
pub(crate) struct Chance {
    state: u64,
}

impl Chance {
    /// Begins at a seed.
    pub(crate) fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number below `end`; 0 where `end` is 0. The unevenness, `end` in 2^64, does not matter here.
    pub(crate) fn below(&mut self, end: usize) -> usize {
        let end = end.max(1) as u64;
        usize::try_from(self.next() % end).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::Chance;

    /// First outputs for seed 1234567, as published with the reference code of the generator.
    #[test]
    fn reference_outputs() {
        let mut chance = Chance::new(1_234_567);
        let first: Vec<u64> = (0..3).map(|_| chance.next()).collect();
        assert_eq!(
            first,
            [
                6_457_827_717_110_365_317,
                3_203_168_211_198_807_973,
                9_817_491_932_198_370_423
            ]
        );
    }
}
