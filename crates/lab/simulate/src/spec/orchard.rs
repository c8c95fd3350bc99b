//! Trees, wires and posts.

use serde::{Deserialize, Serialize};

/// Rows of trained trees.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct OrchardSpec {
    /// Whether the run carries an orchard file.
    pub known: bool,
    /// Whether that file carries trunk diameters.
    pub trunks_measured: bool,
    /// Rows, 1 or more; the first lies at y = 0, further ones at +y.
    pub rows: u32,
    /// Distance of rows, metres.
    pub row_spacing_m: f64,
    /// Trees in each row; the first stands at x = 0.
    pub trees_per_row: u32,
    /// Distance of trees in the row, metres (spindle plantings: about 1 m; common practice, no source).
    pub tree_spacing_m: f64,
    /// Standard deviation per axis of where a trunk stands, metres.
    pub tree_scatter_m: f64,
    /// Least and largest height of the leader's tip, metres.
    pub height_m: [f64; 2],
    /// Least and largest trunk diameter, millimetres.
    pub trunk_diameter_mm: [f64; 2],
    /// Side limbs a tree, least and most.
    pub limbs_per_tree: [u32; 2],
    /// Height of the lowest limb, metres.
    pub lowest_limb_m: f64,
    /// Least and largest length of a limb, metres.
    pub limb_length_m: [f64; 2],
    /// Least and largest diameter at a limb's base, millimetres.
    pub limb_base_mm: [f64; 2],
    /// Least and largest angle of a limb's base above the horizontal, degrees.
    pub limb_rise_deg: [f64; 2],
    /// Standard deviation of the angle by which limbs leave the plane of the row, degrees (trained walls: small).
    pub limb_out_of_row_deg: f64,
    /// How much lower than straight a limb's tip hangs, metres a square metre of length.
    pub limb_sag_per_m: f64,
    /// Standard deviation of a limb's sideways wander at each point, metres.
    pub limb_wander_m: f64,
    /// Heights of the trellis wires, metres.
    pub wires_at_m: Vec<f64>,
    /// Wire diameter, millimetres.
    pub wire_diameter_mm: f64,
    /// A post after every so many trees; 0 = none.
    pub post_every_trees: u32,
    /// Post diameter, millimetres.
    pub post_diameter_mm: f64,
}

impl Default for OrchardSpec {
    fn default() -> Self {
        Self {
            known: true,
            trunks_measured: true,
            rows: 1,
            row_spacing_m: 3.5,
            trees_per_row: 1,
            tree_spacing_m: 1.0,
            tree_scatter_m: 0.02,
            height_m: [2.5, 2.8],
            trunk_diameter_mm: [42.0, 62.0],
            limbs_per_tree: [9, 12],
            lowest_limb_m: 0.55,
            limb_length_m: [0.4, 0.6],
            limb_base_mm: [15.0, 26.0],
            limb_rise_deg: [0.0, 30.0],
            limb_out_of_row_deg: 20.0,
            limb_sag_per_m: 0.15,
            limb_wander_m: 0.006,
            wires_at_m: vec![0.7, 1.4, 2.1],
            wire_diameter_mm: 2.5,
            post_every_trees: 0,
            post_diameter_mm: 80.0,
        }
    }
}
