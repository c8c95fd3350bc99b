//! Pure geometry: lenses, box edges as planes, spheres as boxes, triangulation, poses, solids.
//!
//! Nothing here knows a detector, a fruit, a file or a clock. Lengths are metres, angles radians and image
//! coordinates pixels with the origin at the outer top-left corner of the top-left pixel. The camera frame is x
//! right, y down, z forward. The *normalised image plane* is z = 1 of the camera frame, so a point of it is
//! (x / z, y / z).
//!
//! The idea that the crate turns on: a box edge is a plane through the camera's centre, and a sphere that the box
//! shows touches it, which is one equation linear in the sphere's centre and radius ([`edges`],
//! [`mod@triangulate`]); the inverse, from sphere to box, has a closed form ([`sphere`]).
//!
//! ```
//! use corymb_geometry::{Lens, PlaneObservation, Triangulation, TriangulationConfig, box_planes, sphere_box, triangulate};
//! use corymb_model::{Pose, run::{Camera, Distortion}};
//! use nalgebra::{Isometry3, Vector3};
//!
//! let lens = Lens::new(&Camera {
//!     id: "left".into(),
//!     width_px: 1280,
//!     height_px: 960,
//!     focal_px: [1000.0, 1000.0],
//!     principal_px: [640.0, 480.0],
//!     distortion: Distortion::PlumbBob([-0.05, 0.01, 0.0, 0.0, 0.0]),
//!     rig_from_camera: Pose::identity(),
//! });
//! // a sphere of 24 mm, 0.7 m in front of two cameras that stand 0.2 m apart and look the same way
//! let (centre_m, radius_m) = (Vector3::new(0.05, 0.02, 0.7), 0.012);
//! let mut observations = Vec::new();
//! for (view, x_m) in [(0, 0.0), (1, 0.2)] {
//!     let world_from_camera = Isometry3::translation(x_m, 0.0, 0.0);
//!     let box_px = sphere_box(&lens, &(centre_m - world_from_camera.translation.vector), radius_m)?;
//!     for plane in box_planes(&lens, &box_px, 1.0)? {
//!         observations.push(PlaneObservation::new(&plane, &world_from_camera, 0.5, view));
//!     }
//! }
//! match triangulate(&observations, None, &TriangulationConfig::default()) {
//!     Triangulation::Sphere { centre, .. } => assert!((centre - centre_m).norm() < 1e-4),
//!     other => panic!("{other:?}"),
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod assign;
pub mod camera;
pub mod chi2;
mod distortion;
pub mod edges;
mod inverse_depth;
mod polynomial;
pub mod poses;
pub mod solids;
pub mod sphere;
pub mod triangulate;
mod undistortion;

pub use assign::assign;
pub use camera::{Lens, ProjectError, UndistortError};
pub use edges::{EdgeError, EdgePlane, Side, box_planes};
pub use poses::{InterpolateError, interpolate};
pub use sphere::{SphereError, clip_box, sphere_box, sphere_box_with_jacobian, sphere_ellipse};
pub use triangulate::{
    PlaneObservation, RadiusPrior, Triangulation, TriangulationConfig, triangulate,
};
