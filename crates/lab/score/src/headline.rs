//! The figures that stand for a run, each formed from the tally of its units alone.
//!
//! They are the figures of the same name elsewhere in the score. Medians are no sums over units, so means stand for
//! errors here.

use crate::rows::Tally;
use serde::Serialize;

/// Which way a figure is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Better {
    /// Higher.
    Higher,
    /// Lower.
    Lower,
    /// Nearer to nought.
    NearZero,
    /// Nearer to one.
    NearOne,
}

/// A figure as a quotient of two sums over units, or the root of it.
pub struct Headline {
    /// Part of the score.
    pub part: &'static str,
    /// Name of the figure in that part.
    pub figure: &'static str,
    /// Which way it is better.
    pub better: Better,
    /// Numerator and denominator; both are sums over units.
    pub(crate) quotient: fn(&Tally) -> (f64, f64),
    /// The figure is the square root of the quotient.
    pub(crate) root: bool,
    /// Only trees have it, clusters cannot.
    pub(crate) of_trees: bool,
}

impl Headline {
    /// The figure of the units in `sum`; `None` where nothing stands below the line.
    #[must_use]
    pub fn of(&self, sum: &Tally) -> Option<f64> {
        self.value((self.quotient)(sum))
    }

    pub(crate) fn value(&self, (num, den): (f64, f64)) -> Option<f64> {
        let quotient = (den > 0.0).then(|| num / den)?;
        Some(if self.root {
            quotient.max(0.0).sqrt()
        } else {
            quotient
        })
    }
}

macro_rules! figures {
    ($($part:literal $figure:literal $better:ident: |$t:ident| $num:expr, $den:expr $(; $mark:ident)?)*) => {
        /// All of them, in the order of the score.
        pub static HEADLINES: &[Headline] = &[$(Headline {
            part: $part,
            figure: $figure,
            better: Better::$better,
            quotient: |$t: &Tally| ($num as f64, $den as f64),
            root: false $(|| figures!(is root $mark))?,
            of_trees: false $(|| figures!(is of_trees $mark))?,
        },)*];
    };
    (is root root) => { true };
    (is of_trees of_trees) => { true };
    (is $wanted:ident $mark:ident) => { false };
}

figures! {
    "association" "det_a" Higher: |t| t.boxes_both, (t.boxes_true + t.boxes_claimed).saturating_sub(t.boxes_both)
    "association" "ass_a" Higher: |t| t.association, t.boxes_both
    "association" "hota" Higher: |t| t.association, (t.boxes_true + t.boxes_claimed).saturating_sub(t.boxes_both); root
    "association" "idf1" Higher: |t| 2 * t.boxes_right, t.boxes_true + t.boxes_claimed
    "fruitlets" "precision" Higher: |t| t.fruit_right, t.fruit_right + t.fruit_false
    "fruitlets" "recall" Higher: |t| t.fruit_right, t.fruit_right + t.fruit_missed
    "fruitlets" "f1" Higher: |t| 2 * t.fruit_right, 2 * t.fruit_right + t.fruit_false + t.fruit_missed
    "fruitlets" "position_error_mm" Lower: |t| t.position_error_mm, t.fruit_right
    "fruitlets" "diameter_error_mm" Lower: |t| t.diameter_error_mm, t.fruit_right
    "fruitlets" "diameter_bias_mm" NearZero: |t| t.diameter_excess_mm, t.fruit_right
    "orientation" "error_deg" Lower: |t| t.axis_error_deg, t.axes
    "orientation" "within_10_deg" Higher: |t| t.axes_within_10, t.axes
    "orientation" "within_20_deg" Higher: |t| t.axes_within_20, t.axes
    "orientation" "within_30_deg" Higher: |t| t.axes_within_30, t.axes
    "orientation" "within_10_deg_of_all_matched" Higher: |t| t.axes_within_10, t.fruit_right
    "orientation" "within_20_deg_of_all_matched" Higher: |t| t.axes_within_20, t.fruit_right
    "orientation" "within_30_deg_of_all_matched" Higher: |t| t.axes_within_30, t.fruit_right
    "pairing" "stem_right" Higher: |t| t.stems_right, t.stems
    "pairing" "calyx_right" Higher: |t| t.calyces_right, t.calyces
    "clusters" "exact" Higher: |t| t.clusters_exact, t.clusters
    "kings" "right" Higher: |t| t.kings_right, t.kings
    "trees" "tree" Higher: |t| t.on_right_tree, t.with_tree
    "trees" "count_ratio" NearOne: |t| t.fruit_in_map, t.fruit_considered
    "trees" "count_error_share" Lower: |t| t.count_error_share, t.trees_counted; of_trees
    "decisions" "as_allowed" Higher: |t| t.decided_as_allowed, t.clusters_decided
    "orders" "good" Higher: |t| t.orders_good, t.orders
    "orders" "hurt_kept" Lower: |t| t.orders_hurt_kept, t.orders
    "orders" "clusters_right" Higher: |t| t.clusters_thinned_right, t.clusters_overfull
}
