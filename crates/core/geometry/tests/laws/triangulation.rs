//! Spheres from boxes.

use crate::common::ideal;
use corymb_geometry::{
    Lens, PlaneObservation, RadiusPrior, Triangulation, TriangulationConfig, box_planes,
    sphere_box, triangulate,
};
use nalgebra::{Isometry3, Vector3};

/// The planes of a box seen from `world_from_camera`.
fn planes(
    lens: &Lens,
    world_from_camera: &Isometry3<f64>,
    box_px: &[f64; 4],
    sigma_px: f64,
    view: u32,
) -> Vec<PlaneObservation> {
    box_planes(lens, box_px, 0.0)
        .unwrap()
        .iter()
        .map(|plane| PlaneObservation {
            normal_in_world: world_from_camera.rotation * plane.normal,
            camera_in_world: world_from_camera.translation.vector,
            rad_per_px: plane.rad_per_px,
            sigma_px,
            view,
        })
        .collect()
}

fn at(x: f64, y: f64, z: f64, yaw: f64) -> Isometry3<f64> {
    Isometry3::new(Vector3::new(x, y, z), Vector3::new(0.0, yaw, 0.0))
}

#[test]
fn two_perfect_views_give_the_sphere_back() {
    let lens = ideal();
    let (c, r) = (Vector3::new(0.1, -0.05, 0.8), 0.012);
    let mut observations = Vec::new();
    for (view, pose) in [at(0.0, 0.0, 0.0, 0.0), at(0.3, 0.05, 0.1, -0.3)]
        .iter()
        .enumerate()
    {
        let box_px = sphere_box(
            &lens,
            &pose.inverse_transform_vector(&(c - pose.translation.vector)),
            r,
        )
        .unwrap();
        observations.extend(planes(&lens, pose, &box_px, 1.0, view as u32));
    }
    match triangulate(&observations, None, &TriangulationConfig::default()) {
        Triangulation::Sphere {
            centre,
            radius_m,
            dof,
            ..
        } => {
            assert!((centre - c).norm() < 1e-9 && (radius_m - r).abs() < 1e-9 && dof == 4);
        }
        other => panic!("{other:?}"),
    }
    let config = TriangulationConfig::default();
    assert_eq!(
        triangulate(&observations[..4], None, &config),
        Triangulation::OneView
    );
    let prior = RadiusPrior {
        mean_m: r,
        sigma_m: 0.001,
    };
    match triangulate(&observations[..4], Some(&prior), &config) {
        Triangulation::Sphere { centre, .. } => assert!((centre - c).norm() < 1e-6, "{centre:?}"),
        other => panic!("{other:?}"),
    }
}
