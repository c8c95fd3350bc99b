//! Registers one rig pose to the map before its boxes are assigned: a rigid correction by soft assignment.
//!
//! Expectation-maximisation over box-to-body assignments with the pose's covariance annealed from its prior to its
//! posterior (Granger and Pennec, Multi-scale EM-ICP, ECCV 2002, with the box's middle and size as the measurement).

use crate::bodies::Landmark;
use crate::edge_model::EdgeModel;
use crate::grid::Grid;
use crate::nodes::Stand;
use crate::observe::Observations;
use crate::predict::{Innovation, Seen};
use nalgebra::{Matrix2, Matrix2x6, Matrix6, Vector2, Vector3, Vector6};

/// How far, as a share of the radius, an occluder typically moves a box's middle.
pub(crate) const OCCLUSION_SHIFT: f64 = 0.2;
/// Density of unexplained boxes: mean number an image, spread over the image and over sizes.
const CLUTTER_SHARE: f64 = 0.1;
const STEPS: usize = 8;
const WINDOW_SIGMAS: f64 = 3.0;

/// A registered pose.
#[derive(Debug, Clone)]
pub(crate) struct Registered {
    pub(crate) correction: Vector6<f64>,
    pub(crate) cov: Matrix6<f64>,
    /// Log likelihood gained over "every box is clutter".
    pub(crate) gain: f64,
}

/// Registers `node` from `start`; `prior` is the covariance of the correction about `mean`.
pub(crate) fn register(
    obs: &Observations,
    grids: &[Grid],
    stand: &mut Stand,
    node: usize,
    landmarks: &[Landmark],
    active: &[usize],
    mean: &Vector6<f64>,
    prior: &Matrix6<f64>,
    start: &Vector6<f64>,
    model: &EdgeModel,
) -> Option<Registered> {
    let prior_inv = prior.try_inverse()?;
    let mut correction = *start;
    let mut cov = *prior;
    let mut gain = 0.0;
    for _ in 0..STEPS {
        stand.nodes[node].correction = correction;
        stand.place(node);
        let mut h = prior_inv;
        let mut g = prior_inv * (mean - correction);
        gain = -0.5 * (mean - correction).dot(&(prior_inv * (mean - correction)));
        for f in stand.nodes[node].frames.clone() {
            gain += accumulate(
                obs, &grids[f], stand, node, f, landmarks, active, &cov, model, &mut h, &mut g,
            );
        }
        let chol = h.cholesky()?;
        let step = chol.solve(&g);
        correction += step;
        // the soft assignment understates what is unknown: keep the window open a little
        cov = chol.inverse() * 4.0;
        if step.norm() < 1e-6 {
            break;
        }
    }
    stand.nodes[node].correction = correction;
    stand.place(node);
    Some(Registered {
        correction,
        cov: cov * 0.25,
        gain,
    })
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

#[allow(clippy::too_many_arguments)] // the accumulation step of `register`
fn accumulate(
    obs: &Observations,
    grid: &Grid,
    stand: &Stand,
    node: usize,
    frame: usize,
    landmarks: &[Landmark],
    active: &[usize],
    cov: &Matrix6<f64>,
    model: &EdgeModel,
    h: &mut Matrix6<f64>,
    g: &mut Vector6<f64>,
) -> f64 {
    let camera = stand.camera_of[frame];
    let mount = stand.rig_from_camera(camera);
    let rig_r = mount.rotation.to_rotation_matrix().into_inner();
    let rig = stand.nodes[node].orchard_from_rig();
    let lens = &obs.lenses[camera];
    let range = obs.of_frame(frame);
    let clutter = CLUTTER_SHARE * (range.len() as f64 + 1.0) / image_solid(lens);
    let pose_sd = (cov.fixed_view::<3, 3>(0, 0).trace() / 3.0).sqrt();
    let turn_sd = (cov.fixed_view::<3, 3>(3, 3).trace() / 3.0).sqrt();
    let mut pairs: Vec<(usize, f64, Vector2<f64>, Matrix2<f64>, Matrix2x6<f64>)> = Vec::new();
    for &l in active {
        let Some(seen) = Seen::new(&landmarks[l], &stand.placed[frame]) else {
            continue;
        };
        let c_in_rig = rig
            .inverse_transform_point(&landmarks[l].centre().into())
            .coords;
        let sd = pose_sd + turn_sd * c_in_rig.norm();
        grid.near(seen.at, seen.window(WINDOW_SIGMAS, sd * sd), |i| {
            let inn = Innovation::new(&obs.boxes[i], &seen, model, OCCLUSION_SHIFT);
            let s3 = inn.covariance(&seen);
            let rows = inn.middle_rows();
            let mut j = Matrix2x6::zeros();
            for k in 0..2 {
                let row: Vector3<f64> = rows.row(k).transpose();
                j.set_row(k, &pose_row(&row, &rig_r, &c_in_rig).transpose());
            }
            let s2: Matrix2<f64> = s3.fixed_view::<2, 2>(0, 0).into_owned();
            let full = s2 + j * cov * j.transpose();
            let y: Vector2<f64> = inn.y.fixed_rows::<2>(0).into_owned();
            let (Some(full_inv), Some(s2_inv)) = (full.try_inverse(), s2.try_inverse()) else {
                return;
            };
            let d2 = y.dot(&(full_inv * y)) + inn.y.z * inn.y.z / s3[(2, 2)];
            if d2 > 20.0 {
                return;
            }
            // densities per metre cubed at the body's distance, turned into angle and log size
            let scale = seen.distance_m * seen.distance_m * seen.radius_m;
            let density =
                (-0.5 * d2).exp() / ((full.determinant() * s3[(2, 2)]).sqrt() * 15.75) * scale;
            pairs.push((i, density, y, s2_inv, j));
        });
    }
    weigh(&mut pairs, range.start, range.len(), clutter, h, g)
}

/// Turns densities into shares a box and adds the weighted equations. Returns the log likelihood gained.
fn weigh(
    pairs: &mut [(usize, f64, Vector2<f64>, Matrix2<f64>, Matrix2x6<f64>)],
    first: usize,
    boxes: usize,
    clutter: f64,
    h: &mut Matrix6<f64>,
    g: &mut Vector6<f64>,
) -> f64 {
    let mut total = vec![clutter; boxes];
    for p in pairs.iter() {
        total[p.0 - first] += p.1;
    }
    for (i, density, y, info, j) in pairs.iter() {
        let w = density / total[*i - first];
        if w < 1e-3 {
            continue;
        }
        let jt = j.transpose() * info * w;
        *h += jt * j;
        *g -= jt * y;
    }
    total.iter().map(|t| (t / clutter).ln()).sum()
}

/// Image area as a solid angle, steradians (roughly), for densities of clutter over angle and log size.
pub(crate) fn image_solid(lens: &corymb_geometry::camera::Lens) -> f64 {
    let f = lens.mean_focal_px();
    f64::from(lens.width_px()) * f64::from(lens.height_px()) / (f * f)
}
