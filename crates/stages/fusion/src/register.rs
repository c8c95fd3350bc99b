//! Registers one rig pose to the map before its boxes are assigned: a rigid correction by soft assignment.
//!
//! Expectation-maximisation over box-to-body assignments with the pose's covariance annealed from its prior to its
//! posterior (Granger and Pennec, Multi-scale EM-ICP, ECCV 2002, with the box's middle and size as the measurement).

use crate::bodies::{Landmark, Placed};
use crate::edge_model::EdgeModel;
use crate::grid::{CELL, Grid};
use crate::nodes::Stand;
use crate::observe::Observations;
use crate::predict::{Innovation, Seen};
use crate::settle::doubt_m;
use nalgebra::{Matrix2, Matrix2x6, Matrix3, Matrix6, Vector2, Vector3, Vector6};

/// How far, as a share of the radius, an occluder typically moves a box's middle.
pub(crate) const OCCLUSION_SHIFT: f64 = 0.2;
/// Density of unexplained boxes: mean number an image, spread over the image and over sizes.
const CLUTTER_SHARE: f64 = 0.1;
pub(crate) const STEPS: usize = 8;
/// Steps after which two starts can be told apart.
pub(crate) const TRIAL_STEPS: usize = 3;
const WINDOW_SIGMAS: f64 = 3.0;
/// Squared Mahalanobis distance beyond which a pair is not considered (three degrees of freedom).
const GATE: f64 = 20.0;
/// Factor on the covariance between steps.
const KEPT_OPEN: f64 = 4.0;
/// A step smaller than this (metres, radians) ends the iteration.
const SMALL_STEP: f64 = 2e-5;
/// (2 pi)^(3/2).
pub(crate) const TWO_PI_3_2: f64 = 15.749_609_945_722_419;

/// The boxes of all images and how their edges err.
#[derive(Clone, Copy)]
pub(crate) struct Sights<'a> {
    pub(crate) obs: &'a Observations,
    pub(crate) grids: &'a [Grid],
    pub(crate) model: &'a EdgeModel,
}

/// The bodies that some image of a node may show.
#[derive(Clone, Copy)]
pub(crate) struct Near<'a> {
    pub(crate) landmarks: &'a [Landmark],
    /// Positions in `landmarks`.
    pub(crate) active: &'a [usize],
}

impl Near<'_> {
    /// Those that lie before the camera of an image, with their place in `active`.
    pub(crate) fn seen<'s>(
        &'s self,
        placed: &'s Placed,
    ) -> impl Iterator<Item = (usize, Seen)> + 's {
        let one = |(k, &l): (usize, &usize)| Some((k, Seen::new(&self.landmarks[l], placed)?));
        self.active.iter().enumerate().filter_map(one)
    }
}

/// What is believed of a node's correction: rig frame, translation (metres) first.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Belief {
    pub(crate) mean: Vector6<f64>,
    pub(crate) cov: Matrix6<f64>,
}

impl Belief {
    /// What the belief leaves unknown of where things are.
    pub(crate) fn spread(&self) -> Spread {
        let mean_sd = |k: usize| (self.cov.fixed_view::<3, 3>(k, k).trace() / 3.0).sqrt();
        Spread {
            translation_m: mean_sd(0),
            rotation_rad: mean_sd(3),
        }
    }
}

/// Mean standard deviations per axis of a pose.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spread {
    translation_m: f64,
    rotation_rad: f64,
}

impl Spread {
    /// Standard deviation per axis that the pose leaves to a point so far from the rig, metres.
    pub(crate) fn at(self, range_m: f64) -> f64 {
        self.translation_m + self.rotation_rad * range_m
    }
}

/// A registered pose.
#[derive(Debug, Clone)]
pub(crate) struct Registered {
    pub(crate) belief: Belief,
    /// Log likelihood gained over "every box is clutter".
    pub(crate) gain: f64,
}

/// Registers `node` from `start` under `prior` in at most so many steps. The stand's correction of the node is left at
/// the result.
pub(crate) fn register(
    sights: &Sights<'_>,
    stand: &mut Stand,
    node: usize,
    near: &Near<'_>,
    prior: &Belief,
    start: &Belief,
    steps: usize,
) -> Option<Registered> {
    let prior_inv = prior.cov.try_inverse()?;
    let mut now = *start;
    let mut gain = 0.0;
    for _ in 0..steps {
        stand.nodes[node].correction = now.mean;
        stand.place(node);
        let off = prior.mean - now.mean;
        let mut sums = Sums {
            h: prior_inv,
            g: prior_inv * off,
        };
        gain = -0.5 * off.dot(&(prior_inv * off));
        for &f in &stand.nodes[node].frames {
            gain += accumulate(sights, stand, f, near, &now, &mut sums);
        }
        let chol = sums.h.cholesky()?;
        let step = chol.solve(&sums.g);
        // the soft assignment understates what is unknown: keep the window open a little
        now = Belief {
            mean: now.mean + step,
            cov: chol.inverse() * KEPT_OPEN,
        };
        if step.norm() < SMALL_STEP {
            break;
        }
    }
    stand.nodes[node].correction = now.mean;
    stand.place(node);
    now.cov /= KEPT_OPEN;
    Some(Registered { belief: now, gain })
}

/// Derivative of a camera-frame row's product with the centre by the rig's correction.
pub(crate) fn pose_row(
    row_in_camera: &Vector3<f64>,
    rig_r: &nalgebra::Matrix3<f64>,
    c_in_rig: &Vector3<f64>,
) -> Vector6<f64> {
    let n = rig_r * row_in_camera;
    let turn = n.cross(c_in_rig);
    Vector6::new(-n.x, -n.y, -n.z, turn.x, turn.y, turn.z)
}

/// Normal equations of a correction.
struct Sums {
    h: Matrix6<f64>,
    g: Vector6<f64>,
}

/// A box that may show a body.
struct Pair {
    box_idx: usize,
    density: f64,
    /// Error of the middle, metres, with its information and its derivative by the correction.
    y: Vector2<f64>,
    info: Matrix2<f64>,
    j: Matrix2x6<f64>,
}

/// Adds the soft equations of one image; returns the log likelihood gained.
fn accumulate(
    sights: &Sights<'_>,
    stand: &Stand,
    frame: usize,
    near: &Near<'_>,
    now: &Belief,
    sums: &mut Sums,
) -> f64 {
    let camera = stand.camera_of[frame];
    let mount = stand.rig_from_camera(camera);
    let rig_r = mount.rotation.to_rotation_matrix().into_inner();
    let spread = now.spread();
    let cover = &sights.obs.covers[camera];
    let mut pairs: Vec<Pair> = Vec::new();
    for &l in near.active {
        let (l, placed) = (&near.landmarks[l], &stand.placed[frame]);
        let c = placed.into_camera(&l.centre());
        let c_in_rig = rig_r * c + mount.translation.vector;
        let sd = spread.at(c_in_rig.norm());
        if !cover.meets(&c, doubt_m(l) + WINDOW_SIGMAS * sd + c.z * CELL) {
            continue;
        }
        let Some(seen) = Seen::new(l, placed) else {
            continue;
        };
        sights.grids[frame].near(seen.at, seen.window(WINDOW_SIGMAS, sd * sd), |i| {
            let inn = Innovation::new(&sights.obs.boxes[i], &seen, sights.model, OCCLUSION_SHIFT);
            if inn.y.z * inn.y.z < GATE * inn.size_variance(&seen) {
                pairs.extend(pair(i, &inn, &seen, &rig_r, &c_in_rig, &now.cov));
            }
        });
    }
    let range = sights.obs.of_frame(frame);
    let clutter =
        CLUTTER_SHARE * (range.len() as f64 + 1.0) / image_solid(&sights.obs.lenses[camera]);
    weigh(&pairs, range, clutter, sums)
}

fn pair(
    box_idx: usize,
    inn: &Innovation,
    seen: &Seen,
    rig_r: &Matrix3<f64>,
    c_in_rig: &Vector3<f64>,
    cov: &Matrix6<f64>,
) -> Option<Pair> {
    let s3 = inn.covariance(seen);
    let rows = inn.middle_rows();
    let mut j = Matrix2x6::zeros();
    for k in 0..2 {
        let row: Vector3<f64> = rows.row(k).transpose();
        j.set_row(k, &pose_row(&row, rig_r, c_in_rig).transpose());
    }
    let s2: Matrix2<f64> = s3.fixed_view::<2, 2>(0, 0).into_owned();
    let full = s2 + j * cov * j.transpose();
    let y: Vector2<f64> = inn.y.fixed_rows::<2>(0).into_owned();
    let d2 = y.dot(&(full.try_inverse()? * y)) + inn.y.z * inn.y.z / s3[(2, 2)];
    if d2 > GATE {
        return None;
    }
    // densities per metre cubed at the body's distance, turned into angle and log size
    let scale = seen.distance_m * seen.distance_m * seen.radius_m;
    let density =
        (-0.5 * d2).exp() / ((full.determinant() * s3[(2, 2)]).sqrt() * TWO_PI_3_2) * scale;
    let info = s2.try_inverse()?;
    Some(Pair {
        box_idx,
        density,
        y,
        info,
        j,
    })
}

/// Turns densities into shares a box and adds the weighted equations. Returns the log likelihood gained.
fn weigh(pairs: &[Pair], boxes: std::ops::Range<usize>, clutter: f64, sums: &mut Sums) -> f64 {
    let mut total = vec![clutter; boxes.len()];
    for p in pairs {
        total[p.box_idx - boxes.start] += p.density;
    }
    for p in pairs {
        let w = p.density / total[p.box_idx - boxes.start];
        if w < 1e-3 {
            continue;
        }
        let jt = p.j.transpose() * (p.info * w);
        // the factor is taken from the lower triangle
        for c in 0..6 {
            for r in c..6 {
                sums.h[(r, c)] += jt[(r, 0)] * p.j[(0, c)] + jt[(r, 1)] * p.j[(1, c)];
            }
        }
        sums.g -= jt * p.y;
    }
    total.iter().map(|t| (t / clutter).ln()).sum()
}

/// Image area as a solid angle, steradians (roughly), for densities of clutter over angle and log size.
pub(crate) fn image_solid(lens: &corymb_geometry::camera::Lens) -> f64 {
    let f = lens.mean_focal_px();
    lens.width_px() * lens.height_px() / (f * f)
}
