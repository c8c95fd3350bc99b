//! Coordinate frames as types.
//!
//! ```
//! use corymb_model::frames::{CameraFrame, Orchard, Point, Pose, Rig};
//! let orchard_from_rig = Pose::<Orchard, Rig>::identity();
//! let rig_from_camera = Pose::<Rig, CameraFrame>::identity();
//! let p_in_camera = Point::<CameraFrame>::new(0.0, 0.0, 1.0);
//! let p_in_orchard: Point<Orchard> = orchard_from_rig.after(&rig_from_camera).apply(&p_in_camera);
//! assert_eq!(p_in_orchard.xyz.z, 1.0);
//! ```
//! A pose takes points of its source frame only:
//! ```compile_fail
//! use corymb_model::frames::{CameraFrame, Orchard, Point, Pose, Rig};
//! let orchard_from_rig = Pose::<Orchard, Rig>::identity();
//! let p_in_camera = Point::<CameraFrame>::new(0.0, 0.0, 1.0);
//! orchard_from_rig.apply(&p_in_camera);
//! ```
//! and poses chain only where their inner frames agree:
//! ```compile_fail
//! use corymb_model::frames::{CameraFrame, Orchard, Pose, Rig};
//! let orchard_from_rig = Pose::<Orchard, Rig>::identity();
//! let camera_from_rig = Pose::<CameraFrame, Rig>::identity();
//! orchard_from_rig.after(&camera_from_rig);
//! ```

use nalgebra::{Isometry3, Vector3};
use std::marker::PhantomData;

/// The orchard frame: right-handed, x along the row, z up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Orchard;
/// The vehicle. Its axes are free; only transforms matter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rig;
/// A camera: x right, y down, z forward, origin at the optical centre.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CameraFrame;
/// A tool: +z is the direction in which it moves when it closes on a fruit; the origin is the centre of the rim
/// of the enclosure, which lies at z from -length to 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tool;
/// The foot of an arm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Base;
/// A box-shaped obstacle, origin at its centre.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BoxFrame;

/// A point in frame `F`, metres.
#[derive(Debug)]
pub struct Point<F> {
    /// Coordinates in metres.
    pub xyz: Vector3<f64>,
    frame: PhantomData<F>,
}

/// A unit vector in frame `F`.
#[derive(Debug)]
pub struct Direction<F> {
    /// Components; norm 1.
    pub xyz: Vector3<f64>,
    frame: PhantomData<F>,
}

/// The rigid transform that takes points of frame `Source` to frame `Target`, named `target_from_source`.
#[derive(Debug)]
pub struct Pose<Target, Source> {
    /// The transform itself: rotation first, then translation in metres.
    pub iso: Isometry3<f64>,
    frames: PhantomData<(Target, Source)>,
}

impl<F> Clone for Point<F> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<F> Copy for Point<F> {}
impl<F> PartialEq for Point<F> {
    fn eq(&self, other: &Self) -> bool {
        self.xyz == other.xyz
    }
}
impl<F> Clone for Direction<F> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<F> Copy for Direction<F> {}
impl<F> PartialEq for Direction<F> {
    fn eq(&self, other: &Self) -> bool {
        self.xyz == other.xyz
    }
}
impl<T, S> Clone for Pose<T, S> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<T, S> Copy for Pose<T, S> {}
impl<T, S> PartialEq for Pose<T, S> {
    fn eq(&self, other: &Self) -> bool {
        self.iso == other.iso
    }
}

impl<F> Point<F> {
    /// A point from its coordinates in metres.
    #[must_use]
    pub fn new(x: f64, y: f64, z: f64) -> Self {
        Self::from_vector(Vector3::new(x, y, z))
    }

    /// A point from its coordinates in metres.
    #[must_use]
    pub fn from_vector(xyz: Vector3<f64>) -> Self {
        Self {
            xyz,
            frame: PhantomData,
        }
    }
}

impl<F> Direction<F> {
    /// The direction of `v`, or `None` where `v` has no usable length.
    #[must_use]
    pub fn of(v: Vector3<f64>) -> Option<Self> {
        let norm = v.norm();
        (norm.is_finite() && norm > 1e-12).then(|| Self {
            xyz: v / norm,
            frame: PhantomData,
        })
    }
}

impl<T, S> Pose<T, S> {
    /// A pose from the transform.
    #[must_use]
    pub fn from_isometry(iso: Isometry3<f64>) -> Self {
        Self {
            iso,
            frames: PhantomData,
        }
    }

    /// The pose of two frames that coincide.
    #[must_use]
    pub fn identity() -> Self {
        Self::from_isometry(Isometry3::identity())
    }

    /// `target_from_source` of this pose inverted.
    #[must_use]
    pub fn inverse(&self) -> Pose<S, T> {
        Pose::from_isometry(self.iso.inverse())
    }

    /// `a_from_b.after(&b_from_c)` is `a_from_c`.
    #[must_use]
    pub fn after<R>(&self, inner: &Pose<S, R>) -> Pose<T, R> {
        Pose::from_isometry(self.iso * inner.iso)
    }

    /// The point in the target frame.
    #[must_use]
    pub fn apply(&self, p_in_source: &Point<S>) -> Point<T> {
        Point::from_vector(self.iso.rotation * p_in_source.xyz + self.iso.translation.vector)
    }

    /// The direction in the target frame.
    #[must_use]
    pub fn turn(&self, d_in_source: &Direction<S>) -> Direction<T> {
        Direction {
            xyz: self.iso.rotation * d_in_source.xyz,
            frame: PhantomData,
        }
    }

    /// The origin of the source frame, in the target frame.
    #[must_use]
    pub fn origin(&self) -> Point<T> {
        Point::from_vector(self.iso.translation.vector)
    }
}
