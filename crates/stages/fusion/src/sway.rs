//! Motion that neighbouring bodies share at one moment: wind moves a spur with all that hangs on it.
//!
//! A displacement field across the line of sight, Gaussian with covariance `v exp(-d^2 / 2 l^2)` between bodies a
//! distance d apart, is interpolated from the residuals of the neighbours that an image shows (simple kriging; Rasmussen
//! and Williams, Gaussian Processes for Machine Learning, 2006, eq. 2.25 and 2.26). As in coherent point drift
//! (Myronenko and Song, Point set registration, IEEE TPAMI 32(12), 2010) assignment and field are found in turns.

use crate::bodies::{Landmark, Placed};
use crate::edge_model::{EdgeModel, Stir};
use crate::nodes::Stand;
use crate::observe::Observations;
use crate::predict::{Innovation, Seen};
use crate::register::OCCLUSION_SHIFT;
use nalgebra::{SMatrix, SVector, Vector2, Vector3};

/// Length over which bodies move alike: fruit of one spur hang within about this of each other.
const REACH_M: f64 = 0.04;
/// Turns of assignment and displacement.
pub(crate) const SWAY_TURNS: usize = 2;
/// Neighbours that a displacement is taken from.
const MOST_NEIGHBOURS: usize = 8;
/// Distance in reaches beyond which a body says nothing of another.
const FAR: f64 = 2.5;
/// Residuals beyond this many standard deviations are cut to it: some matches are wrong.
const CLIP: f64 = 3.0;
/// Pairs from which a common motion is believed.
const FEWEST_PAIRS: usize = 200;
/// A common share of the motion below this is not worth the turns.
const LEAST_SHARE: f64 = 0.3;
/// Nor is one whose variance is less than this share of what a residual errs by anyhow.
const LEAST_WORTH: f64 = 0.1;

/// What the run says about common motion.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Sway {
    /// Share of the motion's variance that neighbours have in common, 0 to 1.
    pub(crate) share: f64,
}

/// How a body is displaced in an image (camera frame, metres), and the motion that this leaves.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Displaced {
    pub(crate) by: Vector3<f64>,
    pub(crate) left: Stir,
}

/// A residual of a matched body across the line of sight, along the axes of its image.
struct Residual {
    c: Vector3<f64>,
    y: Vector2<f64>,
    noise_m2: f64,
}

impl Sway {
    /// From the products of neighbours' residuals in the same image. O(boxes times boxes an image).
    pub(crate) fn learn(
        obs: &Observations,
        stand: &Stand,
        landmarks: &[Landmark],
        model: &EdgeModel,
    ) -> Self {
        let mut of_frame: Vec<Vec<Residual>> =
            (0..stand.placed.len()).map(|_| Vec::new()).collect();
        for l in landmarks.iter().filter(|l| l.boxes.len() > 3) {
            for &i in &l.boxes {
                let frame = obs.boxes[i].frame;
                if let Some(seen) = Seen::new(l, &stand.placed[frame]) {
                    let axes = Axes::new(&stand.placed[frame]);
                    of_frame[frame].push(residual(obs, i, &seen, model, &axes));
                }
            }
        }
        let noises: Vec<f64> = of_frame.iter().flatten().map(|r| r.noise_m2).collect();
        let (mut products, mut kernels, mut pairs) = (0.0, 0.0, 0);
        for (here, placed) in of_frame.iter_mut().zip(&stand.placed) {
            let motion_m2 = Axes::new(placed).variances(model.stir).sum();
            here.sort_by(|a, b| a.c.x.total_cmp(&b.c.x));
            for (k, a) in here.iter().enumerate() {
                let within = |b: &&Residual| b.c.x - a.c.x <= FAR * REACH_M;
                for b in here[k + 1..].iter().take_while(within) {
                    let kernel = kernel((a.c - b.c).norm_squared());
                    if kernel > 0.0 {
                        pairs += 1;
                        products += kernel * a.y.dot(&b.y);
                        kernels += kernel * kernel * motion_m2;
                    }
                }
            }
        }
        if pairs < FEWEST_PAIRS || kernels <= 0.0 {
            return Self::default();
        }
        let share = (products / kernels).clamp(0.0, 0.95);
        let noise_m2 = noises.iter().sum::<f64>() / noises.len().max(1) as f64;
        if share * model.stir.most_m().powi(2) < LEAST_WORTH * noise_m2 {
            return Self::default();
        }
        Self { share }
    }

    /// Whether there is anything to gain.
    pub(crate) fn matters(self) -> bool {
        self.share >= LEAST_SHARE
    }

    /// The displacement of every body of an image from the matched boxes of its neighbours, never from its own.
    pub(crate) fn displaced(
        self,
        obs: &Observations,
        seen: &[Seen],
        matched: &[Option<usize>],
        model: &EdgeModel,
        placed: &Placed,
    ) -> Vec<Displaced> {
        let axes = Axes::new(placed);
        let own = self.own(model);
        let residuals: Vec<Option<Residual>> = seen
            .iter()
            .zip(matched)
            .map(|(s, m)| m.map(|i| residual(obs, i, s, &own, &axes)))
            .collect();
        let field = Field {
            residuals: &residuals,
            common: model.stir.scaled(self.share),
            own: own.stir,
            axes,
        };
        let order = across(seen);
        let mut out = vec![field.nothing(); seen.len()];
        for (place, &k) in order.iter().enumerate() {
            let near = field.nearest(seen, &order, place);
            out[k] = field.displaced(&near);
        }
        out
    }

    /// Tells every box how far the common motion takes its body off the planes of its edges.
    pub(crate) fn set(
        self,
        obs: &mut Observations,
        stand: &Stand,
        landmarks: &[Landmark],
        model: &EdgeModel,
    ) {
        for b in &mut obs.boxes {
            b.swayed_m = [0.0; 4];
        }
        if !self.matters() {
            return;
        }
        let mut of_frame: Vec<(Vec<Seen>, Vec<Option<usize>>)> =
            vec![Default::default(); stand.placed.len()];
        for l in landmarks {
            for &i in &l.boxes {
                let frame = obs.boxes[i].frame;
                if let Some(seen) = Seen::new(l, &stand.placed[frame]) {
                    of_frame[frame].0.push(seen);
                    of_frame[frame].1.push(Some(i));
                }
            }
        }
        for ((seen, matched), placed) in of_frame.iter().zip(&stand.placed) {
            let displaced = self.displaced(obs, seen, matched, model, placed);
            for (d, i) in displaced.iter().zip(matched.iter().flatten()) {
                obs.boxes[*i].swayed_m = obs.boxes[*i].normals.map(|n| n.dot(&d.by));
            }
        }
    }

    /// The edge model without the common motion.
    fn own(self, model: &EdgeModel) -> EdgeModel {
        EdgeModel {
            stir: model.stir.scaled(1.0 - self.share),
            ..*model
        }
    }
}

/// Axes of an image across the line of sight: level, and as upright as the image lets it be.
#[derive(Debug, Clone, Copy)]
struct Axes {
    upright: Vector2<f64>,
    /// Squared cosine of the upright axis with the plumb line.
    plumb_share: f64,
}

impl Axes {
    fn new(placed: &Placed) -> Self {
        let down: Vector2<f64> = placed.down().xy();
        let n = down.norm();
        Self {
            upright: if n > 1e-3 { down / n } else { Vector2::y() },
            plumb_share: n * n,
        }
    }

    fn level(&self) -> Vector2<f64> {
        Vector2::new(self.upright.y, -self.upright.x)
    }

    /// Variances of a motion along the level axis and the upright one.
    fn variances(&self, stir: Stir) -> Vector2<f64> {
        Vector2::new(stir.level_m2, stir.along(self.plumb_share))
    }

    fn from_image(&self, y: &Vector2<f64>) -> Vector2<f64> {
        Vector2::new(y.dot(&self.level()), y.dot(&self.upright))
    }

    fn into_image(self, y: &Vector2<f64>) -> Vector2<f64> {
        self.level() * y.x + self.upright * y.y
    }
}

/// Of a squared distance.
fn kernel(apart_m2: f64) -> f64 {
    let d2 = apart_m2 / (REACH_M * REACH_M);
    if d2 > FAR * FAR {
        0.0
    } else {
        (-0.5 * d2).exp()
    }
}

/// Clipped, so that no wrong match outweighs all others.
fn residual(
    obs: &Observations,
    box_idx: usize,
    seen: &Seen,
    model: &EdgeModel,
    axes: &Axes,
) -> Residual {
    let inn = Innovation::new(&obs.boxes[box_idx], seen, model, OCCLUSION_SHIFT);
    let s = inn.covariance(seen);
    let noise_m2 = 0.5 * (s[(0, 0)] + s[(1, 1)]);
    let most = (axes.variances(model.stir)).map(|m2| CLIP * (noise_m2 + m2).sqrt());
    // the box lies where the body is: its displacement is against the prediction's error
    let y = axes.from_image(&-Vector2::new(inn.y.x, inn.y.y));
    Residual {
        c: seen.c,
        y: y.zip_map(&most, |v, m| v.clamp(-m, m)),
        noise_m2,
    }
}

/// Bodies from left to right, so that neighbours are neighbours in the list too.
fn across(seen: &[Seen]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..seen.len()).collect();
    order.sort_unstable_by(|&a, &b| seen[a].c.x.total_cmp(&seen[b].c.x).then(a.cmp(&b)));
    order
}

/// The nearest neighbours with a residual: squared distance and position, nearest first.
type Nearest = Vec<(f64, usize)>;

/// The residuals of an image, how much of the motion is common, and how much is each body's own.
struct Field<'a> {
    residuals: &'a [Option<Residual>],
    common: Stir,
    own: Stir,
    axes: Axes,
}

impl Field<'_> {
    fn nothing(&self) -> Displaced {
        Displaced {
            by: Vector3::zeros(),
            left: Stir {
                level_m2: self.own.level_m2 + self.common.level_m2,
                plumb_m2: self.own.plumb_m2 + self.common.plumb_m2,
            },
        }
    }

    /// The neighbours of the body at `place` of `order`, from there to both sides as far as any may be.
    fn nearest(&self, seen: &[Seen], order: &[usize], place: usize) -> Nearest {
        let c = seen[order[place]].c;
        let mut near = Nearest::with_capacity(MOST_NEIGHBOURS + 1);
        let mut look = |k: usize| {
            if c.x - seen[k].c.x > FAR * REACH_M || seen[k].c.x - c.x > FAR * REACH_M {
                return false;
            }
            if self.residuals[k].is_some() {
                keep_nearest(&mut near, ((seen[k].c - c).norm_squared(), k));
            }
            true
        };
        let _ = order[..place].iter().rev().all(|&k| look(k));
        let _ = order[place + 1..].iter().all(|&k| look(k));
        near
    }

    fn displaced(&self, near: &Nearest) -> Displaced {
        let mut known: [Option<&Residual>; MOST_NEIGHBOURS] = [None; MOST_NEIGHBOURS];
        for (to, (_, k)) in known.iter_mut().zip(near) {
            *to = self.residuals[*k].as_ref();
        }
        let mut between = Kernels::identity();
        let mut to = Row::zeros();
        for (i, a) in known.iter().flatten().enumerate() {
            to[i] = kernel(near[i].0);
            for (j, b) in known[..i].iter().flatten().enumerate() {
                between[(i, j)] = kernel((a.c - b.c).norm_squared());
            }
        }
        let common_m2 = self.axes.variances(self.common);
        let [(level, level_left), (upright, upright_left)] =
            [0, 1].map(|axis| kriged(&known, &between, &to, axis, common_m2[axis]));
        let by = self.axes.into_image(&Vector2::new(level, upright));
        Displaced {
            by: by.push(0.0),
            left: Stir {
                level_m2: self.own.level_m2 + level_left,
                plumb_m2: self.own.plumb_m2 + upright_left,
            },
        }
    }
}

type Kernels = SMatrix<f64, MOST_NEIGHBOURS, MOST_NEIGHBOURS>;
type Row = SVector<f64, MOST_NEIGHBOURS>;

/// Displacement along an axis and the variance that it leaves, from the neighbours' residuals along it, the kernels
/// between them (lower triangle) and those to the body. Places without a neighbour stand by themselves.
fn kriged(
    known: &[Option<&Residual>],
    between: &Kernels,
    to: &Row,
    axis: usize,
    common_m2: f64,
) -> (f64, f64) {
    let mut cov = between * common_m2;
    for (i, r) in known.iter().enumerate() {
        cov[(i, i)] = r.map_or(1.0, |r| common_m2 + r.noise_m2);
    }
    let to = to * common_m2;
    let Some(chol) = cov.cholesky() else {
        return (0.0, common_m2);
    };
    let weights = chol.solve(&to);
    let by = (known.iter().flatten().zip(&weights)).map(|(r, w)| r.y[axis] * w);
    (by.sum(), (common_m2 - to.dot(&weights)).max(0.0))
}

/// Puts a neighbour where it belongs among the nearest, ties by position.
fn keep_nearest(near: &mut Nearest, one: (f64, usize)) {
    let before = |a: &(f64, usize)| a.0.total_cmp(&one.0).then(a.1.cmp(&one.1)).is_lt();
    if one.0 >= (FAR * REACH_M).powi(2)
        || (near.len() == MOST_NEIGHBOURS && near.last().is_some_and(before))
    {
        return;
    }
    let at = near.partition_point(before);
    near.insert(at, one);
    near.truncate(MOST_NEIGHBOURS);
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Matrix4;

    const COMMON_M2: f64 = 25e-6;
    const OWN_M2: f64 = 1e-6;

    fn body(x_m: f64) -> Seen {
        let c = Vector3::new(x_m, 0.0, 0.7);
        Seen {
            c,
            radius_m: 0.007,
            cov: Matrix4::zeros(),
            at: Vector2::new(c.x / c.z, 0.0),
            distance_m: c.norm(),
        }
    }

    /// A camera upside down: what is level and upright in its image runs against its axes.
    fn upright() -> Axes {
        Axes {
            upright: Vector2::new(0.0, -1.0),
            plumb_share: 1.0,
        }
    }

    fn moved_by(x_m: f64, y: [f64; 2]) -> Option<Residual> {
        Some(Residual {
            c: body(x_m).c,
            y: upright().from_image(&Vector2::from(y)),
            noise_m2: OWN_M2,
        })
    }

    fn displaced_at(x_m: &[f64], residuals: &[Option<Residual>], body_idx: usize) -> Displaced {
        let seen: Vec<Seen> = x_m.iter().map(|&x| body(x)).collect();
        let field = Field {
            residuals,
            common: Stir::alike(COMMON_M2.sqrt()),
            own: Stir::alike(OWN_M2.sqrt()),
            axes: upright(),
        };
        let order = across(&seen);
        let place = order.iter().position(|&k| k == body_idx).unwrap();
        field.displaced(&field.nearest(&seen, &order, place))
    }

    #[test]
    fn one_neighbour_at_hand_is_followed_as_far_as_its_noise_lets_it() {
        let at = [0.0, 0.0];
        let d = displaced_at(&at, &[None, moved_by(0.0, [0.005, -0.002])], 0);
        // simple kriging from one value at the same place: v / (v + n)
        let weight = COMMON_M2 / (COMMON_M2 + OWN_M2);
        assert!((d.by.x - 0.005 * weight).abs() < 1e-12);
        assert!((d.by.y + 0.002 * weight).abs() < 1e-12);
        assert!((d.left.level_m2 - (OWN_M2 + COMMON_M2 * (1.0 - weight))).abs() < 1e-15);
    }

    #[test]
    fn a_body_is_not_moved_by_its_own_box_nor_by_those_far_off() {
        let at = [0.0, 0.5];
        let residuals = [moved_by(0.0, [0.005, 0.0]), moved_by(0.5, [0.005, 0.0])];
        for k in 0..2 {
            let d = displaced_at(&at, &residuals, k);
            assert_eq!(d.by, Vector3::zeros());
            assert!((d.left.level_m2 - (OWN_M2 + COMMON_M2)).abs() < 1e-18);
        }
    }

    #[test]
    fn neighbours_that_agree_count_for_more_and_distance_for_less() {
        let near = [0.0, 0.02, -0.02];
        let far = [0.0, 0.08, -0.08];
        let of = |at: &[f64]| {
            let residuals = [
                None,
                moved_by(at[1], [0.004, 0.0]),
                moved_by(at[2], [0.004, 0.0]),
            ];
            displaced_at(at, &residuals, 0)
        };
        let one = displaced_at(&near[..2], &[None, moved_by(0.02, [0.004, 0.0])], 0);
        let (near, far) = (of(&near), of(&far));
        assert!(near.by.x > one.by.x && near.left.level_m2 < one.left.level_m2);
        assert!(far.by.x < near.by.x && far.left.level_m2 > near.left.level_m2);
    }
}
