//! Bodies in cubes of space, so that an image looks only at those bodies that stand where it looks.

use nalgebra::Vector3;
use std::collections::BTreeMap;

/// Edge of a cube, metres: some dozen fruit, and small beside what an image shows.
const EDGE_M: f64 = 0.25;

type Key = [i32; 3];

/// A cube with bodies in it.
#[derive(Debug, Clone, Default)]
struct Cube {
    /// Farthest that any body in it reached from its centre when it was put here, metres.
    reach_m: f64,
    bodies: Vec<usize>,
}

/// Bodies by number, each in the cube that its centre lies in.
#[derive(Debug, Clone, Default)]
pub(crate) struct Cubes {
    cubes: BTreeMap<Key, Cube>,
    key_of: Vec<Key>,
}

impl Cubes {
    /// Bodies by centre and how far from it they reach, numbered as they come. O(n log n).
    pub(crate) fn of(bodies: impl Iterator<Item = (Vector3<f64>, f64)>) -> Self {
        let mut all = Self::default();
        for (centre, reach_m) in bodies {
            all.push(&centre, reach_m);
        }
        all
    }

    /// How many bodies there are.
    pub(crate) fn len(&self) -> usize {
        self.key_of.len()
    }

    /// Volume of all cubes with a body in them, cubic metres.
    pub(crate) fn volume_m3(&self) -> f64 {
        self.cubes.len() as f64 * EDGE_M.powi(3)
    }

    /// Puts in the body of the next number.
    pub(crate) fn push(&mut self, centre: &Vector3<f64>, reach_m: f64) {
        let (body, key) = (self.key_of.len(), key(centre));
        self.key_of.push(key);
        self.put(body, key, reach_m);
    }

    /// Puts a body where it is now.
    pub(crate) fn moved(&mut self, body: usize, centre: &Vector3<f64>, reach_m: f64) {
        let key = key(centre);
        if key != self.key_of[body]
            && let Some(cube) = self.cubes.get_mut(&self.key_of[body])
        {
            cube.bodies.retain(|&b| b != body);
            self.key_of[body] = key;
            self.put(body, key, reach_m);
        }
    }

    fn put(&mut self, body: usize, key: Key, reach_m: f64) {
        let cube = self.cubes.entry(key).or_default();
        cube.reach_m = cube.reach_m.max(reach_m);
        cube.bodies.push(body);
    }

    /// Bodies in the cubes of which `may` holds, ascending; it is asked with the centre and the radius of a sphere that
    /// holds all that they reach. O(cubes + bodies found).
    pub(crate) fn that(&self, may: impl Fn(&Vector3<f64>, f64) -> bool) -> Vec<usize> {
        let half_diagonal_m = 0.5 * EDGE_M * 3f64.sqrt();
        let mut out = Vec::new();
        for (key, cube) in &self.cubes {
            let centre = Vector3::from(key.map(|k| (f64::from(k) + 0.5) * EDGE_M));
            if may(&centre, half_diagonal_m + cube.reach_m) {
                out.extend_from_slice(&cube.bodies);
            }
        }
        out.sort_unstable();
        out
    }
}

fn key(centre: &Vector3<f64>) -> Key {
    // far out all share the last
    [centre.x, centre.y, centre.z].map(|v| (v / EDGE_M).floor().clamp(-1e6, 1e6) as i32)
}

#[cfg(test)]
mod tests {
    use super::Cubes;
    use nalgebra::Vector3;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn no_body_within_reach_is_passed_over(
            points in prop::collection::vec(prop::array::uniform3(-2.0..2.0f64), 1..60),
            to in prop::collection::vec(prop::array::uniform3(-2.0..2.0f64), 60),
            at in prop::array::uniform3(-2.0..2.0f64),
            radius in 0.0..1.0f64,
        ) {
            let reach = 0.01;
            let mut now: Vec<Vector3<f64>> = points.iter().map(|&p| p.into()).collect();
            let mut cubes = Cubes::of(now.iter().map(|p| (*p, reach)));
            for (k, p) in to.iter().enumerate().take(now.len()).step_by(3) {
                now[k] = (*p).into();
                cubes.moved(k, &now[k], reach);
            }
            let at = Vector3::from(at);
            let found = cubes.that(|c, r| (c - at).norm() < radius + r);
            prop_assert!(found.is_sorted());
            for (k, p) in now.iter().enumerate() {
                let within = (p - at).norm() < radius;
                prop_assert!(!within || found.binary_search(&k).is_ok());
            }
            prop_assert!(found.windows(2).all(|w| w[0] < w[1]));
        }
    }
}
