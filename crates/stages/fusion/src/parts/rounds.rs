//! Stems in rounds: bodies choose among candidates, boxes are given, axes and stems are fitted, and the fitted stems
//! are candidates of the next round. In between the run shows how long its stems are and how they bend.

use super::belief::Sphere;
use super::bids::{self, Neighbours};
use super::fit::{Fitted, Habit};
use super::learn;
use super::pairing::{Pairing, StemOf, pieces_of};
use nalgebra::Vector3;

/// How much further an arc may depart from its stem while only its far end has been guessed, metres.
const GUESSED_BOW_M: f64 = 0.001;

/// The fitted axis and stem of each body, and the stem boxes that each sight holds.
pub(super) fn pair_stems(
    pairing: &Pairing<'_>,
    spheres: &[Sphere<'_>],
    habit: &mut Habit,
) -> (Vec<Option<Fitted>>, StemOf) {
    let config = pairing.config;
    let axes = evident_axes(pairing, spheres);
    let (loose, tight) = (
        pairing.models(config.bow_m + GUESSED_BOW_M),
        pairing.models(config.bow_m),
    );
    let mut offers = pairing.candidates(*habit, &loose);
    let guessed: Vec<usize> = offers.iter().map(Vec::len).collect();
    let neighbours = Neighbours::new(pairing.bodies, config);

    let pieces = bids::choose(
        pairing.sights,
        &neighbours,
        &offers,
        &vec![None; pairing.sights.all.len()],
    );
    let mut held = pairing.pair(&pieces, &loose);
    let mut fits = pairing.fit(&pieces, &axes, *habit, &held, &tight);
    let mut fitted = pieces_of(&fits, pairing.bodies, habit.sag, config);
    learn::lengths(habit, config, pairing.sights, &fitted, &held);
    learn::sag(habit, pairing.evidence, &axes, &fitted);
    // fits under the old habit are not kept
    let mut before: StemOf = Vec::new();
    for _ in 1..config.rounds.max(1) {
        pairing.offer_fitted(&mut offers, &guessed, &fitted, *habit, &loose);
        let holding = pairing.pair(&fitted, &loose);
        let pieces = bids::choose(pairing.sights, &neighbours, &offers, &holding);
        held = pairing.pair(&pieces, &tight);
        fits = pairing.refit(fits, &before, &pieces, &axes, *habit, &held, &tight);
        fitted = pieces_of(&fits, pairing.bodies, habit.sag, config);
        before.clone_from(&held);
    }
    held = pairing.pair(&fitted, &tight);
    fits = pairing.refit(fits, &before, &fitted, &axes, *habit, &held, &tight);
    (fits, held)
}

/// The best axis of each body by all evidence but its stem.
fn evident_axes(pairing: &Pairing<'_>, spheres: &[Sphere<'_>]) -> Vec<Option<Vector3<f64>>> {
    let best = |s: &Sphere<'_>| s.best().map(|(a, _)| a);
    let pairs = spheres.iter().zip(pairing.evidence);
    pairs
        .map(|(s, e)| if e.is_empty() { None } else { best(s) })
        .collect()
}
