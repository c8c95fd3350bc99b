//! Spheres from boxes.

use crate::common::{camera, ideal, typical_distortions};
use corymb_geometry::{
    Lens, PlaneObservation, RadiusPrior, Triangulation, TriangulationConfig, box_planes, chi2,
    sphere_box, triangulate,
};
use nalgebra::{Isometry3, Matrix4, Vector3, Vector4};
use proptest::prelude::*;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

/// The planes of a box seen from `world_from_camera`.
fn planes(
    lens: &Lens,
    world_from_camera: &Isometry3<f64>,
    box_px: &[f64; 4],
    sigma_px: f64,
    view: u32,
) -> Vec<PlaneObservation> {
    let of_plane = |plane| PlaneObservation::new(plane, world_from_camera, sigma_px, view);
    box_planes(lens, box_px, 0.0)
        .unwrap()
        .iter()
        .map(of_plane)
        .collect()
}

fn at(x: f64, y: f64, z: f64, yaw: f64) -> Isometry3<f64> {
    Isometry3::new(Vector3::new(x, y, z), Vector3::new(0.0, yaw, 0.0))
}

/// Views along a line, 0.1 m apart, each turned a little towards the middle.
fn row_of_views(count: u32) -> Vec<Isometry3<f64>> {
    let offset = |i: u32| 0.1 * (f64::from(i) - 0.5 * f64::from(count - 1));
    (0..count)
        .map(|i| at(offset(i), 0.02 * f64::from(i % 3), 0.0, -0.5 * offset(i)))
        .collect()
}

/// What the views see of a sphere, edges moved by `noise()` pixels.
fn observe(
    lens: &Lens,
    views: &[Isometry3<f64>],
    c: &Vector3<f64>,
    r: f64,
    sigma_px: f64,
    mut noise: impl FnMut() -> f64,
) -> Vec<PlaneObservation> {
    let of_view = |(i, pose): (usize, &Isometry3<f64>)| {
        let c_in_camera = pose.inverse_transform_point(&(*c).into()).coords;
        let box_px = sphere_box(lens, &c_in_camera, r)
            .unwrap()
            .map(|x| x + noise());
        planes(lens, pose, &box_px, sigma_px, i as u32)
    };
    views.iter().enumerate().flat_map(of_view).collect()
}

struct Found {
    centre: Vector3<f64>,
    radius_m: f64,
    covariance: Matrix4<f64>,
    chi2: f64,
    dof: usize,
    parallax_rad: f64,
}

fn found(outcome: Triangulation) -> Found {
    match outcome {
        Triangulation::Sphere {
            centre,
            radius_m,
            covariance,
            chi2,
            dof,
            parallax_rad,
        } => Found {
            centre,
            radius_m,
            covariance,
            chi2,
            dof,
            parallax_rad,
        },
        other => panic!("{other:?}"),
    }
}

fn solve(observations: &[PlaneObservation]) -> Triangulation {
    triangulate(observations, None, &TriangulationConfig::default())
}

#[test]
fn two_perfect_views_give_the_sphere_back() {
    let (c, r) = (Vector3::new(0.1, -0.05, 0.8), 0.012);
    let views = [at(0.0, 0.0, 0.0, 0.0), at(0.3, 0.05, 0.1, -0.3)];
    let observations = observe(&ideal(), &views, &c, r, 1.0, || 0.0);
    let got = found(solve(&observations));
    assert!(
        (got.centre - c).norm() < 1e-9
            && (got.radius_m - r).abs() < 1e-9
            && got.dof == 4
            && got.chi2 < 1e-9
    );
    let angle = (c - views[0].translation.vector).angle(&(c - views[1].translation.vector));
    assert!((got.parallax_rad - angle).abs() < 1e-9);
}

#[test]
fn distorted_views_give_the_sphere_back_to_a_tenth_of_a_millimetre() {
    for distortion in typical_distortions() {
        let lens = Lens::new(&camera(distortion));
        let (c, r) = (Vector3::new(0.15, -0.12, 0.6), 0.012);
        let got = found(solve(&observe(&lens, &row_of_views(4), &c, r, 1.0, || 0.0)));
        assert!(
            (got.centre - c).norm() < 1e-4 && (got.radius_m - r).abs() < 1e-5,
            "{distortion:?} {}",
            got.centre - c
        );
    }
}

#[test]
fn one_view_is_enough_where_the_radius_is_known() {
    let (c, r) = (Vector3::new(0.1, -0.05, 0.8), 0.012);
    let observations = observe(&ideal(), &[at(0.0, 0.0, 0.0, 0.2)], &c, r, 1.0, || 0.0);
    assert_eq!(solve(&observations), Triangulation::OneView);
    let prior = RadiusPrior {
        mean_m: r,
        sigma_m: 0.001,
    };
    let got = found(triangulate(
        &observations,
        Some(&prior),
        &TriangulationConfig::default(),
    ));
    assert!((got.centre - c).norm() < 1e-6 && got.dof == 1 && got.parallax_rad == 0.0);
    // the depth is as uncertain as the radius, relatively: 1/12 of 0.8 m, and the edges add to it
    let along = (c / c.norm()).push(0.0);
    let depth_deviation = along.dot(&(got.covariance * along)).sqrt();
    assert!(
        (0.067..0.08).contains(&depth_deviation),
        "{depth_deviation}"
    );
    // three edges and the prior still are four equations
    assert!(
        (found(triangulate(
            &observations[1..],
            Some(&prior),
            &TriangulationConfig::default()
        ))
        .centre
            - c)
            .norm()
            < 1e-6
    );
}

/// Of 1,000 draws about 900 lie in the 90 % ellipsoid, about 500 in the 50 % one, and chi-square averages its
/// degrees of freedom. The bands are four standard deviations of the counts, and of the mean.
fn check_coverage(
    lens: &Lens,
    views: &[Isometry3<f64>],
    prior: Option<f64>,
    sigma_px: f64,
    seed: u64,
) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let edge = Normal::new(0.0, sigma_px).unwrap();
    let c = Vector3::new(0.06, -0.04, 0.7);
    let (mut inside_90, mut inside_50, mut chi2_sum, mut dof) = (0, 0, 0.0, 0);
    for _ in 0..1000 {
        let r = prior.map_or(0.012, |sigma| {
            0.012 + Normal::new(0.0, sigma).unwrap().sample(&mut rng)
        });
        let observations = observe(lens, views, &c, r, sigma_px, || edge.sample(&mut rng));
        let prior = prior.map(|sigma_m| RadiusPrior {
            mean_m: 0.012,
            sigma_m,
        });
        let got = found(triangulate(
            &observations,
            prior.as_ref(),
            &TriangulationConfig::default(),
        ));
        let error: Vector4<f64> = (got.centre - c).push(got.radius_m - r);
        let square = error.dot(&(got.covariance.try_inverse().unwrap() * error));
        inside_90 += i32::from(square < chi2::quantile(0.9, 4));
        inside_50 += i32::from(square < chi2::quantile(0.5, 4));
        chi2_sum += got.chi2;
        dof = got.dof;
    }
    let mean = chi2_sum / 1000.0 / dof as f64;
    assert!(
        (862..=938).contains(&inside_90),
        "{inside_90} of 1,000 in the 90 % ellipsoid"
    );
    assert!(
        (437..=563).contains(&inside_50),
        "{inside_50} of 1,000 in the 50 % ellipsoid"
    );
    assert!(
        (mean - 1.0).abs() < 4.0 * (2.0 / (1000.0 * dof as f64)).sqrt(),
        "chi-square per degree of freedom {mean}"
    );
}

#[test]
fn covariance_covers_two_views() {
    check_coverage(&ideal(), &row_of_views(2), None, 0.5, 1);
}

#[test]
fn covariance_covers_many_views() {
    check_coverage(&ideal(), &row_of_views(6), None, 1.5, 2);
}

#[test]
fn covariance_covers_a_distorted_lens() {
    check_coverage(
        &Lens::new(&camera(typical_distortions()[1])),
        &row_of_views(4),
        None,
        1.0,
        3,
    );
}

#[test]
fn covariance_covers_one_view_with_a_prior() {
    check_coverage(&ideal(), &row_of_views(1), Some(0.0005), 0.3, 4);
}

#[test]
fn covariance_covers_two_views_with_a_prior() {
    check_coverage(&ideal(), &row_of_views(2), Some(0.001), 1.0, 5);
}

/// Where the parallax is hardly more than its noise: plain least squares in metres puts the centre 3.7 % short here.
#[test]
fn small_parallax_does_not_pull_the_centre_to_the_cameras() {
    let (lens, c) = (ideal(), Vector3::new(0.06, -0.04, 0.7));
    let views = [
        at(0.0, 0.0, 0.0, 0.0),
        at(0.015, 0.0, 0.0, 0.0),
        at(0.03, 0.0, 0.0, 0.0),
    ];
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    let edge = Normal::new(0.0, 3.0).unwrap();
    let mut depths: Vec<f64> = (0..1000)
        .map(|_| {
            found(solve(&observe(&lens, &views, &c, 0.012, 3.0, || {
                edge.sample(&mut rng)
            })))
            .centre
            .z
        })
        .collect();
    depths.sort_by(f64::total_cmp);
    let relative = depths[500] / c.z - 1.0;
    assert!(relative.abs() < 0.012, "median depth off by {relative}");
}

#[test]
fn turning_a_camera_on_the_spot_gives_no_parallax() {
    let c = Vector3::new(0.1, -0.05, 0.8);
    let views = [
        at(0.2, 0.0, 0.0, 0.0),
        at(0.2, 0.0, 0.0, -0.3),
        at(0.2, 0.0, 0.0, 0.2),
    ];
    let got = solve(&observe(&ideal(), &views, &c, 0.012, 1.0, || 0.0));
    assert!(
        matches!(got, Triangulation::NoParallax { parallax_rad } if parallax_rad < 0.005),
        "{got:?}"
    );
}

#[test]
fn parallel_lines_of_sight_give_no_parallax() {
    let lens = ideal();
    for (x, y) in [(0.2, 0.0), (0.0, 0.1), (0.15, -0.1)] {
        let box_px = [700.0, 400.0, 730.0, 431.0];
        let mut observations = planes(&lens, &at(0.0, 0.0, 0.0, 0.1), &box_px, 1.0, 0);
        observations.extend(planes(&lens, &at(x, y, 0.0, 0.1), &box_px, 1.0, 1));
        let got = solve(&observations);
        assert!(
            matches!(got, Triangulation::NoParallax { parallax_rad } if parallax_rad < 0.005),
            "{got:?}"
        );
    }
}

#[test]
fn a_short_baseline_states_its_parallax() {
    let c = Vector3::new(0.0, 0.0, 2.0);
    let views = [at(0.0, 0.0, 0.0, 0.0), at(0.006, 0.0, 0.0, 0.0)];
    let got = solve(&observe(&ideal(), &views, &c, 0.012, 1.0, || 0.0));
    assert!(
        matches!(got, Triangulation::NoParallax { parallax_rad } if (parallax_rad - 0.003).abs() < 1e-5),
        "{got:?}"
    );
}

#[test]
fn lines_of_sight_that_part_meet_behind() {
    let lens = ideal();
    let mut observations = planes(
        &lens,
        &at(0.0, 0.0, 0.0, -0.3),
        &[625.0, 465.0, 655.0, 495.0],
        1.0,
        7,
    );
    observations.extend(planes(
        &lens,
        &at(0.2, 0.0, 0.0, 0.3),
        &[625.0, 465.0, 655.0, 495.0],
        1.0,
        8,
    ));
    assert_eq!(solve(&observations), Triangulation::Behind { view: 7 });
    let prior = RadiusPrior {
        mean_m: 0.012,
        sigma_m: 0.05,
    };
    let got = triangulate(&observations, Some(&prior), &TriangulationConfig::default());
    assert_eq!(got, Triangulation::Behind { view: 7 });
}

#[test]
fn what_is_far_is_called_far() {
    let c = Vector3::new(0.0, 0.0, 20.0);
    let views = [at(-2.0, 0.0, 0.0, 0.0), at(2.0, 0.0, 0.0, 0.0)];
    let observations = observe(&ideal(), &views, &c, 0.5, 1.0, || 0.0);
    let got = solve(&observations);
    assert!(
        matches!(got, Triangulation::TooFar { distance_m } if (distance_m - 20.1).abs() < 0.01),
        "{got:?}"
    );
    let config = TriangulationConfig {
        max_distance_m: 30.0,
        ..TriangulationConfig::default()
    };
    assert!((found(triangulate(&observations, None, &config)).centre - c).norm() < 1e-6);
}

#[test]
fn boxes_of_two_spheres_are_inconsistent() {
    let (lens, views) = (ideal(), row_of_views(2));
    let mut observations = observe(
        &lens,
        &views[..1],
        &Vector3::new(0.0, 0.0, 0.8),
        0.012,
        1.0,
        || 0.0,
    );
    let mut other = observe(
        &lens,
        &views[1..],
        &Vector3::new(0.0, 0.05, 0.8),
        0.012,
        1.0,
        || 0.0,
    );
    other.iter_mut().for_each(|o| o.view = 1);
    observations.extend(other);
    let got = solve(&observations);
    assert!(
        matches!(got, Triangulation::Inconsistent { chi2_per_dof, .. } if chi2_per_dof > 100.0),
        "{got:?}"
    );
}

#[test]
fn a_negative_radius_is_inconsistent() {
    // right of the left edge and left of the right one, exchanged: the planes of an inverted box
    let (c, views) = (Vector3::new(0.0, 0.0, 0.8), row_of_views(2));
    let mut observations = observe(&ideal(), &views, &c, 0.012, 1.0, || 0.0);
    for o in &mut observations {
        let shift = 0.02 * o.normal_in_world;
        o.camera_in_world += shift;
    }
    let config = TriangulationConfig {
        max_chi2_per_dof: f64::MAX,
        ..TriangulationConfig::default()
    };
    let got = triangulate(&observations, None, &config);
    assert!(
        matches!(got, Triangulation::Inconsistent { radius_m, .. } if (radius_m + 0.008).abs() < 1e-3),
        "{got:?}"
    );
}

#[test]
fn too_few_or_one_sided_edges_are_underdetermined() {
    let c = Vector3::new(0.05, -0.02, 0.8);
    let views = [at(-0.1, 0.0, 0.0, 0.0), at(0.1, 0.0, 0.0, 0.0)];
    let all = observe(&ideal(), &views, &c, 0.012, 1.0, || 0.0);
    let pick =
        |indices: &[usize]| -> Vec<PlaneObservation> { indices.iter().map(|i| all[*i]).collect() };
    assert_eq!(
        solve(&[]),
        Triangulation::Underdetermined {
            equations: 0,
            rank: 0
        }
    );
    assert_eq!(
        solve(&pick(&[0, 4, 6])),
        Triangulation::Underdetermined {
            equations: 3,
            rank: 3
        }
    );
    // left and right edges only: the height is free
    assert_eq!(
        solve(&pick(&[0, 2, 4, 6])),
        Triangulation::Underdetermined {
            equations: 4,
            rank: 3
        }
    );
    // one top edge makes it whole
    let got = found(solve(&pick(&[0, 1, 2, 4, 6])));
    assert!((got.centre - c).norm() < 1e-9 && got.dof == 1);
    let prior = RadiusPrior {
        mean_m: 0.012,
        sigma_m: 0.001,
    };
    let got = triangulate(
        &pick(&[0, 2]),
        Some(&prior),
        &TriangulationConfig::default(),
    );
    assert_eq!(
        got,
        Triangulation::Underdetermined {
            equations: 3,
            rank: 3
        }
    );
}

#[test]
fn numbers_out_of_range_are_named() {
    let good = observe(
        &ideal(),
        &row_of_views(2),
        &Vector3::new(0.0, 0.0, 0.8),
        0.012,
        1.0,
        || 0.0,
    );
    let broken: [fn(&mut PlaneObservation); 5] = [
        |o| o.sigma_px = 0.0,
        |o| o.sigma_px = f64::NAN,
        |o| o.rad_per_px = -1e-3,
        |o| o.normal_in_world.y = f64::INFINITY,
        |o| o.camera_in_world.x = f64::NAN,
    ];
    for breaks in broken {
        let mut observations = good.clone();
        breaks(&mut observations[3]);
        assert_eq!(solve(&observations), Triangulation::Invalid { at: 3 });
    }
    let prior = RadiusPrior {
        mean_m: 0.012,
        sigma_m: 0.0,
    };
    let got = triangulate(&good, Some(&prior), &TriangulationConfig::default());
    assert_eq!(got, Triangulation::Invalid { at: good.len() });
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn any_visible_sphere_comes_back(
        x in -0.2..0.2f64, y in -0.15..0.15f64, z in 0.5..2.0f64, r in prop_oneof![1e-5..0.05f64, 0.05..0.2f64], views in 2u32..8,
    ) {
        let c = Vector3::new(x, y, z);
        let got = found(solve(&observe(&ideal(), &row_of_views(views), &c, r, 1.0, || 0.0)));
        prop_assert!((got.centre - c).norm() < 1e-7 && (got.radius_m - r).abs() < 1e-8, "{} {}", got.centre - c, got.radius_m - r);
        prop_assert!(got.covariance.symmetric_eigenvalues().min() > 0.0);
    }

    #[test]
    fn the_world_frame_does_not_matter(
        t in prop::array::uniform3(-300.0..300.0f64), turn in prop::array::uniform3(-2.0..2.0f64), noise in prop::collection::vec(-1.5..1.5f64, 12),
    ) {
        let (c, mut noise) = (Vector3::new(0.05, -0.03, 0.7), noise.into_iter().cycle());
        let here = observe(&ideal(), &row_of_views(3), &c, 0.012, 1.0, || noise.next().unwrap());
        let there_from_here = Isometry3::new(t.into(), turn.into());
        let there: Vec<PlaneObservation> = here.iter().map(|o| PlaneObservation {
            normal_in_world: there_from_here.rotation * o.normal_in_world,
            camera_in_world: there_from_here.transform_point(&o.camera_in_world.into()).coords,
            ..*o
        }).collect();
        let (a, b) = (found(solve(&here)), found(solve(&there)));
        prop_assert!((there_from_here.transform_point(&a.centre.into()).coords - b.centre).norm() < 1e-8);
        prop_assert!((a.radius_m - b.radius_m).abs() < 1e-9 && (a.chi2 - b.chi2).abs() < 1e-6);
        let r = there_from_here.rotation.to_rotation_matrix().into_inner();
        let turned = r * a.covariance.fixed_view::<3, 3>(0, 0) * r.transpose();
        let gap = (turned - b.covariance.fixed_view::<3, 3>(0, 0)).amax();
        prop_assert!(gap < 1e-6 * a.covariance.amax(), "{}", gap);
    }

    #[test]
    fn twice_the_noise_is_four_times_the_covariance(noise in prop::collection::vec(-1.0..1.0f64, 12)) {
        let c = Vector3::new(0.05, -0.03, 0.7);
        let at_sigma = |sigma_px| {
            let mut noise = noise.iter().copied().cycle();
            found(solve(&observe(&ideal(), &row_of_views(3), &c, 0.012, sigma_px, || noise.next().unwrap())))
        };
        let (one, two) = (at_sigma(1.0), at_sigma(2.0));
        prop_assert!((one.centre - two.centre).norm() < 1e-12);
        prop_assert!((one.covariance * 4.0 - two.covariance).amax() < 1e-9 * two.covariance.amax());
        prop_assert!((one.chi2 - 4.0 * two.chi2).abs() < 1e-9 * one.chi2.max(1.0));
    }

    #[test]
    fn nothing_makes_it_panic(numbers in prop::collection::vec(any::<f64>(), 0..60), views in prop::collection::vec(0u32..3, 8)) {
        let observations: Vec<PlaneObservation> = numbers.chunks_exact(8).zip(&views).map(|(n, view)| PlaneObservation {
            normal_in_world: Vector3::new(n[0], n[1], n[2]),
            camera_in_world: Vector3::new(n[3], n[4], n[5]),
            rad_per_px: n[6].abs(),
            sigma_px: n[7].abs(),
            view: *view,
        }).collect();
        let config = TriangulationConfig::default();
        let prior = RadiusPrior { mean_m: 0.01, sigma_m: 0.001 };
        for prior in [None, Some(&prior)] {
            if let Triangulation::Sphere { centre, radius_m, .. } = triangulate(&observations, prior, &config) {
                prop_assert!(centre.iter().all(|x| x.is_finite()) && radius_m > 0.0);
            }
        }
    }
}
