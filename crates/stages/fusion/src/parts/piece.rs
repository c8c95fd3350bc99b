//! A stem in space against a box: what the four edges say.
//!
//! A stem is an arc between two points: the fruit's weight bends it, so it runs above its chord by a share of its
//! length (`sag`, learned from the run), more the less it is upright. As a quadratic curve with one control point its
//! box in an image has a closed form, which settles the question of the diagonal: an arc in space has one.
//!
//! Something in front of a stem hides one end or both: two edges move *inwards* together, as far as the visible rest
//! of the arc reaches. So each end is either seen, with Gaussian noise on its two edges, or hidden over some length,
//! with an exponential tail along the chord and Gaussian noise across it.

use super::PartsConfig;
use super::sights::{Image, PartBox, Sight};
use nalgebra::{Vector2, Vector3};

/// Standard deviations beyond the outline where an edge stops counting as noise.
const OUTSIDE: f64 = 3.5;
/// Range of a chance edge, metres: where an edge of a box that shows another stem may lie.
const CHANCE_RANGE_M: f64 = 0.03;

/// A stem as offsets from its body's centre.
#[derive(Clone, Copy)]
pub(super) struct Piece {
    /// Where it meets the fruit.
    pub(super) top: Vector3<f64>,
    /// Its far end.
    pub(super) far: Vector3<f64>,
    /// Control point of the arc.
    pub(super) control: Vector3<f64>,
}

impl Piece {
    /// The arc between two points.
    pub(super) fn new(top: Vector3<f64>, far: Vector3<f64>, sag: f64) -> Piece {
        let chord = top - far;
        // upwards across the chord, times its length
        let length = chord.norm().max(1e-9);
        let rise = Vector3::z() * length - chord * (chord.z / length);
        Piece {
            top,
            far,
            control: 0.5 * (top + far) + rise * (2.0 * sag),
        }
    }

    /// The arc to a far end when only that is known: the fruit sits straight on the end of its stem.
    pub(super) fn towards(
        far: Vector3<f64>,
        radius_m: f64,
        sag: f64,
        config: &PartsConfig,
    ) -> Piece {
        let reach = radius_m * config.length_over_diameter;
        let mut axis = -far / far.norm().max(1e-9);
        for _ in 0..2 {
            let along = (axis * -reach - far).try_normalize(1e-9).unwrap_or(axis);
            axis = leaving(&along, sag);
        }
        Piece::new(axis * -reach, far, sag)
    }

    /// Distance between its ends, metres.
    pub(super) fn length_m(&self) -> f64 {
        (self.top - self.far).norm()
    }

    /// Its three points on the plane z = 1 of a sight.
    pub(super) fn see(&self, sight: &Sight, image: &Image) -> [Vector2<f64>; 3] {
        [
            sight.see(image, &self.top),
            sight.see(image, &self.control),
            sight.see(image, &self.far),
        ]
    }
}

/// Direction in which an arc with chord direction `along` (far end to fruit, unit) arrives at the fruit.
pub(super) fn leaving(along: &Vector3<f64>, sag: f64) -> Vector3<f64> {
    let rise = Vector3::z() - along * along.z;
    (along - rise * (4.0 * sag)).normalize()
}

/// The edge model of one sight.
#[derive(Clone, Copy)]
pub(super) struct EdgeModel {
    /// Half of a stem's thickness on the plane z = 1.
    pub(super) margin: f64,
    /// Standard deviation of an edge on the plane z = 1.
    pub(super) sigma: f64,
    /// One over it.
    per_sigma: f64,
    /// Loss of an end for being hidden at all.
    hidden: f64,
    /// Further loss a standard deviation hidden.
    slope: f64,
    /// What four perfect edges are worth over four chance ones, nats.
    worth: f64,
    /// A box that reaches this far beyond an arc has no gain.
    hopeless: f64,
}

/// One end of an arc: how far its two edges lie inside the predicted ones, and how they would move if the end were
/// hidden, all in standard deviations.
#[derive(Clone, Copy, Default)]
pub(super) struct End {
    inwards: Vector2<f64>,
    run: Vector2<f64>,
}

/// How an end is explained.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum EndState {
    /// In view.
    Seen,
    /// Something covers it.
    Hidden,
}

impl EdgeModel {
    /// The model at a sight's distance; `bow_m` is what the arc leaves of the stem's shape.
    pub(super) fn new(sight: &Sight, image: &Image, bow_m: f64, config: &PartsConfig) -> EdgeModel {
        let z = sight.p_in_camera.z;
        let bow = bow_m / z;
        let sigma = (image.edge.powi(2) + sight.local.powi(2) + bow * bow)
            .sqrt()
            .max(1e-9);
        let tail = config.hidden_length_m / z;
        let root = (2.0 * std::f64::consts::PI).sqrt();
        let share = config.hidden_share.clamp(1e-6, 0.9);
        let hidden = ((1.0 - share) / share * tail / (sigma * root))
            .max(1.0)
            .ln();
        let worth = 4.0 * (CHANCE_RANGE_M / z / (sigma * root)).max(1.0).ln();
        let margin = config.stem_half_width_m / z;
        // where the linear tail of one edge alone uses up what the others are worth
        let hopeless = margin + sigma * (worth / OUTSIDE + 0.5 * OUTSIDE).max(OUTSIDE);
        EdgeModel {
            margin,
            sigma,
            per_sigma: 1.0 / sigma,
            hidden,
            slope: sigma / tail,
            worth,
            hopeless,
        }
    }

    /// The two ends (at the fruit, far) of an arc seen at `points` against a box.
    pub(super) fn ends(&self, [p, c, q]: &[Vector2<f64>; 3], seen: &PartBox) -> [End; 2] {
        let mut ends = [End::default(); 2];
        let scale = self.per_sigma;
        for k in 0..2 {
            let (low, high) = span(p[k], c[k], q[k]);
            let from_low = (seen.low[k] - low + self.margin) * scale;
            let from_high = (high + self.margin - seen.high[k]) * scale;
            // the fruit's end owns the edge on its side
            let run = (q[k] - p[k]).abs() * scale;
            let (least, most) = (p[k].min(q[k]), p[k].max(q[k]));
            let low_edge = edge(from_low, low < least, run, seen.low_cut[k]);
            let high_edge = edge(from_high, high > most, run, seen.high_cut[k]);
            let (fruit, far) = if p[k] <= q[k] { (0, 1) } else { (1, 0) };
            (ends[fruit].inwards[k], ends[fruit].run[k]) = low_edge;
            (ends[far].inwards[k], ends[far].run[k]) = high_edge;
        }
        ends
    }

    /// Log-likelihood of the box as the image of an arc, over that of a chance box.
    pub(super) fn gain(&self, points: &[Vector2<f64>; 3], seen: &PartBox) -> f64 {
        let [p, c, q] = points;
        let beyond = |k: usize| {
            let low = p[k].min(c[k]).min(q[k]);
            let high = p[k].max(c[k]).max(q[k]);
            (low - seen.low[k]).max(seen.high[k] - high)
        };
        if beyond(0) > self.hopeless || beyond(1) > self.hopeless {
            return -self.worth;
        }
        let [a, b] = self.ends(points, seen);
        let blind = seen
            .low_cut
            .iter()
            .chain(&seen.high_cut)
            .filter(|c| **c)
            .count();
        // four at most
        let worth = self.worth * (1.0 - 0.25 * blind as f64);
        worth - self.state(&a).1 - self.state(&b).1
    }

    /// The better explanation of an end, and its loss.
    pub(super) fn state(&self, end: &End) -> (EndState, f64) {
        let seen = outside(end.inwards.x).0 + outside(end.inwards.y).0;
        if seen <= self.hidden {
            return (EndState::Seen, seen);
        }
        let (along, across) = end.turned();
        let hidden = self.hidden + self.slope * along.max(0.0) + outside(-across.abs()).0;
        if along > 0.0 && hidden < seen {
            (EndState::Hidden, hidden)
        } else {
            (EndState::Seen, seen)
        }
    }

    /// An end as two residuals with weights, explained as `state` says.
    pub(super) fn residuals(&self, end: &End, state: EndState) -> [(f64, f64); 2] {
        match state {
            EndState::Seen => [end.inwards.x, end.inwards.y].map(|e| (e, outside(e).1)),
            EndState::Hidden => {
                let (along, across) = end.turned();
                [
                    (along, (self.slope / along.max(1e-6)).min(1.0)),
                    (across, outside(-across.abs()).1),
                ]
            }
        }
    }
}

impl End {
    /// Its edges' offset along the chord (inwards) and across it.
    fn turned(&self) -> (f64, f64) {
        let run = self.run / self.run.norm().max(1e-9);
        (
            self.inwards.dot(&run),
            self.inwards.x * run.y - self.inwards.y * run.x,
        )
    }
}

/// An edge's offset and run: an edge that the arc's middle makes stays when an end hides, and one at the image's border
/// says nothing about what lies beyond it.
fn edge(inwards: f64, of_middle: bool, run: f64, cut: bool) -> (f64, f64) {
    if cut && inwards > 0.0 {
        (0.0, 0.0)
    } else {
        (inwards, if of_middle { 0.0 } else { run })
    }
}

/// Loss of a Gaussian residual with a linear tail outwards, and its weight.
fn outside(inwards: f64) -> (f64, f64) {
    if inwards < -OUTSIDE {
        (OUTSIDE * (-inwards - 0.5 * OUTSIDE), OUTSIDE / -inwards)
    } else {
        (0.5 * inwards * inwards, 1.0)
    }
}

/// Least and largest coordinate of a quadratic curve with ends `p`, `q` and control point `c`.
fn span(p: f64, c: f64, q: f64) -> (f64, f64) {
    let (low, high) = (p.min(q), p.max(q));
    if c >= low && c <= high {
        return (low, high);
    }
    let turn = p - (p - c) * (p - c) / (p - 2.0 * c + q);
    (low.min(turn), high.max(turn))
}

#[cfg(test)]
mod tests {
    use super::{Piece, leaving, span};
    use nalgebra::Vector3;
    use proptest::prelude::*;

    fn on_curve(p: f64, c: f64, q: f64, t: f64) -> f64 {
        (1.0 - t).powi(2) * p + 2.0 * t * (1.0 - t) * c + t * t * q
    }

    proptest! {
        #[test]
        fn the_span_of_a_curve_is_that_of_its_points(p in -1.0..1.0f64, c in -2.0..2.0f64, q in -1.0..1.0f64) {
            let (low, high) = span(p, c, q);
            let points: Vec<f64> = (0..=2000).map(|k| on_curve(p, c, q, f64::from(k) / 2000.0)).collect();
            let least = points.iter().copied().fold(f64::INFINITY, f64::min);
            let most = points.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            prop_assert!(low <= least + 1e-12 && high >= most - 1e-12);
            prop_assert!((low - least).abs() < 1e-6 && (high - most).abs() < 1e-6);
        }

        #[test]
        fn an_arc_arrives_as_leaving_says(x in -1.0..1.0f64, y in -1.0..1.0f64, z in -1.0..1.0f64, sag in 0.0..0.1f64) {
            let chord = Vector3::new(x, y, z);
            prop_assume!(chord.norm() > 0.1);
            let piece = Piece::new(chord, Vector3::zeros(), sag);
            // the tangent of a quadratic curve at its end points from the control point
            let tangent = (piece.top - piece.control).normalize();
            prop_assert!((tangent - leaving(&chord.normalize(), sag)).norm() < 1e-9);
        }
    }

    #[test]
    fn the_middle_of_an_arc_stands_above_its_chord_by_the_sag() {
        let piece = Piece::new(Vector3::new(0.03, 0.0, 0.0), Vector3::zeros(), 0.05);
        let middle = 0.25 * piece.top + 0.5 * piece.control + 0.25 * piece.far;
        assert!((middle - Vector3::new(0.015, 0.0, 0.0015)).norm() < 1e-12);
    }
}
