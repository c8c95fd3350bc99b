//! A box edge as a plane through the camera's centre.
//!
//! A sphere with centre c and radius r (camera frame) whose image touches the edge touches that plane, so with the
//! unit normal n towards the inside of the box, n . c = r: one equation, linear in (c, r). In an ideal lens the
//! left edge at normalised x = a gives n = (1, 0, -a) / sqrt(1 + a^2). In a distorted one the edge is a curve; the
//! plane taken holds the ray of the edge's midpoint and the curve's tangent there, since the silhouette of a small
//! sphere touches its box near the middle of the edges.

use crate::camera::{Lens, UndistortError};
use nalgebra::{Vector2, Vector3};
use thiserror::Error;

/// Which edge of a box.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Side {
    /// Least x.
    Left,
    /// Least y.
    Top,
    /// Greatest x.
    Right,
    /// Greatest y.
    Bottom,
}

impl Side {
    /// Every side, in the order of `[x0, y0, x1, y1]`.
    pub const ALL: [Side; 4] = [Side::Left, Side::Top, Side::Right, Side::Bottom];

    /// Position in `[x0, y0, x1, y1]`.
    #[must_use]
    pub fn index(self) -> usize {
        match self {
            Side::Left => 0,
            Side::Top => 1,
            Side::Right => 2,
            Side::Bottom => 3,
        }
    }

    /// Unit image direction from the edge into the box.
    #[must_use]
    pub fn inward(self) -> Vector2<f64> {
        match self {
            Side::Left => Vector2::new(1.0, 0.0),
            Side::Top => Vector2::new(0.0, 1.0),
            Side::Right => Vector2::new(-1.0, 0.0),
            Side::Bottom => Vector2::new(0.0, -1.0),
        }
    }

    /// Midpoint of this side of the box.
    #[must_use]
    pub fn midpoint(self, [x0, y0, x1, y1]: &[f64; 4]) -> Vector2<f64> {
        match self {
            Side::Left => Vector2::new(*x0, 0.5 * (y0 + y1)),
            Side::Top => Vector2::new(0.5 * (x0 + x1), *y0),
            Side::Right => Vector2::new(*x1, 0.5 * (y0 + y1)),
            Side::Bottom => Vector2::new(0.5 * (x0 + x1), *y1),
        }
    }
}

/// The plane through the camera's centre and a box edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgePlane {
    /// Unit normal in the camera frame, towards the inside of the box: n . c = r for a sphere that touches it.
    pub normal: Vector3<f64>,
    /// How far the plane turns, as seen along the ray of the edge's midpoint, when the edge moves by a pixel:
    /// times the distance of the sphere, it is how far the plane moves there.
    pub rad_per_px: f64,
    /// Which edge.
    pub side: Side,
    /// Whether the edge lies at the border of the image, so that it bounds the sphere but need not touch it.
    pub on_border: bool,
}

/// Why a box has no planes.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum EdgeError {
    /// The box has no area, or its corners are exchanged.
    #[error("the box {box_px:?} is empty")]
    Empty {
        /// x0, y0, x1, y1.
        box_px: [f64; 4],
    },
    /// An edge has a coordinate that is not finite.
    #[error("the box {box_px:?} is not finite")]
    NonFinite {
        /// x0, y0, x1, y1.
        box_px: [f64; 4],
    },
    /// An edge's midpoint has no ray.
    #[error("the {side:?} edge: {source}")]
    Undistort {
        /// Which edge.
        side: Side,
        /// Why.
        source: UndistortError,
    },
}

/// The four planes of a box, in the order left, top, right, bottom.
///
/// `border_margin_px`: an edge this near to the image's border, or beyond it, is marked `on_border`.
///
/// # Errors
/// The box is empty or not finite, or an edge's midpoint lies outside the lens model.
pub fn box_planes(
    lens: &Lens,
    box_px: &[f64; 4],
    border_margin_px: f64,
) -> Result<[EdgePlane; 4], EdgeError> {
    if box_px.iter().any(|x| !x.is_finite()) {
        return Err(EdgeError::NonFinite { box_px: *box_px });
    }
    if box_px[2] <= box_px[0] || box_px[3] <= box_px[1] {
        return Err(EdgeError::Empty { box_px: *box_px });
    }
    let plane = |side| edge_plane(lens, box_px, border_margin_px, side);
    Ok([
        plane(Side::Left)?,
        plane(Side::Top)?,
        plane(Side::Right)?,
        plane(Side::Bottom)?,
    ])
}

fn edge_plane(
    lens: &Lens,
    box_px: &[f64; 4],
    margin_px: f64,
    side: Side,
) -> Result<EdgePlane, EdgeError> {
    let (n, by_px) = lens
        .undistort_with_jacobian(&side.midpoint(box_px))
        .map_err(|source| EdgeError::Undistort { side, source })?;
    let inward_px = side.inward();
    let inward = by_px * inward_px;
    let along = by_px * Vector2::new(-inward_px.y, inward_px.x);
    let ray = n.push(1.0);
    let mut normal = ray.cross(&along.push(0.0)).normalize();
    let mut slope = normal.xy().dot(&inward);
    if slope < 0.0 {
        normal = -normal;
        slope = -slope;
    }
    let on_border = match side {
        Side::Left => box_px[0] <= margin_px,
        Side::Top => box_px[1] <= margin_px,
        Side::Right => box_px[2] >= lens.width_px() - margin_px,
        Side::Bottom => box_px[3] >= lens.height_px() - margin_px,
    };
    Ok(EdgePlane {
        normal,
        rad_per_px: slope / ray.norm(),
        side,
        on_border,
    })
}
