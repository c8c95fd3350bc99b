//! Which map fruitlet is which true fruitlet, by place.
//!
//! A pair is allowed where the centres lie within the gate of the true one: its radius, at least 12 mm. Of all sets of
//! pairs the largest is taken, among these the one of least total distance. A true fruitlet that nobody could expect
//! in the map (seen in fewer than two images) counts 5 mm further away, so that it does not take the pair of one that
//! was seen as well.
//!
//! The places of the truth are held to be all there is, but for what it is silent about: a map fruitlet without a pair is
//! false, unless labels show that it is an object without a place, or none of its body boxes is labelled. Then it counts
//! neither as right nor as wrong. (Where the truth has places and no labels at all, places alone judge.)

use crate::identity::{Identity, identities};
use crate::labels::Labels;
use crate::neighbours::Neighbours;
use crate::pairing::best_pairs;
use crate::shift::Moved;
use corymb_model::map::{CropMap, Fruitlet};
use corymb_model::truth::{TrueFruitlet, Truth};
use nalgebra::Vector3;

/// Least gate, metres.
const LEAST_GATE_M: f64 = 0.012;
/// What a true fruitlet that is not considered counts further away, metres.
const UNCONSIDERED_M: f64 = 0.005;
/// More than any sum of distances that one further pair could cost, metres.
const NO_PAIR_M: f64 = 1000.0;

/// The pairs.
pub(crate) struct Matching {
    /// True fruitlet of each map fruitlet that gets decisions.
    pub(crate) truth_of: Vec<Option<usize>>,
    /// Map fruitlet of each true one, among those that get decisions.
    pub(crate) map_of: Vec<Option<usize>>,
    /// Pairs (map, truth) of considered fruit, ascending by map position.
    pub(crate) both: Vec<(usize, usize)>,
    /// Whether each map fruitlet has a pair when all of them, also the doubtful, are matched.
    pub(crate) exists: Vec<bool>,
    /// Whether the truth is silent about each map fruitlet, should it have no pair.
    pub(crate) silent: Vec<bool>,
}

impl Matching {
    /// Matches the map, moved by `moved`, with the truth. O(n log n) but for crowded components.
    pub(crate) fn of(map: &CropMap, moved: &Moved, truth: &Truth, labels: &Labels<'_>) -> Self {
        let decided = match_those(Fruitlet::is_decided, map, moved, truth, labels);
        let every = match_those(|_| true, map, moved, truth, labels);
        let mut truth_of = vec![None; map.fruitlets.len()];
        let mut map_of = vec![None; truth.fruitlets.len()];
        for &(k, g) in &decided {
            truth_of[k] = Some(g);
            map_of[g] = Some(k);
        }
        let mut exists = vec![false; map.fruitlets.len()];
        for &(k, _) in &every {
            exists[k] = true;
        }
        let both = decided
            .into_iter()
            .filter(|&(_, g)| labels.considered(g))
            .collect();
        Self {
            truth_of,
            map_of,
            both,
            exists,
            silent: (map.fruitlets.iter().zip(identities(map, labels)))
                .map(|(fruitlet, identity)| is_silent(fruitlet, identity, truth, labels))
                .collect(),
        }
    }
}

fn is_silent(fruitlet: &Fruitlet, identity: Identity, truth: &Truth, labels: &Labels<'_>) -> bool {
    match identity {
        Identity::Object(g, _) => g >= truth.fruitlets.len(),
        Identity::Unlabelled => {
            let has_body_box = fruitlet.detections.iter().any(|d| d.1.is_body());
            has_body_box && !labels.places_alone()
        }
        Identity::Nothing => false,
    }
}

/// Pairs (map, truth) among the map fruitlets that `wanted` lets through, ascending.
fn match_those(
    wanted: impl Fn(&Fruitlet) -> bool,
    map: &CropMap,
    moved: &Moved,
    truth: &Truth,
    labels: &Labels<'_>,
) -> Vec<(usize, usize)> {
    let placed: Vec<(usize, Vector3<f64>)> =
        (map.fruitlets.iter().zip(&moved.fruitlet).enumerate())
            .filter(|(_, (fruitlet, _))| wanted(fruitlet))
            .map(|(k, (fruitlet, by))| (k, fruitlet.centre.xyz + by))
            .collect();
    let near = Neighbours::of(placed.iter().map(|(_, p)| p));
    let mut edges = Vec::new();
    for (g, fruit) in truth.fruitlets.iter().enumerate() {
        let penalty_m = if labels.considered(g) {
            0.0
        } else {
            UNCONSIDERED_M
        };
        for j in near.within(&fruit.centre.xyz, gate_m(fruit)) {
            edges.push((
                placed[j].0,
                g,
                (placed[j].1 - fruit.centre.xyz).norm() + penalty_m - NO_PAIR_M,
            ));
        }
    }
    best_pairs(&edges)
}

/// How far from the true centre a map fruitlet may lie, metres.
fn gate_m(fruit: &TrueFruitlet) -> f64 {
    LEAST_GATE_M.max(fruit.diameter_m / 2.0)
}
