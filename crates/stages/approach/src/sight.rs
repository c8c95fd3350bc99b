//! How much of a sweep no camera saw into.

use crate::config::Config;
use crate::solids::SolidShape;
use crate::surroundings::Surroundings;
use crate::sweep::Cylinder;
use corymb_geometry::Lens;
use corymb_model::frames::{CameraFrame, Orchard, Pose};
use corymb_model::run::Camera;
use nalgebra::{Isometry3, Vector3};
use std::collections::BTreeMap;

/// What the cameras looked at.
#[derive(Debug, Clone, Copy, Default)]
pub struct Sight<'a> {
    /// Cameras of the run.
    pub cameras: &'a [Camera],
    /// One an image: position in `cameras`, and the camera's corrected pose.
    pub views: &'a [(usize, Pose<Orchard, CameraFrame>)],
}

/// Lenses made once.
pub(crate) struct Lenses<'a> {
    sight: Sight<'a>,
    lenses: Vec<Lens>,
}

/// A body that hides what is behind it, and images that show the place of one cluster; what is seen is kept.
pub(crate) struct Seen<'a> {
    surroundings: &'a Surroundings,
    views: Vec<View<'a>>,
    step_m: f64,
    known: BTreeMap<[i32; 3], Space>,
}

/// An image.
struct View<'a> {
    lens: &'a Lens,
    camera_from_orchard: Isometry3<f64>,
    /// Where it was taken from.
    eye: Vector3<f64>,
}

/// What is at a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Space {
    /// Something solid: there is nothing to see into.
    Filled,
    Seen,
    Unseen,
}

impl<'a> Lenses<'a> {
    pub(crate) fn new(sight: Sight<'a>) -> Self {
        Self {
            sight,
            lenses: sight.cameras.iter().map(Lens::new).collect(),
        }
    }

    /// `None` where there are no images at all.
    pub(crate) fn about(
        &'a self,
        surroundings: &'a Surroundings,
        config: &Config,
    ) -> Option<Seen<'a>> {
        if self.sight.views.is_empty() {
            return None;
        }
        let members = surroundings
            .bodies
            .get(..surroundings.members)
            .unwrap_or_default();
        // few members
        let middle =
            members.iter().map(|b| b.centre).sum::<Vector3<f64>>() / members.len().max(1) as f64;
        let shows = |(camera_idx, pose): &(usize, Pose<Orchard, CameraFrame>)| {
            let lens = self.lenses.get(*camera_idx)?;
            let camera_from_orchard = pose.iso.inverse();
            is_in_image(lens, &camera_from_orchard, &middle).then_some((lens, camera_from_orchard))
        };
        let mut views: Vec<(&Lens, Isometry3<f64>)> =
            self.sight.views.iter().filter_map(shows).collect();
        if views.len() > config.sight_views {
            let (n, wanted) = (views.len(), config.sight_views);
            views = (0..wanted)
                .filter_map(|k| views.get(k * n / wanted).copied())
                .collect();
        }
        let views = views.into_iter().map(|(lens, camera_from_orchard)| View {
            lens,
            eye: camera_from_orchard.inverse().translation.vector,
            camera_from_orchard,
        });
        Some(Seen {
            surroundings,
            views: views.collect(),
            step_m: config.sight_step_m,
            known: BTreeMap::new(),
        })
    }
}

fn is_in_image(lens: &Lens, camera_from_orchard: &Isometry3<f64>, p: &Vector3<f64>) -> bool {
    let p_in_camera = camera_from_orchard.rotation * p + camera_from_orchard.translation.vector;
    lens.project(&p_in_camera).is_ok_and(|px| {
        px.x >= 0.0 && px.y >= 0.0 && px.x <= lens.width_px() && px.y <= lens.height_px()
    })
}

impl Seen<'_> {
    /// Share of the free points of a lattice inside the swept cylinder that no image shows; 0 where none is free.
    pub(crate) fn unseen_share(
        &mut self,
        orchard_from_tool: &Isometry3<f64>,
        swept: &Cylinder,
    ) -> f64 {
        let ends = [swept.low_m, swept.high_m].map(|z| {
            orchard_from_tool
                .transform_point(&[0.0, 0.0, z].into())
                .coords
        });
        let around = Vector3::repeat(swept.radius_m);
        let [first, last] = [
            (ends[0].inf(&ends[1]) - around),
            (ends[0].sup(&ends[1]) + around),
        ]
        .map(|p| p.map(|x| cell(x / self.step_m)));
        let tool_from_orchard = orchard_from_tool.inverse();
        let turn = *tool_from_orchard.rotation.to_rotation_matrix().matrix();
        let (mut seen, mut unseen) = (0_u32, 0_u32);
        for i in first.x..=last.x {
            for j in first.y..=last.y {
                for k in first.z..=last.z {
                    let p = self.place([i, j, k]);
                    let p_in_tool = turn * p + tool_from_orchard.translation.vector;
                    if swept.distance(&p_in_tool) <= 0.0 {
                        match self.at([i, j, k], &p) {
                            Space::Filled => {}
                            Space::Seen => seen += 1,
                            Space::Unseen => unseen += 1,
                        }
                    }
                }
            }
        }
        if seen + unseen == 0 {
            0.0
        } else {
            f64::from(unseen) / f64::from(seen + unseen)
        }
    }

    fn place(&self, [i, j, k]: [i32; 3]) -> Vector3<f64> {
        Vector3::new(f64::from(i), f64::from(j), f64::from(k)) * self.step_m
    }

    fn at(&mut self, key: [i32; 3], p: &Vector3<f64>) -> Space {
        if let Some(known) = self.known.get(&key) {
            return *known;
        }
        let space = self.look(p);
        self.known.insert(key, space);
        space
    }

    fn look(&self, p: &Vector3<f64>) -> Space {
        let bodies = &self.surroundings.bodies;
        if bodies
            .iter()
            .any(|b| b.existence >= 0.5 && (b.centre - p).norm() < b.radius)
        {
            return Space::Filled;
        }
        let shows = |view: &View<'_>| {
            is_in_image(view.lens, &view.camera_from_orchard, p) && !self.is_hidden(&view.eye, p)
        };
        if self.views.iter().any(shows) {
            Space::Seen
        } else {
            Space::Unseen
        }
    }

    fn is_hidden(&self, eye: &Vector3<f64>, p: &Vector3<f64>) -> bool {
        let by_fruit = |b: &crate::surroundings::Body| {
            b.existence >= 0.5 && apart(eye, p, &b.centre, &b.centre) < b.radius
        };
        let by_solid = |shape: &SolidShape| match shape {
            SolidShape::Capsule(s) => apart(eye, p, &s.a, &s.b) < 0.5 * (s.ra_m + s.rb_m),
            SolidShape::Box {
                orchard_from_box,
                half_m,
            } => passes_box(orchard_from_box, half_m, eye, p),
        };
        self.surroundings.bodies.iter().any(by_fruit)
            || self.surroundings.solids.iter().any(|s| by_solid(&s.shape))
    }
}

// saturates far outside any orchard
fn cell(x: f64) -> i32 {
    x.round() as i32
}

/// Least distance between the segments `p0 p1` and `q0 q1` (C. Ericson, Real-Time Collision Detection, 2005, 5.1.9).
fn apart(p0: &Vector3<f64>, p1: &Vector3<f64>, q0: &Vector3<f64>, q1: &Vector3<f64>) -> f64 {
    let (d1, d2, r) = (p1 - p0, q1 - q0, p0 - q0);
    let (a, e, f) = (d1.norm_squared(), d2.norm_squared(), d2.dot(&r));
    if a < 1e-18 {
        let t = if e < 1e-18 {
            0.0
        } else {
            (f / e).clamp(0.0, 1.0)
        };
        return (r - d2 * t).norm();
    }
    let c = d1.dot(&r);
    if e < 1e-18 {
        return (r + d1 * (-c / a).clamp(0.0, 1.0)).norm();
    }
    let b = d1.dot(&d2);
    let across = a * e - b * b;
    let s = if across > 1e-18 * a * e {
        ((b * f - c * e) / across).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let t = (b * s + f) / e;
    let (s, t) = if t < 0.0 {
        ((-c / a).clamp(0.0, 1.0), 0.0)
    } else if t > 1.0 {
        (((b - c) / a).clamp(0.0, 1.0), 1.0)
    } else {
        (s, t)
    };
    (r + d1 * s - d2 * t).norm()
}

/// Whether the segment from `eye` to `p` passes through a box, by its slabs.
fn passes_box(
    orchard_from_box: &Isometry3<f64>,
    half_m: &Vector3<f64>,
    eye: &Vector3<f64>,
    p: &Vector3<f64>,
) -> bool {
    let from = orchard_from_box
        .inverse_transform_point(&(*eye).into())
        .coords;
    let along = orchard_from_box
        .inverse_transform_point(&(*p).into())
        .coords
        - from;
    let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
    for axis in 0..3 {
        if along[axis].abs() < 1e-12 {
            if from[axis].abs() > half_m[axis] {
                return false;
            }
            continue;
        }
        let (a, b) = (
            (-half_m[axis] - from[axis]) / along[axis],
            (half_m[axis] - from[axis]) / along[axis],
        );
        enter = enter.max(a.min(b));
        leave = leave.min(a.max(b));
    }
    enter <= leave
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn point() -> impl Strategy<Value = Vector3<f64>> {
        prop::array::uniform3(-1.0..1.0).prop_map(Vector3::from)
    }

    proptest! {
        #[test]
        fn segments_are_apart_as_sampled(p0 in point(), p1 in point(), q0 in point(), q1 in point()) {
            let ours = apart(&p0, &p1, &q0, &q1);
            let mut least = f64::INFINITY;
            for i in 0..=60 {
                for j in 0..=60 {
                    let (s, t) = (f64::from(i) / 60.0, f64::from(j) / 60.0);
                    least = least.min((p0 + (p1 - p0) * s - q0 - (q1 - q0) * t).norm());
                }
            }
            prop_assert!(ours <= least + 1e-9);
            prop_assert!(ours >= least - 0.06);
        }
    }

    #[test]
    fn a_wall_hides_what_is_behind_it() {
        let (wall, half) = (
            Isometry3::translation(0.0, 1.0, 0.0),
            Vector3::new(1.0, 0.1, 1.0),
        );
        assert!(passes_box(
            &wall,
            &half,
            &Vector3::zeros(),
            &Vector3::new(0.0, 2.0, 0.0)
        ));
        assert!(!passes_box(
            &wall,
            &half,
            &Vector3::zeros(),
            &Vector3::new(0.0, 0.8, 0.0)
        ));
        assert!(!passes_box(
            &wall,
            &half,
            &Vector3::zeros(),
            &Vector3::new(3.0, 2.0, 0.0)
        ));
    }
}
