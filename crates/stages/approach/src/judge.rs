//! The conditions of a good closing at one pose: by how much each holds, and how likely.

use crate::chance::{SURE, ln_in_disc, ln_normal, ln_not};
use crate::problem::{Neighbour, Noise, Problem};
use crate::surroundings::{SolidShape, StemLine};
use crate::sweep::{Cylinder, crossing};
use corymb_model::arm::ToolAction;
use nalgebra::{Isometry3, Matrix3, Rotation3, Translation3, UnitQuaternion, Vector3};

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

/// A problem turned into the tool frame at one tilt, about the centre of the enclosed fruit.
#[derive(Debug, Default)]
pub(crate) struct Facing {
    rotation: Matrix3<f64>,
    own: FacingBody,
    /// Variance of the enclosed fruit across and along the tool, and of its radius; its covariance of z and radius.
    across_var: f64,
    along_var: f64,
    radius_var: f64,
    along_radius_cov: f64,
    tilt: Option<Finding>,
    neighbours: Vec<FacingBody>,
    solids: Vec<FacingSolid>,
}

#[derive(Debug, Default, Clone, Copy)]
struct FacingBody {
    centre: Vector3<f64>,
    top: Vector3<f64>,
    spur: Vector3<f64>,
}

#[derive(Debug, Clone, Copy)]
enum FacingSolid {
    Capsule {
        a: Vector3<f64>,
        b: Vector3<f64>,
        ra_m: f64,
        rb_m: f64,
    },
    Box {
        tool_from_box: Isometry3<f64>,
        half_m: Vector3<f64>,
    },
}

/// A stem at the cutting plane, tool frame.
struct Crossing {
    /// Where it crosses, as a share of the way from its top to the spur (the nearer end where it does not).
    t: f64,
    /// Distance from the tool's axis there.
    rho: f64,
    /// How that grows as the crossing moves: the direction away from the axis, and less the stem's slope along z.
    gradient: Vector3<f64>,
    /// How far its top lies behind the plane, and its spur in front.
    top_below: f64,
    spur_above: f64,
}

/// Standard deviations of a [`Crossing`].
struct CrossingErrors {
    rho: f64,
    top: f64,
    spur: f64,
}

impl Crossing {
    /// By how much the ends lie on different sides of the plane, whichever is in front.
    fn depth(&self) -> f64 {
        self.top_below
            .min(self.spur_above)
            .max(-self.top_below.max(self.spur_above))
    }

    /// ln of the probability that the fruit is behind the plane and the spur in front.
    fn ln_upright(&self, sd: &CrossingErrors) -> f64 {
        ln_normal(self.top_below / sd.top) + ln_normal(self.spur_above / sd.spur)
    }

    /// ln of the probability that it crosses, in the likelier sense.
    fn ln_crosses(&self, sd: &CrossingErrors) -> f64 {
        if self.top_below + self.spur_above >= 0.0 {
            self.ln_upright(sd)
        } else {
            ln_normal(-self.top_below / sd.top) + ln_normal(-self.spur_above / sd.spur)
        }
    }
}

impl Facing {
    /// Turns the problem; the buffers are used again.
    pub(crate) fn turn(&mut self, problem: &Problem<'_>, tilt: &[f64; 2]) {
        let rotation = problem.rotation(tilt);
        let back = rotation.transpose();
        let middle = problem.body.centre;
        let place = |centre: &Vector3<f64>, stem: &StemLine| FacingBody {
            centre: back * (centre - middle),
            top: back * (stem.top - middle),
            spur: back * (stem.spur - middle),
        };
        self.own = place(&middle, &problem.body.stem);
        self.neighbours.clear();
        self.neighbours.extend(
            problem
                .neighbours
                .iter()
                .map(|n| place(&n.body.centre, &n.body.stem)),
        );
        self.solids.clear();
        self.solids
            .extend(problem.solids.iter().map(|s| match &s.shape {
                SolidShape::Capsule { a, b, ra_m, rb_m } => FacingSolid::Capsule {
                    a: back * (a - middle),
                    b: back * (b - middle),
                    ra_m: *ra_m,
                    rb_m: *rb_m,
                },
                SolidShape::Box {
                    orchard_from_box,
                    half_m,
                } => {
                    let turn = UnitQuaternion::from_rotation_matrix(
                        &Rotation3::from_matrix_unchecked(back),
                    );
                    let tool_from_box = Isometry3::from_parts(
                        Translation3::from(back * (orchard_from_box.translation.vector - middle)),
                        turn * orchard_from_box.rotation,
                    );
                    FacingSolid::Box {
                        tool_from_box,
                        half_m: *half_m,
                    }
                }
            }));
        let cov = &problem.body.cov;
        let forward = rotation.column(2);
        let centre_cov = cov.fixed_view::<3, 3>(0, 0);
        self.along_var = (forward.transpose() * centre_cov * forward).x;
        self.across_var = 0.5 * (centre_cov.trace() - self.along_var);
        self.radius_var = cov[(3, 3)];
        self.along_radius_cov = cov.fixed_view::<3, 1>(0, 3).dot(&forward);
        self.rotation = rotation;
        let (tilt_rad, most) = (tilt[0].hypot(tilt[1]), problem.tool.tilt_tolerance_rad);
        let ln = ln_in_disc(tilt_rad, most, problem.axis_sd);
        self.tilt = Some(Finding {
            condition: Condition::Tilt,
            spare: most - tilt_rad,
            ln,
        });
    }

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
            view.body(k, neighbour, turned, put);
            view.stem(k, neighbour, turned, put);
        }
        for (k, solid) in self.solids.iter().enumerate() {
            view.solid(k, solid, &(at + shift), put);
        }
        view.reach(put);
    }
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
        let own = self.crossing(&facing.own);
        let own_sd = self.errors(&self.problem.body.stem, &own);
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

    /// Whether the sweep keeps clear of another fruit.
    fn body(
        &self,
        k: usize,
        neighbour: &Neighbour<'_>,
        turned: &FacingBody,
        put: &mut impl FnMut(Finding),
    ) {
        let (body, clearance) = (neighbour.body, self.problem.tool.clearance_m);
        let p = turned.centre + self.at;
        let swept = &self.problem.swept;
        let far = clearance
            + body.radius
            + self.sure * (body.sd_bound * body.sd_bound + self.noise.tool_var).sqrt();
        let wide = swept.radius_m + far;
        if p.z - swept.high_m > far
            || p.x * p.x + p.y * p.y > wide * wide
            || swept.low_m - p.z > far
        {
            return;
        }
        let (distance, outward) = swept.distance_outward(&p);
        let margin = distance - body.radius;
        let n = self.facing.rotation * outward;
        let toward = body.cov.fixed_view::<3, 1>(0, 3).dot(&n);
        let across = (n.transpose() * body.cov.fixed_view::<3, 3>(0, 0) * n).x;
        let var = (across + body.cov[(3, 3)] - 2.0 * toward).max(0.0) + self.noise.tool_var;
        let ln = ln_normal(margin / var.sqrt());
        put(weighed(
            Condition::Body(k),
            margin - clearance,
            ln,
            body.existence,
        ));
    }

    /// Whether the blade spares the stem of another fruit, and with a ring whether it cuts it.
    fn stem(
        &self,
        k: usize,
        neighbour: &Neighbour<'_>,
        turned: &FacingBody,
        put: &mut impl FnMut(Finding),
    ) {
        let (body, tool) = (neighbour.body, self.problem.tool);
        let ring = tool.action == ToolAction::EncloseKeeper;
        let asked = ring && neighbour.slot.is_some();
        let low = turned.top.z.min(turned.spur.z) + self.at.z;
        let high = turned.top.z.max(turned.spur.z) + self.at.z;
        let tool_sd = self.noise.tool_var.sqrt();
        let far = self.sure * (body.stem.sd_bound + tool_sd);
        if !asked && (low > tool.cut_offset_m + far || high < tool.cut_offset_m - far) {
            return;
        }
        let c = self.crossing(turned);
        if !ring
            && c.rho - tool.inner_radius_m
                > self.sure * c.gradient.norm() * body.stem.sd_bound.hypot(tool_sd)
        {
            return;
        }
        let (sd, beside) = (self.errors(&body.stem, &c), -c.depth());
        let ln_crosses = c.ln_crosses(&sd);
        if !ring {
            let ln = ln_not(ln_crosses + ln_in_disc(c.rho, tool.inner_radius_m, sd.rho));
            put(weighed(
                Condition::Stem(k),
                beside.max(c.rho - tool.inner_radius_m),
                ln,
                body.existence,
            ));
            return;
        }
        let (within, beyond) = (
            c.rho - tool.outer_radius_m,
            tool.outer_radius_m + tool.cut_reach_m - c.rho,
        );
        let ln_cut = ln_crosses + ln_normal(within / sd.rho) + ln_normal(beyond / sd.rho);
        put(weighed(
            Condition::Stem(k),
            beside.max(-within).max(-beyond),
            ln_not(ln_cut),
            body.existence,
        ));
        if asked {
            let spare = c.depth().min(within).min(beyond);
            put(Finding {
                condition: Condition::Ring(k),
                spare,
                ln: ln_cut + body.existence.max(1e-9).ln(),
            });
        }
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

    /// Where a stem crosses the cutting plane. The crossing moves with the ends of the stem in proportion, and with
    /// their heights by the stem's slope.
    fn crossing(&self, turned: &FacingBody) -> Crossing {
        const STEEPEST: f64 = 20.0;
        let z = self.problem.tool.cut_offset_m;
        let (top, spur) = (turned.top + self.at, turned.spur + self.at);
        let t = crossing(&top, &spur, z).unwrap_or(0.5).clamp(0.0, 1.0);
        let p = top + (spur - top) * t;
        let rho = across(&p);
        let n = if rho > 1e-9 {
            Vector3::new(p.x / rho, p.y / rho, 0.0)
        } else {
            Vector3::x()
        };
        let rise = spur.z - top.z;
        let slope = n.dot(&(spur - top)) / if rise.abs() > 1e-6 { rise } else { 1e-6 };
        let gradient = n - Vector3::z() * slope.clamp(-STEEPEST, STEEPEST);
        Crossing {
            t,
            rho,
            gradient,
            top_below: z - top.z,
            spur_above: spur.z - z,
        }
    }

    fn errors(&self, stem: &StemLine, crossing: &Crossing) -> CrossingErrors {
        let (t, near, tool_var) = (crossing.t, 1.0 - crossing.t, self.noise.tool_var);
        let g = self.facing.rotation * crossing.gradient;
        let top_var = (g.transpose() * stem.top_cov * g).x;
        let bow = 4.0 * t * near * stem.bow_m;
        let var = near * near * top_var
            + (t * t * stem.spur_var + tool_var) * g.norm_squared()
            + bow * bow;
        let forward = self.facing.rotation.column(2);
        CrossingErrors {
            rho: var.sqrt(),
            top: ((forward.transpose() * stem.top_cov * forward).x + tool_var).sqrt(),
            spur: (stem.spur_var + tool_var).sqrt(),
        }
    }
}

/// A finding about a fruit that may not be there: then no harm is done, and only what is decided can forbid a pose.
fn weighed(condition: Condition, spare: f64, ln: f64, existence: f64) -> Finding {
    if existence >= 0.999 {
        return Finding {
            condition,
            spare,
            ln,
        };
    }
    let ln = (existence * ln.exp_m1()).ln_1p();
    Finding {
        condition,
        spare: if existence < 0.5 {
            f64::INFINITY
        } else {
            spare
        },
        ln,
    }
}

/// Distance of a solid from a cylinder, or infinity where it is surely more than `far`.
fn distance_from(cylinder: &Cylinder, solid: &FacingSolid, at: &Vector3<f64>, far: f64) -> f64 {
    match solid {
        FacingSolid::Capsule { a, b, ra_m, rb_m } => {
            let (a, b, thickest) = (a + at, b + at, ra_m.max(*rb_m));
            let ahead = a.z.min(b.z) - cylinder.high_m;
            let behind = cylinder.low_m - a.z.max(b.z);
            if ahead.max(behind).max(beside(&a, &b) - cylinder.radius_m) - thickest > far {
                return f64::INFINITY;
            }
            cylinder.to_capsule_if_within(&a, &b, *ra_m, *rb_m, far)
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
