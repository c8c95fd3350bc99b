//! Lenses, forward only: a point in the camera frame to its place in the image.
//!
//! The four models and the orders of their coefficients are those of the ROS `CameraInfo` message.

use corymb_model::run::{Camera, Distortion};
use nalgebra::Vector3;

/// Points nearer to the lens than this are not imaged, metres.
const NEAREST_M: f64 = 0.02;
/// Step of the search for the radius where a lens model folds back.
const FOLD_STEP: f64 = 0.005;
/// Points this much further from the principal point than the farthest corner are not imaged.
const OUTSIDE: f64 = 1.25;
/// Largest tangent of the angle off the optical axis that is imaged (80.5 degrees).
const LARGEST_TANGENT: f64 = 6.0;

/// A camera's optics.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lens {
    focal_px: [f64; 2],
    principal_px: [f64; 2],
    model: Distortion,
    /// Tangent of the angle off axis beyond which the model folds back, or that lies outside the image.
    limit: f64,
    size_px: [f64; 2],
}

impl Lens {
    pub(crate) fn of(camera: &Camera) -> Self {
        let lens = Self {
            focal_px: camera.focal_px,
            principal_px: camera.principal_px,
            model: camera.distortion,
            limit: LARGEST_TANGENT,
            size_px: [f64::from(camera.width_px), f64::from(camera.height_px)],
        };
        Self {
            limit: lens.find_limit(),
            ..lens
        }
    }

    /// Width and height of the image, pixels.
    pub(crate) fn size_px(&self) -> [f64; 2] {
        self.size_px
    }

    /// Cosine and sine of the angle off the optical axis beyond which nothing is imaged.
    pub(crate) fn limit_cos_sin(&self) -> (f64, f64) {
        let cos = 1.0 / self.limit.hypot(1.0);
        (cos, self.limit * cos)
    }

    /// Where the image of `p_in_camera` (metres) lies, pixels; `None` behind the lens or beyond what it can image.
    pub(crate) fn project(&self, p_in_camera: &Vector3<f64>) -> Option<[f64; 2]> {
        if p_in_camera.z < NEAREST_M {
            return None;
        }
        let (x, y) = (p_in_camera.x / p_in_camera.z, p_in_camera.y / p_in_camera.z);
        if x * x + y * y > self.limit * self.limit {
            return None;
        }
        let [xd, yd] = distort(&self.model, x, y);
        Some([
            self.focal_px[0] * xd + self.principal_px[0],
            self.focal_px[1] * yd + self.principal_px[1],
        ])
    }

    /// Pixels of a length of one metre at one metre, on the axis.
    pub(crate) fn pixels_per_unit(&self) -> f64 {
        (self.focal_px[0] * self.focal_px[1]).sqrt()
    }

    fn find_limit(&self) -> f64 {
        let corner_px = |k: usize| {
            self.principal_px[k]
                .abs()
                .max((self.size_px[k] - self.principal_px[k]).abs())
        };
        let reach_px = OUTSIDE * corner_px(0).hypot(corner_px(1));
        let focal_px = self.focal_px[0].min(self.focal_px[1]);
        let mut before = 0.0;
        let mut radius = FOLD_STEP;
        while radius < LARGEST_TANGENT {
            let now = radial(&self.model, radius);
            if now <= before {
                return radius - 2.0 * FOLD_STEP;
            }
            if now * focal_px > reach_px {
                return radius;
            }
            before = now;
            radius += FOLD_STEP;
        }
        LARGEST_TANGENT
    }
}

/// Distorted radius of an undistorted one.
fn radial(model: &Distortion, r: f64) -> f64 {
    let r2 = r * r;
    match model {
        Distortion::None => r,
        Distortion::PlumbBob([k1, k2, _, _, k3]) => r * (1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))),
        Distortion::RationalPolynomial([k1, k2, _, _, k3, k4, k5, k6]) => {
            r * (1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))) / (1.0 + r2 * (k4 + r2 * (k5 + r2 * k6)))
        }
        Distortion::Equidistant([k1, k2, k3, k4]) => {
            let t = r.atan();
            let t2 = t * t;
            t * (1.0 + t2 * (k1 + t2 * (k2 + t2 * (k3 + t2 * k4))))
        }
    }
}

fn distort(model: &Distortion, x: f64, y: f64) -> [f64; 2] {
    let r2 = x * x + y * y;
    let r = r2.sqrt();
    let stretch = if r > 1e-12 { radial(model, r) / r } else { 1.0 };
    let (p1, p2) = match model {
        Distortion::None | Distortion::Equidistant(_) => (0.0, 0.0),
        Distortion::PlumbBob(k) => (k[2], k[3]),
        Distortion::RationalPolynomial(k) => (k[2], k[3]),
    };
    [
        x * stretch + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
        y * stretch + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use corymb_model::Pose;

    fn camera(focal_px: [f64; 2], principal_px: [f64; 2], distortion: Distortion) -> Lens {
        Lens::of(&Camera {
            id: "c".into(),
            width_px: 1440,
            height_px: 1080,
            focal_px,
            principal_px,
            distortion,
            rig_from_camera: Pose::identity(),
        })
    }

    /// Stereo calibration of 2022-05-21 published in hfreecmu/fruitlet_association_network; pixels computed apart
    /// from this code and kept to four decimals.
    #[test]
    fn published_calibration_gives_the_reference_pixels() {
        let d = [
            -0.2886829876277491,
            0.1830853858513301,
            0.002447406765485187,
            0.0008182037772674989,
            0.0,
        ];
        let lens = camera(
            [1723.155242724805, 1725.497897355215],
            [728.6509282493386, 518.1240087485318],
            Distortion::PlumbBob(d),
        );
        for (p, px) in [
            ([0.05, 0.03, 0.5], [900.3937, 621.3557]),
            ([0.1, -0.08, 0.5], [1066.9624, 247.4580]),
            ([-0.15, 0.1, 0.5], [229.4362, 852.0576]),
        ] {
            let got = lens.project(&Vector3::from(p)).unwrap();
            assert!(
                (got[0] - px[0]).abs() < 1e-4 && (got[1] - px[1]).abs() < 1e-4,
                "{got:?} for {px:?}"
            );
        }
    }

    #[test]
    fn equidistant_without_coefficients_is_the_angle() {
        let lens = camera(
            [1000.0, 1000.0],
            [0.0, 0.0],
            Distortion::Equidistant([0.0; 4]),
        );
        let got = lens.project(&Vector3::new(1.0, 0.0, 1.0)).unwrap();
        assert!(
            (got[0] - 1000.0 * std::f64::consts::FRAC_PI_4).abs() < 1e-9 && got[1].abs() < 1e-9
        );
    }

    #[test]
    fn rational_with_equal_numerator_and_denominator_is_ideal() {
        let k = Distortion::RationalPolynomial([0.3, 0.1, 0.0, 0.0, 0.02, 0.3, 0.1, 0.02]);
        let got = camera([900.0, 910.0], [5.0, 7.0], k)
            .project(&Vector3::new(0.3, -0.2, 1.0))
            .unwrap();
        assert!((got[0] - 275.0).abs() < 1e-9 && (got[1] + 175.0).abs() < 1e-9);
    }

    #[test]
    fn a_lens_that_folds_back_does_not_image_what_lies_beyond() {
        let lens = camera(
            [1000.0, 1000.0],
            [0.0, 0.0],
            Distortion::PlumbBob([-0.3, 0.0, 0.0, 0.0, 0.0]),
        );
        assert!(lens.project(&Vector3::new(1.0, 0.0, 1.0)).is_some());
        // the fold of r (1 - 0.3 r2) lies at r = 1/sqrt(0.9) = 1.054
        assert!(lens.project(&Vector3::new(1.06, 0.0, 1.0)).is_none());
        assert!(lens.project(&Vector3::new(0.0, 0.0, -1.0)).is_none());
    }
}
