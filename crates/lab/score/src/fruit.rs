//! Fused fruitlets: which are there, where and how large.

use crate::case::Case;
use crate::figure::{Figure, Share, Spread};
use corymb_geometry::chi2::quantile;
use corymb_model::map::Fruitlet;
use corymb_model::truth::TrueFruitlet;
use nalgebra::{Matrix3, Matrix4, Vector4};
use serde::Serialize;

/// Fused fruitlets against truth. Considered fruit is that seen in at least two images.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FruitScores {
    /// Map fruitlets that are a considered true one.
    pub right: usize,
    /// Map fruitlets that are no true one.
    pub false_ones: usize,
    /// Considered true fruitlets that are not in the map.
    pub missed: usize,
    /// Map fruitlets that are a true one which is not considered: neither right nor wrong.
    pub not_considered: usize,
    /// Map fruitlets without a true one that the truth is silent about, because their boxes are not labelled or show an
    /// object without a place: neither right nor wrong.
    pub not_judged: usize,
    /// Right among right and false.
    pub precision: Share,
    /// Right among right and missed.
    pub recall: Share,
    /// Harmonic mean of precision and recall.
    pub f1: Figure,
    /// Distance of the centres.
    pub position_error_mm: Spread,
    /// Size of the difference of the diameters.
    pub diameter_error_mm: Spread,
    /// Mean of map diameter minus true diameter.
    pub diameter_bias_mm: Figure,
}

/// Scores the fused fruitlets.
pub(crate) fn fruit(case: &Case<'_>) -> FruitScores {
    let matched = case.matching.truth_of.iter().flatten().count();
    let considered: usize = case.clusters.considered.iter().map(Vec::len).sum();
    let right = case.matching.both.len();
    let false_ones = case.decided().filter(|&(k, _)| case.is_false(k)).count();
    let missed = considered - right;
    let none = "no considered fruitlet is matched";
    let errors = errors(case);
    let bias = Figure::ratio(
        errors.iter().map(|e| 2e3 * e.radius_m).sum(),
        errors.len() as f64,
        errors.len(),
        none,
    );
    let in_all = 2 * right + false_ones + missed;
    FruitScores {
        right,
        false_ones,
        missed,
        not_considered: matched - right,
        not_judged: case.decided().count() - matched - false_ones,
        precision: Share::new(
            right,
            right + false_ones,
            "the map has no fruitlet to judge",
        ),
        recall: Share::new(
            right,
            right + missed,
            "no true fruitlet is seen in two images",
        ),
        f1: Figure::ratio(
            2.0 * right as f64,
            in_all as f64,
            in_all - right,
            "neither map nor truth has fruit",
        ),
        position_error_mm: Spread::of(
            errors.iter().map(|e| 1e3 * e.centre_m().norm()).collect(),
            none,
        ),
        diameter_error_mm: Spread::of(
            errors.iter().map(|e| 2e3 * e.radius_m.abs()).collect(),
            none,
        ),
        diameter_bias_mm: bias,
    }
}

/// The errors of matched, considered fruit, in the order of the map.
pub(crate) fn errors(case: &Case<'_>) -> Vec<Errors> {
    case.pairs()
        .filter_map(|(k, f, t)| Errors::of(case, k, f, t))
        .collect()
}

/// What a matched map fruitlet is off by, and what it said about that.
pub(crate) struct Errors {
    centre_and_radius: Vector4<f64>,
    radius_m: f64,
    covariance_m2: Matrix4<f64>,
    pub(crate) shared_deviation_m: f64,
}

impl Errors {
    fn of(
        case: &Case<'_>,
        map_idx: usize,
        fruitlet: &Fruitlet,
        truth: &TrueFruitlet,
    ) -> Option<Self> {
        let e = case.centre(map_idx)? - truth.centre.xyz;
        let radius_m = (fruitlet.diameter_m - truth.diameter_m) / 2.0;
        Some(Self {
            centre_and_radius: Vector4::new(e.x, e.y, e.z, radius_m),
            radius_m,
            covariance_m2: fruitlet.covariance_m2,
            shared_deviation_m: fruitlet.shared_deviation_m,
        })
    }

    fn centre_m(&self) -> nalgebra::Vector3<f64> {
        self.centre_and_radius.xyz()
    }

    /// Whether the centre lies within the region of that content; `None` where the covariance is no covariance.
    pub(crate) fn inside_centre(&self, content: f64, shared_deviation_m: f64) -> Option<bool> {
        let own: Matrix3<f64> = self.covariance_m2.fixed_view::<3, 3>(0, 0).into_owned();
        let whole = own + Matrix3::identity() * shared_deviation_m.powi(2);
        let e = self.centre_m();
        Some(e.dot(&whole.cholesky()?.solve(&e)) <= quantile(content, 3))
    }

    /// The same for centre and radius together.
    pub(crate) fn inside_centre_and_radius(&self, content: f64) -> Option<bool> {
        let e = self.centre_and_radius;
        Some(e.dot(&self.covariance_m2.cholesky()?.solve(&e)) <= quantile(content, 4))
    }
}
