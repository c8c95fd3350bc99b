//! Motion that neighbouring bodies share at one moment: wind moves a spur with all that hangs on it.
//!
//! A displacement field across the line of sight, Gaussian with covariance `v exp(-d^2 / 2 l^2)` between bodies a
//! distance d apart, is interpolated from the residuals of the neighbours that an image shows (simple kriging; Rasmussen
//! and Williams, Gaussian Processes for Machine Learning, 2006, eq. 2.25 and 2.26). As in coherent point drift
//! (Myronenko and Song, Point set registration, IEEE TPAMI 32(12), 2010) assignment and field are found in turns.

use crate::bodies::Landmark;
use crate::edge_model::EdgeModel;
use crate::nodes::Stand;
use crate::observe::Observations;
use crate::predict::{Innovation, Seen};
use crate::register::OCCLUSION_SHIFT;
use nalgebra::{Vector2, Vector3};

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

/// How a body is displaced in an image, and the variance of motion per axis that this leaves.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Displaced {
    pub(crate) by: Vector3<f64>,
    pub(crate) left_m2: f64,
}

/// A residual of a matched body across the line of sight.
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
                    of_frame[frame].push(residual(obs, i, &seen, model));
                }
            }
        }
        let noises: Vec<f64> = of_frame.iter().flatten().map(|r| r.noise_m2).collect();
        let (mut products, mut kernels, mut pairs) = (0.0, 0.0, 0);
        for here in &mut of_frame {
            here.sort_by(|a, b| a.c.x.total_cmp(&b.c.x));
            for (k, a) in here.iter().enumerate() {
                let within = |b: &&Residual| b.c.x - a.c.x <= FAR * REACH_M;
                for b in here[k + 1..].iter().take_while(within) {
                    let kernel = kernel((a.c - b.c).norm_squared());
                    if kernel > 0.0 {
                        pairs += 1;
                        products += kernel * 0.5 * a.y.dot(&b.y);
                        kernels += kernel * kernel;
                    }
                }
            }
        }
        let motion_m2 = model.motion_m * model.motion_m;
        if pairs < FEWEST_PAIRS || motion_m2 <= 0.0 {
            return Self::default();
        }
        let share = (products / kernels / motion_m2).clamp(0.0, 0.95);
        let noise_m2 = noises.iter().sum::<f64>() / noises.len().max(1) as f64;
        if share * motion_m2 < LEAST_WORTH * noise_m2 {
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
    ) -> Vec<Displaced> {
        let common_m2 = self.share * model.motion_m * model.motion_m;
        let own = self.own(model);
        let residuals: Vec<Option<Residual>> = seen
            .iter()
            .zip(matched)
            .map(|(s, m)| m.map(|i| residual(obs, i, s, &own)))
            .collect();
        let field = Field {
            residuals: &residuals,
            common_m2,
            own_m2: own.motion_m * own.motion_m,
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
        for (seen, matched) in of_frame {
            let displaced = self.displaced(obs, &seen, &matched, model);
            for (d, i) in displaced.iter().zip(matched.iter().flatten()) {
                obs.boxes[*i].swayed_m = obs.boxes[*i].normals.map(|n| n.dot(&d.by));
            }
        }
    }

    /// The edge model without the common motion.
    fn own(self, model: &EdgeModel) -> EdgeModel {
        EdgeModel {
            motion_m: model.motion_m * (1.0 - self.share).sqrt(),
            ..*model
        }
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
fn residual(obs: &Observations, box_idx: usize, seen: &Seen, model: &EdgeModel) -> Residual {
    let inn = Innovation::new(&obs.boxes[box_idx], seen, model, OCCLUSION_SHIFT);
    let s = inn.covariance(seen);
    let noise_m2 = 0.5 * (s[(0, 0)] + s[(1, 1)]);
    let most = CLIP * (noise_m2 + model.motion_m * model.motion_m).sqrt();
    // the box lies where the body is: its displacement is against the prediction's error
    let y = -Vector2::new(inn.y.x, inn.y.y);
    Residual {
        c: seen.c,
        y: y.map(|v| v.clamp(-most, most)),
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

/// The residuals of an image, and how much of the motion is common.
struct Field<'a> {
    residuals: &'a [Option<Residual>],
    common_m2: f64,
    own_m2: f64,
}

impl Field<'_> {
    fn nothing(&self) -> Displaced {
        Displaced {
            by: Vector3::zeros(),
            left_m2: self.own_m2 + self.common_m2,
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
        let mut between = [[0.0; MOST_NEIGHBOURS]; MOST_NEIGHBOURS];
        let mut to = [0.0; MOST_NEIGHBOURS];
        for (i, a) in known.iter().flatten().enumerate() {
            to[i] = self.common_m2 * kernel(near[i].0);
            between[i][i] = self.common_m2 + a.noise_m2;
            for (j, b) in known[..i].iter().flatten().enumerate() {
                between[i][j] = self.common_m2 * kernel((a.c - b.c).norm_squared());
            }
        }
        let Some(weights) = solve(&mut between, to, near.len()) else {
            return self.nothing();
        };
        let mut by = Vector3::zeros();
        let mut explained_m2 = 0.0;
        for (i, r) in known.iter().flatten().enumerate() {
            by += (r.y * weights[i]).push(0.0);
            explained_m2 += to[i] * weights[i];
        }
        Displaced {
            by,
            left_m2: self.own_m2 + (self.common_m2 - explained_m2).max(0.0),
        }
    }
}

/// Solves the first `n` equations of a positive definite system, of which the lower triangle is given, by its Cholesky
/// factor.
fn solve<const N: usize>(a: &mut [[f64; N]; N], mut x: [f64; N], n: usize) -> Option<[f64; N]> {
    for i in 0..n {
        for j in 0..=i {
            let dot: f64 = (0..j).map(|k| a[i][k] * a[j][k]).sum();
            let rest = a[i][j] - dot;
            if i == j {
                (rest > 0.0).then_some(())?;
                a[i][i] = rest.sqrt();
            } else {
                a[i][j] = rest / a[j][j];
            }
        }
        let dot: f64 = (0..i).map(|k| a[i][k] * x[k]).sum();
        x[i] = (x[i] - dot) / a[i][i];
    }
    for i in (0..n).rev() {
        let dot: f64 = (i + 1..n).map(|k| a[k][i] * x[k]).sum();
        x[i] = (x[i] - dot) / a[i][i];
    }
    Some(x)
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

    fn moved_by(x_m: f64, y: [f64; 2]) -> Option<Residual> {
        Some(Residual {
            c: body(x_m).c,
            y: Vector2::from(y),
            noise_m2: OWN_M2,
        })
    }

    fn displaced_at(x_m: &[f64], residuals: &[Option<Residual>], body_idx: usize) -> Displaced {
        let seen: Vec<Seen> = x_m.iter().map(|&x| body(x)).collect();
        let field = Field {
            residuals,
            common_m2: COMMON_M2,
            own_m2: OWN_M2,
        };
        let order = across(&seen);
        let place = order.iter().position(|&k| k == body_idx).unwrap();
        field.displaced(&field.nearest(&seen, &order, place))
    }

    #[test]
    fn the_small_solver_solves() {
        // A = L L' with L = [[2], [1, 3], [-1, 2, 1]]; the fourth row is not looked at
        let mut a = [
            [4.0, 0.0, 0.0, 9.0],
            [2.0, 10.0, 0.0, 9.0],
            [-2.0, 5.0, 6.0, 9.0],
            [f64::NAN; 4],
        ];
        let x = solve(
            &mut a,
            [4.0 + 4.0 - 6.0, 2.0 + 20.0 + 15.0, -2.0 + 10.0 + 18.0, 0.0],
            3,
        )
        .unwrap();
        for (k, v) in x.iter().take(3).enumerate() {
            assert!((v - (k as f64 + 1.0)).abs() < 1e-12);
        }
        assert!(solve(&mut [[1.0, 0.0], [2.0, 1.0]], [1.0, 1.0], 2).is_none());
    }

    #[test]
    fn one_neighbour_at_hand_is_followed_as_far_as_its_noise_lets_it() {
        let at = [0.0, 0.0];
        let d = displaced_at(&at, &[None, moved_by(0.0, [0.005, -0.002])], 0);
        // simple kriging from one value at the same place: v / (v + n)
        let weight = COMMON_M2 / (COMMON_M2 + OWN_M2);
        assert!((d.by.x - 0.005 * weight).abs() < 1e-12);
        assert!((d.by.y + 0.002 * weight).abs() < 1e-12);
        assert!((d.left_m2 - (OWN_M2 + COMMON_M2 * (1.0 - weight))).abs() < 1e-15);
    }

    #[test]
    fn a_body_is_not_moved_by_its_own_box_nor_by_those_far_off() {
        let at = [0.0, 0.5];
        let residuals = [moved_by(0.0, [0.005, 0.0]), moved_by(0.5, [0.005, 0.0])];
        for k in 0..2 {
            let d = displaced_at(&at, &residuals, k);
            assert_eq!(d.by, Vector3::zeros());
            assert!((d.left_m2 - (OWN_M2 + COMMON_M2)).abs() < 1e-18);
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
        assert!(near.by.x > one.by.x && near.left_m2 < one.left_m2);
        assert!(far.by.x < near.by.x && far.left_m2 > near.left_m2);
    }
}
