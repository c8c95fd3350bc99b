//! The conditions of a good closing at one pose: by how much each holds, and how likely.

use crate::chance::{RARE, SURE, ln_in_disc, ln_normal, ln_not};
use crate::facing::{Facing, FacingBody, FacingSolid};
use crate::field::There;
use crate::problem::{Neighbour, Noise, Problem};
use crate::stems::{Crossing, depth_of};
use crate::surroundings::StemLine;
use crate::sweep::{Cylinder, Rims, Tapered};
use corymb_model::arm::ToolAction;
use nalgebra::Vector3;
use std::ops::ControlFlow;

/// A condition of a good closing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Condition {
    /// The enclosed fruit lies within the inner wall.
    Inside,
    /// It lies behind the cutting plane and before the bottom.
    Depth,
    /// Its stem passes through the opening, its spur in front of the cutting plane.
    OwnStem,
    /// The tilt is within tolerance; radians.
    Tilt,
    /// The neighbour at this position of `Problem::neighbours` is not touched.
    Body(usize),
    /// Its stem is not cut.
    Stem(usize),
    /// Its stem is cut (only where it is to be).
    Ring(usize),
    /// The solid at this position of `Problem::solids` is not met.
    Solid(usize),
    /// The tool points where the arm can point it; radians.
    Pointing,
    /// The arm reaches.
    Reach,
}

impl Condition {
    pub(crate) fn is_angle(self) -> bool {
        matches!(self, Condition::Tilt | Condition::Pointing)
    }
}

/// By how much a condition holds.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Finding {
    /// The condition.
    pub condition: Condition,
    /// What is to spare as predicted, beyond the clearance asked for; negative = it fails. Metres or radians.
    pub spare: f64,
    /// ln of the probability that it holds.
    pub ln: f64,
}

/// Below this a probability changes by its share alone, nats: what is left out is under 2e-9.
const SMALL: f64 = -1e-4;

/// What is asked about a pose.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Question<'q> {
    /// How sure positions are.
    pub noise: &'q Noise,
    /// Who of the fruit that may be removed is there; `None` = each is judged as if it stayed and as if it were cut.
    pub there: Option<&'q There>,
    /// Whether probabilities are wanted; else each ln is 0, and solids that keep the clearance are left out.
    pub odds: bool,
    /// Whether the nearest solid stands for all: others need not be told.
    pub nearest_solid: bool,
    /// A condition with less to spare ends the judgement before its probability is worked out, metres.
    pub least_spare_m: f64,
}

/// What a neighbour that may be removed counts as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Part {
    /// It must not be touched or cut.
    Stays,
    /// Nor that, but the clearance need not be kept.
    GoesLater,
    /// It is to be cut.
    Target,
    /// Any of these: all of it is told, as of a fruit that stays.
    Open,
}

impl Facing {
    /// One pose, with the fruit `at` in the tool frame.
    pub(crate) fn view<'v>(
        &'v self,
        problem: &'v Problem<'v>,
        at: &Vector3<f64>,
        question: &'v Question<'v>,
    ) -> View<'v> {
        View {
            facing: self,
            problem,
            at: *at,
            question,
        }
    }
}

/// What is to spare, and ln of the probability that it is enough.
#[derive(Debug, Clone, Copy)]
struct Margin {
    spare: f64,
    ln: f64,
}

/// Everything needed to judge one pose. Each part tells `put` its conditions, but for those that hold as good as
/// surely, until `put` or the least to spare ends it.
pub(crate) struct View<'v> {
    facing: &'v Facing,
    problem: &'v Problem<'v>,
    at: Vector3<f64>,
    question: &'v Question<'v>,
}

impl View<'_> {
    /// Every condition of the closing.
    pub(crate) fn all(&self, put: &mut impl FnMut(Finding) -> ControlFlow<()>) -> ControlFlow<()> {
        self.fruit(put)?;
        self.solids(put)?;
        self.reach(put)
    }

    /// Of the enclosed fruit and all others.
    pub(crate) fn fruit(
        &self,
        put: &mut impl FnMut(Finding) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        self.enclosed(put)?;
        self.removable(put)?;
        self.neighbours(false, put)
    }

    /// What must hold of fruit that may be removed.
    pub(crate) fn removable(
        &self,
        put: &mut impl FnMut(Finding) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        self.neighbours(true, put)
    }

    /// What must hold of all that is always there, but for the enclosed fruit.
    pub(crate) fn fixed(
        &self,
        put: &mut impl FnMut(Finding) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        self.neighbours(false, put)?;
        self.solids(put)?;
        self.reach(put)
    }

    fn ln(&self, ln: impl FnOnce() -> f64) -> f64 {
        if self.question.odds { ln() } else { 0.0 }
    }

    /// Ends it where this is too little to spare, metres.
    fn enough(&self, spare_m: f64) -> ControlFlow<()> {
        if spare_m < self.question.least_spare_m {
            ControlFlow::Break(())
        } else {
            ControlFlow::Continue(())
        }
    }

    /// What must hold of the fruit that is enclosed, and of the tilt.
    pub(crate) fn enclosed(
        &self,
        put: &mut impl FnMut(Finding) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        let (facing, tool, radius) = (self.facing, self.problem.tool, self.problem.body.radius);
        let tool_var = self.question.noise.tool_var;
        let rho = across(&self.at);
        let room = tool.inner_radius_m - radius;
        let front = tool.cut_offset_m - self.at.z - radius;
        let bottom = self.at.z - radius + tool.length_m;
        let (top, spur) = (facing.own.top + self.at, facing.own.spur + self.at);
        let own = Crossing::of(&top, &spur, tool.cut_offset_m);
        let own_spare = (tool.inner_radius_m - own.rho)
            .min(own.top_below)
            .min(own.spur_above);
        self.enough((room - rho).min(front).min(bottom).min(own_spare))?;
        facing.tilt.into_iter().try_for_each(&mut *put)?;
        let z_var = facing.along_var + facing.radius_var + tool_var;
        for (spare, sign) in [(front, 1.0), (bottom, -1.0)] {
            let var = z_var + sign * 2.0 * facing.along_radius_cov;
            put(Finding {
                condition: Condition::Depth,
                spare,
                ln: self.ln(|| ln_normal(spare / var.max(tool_var).sqrt())),
            })?;
        }
        let sd = (facing.across_var + facing.radius_var + tool_var).sqrt();
        put(Finding {
            condition: Condition::Inside,
            spare: room - rho,
            ln: self.ln(|| ln_in_disc(rho, room, sd)),
        })?;
        let stem = &self.problem.body.stem;
        put(Finding {
            condition: Condition::OwnStem,
            spare: own_spare,
            ln: self.ln(|| {
                let rho_sd = own.rho_sd(stem, &facing.rotation, tool_var);
                own.ln_upright(&facing.own) + ln_in_disc(own.rho, tool.inner_radius_m, rho_sd)
            }),
        })
    }

    fn neighbours(
        &self,
        removable: bool,
        put: &mut impl FnMut(Finding) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        let turned = self.problem.neighbours.iter().zip(&self.facing.neighbours);
        for (k, (neighbour, turned)) in turned.enumerate() {
            if neighbour.slot.is_some() == removable
                && let Some(part) = self.part(neighbour.slot)
            {
                self.neighbour(k, neighbour, turned, part, put)?;
            }
        }
        ControlFlow::Continue(())
    }

    /// What a neighbour counts as; `None` where it is gone.
    fn part(&self, slot: Option<usize>) -> Option<Part> {
        let Some(slot) = slot else {
            return Some(Part::Stays);
        };
        let Some(there) = self.question.there else {
            return Some(Part::Open);
        };
        let bit = 1 << slot;
        if there.targets & bit != 0 {
            Some(Part::Target)
        } else if there.keep & bit != 0 {
            Some(Part::Stays)
        } else {
            (there.later & bit != 0).then_some(Part::GoesLater)
        }
    }

    /// Another fruit: whether the sweep keeps clear of it, the blade spares its stem, and a ring cuts it where it is
    /// to. Where it may not be there no harm is done, once for both; and only what is decided can forbid a pose.
    fn neighbour(
        &self,
        k: usize,
        neighbour: &Neighbour<'_>,
        turned: &FacingBody,
        part: Part,
        put: &mut impl FnMut(Finding) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        let existence = neighbour.body.existence;
        let ring = self.problem.tool.action == ToolAction::EncloseKeeper;
        if ring && matches!(part, Part::Target | Part::Open) {
            let hit = self.hit(neighbour, turned);
            if part == Part::Target {
                self.enough(hit.spare)?;
            }
            let ln = hit.ln + existence.max(1e-9).ln();
            put(Finding {
                condition: Condition::Ring(k),
                spare: hit.spare,
                ln,
            })?;
        }
        if part == Part::Target {
            return ControlFlow::Continue(());
        }
        let nearer_m = if part == Part::GoesLater {
            self.problem.tool.clearance_m
        } else {
            0.0
        };
        let body = self.body(neighbour, turned, nearer_m)?;
        let stem = self.stem(neighbour, turned)?;
        let both = body.map_or(0.0, |m| m.ln) + stem.map_or(0.0, |m| m.ln);
        let share = if existence >= 0.999 {
            1.0
        } else if both > SMALL {
            existence
        } else {
            (existence * both.exp_m1()).ln_1p() / both
        };
        let parts = [(Condition::Body(k), body), (Condition::Stem(k), stem)];
        for (condition, margin) in parts.into_iter().filter_map(|(c, m)| Some((c, m?))) {
            put(Finding {
                condition,
                spare: margin.spare,
                ln: share * margin.ln,
            })?;
        }
        ControlFlow::Continue(())
    }

    /// What is to spare from a neighbour as it counts: nothing that is not decided can forbid a pose.
    fn counting(&self, neighbour: &Neighbour<'_>, spare: f64) -> ControlFlow<(), f64> {
        let spare = if neighbour.body.existence < 0.5 {
            f64::INFINITY
        } else {
            spare
        };
        if spare < self.question.least_spare_m {
            ControlFlow::Break(())
        } else {
            ControlFlow::Continue(spare)
        }
    }

    fn body(
        &self,
        neighbour: &Neighbour<'_>,
        turned: &FacingBody,
        nearer_m: f64,
    ) -> ControlFlow<(), Option<Margin>> {
        let (body, swept, far) = (neighbour.body, &self.problem.swept, neighbour.body_far_m);
        let p = turned.centre + self.at;
        let wide = swept.radius_m + far;
        if p.z - swept.high_m > far
            || swept.low_m - p.z > far
            || p.x * p.x + p.y * p.y > wide * wide
        {
            return ControlFlow::Continue(None);
        }
        let (distance, outward) = swept.distance_outward(&p);
        let margin = distance - body.radius;
        let clearance_m = self.problem.tool.clearance_m;
        let spare = self.counting(neighbour, margin - clearance_m + nearer_m)?;
        let ln = self.ln(|| {
            let n = self.facing.rotation * outward;
            let toward = body.cov.fixed_view::<3, 1>(0, 3).dot(&n);
            let across = (n.transpose() * body.cov.fixed_view::<3, 3>(0, 0) * n).x;
            let var = (across + body.cov[(3, 3)] - 2.0 * toward).max(0.0);
            ln_normal(margin / (var + self.question.noise.tool_var).sqrt())
        });
        ControlFlow::Continue(Some(Margin { spare, ln }))
    }

    /// That its stem is not cut.
    fn stem(
        &self,
        neighbour: &Neighbour<'_>,
        turned: &FacingBody,
    ) -> ControlFlow<(), Option<Margin>> {
        let (stem, tool, far) = (
            &neighbour.body.stem,
            self.problem.tool,
            neighbour.stem_far_m,
        );
        let (top, spur) = (turned.top + self.at, turned.spur + self.at);
        if -depth_of(&top, &spur, tool.cut_offset_m) > far {
            return ControlFlow::Continue(None);
        }
        let c = Crossing::of(&top, &spur, tool.cut_offset_m);
        if tool.action == ToolAction::EncloseKeeper {
            let (spare, ln) = self.at_ring(stem, turned, &c);
            let spare = self.counting(neighbour, -spare)?;
            let ln = self.ln(|| ln_not(ln));
            return ControlFlow::Continue(Some(Margin { spare, ln }));
        }
        let outside = c.rho - tool.inner_radius_m;
        if outside > 0.0 && outside * outside > far * far * c.gradient.norm_squared() {
            return ControlFlow::Continue(None);
        }
        let spare = self.counting(neighbour, outside.max(-c.depth()))?;
        let ln = self.ln(|| {
            let crosses = c.ln_crosses(turned);
            if crosses < RARE {
                return 0.0;
            }
            let rho_sd = c.rho_sd(stem, &self.facing.rotation, self.question.noise.tool_var);
            ln_not(crosses + ln_in_disc(c.rho, tool.inner_radius_m, rho_sd))
        });
        ControlFlow::Continue(Some(Margin { spare, ln }))
    }

    /// That the ring cuts the stem.
    fn hit(&self, neighbour: &Neighbour<'_>, turned: &FacingBody) -> Margin {
        let (top, spur) = (turned.top + self.at, turned.spur + self.at);
        let c = Crossing::of(&top, &spur, self.problem.tool.cut_offset_m);
        let (spare, ln) = self.at_ring(&neighbour.body.stem, turned, &c);
        Margin { spare, ln }
    }

    /// By how much the ring hits a stem, and ln of the probability.
    fn at_ring(&self, stem: &StemLine, turned: &FacingBody, c: &Crossing) -> (f64, f64) {
        let tool = self.problem.tool;
        let within = c.rho - tool.outer_radius_m;
        let beyond = tool.cut_reach_m - within;
        let ln = self.ln(|| {
            let rho_sd = c.rho_sd(stem, &self.facing.rotation, self.question.noise.tool_var);
            c.ln_crosses(turned) + ln_normal(within / rho_sd) + ln_normal(beyond / rho_sd)
        });
        (within.min(beyond).min(c.depth()), ln)
    }

    /// What must hold of limbs and obstacles.
    pub(crate) fn solids(
        &self,
        put: &mut impl FnMut(Finding) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        if self.facing.solids.is_empty() {
            return ControlFlow::Continue(());
        }
        let (tool, question) = (self.problem.tool, self.question);
        let sd = question.noise.solid_var.sqrt();
        let sure = if question.odds { SURE } else { 0.0 };
        let mut far = tool.clearance_m + sure * sd;
        for (k, solid) in self.facing.solids.iter().enumerate() {
            let distance = self.distance(solid, &self.at, far);
            if !distance.is_finite() {
                continue;
            }
            if question.nearest_solid {
                far = far.min(distance);
            }
            let spare = distance - tool.clearance_m;
            self.enough(spare)?;
            put(Finding {
                condition: Condition::Solid(k),
                spare,
                ln: self.ln(|| ln_normal(distance / sd)),
            })?;
        }
        ControlFlow::Continue(())
    }

    /// How far a limb or an obstacle stays from the sweep, and from the ring.
    fn distance(&self, solid: &FacingSolid, at: &Vector3<f64>, far: f64) -> f64 {
        let tool = self.problem.tool;
        let distance = distance_from(&self.problem.swept, solid, at, far);
        if tool.action == ToolAction::EncloseTarget {
            return distance;
        }
        let ring = Cylinder {
            radius_m: tool.outer_radius_m + tool.cut_reach_m,
            low_m: tool.cut_offset_m,
            high_m: tool.cut_offset_m,
            rims: Rims::Square,
        };
        distance.min(distance_from(&ring, solid, at, far))
    }

    fn reach(&self, put: &mut impl FnMut(Finding) -> ControlFlow<()>) -> ControlFlow<()> {
        let Some(reach) = self.problem.reach else {
            return ControlFlow::Continue(());
        };
        let origin = self.problem.origin(&self.facing.rotation, &self.at);
        let forward = self.facing.rotation.column(2).into_owned();
        let standoff = origin - forward * self.problem.tool.standoff_m;
        if let Some((spare_m, spare_rad)) = reach.spare(&[origin, standoff], &forward) {
            put(Finding {
                condition: Condition::Pointing,
                spare: spare_rad,
                ln: 0.0,
            })?;
            put(Finding {
                condition: Condition::Reach,
                spare: spare_m,
                ln: 0.0,
            })?;
        }
        ControlFlow::Continue(())
    }
}

/// Distance of a solid from a cylinder, or infinity where it is surely more than `far`.
fn distance_from(cylinder: &Cylinder, solid: &FacingSolid, at: &Vector3<f64>, far: f64) -> f64 {
    match solid {
        FacingSolid::Capsule(turned) => {
            let capsule = Tapered {
                a: turned.a + at,
                b: turned.b + at,
                ..*turned
            };
            let (a, b, thickest) = (&capsule.a, &capsule.b, turned.ra_m.max(turned.rb_m));
            let ahead = a.z.min(b.z) - cylinder.high_m;
            let behind = cylinder.low_m - a.z.max(b.z);
            if ahead.max(behind).max(beside(a, b) - cylinder.radius_m) - thickest > far {
                return f64::INFINITY;
            }
            cylinder.to_capsule_if_within(&capsule, far)
        }
        FacingSolid::Box {
            tool_from_box,
            half_m,
        } => {
            let mut moved = *tool_from_box;
            moved.translation.vector += at;
            if cylinder.distance(&moved.translation.vector) - half_m.norm() > far {
                return f64::INFINITY;
            }
            cylinder.to_box(&moved, half_m)
        }
    }
}

/// Distance of a segment from the z axis.
fn beside(a: &Vector3<f64>, b: &Vector3<f64>) -> f64 {
    let (ax, ay, dx, dy) = (a.x, a.y, b.x - a.x, b.y - a.y);
    let length = dx * dx + dy * dy;
    let s = if length > 0.0 {
        (-(ax * dx + ay * dy) / length).clamp(0.0, 1.0)
    } else {
        0.0
    };
    across(&Vector3::new(ax + s * dx, ay + s * dy, 0.0))
}

/// Distance from the z axis.
fn across(p: &Vector3<f64>) -> f64 {
    (p.x * p.x + p.y * p.y).sqrt()
}
