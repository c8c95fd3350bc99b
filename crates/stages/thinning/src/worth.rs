//! What a kept fruit is worth.
//!
//! Worth = king x king probability + diameter x (its diameter / the tree's mean) + reach x the probability that the plan
//! which leaves it succeeds. The mean is over the fruit of the tree that gets a decision.

use crate::tree::TreeGroup;
use crate::{Config, Input};
use corymb_model::policy::Prefer;

/// Largest worth in steps: a thousand million fruit of it still fit into 64 bits.
const MOST_STEPS: f64 = 1e9;

/// Worth of every fruitlet, but for reach, which depends on the way.
#[derive(Debug)]
pub(crate) struct Worths {
    /// King term of each fruitlet.
    pub(crate) king: Vec<f64>,
    /// Diameter term of each fruitlet.
    pub(crate) size: Vec<f64>,
    /// Mean diameter, metres, of the tree of each fruitlet; 0 where it has no decision.
    pub(crate) mean_diameter_m: Vec<f64>,
    /// Weights.
    pub(crate) prefer: Prefer,
    step: f64,
}

impl Worths {
    /// O(fruit).
    pub(crate) fn of(input: &Input<'_>, trees: &[TreeGroup], config: &Config) -> Self {
        let fruitlets = &input.map.fruitlets;
        let prefer = input.policy.prefer;
        let mut mean_diameter_m = vec![0.0; fruitlets.len()];
        for tree in trees {
            // by id, so that the sum does not depend on the order of the input
            let sum_m: f64 = tree.fruit.iter().map(|&i| fruitlets[i].diameter_m).sum();
            // counts of fruit are far below 2^52
            let mean_m = sum_m / tree.fruit.len().max(1) as f64;
            for &i in &tree.fruit {
                mean_diameter_m[i] = mean_m;
            }
        }
        let king = fruitlets
            .iter()
            .map(|f| prefer.king * f.king_probability)
            .collect();
        let relative = fruitlets.iter().zip(&mean_diameter_m);
        let relative = relative.map(|(f, &mean_m)| {
            if mean_m > 0.0 {
                f.diameter_m / mean_m
            } else {
                0.0
            }
        });
        let size = relative.map(|share| prefer.diameter * share).collect();
        Self {
            king,
            size,
            mean_diameter_m,
            prefer,
            step: config.worth_step,
        }
    }

    /// King and diameter terms together.
    pub(crate) fn base(&self, fruitlet: usize) -> f64 {
        self.king[fruitlet] + self.size[fruitlet]
    }

    /// The whole worth where the plan that leaves it succeeds with `success`.
    pub(crate) fn whole(&self, fruitlet: usize, success: f64) -> f64 {
        self.base(fruitlet) + self.prefer.reach * success
    }

    /// The whole worth in steps.
    pub(crate) fn steps(&self, fruitlet: usize, success: f64) -> i64 {
        let most = MOST_STEPS / self.step.clamp(1e-9, 1.0);
        let steps = (self.whole(fruitlet, success) / self.step)
            .round()
            .clamp(-most, most);
        // clamped; NaN becomes 0
        steps as i64
    }
}
