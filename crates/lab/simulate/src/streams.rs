//! Random streams by purpose: what is drawn for one purpose never shifts what is drawn for another.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// What a stream is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Purpose {
    Tree,
    Limb,
    LimbError,
    Spur,
    Cluster,
    Leaf,
    Phantom,
    Wind,
    Visibility,
    Motion,
    PassOffset,
    PoseNoise,
    PoseDrift,
    Mount,
    Detect,
    EdgeConstant,
    EdgeNoise,
    Merge,
    Duplicate,
    FalseBox,
    Track,
}

/// All streams of one seed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Streams {
    seed: u64,
}

impl Streams {
    pub(crate) fn new(seed: u64) -> Self {
        Self { seed }
    }

    /// The stream of a purpose for the item named by `a` and `b` (tree and limb, image and body ..).
    pub(crate) fn rng(&self, purpose: Purpose, a: u64, b: u64) -> ChaCha8Rng {
        let mut key = [0_u8; 32];
        for (chunk, word) in key
            .chunks_exact_mut(8)
            .zip([self.seed, purpose as u64, a, b])
        {
            chunk.copy_from_slice(&word.to_le_bytes());
        }
        ChaCha8Rng::from_seed(key)
    }
}

/// Draws that the modules share.
pub(crate) trait Draw {
    /// Normal with mean 0 and the given standard deviation.
    fn normal(&mut self, deviation: f64) -> f64;
    /// Uniform between the two bounds.
    fn between(&mut self, bounds: [f64; 2]) -> f64;
    /// True with the given probability.
    fn chance(&mut self, probability: f64) -> bool;
    /// Three independent normals.
    fn normal3(&mut self, deviation: f64) -> nalgebra::Vector3<f64>;
    /// A count with the given mean (Poisson, by multiplication of uniforms; Knuth 1969, 3.4.1).
    fn count(&mut self, mean: f64) -> usize;
}

impl Draw for ChaCha8Rng {
    fn normal(&mut self, deviation: f64) -> f64 {
        let z: f64 = self.sample(StandardNormal);
        z * deviation
    }

    fn between(&mut self, bounds: [f64; 2]) -> f64 {
        let u: f64 = self.random();
        bounds[0] + (bounds[1] - bounds[0]) * u
    }

    fn chance(&mut self, probability: f64) -> bool {
        let u: f64 = self.random();
        u < probability
    }

    fn normal3(&mut self, deviation: f64) -> nalgebra::Vector3<f64> {
        let x = self.normal(deviation);
        let y = self.normal(deviation);
        nalgebra::Vector3::new(x, y, self.normal(deviation))
    }

    fn count(&mut self, mean: f64) -> usize {
        let floor = (-mean.clamp(0.0, 500.0)).exp();
        let mut product: f64 = self.random();
        let mut n = 0;
        while product > floor && n < 10_000 {
            let u: f64 = self.random();
            product *= u;
            n += 1;
        }
        n
    }
}
