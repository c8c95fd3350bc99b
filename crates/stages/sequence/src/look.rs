//! From where to look again at fruit in doubt.
//!
//! First form: with the camera that had the fruit in view most often, at the median distance from which it had, from the
//! direction that is furthest from all directions recorded so far, within [`Config::look_aside_rad`] of their mean; the
//! image stands as upright as the recorded ones. A new direction is what tells two fruit in line from one, and what sees
//! past the leaf that hid it. Whether the rig can bring the camera there is not checked.

use crate::{Config, Input};
use corymb_model::decisions::Action;
use corymb_model::frames::{CameraFrame, Orchard, Point, Pose};
use corymb_model::run::Camera;
use nalgebra::{Isometry3, Matrix3, Rotation3, Translation3, UnitQuaternion, Vector3};
use std::cmp::Reverse;

/// A proposed second look.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Look {
    /// Position in the map.
    pub(crate) fruitlet_idx: usize,
    /// Position among the cameras.
    pub(crate) camera_idx: usize,
    /// From where.
    pub(crate) orchard_from_camera: Pose<Orchard, CameraFrame>,
}

/// A recorded image that had a place in view.
#[derive(Debug, Clone, Copy)]
struct Sight {
    camera_idx: usize,
    /// From the place to the camera, unit.
    direction: Vector3<f64>,
    distance_m: f64,
    /// Against the image's y axis, unit.
    up: Vector3<f64>,
}

/// A look for each fruitlet in doubt that any image had in view, by id. O(fruit in doubt x images).
pub(crate) fn proposals(input: &Input<'_>, config: &Config) -> Vec<Look> {
    let in_doubt = input
        .decisions
        .decisions
        .iter()
        .filter(|d| d.action == Action::LookAgain);
    let known =
        in_doubt.filter_map(|d| Some((d.fruitlet_idx, input.map.fruitlets.get(d.fruitlet_idx)?)));
    let mut known: Vec<_> = known.collect();
    known.sort_by(|a, b| a.1.id.cmp(&b.1.id));
    let look = |(fruitlet_idx, centre): (usize, &Point<Orchard>)| {
        let (camera_idx, orchard_from_camera) = propose(&sights(input, centre), centre, config)?;
        Some(Look {
            fruitlet_idx,
            camera_idx,
            orchard_from_camera,
        })
    };
    known
        .into_iter()
        .filter_map(|(i, f)| look((i, &f.centre)))
        .collect()
}

/// The images that had a place in view; lens distortion is left out of regard, a pinhole decides.
fn sights(input: &Input<'_>, centre: &Point<Orchard>) -> Vec<Sight> {
    let sight = |(camera_idx, orchard_from_camera): &(usize, Pose<Orchard, CameraFrame>)| {
        let camera = input.cameras.get(*camera_idx)?;
        let p_in_camera = orchard_from_camera.inverse().apply(centre);
        let to_camera = orchard_from_camera.origin().xyz - centre.xyz;
        let distance_m = to_camera.norm();
        let up = orchard_from_camera.iso.rotation * -Vector3::y();
        (distance_m > 0.0 && is_in_image(camera, &p_in_camera.xyz)).then(|| Sight {
            camera_idx: *camera_idx,
            direction: to_camera / distance_m,
            distance_m,
            up,
        })
    };
    input.views.iter().filter_map(sight).collect()
}

fn is_in_image(camera: &Camera, p_in_camera: &Vector3<f64>) -> bool {
    let at = |axis: usize| {
        camera.focal_px[axis] * p_in_camera[axis] / p_in_camera.z + camera.principal_px[axis]
    };
    let inside = |axis: usize, size_px: u32| (0.0..f64::from(size_px)).contains(&at(axis));
    p_in_camera.z > 0.0 && inside(0, camera.width_px) && inside(1, camera.height_px)
}

fn propose(
    sights: &[Sight],
    centre: &Point<Orchard>,
    config: &Config,
) -> Option<(usize, Pose<Orchard, CameraFrame>)> {
    let camera_idx = most_frequent(sights)?;
    let own: Vec<&Sight> = sights
        .iter()
        .filter(|s| s.camera_idx == camera_idx)
        .collect();
    let distance_m = median(own.iter().map(|s| s.distance_m).collect())?;
    let sum = |of: fn(&Sight) -> Vector3<f64>| own.iter().map(|s| of(s)).sum::<Vector3<f64>>();
    let middle = sum(|s| s.direction)
        .try_normalize(1e-9)
        .or_else(|| own.first().map(|s| s.direction))?;
    let up = sum(|s| s.up);
    let away = |d: &Vector3<f64>| {
        sights
            .iter()
            .map(|s| s.direction.dot(d))
            .fold(-1.0, f64::max)
    };
    let offers = fan(middle, up, config.look_aside_rad);
    let direction = offers
        .into_iter()
        .min_by(|a, b| away(a).total_cmp(&away(b)))?;
    Some((camera_idx, looking_at(centre, direction, distance_m, up)?))
}

/// The camera with most of the sights, the first one of several.
fn most_frequent(sights: &[Sight]) -> Option<usize> {
    let count = |camera: usize| sights.iter().filter(|s| s.camera_idx == camera).count();
    let mut cameras: Vec<usize> = sights.iter().map(|s| s.camera_idx).collect();
    cameras.sort_unstable();
    cameras.dedup();
    cameras
        .into_iter()
        .min_by_key(|&camera| (Reverse(count(camera)), camera))
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// A direction and eight about it at an angle: left and right first, since a row is passed sideways.
fn fan(middle: Vector3<f64>, up: Vector3<f64>, aside_rad: f64) -> Vec<Vector3<f64>> {
    let Some(side) = up.cross(&middle).try_normalize(1e-9) else {
        return vec![middle];
    };
    let over = middle.cross(&side);
    let (sin, cos) = aside_rad.sin_cos();
    let turned = |turn: f64| middle * cos + (side * turn.cos() + over * turn.sin()) * sin;
    let eighths = [0, 4, 1, 3, 5, 7, 2, 6];
    let around = eighths
        .into_iter()
        .map(|k| turned(f64::from(k) * std::f64::consts::FRAC_PI_4));
    std::iter::once(middle).chain(around).collect()
}

/// The camera at `distance_m` from the place in a direction, looking at it; `None` where it would look along `up`.
fn looking_at(
    centre: &Point<Orchard>,
    direction: Vector3<f64>,
    distance_m: f64,
    up: Vector3<f64>,
) -> Option<Pose<Orchard, CameraFrame>> {
    let forward = -direction.try_normalize(1e-9)?;
    let right = forward.cross(&up).try_normalize(1e-9)?;
    let down = forward.cross(&right);
    let rotation = Rotation3::from_matrix_unchecked(Matrix3::from_columns(&[right, down, forward]));
    let position = Translation3::from(centre.xyz - forward * distance_m);
    Some(Pose::from_isometry(Isometry3::from_parts(
        position,
        UnitQuaternion::from_rotation_matrix(&rotation),
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_camera_stands_where_it_should_and_sees_the_place_in_the_middle() {
        let centre = Point::new(1.0, 2.0, 1.5);
        let direction = Vector3::new(0.3, -0.9, 0.1).normalize();
        let pose = looking_at(&centre, direction, 0.7, Vector3::z()).expect("not along up");
        let p_in_camera = pose.inverse().apply(&centre).xyz;
        assert!((p_in_camera - Vector3::new(0.0, 0.0, 0.7)).norm() < 1e-12);
        // what is above in the orchard is above in the image: y points down
        let above = pose
            .inverse()
            .apply(&Point::from_vector(centre.xyz + Vector3::z() * 0.1))
            .xyz;
        assert!(above.y < -0.09 && above.x.abs() < 1e-12);
        assert!(looking_at(&centre, Vector3::z(), 0.7, Vector3::z()).is_none());
    }

    #[test]
    fn the_fan_keeps_its_angle() {
        let middle = Vector3::new(0.0, -1.0, 0.0);
        let all = fan(middle, Vector3::z(), 0.4);
        assert_eq!(all.len(), 9);
        assert!(
            all.iter()
                .skip(1)
                .all(|d| (d.dot(&middle).acos() - 0.4).abs() < 1e-9)
        );
        assert!(all.iter().all(|d| (d.norm() - 1.0).abs() < 1e-12));
    }
}
