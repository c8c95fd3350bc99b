//! What attaching parts takes for granted, each with unit, range, default and why.

/// Settings of [`super::attach_parts`].
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PartsConfig {
    /// Length of a stem before the run has shown its own, metres, above 0. Default 0.024: pedicels at bloom measure 18
    /// (king) to 23 mm (others) in Royal Gala, and they grow on until the fruit swells.
    pub stem_length_m: f64,
    /// Standard deviation of that length among the stems of a run, metres, above 0. Default 0.007.
    pub stem_length_deviation_m: f64,
    /// A stem longer than this is none, metres, above `stem_length_m`. Default 0.05.
    pub longest_stem_m: f64,
    /// Half of a stem's thickness, metres, 0 or more: a box holds the stem with its thickness. Default 0.001.
    pub stem_half_width_m: f64,
    /// Length of a body along its axis over its diameter across, above 0. Default 1.05: young fruit is a little longer
    /// than wide.
    pub length_over_diameter: f64,
    /// Standard deviation of a detector's `axis_px` before the run has shown its own, radians, above 0. Default 0.35.
    pub image_axis_deviation_rad: f64,
    /// Standard deviation per axis of the angle between a fruit's axis and its stem's chord, radians, above 0. Default
    /// 0.22: stems leave the fruit nearly straight and bow a little.
    pub bend_deviation_rad: f64,
    /// How far a straight piece departs from a bowed stem, metres, 0 or more. Default 0.0007.
    pub bow_m: f64,
    /// Share of stem ends that something hides in an image, 0 to 1. Default 0.15.
    pub hidden_share: f64,
    /// Mean length of what is hidden there, metres, above 0. Default 0.008.
    pub hidden_length_m: f64,
    /// How far from the fruit's outline a seen stem may begin, metres, 0 or more. Default 0.015: its near part may be
    /// hidden.
    pub largest_gap_m: f64,
    /// Rounds of pairing boxes and fitting stems, at least 1. Default 2: a third changes next to nothing.
    pub rounds: usize,
}

impl Default for PartsConfig {
    fn default() -> Self {
        PartsConfig {
            stem_length_m: 0.024,
            stem_length_deviation_m: 0.007,
            longest_stem_m: 0.05,
            stem_half_width_m: 0.001,
            length_over_diameter: 1.05,
            image_axis_deviation_rad: 0.35,
            bend_deviation_rad: 0.22,
            bow_m: 0.0007,
            hidden_share: 0.15,
            hidden_length_m: 0.008,
            largest_gap_m: 0.015,
            rounds: 2,
        }
    }
}
