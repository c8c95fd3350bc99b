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
    let (mut all, mut assigned, mut right) = (0, 0, 0);
    for labelled in case.labels.boxes(|c| c == class) {
        let Some(truth_idx) = labelled.shows else {
            continue;
        };
        let owner = case.claims.owner(labelled.at);
        all += 1;
        assigned += usize::from(owner.is_some());
        right += usize::from(owner.and_then(|k| case.truth_of(k)) == Some(truth_idx));
    }
    let none = "no such box is labelled with a considered fruitlet";
    PartPairing {
        right: Share::new(right, all, none),
        right_of_assigned: Share::new(right, assigned, "no such box is given to a fruitlet"),
        unassigned: Share::new(all - assigned, all, none),
    }
}
