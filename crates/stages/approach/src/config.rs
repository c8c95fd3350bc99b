//! Settings of the stage.

use thiserror::Error;

/// Settings, as typed; [`Config::checked`] holds them to their ranges.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    /// Spacing of the directions tried first within the cone about a fruit's axis, radians; 0.02 to 0.5, default
    /// 0.26 (15 degrees: the search that follows closes gaps of that width; half the step brought no cluster more).
    pub direction_step_rad: f64,
    /// Rings of positions of the fruit inside the cup that are tried first, besides its centre; 1 to 6, default 1.
    pub position_rings: usize,
    /// Starts of the local search for one fruit and one set of neighbours; 1 to 50, default 1: islands of free
    /// poses are few, and ten starts bring 1 cluster in 200 more.
    pub starts: usize,
    /// Poses that one local search may try; 10 to 10,000, default 60.
    pub poses_per_search: usize,
    /// Below this probability of success (place found again) there is no order; 0 to 1, default 0.2: an order that
    /// mostly fails costs time and may hurt the fruit to be kept.
    pub least_success: f64,
    /// Fruit of a cluster up to which every order of removal is searched; 1 to 12, default 8 (a spur carries about
    /// six). Beyond, the likeliest removal comes first each time and the gap is stated.
    pub members_exact: usize,
    /// Ways listed for one cluster; 1 to 100,000, default 4,096. Where there would be more, the choices with most
    /// keepers are left out.
    pub ways_at_most: usize,
    /// Standard deviation per axis of the tool's position where the arm states none, metres; 0.0001 to 0.01,
    /// default 0.0005 (common practice for a calibrated arm, no source).
    pub unstated_repeatability_m: f64,
    /// Least standard deviation of a fruit's axis, radians; 0.001 to 0.5, default 0.02 (1 degree: fruit are not
    /// perfectly round about their axis).
    pub least_axis_deviation_rad: f64,
    /// Standard deviation, about the line from spur to fruit, of an axis that was not seen, radians; 0.05 to 1,
    /// default 0.26 (15 degrees: stems bend, no source).
    pub implied_axis_deviation_rad: f64,
    /// Standard deviation per axis of the middle of a stem from the straight line between its ends, as a share of
    /// its length; 0 to 0.5, default 0.05 (stems are bowed under the weight, no source).
    pub stem_bow_share: f64,
    /// Standard deviation per axis of limbs and obstacles, metres; 0 to 0.1, default 0.001.
    pub solid_deviation_m: f64,
    /// Time for one cut, seconds; 0 to 60, default 0.5.
    pub cut_s: f64,
    /// Speed of the tool where the arm states none in metres a second; 0.001 to 10, default 0.1.
    pub unstated_speed_m_s: f64,
    /// Spacing of the points at which it is asked whether a camera saw them, metres; 0.003 to 0.1, default 0.015.
    pub sight_step_m: f64,
    /// Images asked for each cluster, spread evenly over those that show the place; 1 to 10,000, default 12.
    pub sight_views: usize,
}

impl Default for Config {
    fn default() -> Self {
        Self {
            direction_step_rad: 0.26,
            position_rings: 1,
            starts: 1,
            poses_per_search: 60,
            least_success: 0.2,
            members_exact: 8,
            ways_at_most: 4096,
            unstated_repeatability_m: 0.0005,
            least_axis_deviation_rad: 0.02,
            implied_axis_deviation_rad: 0.26,
            stem_bow_share: 0.05,
            solid_deviation_m: 0.001,
            cut_s: 0.5,
            unstated_speed_m_s: 0.1,
            sight_step_m: 0.015,
            sight_views: 12,
        }
    }
}

/// A setting out of its range.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{field} is {got}, but must lie from {low} to {high}")]
pub struct ConfigError {
    /// The field.
    pub field: &'static str,
    /// As given.
    pub got: f64,
    /// Least value allowed.
    pub low: f64,
    /// Largest value allowed.
    pub high: f64,
}

impl Config {
    /// The settings, if each lies in its range.
    ///
    /// # Errors
    /// The first field that does not.
    // counts are small
    pub fn checked(self) -> Result<Self, ConfigError> {
        let ranges = [
            ("direction_step_rad", self.direction_step_rad, 0.02, 0.5),
            ("position_rings", self.position_rings as f64, 1.0, 6.0),
            ("starts", self.starts as f64, 1.0, 50.0),
            (
                "poses_per_search",
                self.poses_per_search as f64,
                10.0,
                10_000.0,
            ),
            ("least_success", self.least_success, 0.0, 1.0),
            ("members_exact", self.members_exact as f64, 1.0, 12.0),
            ("ways_at_most", self.ways_at_most as f64, 1.0, 100_000.0),
            (
                "unstated_repeatability_m",
                self.unstated_repeatability_m,
                1e-4,
                0.01,
            ),
            (
                "least_axis_deviation_rad",
                self.least_axis_deviation_rad,
                0.001,
                0.5,
            ),
            (
                "implied_axis_deviation_rad",
                self.implied_axis_deviation_rad,
                0.05,
                1.0,
            ),
            ("stem_bow_share", self.stem_bow_share, 0.0, 0.5),
            ("solid_deviation_m", self.solid_deviation_m, 0.0, 0.1),
            ("cut_s", self.cut_s, 0.0, 60.0),
            ("unstated_speed_m_s", self.unstated_speed_m_s, 0.001, 10.0),
            ("sight_step_m", self.sight_step_m, 0.003, 0.1),
            ("sight_views", self.sight_views as f64, 1.0, 10_000.0),
        ];
        for (field, got, low, high) in ranges {
            if !(got >= low && got <= high) {
                return Err(ConfigError {
                    field,
                    got,
                    low,
                    high,
                });
            }
        }
        Ok(self)
    }
}
