//! What clustering takes for granted, each with unit, range, default and why.

/// Settings of [`crate::cluster`]. Lengths, spacings and shapes are where the run's own values are drawn to when it
/// shows few.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    /// Length of a stem, metres, above 0. Default 0.024: pedicels at bloom measure 18 (king) to 23 mm (others) in Royal
    /// Gala, and they grow on until the fruit swells.
    pub stem_length_m: f64,
    /// Standard deviation of that length, metres, above 0. Default 0.007.
    pub stem_length_deviation_m: f64,
    /// No stem is longer, metres, above `stem_length_m`. Default 0.05.
    pub longest_stem_m: f64,
    /// Standard deviation per axis of the angle between a fruit's axis and the end of its stem, radians, above 0.
    /// Default 0.2.
    pub bend_deviation_rad: f64,
    /// Length of a body along its axis over its diameter across, above 0. Default 1.05.
    pub length_over_diameter: f64,
    /// How well the far end of a stem that was seen to its end stands for its spur, metres per axis, above 0.
    /// Default 0.001.
    pub stem_end_deviation_m: f64,
    /// Share of stems at an open spur whose far part no image shows, 0 to 1. Default 0.06.
    pub hidden_share: f64,
    /// Share of spurs that something hides from all cameras, 0 to 1. Default 0.12.
    pub covered_share: f64,
    /// Share of stems at a covered spur whose far part no image shows, 0 to 1. Default 0.7.
    pub covered_hidden_share: f64,
    /// Mean length of what is not shown then, metres, above 0. Default 0.008.
    pub hidden_length_m: f64,
    /// Distance of a spur from the surface of its limb: mean, metres. Default 0.008: spurs are short shoots.
    pub spur_height_m: f64,
    /// Standard deviation of that distance, metres, above 0. Default 0.008.
    pub spur_height_deviation_m: f64,
    /// Standard deviation per axis of the orchard file's limbs where the run does not state it, metres, 0 or more.
    /// Default 0.005.
    pub limb_deviation_m: f64,
    /// Distance along a limb between spurs, metres, above 0. Default 0.08.
    pub spur_spacing_m: f64,
    /// Share of spurs that sit on no limb of the orchard file, 0 to 1. Default 0.02.
    pub off_limb_share: f64,
    /// Without limbs: the volume that holds one spur where spurs are, cubic metres, above 0. Default 2e-4 (a ball of
    /// 36 mm radius).
    pub spur_volume_m3: f64,
    /// Fruit that a spur carries at most, as a rule, 1 or more. Default 6: an inflorescence has five or six flowers.
    pub usual_fruit_at_most: usize,
    /// Share of clusters that still have their king, 0 to 1. Default 0.88.
    pub king_share: f64,
    /// Diameter of a king over that of the other fruit of its cluster. Default 1.1; whether kings are larger depends on
    /// the cultivar, so the run's own value soon replaces it.
    pub king_size: f64,
    /// Stem length of a king over that of the other fruit of its cluster. Default 0.9: 0.76 in Royal Gala, but not
    /// everywhere; the run's own value soon replaces it.
    pub king_stem: f64,
    /// A body below this existence joins clusters but founds none that others join, 0 to 1. Default 0.5.
    pub founds_from: f64,
    /// What the costs are divided by before they become probabilities, 1 or more: observations of one fruit share
    /// errors that the model takes as independent. Default 2.
    pub tempering: f64,
    /// Rounds of clustering and learning from the clusters, at least 1. Default 2.
    pub rounds: usize,
    /// Nodes that the exact search visits in a connected component before it states a gap instead, at least 1. Default
    /// 20,000.
    pub largest_search: usize,
}

impl Default for Config {
    fn default() -> Self {
        Config {
            stem_length_m: 0.024,
            stem_length_deviation_m: 0.007,
            longest_stem_m: 0.05,
            bend_deviation_rad: 0.2,
            length_over_diameter: 1.05,
            stem_end_deviation_m: 0.001,
            hidden_share: 0.06,
            covered_share: 0.12,
            covered_hidden_share: 0.7,
            hidden_length_m: 0.008,
            spur_height_m: 0.008,
            spur_height_deviation_m: 0.008,
            limb_deviation_m: 0.005,
            spur_spacing_m: 0.08,
            off_limb_share: 0.02,
            spur_volume_m3: 2e-4,
            usual_fruit_at_most: 6,
            king_share: 0.88,
            king_size: 1.1,
            king_stem: 0.9,
            founds_from: 0.5,
            tempering: 2.0,
            rounds: 2,
            largest_search: 20_000,
        }
    }
}
