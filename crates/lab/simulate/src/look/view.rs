//! One image: everything that its camera sees.

use super::occluders::{Occluder, Shape, leaf};
use super::parts::{Part, Sighting};
use super::sampling::{BoxPx, EMPTY, area, clip, extreme, inside, outward, take_in};
use super::spheroid::{Disc, Spheroid};
use crate::grow::{Crop, TrueBody};
use crate::lens::Lens;
use crate::spec::SceneSpec;
use nalgebra::{Isometry3, Point3, Vector3};

/// Samples along an outline.
const RIM: usize = 72;
/// Rings inside it, and samples on each.
const RINGS: usize = 9;
const ON_RING: usize = 36;
/// Samples along a stem.
const ALONG_STEM: usize = 48;
/// What hides must be nearer by this share of the distance.
const MARGIN: f64 = 1e-4;
/// A stem is not hidden by what it touches: margin in metres.
const TOUCH_M: f64 = 0.001;

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

    fn to_camera(&self, p: &Vector3<f64>) -> Vector3<f64> {
        (self.camera_from_orchard * Point3::from(*p)).coords
    }

    /// Whether a ball may show in the image.
    fn in_view(&self, centre: &Vector3<f64>, radius: f64) -> bool {
        let distance = centre.norm();
        if distance <= radius {
            return true;
        }
        let off_axis = (centre.z / distance).clamp(-1.0, 1.0).acos();
        off_axis < self.lens.limit_rad() + (radius / distance).asin()
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
        let reach = shape.outer_radius() + 0.05;
        if shape.centre.z < 0.0 || !self.in_view(&shape.centre, reach) {
            return;
        }
        let own = (!phantom).then_some(body_idx);
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
        let ball = self.ball(&shape, own, all, blank(Part::Body));
        seen.extend(ball.map(|s| Sighting {
            axis_px: self.axis(&shape),
            ..s
        }));
        if phantom {
            return;
        }
        if self.spec.crop.kind.has_stem() {
            seen.extend(self.stem(body, &shift, all, blank(Part::Stem)));
        }
        if self.spec.crop.kind.has_calyx() {
            let end = shape.centre + shape.axis * (shape.radius * shape.ratio);
            let facing = -shape.axis.dot(&end) / end.norm().max(1e-9);
            if facing >= self.spec.detector.calyx_within_deg.to_radians().cos() {
                let tuft = Spheroid::sphere(end, shape.radius * self.spec.detector.calyx_share);
                let blank = Sighting {
                    near_m: tuft.nearest_z(),
                    ..blank(Part::Calyx)
                };
                seen.extend(self.ball(&tuft, own, all, blank));
            }
        }
    }

    /// A spheroid; bodies named `own` do not hide it.
    fn ball(
        &self,
        shape: &Spheroid,
        own: Option<usize>,
        all: &[Occluder],
        blank: Sighting,
    ) -> Option<Sighting> {
        let disc = shape.disc()?;
        let rim = self.rim(&disc)?;
        let whole_px = self.whole(&disc, &rim)?;
        if area(&clip(&whole_px, self.lens.size_px())) <= 0.0 {
            return None;
        }
        let radius = shape.outer_radius();
        let before = |o: &&Occluder| {
            (o.body_idx.is_none() || o.body_idx != own) && o.may_hide(&shape.centre, radius)
        };
        let near: Vec<&Occluder> = all.iter().filter(before).collect();
        let (box_px, visible_share) = self.visible(shape, &disc, &rim, &whole_px, &near);
        (visible_share > 0.0).then(|| Sighting {
            box_px,
            whole_px,
            visible_share,
            ..blank
        })
    }

    /// Samples of the outline; `None` where some of it cannot be imaged.
    fn rim(&self, disc: &Disc) -> Option<Vec<(Vector3<f64>, [f64; 2])>> {
        (0..RIM)
            .map(|k| {
                let p = disc.at(1.0, k as f64 / RIM as f64);
                self.lens.project(&p).map(|px| (p, px))
            })
            .collect()
    }

    fn whole(&self, disc: &Disc, rim: &[(Vector3<f64>, [f64; 2])]) -> Option<BoxPx> {
        let mut edges = [0.0; 4];
        for (k, edge) in edges.iter_mut().enumerate() {
            let best = farthest(rim, k)?;
            let value = extreme(&|turn| disc.at(1.0, turn), self.lens, best, RIM, k)?;
            *edge = if k < 2 { -value } else { value };
        }
        Some(edges)
    }

    /// Box and share of what is not hidden.
    fn visible(
        &self,
        shape: &Spheroid,
        disc: &Disc,
        rim: &[(Vector3<f64>, [f64; 2])],
        whole_px: &BoxPx,
        near: &[&Occluder],
    ) -> (BoxPx, f64) {
        let size_px = self.lens.size_px();
        let hidden = |p: &Vector3<f64>| near.iter().any(|o| o.hides(p, MARGIN));
        let mut box_px = EMPTY;
        let mut shown = 0_usize;
        for (share, turn) in rings() {
            let p = disc.at(share, turn);
            // the near surface, not the disc inside the body, must be free
            let surface = p * shape.entry(&p).unwrap_or(1.0);
            let Some(px) = self.lens.project(&surface) else {
                continue;
            };
            if !hidden(&surface) {
                take_in(&mut box_px, &px);
                shown += usize::from(inside(&px, size_px));
            }
        }
        let open: Vec<bool> = rim.iter().map(|(p, _)| !hidden(p)).collect();
        for ((_, px), _) in rim.iter().zip(&open).filter(|(_, open)| **open) {
            take_in(&mut box_px, px);
        }
        // an edge whose outermost sample is free is where it would be without anything in front
        for (k, edge) in box_px.iter_mut().enumerate() {
            if farthest(rim, k).is_some_and(|best| open[best]) {
                *edge = whole_px[k];
            }
        }
        (
            clip(&box_px, size_px),
            shown as f64 / (RINGS * ON_RING) as f64,
        )
    }

    fn stem(
        &self,
        body: &TrueBody,
        shift: &Vector3<f64>,
        all: &[Occluder],
        blank: Sighting,
    ) -> Option<Sighting> {
        let half_width_m = 0.5e-3 * self.spec.crop.stem_diameter_mm;
        let points = self.stem_points(body, shift);
        let middle = points.get(points.len() / 2)?;
        let reach = points
            .iter()
            .map(|p| (p - middle).norm())
            .fold(half_width_m, f64::max);
        let near: Vec<&Occluder> = all.iter().filter(|o| o.may_hide(middle, reach)).collect();
        let (mut whole_px, mut box_px) = (EMPTY, EMPTY);
        let mut shown = 0_usize;
        for p in &points {
            let px = self.lens.project(p)?;
            let pad_px = half_width_m * self.lens.pixels_per_unit() / p.z;
            let around = [
                [px[0] - pad_px, px[1] - pad_px],
                [px[0] + pad_px, px[1] + pad_px],
            ];
            around.iter().for_each(|q| take_in(&mut whole_px, q));
            if !near.iter().any(|o| o.hides(p, TOUCH_M / p.norm())) {
                around.iter().for_each(|q| take_in(&mut box_px, q));
                shown += usize::from(inside(&px, self.lens.size_px()));
            }
        }
        let visible_share = shown as f64 / points.len() as f64;
        let near_m = points.iter().map(|p| p.z).fold(f64::INFINITY, f64::min) - half_width_m;
        let box_px = clip(&box_px, self.lens.size_px());
        (shown > 0).then(|| Sighting {
            box_px,
            whole_px,
            visible_share,
            near_m,
            ..blank
        })
    }

    /// Evenly along the stem; the spur's end stays, the body's end sways with it.
    fn stem_points(&self, body: &TrueBody, shift: &Vector3<f64>) -> Vec<Vector3<f64>> {
        let pieces = body.stem.len().saturating_sub(1);
        (0..=ALONG_STEM)
            .filter_map(|k| {
                let at = pieces as f64 * k as f64 / ALONG_STEM as f64;
                let i = (at as usize).min(pieces.saturating_sub(1));
                let (a, b) = (body.stem.get(i)?.xyz, body.stem.get(i + 1)?.xyz);
                let p = a + (b - a) * (at - i as f64) + shift * (k as f64 / ALONG_STEM as f64);
                Some(self.to_camera(&p))
            })
            .collect()
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

/// Shares of the rim's radius and turns of the samples inside an outline, each standing for an equal area.
fn rings() -> impl Iterator<Item = (f64, f64)> {
    (0..RINGS).flat_map(|r| {
        let share = ((r as f64 + 0.5) / RINGS as f64).sqrt();
        let offset = if r % 2 == 0 { 0.0 } else { 0.5 };
        (0..ON_RING).map(move |k| (share, (k as f64 + offset) / ON_RING as f64))
    })
}

fn farthest(rim: &[(Vector3<f64>, [f64; 2])], k: usize) -> Option<usize> {
    let reach = |i: &usize| {
        rim.get(*i)
            .map_or(f64::NEG_INFINITY, |(_, px)| outward(px, k))
    };
    (0..rim.len()).max_by(|a, b| reach(a).total_cmp(&reach(b)).then(b.cmp(a)))
}
