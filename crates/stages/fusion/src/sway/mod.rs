//! Motion that bodies have in common: wind moves a spur with all that hangs on it, and lasts from one image to the next.
//!
//! A displacement across the line of sight, Gaussian with covariance `v exp(-dt^2 / 2 T^2) (s exp(-d^2 / 2 L^2) + (1 - s)
//! [one body])` between bodies a distance d apart and images a time dt apart, is interpolated from the residuals of
//! matched boxes (simple kriging; Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, eq. 2.25 and
//! 2.26). As in coherent point drift (Myronenko and Song, Point set registration, IEEE TPAMI 32(12), 2010) assignment and
//! field are found in turns.

mod field;
mod residual;

use crate::bodies::{Landmark, Placed};
use crate::edge_model::{EdgeModel, Stir};
use crate::nodes::Stand;
use crate::observe::Observations;
use crate::predict::Seen;
use field::Field;
use nalgebra::Vector3;
use residual::{Axes, Residual};

/// Length over which bodies move alike: fruit of one spur hang within about this of each other.
const REACH_M: f64 = 0.04;
/// Turns of assignment and displacement.
pub(crate) const SWAY_TURNS: usize = 2;
/// Rig poses before and after whose images tell of a displacement.
const NODES: usize = 2;
/// Distance in reaches, and time in lasting times, beyond which nothing is told.
const FAR: f64 = 2.5;
/// Pairs from which a common motion is believed.
const FEWEST_PAIRS: usize = 200;
/// A common share of the motion below this is not worth the turns.
const LEAST_SHARE: f64 = 0.3;
/// Nor is one whose variance is less than this share of what a residual errs by anyhow.
const LEAST_WORTH: f64 = 0.1;
/// Correlation from one image to the next below which a motion does not last.
const LEAST_LASTING: f64 = 0.2;

/// What the run says about common motion.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Sway {
    /// Share of the motion's variance that neighbours have in common, 0 to 1.
    pub(crate) share: f64,
    /// How long a motion lasts, seconds; 0 = each image is another.
    pub(crate) lasts_s: f64,
}

/// How a body is displaced in an image (camera frame, metres), and the motion that this leaves.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Displaced {
    pub(crate) by: Vector3<f64>,
    pub(crate) left: Stir,
}

/// An image and the bodies that it may show.
#[derive(Clone, Copy)]
pub(crate) struct Picture<'a> {
    pub(crate) frame: usize,
    pub(crate) node: usize,
    pub(crate) placed: &'a Placed,
    pub(crate) seen: &'a [Seen],
    /// Number of each in the map.
    pub(crate) bodies: &'a [usize],
}

/// Residuals of matched boxes, by the rig pose of their image.
#[derive(Debug, Clone, Default)]
pub(crate) struct Memory {
    of_node: Vec<Vec<Residual>>,
    time_s: Vec<f64>,
}

impl Memory {
    /// Nothing is matched yet.
    pub(crate) fn new(stand: &Stand) -> Self {
        Self {
            of_node: vec![Vec::new(); stand.nodes.len()],
            time_s: stand.nodes.iter().map(|n| n.time_s).collect(),
        }
    }

    /// All boxes that the bodies have.
    pub(crate) fn of(
        obs: &Observations,
        stand: &Stand,
        landmarks: &[Landmark],
        model: &EdgeModel,
    ) -> Self {
        let mut all = Self::new(stand);
        for (body, l) in landmarks.iter().enumerate() {
            for &i in &l.boxes {
                all.add(obs, stand, (body, l), i, model);
            }
        }
        all
    }

    /// Remembers that a box is a body's.
    pub(crate) fn add(
        &mut self,
        obs: &Observations,
        stand: &Stand,
        (body, l): (usize, &Landmark),
        box_idx: usize,
        model: &EdgeModel,
    ) {
        let frame = obs.boxes[box_idx].frame;
        let placed = &stand.placed[frame];
        if let (Some(node), Some(seen)) = (stand.node_of[frame], Seen::new(l, placed)) {
            let axes = Axes::new(placed);
            let r = Residual::new(obs, box_idx, &seen, body, model, &axes, placed);
            self.of_node[node].push(r);
        }
    }

    fn around(&self, node: usize, nodes: usize) -> impl Iterator<Item = (f64, &Residual)> {
        let from = node.saturating_sub(nodes);
        let to = (node + nodes + 1).min(self.of_node.len());
        let at = self.time_s.get(node).copied().unwrap_or_default();
        (from..to).flat_map(move |n| {
            self.of_node[n]
                .iter()
                .map(move |r| (self.time_s[n] - at, r))
        })
    }
}

impl Sway {
    /// From the products of neighbours' residuals in the same image and of a body's own in images that follow each other.
    /// O(boxes times boxes an image).
    pub(crate) fn learn(
        obs: &Observations,
        stand: &Stand,
        landmarks: &[Landmark],
        model: &EdgeModel,
    ) -> Self {
        let known: Vec<bool> = landmarks.iter().map(|l| l.boxes.len() > 3).collect();
        let mut memory = Memory::of(obs, stand, landmarks, model);
        for list in &mut memory.of_node {
            list.retain(|r| known[r.body]);
            list.sort_by(|a, b| a.frame.cmp(&b.frame).then(a.at.x.total_cmp(&b.at.x)));
        }
        let all = || memory.of_node.iter().flatten();
        let noise_m2 = all().map(|r| r.noise_m2).sum::<f64>() / all().count().max(1) as f64;
        let worth = |share: f64| share * model.stir.most_m().powi(2) >= LEAST_WORTH * noise_m2;
        let share = memory.common_share(stand, model).filter(|s| worth(*s));
        let lasts_s = memory.lasting(model).filter(|_| worth(1.0));
        Self {
            share: share.unwrap_or_default(),
            lasts_s: lasts_s.unwrap_or_default(),
        }
    }

    /// Whether there is anything to gain.
    pub(crate) fn matters(self) -> bool {
        self.share >= LEAST_SHARE || self.lasts_s > 0.0
    }

    /// The displacement of every body of an image: from the boxes that others, and in other images the body itself, are
    /// matched to.
    pub(crate) fn displaced(
        self,
        obs: &Observations,
        picture: &Picture<'_>,
        matched: &[Option<usize>],
        memory: &Memory,
        model: &EdgeModel,
    ) -> Vec<Displaced> {
        let axes = Axes::new(picture.placed);
        let here =
            (picture.seen.iter().zip(picture.bodies).zip(matched)).filter_map(|((s, b), m)| {
                let r = Residual::new(obs, (*m)?, s, *b, model, &axes, picture.placed);
                Some((0.0, r))
            });
        let here: Vec<(f64, Residual)> = here.collect();
        let others = memory
            .around(picture.node, self.nodes())
            .filter(|(_, r)| r.frame != picture.frame);
        let told = (here.iter().map(|(dt_s, r)| (*dt_s, r))).chain(others);
        let field = Field::new(self, model.stir, axes, picture.placed, told);
        let one = |(s, &body): (&Seen, &usize)| {
            let at = picture.placed.r * s.c + picture.placed.t;
            // its own box in this image is what is to be found
            field.displaced(&at, body, |r| r.body != body || r.frame != picture.frame)
        };
        picture.seen.iter().zip(picture.bodies).map(one).collect()
    }

    /// Tells every box how far the common motion takes its body off the planes of its edges, as the other bodies have it:
    /// by its own boxes a body would stay where it is.
    pub(crate) fn set(
        self,
        obs: &mut Observations,
        stand: &Stand,
        landmarks: &[Landmark],
        model: &EdgeModel,
    ) {
        for b in &mut obs.boxes {
            b.swayed_m = [0.0; 4];
        }
        if self.share < LEAST_SHARE {
            return;
        }
        let memory = Memory::of(obs, stand, landmarks, model);
        let mut of_frame: Vec<Vec<(usize, usize)>> = vec![Vec::new(); stand.placed.len()];
        for (body, l) in landmarks.iter().enumerate() {
            for &i in &l.boxes {
                of_frame[obs.boxes[i].frame].push((body, i));
            }
        }
        for (frame, list) in of_frame.iter().enumerate() {
            let (placed, Some(node)) = (&stand.placed[frame], stand.node_of[frame]) else {
                continue;
            };
            let told = memory.around(node, self.nodes());
            let field = Field::new(self, model.stir, Axes::new(placed), placed, told);
            for &(body, i) in list {
                let d = field.displaced(&landmarks[body].centre(), body, |r| r.body != body);
                obs.boxes[i].swayed_m = obs.boxes[i].normals.map(|n| n.dot(&d.by));
            }
        }
    }

    fn nodes(self) -> usize {
        if self.lasts_s > 0.0 { NODES } else { 0 }
    }

    /// Correlation over time.
    fn over(self, dt_s: f64) -> f64 {
        if dt_s == 0.0 {
            return 1.0;
        }
        let d = dt_s / self.lasts_s;
        if d.abs() < FAR {
            (-0.5 * d * d).exp()
        } else {
            0.0
        }
    }
}

impl Memory {
    /// Share of the motion's variance that neighbours in an image have in common. Residuals of an image stand together,
    /// from left to right.
    fn common_share(&self, stand: &Stand, model: &EdgeModel) -> Option<f64> {
        let (mut products, mut kernels, mut pairs) = (0.0, 0.0, 0);
        let images = self
            .of_node
            .iter()
            .flat_map(|n| n.chunk_by(|a, b| a.frame == b.frame));
        for here in images {
            let axes = Axes::new(&stand.placed[here.first()?.frame]);
            let motion_m2 = axes.variances(model.stir).sum();
            for (k, a) in here.iter().enumerate() {
                let within = |b: &&Residual| b.at.x - a.at.x <= FAR * REACH_M;
                for b in here[k + 1..].iter().take_while(within) {
                    let kernel = kernel((a.at - b.at).norm_squared());
                    if kernel > 0.0 {
                        pairs += 1;
                        products += kernel * a.y.dot(&b.y);
                        kernels += kernel * kernel * motion_m2;
                    }
                }
            }
        }
        (pairs >= FEWEST_PAIRS && kernels > 0.0).then(|| (products / kernels).clamp(0.0, 0.95))
    }

    /// How long a motion lasts, by what a body's residual says of its next at the following rig pose.
    fn lasting(&self, model: &EdgeModel) -> Option<f64> {
        let (mut products, mut variances, mut times, mut pairs) = (0.0, 0.0, 0.0, 0);
        for (k, next) in self.of_node.iter().enumerate().skip(1) {
            let dt_s = self.time_s[k] - self.time_s[k - 1];
            let mut before: Vec<&Residual> = self.of_node[k - 1].iter().collect();
            before.sort_by_key(|r| (r.body, r.frame));
            for b in next {
                let from = before.partition_point(|r| r.body < b.body);
                let own = before[from..].iter().take_while(|r| r.body == b.body);
                for a in own.filter(|a| a.level.dot(&b.level) > residual::LIKE) {
                    pairs += 1;
                    products += a.y.dot(&b.y);
                    variances += model.stir.level_m2 + model.stir.plumb_m2;
                    times += dt_s;
                }
            }
        }
        let correlation = products / variances;
        (pairs >= FEWEST_PAIRS && correlation > LEAST_LASTING).then(|| {
            let dt_s = times / pairs as f64;
            dt_s / (-2.0 * correlation.min(0.95).ln()).sqrt()
        })
    }
}

/// Correlation over a squared distance.
fn kernel(apart_m2: f64) -> f64 {
    let d2 = apart_m2 / (REACH_M * REACH_M);
    if d2 > FAR * FAR {
        0.0
    } else {
        (-0.5 * d2).exp()
    }
}

#[cfg(test)]
mod tests;
