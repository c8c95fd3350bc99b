//! What orders promised against what came of them.

use super::success;
use crate::figure::Reliability;
use corymb_model::trials::{StatedChance, Trial};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// The trials of known orders against the probabilities that those stated.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Promised {
    /// Stated probability of success, after the place has been found again, against success.
    pub success: Reliability,
    /// Trials of orders that promise something, whose success is not known: left out above.
    pub success_not_known: usize,
    /// Trials of orders to look, which promise nothing: left out above; in the order of the trials.
    pub orders_to_look: Vec<String>,
    /// Trials of orders that are not among those given: left out above; in the order of the trials.
    pub unknown_orders: Vec<String>,
    /// Orders to remove that were never tried, in their own order.
    pub never_tried: Vec<String>,
}

impl Promised {
    pub(super) fn of(trials: &[Trial], chances: &[StatedChance]) -> Self {
        let stated: BTreeMap<&str, Option<f64>> = chances
            .iter()
            .map(|c| (c.order.as_str(), c.success_probability))
            .collect();
        let tried: BTreeSet<&str> = trials.iter().map(|t| t.order.as_str()).collect();
        let mut statements = Vec::new();
        let (mut not_known, mut looks, mut unknown) = (0, Vec::new(), Vec::new());
        for trial in trials {
            match (stated.get(trial.order.as_str()), success(trial)) {
                (None, _) => unknown.push(trial.order.clone()),
                (Some(None), _) => looks.push(trial.order.clone()),
                (Some(Some(_)), None) => not_known += 1,
                (Some(Some(p)), Some(success)) => statements.push((*p, success)),
            }
        }
        let never = chances
            .iter()
            .filter(|c| c.success_probability.is_some() && !tried.contains(c.order.as_str()));
        Self {
            success: Reliability::of(&statements, "no order with a known success was tried"),
            success_not_known: not_known,
            orders_to_look: looks,
            unknown_orders: unknown,
            never_tried: never.map(|c| c.order.clone()).collect(),
        }
    }
}
