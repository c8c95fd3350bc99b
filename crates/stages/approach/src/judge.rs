//! The conditions of a good closing at one pose: by how much each holds, and how likely.

use crate::chance::{SURE, ln_in_disc, ln_normal, ln_not};
use crate::facing::{Facing, FacingBody, FacingSolid};
use crate::problem::{Neighbour, Noise, Problem};
use crate::stems::Crossing;
use crate::surroundings::{Body, StemLine};
use crate::sweep::{Cylinder, Rims, Tapered};
use corymb_model::arm::ToolAction;
use nalgebra::Vector3;

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

impl Facing {
    /// Tells `put` every condition of the closing with the fruit `at` in the tool frame, but for those that hold as good as surely (unless `all`).
    /// `shift` (tool frame) is how far limbs and obstacles lie from where they would be if the fruit lay as mapped.
    pub(crate) fn judge(
        &self,
        problem: &Problem<'_>,
        at: &Vector3<f64>,
        noise: &Noise,
        shift: &Vector3<f64>,
        all: bool,
        put: &mut impl FnMut(Finding),
    ) {
        let view = View {
            facing: self,
            problem,
            at: *at,
            noise,
            sure: if all { f64::INFINITY } else { SURE },
        };
        view.enclosed(put);
        self.tilt.into_iter().for_each(&mut *put);
        for (k, (neighbour, turned)) in problem.neighbours.iter().zip(&self.neighbours).enumerate()
        {
            view.neighbour(k, neighbour, turned, put);
        }
        for (k, solid) in self.solids.iter().enumerate() {
            view.solid(k, solid, &(at + shift), put);
        }
        view.reach(put);
    }
}

/// What is to spare, and ln of the probability that it is enough.
#[derive(Debug, Clone, Copy)]
struct Margin {
    spare: f64,
    ln: f64,
}

/// Everything needed to judge one pose.
struct View<'a> {
    facing: &'a Facing,
    problem: &'a Problem<'a>,
    at: Vector3<f64>,
    noise: &'a Noise,
    sure: f64,
}

impl View<'_> {
    /// What must hold of the fruit that is enclosed.
    fn enclosed(&self, put: &mut impl FnMut(Finding)) {
        let (facing, tool, radius) = (self.facing, self.problem.tool, self.problem.body.radius);
        let tool_var = self.noise.tool_var;
        let rho = across(&self.at);
        let room = tool.inner_radius_m - radius;
        let sd = (facing.across_var + facing.radius_var + tool_var).sqrt();
        put(Finding {
            condition: Condition::Inside,
            spare: room - rho,
            ln: ln_in_disc(rho, room, sd),
        });
        let z_var = facing.along_var + facing.radius_var + tool_var;
        let front = tool.cut_offset_m - self.at.z - radius;
        let front_sd = (z_var + 2.0 * facing.along_radius_cov).max(tool_var).sqrt();
        put(Finding {
            condition: Condition::Depth,
            spare: front,
            ln: ln_normal(front / front_sd),
        });
        let bottom = self.at.z - radius + tool.length_m;
        let bottom_sd = (z_var - 2.0 * facing.along_radius_cov).max(tool_var).sqrt();
        put(Finding {
            condition: Condition::Depth,
            spare: bottom,
            ln: ln_normal(bottom / bottom_sd),
        });
        let (top, spur) = (facing.own.top + self.at, facing.own.spur + self.at);
        let own = Crossing::of(&top, &spur, tool.cut_offset_m);
        let own_sd = own.errors(&self.problem.body.stem, &facing.rotation, tool_var);
        let spare = (tool.inner_radius_m - own.rho)
            .min(own.top_below)
            .min(own.spur_above);
        let ln = own.ln_upright(&own_sd) + ln_in_disc(own.rho, tool.inner_radius_m, own_sd.rho);
        put(Finding {
            condition: Condition::OwnStem,
            spare,
            ln,
        });
    }

    /// Another fruit: whether the sweep keeps clear of it, the blade spares its stem, and a ring cuts it where it is
    /// to. Where it may not be there no harm is done, once for both; and only what is decided can forbid a pose.
    fn neighbour(
        &self,
        k: usize,
        neighbour: &Neighbour<'_>,
        turned: &FacingBody,
        put: &mut impl FnMut(Finding),
    ) {
        let existence = neighbour.body.existence;
        let body = self.body(neighbour.body, turned);
        let (stem, ring) = self.stem(neighbour, turned);
        let both = body.map_or(0.0, |m| m.ln) + stem.map_or(0.0, |m| m.ln);
        let share = if existence >= 0.999 || both > -1e-12 {
            1.0
        } else {
            (existence * both.exp_m1()).ln_1p() / both
        };
        let parts = [(Condition::Body(k), body), (Condition::Stem(k), stem)];
        for (condition, margin) in parts.into_iter().filter_map(|(c, m)| Some((c, m?))) {
            let spare = if existence < 0.5 {
                f64::INFINITY
            } else {
                margin.spare
            };
            put(Finding {
                condition,
                spare,
                ln: share * margin.ln,
            });
        }
        if let Some(margin) = ring {
            let ln = margin.ln + existence.max(1e-9).ln();
            put(Finding {
                condition: Condition::Ring(k),
                spare: margin.spare,
                ln,
            });
        }
    }

    fn body(&self, body: &Body, turned: &FacingBody) -> Option<Margin> {
        let (clearance, swept) = (self.problem.tool.clearance_m, &self.problem.swept);
        let p = turned.centre + self.at;
        let sd_bound = (body.sd_bound * body.sd_bound + self.noise.tool_var).sqrt();
        let far = clearance + body.radius + self.sure * sd_bound;
        let wide = swept.radius_m + far;
        if p.z - swept.high_m > far
            || swept.low_m - p.z > far
            || p.x * p.x + p.y * p.y > wide * wide
        {
            return None;
        }
        let (distance, outward) = swept.distance_outward(&p);
        let margin = distance - body.radius;
        let n = self.facing.rotation * outward;
        let toward = body.cov.fixed_view::<3, 1>(0, 3).dot(&n);
        let across = (n.transpose() * body.cov.fixed_view::<3, 3>(0, 0) * n).x;
        let var = (across + body.cov[(3, 3)] - 2.0 * toward).max(0.0) + self.noise.tool_var;
        Some(Margin {
            spare: margin - clearance,
            ln: ln_normal(margin / var.sqrt()),
        })
    }

    /// That its stem is not cut; and with a ring that it is.
    fn stem(
        &self,
        neighbour: &Neighbour<'_>,
        turned: &FacingBody,
    ) -> (Option<Margin>, Option<Margin>) {
        let (stem, tool) = (&neighbour.body.stem, self.problem.tool);
        let ring = tool.action == ToolAction::EncloseKeeper;
        let asked = ring && neighbour.slot.is_some();
        let sd_bound = stem.sd_bound.hypot(self.noise.tool_var.sqrt());
        let far = self.sure * sd_bound;
        let c = Crossing::of(
            &(turned.top + self.at),
            &(turned.spur + self.at),
            tool.cut_offset_m,
        );
        if !asked && -c.depth() > far {
            return (None, None);
        }
        if ring {
            let (missed, hit) = self.at_ring(stem, &c);
            return (Some(missed), asked.then_some(hit));
        }
        let outside = c.rho - tool.inner_radius_m;
        if outside > far * c.gradient.norm() {
            return (None, None);
        }
        let sd = c.errors(stem, &self.facing.rotation, self.noise.tool_var);
        let ln = ln_not(c.ln_crosses(&sd) + ln_in_disc(c.rho, tool.inner_radius_m, sd.rho));
        (
            Some(Margin {
                spare: outside.max(-c.depth()),
                ln,
            }),
            None,
        )
    }

    /// That the ring misses a stem, and that it hits it.
    fn at_ring(&self, stem: &StemLine, c: &Crossing) -> (Margin, Margin) {
        let tool = self.problem.tool;
        let sd = c.errors(stem, &self.facing.rotation, self.noise.tool_var);
        let within = c.rho - tool.outer_radius_m;
        let beyond = tool.cut_reach_m - within;
        let ln = c.ln_crosses(&sd) + ln_normal(within / sd.rho) + ln_normal(beyond / sd.rho);
        let spare = within.min(beyond).min(c.depth());
        (
            Margin {
                spare: -spare,
                ln: ln_not(ln),
            },
            Margin { spare, ln },
        )
    }

    /// Whether a limb or an obstacle stays clear of the sweep, and of the ring.
    fn solid(
        &self,
        k: usize,
        solid: &FacingSolid,
        at: &Vector3<f64>,
        put: &mut impl FnMut(Finding),
    ) {
        let tool = self.problem.tool;
        let sd = self.noise.solid_var.sqrt();
        let far = tool.clearance_m + self.sure * sd;
        let mut distance = distance_from(&self.problem.swept, solid, at, far);
        if tool.action == ToolAction::EncloseKeeper {
            let radius_m = tool.outer_radius_m + tool.cut_reach_m;
            let ring = Cylinder {
                radius_m,
                low_m: tool.cut_offset_m,
                high_m: tool.cut_offset_m,
                rims: Rims::Square,
            };
            distance = distance.min(distance_from(&ring, solid, at, far));
        }
        if distance.is_finite() {
            let finding = Finding {
                condition: Condition::Solid(k),
                spare: distance - tool.clearance_m,
                ln: ln_normal(distance / sd),
            };
            put(finding);
        }
    }

    fn reach(&self, put: &mut impl FnMut(Finding)) {
        let Some(reach) = self.problem.reach else {
            return;
        };
        let origin = self.problem.origin(&self.facing.rotation, &self.at);
        let forward = self.facing.rotation.column(2).into_owned();
        let standoff = origin - forward * self.problem.tool.standoff_m;
        if let Some((spare_m, spare_rad)) = reach.spare(&[origin, standoff], &forward) {
            put(Finding {
                condition: Condition::Pointing,
                spare: spare_rad,
                ln: 0.0,
            });
            put(Finding {
                condition: Condition::Reach,
                spare: spare_m,
                ln: 0.0,
            });
        }
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
