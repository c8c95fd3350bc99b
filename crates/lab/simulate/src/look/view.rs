//! One image: everything that its camera sees.

use super::occluders::{Occluder, Shape, leaf};
use super::parts::{Part, Sighting};
use super::sampling::EMPTY;
use super::spheroid::Spheroid;
use crate::grow::{Crop, TrueBody};
use crate::lens::Lens;
use crate::spec::SceneSpec;
use nalgebra::{Isometry3, Point3, Vector3};

/// Stems and calyx ends reach at most this far beyond their body, metres.
const PARTS_REACH_M: f64 = 0.05;

/// The camera of one image.
pub(crate) struct Looker<'a> {
    pub(crate) spec: &'a SceneSpec,
    pub(crate) crop: &'a Crop,
    pub(crate) lens: &'a Lens,
    pub(crate) camera_from_orchard: Isometry3<f64>,
    pub(crate) time_s: f64,
}

/// Everything that the camera sees, bodies in order, body before stem before calyx end.
pub(crate) fn look(looker: &Looker<'_>) -> Vec<Sighting> {
    let occluders = if looker.spec.detector.occlusion {
        looker.occluders()
    } else {
        Vec::new()
    };
    let mut seen = Vec::new();
    for (body_idx, body) in looker.crop.bodies.iter().enumerate() {
        looker.body(body_idx, body, false, &occluders, &mut seen);
    }
    for (body_idx, body) in looker.crop.phantoms.iter().enumerate() {
        looker.body(body_idx, body, true, &occluders, &mut seen);
    }
    seen
}

impl Looker<'_> {
    fn shift(&self, cluster_idx: usize) -> Vector3<f64> {
        self.crop
            .sways
            .get(cluster_idx)
            .map_or_else(Vector3::zeros, |s| s.at(self.time_s))
    }

    pub(super) fn to_camera(&self, p: &Vector3<f64>) -> Vector3<f64> {
        (self.camera_from_orchard * Point3::from(*p)).coords
    }

    /// Whether a ball may show in the image.
    fn in_view(&self, centre: &Vector3<f64>, radius: f64) -> bool {
        let (cos, sin) = self.lens.limit_cos_sin();
        let aside = (centre.norm_squared() - radius * radius).max(0.0).sqrt();
        // angle off the axis <= limit + half angle of the ball, both sides' cosines times the distance
        centre.z > cos * aside - sin * radius
    }

    fn occluders(&self) -> Vec<Occluder> {
        let bodies = self.crop.bodies.iter().enumerate().map(|(k, b)| {
            let s = Spheroid::of(b, &self.shift(b.cluster_idx), &self.camera_from_orchard);
            (s.centre, s.outer_radius(), Shape::Body(s), Some(k))
        });
        let leaves = self.crop.leaves.iter().map(|l| {
            let centre = self.to_camera(&(l.centre.xyz + self.shift(l.cluster_idx)));
            let turn = &self.camera_from_orchard.rotation;
            let half = [l.half_length_m, l.half_width_m];
            let shape = leaf(centre, turn * l.along.xyz, turn * l.normal.xyz, half);
            (centre, l.half_length_m.max(l.half_width_m), shape, None)
        });
        let wood = self.crop.wood.iter().map(|w| {
            let (a, b) = (self.to_camera(&w.a), self.to_camera(&w.b));
            let radius = w.radius_m;
            (
                (a + b) * 0.5,
                (a - b).norm() * 0.5 + radius,
                Shape::Capsule { a, b, radius },
                None,
            )
        });
        let all = bodies.chain(leaves).chain(wood);
        let seen = all.filter(|(centre, radius, _, _)| self.in_view(centre, *radius));
        seen.map(|(_, _, shape, body_idx)| Occluder::new(shape, body_idx))
            .collect()
    }

    fn body(
        &self,
        body_idx: usize,
        body: &TrueBody,
        phantom: bool,
        all: &[Occluder],
        seen: &mut Vec<Sighting>,
    ) {
        let shift = self.shift(body.cluster_idx);
        let shape = Spheroid::of(body, &shift, &self.camera_from_orchard);
        let reach = shape.outer_radius() + PARTS_REACH_M;
        if shape.centre.z < 0.0 || !self.in_view(&shape.centre, reach) {
            return;
        }
        let blank = |part| Sighting {
            part,
            body_idx,
            phantom,
            box_px: EMPTY,
            whole_px: EMPTY,
            visible_share: 0.0,
            near_m: shape.nearest_z(),
            axis_px: None,
        };
        let own = (!phantom).then_some(body_idx);
        let axis_px = self.axis(&shape);
        let ball = self.ball(&shape, own, all, &blank(Part::Body));
        seen.extend(ball.map(|s| Sighting { axis_px, ..s }));
        let kind = self.spec.crop.kind;
        if kind.has_stem() && !phantom {
            seen.extend(self.stem(body, &shift, all, &blank(Part::Stem)));
        }
        if kind.has_calyx() && !phantom {
            seen.extend(self.calyx(&shape, own, all, &blank(Part::Calyx)));
        }
    }

    /// The calyx end: a round tuft on the far pole, seen where it faces the camera.
    fn calyx(
        &self,
        shape: &Spheroid,
        own: Option<usize>,
        all: &[Occluder],
        blank: &Sighting,
    ) -> Option<Sighting> {
        let end = shape.centre + shape.axis * (shape.radius * shape.ratio);
        let facing = -shape.axis.dot(&end) / end.norm().max(1e-9);
        if facing < self.spec.detector.calyx_within_deg.to_radians().cos() {
            return None;
        }
        let tuft = Spheroid::sphere(end, shape.radius * self.spec.detector.calyx_share);
        let blank = Sighting {
            near_m: tuft.nearest_z(),
            ..*blank
        };
        self.ball(&tuft, own, all, &blank)
    }

    fn axis(&self, shape: &Spheroid) -> Option<([f64; 2], f64)> {
        let half = shape.axis * (shape.radius * shape.ratio);
        let (a, b) = (
            self.lens.project(&(shape.centre - half))?,
            self.lens.project(&(shape.centre + half))?,
        );
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let norm = dx.hypot(dy);
        let sight = shape.centre.normalize();
        let across = shape.axis.cross(&sight).norm();
        (norm > 1e-6).then(|| ([dx / norm, dy / norm], across))
    }
}
