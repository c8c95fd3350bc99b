//! Closest points and distances of points, segments, tapered limbs and boxes.
//!
//! Segments after Ericson, "Real-Time Collision Detection", 2005, sections 5.1.2 and 5.1.9.

use nalgebra::Vector3;

/// Squared length below which a segment counts as a point: 1e-12 m long.
const POINT_LENGTH2_M2: f64 = 1e-24;

/// The point of a segment that is nearest to something.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SegmentPoint {
    /// Where on the segment: 0 at its start, 1 at its end.
    pub share: f64,
    /// The point.
    pub closest: Vector3<f64>,
    /// How far away it is.
    pub distance_m: f64,
}

/// The nearest points of two segments.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SegmentPair {
    /// Where on the first segment, 0 to 1.
    pub share_a: f64,
    /// Where on the second segment, 0 to 1.
    pub share_b: f64,
    /// The point of the first.
    pub on_a: Vector3<f64>,
    /// The point of the second.
    pub on_b: Vector3<f64>,
    /// How far apart they are.
    pub distance_m: f64,
}

/// The point of a limb's axis that is nearest to something.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LimbPoint {
    /// The point of the axis.
    pub closest: Vector3<f64>,
    /// Distance to the axis.
    pub axis_distance_m: f64,
    /// Radius of the limb there.
    pub radius_m: f64,
    /// Length along the axis from the base.
    pub arc_m: f64,
    /// Which segment: it begins at this point of the polyline.
    pub segment_idx: usize,
    /// Where on the segment, 0 to 1.
    pub share: f64,
}

impl LimbPoint {
    /// Distance to the bark at that place, negative inside: the axis distance less the radius.
    #[must_use]
    pub fn surface_distance_m(&self) -> f64 {
        self.axis_distance_m - self.radius_m
    }
}

/// The point of the segment from `a` to `b` that is nearest to `p`.
#[must_use]
pub fn point_segment(p: &Vector3<f64>, a: &Vector3<f64>, b: &Vector3<f64>) -> SegmentPoint {
    let along = b - a;
    let length2 = along.norm_squared();
    let share = if length2 > POINT_LENGTH2_M2 {
        (along.dot(&(p - a)) / length2).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let closest = a + along * share;
    SegmentPoint {
        share,
        closest,
        distance_m: (p - closest).norm(),
    }
}

/// The nearest points of the segments `a0` to `a1` and `b0` to `b1`. Of parallel segments that run side by side one
/// pair of many.
#[must_use]
pub fn segment_segment(
    a0: &Vector3<f64>,
    a1: &Vector3<f64>,
    b0: &Vector3<f64>,
    b1: &Vector3<f64>,
) -> SegmentPair {
    let (da, db, between) = (a1 - a0, b1 - b0, a0 - b0);
    let (aa, bb, ab) = (da.norm_squared(), db.norm_squared(), da.dot(&db));
    let (ra, rb) = (da.dot(&between), db.dot(&between));
    let nearest_on_a = |share_b: f64| {
        if aa > POINT_LENGTH2_M2 {
            ((ab * share_b - ra) / aa).clamp(0.0, 1.0)
        } else {
            0.0
        }
    };
    let (share_a, share_b) = if bb <= POINT_LENGTH2_M2 {
        (nearest_on_a(0.0), 0.0)
    } else {
        // by cross products: the usual aa bb - ab^2 loses its digits for nearly parallel segments
        let across = da.cross(&db);
        let area2 = across.norm_squared();
        let free = if area2 > f64::EPSILON * f64::EPSILON * aa * bb {
            (db.cross(&between).dot(&across) / area2).clamp(0.0, 1.0)
        } else {
            0.0
        };
        let wanted = (ab * free + rb) / bb;
        if (0.0..=1.0).contains(&wanted) {
            (free, wanted)
        } else {
            let share_b = wanted.clamp(0.0, 1.0);
            (nearest_on_a(share_b), share_b)
        }
    };
    let (on_a, on_b) = (a0 + da * share_a, b0 + db * share_b);
    SegmentPair {
        share_a,
        share_b,
        on_a,
        on_b,
        distance_m: (on_a - on_b).norm(),
    }
}

/// The point of a limb's axis that is nearest to `p`; of equally near ones the one nearest the base.
///
/// `points` from base to tip, a radius for each; missing radii count as zero. `None` without points. O(points).
#[must_use]
pub fn point_limb(p: &Vector3<f64>, points: &[Vector3<f64>], radii_m: &[f64]) -> Option<LimbPoint> {
    let first = points.first()?;
    let radius_at = |i: usize| radii_m.get(i).copied().unwrap_or(0.0);
    let mut best = LimbPoint {
        closest: *first,
        axis_distance_m: (p - first).norm(),
        radius_m: radius_at(0),
        arc_m: 0.0,
        segment_idx: 0,
        share: 0.0,
    };
    let mut arc_m = 0.0;
    for (i, (a, b)) in points.iter().zip(points.iter().skip(1)).enumerate() {
        let at = point_segment(p, a, b);
        let length = (b - a).norm();
        if at.distance_m < best.axis_distance_m {
            best = LimbPoint {
                closest: at.closest,
                axis_distance_m: at.distance_m,
                radius_m: radius_at(i) * (1.0 - at.share) + radius_at(i + 1) * at.share,
                arc_m: arc_m + length * at.share,
                segment_idx: i,
                share: at.share,
            };
        }
        arc_m += length;
    }
    Some(best)
}

/// Length of a polyline.
#[must_use]
pub fn polyline_length(points: &[Vector3<f64>]) -> f64 {
    points
        .iter()
        .zip(points.iter().skip(1))
        .map(|(a, b)| (b - a).norm())
        .sum()
}

/// Distance of a point, given in the frame of a box, to its surface, negative inside. `size_m` are the full edge
/// lengths, the box's centre is the origin.
#[must_use]
pub fn point_box(p_in_box: &Vector3<f64>, size_m: &[f64; 3]) -> f64 {
    let beyond = p_in_box.abs() - Vector3::from(*size_m) * 0.5;
    beyond.sup(&Vector3::zeros()).norm() + beyond.max().min(0.0)
}

/// The point of a solid box that is nearest to a point, both in the frame of the box.
#[must_use]
pub fn closest_in_box(p_in_box: &Vector3<f64>, size_m: &[f64; 3]) -> Vector3<f64> {
    let half = Vector3::from(*size_m) * 0.5;
    p_in_box.sup(&-half).inf(&half)
}
