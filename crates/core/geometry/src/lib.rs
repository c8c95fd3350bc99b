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

pub use assign::assign;
pub use camera::{Lens, ProjectError, UndistortError};
pub use edges::{EdgeError, EdgePlane, Side, box_planes};
pub use poses::{InterpolateError, interpolate};
pub use sphere::{SphereError, clip_box, sphere_box, sphere_box_with_jacobian, sphere_ellipse};
pub use triangulate::{
    PlaneObservation, RadiusPrior, Triangulation, TriangulationConfig, triangulate,
};
