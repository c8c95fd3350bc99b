//! Small invented clusters and a cup on a Cartesian arm.

#![allow(dead_code)] // also used by unit tests, each of which needs a part

use corymb_model::arm::{ArmReach, ArmSetup, ArmSpec, Platform, ToolAction, ToolSpec};
use corymb_model::frames::{Direction, Orchard, Point, Pose};
use corymb_model::map::{Cluster, CropMap, Fruitlet};
use corymb_model::orchard::{Limb, LimbKind, Obstacle, ObstacleShape, OrchardModel, Tree};
use corymb_model::policy::Policy;
use corymb_model::run::Class;
use corymb_model::scene::Axis;
use nalgebra::{Isometry3, Matrix4, Vector3};

/// An empty map.
pub(crate) fn empty() -> CropMap {
    CropMap::default()
}

/// Adds a cluster without fruit on a spur.
pub(crate) fn cluster(map: &mut CropMap, spur: [f64; 3]) -> usize {
    map.clusters.push(Cluster {
        id: format!("c{}", map.clusters.len()),
        tree_idx: None,
        limb_idx: None,
        along_limb_m: None,
        spur: Point::from_vector(spur.into()),
        spur_deviation_m: 0.0005,
        probability: 1.0,
        members: Vec::new(),
    });
    map.clusters.len() - 1
}

/// Adds a fruit that hangs straight from its spur. Returns its position.
pub(crate) fn fruit(
    map: &mut CropMap,
    cluster_idx: usize,
    centre: [f64; 3],
    diameter_m: f64,
) -> usize {
    let (idx, spur) = (map.fruitlets.len(), map.clusters[cluster_idx].spur);
    let centre = Vector3::from(centre);
    let mut covariance_m2 = Matrix4::identity() * 1e-8;
    covariance_m2[(3, 3)] = 1e-9;
    map.fruitlets.push(Fruitlet {
        id: format!("f{idx}"),
        class: Class::Fruitlet,
        tree_idx: None,
        tree_probability: 1.0,
        cluster_idx,
        cluster_probability: 1.0,
        centre: Point::from_vector(centre),
        diameter_m,
        covariance_m2,
        shared_deviation_m: 0.0,
        axis: Direction::of(centre - spur.xyz).map(|direction| Axis {
            direction,
            deviation_rad: 0.03,
        }),
        stem: None,
        stem_top: None,
        spur: Some(spur),
        king_probability: 0.0,
        existence: 1.0,
        views: 5,
        detections: Vec::new(),
    });
    map.clusters[cluster_idx].members.push(idx);
    idx
}

/// A cup of 32 / 36 mm.
pub(crate) fn cup() -> ToolSpec {
    ToolSpec {
        name: None,
        action: ToolAction::EncloseTarget,
        inner_radius_m: 0.016,
        outer_radius_m: 0.018,
        length_m: 0.06,
        cut_offset_m: -0.003,
        cut_reach_m: 0.0,
        standoff_m: 0.08,
        tilt_tolerance_rad: 30_f64.to_radians(),
        clearance_m: 0.002,
        body: Vec::new(),
    }
}

/// A guard for the fruit to keep, with a blade that sweeps 20 mm about it.
pub(crate) fn guard() -> ToolSpec {
    ToolSpec {
        action: ToolAction::EncloseKeeper,
        cut_reach_m: 0.02,
        ..cup()
    }
}

/// Three linear axes that reach all of the small clusters from stop 0.
pub(crate) fn arm() -> ArmSpec {
    ArmSpec {
        id: "main".to_owned(),
        reach: ArmReach::Cartesian {
            low_m: Vector3::new(-0.6, -1.0, -1.0),
            high_m: Vector3::new(0.6, 1.0, 1.0),
            speed_m_s: 0.4,
            reach_direction: None,
            reach_within_rad: None,
        },
        rig_from_base: Pose::identity(),
        repeatability_m: Some(0.0002),
    }
}

pub(crate) fn setup(tool: ToolSpec) -> ArmSetup {
    ArmSetup {
        name: "invented".to_owned(),
        tools: vec![tool],
        arms: vec![arm()],
        platform: Some(Platform {
            orchard_from_rig: Pose::identity(),
            step_m: 0.5,
            settle_s: 1.0,
        }),
    }
}

pub(crate) fn policy(keep_at_most: usize) -> Policy {
    Policy {
        keep_at_most,
        act_above: 0.7,
        ..Policy::default()
    }
}

pub(crate) fn limb(id: &str, from: [f64; 3], to: [f64; 3], radius_m: f64) -> Limb {
    Limb {
        id: id.to_owned(),
        kind: LimbKind::Limb,
        points: vec![
            Point::from_vector(from.into()),
            Point::from_vector(to.into()),
        ],
        radii_m: vec![radius_m, radius_m],
    }
}

pub(crate) fn orchard(limbs: Vec<Limb>, obstacles: Vec<Obstacle>) -> OrchardModel {
    let base = Point::new(0.0, 0.0, -1.0);
    let tree = Tree {
        id: "t0".to_owned(),
        row_idx: 0,
        base,
        trunk_diameter_m: None,
        limbs,
    };
    OrchardModel {
        rows: Vec::new(),
        trees: vec![tree],
        obstacles,
    }
}

pub(crate) fn wire(id: &str, from: [f64; 3], to: [f64; 3]) -> Obstacle {
    let (a, b) = (
        Point::from_vector(from.into()),
        Point::from_vector(to.into()),
    );
    Obstacle {
        id: id.to_owned(),
        shape: ObstacleShape::Capsule {
            a,
            b,
            radius_m: 0.0015,
        },
    }
}

pub(crate) fn post(id: &str, at: [f64; 3], size_m: [f64; 3]) -> Obstacle {
    let orchard_from_box = Pose::from_isometry(Isometry3::translation(at[0], at[1], at[2]));
    Obstacle {
        id: id.to_owned(),
        shape: ObstacleShape::Box {
            orchard_from_box,
            size_m,
        },
    }
}

/// Numbers spread over 0 to 1, always the same for a seed (splitmix64, S. Vigna 2015).
pub(crate) struct Spread(pub(crate) u64);

impl Spread {
    pub(crate) fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    /// A standard normal, by Box and Muller.
    pub(crate) fn normal(&mut self) -> f64 {
        let (u, v) = (self.next().max(1e-300), self.next());
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }

    pub(crate) fn normal3(&mut self) -> Vector3<f64> {
        Vector3::new(self.normal(), self.normal(), self.normal())
    }
}

/// An invented cluster of `n` fruit that hang from one spur in different directions, none overlapping another.
pub(crate) fn crowd(seed: u64, n: usize) -> CropMap {
    let mut spread = Spread(seed);
    let mut map = empty();
    let c = cluster(&mut map, [0.0, 0.0, 0.0]);
    let mut tries = 0;
    while map.fruitlets.len() < n && tries < 10_000 {
        tries += 1;
        let toward = Vector3::new(
            spread.normal(),
            spread.normal() - 1.0,
            spread.normal() - 1.0,
        )
        .normalize();
        let diameter = spread.between(0.009, 0.018);
        let centre = toward * (spread.between(0.016, 0.032) + 0.5 * diameter);
        let is_free = |f: &Fruitlet| {
            (f.centre.xyz - centre).norm() > 0.5 * (f.diameter_m + diameter) + 0.0005
        };
        if map.fruitlets.iter().all(is_free) {
            fruit(&mut map, c, centre.into(), diameter);
        }
    }
    map
}

pub(crate) type OrchardFrame = Orchard;
