//! Settings of the choice.

/// Settings; the defaults fit every orchard, for all of them only say when two numbers count as equal.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    /// Worths are compared in whole multiples of this (no unit, above 0; default 1e-9): below it a difference is
    /// rounding, and the id decides. Whole numbers make the choice exact.
    pub worth_step: f64,
    /// Two spurs count as far enough apart when they miss the spacing by no more than this (metres, 0 or more; default
    /// 1e-9): positions along a limb are sums of lengths, and 0.1 m written in a policy must be 0.1 m measured.
    pub spacing_slack_m: f64,
    /// A product of area and fruit per area that misses a whole number by no more than this counts as that number (no
    /// unit, 0 or more, below 1; default 1e-9): rounding down must not turn an exact 30 into 29.
    pub whole_slack: f64,
}

impl Default for Config {
    fn default() -> Self {
        Self {
            worth_step: 1e-9,
            spacing_slack_m: 1e-9,
            whole_slack: 1e-9,
        }
    }
}
