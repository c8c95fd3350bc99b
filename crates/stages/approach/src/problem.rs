//! One tool closing about one fruit: what can matter to it, and where the tool may stand.

use crate::chance::SURE;
use crate::reach::Reach;
use crate::solids::{Solid, SolidShape};
use crate::surroundings::{Body, Surroundings};
use crate::sweep::{Cylinder, Rims, Tapered};
use corymb_model::arm::ToolSpec;
use nalgebra::{Matrix3, Rotation3, Vector3};

/// Where the tool stands when it closes, told from the fruit that it encloses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Aim {
    /// Rotation vector, within the plane across the fruit's axis, from "tool's -z along the axis" to the tool: its
    /// length is the tilt. Components along the first two columns of [`Problem::basis`], radians.
    pub tilt: [f64; 2],
    /// Centre of the fruit in the tool frame, metres.
    pub at: Vector3<f64>,
}

impl Aim {
    pub(crate) fn tilt_rad(&self) -> f64 {
        self.tilt[0].hypot(self.tilt[1])
    }
}

/// How sure positions are beside what the map says of each fruit.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Noise {
    /// Variance per axis of the tool's position.
    pub tool_var: f64,
    /// Variance per axis of limbs and obstacles as seen from the tool.
    pub solid_var: f64,
}

/// Another fruit that can matter.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Neighbour<'a> {
    /// Position among the fruit that may be removed; `None` = it is always there.
    pub slot: Option<usize>,
    /// The fruit.
    pub body: &'a Body,
    /// Further than this from its centre, and from its stem, it holds as good as surely that the tool spares it, metres.
    pub body_far_m: f64,
    /// See above.
    pub stem_far_m: f64,
}

/// One tool closing about one fruit.
#[derive(Debug)]
pub(crate) struct Problem<'a> {
    /// The tool.
    pub tool: &'a ToolSpec,
    /// The fruit that is enclosed.
    pub body: &'a Body,
    /// Its axis.
    pub axis: Vector3<f64>,
    /// Standard deviation of that.
    pub axis_sd: f64,
    /// Columns: two across the axis, and the tool's +z at no tilt.
    pub basis: Matrix3<f64>,
    /// Fruit that the tool can come near to.
    pub neighbours: Vec<Neighbour<'a>>,
    /// Limbs and obstacles that it can come near to.
    pub solids: Vec<Solid>,
    /// Reach, where a pose might be out of it.
    pub reach: Option<&'a Reach>,
    /// Place found again: limbs are then where they are but for the error shared by the fruit.
    pub located: Noise,
    /// Place not found again: the shared error comes on top, as a shift of all fruit.
    pub unlocated: Noise,
    /// Standard deviation per axis of that shift.
    pub shared_m: f64,
    /// What the enclosure passes over from standoff to enclose.
    pub swept: Cylinder,
}

/// What is the same for all problems of a cluster.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Setting<'a> {
    pub surroundings: &'a Surroundings,
    /// For each of its bodies the position among the fruit that may be removed.
    pub slots: &'a [Option<usize>],
    pub reach: &'a Reach,
    pub repeatability_m: f64,
    pub solid_deviation_m: f64,
}

impl<'a> Problem<'a> {
    /// `None` where the axis of the fruit is not known.
    pub(crate) fn new(
        setting: &Setting<'a>,
        tool: &'a ToolSpec,
        local: usize,
        shared_m: f64,
    ) -> Option<Self> {
        let body = setting.surroundings.bodies.get(local)?;
        let (axis, axis_sd) = body.axis?;
        let swept = enclosure(tool).swept_from_behind(tool.standoff_m);
        let tool_var = setting.repeatability_m.powi(2);
        let solid_var = tool_var + setting.solid_deviation_m.powi(2);
        let mut problem = Self {
            tool,
            body,
            axis,
            axis_sd,
            basis: basis_behind(&axis),
            neighbours: Vec::new(),
            solids: Vec::new(),
            reach: Some(setting.reach),
            located: Noise {
                tool_var,
                solid_var: solid_var + shared_m * shared_m,
            },
            unlocated: Noise {
                tool_var,
                solid_var,
            },
            shared_m,
            swept,
        };
        problem.keep_near(setting, local);
        if setting.reach.is_free(&body.centre, problem.length_m()) {
            problem.reach = None;
        }
        Some(problem)
    }

    /// From the fruit's centre to the far end of anything that the tool passes over.
    fn length_m(&self) -> f64 {
        (self.tool.length_m + self.tool.standoff_m).hypot(self.tool.outer_radius_m)
            + self.tool.inner_radius_m
    }

    fn keep_near(&mut self, setting: &Setting<'a>, local: usize) {
        let surroundings = setting.surroundings;
        for (other, body) in surroundings.bodies.iter().enumerate() {
            if other == local || self.is_same_thing(body) {
                continue;
            }
            let slack = SURE * body.sd_bound.hypot(self.located.tool_var.sqrt());
            let stem_near = [body.stem.top, body.stem.spur]
                .iter()
                .any(|p| self.can_touch(p, slack));
            if stem_near || self.can_touch(&body.centre, body.radius + slack) {
                let slot = setting.slots.get(other).copied().flatten();
                let stem_sd = body.stem.sd_bound.hypot(self.located.tool_var.sqrt());
                self.neighbours.push(Neighbour {
                    slot,
                    body,
                    body_far_m: self.tool.clearance_m + body.radius + slack,
                    stem_far_m: SURE * stem_sd,
                });
            }
        }
        let slack = SURE * self.located.solid_var.sqrt();
        self.solids = surroundings
            .solids
            .iter()
            .filter(|s| self.solid_can_touch(s, slack))
            .copied()
            .collect();
    }

    /// A doubtful landmark in the place of the fruit itself is the same thing seen twice, not a neighbour.
    fn is_same_thing(&self, other: &Body) -> bool {
        let apart = (other.centre - self.body.centre).norm();
        other.existence < 0.5 && apart < 0.5 * (other.radius + self.body.radius)
    }

    fn solid_can_touch(&self, solid: &Solid, slack_m: f64) -> bool {
        match &solid.shape {
            SolidShape::Box {
                orchard_from_box,
                half_m,
            } => self.can_touch(
                &orchard_from_box.translation.vector,
                half_m.norm() + slack_m,
            ),
            SolidShape::Capsule(Tapered { a, b, ra_m, rb_m }) => {
                const PARTS: u32 = 8;
                let reach = (b - a).norm() / f64::from(2 * PARTS) + ra_m.max(*rb_m) + slack_m;
                let part = |k: u32| a + (b - a) * ((f64::from(k) + 0.5) / f64::from(PARTS));
                (0..PARTS).any(|k| self.can_touch(&part(k), reach))
            }
        }
    }

    /// Whether a ball may come nearer than the clearance to the tool at some tilt within tolerance and some position
    /// of the fruit inside the cup.
    fn can_touch(&self, centre: &Vector3<f64>, radius_m: f64) -> bool {
        let tool = self.tool;
        let away = centre - self.body.centre;
        let distance = away.norm();
        let near = tool
            .outer_radius_m
            .hypot(tool.length_m.min(2.0 * tool.inner_radius_m))
            + tool.inner_radius_m
            + tool.cut_reach_m
            + tool.clearance_m
            + radius_m;
        if distance <= near {
            return true;
        }
        let cone = tool.tilt_tolerance_rad + (near / distance).asin();
        let beside = (away.dot(&self.axis) / distance).clamp(-1.0, 1.0).acos();
        beside <= cone && distance <= self.length_m() + near
    }

    /// The tool's rotation at a tilt, orchard from tool.
    pub(crate) fn rotation(&self, tilt: &[f64; 2]) -> Matrix3<f64> {
        let turn = self.basis.column(0) * tilt[0] + self.basis.column(1) * tilt[1];
        Rotation3::new(turn).matrix() * self.basis
    }

    /// Origin of the tool, orchard frame.
    pub(crate) fn origin(&self, rotation: &Matrix3<f64>, at: &Vector3<f64>) -> Vector3<f64> {
        self.body.centre - rotation * at
    }
}

/// The enclosure of a tool.
pub(crate) fn enclosure(tool: &ToolSpec) -> Cylinder {
    Cylinder {
        radius_m: tool.outer_radius_m,
        low_m: -tool.length_m,
        high_m: 0.0,
        rims: Rims::Round,
    }
}

/// A right-handed basis whose third column is against `axis`.
fn basis_behind(axis: &Vector3<f64>) -> Matrix3<f64> {
    let forward = -axis;
    let aside = if axis.z.abs() < 0.9 {
        Vector3::z()
    } else {
        Vector3::x()
    };
    let first = aside
        .cross(&forward)
        .try_normalize(1e-12)
        .unwrap_or_else(Vector3::x);
    Matrix3::from_columns(&[first, forward.cross(&first), forward])
}
