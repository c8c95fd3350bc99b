//! Which way the fruit hangs.

use crate::case::Case;
use crate::figure::{Figure, Share, Spread};
use serde::Serialize;

/// Axes of matched, considered fruit against truth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OrientationScores {
    /// Angle between stated and true axis, of those that state one.
    pub error_deg: Spread,
    /// Within 10 degrees, of those that state an axis.
    pub within_10_deg: Share,
    /// Within 20 degrees, of those that state an axis.
    pub within_20_deg: Share,
    /// Within 30 degrees, of those that state an axis.
    pub within_30_deg: Share,
    /// Within 10 degrees, of all matched fruit, with an axis or without.
    pub within_10_deg_of_all_matched: Share,
    /// Within 20 degrees, of all matched fruit, with an axis or without.
    pub within_20_deg_of_all_matched: Share,
    /// Within 30 degrees, of all matched fruit, with an axis or without.
    pub within_30_deg_of_all_matched: Share,
    /// Matched fruit that states no axis.
    pub no_axis: Share,
    /// Mean stated deviation.
    pub stated_deg: Figure,
}

/// Scores the axes.
pub(crate) fn orientation(case: &Case<'_>) -> OrientationScores {
    let matched = case.matching.both.len();
    let angles = angles_deg(case);
    let none = "no matched fruitlet states an axis";
    let within = |deg: f64| angles.iter().filter(|a| a.0 <= deg).count();
    let share = |deg: f64| Share::new(within(deg), angles.len(), none);
    let no_match = "no considered fruitlet is matched";
    let of_all = |deg: f64| Share::new(within(deg), matched, no_match);
    let stated: f64 = angles.iter().map(|a| a.1).sum();
    OrientationScores {
        error_deg: Spread::of(angles.iter().map(|a| a.0).collect(), none),
        within_10_deg: share(10.0),
        within_20_deg: share(20.0),
        within_30_deg: share(30.0),
        within_10_deg_of_all_matched: of_all(10.0),
        within_20_deg_of_all_matched: of_all(20.0),
        within_30_deg_of_all_matched: of_all(30.0),
        no_axis: Share::new(matched - angles.len(), matched, no_match),
        stated_deg: Figure::ratio(stated, angles.len() as f64, angles.len(), none),
    }
}

/// Angle between stated and true axis, and the stated deviation, of each matched fruitlet that states one.
pub(crate) fn angles_deg(case: &Case<'_>) -> Vec<(f64, f64)> {
    let angles = case.pairs().filter_map(|(_, f, t)| {
        let axis = f.axis?;
        Some((
            axis.direction.xyz.angle(&t.axis.xyz).to_degrees(),
            axis.deviation_rad.to_degrees(),
        ))
    });
    angles.collect()
}
