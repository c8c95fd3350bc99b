//! Stem and calyx boxes: given to the right fruit?

use crate::case::Case;
use crate::figure::Share;
use corymb_model::run::Class;
use serde::Serialize;

/// Pairing of the boxes that show a part of a considered fruitlet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartScores {
    /// Stem boxes.
    pub stem: PartPairing,
    /// Calyx boxes.
    pub calyx: PartPairing,
}

/// Pairing of one kind of box.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartPairing {
    /// Given to the map fruitlet that is the box's true one, of all.
    pub right: Share,
    /// The same, of those given to any.
    pub right_of_assigned: Share,
    /// Given to none.
    pub unassigned: Share,
}

/// Scores the pairing of stems and calyx ends.
pub(crate) fn parts(case: &Case<'_>) -> PartScores {
    PartScores {
        stem: pairing(case, Class::Stem),
        calyx: pairing(case, Class::Calyx),
    }
}

fn pairing(case: &Case<'_>, class: Class) -> PartPairing {
    let judged = judged(case, class);
    let count = |wanted: &dyn Fn(&JudgedPart) -> bool| judged.iter().filter(|p| wanted(p)).count();
    let (assigned, right) = (count(&|p| p.assigned), count(&|p| p.right));
    let all = judged.len();
    let none = "no such box is labelled with a considered fruitlet";
    PartPairing {
        right: Share::new(right, all, none),
        right_of_assigned: Share::new(right, assigned, "no such box is given to a fruitlet"),
        unassigned: Share::new(all - assigned, all, none),
    }
}

/// A box of a part of a considered fruitlet.
pub(crate) struct JudgedPart {
    /// The true fruitlet that it belongs to; what belongs to an object without a place cannot be judged by place.
    pub(crate) object: usize,
    /// A map fruitlet claims it.
    pub(crate) assigned: bool,
    /// That one is the true one.
    pub(crate) right: bool,
}

/// The boxes of a kind of part, in the order of the run.
pub(crate) fn judged(case: &Case<'_>, class: Class) -> Vec<JudgedPart> {
    let part = |labelled: crate::labels::LabelledBox| {
        let object = labelled
            .shows
            .filter(|&g| g < case.truth().fruitlets.len())?;
        let owner = case.claims.owner(labelled.at);
        Some(JudgedPart {
            object,
            assigned: owner.is_some(),
            right: owner.and_then(|k| case.truth_of(k)) == Some(object),
        })
    };
    let boxes = case.labels.boxes(|c| c == class).into_iter();
    boxes.filter_map(part).collect()
}
