//! How bodies hang on a spur.

use super::body::TrueBody;
use super::neighbours::Neighbours;
use super::polyline::{Place, across};
use crate::spec::{CropSpec, SizeSpec};
use crate::streams::Draw;
use corymb_model::frames::Orchard;
use corymb_model::{Direction, Point};
use nalgebra::Vector3;
use rand_chacha::ChaCha8Rng;

/// Points of a stem.
const STEM_POINTS: usize = 9;
/// Attempts at finding room for a body.
const ATTEMPTS: usize = 150;
/// Spread of stem directions about the spur's, king and others (of a unit vector's components).
const SPREAD: [f64; 2] = [0.25, 0.6];

/// A spur with the frame in which its bodies are named.
pub(super) struct Spur {
    pub(super) tree_idx: usize,
    pub(super) limb_idx: usize,
    pub(super) along_limb_m: f64,
    pub(super) cluster_idx: usize,
    pub(super) cluster_id: String,
    pub(super) p: Vector3<f64>,
    pub(super) outward: Vector3<f64>,
}

/// Where the stems begin and which way the spur points, on a limb at `place`.
pub(super) fn spur_at(
    spec: &CropSpec,
    place: &Place,
    rng: &mut ChaCha8Rng,
) -> (Vector3<f64>, Vector3<f64>) {
    let (u, v) = across(&place.tangent);
    let turn = rng.between([0.0, std::f64::consts::TAU]);
    let radial = u * turn.cos() + v * turn.sin();
    let outward = (radial + rng.normal3(0.15)).normalize();
    let length_m = 1e-3 * rng.between(spec.spur_length_mm);
    (
        place.p + radial * place.radius_m + outward * length_m,
        outward,
    )
}

/// Number of bodies of a cluster.
pub(super) fn size(spec: &CropSpec, rng: &mut ChaCha8Rng) -> usize {
    let total: f64 = spec.cluster_size_weights.iter().sum();
    let mut left = rng.between([0.0, total]);
    for (k, w) in spec.cluster_size_weights.iter().enumerate() {
        if left < *w {
            return k + 1;
        }
        left -= w;
    }
    1
}

/// Hangs up to `count` bodies on the spur; fewer where there is no room.
pub(super) fn hang(
    spec: &CropSpec,
    sizes: &SizeSpec,
    spur: &Spur,
    count: usize,
    neighbours: &mut Neighbours,
    bodies: &mut Vec<TrueBody>,
    rng: &mut ChaCha8Rng,
) {
    let with_king = rng.chance(spec.king_share);
    let between = spec.diameter_between_clusters;
    let mean_mm = sizes.mean_mm + rng.normal(sizes.deviation_mm * between.sqrt());
    let of_cluster = SizeSpec { mean_mm, ..*sizes };
    for k in 0..count {
        let drawn = Sizes::draw(spec, &of_cluster, with_king && k == 0, rng);
        let room = (0..ATTEMPTS).find_map(|_| {
            let body = attempt(spec, spur, &drawn, rng)?;
            let gap_m = 1e-3 * spec.least_gap_mm;
            neighbours
                .has_room(&body, bodies, gap_m, spec.kind.has_stem())
                .then_some(body)
        });
        if let Some(mut body) = room {
            body.id = Some(format!(
                "{}-{}",
                spur.cluster_id,
                (b'a' + (k % 26) as u8) as char
            ));
            neighbours.add(&body, bodies.len());
            bodies.push(body);
        }
    }
}

/// What is drawn of a body before it is placed.
struct Sizes {
    king: bool,
    diameter_m: f64,
    length_ratio: f64,
    stem_m: f64,
}

impl Sizes {
    fn draw(spec: &CropSpec, of: &SizeSpec, king: bool, rng: &mut ChaCha8Rng) -> Self {
        let within = 1.0 - spec.diameter_between_clusters;
        let own_mm = of.mean_mm + rng.normal(of.deviation_mm * within.sqrt());
        let ratio = spec.king_diameter_ratio + rng.normal(spec.king_diameter_deviation);
        let [low, high] = of.bounds_mm;
        let diameter_mm = (if king { own_mm * ratio } else { own_mm }).clamp(low, high);
        let stem_mean = spec.stem_mean_mm * if king { spec.king_stem_ratio } else { 1.0 };
        let stem_mm = stem_mean + rng.normal(spec.stem_deviation_mm);
        Self {
            king,
            diameter_m: 1e-3 * diameter_mm,
            length_ratio: rng.between(spec.length_ratio),
            stem_m: 1e-3 * stem_mm.clamp(spec.stem_bounds_mm[0], spec.stem_bounds_mm[1]),
        }
    }
}

/// One way for a body to hang.
fn attempt(spec: &CropSpec, spur: &Spur, sizes: &Sizes, rng: &mut ChaCha8Rng) -> Option<TrueBody> {
    let spread = if !spec.kind.has_stem() {
        0.1
    } else {
        SPREAD[usize::from(!sizes.king)]
    };
    let start = Direction::<Orchard>::of(spur.outward + rng.normal3(spread))?;
    let end = Direction::<Orchard>::of(start.xyz * (1.0 - spec.hang) - Vector3::z() * spec.hang)?;
    let stem = stem(
        &spur.p,
        &start.xyz,
        &end.xyz,
        sizes.stem_m,
        spec.stem_bow,
        rng,
    );
    let top = *stem.last()?;
    let before = *stem.get(stem.len() - 2)?;
    let wry = rng.normal3(spec.axis_wry_deg.to_radians());
    let axis = Direction::of((top - before).normalize() + wry)?;
    let half_m = 0.5 * sizes.diameter_m * sizes.length_ratio;
    Some(TrueBody {
        id: None,
        class: spec.kind.class(sizes.king),
        tree_idx: spur.tree_idx,
        limb_idx: spur.limb_idx,
        along_limb_m: spur.along_limb_m,
        cluster_idx: spur.cluster_idx,
        king: sizes.king,
        centre: Point::from_vector(top + axis.xyz * half_m),
        diameter_m: sizes.diameter_m,
        length_ratio: sizes.length_ratio,
        axis,
        stem: stem.into_iter().map(Point::from_vector).collect(),
        damaged: false,
    })
}

/// A bent stem: a quadratic Bezier curve scaled to its length, leaving along `start` and turning towards `end`.
fn stem(
    from: &Vector3<f64>,
    start: &Vector3<f64>,
    end: &Vector3<f64>,
    length_m: f64,
    bow: f64,
    rng: &mut ChaCha8Rng,
) -> Vec<Vector3<f64>> {
    let middle = start * 0.5 + rng.normal3(bow);
    let tip = middle + end * 0.5;
    let curve = |t: f64| middle * (2.0 * t * (1.0 - t)) + tip * (t * t);
    let unit: Vec<Vector3<f64>> = (0..STEM_POINTS)
        .map(|k| curve(k as f64 / (STEM_POINTS - 1) as f64))
        .collect();
    let drawn: f64 = unit.windows(2).map(|p| (p[1] - p[0]).norm()).sum();
    unit.into_iter()
        .map(|p| from + p * (length_m / drawn))
        .collect()
}
