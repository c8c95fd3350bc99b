//! Identity of boxes, box by box, as the tallies need it.

use crate::association::Identities;
use crate::case::Case;
use crate::labels::LabelledBox;
use corymb_model::run::Class;

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
    let name = |b: &LabelledBox| (b.shows, case.claims.owner(b.at));
    let named: Vec<(Option<usize>, Option<usize>)> = labelled.iter().map(name).collect();
    let identities = Identities::of(&named);
    let belong = identities.best_map();
    let body_box = |(labelled, (shows, owner)): (LabelledBox, (Option<usize>, Option<usize>))| {
        let pair = shows.zip(owner);
        BodyBox {
            frame_idx: labelled.at.frame_idx as usize,
            shows,
            owner,
            right: pair.is_some_and(|p| belong.contains(&p)),
            association: pair.map_or(0.0, |p| identities.association(p)),
        }
    };
    labelled.into_iter().zip(named).map(body_box).collect()
}
