//! What one closing of the tool does to the fruit, stems, limbs and obstacles that are really there.
//!
//! The straight way of the tool is walked in steps; at each the enclosure, a solid cylinder, is held against the true
//! spheres, thickened limbs and obstacles. Stems are straight from spur to fruit; those that only brush the outside bend
//! and do no harm, so stems matter in the cutting plane alone.

use crate::neighbours::Neighbours;
use crate::way::{Solid, TINY_M, Thick, Way, limbs_of, obstacles_of, p_in_tool};
use corymb_model::arm::{ToolAction, ToolSpec};
use corymb_model::frames::{Orchard, Pose, Tool};
use corymb_model::orchard::OrchardModel;
use corymb_model::truth::{TrueFruitlet, Truth};
use nalgebra::Vector3;
use std::collections::BTreeSet;

/// Tilt that is rounding, radians.
const TINY_RAD: f64 = 1e-8;
/// Distance between the points of a limb that are held against the ring of the blade, metres.
const RING_STEP_M: f64 = 0.0005;

/// The true orchard while orders are carried out: what was cut is gone for the next.
pub(crate) struct Reality<'a> {
    truth: &'a Truth,
    alive: Vec<bool>,
    near: Neighbours,
    /// Farthest that anything of a fruitlet lies from its centre, metres.
    fruit_reach_m: f64,
    limbs: Vec<Thick>,
    obstacles: Vec<Solid>,
}

/// One closing as it was planned, about true fruitlets.
pub(crate) struct Plan<'p> {
    pub(crate) tool: &'p ToolSpec,
    pub(crate) orchard_from_tool: Pose<Orchard, Tool>,
    pub(crate) orchard_from_tool_cut: Pose<Orchard, Tool>,
    /// The fruit to be enclosed, where there is such a one.
    pub(crate) enclosed: Option<usize>,
    /// The fruit to be cut.
    pub(crate) targets: BTreeSet<usize>,
}

/// What it does.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Outcome {
    /// The fruit to be enclosed lies inside, behind the cutting plane.
    pub(crate) enclosed: bool,
    /// Its stem crosses the cutting plane inside the enclosure.
    pub(crate) stem_inside: bool,
    /// Its spur lies in front of the cutting plane.
    pub(crate) spur_in_front: bool,
    /// The tilt is within tolerance.
    pub(crate) tilt_ok: bool,
    /// Angle between the tool's -z and the true axis, radians.
    pub(crate) tilt_rad: Option<f64>,
    /// Every target's stem is cut.
    pub(crate) targets_cut: bool,
    /// Fruit that the enclosure touches and must not.
    pub(crate) touched: BTreeSet<usize>,
    /// Fruit whose stem is cut.
    pub(crate) cut: BTreeSet<usize>,
    /// The enclosure, or the blade outside it, meets a limb.
    pub(crate) hits_limb: bool,
    /// The enclosure meets an obstacle.
    pub(crate) hits_obstacle: bool,
    /// Fruit other than the targets whose stem is cut.
    pub(crate) cut_other: bool,
    /// All that a good order needs.
    pub(crate) good: bool,
}

impl<'a> Reality<'a> {
    /// The orchard before the first order.
    pub(crate) fn of(truth: &'a Truth, orchard: Option<&OrchardModel>) -> Self {
        let reach = |t: &TrueFruitlet| {
            (t.diameter_m / 2.0)
                .max((t.spur.xyz - t.centre.xyz).norm())
                .max((t.stem_top.xyz - t.centre.xyz).norm())
        };
        Self {
            truth,
            alive: vec![true; truth.fruitlets.len()],
            near: Neighbours::of(truth.fruitlets.iter().map(|t| &t.centre.xyz)),
            fruit_reach_m: truth.fruitlets.iter().map(reach).fold(0.0, f64::max),
            limbs: orchard.map(limbs_of).unwrap_or_default(),
            obstacles: orchard.map(obstacles_of).unwrap_or_default(),
        }
    }

    /// Whether a true fruitlet still hangs.
    pub(crate) fn is_alive(&self, truth_idx: usize) -> bool {
        self.alive.get(truth_idx).copied().unwrap_or(false)
    }

    /// A true fruitlet falls.
    pub(crate) fn fell(&mut self, truth_idx: usize) {
        if let Some(alive) = self.alive.get_mut(truth_idx) {
            *alive = false;
        }
    }

    /// What a closing does.
    pub(crate) fn close(&self, plan: &Plan<'_>) -> Outcome {
        let way = Way::of(
            plan.tool,
            &plan.orchard_from_tool.iso,
            &plan.orchard_from_tool_cut.iso,
        );
        let fruit = self.fruit_near(plan, &way);
        let mut outcome = Outcome {
            touched: self.touched(plan, &way, &fruit),
            cut: fruit
                .iter()
                .copied()
                .filter(|&g| self.is_cut(plan, g))
                .collect(),
            hits_limb: self.limbs.iter().any(|l| way.meets(l))
                || self.limbs.iter().any(|l| blade_meets(plan, l)),
            hits_obstacle: self.obstacles.iter().any(|o| way.meets_solid(o)),
            ..Outcome::default()
        };
        self.judge_enclosed(plan, &mut outcome);
        outcome.targets_cut = !plan.targets.is_empty() && plan.targets.is_subset(&outcome.cut);
        outcome.cut_other = !outcome.cut.is_subset(&plan.targets);
        outcome.good = outcome.enclosed
            && outcome.stem_inside
            && outcome.spur_in_front
            && outcome.tilt_ok
            && outcome.targets_cut
            && !outcome.cut_other
            && outcome.touched.is_empty()
            && !outcome.hits_limb
            && !outcome.hits_obstacle;
        outcome
    }

    fn fruit_near(&self, plan: &Plan<'_>, way: &Way) -> Vec<usize> {
        let around_m = way.reach_m + plan.tool.cut_reach_m + self.fruit_reach_m;
        let mut fruit = self.near.within(&way.middle, around_m);
        fruit.retain(|&g| self.is_alive(g));
        fruit
    }

    fn touched(&self, plan: &Plan<'_>, way: &Way, fruit: &[usize]) -> BTreeSet<usize> {
        let may_touch = |g: usize| {
            let is_target_outside =
                plan.tool.action == ToolAction::EncloseKeeper && plan.targets.contains(&g);
            Some(g) == plan.enclosed || is_target_outside
        };
        let meets = |g: usize| {
            let t = &self.truth.fruitlets[g];
            way.least(|at| at.cylinder.distance(&at.p_in_tool(&t.centre.xyz)))
                < t.diameter_m / 2.0 - TINY_M
        };
        fruit
            .iter()
            .copied()
            .filter(|&g| !may_touch(g) && meets(g))
            .collect()
    }

    /// Distance from the tool's axis at which the stem crosses the cutting plane, metres.
    fn crossing_m(&self, plan: &Plan<'_>, truth_idx: usize) -> Option<f64> {
        let t = self.truth.fruitlets.get(truth_idx)?;
        let spur = p_in_tool(&plan.orchard_from_tool_cut.iso, &t.spur.xyz);
        let top = p_in_tool(&plan.orchard_from_tool_cut.iso, &t.stem_top.xyz);
        let (above, below) = (
            spur.z - plan.tool.cut_offset_m,
            top.z - plan.tool.cut_offset_m,
        );
        if (above > 0.0) == (below > 0.0) {
            return None;
        }
        let p = spur + (top - spur) * (above / (above - below));
        Some(p.x.hypot(p.y))
    }

    fn is_cut(&self, plan: &Plan<'_>, truth_idx: usize) -> bool {
        let (from_m, to_m) = blade_m(plan.tool);
        self.crossing_m(plan, truth_idx)
            .is_some_and(|m| m >= from_m - TINY_M && m <= to_m + TINY_M)
    }

    /// Fills in what concerns the enclosed fruit; it stays false where there is none.
    fn judge_enclosed(&self, plan: &Plan<'_>, outcome: &mut Outcome) {
        let Some(g) = plan.enclosed.filter(|&g| self.is_alive(g)) else {
            return;
        };
        let (tool, t) = (plan.tool, &self.truth.fruitlets[g]);
        let c = p_in_tool(&plan.orchard_from_tool.iso, &t.centre.xyz);
        let radius_m = t.diameter_m / 2.0;
        outcome.enclosed = c.x.hypot(c.y) + radius_m <= tool.inner_radius_m + TINY_M
            && c.z - radius_m >= -tool.length_m - TINY_M
            && c.z + radius_m <= tool.cut_offset_m + TINY_M;
        outcome.stem_inside = self
            .crossing_m(plan, g)
            .is_some_and(|m| m <= tool.inner_radius_m + TINY_M);
        outcome.spur_in_front =
            p_in_tool(&plan.orchard_from_tool_cut.iso, &t.spur.xyz).z > tool.cut_offset_m;
        let back = -(plan.orchard_from_tool.iso.rotation * Vector3::z());
        let tilt_rad = back.angle(&t.axis.xyz);
        outcome.tilt_rad = Some(tilt_rad);
        outcome.tilt_ok = tilt_rad <= tool.tilt_tolerance_rad + TINY_RAD;
    }
}

/// Between which distances from the axis a stem is cut, metres.
fn blade_m(tool: &ToolSpec) -> (f64, f64) {
    match tool.action {
        ToolAction::EncloseTarget => (0.0, tool.inner_radius_m),
        ToolAction::EncloseKeeper => (tool.outer_radius_m, tool.outer_radius_m + tool.cut_reach_m),
    }
}

/// Whether the ring that the blade sweeps outside the enclosure meets a limb.
fn blade_meets(plan: &Plan<'_>, limb: &Thick) -> bool {
    if plan.tool.action != ToolAction::EncloseKeeper {
        return false;
    }
    let (from_m, to_m) = blade_m(plan.tool);
    let a = p_in_tool(&plan.orchard_from_tool_cut.iso, &limb.a);
    let b = p_in_tool(&plan.orchard_from_tool_cut.iso, &limb.b);
    let length_m = (b - a).norm();
    let near_m = length_m + limb.radius_a_m.max(limb.radius_b_m) + to_m + plan.tool.length_m;
    if a.norm() > near_m {
        return false;
    }
    // positive and small
    let steps = (length_m / RING_STEP_M).ceil() as usize + 1;
    (0..=steps).any(|i| {
        let s = i as f64 / steps as f64;
        let (p, r) = (
            a + (b - a) * s,
            limb.radius_a_m + (limb.radius_b_m - limb.radius_a_m) * s,
        );
        let height_m = p.z - plan.tool.cut_offset_m;
        // the ball of the limb here cuts the plane in a disc
        let disc_m = (r * r - height_m * height_m).max(0.0).sqrt();
        let off_m = p.x.hypot(p.y);
        disc_m > TINY_M && off_m + disc_m > from_m && off_m - disc_m < to_m
    })
}
