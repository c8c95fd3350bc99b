//! A sphere from the planes that touch it.
//!
//! Every box edge is one equation n . (c - camera) = r, linear in the centre c and the radius r, so a sphere seen
//! from two places is determined, with its covariance. The private module `inverse_depth` solves the equations; this
//! one says what the solution is worth.

use crate::edges::EdgePlane;
use crate::inverse_depth::{Problem, Singular};
use nalgebra::{Isometry3, Matrix4, Vector3};

/// Inverse of the greatest distance that is computed with, 1 / m.
const LEAST_INVERSE_DEPTH: f64 = 1e-9;
/// Cosine between the inward normals of two edges below which they are opposite ones, of a box up to 45 degrees wide.
const OPPOSITE: f64 = -0.7;
/// One box edge in the world frame: the sphere touches the plane, n . (c - camera) = r.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneObservation {
    /// Unit normal towards the sphere, world frame.
    pub normal_in_world: Vector3<f64>,
    /// Centre of the camera, metres, world frame.
    pub camera_in_world: Vector3<f64>,
    /// How far the plane turns when the edge moves by a pixel.
    pub rad_per_px: f64,
    /// Standard deviation of the edge.
    pub sigma_px: f64,
    /// Which image; edges of one image share a number.
    pub view: u32,
}

impl PlaneObservation {
    /// A box edge, its plane in the camera frame, of the camera at `world_from_camera`.
    #[must_use]
    pub fn new(
        plane: &EdgePlane,
        world_from_camera: &Isometry3<f64>,
        sigma_px: f64,
        view: u32,
    ) -> Self {
        PlaneObservation {
            normal_in_world: world_from_camera.rotation * plane.normal,
            camera_in_world: world_from_camera.translation.vector,
            rad_per_px: plane.rad_per_px,
            sigma_px,
            view,
        }
    }
}

/// What is known of the radius beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RadiusPrior {
    /// Expected radius.
    pub mean_m: f64,
    /// Standard deviation.
    pub sigma_m: f64,
}

/// Limits of a usable triangulation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TriangulationConfig {
    /// Least angle between two lines of sight, radians, > 0; 0.005. Without a radius prior the depth's deviation is
    /// about the edge's angular noise over this, times the distance: at 0.005 rad half a pixel at 1,000 px focal
    /// length is a tenth of the distance.
    pub min_parallax_rad: f64,
    /// Greatest distance from the nearest camera, metres, > 0; 10, beyond the rows that a camera in an alley sees.
    pub max_distance_m: f64,
    /// Greatest chi-square over degrees of freedom, > 0; 25, that is residuals of five times the stated noise.
    pub max_chi2_per_dof: f64,
}

impl Default for TriangulationConfig {
    fn default() -> Self {
        Self {
            min_parallax_rad: 0.005,
            max_distance_m: 10.0,
            max_chi2_per_dof: 25.0,
        }
    }
}

/// What the planes say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Triangulation {
    /// A sphere.
    Sphere {
        /// Centre, world frame, metres.
        centre: Vector3<f64>,
        /// Radius.
        radius_m: f64,
        /// Of (centre x, y, z, radius), square metres, as far as the stated pixel noise goes.
        covariance: Matrix4<f64>,
        /// Weighted sum of squared residuals, the prior's included.
        chi2: f64,
        /// Equations (the prior counts as one) less four.
        dof: usize,
        /// Greatest angle between two lines of sight; zero for one view.
        parallax_rad: f64,
    },
    /// All edges are of one image and nothing is known of the radius: the depth is free.
    OneView,
    /// The lines of sight are too nearly parallel, so that depth and radius are free to grow together.
    NoParallax {
        /// Greatest angle between two lines of sight.
        parallax_rad: f64,
    },
    /// Too few edges, or all on the same sides.
    Underdetermined {
        /// How many there are.
        equations: usize,
        /// How many of them are independent.
        rank: usize,
    },
    /// The lines of sight meet behind a camera.
    Behind {
        /// The first image for which they do.
        view: u32,
    },
    /// Further away than the configuration allows.
    TooFar {
        /// Distance from the nearest camera.
        distance_m: f64,
    },
    /// The planes do not touch one sphere, or only one of negative radius or with a camera inside, or the iteration
    /// did not settle.
    Inconsistent {
        /// Chi-square over degrees of freedom; zero where there are none.
        chi2_per_dof: f64,
        /// Centre that fits best, world frame, metres.
        centre: Vector3<f64>,
        /// Radius that fits best.
        radius_m: f64,
    },
    /// An observation or the prior has a number that is not finite or a deviation that is not positive.
    Invalid {
        /// Position of the first such observation, or their number where it is the prior.
        at: usize,
    },
}

/// The most likely sphere that touches the planes, under independent Gaussian noise of each edge in its image.
/// O(observations).
#[must_use]
pub fn triangulate(
    observations: &[PlaneObservation],
    prior: Option<&RadiusPrior>,
    config: &TriangulationConfig,
) -> Triangulation {
    if let Some(at) = first_invalid(observations, prior) {
        return Triangulation::Invalid { at };
    }
    let views = View::collect(observations);
    if views.len() == 1 && prior.is_none() {
        return Triangulation::OneView;
    }
    let equations = observations.len() + usize::from(prior.is_some());
    let Some(problem) = Problem::new(observations, prior) else {
        return Triangulation::Underdetermined {
            equations,
            rank: equations,
        };
    };
    let estimate = match problem.solve() {
        Ok(estimate) if equations >= 4 => estimate,
        Err(Singular {
            only_depth_is_open: true,
            ..
        }) => return Triangulation::NoParallax { parallax_rad: 0.0 },
        Err(Singular { rank, .. }) => return Triangulation::Underdetermined { equations, rank },
        Ok(_) => {
            return Triangulation::Underdetermined {
                equations,
                rank: equations,
            };
        }
    };
    if estimate.x.w.abs() < LEAST_INVERSE_DEPTH {
        return Triangulation::NoParallax { parallax_rad: 0.0 };
    }
    let (centre, radius_m) = problem.sphere(&estimate.x);
    let parallax_rad = parallax(&views, &centre);
    if let Some(refused) = refuse(&views, &centre, parallax_rad, prior.is_some(), config) {
        return refused;
    }
    let (chi2, dof) = (estimate.chi2, equations - 4);
    let chi2_per_dof = if dof == 0 { 0.0 } else { chi2 / dof as f64 };
    let impossible = !estimate.converged || radius_m <= 0.0 || nearest(&views, &centre) <= radius_m;
    if impossible || chi2_per_dof > config.max_chi2_per_dof {
        return Triangulation::Inconsistent {
            chi2_per_dof,
            centre,
            radius_m,
        };
    }
    let covariance = problem.covariance(&estimate);
    Triangulation::Sphere {
        centre,
        radius_m,
        covariance,
        chi2,
        dof,
        parallax_rad,
    }
}

/// The outcome of a centre that is not where a sphere can be trusted to be.
fn refuse(
    views: &[View],
    centre: &Vector3<f64>,
    parallax_rad: f64,
    has_prior: bool,
    config: &TriangulationConfig,
) -> Option<Triangulation> {
    // before the others: almost parallel lines may meet anywhere
    if !has_prior && parallax_rad < config.min_parallax_rad {
        return Some(Triangulation::NoParallax { parallax_rad });
    }
    if let Some(view) = views.iter().find(|view| view.is_behind(centre)) {
        return Some(Triangulation::Behind { view: view.id });
    }
    let distance_m = nearest(views, centre);
    (distance_m > config.max_distance_m).then_some(Triangulation::TooFar { distance_m })
}

/// Distance to the nearest camera.
fn nearest(views: &[View], centre: &Vector3<f64>) -> f64 {
    views
        .iter()
        .map(|view| (centre - view.camera).norm())
        .fold(f64::INFINITY, f64::min)
}

fn first_invalid(observations: &[PlaneObservation], prior: Option<&RadiusPrior>) -> Option<usize> {
    let positive = |x: f64| x.is_finite() && x > 0.0;
    let bad = observations.iter().position(|o| {
        let vectors = o.normal_in_world.iter().chain(o.camera_in_world.iter());
        !(positive(o.rad_per_px)
            && positive(o.sigma_px)
            && vectors.into_iter().all(|x| x.is_finite()))
    });
    let bad_prior = prior.is_some_and(|p| !(p.mean_m.is_finite() && positive(p.sigma_m)));
    bad.or(bad_prior.then_some(observations.len()))
}

/// One image: its camera and the normals of its planes.
struct View {
    id: u32,
    camera: Vector3<f64>,
    normals: [Vector3<f64>; 4],
    edges: usize,
}

impl View {
    /// The images in the order in which they first appear.
    fn collect(observations: &[PlaneObservation]) -> Vec<View> {
        let mut views: Vec<View> = Vec::new();
        for o in observations {
            // edges of one image usually stand together, so the search begins at the end
            let known = views.iter().rposition(|view| view.id == o.view);
            let idx = known.unwrap_or(views.len());
            if known.is_none() {
                views.push(View {
                    id: o.view,
                    camera: o.camera_in_world,
                    normals: [Vector3::zeros(); 4],
                    edges: 0,
                });
            }
            if let Some(view) = views.get_mut(idx)
                && let Some(slot) = view.normals.get_mut(view.edges)
            {
                *slot = o.normal_in_world;
                view.edges += 1;
            }
        }
        views
    }

    /// Whether `centre` lies behind the camera: the normals of two opposite edges add up to a vector forwards. Where
    /// no two edges are opposite nothing can be said, and the answer is no.
    fn is_behind(&self, centre: &Vector3<f64>) -> bool {
        let line = centre - self.camera;
        let normals = self.normals.iter().take(self.edges);
        normals.clone().enumerate().any(|(i, a)| {
            normals
                .clone()
                .skip(i + 1)
                .any(|b| a.dot(b) < OPPOSITE && (a + b).dot(&line) < 0.0)
        })
    }
}

/// Angle between two lines of sight: from the first view to the one furthest from it, and from that one to the one
/// furthest from it. Exact for cameras along a line, and never less than half the greatest angle.
fn parallax(views: &[View], centre: &Vector3<f64>) -> f64 {
    // atan2 is exact for equal lines, where the arc cosine is not
    let angle = |a: &Vector3<f64>, b: &Vector3<f64>| a.cross(b).norm().atan2(a.dot(b));
    let furthest = |from: &Vector3<f64>| {
        let lines = views.iter().map(|view| view.camera - centre);
        lines
            .map(|line| (angle(&line, from), line))
            .fold((0.0, *from), |a, b| if b.0 > a.0 { b } else { a })
    };
    views.first().map_or(0.0, |first| {
        furthest(&furthest(&(first.camera - centre)).1).0
    })
}
