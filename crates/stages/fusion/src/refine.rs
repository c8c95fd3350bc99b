//! Joint refinement of all spheres, rig poses and mounts: Gauss-Newton with the spheres eliminated.
//!
//! Residuals: box edges (one-sided robust weights), pose and mount priors, radius prior, and the distance of each
//! body from the nearest wood. Each sphere's 4x4 block is eliminated (Schur complement, Triggs et al., Bundle
//! Adjustment: A Modern Synthesis, 2000, section 6.1); the reduced system is banded in the order of time.

use crate::bodies::{Landmark, Prior, fit, radius_px, residuals_at_rest, scale_free};
use crate::edge_model::EdgeModel;
use crate::envelope::{Envelope, Factor};
use crate::limbs::Limbs;
use crate::nodes::Stand;
use crate::observe::{BoxObs, Observations};
use crate::register::pose_row;
use nalgebra::{Matrix3, Matrix4, Matrix6x4, SMatrix, Vector3, Vector4, Vector6};

/// Standard deviations and switches of a refinement.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Terms {
    pub(crate) model: EdgeModel,
    pub(crate) prior: Prior,
    /// Metres, radians.
    pub(crate) pose_sd: (f64, f64),
    /// Metres, radians; `None` = mounts as stated.
    pub(crate) mount_sd: Option<(f64, f64)>,
    /// Distance of bodies from wood: mean and standard deviation, metres; `None` = no anchors.
    pub(crate) hang_m: Option<(f64, f64)>,
    pub(crate) iterations: usize,
    /// Whether the deviations of poses and mounts are wanted.
    pub(crate) deviations: bool,
}

/// What came of a refinement.
#[derive(Debug, Clone, Default)]
pub(crate) struct Refined {
    pub(crate) converged: bool,
    /// Standard deviations of each node's correction (translation mean per axis, rotation mean per axis).
    pub(crate) node_sd: Vec<(f64, f64)>,
    pub(crate) mount_sd: Vec<(f64, f64)>,
}

/// How far from wood anchors are looked for, metres.
const ANCHOR_REACH_M: f64 = 0.15;
/// Multiplications of one joint step beyond which poses and spheres are refined in turn: a camera that circles its
/// subject for minutes couples every pose with every other.
const JOINT_COST: f64 = 2e9;
/// Turns taken then.
const TURNS: usize = 4;
/// A step smaller than this (metres, radians) ends the iteration.
const SMALL_STEP: f64 = 1e-5;
/// A last step smaller than this counts as converged.
const SETTLED: f64 = 1e-4;

/// What a linearisation looks at.
struct Linear<'a> {
    obs: &'a Observations,
    stand: &'a Stand,
    limbs: &'a Limbs,
    terms: &'a Terms,
    /// Mounts that are estimated.
    mounts: usize,
}

struct Body {
    v: Matrix4<f64>,
    g: Vector4<f64>,
    /// Coupling with each block of six unknowns, ascending by block.
    w: Vec<(usize, Matrix6x4<f64>)>,
}

/// Refines in place. Bodies seen in one image only take no part in the poses and are fitted afterwards by the caller.
pub(crate) fn refine(
    obs: &Observations,
    stand: &mut Stand,
    limbs: &Limbs,
    landmarks: &mut [Landmark],
    terms: &Terms,
) -> Refined {
    let mut out = Refined::default();
    let nodes = stand.nodes.len();
    let mounts = if terms.mount_sd.is_some() {
        stand.mount_stated.len()
    } else {
        0
    };
    let first = first_blocks(obs, stand, landmarks, nodes, mounts);
    let rows: Vec<usize> = (0..6 * first.len()).map(|i| 6 * first[i / 6]).collect();
    if Envelope::cost(&rows) > JOINT_COST {
        return in_turn(obs, stand, limbs, landmarks, terms);
    }
    for it in 0..terms.iterations {
        let mut system = System::new(stand, nodes, mounts, &first);
        system.priors(stand, terms);
        let view = Linear {
            obs,
            stand,
            limbs,
            terms,
            mounts,
        };
        let bodies: Vec<Option<Body>> = landmarks
            .iter()
            .map(|l| (l.boxes.len() > 1).then(|| linearise(&view, l, &mut system)))
            .collect();
        let inverses = system.eliminate(&bodies);
        let Some((factor, step)) = system.solve() else {
            break;
        };
        let size = apply(stand, landmarks, &bodies, &inverses, &step, nodes, mounts);
        if size < SMALL_STEP || it + 1 == terms.iterations {
            out.converged = size < SETTLED;
            if terms.deviations {
                let variances = factor.inverse_diagonal();
                let (of_nodes, of_mounts) = variances.split_at(6 * nodes);
                out.node_sd = deviations(of_nodes);
                out.mount_sd = deviations(of_mounts);
            }
        }
        if size < SMALL_STEP {
            break;
        }
    }
    out
}

/// Poses with the spheres held, then spheres with the poses held, in turns. Mounts stay as they are, and no
/// deviations are given: those of one pose alone would claim too much.
fn in_turn(
    obs: &Observations,
    stand: &mut Stand,
    limbs: &Limbs,
    landmarks: &mut [Landmark],
    terms: &Terms,
) -> Refined {
    let nodes = stand.nodes.len();
    let own = (0..nodes).collect::<Vec<_>>();
    let mut largest = 0.0;
    for _ in 0..TURNS {
        let mut system = System::new(stand, nodes, 0, &own);
        system.priors(
            stand,
            &Terms {
                mount_sd: None,
                ..*terms
            },
        );
        let view = Linear {
            obs,
            stand,
            limbs,
            terms,
            mounts: 0,
        };
        for l in landmarks.iter().filter(|l| l.boxes.len() > 1) {
            linearise(&view, l, &mut system);
        }
        let Some((_, step)) = system.solve() else {
            break;
        };
        for (n, d) in step.chunks_exact(6).enumerate() {
            stand.nodes[n].correction += Vector6::from_column_slice(d);
        }
        stand.place_all();
        largest = step.iter().fold(0.0, |a: f64, v| a.max(v.abs()));
        for l in landmarks.iter_mut().filter(|l| l.boxes.len() > 1) {
            let f = fit(
                &obs.boxes,
                &l.boxes,
                &stand.placed,
                &terms.prior,
                l.depth.as_ref(),
                &terms.model,
                Some(l.x),
            );
            if let Some(f) = f {
                l.x = f.x;
                l.cov = f.cov;
            }
        }
    }
    Refined {
        converged: largest < SETTLED,
        ..Refined::default()
    }
}

/// The first block of six that each block couples with.
fn first_blocks(
    obs: &Observations,
    stand: &Stand,
    landmarks: &[Landmark],
    nodes: usize,
    mounts: usize,
) -> Vec<usize> {
    let mut first: Vec<usize> = (0..nodes + mounts).collect();
    for l in landmarks.iter().filter(|l| l.boxes.len() > 1) {
        let of = |i: &usize| stand.node_of[obs.boxes[*i].frame];
        let low = l.boxes.iter().filter_map(of).min().unwrap_or(0);
        for n in l.boxes.iter().filter_map(of) {
            first[n] = first[n].min(low);
        }
    }
    for m in &mut first[nodes..] {
        *m = 0;
    }
    first
}

/// The reduced system.
struct System {
    a: Envelope,
    b: Vec<f64>,
    /// Mounting of each camera: rotation and translation, rig from camera.
    mounts: Vec<(Matrix3<f64>, Vector3<f64>)>,
}

impl System {
    fn new(stand: &Stand, nodes: usize, mounts: usize, first: &[usize]) -> Self {
        let rows = (0..6 * (nodes + mounts))
            .map(|i| 6 * first[i / 6])
            .collect();
        Self {
            a: Envelope::zeros(rows),
            b: vec![0.0; 6 * (nodes + mounts)],
            mounts: (0..stand.mount_stated.len())
                .map(|c| {
                    let m = stand.rig_from_camera(c);
                    (
                        m.rotation.to_rotation_matrix().into_inner(),
                        m.translation.vector,
                    )
                })
                .collect(),
        }
    }

    fn priors(&mut self, stand: &Stand, terms: &Terms) {
        let mut add = |block: usize, value: &Vector6<f64>, sd: (f64, f64)| {
            for k in 0..6 {
                let s = if k < 3 { sd.0 } else { sd.1 };
                let w = 1.0 / (s * s);
                self.a.add(6 * block + k, 6 * block + k, w);
                self.b[6 * block + k] -= w * value[k];
            }
        };
        for (n, node) in stand.nodes.iter().enumerate() {
            add(n, &node.correction, terms.pose_sd);
        }
        if let Some(sd) = terms.mount_sd {
            for (m, c) in stand.mount_correction.iter().enumerate() {
                add(stand.nodes.len() + m, c, sd);
            }
        }
    }

    /// Adds a 6x6 block at (rows of block p, columns of block q), p >= q; the lower triangle where p = q.
    fn add_block(&mut self, p: usize, q: usize, m: &SMatrix<f64, 6, 6>) {
        for r in 0..6 {
            let end = if p == q { r + 1 } else { 6 };
            let part = self.a.part_mut(6 * p + r, 6 * q, end);
            for (c, to) in part.iter_mut().enumerate() {
                *to += m[(r, c)];
            }
        }
    }

    /// Subtracts `a b'` at the same place as [`System::add_block`] adds.
    fn subtract_product(&mut self, p: usize, q: usize, a: &Matrix6x4<f64>, b: &Matrix6x4<f64>) {
        for r in 0..6 {
            let end = if p == q { r + 1 } else { 6 };
            let part = self.a.part_mut(6 * p + r, 6 * q, end);
            for (c, to) in part.iter_mut().enumerate() {
                *to -= a[(r, 0)] * b[(c, 0)]
                    + a[(r, 1)] * b[(c, 1)]
                    + a[(r, 2)] * b[(c, 2)]
                    + a[(r, 3)] * b[(c, 3)];
            }
        }
    }

    /// Subtracts what the spheres explain; returns the inverse block of each.
    fn eliminate(&mut self, bodies: &[Option<Body>]) -> Vec<Option<Matrix4<f64>>> {
        bodies
            .iter()
            .map(|b| {
                let b = b.as_ref()?;
                let inv = b.v.cholesky()?.inverse();
                let half: Vec<Matrix6x4<f64>> = b.w.iter().map(|(_, w)| w * inv).collect();
                for (k, (p, _)) in b.w.iter().enumerate() {
                    let step = half[k] * b.g;
                    for r in 0..6 {
                        self.b[6 * p + r] -= step[r];
                    }
                    for (q, w) in &b.w[..=k] {
                        self.subtract_product(*p, *q, &half[k], w);
                    }
                }
                Some(inv)
            })
            .collect()
    }

    fn solve(self) -> Option<(Factor, Vec<f64>)> {
        let factor = self.a.factor()?;
        let mut x = self.b;
        factor.solve(&mut x);
        x.iter().all(|v| v.is_finite()).then_some((factor, x))
    }
}

/// Linearises all residuals of one body; those blocks that do not involve it go into the system at once.
fn linearise(view: &Linear<'_>, l: &Landmark, system: &mut System) -> Body {
    let mut body = beliefs(view, l);
    for &i in &l.boxes {
        let b = &view.obs.boxes[i];
        let Some(node) = view.stand.node_of[b.frame] else {
            continue;
        };
        let camera = view.stand.camera_of[b.frame];
        let r = box_rows(view, b, l, &system.mounts[camera]);
        body.v += r.sphere.transpose() * r.sphere;
        body.g -= r.sphere.transpose() * r.e;
        couple(&mut body.w, node, &(r.node.transpose() * r.sphere));
        add_gradient(system, node, &(r.node.transpose() * r.e));
        system.add_block(node, node, &(r.node.transpose() * r.node));
        depth_row(view, b, l, node, &mut body, system);
        if view.mounts > 0 {
            let m = view.stand.nodes.len() + camera;
            couple(&mut body.w, m, &(r.mount.transpose() * r.sphere));
            add_gradient(system, m, &(r.mount.transpose() * r.e));
            system.add_block(m, m, &(r.mount.transpose() * r.mount));
            system.add_block(m, node, &(r.mount.transpose() * r.node));
        }
    }
    body
}

/// What is known of a body before its boxes: size, depth, wood.
fn beliefs(view: &Linear<'_>, l: &Landmark) -> Body {
    let mut body = Body {
        v: Matrix4::zeros(),
        g: Vector4::zeros(),
        w: Vec::with_capacity(l.boxes.len() + view.mounts),
    };
    let (mean, sd) = view.terms.prior.radius_m;
    let size = Vector4::new(0.0, 0.0, 0.0, 1.0);
    add_row(&mut body, &size, l.radius() - mean, sd.powi(-2));
    if let Some(d) = &l.depth {
        let off = d.axis.dot(&l.centre()) - d.at;
        add_row(&mut body, &d.axis.push(0.0), off, d.sigma_m.powi(-2));
    }
    if let Some((mean, sd)) = view.terms.hang_m
        && let Some(near) = view.limbs.nearest(&l.centre(), ANCHOR_REACH_M)
    {
        // the nearest wood may be another limb: a heavy tail
        let z = (near.surface_m - mean) / sd;
        let w = 1.0 / ((1.0 + z * z / 4.0) * sd * sd);
        add_row(&mut body, &near.away.push(0.0), near.surface_m - mean, w);
    }
    body
}

/// The weighted rows of one box: derivatives by the node, the mount and the sphere, and the residuals.
struct Rows {
    node: SMatrix<f64, 4, 6>,
    mount: SMatrix<f64, 4, 6>,
    sphere: Matrix4<f64>,
    e: Vector4<f64>,
}

fn box_rows(
    view: &Linear<'_>,
    b: &BoxObs,
    l: &Landmark,
    (rig_r, rig_t): &(Matrix3<f64>, Vector3<f64>),
) -> Rows {
    let placed = &view.stand.placed[b.frame];
    let model = &view.terms.model;
    let c = placed.into_camera(&l.centre());
    let c_in_rig = rig_r * c + rig_t;
    let law = model.at(radius_px(b, c.norm(), l.radius().max(1e-3)));
    let mut rows = Rows {
        node: SMatrix::zeros(),
        mount: SMatrix::zeros(),
        sphere: Matrix4::zeros(),
        e: Vector4::zeros(),
    };
    for (k, res) in residuals_at_rest(b, &c, l.radius(), model)
        .iter()
        .enumerate()
    {
        if !b.usable[k] {
            continue;
        }
        let core = law.core_share(res.metres / res.sigma_m);
        let w = core.sqrt() / res.sigma_m;
        let row = scale_free(&b.normals[k], &c, res.metres) * w;
        let by_node = pose_row(&row, rig_r, &c_in_rig);
        let by_mount = pose_row(&row, &Matrix3::identity(), &c);
        rows.node.set_row(k, &by_node.transpose());
        rows.mount.set_row(k, &by_mount.transpose());
        rows.sphere
            .set_row(k, &(placed.r * row).push(-w).transpose());
        rows.e[k] = res.metres * w;
    }
    rows
}

/// The depth of a box, where it has one. It moves the body and the rig; a mounting is told by edges.
fn depth_row(
    view: &Linear<'_>,
    b: &BoxObs,
    l: &Landmark,
    node: usize,
    body: &mut Body,
    system: &mut System,
) {
    let Some(depth) = b.depth else {
        return;
    };
    let placed = &view.stand.placed[b.frame];
    let c = placed.into_camera(&l.centre());
    let (rig_r, rig_t) = &system.mounts[view.stand.camera_of[b.frame]];
    let along: Vector3<f64> = placed.r.column(2).into_owned();
    let by_sphere = along.push(-1.0);
    let by_node = pose_row(&Vector3::z(), rig_r, &(rig_r * c + rig_t));
    let e = depth.residual_m(&c, l.radius());
    let w = depth.weight(e, by_sphere.dot(&(l.cov * by_sphere)));
    add_row(body, &by_sphere, e, w);
    couple(&mut body.w, node, &(by_node * by_sphere.transpose() * w));
    add_gradient(system, node, &(by_node * (e * w)));
    system.add_block(node, node, &(by_node * by_node.transpose() * w));
}

fn add_row(body: &mut Body, row: &Vector4<f64>, residual: f64, w: f64) {
    body.v += row * row.transpose() * w;
    body.g -= row * (residual * w);
}

fn add_gradient(system: &mut System, block: usize, g: &Vector6<f64>) {
    for k in 0..6 {
        system.b[6 * block + k] -= g[k];
    }
}

fn couple(w: &mut Vec<(usize, Matrix6x4<f64>)>, block: usize, m: &Matrix6x4<f64>) {
    match w.binary_search_by_key(&block, |x| x.0) {
        Ok(k) => w[k].1 += m,
        Err(k) => w.insert(k, (block, *m)),
    }
}

/// Applies the step to poses, mounts and spheres; returns its largest entry over poses and spheres.
fn apply(
    stand: &mut Stand,
    landmarks: &mut [Landmark],
    bodies: &[Option<Body>],
    inverses: &[Option<Matrix4<f64>>],
    step: &[f64],
    nodes: usize,
    mounts: usize,
) -> f64 {
    let block = |k: usize| Vector6::from_column_slice(&step[6 * k..6 * k + 6]);
    let mut largest: f64 = 0.0;
    for n in 0..nodes {
        stand.nodes[n].correction += block(n);
        largest = largest.max(block(n).amax());
    }
    for m in 0..mounts {
        stand.mount_correction[m] += block(nodes + m);
    }
    stand.place_all();
    for ((l, b), inv) in landmarks.iter_mut().zip(bodies).zip(inverses) {
        let (Some(b), Some(inv)) = (b, inv) else {
            continue;
        };
        let mut g = b.g;
        for (k, w) in &b.w {
            g -= w.transpose() * block(*k);
        }
        let dx = inv * g;
        l.x += dx;
        l.x[3] = l.x[3].max(5e-4);
        l.cov = *inv;
        largest = largest.max(dx.fixed_rows::<3>(0).amax());
    }
    largest
}

/// Standard deviations per axis of some blocks of six, from their variances.
fn deviations(variances: &[f64]) -> Vec<(f64, f64)> {
    let mean = |v: &[f64]| (v.iter().sum::<f64>() / 3.0).max(0.0).sqrt();
    variances
        .chunks_exact(6)
        .map(|v| (mean(&v[..3]), mean(&v[3..])))
        .collect()
}

/// Mean and spread of the distance from wood over well-known bodies; `None` where too few have wood near.
pub(crate) fn hang(limbs: &Limbs, landmarks: &[Landmark]) -> Option<(f64, f64)> {
    let mut d: Vec<f64> = landmarks
        .iter()
        .filter(|l| l.boxes.len() > 2)
        .filter_map(|l| {
            limbs
                .nearest(&l.centre(), ANCHOR_REACH_M)
                .map(|n| n.surface_m)
        })
        .collect();
    if d.len() < 20 {
        return None;
    }
    d.sort_by(f64::total_cmp);
    let at = |q: f64| d[((d.len() - 1) as f64 * q) as usize];
    Some((at(0.5), ((at(0.84) - at(0.16)) * 0.5).max(0.003)))
}
