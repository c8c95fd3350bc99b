//! A body from its boxes: weighted linear least squares over box edges with one-sided robust weights.

use crate::edge_model::EdgeModel;
use crate::observe::BoxObs;
use nalgebra::{Cholesky, Const, Isometry3, Matrix3, Matrix4, Vector3, Vector4};

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

    /// The plumb line, camera frame (upwards or downwards).
    pub(crate) fn down(&self) -> Vector3<f64> {
        self.r.row(2).transpose()
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
    /// Log likelihood that its boxes would still gain were it not there: others, not seen in the same image, explain them
    /// too.
    pub(crate) otherwise: f64,
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
            sigma_m: model.sigma_m(m_per_px, b.plumb_share[k]),
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
    let law = model.at(px);
    let mut product = 1.0;
    let mut used = 0;
    for (k, e) in residuals(b, c_in_camera, radius_m, model)
        .iter()
        .enumerate()
    {
        if b.usable[k] {
            let variance = e.sigma_m * e.sigma_m;
            let per_s = 1.0 / (variance + extra(&b.normals[k])).sqrt();
            // density per pixel: a wide prediction is thin
            product *= law.density(e.metres * per_s) * e.m_per_px * per_s;
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
    let mut last: Option<(Vector4<f64>, Cholesky<f64, Const<4>>)> = None;
    // of an edge's full weight, step by step: the first weighted ones must not throw good edges out from a poor start
    let least_shares: &[f64] = match (list.len(), start) {
        (..2, _) => &[0.1; 2],
        (_, None) => &[0.1, 0.1, 1e-3, 1e-3],
        (_, Some(_)) => &[0.1, 1e-3, 1e-3, 1e-3],
    };
    for (step, &least_share) in least_shares.iter().enumerate() {
        let mut sums = Sums::of_beliefs(prior, depth);
        for &i in list {
            let (b, p) = (&boxes[i], &placed[boxes[i].frame]);
            match &x {
                Some(x) => sums.add_box(b, p, x, model, least_share),
                None => sums.add_box_unweighted(b, p, prior, model),
            }
        }
        if let (Some(x), Some((_, chol))) = (&x, &last) {
            sums.add_depths(boxes, list, placed, x, chol);
        }
        // the factor is taken from the lower triangle
        let chol = sums.info.cholesky()?;
        let solution = chol.solve(&sums.eta);
        if !solution.iter().all(|v| v.is_finite()) {
            return None;
        }
        let done = step > 0
            && x.is_some_and(|old: Vector4<f64>| {
                let by = solution - old;
                by.dot(&(sums.full() * by)) < SMALL_STEP * SMALL_STEP
            });
        x = Some(solution);
        last = Some((solution, chol));
        if done {
            break;
        }
    }
    let (x, chol) = last.filter(|(x, _)| x[3] > 1e-4)?;
    Some(Fit {
        x,
        cov: chol.inverse(),
    })
}

/// A fitted body with one more box: what is known so far counts as a Gaussian (Kalman's update in information form,
/// linearised twice). O(1).
pub(crate) fn update(
    x: &Vector4<f64>,
    cov: &Matrix4<f64>,
    b: &BoxObs,
    p: &Placed,
    model: &EdgeModel,
) -> Option<Fit> {
    let info = cov.cholesky()?.inverse();
    let known = Sums {
        info,
        eta: info * x,
    };
    let mut now = *x;
    let mut last = None;
    for _ in 0..2 {
        let mut sums = known.clone();
        sums.add_box(b, p, &now, model, 1e-3);
        sums.add_depth(b, p, &now, |row| row.dot(&(cov * row)));
        let chol = sums.info.cholesky()?;
        now = chol.solve(&sums.eta);
        last = Some(chol);
    }
    let usable = now.iter().all(|v| v.is_finite()) && now[3] > 1e-4;
    let cov = last.filter(|_| usable)?.inverse();
    Some(Fit { x: now, cov })
}

/// A step smaller than this, in standard deviations of the body, ends a fit.
const SMALL_STEP: f64 = 0.01;

/// Normal equations of a body; of the symmetric matrix the lower triangle.
#[derive(Clone)]
struct Sums {
    info: Matrix4<f64>,
    eta: Vector4<f64>,
}

/// What the edges of one box add, camera frame: with rows `(m, -1)` the weighted sums of `m m'`, `m` and 1, and those of
/// `m` and 1 times what each row comes to.
#[derive(Default)]
struct BoxSums {
    mm: Matrix3<f64>,
    m: Vector3<f64>,
    w: f64,
    m_at: Vector3<f64>,
    w_at: f64,
}

impl BoxSums {
    fn add(&mut self, m: &Vector3<f64>, at: f64, w: f64) {
        let wm = m * w;
        for k in 0..3 {
            for i in k..3 {
                self.mm[(i, k)] += m[i] * wm[k];
            }
        }
        self.m += wm;
        self.w += w;
        self.m_at += wm * at;
        self.w_at += w * at;
    }
}

impl Sums {
    fn full(&self) -> Matrix4<f64> {
        let mut full = self.info;
        full.fill_upper_triangle_with_lower_triangle();
        full
    }

    fn of_beliefs(prior: &Prior, depth: Option<&DepthPrior>) -> Self {
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
        Self { info, eta }
    }

    /// A box for a body at `x`.
    fn add_box(
        &mut self,
        b: &BoxObs,
        p: &Placed,
        x: &Vector4<f64>,
        model: &EdgeModel,
        least_share: f64,
    ) {
        let from_origin = p.r.tr_mul(&x.xyz());
        let c = from_origin - p.r.tr_mul(&p.t);
        let distance = c.norm();
        let law = model.at(radius_px(b, distance, x[3].max(1e-3)));
        let per_distance2 = 1.0 / (distance * distance);
        let mut sums = BoxSums::default();
        for k in 0..4 {
            if !b.usable[k] {
                continue;
            }
            let e = b.normals[k].dot(&c) + b.swayed_m[k] - x[3];
            let per_sigma = 1.0 / model.sigma_m(distance * b.rad_per_px[k], b.plumb_share[k]);
            let core = law.core_share(e * per_sigma);
            let m = b.normals[k] - c * (e * per_distance2);
            let at = m.dot(&from_origin) - x[3] - e;
            sums.add(&m, at, core.max(least_share) * per_sigma * per_sigma);
        }
        self.add(&sums, p);
    }

    /// The depths of the boxes for a body at `x`, known as well as `chol` tells; of a single box it is begun with.
    fn add_depths(
        &mut self,
        boxes: &[BoxObs],
        list: &[usize],
        placed: &[Placed],
        x: &Vector4<f64>,
        chol: &Cholesky<f64, Const<4>>,
    ) {
        for b in list.iter().map(|&i| &boxes[i]).filter(|_| list.len() > 1) {
            self.add_depth(b, &placed[b.frame], x, |row| row.dot(&chol.solve(row)));
        }
    }

    /// A box's depth, where it has one, for a body at `x` of which `unknown` tells the variance along a row.
    fn add_depth(
        &mut self,
        b: &BoxObs,
        p: &Placed,
        x: &Vector4<f64>,
        unknown: impl Fn(&Vector4<f64>) -> f64,
    ) {
        let Some(depth) = b.depth else {
            return;
        };
        let along: Vector3<f64> = p.r.column(2).into_owned();
        let row = along.push(-1.0);
        let e = depth.residual_m(&p.into_camera(&x.xyz()), x[3]);
        let w = depth.weight(e, unknown(&row));
        self.info += row * row.transpose() * w;
        self.eta += row * ((row.dot(x) - e) * w);
    }

    /// A box for a body of which nothing is known but the size.
    fn add_box_unweighted(&mut self, b: &BoxObs, p: &Placed, prior: &Prior, model: &EdgeModel) {
        let distance = prior.radius_m.0 / b.half_angle.max(1e-4);
        let t = p.r.tr_mul(&p.t);
        let mut sums = BoxSums::default();
        for k in 0..4 {
            if b.usable[k] {
                let n = &b.normals[k];
                let variance = model.variance_m2(distance * b.rad_per_px[k], b.plumb_share[k]);
                sums.add(n, n.dot(&t) - b.swayed_m[k], 1.0 / variance);
            }
        }
        self.add(&sums, p);
    }

    /// Turns a box's sums into the orchard frame and adds them.
    fn add(&mut self, of: &BoxSums, p: &Placed) {
        let mut mm = of.mm;
        mm.fill_upper_triangle_with_lower_triangle();
        let turned = p.r * mm * p.r.transpose();
        let m = p.r * of.m;
        let at = p.r * of.m_at;
        for k in 0..3 {
            for i in k..3 {
                self.info[(i, k)] += turned[(i, k)];
            }
            self.info[(3, k)] -= m[k];
            self.eta[k] += at[k];
        }
        self.info[(3, 3)] += of.w;
        self.eta[3] -= of.w_at;
    }
}
