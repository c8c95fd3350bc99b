//! An independent check of the conditions of a good order: dense sampling of poses on the way, distances by clamping.

use corymb_model::arm::{ToolAction, ToolSpec};
use corymb_model::frames::{Orchard, Pose, Tool};
use corymb_model::map::CropMap;
use corymb_model::orchard::{ObstacleShape, OrchardModel};
use corymb_model::ways::{PlannedRemoval, Way};
use nalgebra::{Isometry3, Vector3};

/// What stands in the world: spheres, stems as straight pieces, balls that stand for limbs and obstacles.
#[derive(Clone)]
pub(crate) struct World {
    pub(crate) centres: Vec<Vector3<f64>>,
    pub(crate) radii: Vec<f64>,
    pub(crate) axes: Vec<Vector3<f64>>,
    pub(crate) stems: Vec<[Vector3<f64>; 2]>,
    pub(crate) balls: Vec<(Vector3<f64>, f64)>,
    pub(crate) alive: Vec<bool>,
}

impl World {
    pub(crate) fn of(map: &CropMap, orchard: Option<&OrchardModel>) -> Self {
        let mut world = Self {
            centres: map.fruitlets.iter().map(|f| f.centre.xyz).collect(),
            radii: map.fruitlets.iter().map(|f| 0.5 * f.diameter_m).collect(),
            axes: Vec::new(),
            stems: Vec::new(),
            balls: Vec::new(),
            alive: vec![true; map.fruitlets.len()],
        };
        for f in &map.fruitlets {
            let spur = f.spur.unwrap_or(map.clusters[f.cluster_idx].spur).xyz;
            let back = (spur - f.centre.xyz).normalize();
            world.axes.push(f.axis.map_or(-back, |a| a.direction.xyz));
            let top =
                f.axis.map_or(back, |a| -a.direction.xyz) * (0.5 * f.diameter_m) + f.centre.xyz;
            world.stems.push([top, spur]);
        }
        for limb in orchard.iter().flat_map(|o| &o.trees).flat_map(|t| &t.limbs) {
            for k in 1..limb.points.len() {
                let ends = [limb.points[k - 1].xyz, limb.points[k].xyz];
                world.line(ends, [limb.radii_m[k - 1], limb.radii_m[k]]);
            }
        }
        for obstacle in orchard.iter().flat_map(|o| &o.obstacles) {
            match obstacle.shape {
                ObstacleShape::Capsule { a, b, radius_m } => {
                    world.line([a.xyz, b.xyz], [radius_m; 2]);
                }
                ObstacleShape::Box {
                    orchard_from_box,
                    size_m,
                } => world.fill(&orchard_from_box.iso, size_m),
            }
        }
        world
    }

    fn line(&mut self, [a, b]: [Vector3<f64>; 2], [ra, rb]: [f64; 2]) {
        let n = ((b - a).norm() / 0.001).ceil().max(1.0);
        let mut k = 0.0;
        while k <= n {
            self.balls
                .push((a + (b - a) * (k / n), ra + (rb - ra) * (k / n)));
            k += 1.0;
        }
    }

    fn fill(&mut self, orchard_from_box: &Isometry3<f64>, size_m: [f64; 3]) {
        let n = size_m.map(|s| (s / 0.004).ceil().max(1.0) as i32);
        for i in 0..=n[0] {
            for j in 0..=n[1] {
                for k in 0..=n[2] {
                    let share = [(i, n[0]), (j, n[1]), (k, n[2])]
                        .map(|(x, m)| f64::from(x) / f64::from(m) - 0.5);
                    let p = Vector3::new(
                        share[0] * size_m[0],
                        share[1] * size_m[1],
                        share[2] * size_m[2],
                    );
                    self.balls
                        .push((orchard_from_box.transform_point(&p.into()).coords, 0.0));
                }
            }
        }
    }

    /// Why the closing is not good; `None` where it is.
    pub(crate) fn fault(&self, tool: &ToolSpec, removal: &PlannedRemoval) -> Option<String> {
        let at_end = removal.orchard_from_tool;
        let ring = tool.action == ToolAction::EncloseKeeper;
        let mut k = 0.0;
        while k <= 40.0 {
            let back = tool.standoff_m * k / 40.0;
            let pose = at_end.iso * Isometry3::translation(0.0, 0.0, -back);
            for (i, centre) in self.centres.iter().enumerate() {
                let may_touch = i == removal.enclosed || (ring && removal.targets.contains(&i));
                if self.alive[i] && !may_touch && from_cup(tool, &pose, centre) < self.radii[i] {
                    return Some(format!("touches fruit {i}"));
                }
            }
            if self
                .balls
                .iter()
                .any(|(p, r)| from_cup(tool, &pose, p) < *r)
            {
                return Some("meets something solid".to_owned());
            }
            k += 1.0;
        }
        self.fault_at_end(tool, removal, &at_end)
    }

    fn fault_at_end(
        &self,
        tool: &ToolSpec,
        removal: &PlannedRemoval,
        end: &Pose<Orchard, Tool>,
    ) -> Option<String> {
        let into_tool = end.iso.inverse();
        let place = |p: &Vector3<f64>| into_tool.transform_point(&(*p).into()).coords;
        let (held, radius) = (
            place(&self.centres[removal.enclosed]),
            self.radii[removal.enclosed],
        );
        let is_held = held.xy().norm() + radius <= tool.inner_radius_m + 1e-9
            && held.z + radius <= tool.cut_offset_m + 1e-9
            && held.z - radius >= -tool.length_m - 1e-9;
        if !is_held {
            return Some(format!("does not hold the fruit: {held:?} {radius}"));
        }
        let tilt = (-(end.iso.rotation * Vector3::z()).dot(&self.axes[removal.enclosed]))
            .clamp(-1.0, 1.0)
            .acos();
        if tilt > tool.tilt_tolerance_rad + 1e-9 {
            return Some(format!("tilted by {tilt}"));
        }
        if place(&self.stems[removal.enclosed][1]).z <= tool.cut_offset_m {
            return Some("spur behind the plane".to_owned());
        }
        let band = if tool.action == ToolAction::EncloseKeeper {
            [tool.outer_radius_m, tool.outer_radius_m + tool.cut_reach_m]
        } else {
            [0.0, tool.inner_radius_m]
        };
        for (i, stem) in self
            .stems
            .iter()
            .enumerate()
            .filter(|(i, _)| self.alive[*i])
        {
            let [a, b] = [place(&stem[0]), place(&stem[1])];
            let (da, db) = (a.z - tool.cut_offset_m, b.z - tool.cut_offset_m);
            let is_cut = (da > 0.0) != (db > 0.0) && {
                let rho = (a + (b - a) * (da / (da - db))).xy().norm();
                rho >= band[0] - 1e-9 && rho <= band[1] + 1e-9
            };
            if is_cut != removal.targets.contains(&i) {
                return Some(format!("stem {i} cut: {is_cut}"));
            }
        }
        None
    }

    /// Carries out a way; what goes wrong first.
    pub(crate) fn carry_out(mut self, tools: &[ToolSpec], way: &Way) -> Option<String> {
        for removal in &way.removals {
            let fault = self.fault(&tools[removal.tool_idx], removal);
            if fault.is_some() {
                return fault;
            }
            for target in &removal.targets {
                self.alive[*target] = false;
            }
        }
        None
    }
}

/// Distance of a point from the solid cup.
fn from_cup(tool: &ToolSpec, orchard_from_tool: &Isometry3<f64>, p: &Vector3<f64>) -> f64 {
    let q = orchard_from_tool
        .inverse_transform_point(&(*p).into())
        .coords;
    let rho = q.xy().norm();
    let shrink = if rho > tool.outer_radius_m {
        tool.outer_radius_m / rho
    } else {
        1.0
    };
    (q - Vector3::new(q.x * shrink, q.y * shrink, q.z.clamp(-tool.length_m, 0.0))).norm()
}
