//! What a unit adds to the headline figures: counts and sums, so that units can be added, left out or drawn twice.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::ops::AddAssign;

macro_rules! tally {
    ($($(#[$meta:meta])* $field:ident: $ty:ty,)*) => {
        /// Counts and sums of a unit. Every headline figure is formed from these alone.
        #[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
        pub struct Tally {
            $($(#[$meta])* pub $field: $ty,)*
        }

        impl AddAssign<&Tally> for Tally {
            fn add_assign(&mut self, other: &Tally) {
                $(self.$field += other.$field;)*
            }
        }
    };
}

tally! {
    /// Map fruitlets that are a considered true one.
    fruit_right: usize,
    /// Map fruitlets that are no true one.
    fruit_false: usize,
    /// Considered true fruitlets that are not in the map.
    fruit_missed: usize,
    /// Sum over the right ones of the distance of the centres.
    position_error_mm: f64,
    /// Sum over the right ones of the size of the difference of the diameters.
    diameter_error_mm: f64,
    /// Sum over the right ones of map diameter minus true diameter.
    diameter_excess_mm: f64,
    /// Right ones that state an axis.
    axes: usize,
    /// Sum over these of the angle to the true axis.
    axis_error_deg: f64,
    /// Axes within 10 degrees.
    axes_within_10: usize,
    /// Axes within 20 degrees.
    axes_within_20: usize,
    /// Axes within 30 degrees.
    axes_within_30: usize,
    /// Body boxes that show a considered fruitlet.
    boxes_true: usize,
    /// Body boxes that the map claims.
    boxes_claimed: usize,
    /// Body boxes with both identities.
    boxes_both: usize,
    /// Body boxes with the right identity under the best one-to-one map between identities.
    boxes_right: usize,
    /// Sum over the boxes with both identities of |TPA| / (|TPA| + |FNA| + |FPA|).
    association: f64,
    /// Stem boxes given to the right fruit.
    stems_right: usize,
    /// Stem boxes of considered fruit.
    stems: usize,
    /// Calyx boxes given to the right fruit.
    calyces_right: usize,
    /// Calyx boxes of considered fruit.
    calyces: usize,
    /// True clusters that the map has exactly.
    clusters_exact: usize,
    /// True clusters with considered fruit.
    clusters: usize,
    /// True clusters whose king is found.
    kings_right: usize,
    /// True clusters of two and more with a considered king.
    kings: usize,
    /// Right fruit on the right tree.
    on_right_tree: usize,
    /// Right fruit whose tree is asked for.
    with_tree: usize,
    /// Map fruitlets that get decisions.
    fruit_in_map: usize,
    /// Considered true fruitlets.
    fruit_considered: usize,
    /// Sum over trees of |map - considered| / considered, by the trees that the map states; trees as units only.
    count_error_share: f64,
    /// Trees in that sum.
    trees_counted: usize,
    /// Clusters that the decisions leave as full as allowed.
    decided_as_allowed: usize,
    /// Clusters that the decisions are judged by one by one.
    clusters_decided: usize,
    /// Orders that meet every condition.
    orders_good: usize,
    /// Orders that touch or cut fruit that no order is aimed at.
    orders_hurt_kept: usize,
    /// Orders to remove.
    orders: usize,
    /// Overfull clusters that the orders leave right.
    clusters_thinned_right: usize,
    /// Overfull clusters.
    clusters_overfull: usize,
}
