//! Everything in the outputs that claims a probability or a region, against what is true: all in one place.

use crate::allowance::Allowance;
use crate::carried_out::Carried;
use crate::case::Case;
use crate::clusters::in_home_cluster;
use crate::figure::{Reliability, Share};
use crate::fruit::errors;
use crate::orientation::angles_deg;
use crate::thinned::decided_rightly;
use crate::trees::{NO_ORCHARD, on_tree};
use corymb_geometry::chi2::quantile;
use serde::Serialize;

/// Content of the regions and cones that are checked.
const REGION: f64 = 0.9;

/// What was claimed, and how often it held. Of a 90 % region nine in ten should hold the truth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CalibrationScores {
    /// Existence of every map fruitlet, the doubtful ones too: whether there is one.
    pub existence: Reliability,
    /// Membership of matched fruit: whether it is of the true cluster that most of its map cluster is of.
    pub membership: Reliability,
    /// Being king, of matched fruit.
    pub king: Reliability,
    /// Being of its tree, of matched fruit.
    pub tree: Reliability,
    /// Confidence of decisions to keep or remove. The action is right where the fruit exists and the decisions together
    /// leave its true cluster as full as the policy allows; fruit of clusters that are not judged alone is left out,
    /// fruit that does not exist is not: to act on it is wrong.
    pub decision: Reliability,
    /// Success of orders (for absolute figures, without finding the place again): good or not.
    pub order_success: Reliability,
    /// True centre inside the stated 90 % ellipsoid, without the shared deviation.
    pub inside_90_centre: Share,
    /// True centre and radius inside the stated 90 % ellipsoid, without the shared deviation.
    pub inside_90_centre_and_radius: Share,
    /// True centre inside the stated 90 % ellipsoid with the shared deviation added.
    pub inside_90_centre_with_shared: Share,
    /// True axis inside the stated 90 % cone.
    pub inside_90_axis: Share,
}

/// Scores all claims; `located` where the machine finds its place again before it works.
pub(crate) fn calibration(
    case: &Case<'_>,
    allowance: Option<&Allowance>,
    carried: Option<&Carried<'_>>,
    located: bool,
) -> CalibrationScores {
    let no_match = "no considered fruitlet is matched";
    let kings: Vec<(f64, bool)> = case
        .pairs()
        .map(|(_, f, t)| (f.king_probability, t.king))
        .collect();
    let errors = errors(case);
    let inside = |by: &dyn Fn(&crate::fruit::Errors) -> Option<bool>| {
        Share::of(
            errors.iter().filter_map(by),
            "no matched fruitlet has a usable covariance",
        )
    };
    let trees = on_tree(case);
    let because = match case.input.run.orchard {
        Some(_) => no_match,
        None => NO_ORCHARD,
    };
    CalibrationScores {
        existence: existence(case),
        membership: Reliability::of(&in_home_cluster(case), no_match),
        king: Reliability::of(&kings, no_match),
        tree: Reliability::of(&trees, because),
        decision: decision(case, allowance),
        order_success: order_success(carried, located),
        inside_90_centre: inside(&|e| e.inside_centre(REGION, 0.0)),
        inside_90_centre_and_radius: inside(&|e| e.inside_centre_and_radius(REGION)),
        inside_90_centre_with_shared: inside(&|e| e.inside_centre(REGION, e.shared_deviation_m)),
        inside_90_axis: axes(case),
    }
}

fn existence(case: &Case<'_>) -> Reliability {
    let exists = case.matching.exists.iter().copied();
    let stated = case.map.fruitlets.iter().map(|f| f.existence);
    let judged = stated.zip(exists).enumerate();
    let statements: Vec<(f64, bool)> = judged
        .filter(|&(k, (_, exists))| exists || !case.is_silent(k))
        .map(|(_, statement)| statement)
        .collect();
    Reliability::of(&statements, "the map is empty")
}

fn decision(case: &Case<'_>, allowance: Option<&Allowance>) -> Reliability {
    match (case.input.decisions, allowance) {
        (None, _) => Reliability::of(&[], "no decisions were given"),
        (_, None) => Reliability::of(&[], "no policy was given"),
        (Some(decisions), Some(allowance)) => Reliability::of(
            &decided_rightly(case, decisions, allowance),
            "no decision acts on fruit of a cluster that is judged alone",
        ),
    }
}

fn order_success(carried: Option<&Carried<'_>>, located: bool) -> Reliability {
    match carried {
        Some(carried) => Reliability::of(&carried.success(located), "there is no order to remove"),
        None => Reliability::of(&[], "no task list or no arm set-up was given"),
    }
}

/// An axis can be off in two angles.
fn axes(case: &Case<'_>) -> Share {
    let cone = quantile(REGION, 2).sqrt();
    Share::of(
        angles_deg(case)
            .into_iter()
            .map(|(off, stated)| off <= stated * cone),
        "no matched fruitlet states an axis",
    )
}
