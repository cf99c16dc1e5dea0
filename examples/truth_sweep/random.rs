//! Random numbers that depend on the seed alone.

/// SplitMix64 (Steele, Lea & Flood 2014).
#[derive(Debug, Clone)]
pub struct Random(u64);

impl Random {
    /// A stream of its own for each seed.
    pub fn new(seed: u64) -> Self {
        let mut random = Random(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x6d6f_6c64);
        random.bits();
        random
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in `lo..hi`.
    pub fn within(&mut self, lo: f64, hi: f64) -> f64 {
        lo + (hi - lo) * (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform in the logarithm.
    pub fn scaled(&mut self, lo: f64, hi: f64) -> f64 {
        self.within(lo.ln(), hi.ln()).exp()
    }

    /// True once in `1 / share`.
    pub fn chance(&mut self, share: f64) -> bool {
        self.within(0.0, 1.0) < share
    }

    /// A whole number in `0..n`.
    pub fn below(&mut self, n: usize) -> usize {
        (self.within(0.0, n as f64) as usize).min(n - 1)
    }

    /// A rotation drawn evenly from all, as rows of a matrix (Shoemake 1992, from memory).
    pub fn rotation(&mut self) -> [[f64; 3]; 3] {
        use std::f64::consts::TAU;
        let (u, a, b) = (
            self.within(0.0, 1.0),
            self.within(0.0, TAU),
            self.within(0.0, TAU),
        );
        let (p, q) = ((1.0 - u).sqrt(), u.sqrt());
        let [x, y, z, w] = [p * a.sin(), p * a.cos(), q * b.sin(), q * b.cos()];
        [
            [
                1.0 - 2.0 * (y * y + z * z),
                2.0 * (x * y - z * w),
                2.0 * (x * z + y * w),
            ],
            [
                2.0 * (x * y + z * w),
                1.0 - 2.0 * (x * x + z * z),
                2.0 * (y * z - x * w),
            ],
            [
                2.0 * (x * z - y * w),
                2.0 * (y * z + x * w),
                1.0 - 2.0 * (x * x + y * y),
            ],
        ]
    }
}
