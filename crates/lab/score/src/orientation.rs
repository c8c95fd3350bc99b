//! Which way the fruit hangs.

use crate::case::Case;
use crate::figure::{Figure, Share, Spread};
use corymb_geometry::chi2::quantile;
use serde::Serialize;

/// Content of the cones that are checked; an axis can be off in two angles.
const CONE: f64 = 0.9;

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
    /// Within 30 degrees, of all matched fruit, with an axis or without.
    pub within_30_deg_of_all_matched: Share,
    /// Matched fruit that states no axis.
    pub no_axis: Share,
    /// Mean stated deviation.
    pub stated_deg: Figure,
    /// True axis inside the stated 90 % cone.
    pub inside_90: Share,
}

/// Scores the axes.
pub(crate) fn orientation(case: &Case<'_>) -> OrientationScores {
    let cone = quantile(CONE, 2).sqrt();
    let matched = case.matching.both.len();
    let angles: Vec<(f64, f64)> = case
        .pairs()
        .filter_map(|(_, f, t)| {
            let axis = f.axis?;
            Some((
                axis.direction.xyz.angle(&t.axis.xyz).to_degrees(),
                axis.deviation_rad.to_degrees(),
            ))
        })
        .collect();
    let none = "no matched fruitlet states an axis";
    let within = |deg: f64| angles.iter().filter(|a| a.0 <= deg).count();
    let share = |deg: f64| Share::new(within(deg), angles.len(), none);
    let no_match = "no considered fruitlet is matched";
    let stated: f64 = angles.iter().map(|a| a.1).sum();
    OrientationScores {
        error_deg: Spread::of(angles.iter().map(|a| a.0).collect(), none),
        within_10_deg: share(10.0),
        within_20_deg: share(20.0),
        within_30_deg: share(30.0),
        within_30_deg_of_all_matched: Share::new(within(30.0), matched, no_match),
        no_axis: Share::new(matched - angles.len(), matched, no_match),
        stated_deg: Figure::ratio(stated, angles.len() as f64, angles.len(), none),
        inside_90: Share::of(
            angles.iter().map(|&(off, stated)| off <= stated * cone),
            none,
        ),
    }
}
