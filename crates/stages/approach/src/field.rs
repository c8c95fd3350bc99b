//! Poses about one fruit, each with what every condition costs it, so that any set of neighbours is a sum.

use crate::config::Config;
use crate::facing::Facing;
use crate::judge::{Condition, Finding, Question};
use crate::problem::{Aim, Problem};
use corymb_model::arm::ToolAction;
use nalgebra::Vector3;
use std::f64::consts::TAU;
use std::ops::ControlFlow;

/// A set of the fruit that may be removed, by slot: bit i is fruit i.
pub(crate) type Set = u64;

/// Who is there beside the enclosed fruit, of those that may be removed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub(crate) struct There {
    /// To be cut by this closing (with a ring).
    pub targets: Set,
    /// To stay for good: nothing may come nearer than the clearance.
    pub keep: Set,
    /// To be removed later: it must not be touched, but nothing is lost by passing close.
    pub later: Set,
}

impl There {
    fn all(&self) -> Set {
        self.targets | self.keep | self.later
    }

    /// Which of its costs a slot has; `None` where its fruit is gone.
    fn part(&self, slot: usize) -> Option<usize> {
        let bit = 1 << slot;
        if self.targets & bit != 0 {
            Some(TARGET)
        } else if self.keep & bit != 0 {
            Some(KEEP)
        } else {
            (self.later & bit != 0).then_some(LATER)
        }
    }
}

/// What a missing metre costs beside the probability, nats: the search comes back inside at once.
const FAILS_PER_M: f64 = 5e4;
/// A missing radian counts as this many metres.
pub(crate) const M_PER_RAD: f64 = 0.05;
/// What the search keeps to spare, metres, so that rounding cannot make its result fail.
const GUARD_M: f64 = 2e-5;
/// First poses this much worse than the best one, whoever is there, are dropped, nats.
const HOPELESS: f64 = 100.0;
/// Cost of a stem that is to be cut but not near, nats.
const OUT_OF_RING: f64 = 1e4;
/// The first pass leaves this much beside the depth at which the fruit just fits, in standard deviations and metres.
const DEPTH_SDS: f64 = 1.5;
const DEPTH_M: f64 = 5e-4;
/// A probability below this counts as none, ln.
const NO_CHANCE: f64 = -30.0;
/// Depths tried with a guard.
const GUARD_DEPTHS: u32 = 5;

/// Costs of one slot at one pose, nats: as [`TARGET`], [`KEEP`] and [`LATER`].
pub(crate) type Cost = [f64; 3];
pub(crate) const TARGET: usize = 0;
const KEEP: usize = 1;
pub(crate) const LATER: usize = 2;

/// Poses about one fruit with their costs.
pub(crate) struct Field<'a> {
    pub problem: Problem<'a>,
    pub config: &'a Config,
    /// Fruit that may be removed.
    pub slots: usize,
    pub aims: Vec<Aim>,
    /// Cost of what is always there, one a pose.
    fixed: Vec<f64>,
    /// Cost of what may be gone, `slots` a pose.
    rows: Vec<Cost>,
    /// A row before anything is known.
    blank: Vec<Cost>,
    facing: Facing,
}

impl<'a> Field<'a> {
    /// The first pass: directions x positions. Cost: that, times the near neighbours.
    pub(crate) fn new(problem: Problem<'a>, slots: usize, config: &'a Config) -> Self {
        let mut blank = vec![[-OUT_OF_RING, 0.0, 0.0]; slots];
        for slot in problem.neighbours.iter().filter_map(|n| n.slot) {
            if let Some(start) = blank.get_mut(slot) {
                start[TARGET] = 0.0;
            }
        }
        let (aims, fixed, rows, facing) = (Vec::new(), Vec::new(), Vec::new(), Facing::default());
        let mut field = Self {
            problem,
            config,
            slots,
            aims,
            fixed,
            rows,
            blank,
            facing,
        };
        let places = field.places();
        let (mut best, tilts) = (f64::NEG_INFINITY, field.tilts());
        let poses = tilts.len() * places.len();
        field.aims.reserve(poses);
        field.fixed.reserve(poses);
        field.rows.reserve(poses * slots);
        for tilt in tilts {
            for at in &places {
                let aim = Aim { tilt, at: *at };
                best = field
                    .note_above(aim, best - HOPELESS)
                    .unwrap_or(best)
                    .max(best);
            }
        }
        field.drop_hopeless();
        field
    }

    /// Rings about the axis, up to the tolerance.
    fn tilts(&self) -> Vec<[f64; 2]> {
        let most = (self.problem.tool.tilt_tolerance_rad - GUARD_M / M_PER_RAD).max(0.0);
        let step = self.config.direction_step_rad;
        rings_of(most, (most / step).round().max(1.0), |radius| {
            (TAU * radius / step).max(6.0)
        })
    }

    /// Positions of the fruit inside the cup, at the depth where it just fits.
    fn places(&self) -> Vec<Vector3<f64>> {
        let (tool, body) = (self.problem.tool, self.problem.body);
        let most = (tool.inner_radius_m - body.radius - DEPTH_M).max(0.0);
        let sd = (0.25 * body.sd_bound * body.sd_bound + self.problem.located.tool_var).sqrt();
        let z = tool.cut_offset_m - body.radius - DEPTH_M - DEPTH_SDS * sd;
        // few rings
        let rings = self.config.position_rings as f64;
        let flat = rings_of(most, rings, |radius| {
            (5.0 * rings * radius / most.max(1e-9)).max(5.0)
        });
        let depths = self.depths(z);
        let at = |z: f64| flat.iter().map(move |[x, y]| Vector3::new(*x, *y, z));
        depths.into_iter().flat_map(at).collect()
    }

    /// The least depth; for a guard, whose blade must find the other stems, also deeper ones down to the bottom.
    fn depths(&self, least: f64) -> Vec<f64> {
        let (tool, body) = (self.problem.tool, self.problem.body);
        if tool.action == ToolAction::EncloseTarget {
            return vec![least];
        }
        let spare = (least - (body.radius + DEPTH_M - tool.length_m)).max(0.0);
        (0..GUARD_DEPTHS)
            .map(|k| least - spare * f64::from(k) / f64::from(GUARD_DEPTHS - 1))
            .collect()
    }

    /// Judges and keeps a pose. Returns its position.
    pub(crate) fn note(&mut self, aim: Aim) -> usize {
        self.note_above(aim, f64::NEG_INFINITY);
        self.aims.len().saturating_sub(1)
    }

    /// Judges and keeps a pose unless what is always there costs it more than `floor`. Returns that cost.
    fn note_above(&mut self, aim: Aim, floor: f64) -> Option<f64> {
        self.facing.turn(&self.problem, &aim.tilt, Set::MAX);
        let asked = question(&self.problem, None, floor);
        let view = self.facing.view(&self.problem, &aim.at, &asked);
        let mut total = Total::default();
        let mut add = |f: Finding| total.add(&f, floor);
        if view.enclosed(&mut add).is_break() || view.fixed(&mut add).is_break() {
            return None;
        }
        let from = self.rows.len();
        self.rows.extend_from_slice(&self.blank);
        let row = self.rows.get_mut(from..).unwrap_or_default();
        // a row holds all, however bad
        let asked = question(&self.problem, None, f64::NEG_INFINITY);
        let view = self.facing.view(&self.problem, &aim.at, &asked);
        let _ = view.removable(&mut |f| {
            add_to_row(row, &self.problem, &f);
            ControlFlow::Continue(())
        });
        self.fixed.push(total.cost());
        self.aims.push(aim);
        Some(total.cost())
    }

    /// Cost of a pose that is not kept, or anything up to `floor` where it costs more than that.
    pub(crate) fn cost_above(&mut self, aim: &Aim, there: &There, floor: f64) -> f64 {
        self.facing.turn(&self.problem, &aim.tilt, there.all());
        let asked = question(&self.problem, Some(there), floor);
        let view = self.facing.view(&self.problem, &aim.at, &asked);
        let mut total = Total::default();
        let missed = (0..self.slots).filter(|&s| there.targets & (1 << s) != 0 && !self.is_near(s));
        total.plain -= missed.fold(0.0, |sum, _| sum + OUT_OF_RING);
        match view.all(&mut |f| total.add(&f, floor)) {
            ControlFlow::Continue(()) => total.cost(),
            ControlFlow::Break(()) => floor,
        }
    }

    /// Keeps the poses that can matter for some set.
    fn drop_hopeless(&mut self) {
        let best = self.fixed.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut kept = 0;
        for i in 0..self.aims.len() {
            if self.fixed[i] >= best - HOPELESS {
                self.aims.swap(kept, i);
                self.fixed.swap(kept, i);
                for s in 0..self.slots {
                    self.rows.swap(kept * self.slots + s, i * self.slots + s);
                }
                kept += 1;
            }
        }
        self.aims.truncate(kept);
        self.fixed.truncate(kept);
        self.rows.truncate(kept * self.slots);
    }

    /// Whether the fruit of a slot can come near at all.
    pub(crate) fn is_near(&self, slot: usize) -> bool {
        self.problem.neighbours.iter().any(|n| n.slot == Some(slot))
    }

    /// Costs of the slots at pose `i`.
    pub(crate) fn row(&self, i: usize) -> &[Cost] {
        self.rows
            .get(i * self.slots..(i + 1) * self.slots)
            .unwrap_or_default()
    }

    /// Cost of each pose where these are there.
    pub(crate) fn costs(&self, there: &There) -> impl Iterator<Item = f64> {
        let parts: Vec<(usize, usize)> = (0..self.slots)
            .filter_map(|slot| Some((slot, there.part(slot)?)))
            .collect();
        let rows = self.rows.chunks_exact(self.slots.max(1));
        self.fixed.iter().zip(rows).map(move |(fixed, row)| {
            let each = parts
                .iter()
                .filter_map(|(s, part)| Some(row.get(*s)?[*part]));
            each.fold(*fixed, |sum, cost| sum + cost)
        })
    }

    /// Cost of pose `i` where these are there.
    pub(crate) fn cost(&self, i: usize, there: &There) -> f64 {
        let fixed = self.fixed.get(i).copied().unwrap_or(f64::NEG_INFINITY);
        let slots = self.row(i).iter().enumerate();
        slots
            .filter_map(|(s, slot)| Some(slot[there.part(s)?]))
            .fold(fixed, |sum, cost| sum + cost)
    }

    /// What holds at a pose where these are there.
    pub(crate) fn findings(&mut self, aim: &Aim, there: &There) -> Vec<Finding> {
        let mut findings = Vec::new();
        self.collect(aim, there, true, &mut findings);
        findings
    }

    /// The same without probabilities; a solid that keeps the clearance may be missing.
    pub(crate) fn spares(&mut self, aim: &Aim, there: &There, into: &mut Vec<Finding>) {
        self.collect(aim, there, false, into);
    }

    fn collect(&mut self, aim: &Aim, there: &There, odds: bool, into: &mut Vec<Finding>) {
        self.facing.turn(&self.problem, &aim.tilt, there.all());
        let asked = Question {
            odds,
            nearest_solid: false,
            ..question(&self.problem, Some(there), f64::NEG_INFINITY)
        };
        let view = self.facing.view(&self.problem, &aim.at, &asked);
        into.clear();
        let _ = view.all(&mut |f| {
            into.push(f);
            ControlFlow::Continue(())
        });
    }

    /// Mean probability that a closing succeeds over shifts of all fruit by their shared error, given in units of its
    /// standard deviation.
    pub(crate) fn unlocated(&mut self, aim: &Aim, there: &There, shifts: &[Vector3<f64>]) -> f64 {
        self.facing.turn(&self.problem, &aim.tilt, there.all());
        let asked = Question {
            noise: &self.problem.unlocated,
            ..question(&self.problem, Some(there), f64::NEG_INFINITY)
        };
        // limbs and obstacles stay where they are: so does their part
        let mut solid = Total::default();
        let view = self.facing.view(&self.problem, &aim.at, &asked);
        let _ = view.solids(&mut |f| solid.take(f.condition, f.ln, f64::NEG_INFINITY));
        let into_tool = self.facing.rotation.transpose();
        let chance = |shift: &Vector3<f64>| {
            let at = aim.at + into_tool * shift * self.problem.shared_m;
            let view = self.facing.view(&self.problem, &at, &asked);
            let mut total = solid;
            match view.fruit(&mut |f| total.take(f.condition, f.ln, NO_CHANCE)) {
                ControlFlow::Continue(()) => total.cost().exp(),
                ControlFlow::Break(()) => 0.0,
            }
        };
        // few points
        let mean = shifts.iter().map(chance).sum::<f64>() / shifts.len().max(1) as f64;
        mean * self.problem.body.existence
    }
}

/// Adds up costs; errors of limbs are mostly shared: the worst of them stands for all.
#[derive(Debug, Default, Clone, Copy)]
struct Total {
    plain: f64,
    solid: f64,
}

impl Total {
    fn cost(&self) -> f64 {
        self.plain + self.solid
    }

    fn add(&mut self, finding: &Finding, floor: f64) -> ControlFlow<()> {
        self.take(finding.condition, cost_of(finding, 0.0), floor)
    }

    /// Ends below `floor`: no cost makes up for another.
    fn take(&mut self, condition: Condition, cost: f64, floor: f64) -> ControlFlow<()> {
        if let Condition::Solid(_) = condition {
            self.solid = self.solid.min(cost);
        } else {
            self.plain += cost;
        }
        if self.cost() < floor {
            ControlFlow::Break(())
        } else {
            ControlFlow::Continue(())
        }
    }
}

/// Adds a finding about a fruit that may be removed.
fn add_to_row(row: &mut [Cost], problem: &Problem<'_>, finding: &Finding) {
    let cost = cost_of(finding, 0.0);
    let slot = |k: usize| problem.neighbours.get(k).and_then(|n| n.slot);
    match finding.condition {
        Condition::Body(k) | Condition::Stem(k) => {
            if let Some(place) = slot(k).and_then(|s| row.get_mut(s)) {
                place[KEEP] += cost;
                place[LATER] += cost_of(finding, nearer(problem, finding));
            }
        }
        Condition::Ring(k) => {
            if let Some(place) = slot(k).and_then(|s| row.get_mut(s)) {
                place[TARGET] += cost;
            }
        }
        _ => {}
    }
}

/// With the place found again; costs down to `floor` matter.
fn question<'q>(problem: &'q Problem<'_>, there: Option<&'q There>, floor: f64) -> Question<'q> {
    Question {
        noise: &problem.located,
        there,
        odds: true,
        nearest_solid: true,
        least_spare_m: GUARD_M + floor / FAILS_PER_M,
    }
}

fn cost_of(finding: &Finding, nearer_m: f64) -> f64 {
    let scale = if finding.condition.is_angle() {
        M_PER_RAD
    } else {
        1.0
    };
    finding.ln - FAILS_PER_M * (GUARD_M - finding.spare * scale - nearer_m).max(0.0)
}

/// How much nearer than to others the tool may come to a fruit that is removed later.
fn nearer(problem: &Problem<'_>, finding: &Finding) -> f64 {
    if let Condition::Body(_) = finding.condition {
        problem.tool.clearance_m
    } else {
        0.0
    }
}

/// The middle, then points on equally spaced rings out to `most`; `count` says how many on a ring of a radius.
fn rings_of(most: f64, rings: f64, count: impl Fn(f64) -> f64) -> Vec<[f64; 2]> {
    let mut points = vec![[0.0, 0.0]];
    let mut ring = 1.0;
    while ring <= rings {
        let radius = most * ring / rings;
        let (n, turn) = (
            count(radius).ceil(),
            if ring % 2.0 == 0.0 { 0.0 } else { 0.5 },
        );
        let mut k = 0.0;
        while k < n {
            let angle = TAU * (k + turn) / n;
            points.push([radius * angle.cos(), radius * angle.sin()]);
            k += 1.0;
        }
        ring += 1.0;
    }
    points
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture::{crowd, cup, guard, setup};
    use crate::problem::Setting;
    use crate::reach::Reach;
    use crate::surroundings::Index;

    /// Fields of a tool about each fruit of the only cluster of some maps.
    fn on_fields(tool: &corymb_model::arm::ToolSpec, mut ask: impl FnMut(&mut Field<'_>)) {
        let (config, setup) = (Config::default(), setup(tool.clone()));
        let reach = Reach::of(&setup);
        for seed in 0..12 {
            let map = crowd(seed, 5);
            let surroundings = Index::new(&map, None).about(0, 0.3, &config);
            let slots: Vec<_> = (0..map.fruitlets.len()).map(Some).collect();
            let setting = Setting {
                surroundings: &surroundings,
                slots: &slots,
                reach: &reach,
                repeatability_m: 2e-4,
                solid_deviation_m: 0.0,
            };
            for local in 0..slots.len() {
                if let Some(problem) = Problem::new(&setting, tool, local, 0.001) {
                    ask(&mut Field::new(problem, slots.len(), &config));
                }
            }
        }
    }

    fn sets() -> [There; 4] {
        let there = |targets, keep, later| There {
            targets,
            keep,
            later,
        };
        [
            there(0, 0, 0),
            there(0, 1, 0b11110),
            there(0, 0b110, 0b1000),
            there(0b10, 0b1, 0b11000),
        ]
    }

    #[test]
    fn a_pose_alone_costs_what_it_costs_in_the_field() {
        let (mut above, mut below) = (0, 0);
        for tool in [cup(), guard()] {
            on_fields(&tool, |field| {
                for i in (0..field.aims.len()).step_by(5) {
                    let aim = field.aims[i];
                    for there in &sets() {
                        let cost = field.cost(i, there);
                        let listed = field.costs(there).nth(i).unwrap();
                        assert!(listed.to_bits() == cost.to_bits());
                        let whole = field.cost_above(&aim, there, f64::NEG_INFINITY);
                        assert!((whole - cost).abs() < 1e-9 * cost.abs().max(1.0));
                        for floor in [-3000.0, -30.0, -1.0, -0.1] {
                            let told = field.cost_above(&aim, there, floor);
                            if cost > floor + 1e-6 {
                                assert!(told.to_bits() == whole.to_bits());
                                above += 1;
                            } else if cost < floor - 1e-6 {
                                assert!(told <= floor);
                                below += 1;
                            }
                        }
                    }
                }
            });
        }
        assert!(above > 1000 && below > 1000, "{above} {below}");
    }

    #[test]
    fn spares_are_those_of_the_findings() {
        on_fields(&cup(), |field| {
            let (aim, mut spares) = (field.aims[0], Vec::new());
            for there in &sets() {
                field.spares(&aim, there, &mut spares);
                let findings = field.findings(&aim, there);
                assert_eq!(spares.len(), findings.len());
                for (a, b) in spares.iter().zip(&findings) {
                    assert_eq!(a.condition, b.condition);
                    assert!(a.spare.to_bits() == b.spare.to_bits());
                }
            }
        });
    }
}
