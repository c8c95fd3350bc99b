//! The first pass: rig pose by rig pose, each registered to the map so far before its boxes are assigned.

use crate::associate::{Rates, best_assignment, gaussian_candidates};
use crate::bodies::{Landmark, Prior, fit, update};
use crate::config::Config;
use crate::cubes::Cubes;
use crate::edge_model::EdgeModel;
use crate::grid::Grid;
use crate::limbs::Limbs;
use crate::nodes::Stand;
use crate::observe::Observations;
use crate::predict::Seen;
use crate::register::{Belief, Near, Registered, STEPS, Sights, TRIAL_STEPS, register};
use crate::settle::doubt_m;
use crate::sway::{Displaced, Memory, Picture, SWAY_TURNS, Sway};
use nalgebra::{Matrix6, Vector3, Vector6};

/// What the pass needs beside the boxes.
pub(crate) struct Pass<'a> {
    pub(crate) obs: &'a Observations,
    pub(crate) grids: &'a [Grid],
    pub(crate) limbs: &'a Limbs,
    pub(crate) config: &'a Config,
    pub(crate) prior: Prior,
    pub(crate) model: EdgeModel,
    /// Standard deviations of a pose: metres, radians.
    pub(crate) pose_sd: (f64, f64),
    pub(crate) detection: f64,
    pub(crate) sway: Sway,
}

/// Share of an image's boxes that may show bodies not met before.
const NEW_SHARE: f64 = 0.3;
/// Boxes of a body below which all are weighed again with each.
const FEW_VIEWS: usize = 6;
/// Deviations of a pose within which its images may show a body.
const POSE_SIGMAS: f64 = 4.0;
/// A body is looked for no further than this outside an image, metres: one of doubtful depth is doubtful along its ray.
const LARGEST_DOUBT_M: f64 = 0.1;

impl Pass<'_> {
    fn sights(&self) -> Sights<'_> {
        Sights {
            obs: self.obs,
            grids: self.grids,
            model: &self.model,
        }
    }
}

fn pose_prior(sd: (f64, f64)) -> Matrix6<f64> {
    let (t, r) = (sd.0 * sd.0, sd.1 * sd.1);
    Matrix6::from_diagonal(&Vector6::new(t, t, t, r, r, r))
}

/// Runs the pass: corrections land in `stand`, the map is returned. On a later pass the corrections of the one
/// before are where to begin.
pub(crate) fn first_pass(pass: &Pass<'_>, stand: &mut Stand) -> Vec<Landmark> {
    let mut landmarks: Vec<Landmark> = Vec::new();
    let mut cubes = Cubes::default();
    let mut last = Vector6::zeros();
    let mut memory = Memory::new(stand);
    for node in 0..stand.nodes.len() {
        let active = active_bodies(pass, stand, node, &landmarks, &cubes);
        let mean = stand.nodes[node].correction;
        let prior = Belief {
            mean,
            cov: pose_prior(pass.pose_sd),
        };
        let belief = place_node(pass, stand, node, &landmarks, &active, &prior, &last);
        last = belief.mean - mean;
        for frame in stand.nodes[node].frames.clone() {
            let known = take_image(
                pass,
                stand,
                frame,
                &belief,
                &active,
                &mut landmarks,
                &mut memory,
            );
            for l in known {
                cubes.moved(l, &landmarks[l].centre(), 0.0);
            }
            for l in &landmarks[cubes.len()..] {
                cubes.push(&l.centre(), 0.0);
            }
        }
    }
    landmarks
}

/// Registers a node, both as stated and as the node before was off: a slow error is best told by the last.
fn place_node(
    pass: &Pass<'_>,
    stand: &mut Stand,
    node: usize,
    landmarks: &[Landmark],
    active: &[usize],
    prior: &Belief,
    last: &Vector6<f64>,
) -> Belief {
    let near = Near { landmarks, active };
    let sights = pass.sights();
    let mut best: Option<Registered> = None;
    for mean in [prior.mean, prior.mean + last] {
        let start = Belief { mean, ..*prior };
        let r = register(&sights, stand, node, &near, prior, &start, TRIAL_STEPS);
        if let Some(r) = r
            && best.as_ref().is_none_or(|b| r.gain > b.gain)
        {
            best = Some(r);
        }
    }
    let best = best.map(|b| b.belief);
    let belief = best
        .and_then(|b| register(&sights, stand, node, &near, prior, &b, STEPS - TRIAL_STEPS))
        .map_or(best.unwrap_or(*prior), |r| r.belief);
    stand.nodes[node].correction = belief.mean;
    stand.place(node);
    belief
}

/// Bodies that some image of the node may show.
fn active_bodies(
    pass: &Pass<'_>,
    stand: &Stand,
    node: usize,
    landmarks: &[Landmark],
    cubes: &Cubes,
) -> Vec<usize> {
    let near = pass.config.distance_m.1;
    let shown = |centre: &Vector3<f64>, reach_m: f64| {
        stand.nodes[node].frames.iter().any(|&f| {
            let c = stand.placed[f].into_camera(centre);
            // the pose is still to be corrected
            let off = POSE_SIGMAS * (pass.pose_sd.0 + pass.pose_sd.1 * c.norm());
            c.z < near + reach_m && pass.obs.covers[stand.camera_of[f]].meets(&c, reach_m + off)
        })
    };
    let mut active = cubes.that(|centre, reach_m| shown(centre, reach_m + LARGEST_DOUBT_M));
    active.retain(|&l| {
        let doubt = doubt_m(&landmarks[l]).min(LARGEST_DOUBT_M);
        shown(&landmarks[l].centre(), doubt)
    });
    active
}

/// Assigns the boxes of one image, updates the bodies that they show and begins new ones. Returns the bodies that may
/// have been updated.
fn take_image(
    pass: &Pass<'_>,
    stand: &Stand,
    frame: usize,
    pose: &Belief,
    active: &[usize],
    landmarks: &mut Vec<Landmark>,
    memory: &mut Memory,
) -> Vec<usize> {
    let range = pass.obs.of_frame(frame);
    let rates = Rates {
        detection: pass.detection,
        new_per_image: 1.0 + NEW_SHARE * range.len() as f64,
    };
    // bodies begun by another image of this node are matched too; they stand at the end
    let node = stand.node_of[frame];
    let fresh = landmarks
        .iter()
        .rev()
        .take_while(|l| of_node(pass, stand, node, l))
        .count();
    let mut known: Vec<usize> = active.to_vec();
    known.extend(landmarks.len() - fresh..landmarks.len());
    let near = Near {
        landmarks,
        active: &known,
    };
    let pairs = match_known(pass, stand, frame, pose, &near, &rates, memory);
    let mut taken = vec![false; range.len()];
    for (body, i) in pairs {
        taken[i - range.start] = true;
        let body = known[body];
        take_box(pass, stand, &mut landmarks[body], i);
        if pass.sway.matters() {
            let of = (body, &landmarks[body]);
            memory.add(pass.obs, stand, of, i, &pass.model);
        }
    }
    for i in range.clone() {
        if !taken[i - range.start]
            && let Some(l) = begin(pass, stand, i)
        {
            landmarks.push(l);
        }
    }
    known
}

/// Gives a body one more box. While they are few all are weighed again; later the new one is weighed alone, and all
/// again when their number has doubled.
fn take_box(pass: &Pass<'_>, stand: &Stand, l: &mut Landmark, i: usize) {
    l.boxes.push(i);
    let views = l.boxes.len();
    let b = &pass.obs.boxes[i];
    let fitted = if views < FEW_VIEWS || views.is_power_of_two() {
        let start = (views > 2).then_some(l.x);
        fit(
            &pass.obs.boxes,
            &l.boxes,
            &stand.placed,
            &pass.prior,
            l.depth.as_ref(),
            &pass.model,
            start,
        )
    } else {
        update(&l.x, &l.cov, b, &stand.placed[b.frame], &pass.model)
    };
    if let Some(f) = fitted {
        l.x = f.x;
        l.cov = f.cov;
    }
}

/// The (body, box) pairs of an image, bodies by their place in `near`; again under the motion that neighbours share.
fn match_known(
    pass: &Pass<'_>,
    stand: &Stand,
    frame: usize,
    pose: &Belief,
    near: &Near<'_>,
    rates: &Rates,
    memory: &Memory,
) -> Vec<(usize, usize)> {
    let range = pass.obs.of_frame(frame);
    let (places, seen): (Vec<usize>, Vec<Seen>) = near.seen(&stand.placed[frame]).unzip();
    let assign = |displaced: &[Displaced]| {
        let candidates =
            gaussian_candidates(&pass.sights(), stand, frame, pose, &seen, displaced, rates);
        best_assignment(&candidates, seen.len(), range.start, range.len())
    };
    let mut pairs = Vec::new();
    if let (true, Some(node)) = (pass.sway.matters(), stand.node_of[frame]) {
        let bodies: Vec<usize> = places.iter().map(|&p| near.active[p]).collect();
        let picture = Picture {
            frame,
            node,
            placed: &stand.placed[frame],
            seen: &seen,
            bodies: &bodies,
        };
        for _ in 0..=SWAY_TURNS {
            let mut matched = vec![None; seen.len()];
            for &(body, i) in &pairs {
                matched[body] = Some(i);
            }
            let displaced =
                (pass.sway).displaced(pass.obs, &picture, &matched, memory, &pass.model);
            pairs = assign(&displaced);
        }
    } else {
        let still = Displaced {
            by: Vector3::zeros(),
            left: pass.model.stir,
        };
        pairs = assign(&vec![still; seen.len()]);
    }
    let place = |(body, i)| (places[body], i);
    pairs.into_iter().map(place).collect()
}

fn of_node(pass: &Pass<'_>, stand: &Stand, node: Option<usize>, l: &Landmark) -> bool {
    l.boxes
        .first()
        .is_some_and(|&i| stand.node_of[pass.obs.boxes[i].frame] == node)
}

/// A body from one box: the radius prior and, where there is wood, the depth prior close the fourth unknown. A stated depth
/// counts from the second box on: a single one may be of anything, and nothing would tell.
pub(crate) fn begin(pass: &Pass<'_>, stand: &Stand, i: usize) -> Option<Landmark> {
    let b = &pass.obs.boxes[i];
    if b.half_angle <= 1e-5 {
        return None;
    }
    let p = &stand.placed[b.frame];
    let along = p.r * b.ray;
    let depth = pass.limbs.depth_on_ray(
        &p.t,
        &along,
        b.half_angle,
        pass.prior.radius_m,
        pass.config.distance_m,
    );
    let f = fit(
        &pass.obs.boxes,
        &[i],
        &stand.placed,
        &pass.prior,
        depth.as_ref(),
        &pass.model,
        None,
    )?;
    Some(Landmark {
        boxes: vec![i],
        x: f.x,
        cov: f.cov,
        depth,
        missed: 0,
        otherwise: 0.0,
    })
}
