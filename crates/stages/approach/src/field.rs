//! Poses about one fruit, each with what every condition costs it, so that any set of neighbours is a sum.

use crate::config::Config;
use crate::facing::Facing;
use crate::judge::{Condition, Finding};
use crate::problem::{Aim, Noise, Problem};
use corymb_model::arm::ToolAction;
use nalgebra::Vector3;
use std::f64::consts::TAU;

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
/// Depths tried with a guard.
const GUARD_DEPTHS: u32 = 5;

/// Costs of one slot at one pose, nats.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Cost {
    pub target: f64,
    pub keep: f64,
    pub later: f64,
}

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
        let mut blank = vec![
            Cost {
                target: -OUT_OF_RING,
                ..Cost::default()
            };
            slots
        ];
        for slot in problem.neighbours.iter().filter_map(|n| n.slot) {
            if let Some(start) = blank.get_mut(slot) {
                start.target = 0.0;
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
        for tilt in field.tilts() {
            field.facing.turn(&field.problem, &tilt);
            for at in &places {
                field.note_turned(Aim { tilt, at: *at });
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
        #[allow(clippy::cast_precision_loss)] // few rings
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
        self.facing.turn(&self.problem, &aim.tilt);
        self.note_turned(aim)
    }

    fn note_turned(&mut self, aim: Aim) -> usize {
        let from = self.rows.len();
        self.rows.extend_from_slice(&self.blank);
        let row = self.rows.get_mut(from..).unwrap_or_default();
        let mut tally = Tally {
            problem: &self.problem,
            fixed: 0.0,
            solid: 0.0,
            row,
        };
        let still = Vector3::zeros();
        self.facing.judge(
            &self.problem,
            &aim.at,
            &self.problem.located,
            &still,
            false,
            &mut |f| tally.add(f),
        );
        self.fixed.push(tally.fixed + tally.solid);
        self.aims.push(aim);
        self.aims.len() - 1
    }

    /// Cost of a pose that is not kept.
    pub(crate) fn cost_at(&mut self, aim: &Aim, there: &There) -> f64 {
        let i = self.note(*aim);
        let cost = self.cost(i, there);
        self.aims.pop();
        self.fixed.pop();
        self.rows.truncate(i * self.slots);
        cost
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

    /// Cost of pose `i` where these are there.
    pub(crate) fn cost(&self, i: usize, there: &There) -> f64 {
        let mut cost = self.fixed.get(i).copied().unwrap_or(f64::NEG_INFINITY);
        for (s, slot) in self.row(i).iter().enumerate() {
            let bit = 1 << s;
            if there.targets & bit != 0 {
                cost += slot.target;
            } else if there.keep & bit != 0 {
                cost += slot.keep;
            } else if there.later & bit != 0 {
                cost += slot.later;
            }
        }
        cost
    }

    /// What holds at a pose where these are there.
    pub(crate) fn findings(&mut self, aim: &Aim, there: &There) -> Vec<Finding> {
        self.facing.turn(&self.problem, &aim.tilt);
        let mut findings = Vec::new();
        let (problem, still) = (&self.problem, Vector3::zeros());
        self.facing.judge(
            problem,
            &aim.at,
            &problem.located,
            &still,
            false,
            &mut |f| {
                findings.extend(concerning(problem, f, there));
            },
        );
        findings
    }

    /// Mean probability that a closing succeeds over shifts of all fruit by their shared error, given in units of its
    /// standard deviation.
    pub(crate) fn unlocated(&mut self, aim: &Aim, there: &There, shifts: &[Vector3<f64>]) -> f64 {
        self.facing.turn(&self.problem, &aim.tilt);
        let into_tool = self.problem.rotation(&aim.tilt).transpose();
        let noise = self.problem.unlocated;
        let shifted = |shift: &Vector3<f64>| {
            let moved = into_tool * shift * self.problem.shared_m;
            self.chance(&(aim.at + moved), &noise, &-moved, there)
        };
        #[allow(clippy::cast_precision_loss)] // few points
        let mean = shifts.iter().map(shifted).sum::<f64>() / shifts.len().max(1) as f64;
        mean * self.problem.body.existence
    }

    fn chance(&self, at: &Vector3<f64>, noise: &Noise, shift: &Vector3<f64>, there: &There) -> f64 {
        let (mut ln, mut solid) = (0.0, 0.0_f64);
        self.facing
            .judge(&self.problem, at, noise, shift, false, &mut |f| {
                if let Condition::Solid(_) = f.condition {
                    solid = solid.min(f.ln);
                } else {
                    ln += concerning(&self.problem, f, there).map_or(0.0, |f| f.ln);
                }
            });
        (ln + solid).exp()
    }
}

/// Adds up findings for one pose.
struct Tally<'t> {
    problem: &'t Problem<'t>,
    fixed: f64,
    solid: f64,
    row: &'t mut [Cost],
}

impl Tally<'_> {
    fn add(&mut self, finding: Finding) {
        let cost = cost_of(&finding, 0.0);
        let slot = |k: usize| self.problem.neighbours.get(k).and_then(|n| n.slot);
        match finding.condition {
            Condition::Body(k) | Condition::Stem(k) => {
                if let Some(place) = slot(k).and_then(|s| self.row.get_mut(s)) {
                    place.keep += cost;
                    place.later += cost_of(&finding, nearer(self.problem, &finding));
                    return;
                }
                self.fixed += cost;
            }
            Condition::Ring(k) => {
                if let Some(place) = slot(k).and_then(|s| self.row.get_mut(s)) {
                    place.target += cost;
                }
            }
            // errors of limbs are mostly shared: the worst of them stands for all
            Condition::Solid(_) => self.solid = self.solid.min(cost),
            _ => self.fixed += cost,
        }
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

/// The finding as it counts where these are there; `None` where it does not.
fn concerning(problem: &Problem<'_>, finding: Finding, there: &There) -> Option<Finding> {
    let has = |set: Set, slot: usize| set & (1 << slot) != 0;
    match finding.condition {
        Condition::Body(k) | Condition::Stem(k) => match problem.neighbours.get(k)?.slot {
            None => Some(finding),
            Some(s) if has(there.targets, s) => None,
            Some(s) if has(there.keep, s) => Some(finding),
            Some(s) if has(there.later, s) => Some(Finding {
                spare: finding.spare + nearer(problem, &finding),
                ..finding
            }),
            Some(_) => None,
        },
        Condition::Ring(k) => problem
            .neighbours
            .get(k)?
            .slot
            .filter(|s| has(there.targets, *s))
            .map(|_| finding),
        _ => Some(finding),
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
