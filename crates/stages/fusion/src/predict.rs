//! Where a body should appear in an image, and how well a box there fits it.

use crate::bodies::{Landmark, Placed};
use crate::edge_model::EdgeModel;
use crate::observe::BoxObs;
use corymb_geometry::camera::Lens;
use nalgebra::{Matrix2x3, Matrix3, Matrix4, Vector2, Vector3};

/// A body in the camera frame of one image.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Seen {
    pub(crate) c: Vector3<f64>,
    pub(crate) radius_m: f64,
    /// Covariance of centre and radius, camera frame.
    pub(crate) cov: Matrix4<f64>,
    /// Middle on the plane z = 1.
    pub(crate) at: Vector2<f64>,
    pub(crate) distance_m: f64,
}

impl Seen {
    pub(crate) fn new(l: &Landmark, p: &Placed) -> Option<Self> {
        let c = p.into_camera(&l.centre());
        if c.z < 0.05 || l.radius() <= 0.0 {
            return None;
        }
        let r = p.r.transpose();
        let mut cov = l.cov;
        let block = r * l.cov.fixed_view::<3, 3>(0, 0) * p.r;
        let side = r * l.cov.fixed_view::<3, 1>(0, 3);
        cov.fixed_view_mut::<3, 3>(0, 0).copy_from(&block);
        cov.fixed_view_mut::<3, 1>(0, 3).copy_from(&side);
        cov.fixed_view_mut::<1, 3>(3, 0)
            .copy_from(&side.transpose());
        let at = Vector2::new(c.x / c.z, c.y / c.z);
        Some(Self {
            c,
            radius_m: l.radius(),
            cov,
            at,
            distance_m: c.norm(),
        })
    }

    /// The same body somewhere near.
    pub(crate) fn moved(&self, by: &Vector3<f64>) -> Self {
        let c = self.c + by;
        Self {
            c,
            at: Vector2::new(c.x / c.z, c.y / c.z),
            distance_m: c.norm(),
            ..*self
        }
    }

    /// Half widths on the plane z = 1 of a window that holds `sigmas` standard deviations, with extra variance of
    /// the centre (metres squared, camera frame).
    pub(crate) fn window(&self, sigmas: f64, extra_var: f64) -> Vector2<f64> {
        let z = self.c.z;
        let jx = Vector3::new(1.0 / z, 0.0, -self.c.x / (z * z));
        let jy = Vector3::new(0.0, 1.0 / z, -self.c.y / (z * z));
        let s = self.cov.fixed_view::<3, 3>(0, 0) + Matrix3::identity() * extra_var;
        let half = |j: Vector3<f64>| (j.dot(&(s * j)).max(0.0).sqrt() * sigmas).min(1.0);
        Vector2::new(half(jx), half(jy)) + Vector2::repeat(0.5 * self.radius_m / z)
    }

    /// Whether the middle lies inside the image by a margin in radii.
    pub(crate) fn in_image(&self, lens: &Lens, radii: f64) -> bool {
        let Ok(px) = lens.project(&self.c) else {
            return false;
        };
        let m = radii * self.radius_m / self.c.z * lens.mean_focal_px();
        px.x > m && px.y > m && px.x < lens.width_px() - m && px.y < lens.height_px() - m
    }
}

/// A box against a prediction: middle across, middle down, size; metres at the body's distance.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Innovation {
    pub(crate) y: Vector3<f64>,
    /// Rows: derivative of `y` by the centre (camera frame).
    pub(crate) rows: Matrix3<f64>,
    /// Standard deviations of the box itself (middle, middle, size), metres.
    pub(crate) own_var: Vector3<f64>,
}

impl Innovation {
    /// `occlusion_share`: how far, as a share of the radius, occluders typically move the middle.
    pub(crate) fn new(b: &BoxObs, s: &Seen, model: &EdgeModel, occlusion_share: f64) -> Self {
        let n = &b.normals;
        let across = (n[0] - n[2]) * 0.5;
        let down = (n[1] - n[3]) * 0.5;
        let mean = (n[0] + n[1] + n[2] + n[3]) * 0.25;
        let y = Vector3::new(
            across.dot(&s.c),
            down.dot(&s.c),
            s.radius_m - mean.dot(&s.c),
        );
        let m = s.distance_m * (b.rad_per_px[0] + b.rad_per_px[1]) * 0.5 * model.sigma_px;
        let o = occlusion_share * s.radius_m;
        let middle = |k: usize| 0.5 * m * m + o * o + model.stir.along(b.plumb_share[k]);
        let own_var = Vector3::new(middle(0), middle(1), 0.25 * m * m + o * o);
        let rows = Matrix3::from_rows(&[across.transpose(), down.transpose(), -mean.transpose()]);
        Self { y, rows, own_var }
    }

    /// Covariance of the innovation under the body's own.
    pub(crate) fn covariance(&self, s: &Seen) -> Matrix3<f64> {
        let centre = s.cov.fixed_view::<3, 3>(0, 0);
        let with_radius = self.rows * s.cov.fixed_view::<3, 1>(0, 3);
        let mut all = self.rows * centre * self.rows.transpose();
        // the size counts the radius once
        for k in 0..3 {
            all[(k, 2)] += with_radius[k];
            all[(2, k)] += with_radius[k];
            all[(k, k)] += self.own_var[k];
        }
        all[(2, 2)] += s.cov[(3, 3)];
        all
    }

    /// Variance of the size: the last of [`Innovation::covariance`].
    pub(crate) fn size_variance(&self, s: &Seen) -> f64 {
        let row = self.rows.row(2).transpose().push(1.0);
        row.dot(&(s.cov * row)) + self.own_var.z
    }

    /// Derivative of the middle (two rows) by the centre.
    pub(crate) fn middle_rows(&self) -> Matrix2x3<f64> {
        self.rows.fixed_rows::<2>(0).into_owned()
    }
}
