//! Identity of boxes, box by box, as the tallies need it.

use crate::case::Case;
use crate::labels::LabelledBox;
use crate::pairing::best_pairs;
use corymb_model::run::Class;
use std::collections::{BTreeMap, BTreeSet};

/// A body box with a true identity, a claimed one, or both.
pub(crate) struct BodyBox {
    pub(crate) frame_idx: usize,
    /// The true object.
    pub(crate) shows: Option<usize>,
    /// The map fruitlet that claims it.
    pub(crate) owner: Option<usize>,
    /// Both identities belong together under the best one-to-one map.
    pub(crate) right: bool,
    /// |TPA| / (|TPA| + |FNA| + |FPA|) of a box with both identities, else 0.
    pub(crate) association: f64,
}

/// The body boxes, in the order of the run. Sources as at [`crate::box_association`]; the sum of `association` over
/// all boxes, divided by those with both identities, is AssA.
pub(crate) fn body_boxes(case: &Case<'_>) -> Vec<BodyBox> {
    let labelled = case.labels.boxes(Class::is_body);
    let named: Vec<(LabelledBox, Option<usize>)> = labelled
        .into_iter()
        .map(|b| (b, case.claims.owner(b.at)))
        .collect();
    let mut both = BTreeMap::<(usize, usize), usize>::new();
    let (mut truth, mut claimed) = (BTreeMap::new(), BTreeMap::new());
    for (labelled, owner) in &named {
        count(&mut truth, labelled.shows);
        count(&mut claimed, *owner);
        if let (Some(g), Some(p)) = (labelled.shows, *owner) {
            *both.entry((g, p)).or_default() += 1;
        }
    }
    let edges: Vec<(usize, usize, f64)> = both
        .iter()
        .map(|(&(g, p), &n)| (g, p, -(n as f64)))
        .collect();
    let belong: BTreeSet<(usize, usize)> = best_pairs(&edges).into_iter().collect();
    let size = |of: &BTreeMap<usize, usize>, k: usize| of.get(&k).copied().unwrap_or(0);
    let body_box = |(labelled, owner): (LabelledBox, Option<usize>)| {
        let pair = labelled.shows.zip(owner);
        let association = pair.map_or(0.0, |(g, p)| {
            let n = both.get(&(g, p)).copied().unwrap_or(0);
            n as f64 / (size(&truth, g) + size(&claimed, p) - n) as f64
        });
        BodyBox {
            frame_idx: labelled.at.frame_idx as usize,
            shows: labelled.shows,
            owner,
            right: pair.is_some_and(|p| belong.contains(&p)),
            association,
        }
    };
    named.into_iter().map(body_box).collect()
}

fn count(of: &mut BTreeMap<usize, usize>, key: Option<usize>) {
    if let Some(key) = key {
        *of.entry(key).or_default() += 1;
    }
}
