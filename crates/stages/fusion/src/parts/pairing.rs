//! Which stem box belongs to which body: paired in space, not in the image.
//!
//! Every body brings candidates for its stem in space, each predicts a box in every image, and the boxes of an image
//! go where they fit best, each once. What the others hold then counts less for a body when it chooses among its
//! candidates again; fitted stems predict better boxes, and so on for a few rounds.

use super::PartsConfig;
use super::bids::Offer;
use super::direction::AxisEvidence;
use super::fit::{Fitted, Guess, Habit, Problem, StemBox};
use super::hypotheses::hypotheses;
use super::matching::{Candidate, best_pairs};
use super::piece::{EdgeModel, Piece};
use super::sights::Sights;
use corymb_model::scene::Body;
use nalgebra::Vector3;
use rayon::prelude::*;

/// What speaks for a stem box being a mapped body's before it is looked at: detectors draw few stems where there are
/// none, nineteen in twenty boxes have an owner, nats.
const OWNED: f64 = 3.0;
/// What a body without a box of its own in the image costs: one stem box in four comes from such a body, nats.
const UNSEEN_BODY: f64 = 1.0;
/// Cosine of the angle between two axes from which on a fit from either ends at the same place.
const SAME_START: f64 = 0.7;

/// A stem box given to a sight, with its gain.
pub(super) type StemOf = Vec<Option<(usize, f64)>>;

/// Everything that pairing looks at.
pub(super) struct Pairing<'a> {
    pub(super) sights: &'a Sights,
    pub(super) bodies: &'a [Body],
    pub(super) evidence: &'a [AxisEvidence],
    /// The least loss of each body's evidence.
    pub(super) least: &'a [f64],
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
            least: self.least[body_idx],
            boxes,
            radius_m: self.bodies[body_idx].radius_m,
            habit,
            config: self.config,
        }
    }

    /// Edge models of all sights; `bow_m` is how far the arcs may depart from the stems.
    pub(super) fn models(&self, bow_m: f64) -> Vec<EdgeModel> {
        self.sights
            .all
            .iter()
            .map(|s| EdgeModel::new(s, self.sights.image(s), bow_m, self.config))
            .collect()
    }

    /// Candidates for every body's stem.
    pub(super) fn candidates(&self, habit: Habit, models: &[EdgeModel]) -> Vec<Vec<Offer>> {
        (0..self.bodies.len())
            .into_par_iter()
            .map(|b| hypotheses(&self.problem(b, habit, &Vec::new(), models), b, models))
            .collect()
    }

    /// Puts each body's fitted stem beside its guessed ones.
    pub(super) fn offer_fitted(
        &self,
        offers: &mut [Vec<Offer>],
        guessed: &[usize],
        fitted: &[Option<Piece>],
        habit: Habit,
        models: &[EdgeModel],
    ) {
        for (body_idx, of) in offers.iter_mut().enumerate() {
            of.truncate(guessed[body_idx]);
            let problem = self.problem(body_idx, habit, &Vec::new(), models);
            of.extend(fitted[body_idx].map(|p| Offer::new(&problem, body_idx, models, p)));
        }
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
                let points = piece.see(sight, image);
                let handicap = if sight.has_box { 0.0 } else { UNSEEN_BODY };
                for &column in &sight.stems {
                    let gain = OWNED + models[i].gain(&points, &image.stems[column]) - handicap;
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
        axes: &[Option<Vector3<f64>>],
        habit: Habit,
        held: &StemOf,
        models: &[EdgeModel],
    ) -> Vec<Option<Fitted>> {
        let fits = (0..self.bodies.len()).map(|_| None).collect();
        self.refit(fits, &Vec::new(), pieces, axes, habit, held, models)
    }

    /// As [`Pairing::fit`], but for the fits of bodies that hold what they held `before`.
    #[allow(clippy::too_many_arguments)] // what changes between rounds, each once
    pub(super) fn refit(
        &self,
        fits: Vec<Option<Fitted>>,
        before: &StemOf,
        pieces: &[Option<Piece>],
        axes: &[Option<Vector3<f64>>],
        habit: Habit,
        held: &StemOf,
        models: &[EdgeModel],
    ) -> Vec<Option<Fitted>> {
        let same = |body_idx: usize| {
            let mut of = self.sights.of_body(body_idx);
            let name = |held: &StemOf, i: usize| held.get(i).map(|h| h.map(|(b, _)| b));
            !before.is_empty() && of.all(|i| name(before, i) == name(held, i))
        };
        let one = |(body_idx, known): (usize, Option<Fitted>)| {
            if known.is_some() && same(body_idx) {
                return known;
            }
            let problem = self.problem(body_idx, habit, held, models);
            let far = pieces[body_idx]
                .map(|p| p.far)
                .filter(|_| !problem.boxes.is_empty());
            solve(&problem, far, axes[body_idx])
        };
        fits.into_par_iter().enumerate().map(one).collect()
    }
}

/// The best fit from the axis that the stem suggests and, where that is another, from the one that all else does.
fn solve(
    problem: &Problem<'_>,
    far: Option<Vector3<f64>>,
    evident: Option<Vector3<f64>>,
) -> Option<Fitted> {
    let straight = far.and_then(|f| (-f).try_normalize(1e-9));
    let other = evident.filter(|e| straight.is_none_or(|s| s.dot(e) < SAME_START));
    let fits = [straight, other]
        .into_iter()
        .flatten()
        .map(|axis| problem.solve(Guess { axis, far }));
    fits.min_by(|a, b| a.loss.total_cmp(&b.loss))
}

/// The stems of fitted bodies.
pub(super) fn pieces_of(
    fits: &[Option<Fitted>],
    bodies: &[Body],
    sag: f64,
    config: &PartsConfig,
) -> Vec<Option<Piece>> {
    let piece = |(fit, body): (&Option<Fitted>, &Body)| {
        let guess = fit.as_ref()?.guess;
        let top = guess.axis * (-body.radius_m * config.length_over_diameter);
        Some(Piece::new(top, guess.far?, sag))
    };
    fits.iter().zip(bodies).map(piece).collect()
}
