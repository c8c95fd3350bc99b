//! A body from its boxes: weighted linear least squares over box edges with one-sided robust weights.

use crate::edge_model::EdgeModel;
use crate::observe::BoxObs;
use nalgebra::{Isometry3, Matrix3, Matrix4, Vector3, Vector4};

/// The camera of one image, as placed now.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Placed {
    /// Rotation, orchard from camera.
    pub(crate) r: Matrix3<f64>,
    /// Optical centre, orchard frame.
    pub(crate) t: Vector3<f64>,
}

impl Placed {
    pub(crate) fn new(orchard_from_camera: &Isometry3<f64>) -> Self {
        Self {
            r: orchard_from_camera
                .rotation
                .to_rotation_matrix()
                .into_inner(),
            t: orchard_from_camera.translation.vector,
        }
    }

    pub(crate) fn into_camera(self, p_in_orchard: &Vector3<f64>) -> Vector3<f64> {
        self.r.tr_mul(&(p_in_orchard - self.t))
    }
}

/// What is believed of a body before its boxes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Prior {
    /// Mean radius and its standard deviation.
    pub(crate) radius_m: (f64, f64),
}

/// A knowledge of the distance along one ray: `axis . c = at` with a standard deviation.
#[derive(Debug, Clone, Copy)]
pub(crate) struct DepthPrior {
    pub(crate) axis: Vector3<f64>,
    pub(crate) at: f64,
    pub(crate) sigma_m: f64,
}

/// A body under estimation.
#[derive(Debug, Clone)]
pub(crate) struct Landmark {
    /// Boxes that it explains: positions in `Observations::boxes`, ascending, at most one a frame.
    pub(crate) boxes: Vec<usize>,
    /// Centre and radius.
    pub(crate) x: Vector4<f64>,
    pub(crate) cov: Matrix4<f64>,
    pub(crate) depth: Option<DepthPrior>,
    /// Images in which it should have been seen but was not.
    pub(crate) missed: usize,
}

impl Landmark {
    pub(crate) fn centre(&self) -> Vector3<f64> {
        self.x.fixed_rows::<3>(0).into_owned()
    }

    pub(crate) fn radius(&self) -> f64 {
        self.x[3]
    }
}

/// Residual of one edge: metres, its standard deviation, and the body's radius in pixels.
#[derive(Debug, Clone, Copy)]
pub(crate) struct EdgeResidual {
    pub(crate) metres: f64,
    pub(crate) sigma_m: f64,
    pub(crate) m_per_px: f64,
}

/// The four residuals of a box for a sphere in the camera frame.
pub(crate) fn residuals(
    b: &BoxObs,
    c_in_camera: &Vector3<f64>,
    radius_m: f64,
    model: &EdgeModel,
) -> [EdgeResidual; 4] {
    let distance = c_in_camera.norm();
    std::array::from_fn(|k| {
        let m_per_px = distance * b.rad_per_px[k];
        EdgeResidual {
            metres: b.normals[k].dot(c_in_camera) - radius_m,
            sigma_m: model.sigma_m(m_per_px),
            m_per_px,
        }
    })
}

/// The same for the body at rest: without the motion that it shares with its neighbours.
pub(crate) fn residuals_at_rest(
    b: &BoxObs,
    c_in_camera: &Vector3<f64>,
    radius_m: f64,
    model: &EdgeModel,
) -> [EdgeResidual; 4] {
    let mut all = residuals(b, c_in_camera, radius_m, model);
    for (e, swayed_m) in all.iter_mut().zip(b.swayed_m) {
        e.metres += swayed_m;
    }
    all
}

/// Derivative of an edge's residual by the centre (camera frame), times the distance.
///
/// The error of an edge is an angle: residual over distance. Without the second term a scene gains by shrinking.
pub(crate) fn scale_free(
    normal: &Vector3<f64>,
    c_in_camera: &Vector3<f64>,
    residual_m: f64,
) -> Vector3<f64> {
    normal - c_in_camera * (residual_m / c_in_camera.norm_squared())
}

/// Radius in pixels.
pub(crate) fn radius_px(b: &BoxObs, distance_m: f64, radius_m: f64) -> f64 {
    let rad = (b.rad_per_px[0] + b.rad_per_px[1]) * 0.5;
    radius_m / (distance_m * rad)
}

/// Log density of the whole box under the edge model (usable edges only), with extra variance of the prediction per
/// edge in metres squared, and the number of edges used.
pub(crate) fn box_log_density(
    b: &BoxObs,
    c_in_camera: &Vector3<f64>,
    radius_m: f64,
    model: &EdgeModel,
    extra: impl Fn(&Vector3<f64>) -> f64,
) -> (f64, usize) {
    let px = radius_px(b, c_in_camera.norm(), radius_m);
    let mut product = 1.0;
    let mut used = 0;
    for (k, e) in residuals(b, c_in_camera, radius_m, model)
        .iter()
        .enumerate()
    {
        if b.usable[k] {
            let variance = e.sigma_m * e.sigma_m;
            let s = (variance + extra(&b.normals[k])).sqrt();
            // density per pixel: a wide prediction is thin
            product *= model.density(e.metres / s, px).0 * e.m_per_px / s;
            used += 1;
        }
    }
    (product.ln(), used)
}

/// Result of a fit.
#[derive(Debug, Clone)]
pub(crate) struct Fit {
    pub(crate) x: Vector4<f64>,
    pub(crate) cov: Matrix4<f64>,
}

/// Fits a sphere to boxes, starting from `start` (or from the plain linear solution where `None`).
///
/// Iteratively reweighted: the weight of an edge is the share of its density that the core explains. O(boxes).
pub(crate) fn fit(
    boxes: &[BoxObs],
    list: &[usize],
    placed: &[Placed],
    prior: &Prior,
    depth: Option<&DepthPrior>,
    model: &EdgeModel,
    start: Option<Vector4<f64>>,
) -> Option<Fit> {
    let mut x = start;
    let iterations = if list.len() < 2 { 2 } else { 4 };
    let mut last = None;
    for step in 0..iterations {
        let mut info = Matrix4::zeros();
        let mut eta = Vector4::zeros();
        let s = prior.radius_m;
        info[(3, 3)] += 1.0 / (s.1 * s.1);
        eta[3] += s.0 / (s.1 * s.1);
        if let Some(d) = depth {
            let w = 1.0 / (d.sigma_m * d.sigma_m);
            let row = Vector4::new(d.axis.x, d.axis.y, d.axis.z, 0.0);
            info += row * row.transpose() * w;
            eta += row * (d.at * w);
        }
        for &i in list {
            add_box(
                &boxes[i],
                &placed[boxes[i].frame],
                x.as_ref(),
                prior,
                model,
                step,
                &mut info,
                &mut eta,
            );
        }
        let chol = info.cholesky()?;
        let solution = chol.solve(&eta);
        if !solution.iter().all(|v| v.is_finite()) {
            return None;
        }
        let done = x.is_some_and(|old: Vector4<f64>| (old - solution).norm() < 1e-7);
        x = Some(solution);
        last = Some(Fit {
            x: solution,
            cov: chol.inverse(),
        });
        if done {
            break;
        }
    }
    last.filter(|f| f.x[3] > 1e-4)
}

#[allow(clippy::too_many_arguments)] // one accumulation step of `fit`
fn add_box(
    b: &BoxObs,
    p: &Placed,
    x: Option<&Vector4<f64>>,
    prior: &Prior,
    model: &EdgeModel,
    step: usize,
    info: &mut Matrix4<f64>,
    eta: &mut Vector4<f64>,
) {
    let (distance, known) = match x {
        Some(x) => ((x.fixed_rows::<3>(0) - p.t).norm(), true),
        None => (prior.radius_m.0 / b.half_angle.max(1e-4), false),
    };
    for k in 0..4 {
        if !b.usable[k] {
            continue;
        }
        let n = p.r * b.normals[k];
        let offset = n.dot(&p.t) - b.swayed_m[k];
        let sigma = model.sigma_m(distance * b.rad_per_px[k]);
        let mut w = 1.0 / (sigma * sigma);
        let mut row = Vector4::new(n.x, n.y, n.z, -1.0);
        let mut at = offset;
        if let (true, Some(x)) = (known, x) {
            let c = x.fixed_rows::<3>(0);
            let e = n.dot(&c) - offset - x[3];
            let px = radius_px(b, distance, x[3].max(1e-3));
            let core = model.density(e / sigma, px).1;
            // the first weighted step must not throw good edges out from a poor start
            w *= if step <= 1 {
                core.max(0.1)
            } else {
                core.max(1e-3)
            };
            let m = scale_free(&n, &(c - p.t), e);
            row = Vector4::new(m.x, m.y, m.z, -1.0);
            at = row.dot(x) - e;
        }
        *info += row * row.transpose() * w;
        *eta += row * (at * w);
    }
}

/// Covariance of a fitted body with what does not average out over its images: each edge's part that is constant for
/// a body and camera, and the motion, which is slow beside the images.
///
/// With `g` the sum of an edge's weighted rows over one camera's images, a constant error of one pixel moves the
/// estimate by `cov g`; so `cov + sum cov g g' cov sigma^2` over cameras and edges.
pub(crate) fn full_covariance(
    boxes: &[BoxObs],
    l: &Landmark,
    placed: &[Placed],
    camera_of: &[usize],
    model: &EdgeModel,
    constant_px: f64,
) -> Matrix4<f64> {
    let mut sums: Vec<(usize, [Vector4<f64>; 4])> = Vec::new();
    for &i in &l.boxes {
        let b = &boxes[i];
        let camera = camera_of[b.frame];
        let at = sums.iter().position(|s| s.0 == camera).unwrap_or_else(|| {
            sums.push((camera, [Vector4::zeros(); 4]));
            sums.len() - 1
        });
        let c = placed[b.frame].into_camera(&l.centre());
        let px = radius_px(b, c.norm(), l.radius());
        for (k, e) in residuals_at_rest(b, &c, l.radius(), model)
            .iter()
            .enumerate()
        {
            if b.usable[k] {
                let core = model.density(e.metres / e.sigma_m, px).1;
                let w = core * e.m_per_px / (e.sigma_m * e.sigma_m);
                sums[at].1[k] += (placed[b.frame].r * b.normals[k]).push(-1.0) * w;
            }
        }
    }
    let mut cov = l.cov;
    for g in sums.iter().flat_map(|s| &s.1) {
        let shift = l.cov * g * constant_px;
        cov += shift * shift.transpose();
    }
    let still = model.motion_m * model.motion_m;
    for k in 0..3 {
        cov[(k, k)] += still;
    }
    cov
}
