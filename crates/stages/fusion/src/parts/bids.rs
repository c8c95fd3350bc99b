//! Which of its candidate stems each body takes, when a box can show one stem only.
//!
//! Body after body takes the stem that explains most beyond what the others hold, and with it the boxes; who loses
//! boxes chooses again when it is its turn. A few sweeps settle it.

use super::PartsConfig;
use super::direction::AxisNoise;
use super::fit::Problem;
use super::pairing::StemOf;
use super::piece::{EdgeModel, Piece};
use super::sights::Sights;
use corymb_model::scene::Body;
use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::Vector3;

/// Sweeps in which bodies choose; two change most, a third little.
const SWEEPS: usize = 3;

/// What speaks for a stem that ends where a neighbour's does, nats: seven in ten fruits share their spur, and a stem's
/// end is else somewhere in a region some hundred times as large as the one in which stems that meet are seen to.
const COMPANY: f64 = 4.0;
/// Standard deviation of the distance between the ends of stems that meet, metres.
const MEET_M: f64 = 0.003;

/// A candidate stem of a body with the boxes that it could explain.
#[derive(Clone)]
pub(super) struct Offer {
    /// The stem.
    pub(super) piece: Piece,
    /// What axis and length hold against it, nats.
    against: f64,
    /// Boxes with a gain, by sight.
    claims: Vec<Claim>,
}

/// A box that a stem could explain.
#[derive(Clone, Copy)]
struct Claim {
    sight_idx: usize,
    image_idx: usize,
    box_idx: usize,
    gain: f64,
}

impl Offer {
    /// The boxes that `piece` could explain, over all images of the body.
    pub(super) fn new(
        problem: &Problem<'_>,
        body_idx: usize,
        models: &[EdgeModel],
        piece: Piece,
    ) -> Offer {
        let mut claims = Vec::new();
        for i in problem.sights.of_body(body_idx) {
            let sight = &problem.sights.all[i];
            if sight.stems.is_empty() {
                continue;
            }
            let image = problem.sights.image(sight);
            let points = piece.see(sight, image);
            for &b in &sight.stems {
                let gain = models[i].gain(&points, &image.stems[b]);
                if gain > 0.0 {
                    claims.push(Claim {
                        sight_idx: i,
                        image_idx: sight.image_idx,
                        box_idx: b,
                        gain,
                    });
                }
            }
        }
        Offer {
            against: against(problem, &piece),
            piece,
            claims,
        }
    }

    /// What it explains when each box counts for `gain` less what `price` asks for it: nats.
    fn worth(&self, price: impl Fn(&Claim) -> f64) -> f64 {
        let of_sights = self.claims.chunk_by(|a, b| a.sight_idx == b.sight_idx);
        let best = |claims: &[Claim]| claims.iter().map(|c| c.gain - price(c)).fold(0.0, f64::max);
        of_sights.map(best).sum::<f64>() - self.against
    }

    /// What it explains if no other stem wants a box.
    pub(super) fn alone(&self) -> f64 {
        self.worth(|_| 0.0)
    }
}

/// What a stem would explain in some sights if no other wanted a box, nats: [`Offer::alone`] without the list of boxes
/// and what is held against it.
pub(super) fn promise(
    problem: &Problem<'_>,
    sights: &[usize],
    models: &[EdgeModel],
    piece: &Piece,
) -> f64 {
    let explained = |&i: &usize| {
        let sight = &problem.sights.all[i];
        let image = problem.sights.image(sight);
        let points = piece.see(sight, image);
        let gain = |&b: &usize| models[i].gain(&points, &image.stems[b]);
        sight.stems.iter().map(gain).fold(0.0, f64::max)
    };
    sights.iter().map(explained).sum()
}

/// What axis and length hold against a stem, nats.
pub(super) fn against(problem: &Problem<'_>, piece: &Piece) -> f64 {
    let noise = AxisNoise {
        image_axis_rad: problem.habit.image_axis_rad,
        slack_rad: problem.config.bend_deviation_rad,
    };
    let axis = -piece.top.normalize();
    let [mean, deviation] = problem.habit.length_m;
    let length = (piece.length_m() - mean) / deviation;
    (problem.evidence.loss(&axis, noise) - problem.least).max(0.0) + 0.5 * length * length
}

/// Who holds each box of each image, and how well it is explained.
struct Holders(Vec<Vec<Option<(usize, f64)>>>);

impl Holders {
    fn new(sights: &Sights, held: &StemOf) -> Holders {
        let mut out: Vec<Vec<_>> = sights
            .images
            .iter()
            .map(|im| vec![None; im.stems.len()])
            .collect();
        for (sight, given) in sights.all.iter().zip(held) {
            if let Some((b, gain)) = given {
                out[sight.image_idx][*b] = Some((sight.body_idx, *gain));
            }
        }
        Holders(out)
    }

    /// What a body other than `body_idx` would lose with a box.
    fn price(&self, claim: &Claim, body_idx: usize) -> f64 {
        match self.0[claim.image_idx][claim.box_idx] {
            Some((holder, gain)) if holder != body_idx => gain,
            _ => 0.0,
        }
    }

    /// Lets go of whatever a body holds.
    fn release(&mut self, sights: &Sights, body_idx: usize) {
        for i in sights.of_body(body_idx) {
            let sight = &sights.all[i];
            let held = &mut self.0[sight.image_idx];
            for &b in &sight.stems {
                if held[b].is_some_and(|(holder, _)| holder == body_idx) {
                    held[b] = None;
                }
            }
        }
    }

    /// Takes the boxes that an offer explains better than their holders do.
    fn take(&mut self, offer: &Offer, body_idx: usize) {
        for claims in offer.claims.chunk_by(|a, b| a.sight_idx == b.sight_idx) {
            let spare = |c: &Claim| c.gain - self.price(c, body_idx);
            let best = claims.iter().max_by(|a, b| spare(a).total_cmp(&spare(b)));
            if let Some(c) = best.filter(|c| spare(c) > 0.0).copied() {
                self.0[c.image_idx][c.box_idx] = Some((body_idx, c.gain));
            }
        }
    }
}

/// Bodies near each other, whose stems may share a spur.
pub(super) struct Neighbours {
    centres: Vec<Vector3<f64>>,
    near: Vec<Vec<usize>>,
}

impl Neighbours {
    /// Bodies within twice the reach of a stem. O(n log n).
    pub(super) fn new(bodies: &[Body], config: &PartsConfig) -> Neighbours {
        let centres: Vec<Vector3<f64>> = bodies.iter().map(|b| b.centre.xyz).collect();
        let points: Vec<[f64; 3]> = centres.iter().map(|&c| c.into()).collect();
        let within = (2.0 * config.longest_stem_m).powi(2);
        let Ok(tree) = ImmutableKdTree::<f64, 3>::new_from_slice(&points) else {
            return Neighbours {
                near: vec![Vec::new(); centres.len()],
                centres,
            };
        };
        let near = (0..points.len()).map(|i| {
            let found = tree
                .query(&points[i])
                .within::<SquaredEuclidean<f64>>(within)
                .execute();
            let mut near: Vec<usize> = found
                .into_iter()
                .map(|f| f.item as usize)
                .filter(|&j| j != i)
                .collect();
            near.sort_unstable();
            near
        });
        Neighbours {
            near: near.collect(),
            centres,
        }
    }

    /// What speaks for a stem because it meets a neighbour's: most fruit shares its spur with others, and two stems
    /// that do not hardly ever end within some millimetres of each other.
    fn company(&self, body_idx: usize, piece: &Piece, chosen: &[Option<Piece>]) -> f64 {
        let far = self.centres[body_idx] + piece.far;
        let away = |&j: &usize| Some((self.centres[j] + chosen[j]?.far - far).norm_squared());
        let nearest = self.near[body_idx]
            .iter()
            .filter_map(away)
            .fold(f64::INFINITY, f64::min);
        (COMPANY - nearest / (2.0 * MEET_M * MEET_M)).max(0.0)
    }
}

/// The stem that each body ends up with, starting from who holds which box now. Bodies with the most to gain begin.
pub(super) fn choose(
    sights: &Sights,
    neighbours: &Neighbours,
    offers: &[Vec<Offer>],
    held: &StemOf,
) -> Vec<Option<Piece>> {
    let mut holders = Holders::new(sights, held);
    let alone = |of: &Vec<Offer>| {
        of.iter()
            .map(Offer::alone)
            .fold(f64::NEG_INFINITY, f64::max)
    };
    let promise: Vec<f64> = offers.iter().map(alone).collect();
    let mut order: Vec<usize> = (0..offers.len()).collect();
    order.sort_by(|&a, &b| promise[b].total_cmp(&promise[a]).then(a.cmp(&b)));
    let mut out: Vec<Option<Piece>> = vec![None; offers.len()];
    for _ in 0..SWEEPS {
        for &body_idx in &order {
            holders.release(sights, body_idx);
            let worth = |offer: &Offer| {
                let company = neighbours.company(body_idx, &offer.piece, &out);
                offer.worth(|c| holders.price(c, body_idx)) + company
            };
            let weighed = offers[body_idx].iter().map(|o| (worth(o), o));
            let best = weighed
                .max_by(|a, b| a.0.total_cmp(&b.0))
                .filter(|(w, _)| *w > COMPANY);
            if let Some((_, offer)) = best {
                holders.take(offer, body_idx);
            }
            out[body_idx] = best.map(|(_, o)| o.piece);
        }
    }
    out
}
