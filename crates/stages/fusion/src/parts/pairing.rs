//! Which stem box belongs to which body: paired in space, not in the image.
//!
//! Every body brings candidates for its stem in space, each predicts a box in every image, and the boxes of an image
//! go where they fit best, each once. What the others hold then counts less for a body when it chooses among its
//! candidates again; fitted stems predict better boxes, and so on for a few rounds.

use super::PartsConfig;
use super::direction::AxisEvidence;
use super::fit::{Fitted, Guess, Habit, Problem, StemBox};
use super::hypotheses::{Hypothesis, hypotheses, score};
use super::matching::{Candidate, best_pairs};
use super::piece::{EdgeModel, radial_top};
use super::sights::Sights;
use corymb_model::scene::Body;
use nalgebra::Vector3;

/// What a body without a box of its own in the image costs: one stem box in four comes from such a body, nats.
const UNSEEN_BODY: f64 = 1.0;
/// How far a straight piece departs from the stem while its near end is taken to be the point of the fruit nearest to
/// the far one, metres.
const RADIAL_BOW_M: f64 = 0.0018;

/// A stem box given to a sight, with its gain.
pub(super) type StemOf = Vec<Option<(usize, f64)>>;

/// A body's stem as offsets from its centre.
#[derive(Clone, Copy)]
pub(super) struct Piece {
    pub(super) top: Vector3<f64>,
    pub(super) far: Vector3<f64>,
}

/// Everything that pairing looks at.
pub(super) struct Pairing<'a> {
    pub(super) sights: &'a Sights,
    pub(super) bodies: &'a [Body],
    pub(super) evidence: &'a [AxisEvidence],
    pub(super) config: &'a PartsConfig,
}

impl<'a> Pairing<'a> {
    /// The problem of one body with the stem boxes that it holds.
    pub(super) fn problem(
        &self,
        body_idx: usize,
        habit: Habit,
        held: &StemOf,
        models: &[EdgeModel],
    ) -> Problem<'a> {
        let boxes = self
            .sights
            .of_body(body_idx)
            .filter_map(|i| {
                held.get(i)?.map(|(b, _)| StemBox {
                    sight_idx: i,
                    box_idx: b,
                    model: models[i],
                })
            })
            .collect();
        Problem {
            sights: self.sights,
            evidence: &self.evidence[body_idx],
            boxes,
            radius_m: self.bodies[body_idx].radius_m,
            habit,
            config: self.config,
        }
    }

    /// Edge models of all sights while stems are taken as radial.
    pub(super) fn loose_models(&self) -> Vec<EdgeModel> {
        let loose = PartsConfig {
            bow_m: self.config.bow_m.max(RADIAL_BOW_M),
            ..*self.config
        };
        self.sights
            .all
            .iter()
            .map(|s| EdgeModel::new(s, self.sights.image(s), &loose))
            .collect()
    }

    /// Edge models of all sights once stems are fitted.
    pub(super) fn tight_models(&self) -> Vec<EdgeModel> {
        self.sights
            .all
            .iter()
            .map(|s| EdgeModel::new(s, self.sights.image(s), self.config))
            .collect()
    }

    /// Candidates for every body's stem.
    pub(super) fn candidates(&self, habit: Habit, models: &[EdgeModel]) -> Vec<Vec<Hypothesis>> {
        (0..self.bodies.len())
            .map(|b| hypotheses(&self.problem(b, habit, &Vec::new(), models), b, models))
            .collect()
    }

    /// The candidate of each body that explains most of what others do not hold.
    pub(super) fn choose(
        &self,
        candidates: &[Vec<Hypothesis>],
        habit: Habit,
        held: &StemOf,
        models: &[EdgeModel],
    ) -> Vec<Option<Piece>> {
        let holders = self.holders(held);
        let best = |body_idx: usize| {
            let problem = self.problem(body_idx, habit, &Vec::new(), models);
            let value = |sight_idx: usize, box_idx: usize, gain: f64| {
                let image_idx = self.sights.all[sight_idx].image_idx;
                match holders[image_idx][box_idx] {
                    Some((holder, theirs)) if holder != body_idx => gain - theirs,
                    _ => gain,
                }
            };
            let weighed = candidates[body_idx]
                .iter()
                .map(|h| (score(&problem, body_idx, models, &h.far, value), h));
            let (top, h) = weighed.max_by(|a, b| a.0.total_cmp(&b.0))?;
            (top.is_finite()).then(|| Piece {
                top: radial_top(&h.far, problem.radius_m, self.config),
                far: h.far,
            })
        };
        (0..self.bodies.len()).map(best).collect()
    }

    /// Which body holds each stem box, and its gain.
    fn holders(&self, held: &StemOf) -> Vec<Vec<Option<(usize, f64)>>> {
        let mut out: Vec<Vec<_>> = self
            .sights
            .images
            .iter()
            .map(|im| vec![None; im.stems.len()])
            .collect();
        for (sight, given) in self.sights.all.iter().zip(held) {
            if let Some((b, gain)) = given {
                out[sight.image_idx][*b] = Some((sight.body_idx, *gain));
            }
        }
        out
    }

    /// Gives the stem boxes of every image to the bodies whose stems predict them best.
    pub(super) fn pair(&self, pieces: &[Option<Piece>], models: &[EdgeModel]) -> StemOf {
        let mut out = vec![None; self.sights.all.len()];
        for image in &self.sights.images {
            let mut candidates = Vec::new();
            for (row, &i) in image.sights.iter().enumerate() {
                let sight = &self.sights.all[i];
                let Some(piece) = pieces[sight.body_idx] else {
                    continue;
                };
                let (p, q) = (sight.see(image, &piece.top), sight.see(image, &piece.far));
                let handicap = if sight.has_box { 0.0 } else { UNSEEN_BODY };
                for &column in &sight.stems {
                    let gain = models[i].gain(&p, &q, &image.stems[column]) - handicap;
                    candidates.push(Candidate { row, column, gain });
                }
            }
            for pair in best_pairs(&candidates, image.sights.len(), image.stems.len()) {
                out[image.sights[pair.row]] = Some((pair.column, pair.gain));
            }
        }
        out
    }

    /// Fits axis and stem of every body to the boxes that it holds.
    pub(super) fn fit(
        &self,
        pieces: &[Option<Piece>],
        starts: &[Option<Vector3<f64>>],
        habit: Habit,
        held: &StemOf,
        models: &[EdgeModel],
    ) -> Vec<Option<Fitted>> {
        let one = |body_idx: usize| {
            let problem = self.problem(body_idx, habit, held, models);
            let far = if problem.boxes.is_empty() {
                None
            } else {
                pieces[body_idx].map(|p| p.far)
            };
            let straight = far.and_then(|f| (-f).try_normalize(1e-9));
            let axes = [straight, starts[body_idx]];
            let fits = axes
                .into_iter()
                .flatten()
                .map(|axis| problem.solve(Guess { axis, far }));
            fits.min_by(|a, b| a.loss.total_cmp(&b.loss))
        };
        (0..self.bodies.len()).map(one).collect()
    }
}

/// The stems of fitted bodies.
pub(super) fn pieces_of(
    fits: &[Option<Fitted>],
    bodies: &[Body],
    config: &PartsConfig,
) -> Vec<Option<Piece>> {
    let piece = |(fit, body): (&Option<Fitted>, &Body)| {
        let guess = fit.as_ref()?.guess;
        Some(Piece {
            top: guess.axis * (-body.radius_m * config.length_over_diameter),
            far: guess.far?,
        })
    };
    fits.iter().zip(bodies).map(piece).collect()
}
