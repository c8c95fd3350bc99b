//! From which stops of the platform an arm reaches.

use corymb_model::arm::{ArmReach, ArmSetup, ArmSpec, Platform};
use nalgebra::{Isometry3, Vector3};

/// A stop shifts the arm by less than this along an axis of its base: the axis counts as fixed, metres.
const STANDS_STILL_M: f64 = 1e-9;
/// Bounds count as kept within this share of a step.
const STEP_TOLERANCE: f64 = 1e-9;
/// Stop numbers beyond this are cut off.
const STOPS_AT_MOST: f64 = 1e9;

/// The arms of a set-up as far as their reach can be checked.
#[derive(Debug, Clone, Default)]
pub(crate) struct Reach {
    arms: Vec<CartesianReach>,
    /// Some arm, or all, cannot be checked: then a pose out of reach of the others is no refusal.
    pub unchecked: Option<&'static str>,
}

/// A Cartesian arm on a platform that moves along orchard x.
#[derive(Debug, Clone)]
pub(crate) struct CartesianReach {
    /// Position in `ArmSetup::arms`.
    pub arm_idx: usize,
    /// Speed of the tool, metres a second.
    pub speed_m_s: f64,
    low: Vector3<f64>,
    high: Vector3<f64>,
    base_from_orchard: Isometry3<f64>,
    step_in_base: Vector3<f64>,
    toward: Option<(Vector3<f64>, f64)>,
}

/// Stops at which all of some points lie within an arm's bounds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Stops {
    /// First and last; `None` where there is no such stop.
    pub range: Option<(i64, i64)>,
    /// How far the worst point lies outside at the best stop, metres; 0 or less within.
    pub outside_m: f64,
}

impl Reach {
    pub(crate) fn of(setup: &ArmSetup) -> Self {
        let mut reach = Reach::default();
        for (arm_idx, arm) in setup.arms.iter().enumerate() {
            match (&arm.reach, &setup.platform) {
                (ArmReach::Chain { .. }, _) => reach.unchecked = Some("joint reach of the chain"),
                (_, None) => reach.unchecked = Some("reach of the arm (no platform stated)"),
                (ArmReach::Cartesian { .. }, Some(platform)) => {
                    reach
                        .arms
                        .extend(CartesianReach::new(arm_idx, arm, platform));
                }
            }
        }
        if setup.arms.is_empty() {
            reach.unchecked = Some("reach (no arm stated)");
        }
        reach
    }

    /// The arm that reaches all of `points` from most stops, pointing along `forward`; the first of equals.
    pub(crate) fn best(
        &self,
        points: &[Vector3<f64>],
        forward: &Vector3<f64>,
    ) -> Option<(&CartesianReach, (i64, i64))> {
        let mut best: Option<(&CartesianReach, (i64, i64))> = None;
        for arm in self
            .arms
            .iter()
            .filter(|arm| arm.turn_spare_rad(forward) >= 0.0)
        {
            let range = arm.stops(points).range;
            let more = |r: &(i64, i64)| best.is_none_or(|(_, b)| r.1 - r.0 > b.1 - b.0);
            if let Some(range) = range.filter(more) {
                best = Some((arm, range));
            }
        }
        best
    }

    /// How far `points` lie outside, metres, and by how much `forward` misses the direction, radians (spare is
    /// positive): of the arm that does best. `None` where nothing can be said.
    pub(crate) fn spare(
        &self,
        points: &[Vector3<f64>],
        forward: &Vector3<f64>,
    ) -> Option<(f64, f64)> {
        if self.unchecked.is_some() {
            return None;
        }
        let each = self
            .arms
            .iter()
            .map(|arm| (-arm.stops(points).outside_m, arm.turn_spare_rad(forward)));
        each.max_by(|a, b| {
            a.0.min(0.0)
                .total_cmp(&b.0.min(0.0))
                .then(a.1.min(0.0).total_cmp(&b.1.min(0.0)))
        })
    }

    /// Whether every pose whose points lie within `radius_m` of `about` is reached whichever way it points.
    pub(crate) fn is_free(&self, about: &Vector3<f64>, radius_m: f64) -> bool {
        let free = |arm: &CartesianReach| {
            arm.toward.is_none() && arm.stops(&[*about]).outside_m <= -radius_m
        };
        self.unchecked.is_some() || self.arms.iter().any(free)
    }
}

impl CartesianReach {
    /// `None` for an arm that is not Cartesian.
    pub(crate) fn new(arm_idx: usize, arm: &ArmSpec, platform: &Platform) -> Option<Self> {
        let ArmReach::Cartesian {
            low_m,
            high_m,
            speed_m_s,
            reach_direction,
            reach_within_rad,
        } = &arm.reach
        else {
            return None;
        };
        let orchard_from_base = platform.orchard_from_rig.after(&arm.rig_from_base);
        let toward = reach_direction.zip(*reach_within_rad);
        Some(Self {
            arm_idx,
            speed_m_s: *speed_m_s,
            low: *low_m,
            high: *high_m,
            base_from_orchard: orchard_from_base.iso.inverse(),
            step_in_base: orchard_from_base.iso.inverse().rotation
                * (Vector3::x() * platform.step_m),
            toward: toward
                .map(|(direction, within)| (orchard_from_base.turn(&direction).xyz, within)),
        })
    }

    /// The stops from which the arm's bounds hold all `points` (orchard frame). At stop k a point has moved by -k
    /// steps in the base frame, so each bound of each point is a half-line of k.
    pub(crate) fn stops(&self, points: &[Vector3<f64>]) -> Stops {
        let at_zero: Vec<Vector3<f64>> = points
            .iter()
            .map(|p| self.base_from_orchard.transform_point(&(*p).into()).coords)
            .collect();
        let (mut first, mut last) = (-STOPS_AT_MOST, STOPS_AT_MOST);
        for p in &at_zero {
            for axis in 0..3 {
                let step = self.step_in_base[axis];
                if step.abs() > STANDS_STILL_M {
                    let (a, b) = (
                        (p[axis] - self.high[axis]) / step,
                        (p[axis] - self.low[axis]) / step,
                    );
                    first = first.max(a.min(b));
                    last = last.min(a.max(b));
                }
            }
        }
        let still = first <= -STOPS_AT_MOST && last >= STOPS_AT_MOST;
        let (from, to) = if still {
            (0.0, 0.0)
        } else {
            (whole(first, true), whole(last, false))
        };
        let middle = if still { 0.0 } else { 0.5 * (first + last) };
        let outside_m = self
            .outside(&at_zero, middle.floor())
            .min(self.outside(&at_zero, middle.ceil()));
        let fixed_m = self.outside_fixed(&at_zero);
        let holds = from <= to && fixed_m <= 1e-9;
        // cut off above
        Stops {
            range: holds.then_some((from as i64, to as i64)),
            outside_m,
        }
    }

    /// Angle to spare between the tool's +z and the limit about the reach direction.
    fn turn_spare_rad(&self, forward: &Vector3<f64>) -> f64 {
        self.toward
            .as_ref()
            .map_or(f64::INFINITY, |(direction, within)| {
                within - direction.dot(forward).clamp(-1.0, 1.0).acos()
            })
    }

    fn outside(&self, at_zero: &[Vector3<f64>], stop: f64) -> f64 {
        let beyond = |p: &Vector3<f64>| {
            let here = p - self.step_in_base * stop;
            (self.low - here).max().max((here - self.high).max())
        };
        at_zero.iter().map(beyond).fold(f64::NEG_INFINITY, f64::max)
    }

    /// How far points lie outside along the axes on which stops change nothing.
    fn outside_fixed(&self, at_zero: &[Vector3<f64>]) -> f64 {
        let mut most = f64::NEG_INFINITY;
        for p in at_zero {
            for axis in (0..3).filter(|&axis| self.step_in_base[axis].abs() <= STANDS_STILL_M) {
                most = most
                    .max(self.low[axis] - p[axis])
                    .max(p[axis] - self.high[axis]);
            }
        }
        most
    }
}

fn whole(stop: f64, up: bool) -> f64 {
    if up {
        (stop - STEP_TOLERANCE).ceil()
    } else {
        (stop + STEP_TOLERANCE).floor()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use corymb_model::frames::{Direction, Pose};
    use nalgebra::{Translation3, UnitQuaternion};
    use proptest::prelude::*;

    fn vector(reach: f64) -> impl Strategy<Value = Vector3<f64>> {
        prop::array::uniform3(-reach..reach).prop_map(Vector3::from)
    }

    fn arm(low_m: Vector3<f64>, high_m: Vector3<f64>) -> ArmSpec {
        let reach = ArmReach::Cartesian {
            low_m,
            high_m,
            speed_m_s: 0.5,
            reach_direction: Direction::of(Vector3::y()),
            reach_within_rad: Some(0.5),
        };
        ArmSpec {
            id: "main".to_owned(),
            reach,
            rig_from_base: Pose::identity(),
            repeatability_m: None,
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        #[test]
        fn stops_are_those_of_trying_each(
            turn in vector(2.0), upright in any::<bool>(), foot in vector(0.5), low in vector(0.8),
            size in prop::array::uniform3(0.1..1.5), p in vector(1.5), q in vector(0.1), step in 0.05..0.6_f64, back in any::<bool>(),
        ) {
            let step_m = if back { -step } else { step };
            // turned about z only, the step lies across two axes of the base and along none
            let turn = if upright { Vector3::new(0.0, 0.0, turn.z) } else { turn };
            let foot = Isometry3::from_parts(Translation3::from(foot), UnitQuaternion::from_scaled_axis(turn));
            let mut arm = arm(low, low + Vector3::from(size));
            arm.rig_from_base = Pose::from_isometry(foot);
            let platform = Platform { orchard_from_rig: Pose::identity(), step_m, settle_s: 0.0 };
            let reach = CartesianReach::new(0, &arm, &platform).unwrap();
            let points = [p, p + q];
            let stops = reach.stops(&points);
            let mut held = Vec::new();
            let mut least = f64::INFINITY;
            for stop in -100..=100_i64 {
                let base_from_orchard = platform.at_stop(stop).after(&arm.rig_from_base).iso.inverse();
                let mut outside = f64::NEG_INFINITY;
                for point in points {
                    let here = base_from_orchard.transform_point(&point.into()).coords;
                    outside = outside.max((low - here).max()).max((here - low - Vector3::from(size)).max());
                }
                least = least.min(outside);
                if outside <= 0.0 {
                    held.push(stop);
                }
            }
            match stops.range {
                Some((first, last)) => {
                    prop_assert_eq!(held, (first..=last).collect::<Vec<_>>());
                    prop_assert!(stops.outside_m <= 1e-9);
                }
                None => {
                    prop_assert!(held.is_empty());
                    prop_assert!(stops.outside_m >= least - 1e-9 && stops.outside_m > -1e-9);
                }
            }
        }
    }

    #[test]
    fn a_platform_that_stands_still_has_one_stop() {
        let platform = Platform {
            orchard_from_rig: Pose::identity(),
            step_m: 0.0,
            settle_s: 0.0,
        };
        let reach = CartesianReach::new(
            0,
            &arm(Vector3::repeat(-1.0), Vector3::repeat(1.0)),
            &platform,
        )
        .unwrap();
        assert_eq!(
            reach.stops(&[Vector3::zeros()]),
            Stops {
                range: Some((0, 0)),
                outside_m: -1.0
            }
        );
        let far = reach.stops(&[Vector3::new(0.0, 1.25, 0.0)]);
        assert_eq!(
            far,
            Stops {
                range: None,
                outside_m: 0.25
            }
        );
    }

    #[test]
    fn the_tool_points_only_where_it_may() {
        let platform = Platform {
            orchard_from_rig: Pose::identity(),
            step_m: 0.5,
            settle_s: 0.0,
        };
        let setup = ArmSetup {
            name: String::new(),
            tools: Vec::new(),
            arms: vec![arm(Vector3::repeat(-1.0), Vector3::repeat(1.0))],
            platform: Some(platform),
        };
        let reach = Reach::of(&setup);
        let at = [Vector3::new(0.25, 0.0, 0.0)];
        assert_eq!(reach.best(&at, &Vector3::y()).unwrap().1, (-1, 2));
        assert!(reach.best(&at, &Vector3::x()).is_none());
        let (metres, radians) = reach.spare(&at, &Vector3::x()).unwrap();
        assert!(metres > 0.0 && (radians - (0.5 - std::f64::consts::FRAC_PI_2)).abs() < 1e-12);
        assert!(!reach.is_free(&at[0], 0.1));
    }
}
