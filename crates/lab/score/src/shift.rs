//! The slow common shift: what a map is off by as a whole, place by place.
//!
//! A slow drift of the poses moves all fruit of a neighbourhood alike. No estimator can see it in the boxes, and a
//! machine that finds its place again before it works does not suffer from it, so figures are given with it and
//! without it. Around each place it is estimated as the median, per axis, of the errors of the nearest *other* map
//! fruit, whose true identity the labels of their boxes tell: never from the distances that are then judged.

use crate::figure::median;
use crate::labels::{Label, Labels};
use crate::neighbours::Neighbours;
use corymb_model::map::{CropMap, Fruitlet};
use corymb_model::truth::Truth;
use nalgebra::Vector3;
use std::collections::BTreeMap;

/// Neighbours whose errors are looked at: about three clusters, so that one wrong cluster cannot move the median.
const NEIGHBOURS: usize = 12;
/// Fewest identified fruit from which a shift is estimated.
const LEAST_FRUIT: usize = 5;
/// An error larger than this is a mistaken identity, not a shift, metres.
const LARGEST_ERROR_M: f64 = 0.15;

/// The shift of a map.
pub(crate) struct CommonShift {
    near: Neighbours,
    owner: Vec<usize>,
    /// Truth minus map, metres.
    error: Vec<Vector3<f64>>,
}

impl CommonShift {
    /// Estimates the shift; an error says why that cannot be. O(n log n).
    pub(crate) fn of(map: &CropMap, truth: &Truth, labels: &Labels<'_>) -> Result<Self, String> {
        let (mut at, mut owner, mut error) = (Vec::new(), Vec::new(), Vec::new());
        for (k, fruitlet) in map.fruitlets.iter().enumerate() {
            let Some(true_fruit) = identity(fruitlet, labels).and_then(|g| truth.fruitlets.get(g))
            else {
                continue;
            };
            let off = true_fruit.centre.xyz - fruitlet.centre.xyz;
            if off.norm() < LARGEST_ERROR_M {
                at.push(fruitlet.centre.xyz);
                owner.push(k);
                error.push(off);
            }
        }
        if at.len() < LEAST_FRUIT {
            let got = at.len();
            return Err(format!(
                "{got} map fruit can be told by the labels of their boxes, {LEAST_FRUIT} are needed"
            ));
        }
        Ok(Self {
            near: Neighbours::of(&at),
            owner,
            error,
        })
    }

    /// What to add to a place of the map, without the error of the map fruitlet `own` itself.
    pub(crate) fn at(&self, p: &Vector3<f64>, own: Option<usize>) -> Vector3<f64> {
        let mut near = self.near.nearest(p, NEIGHBOURS + 1);
        near.retain(|&k| own.is_none() || self.owner.get(k).copied() != own);
        near.truncate(NEIGHBOURS);
        let axis = |i: usize| {
            median(
                near.iter()
                    .filter_map(|&k| self.error.get(k))
                    .map(|e| e[i])
                    .collect(),
            )
        };
        Vector3::from_fn(|i, _| axis(i).unwrap_or(0.0))
    }

    /// Sizes of the errors from which the shift is taken, metres.
    pub(crate) fn error_sizes_m(&self) -> impl Iterator<Item = f64> + '_ {
        self.error.iter().map(Vector3::norm)
    }
}

/// The true fruitlet that more than half of a map fruitlet's body boxes show (of those that show any).
fn identity(fruitlet: &Fruitlet, labels: &Labels<'_>) -> Option<usize> {
    let mut votes = BTreeMap::<usize, usize>::new();
    for &(at, class) in &fruitlet.detections {
        if let (true, Label::Shows(g)) = (class.is_body(), labels.label(at)) {
            *votes.entry(g).or_default() += 1;
        }
    }
    let all: usize = votes.values().sum();
    votes
        .into_iter()
        .find(|&(_, n)| 2 * n > all)
        .map(|(g, _)| g)
}

/// How far each thing of the map is moved before it is judged; all zero for the absolute figures.
pub(crate) struct Moved {
    /// One a map fruitlet, metres.
    pub(crate) fruitlet: Vec<Vector3<f64>>,
    /// One a map cluster, metres.
    pub(crate) cluster: Vec<Vector3<f64>>,
}

impl Moved {
    /// Nothing is moved.
    pub(crate) fn nothing(map: &CropMap) -> Self {
        Self {
            fruitlet: vec![Vector3::zeros(); map.fruitlets.len()],
            cluster: vec![Vector3::zeros(); map.clusters.len()],
        }
    }

    /// Everything is moved by the shift at its place.
    pub(crate) fn by(shift: &CommonShift, map: &CropMap) -> Self {
        let fruitlet = |(k, f): (usize, &Fruitlet)| shift.at(&f.centre.xyz, Some(k));
        Self {
            fruitlet: map.fruitlets.iter().enumerate().map(fruitlet).collect(),
            cluster: map
                .clusters
                .iter()
                .map(|c| shift.at(&c.spur.xyz, None))
                .collect(),
        }
    }
}
