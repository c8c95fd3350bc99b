//! A sphere from the planes that touch it.
//!
//! Every box edge is one equation n . (c - camera) = r, linear in the centre c and the radius r, so a sphere seen
//! from two places comes from one weighted 4 x 4 solve, its covariance with it. The noise of an equation in metres
//! is the distance of the sphere times the angle that the edge's noise turns the plane by; the distance is not
//! known beforehand, so the weights are computed again from the solution a few times.

use nalgebra::{Cholesky, Matrix4, Vector3, Vector4};

/// How often the weights are computed from the last solution.
const REWEIGHTINGS: usize = 3;
/// Least distance that enters a weight, so that a camera at the sphere does not get all of it.
const LEAST_DISTANCE_M: f64 = 1e-3;
/// Least eigenvalue of the normal matrix, scaled to a unit diagonal, with which the equations count as independent.
/// Rounding leaves about 1e-16; the square of a parallax of 1e-5 rad is 1e-10.
const LEAST_EIGENVALUE: f64 = 1e-12;
/// Part of the radius in a direction that the equations leave open, beyond which the sphere is free to recede
/// rather than to slide past an edge that was not seen.
const RECEDES: f64 = 1e-3;

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
    /// The planes do not touch one sphere, or only one of negative radius.
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

/// The sphere that touches the planes: weighted linear least squares for centre and radius. O(observations).
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
    let Some(solution) = Solution::find(observations, prior) else {
        return undetermined(observations, prior, equations);
    };
    let parallax_rad = parallax(&views, &solution.centre);
    if prior.is_none() && parallax_rad < config.min_parallax_rad {
        return Triangulation::NoParallax { parallax_rad };
    }
    if let Some(view) = views
        .iter()
        .find(|view| view.sum_of_normals.dot(&(solution.centre - view.camera)) <= 0.0)
    {
        return Triangulation::Behind { view: view.id };
    }
    let distance_m = views
        .iter()
        .map(|v| (solution.centre - v.camera).norm())
        .fold(f64::INFINITY, f64::min);
    if distance_m > config.max_distance_m {
        return Triangulation::TooFar { distance_m };
    }
    let dof = equations - 4;
    let chi2_per_dof = if dof == 0 {
        0.0
    } else {
        solution.chi2 / dof as f64
    };
    let Solution {
        centre,
        radius_m,
        covariance,
        chi2,
    } = solution;
    if radius_m <= 0.0 || chi2_per_dof > config.max_chi2_per_dof {
        return Triangulation::Inconsistent {
            chi2_per_dof,
            centre,
            radius_m,
        };
    }
    Triangulation::Sphere {
        centre,
        radius_m,
        covariance,
        chi2,
        dof,
        parallax_rad,
    }
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

/// One image: its camera, and the sum of its planes' normals, which points forward.
struct View {
    id: u32,
    camera: Vector3<f64>,
    sum_of_normals: Vector3<f64>,
}

impl View {
    /// The images in the order in which they first appear.
    fn collect(observations: &[PlaneObservation]) -> Vec<View> {
        let mut views: Vec<View> = Vec::new();
        for o in observations {
            // edges of one image usually stand together, so the search begins at the end
            match views.iter_mut().rev().find(|view| view.id == o.view) {
                Some(view) => view.sum_of_normals += o.normal_in_world,
                None => views.push(View {
                    id: o.view,
                    camera: o.camera_in_world,
                    sum_of_normals: o.normal_in_world,
                }),
            }
        }
        views
    }
}

/// Angle between two lines of sight: from the first view to the one furthest from it, and from that one to the one
/// furthest from it. Exact for cameras along a line, and never less than half the greatest angle.
fn parallax(views: &[View], centre: &Vector3<f64>) -> f64 {
    let lines: Vec<Vector3<f64>> = views.iter().map(|view| view.camera - centre).collect();
    let furthest = |from: &Vector3<f64>| {
        lines
            .iter()
            .map(|line| (line.angle(from), *line))
            .fold((0.0, *from), |a, b| if b.0 > a.0 { b } else { a })
    };
    lines
        .first()
        .map_or(0.0, |first| furthest(&furthest(first).1).0)
}

struct Solution {
    centre: Vector3<f64>,
    radius_m: f64,
    covariance: Matrix4<f64>,
    chi2: f64,
}

impl Solution {
    /// `None` where the equations do not determine all four unknowns.
    fn find(observations: &[PlaneObservation], prior: Option<&RadiusPrior>) -> Option<Solution> {
        if observations.len() + usize::from(prior.is_some()) < 4 {
            return None;
        }
        let origin = observations.first()?.camera_in_world;
        let mut x = normal_equations(observations, prior, &origin, None)
            .solve()?
            .0;
        let mut covariance = Matrix4::zeros();
        for _ in 0..REWEIGHTINGS {
            (x, covariance) = normal_equations(observations, prior, &origin, Some(&x)).solve()?;
        }
        let (centre, radius_m) = (origin + x.xyz(), x.w);
        let residual = |o: &PlaneObservation| {
            let left = o.normal_in_world.dot(&(centre - o.camera_in_world)) - radius_m;
            (left / sigma_m(o, &centre, radius_m)).powi(2)
        };
        let of_prior = prior.map_or(0.0, |p| ((radius_m - p.mean_m) / p.sigma_m).powi(2));
        let chi2 = observations.iter().map(residual).sum::<f64>() + of_prior;
        Some(Solution {
            centre,
            radius_m,
            covariance,
            chi2,
        })
    }
}

/// Deviation of an equation: how far the plane moves, where it touches the sphere, with the edge's noise.
fn sigma_m(o: &PlaneObservation, centre: &Vector3<f64>, radius_m: f64) -> f64 {
    let d2 = (centre - o.camera_in_world).norm_squared() - radius_m * radius_m;
    d2.max(LEAST_DISTANCE_M * LEAST_DISTANCE_M).sqrt() * o.rad_per_px * o.sigma_px
}

struct NormalEquations {
    matrix: Matrix4<f64>,
    right: Vector4<f64>,
}

/// With the weights of `x` = (centre from `origin`, radius), or of a sphere at a metre from every camera.
fn normal_equations(
    observations: &[PlaneObservation],
    prior: Option<&RadiusPrior>,
    origin: &Vector3<f64>,
    x: Option<&Vector4<f64>>,
) -> NormalEquations {
    let mut out = NormalEquations {
        matrix: Matrix4::zeros(),
        right: Vector4::zeros(),
    };
    for o in observations {
        let sigma = match x {
            Some(x) => sigma_m(o, &(origin + x.xyz()), x.w),
            None => o.rad_per_px * o.sigma_px,
        };
        let row = o.normal_in_world.push(-1.0) / sigma;
        let value = o.normal_in_world.dot(&(o.camera_in_world - origin)) / sigma;
        out.matrix.ger(1.0, &row, &row, 1.0);
        out.right.axpy(value, &row, 1.0);
    }
    if let Some(prior) = prior {
        out.matrix[(3, 3)] += prior.sigma_m.powi(-2);
        out.right[3] += prior.mean_m * prior.sigma_m.powi(-2);
    }
    out
}

impl NormalEquations {
    /// Scale that gives the matrix a unit diagonal.
    fn scale(&self) -> Vector4<f64> {
        self.matrix
            .diagonal()
            .map(|d| if d > 0.0 { 1.0 / d.sqrt() } else { 1.0 })
    }

    /// The solution and the inverse of the matrix; `None` where it is singular.
    fn solve(&self) -> Option<(Vector4<f64>, Matrix4<f64>)> {
        let scale = self.scale();
        let scaled = Matrix4::from_diagonal(&scale) * self.matrix * Matrix4::from_diagonal(&scale);
        let cholesky = Cholesky::new(scaled)?;
        let l = cholesky.l_dirty();
        let independent = (0..4).all(|i| l[(i, i)] * l[(i, i)] > LEAST_EIGENVALUE);
        if !independent {
            return None;
        }
        let inverse = cholesky.inverse();
        let covariance = Matrix4::from_diagonal(&scale) * inverse * Matrix4::from_diagonal(&scale);
        let x = scale.component_mul(&cholesky.solve(&self.right.component_mul(&scale)));
        x.iter().all(|k| k.is_finite()).then_some((x, covariance))
    }
}

/// Why the equations are singular: the sphere may recede along a line of sight, or slide past missing edges.
fn undetermined(
    observations: &[PlaneObservation],
    prior: Option<&RadiusPrior>,
    equations: usize,
) -> Triangulation {
    let Some(first) = observations.first() else {
        return Triangulation::Underdetermined {
            equations,
            rank: equations,
        };
    };
    let system = normal_equations(observations, prior, &first.camera_in_world, None);
    let largest = system.matrix.diagonal().max();
    let eigen = (system.matrix / largest).symmetric_eigen();
    let open: Vec<usize> = (0..4)
        .filter(|i| eigen.eigenvalues[*i] <= 4.0 * LEAST_EIGENVALUE)
        .collect();
    if let [only] = open.as_slice() {
        let direction = eigen.eigenvectors.column(*only);
        if prior.is_none() && direction[3].abs() > RECEDES {
            return Triangulation::NoParallax { parallax_rad: 0.0 };
        }
    }
    Triangulation::Underdetermined {
        equations,
        rank: 4 - open.len().min(4),
    }
}
