//! Invented clusters along a row with removals to put in order.

use corymb_model::arm::{ArmReach, ArmSetup, ArmSpec, Platform, ToolAction, ToolSpec};
use corymb_model::decisions::{Action, Decision, Decisions, Rule};
use corymb_model::frames::{CameraFrame, Orchard, Point, Pose};
use corymb_model::map::{Cluster, CropMap, Fruitlet};
use corymb_model::orders::TaskList;
use corymb_model::run::{Camera, Class, Distortion};
use corymb_model::ways::{PlannedRemoval, Refusal, RefusalReason, Way};
use corymb_sequence::{Config, Input};
use nalgebra::{Isometry3, Matrix4, Translation3, UnitQuaternion, Vector3};

/// A removal: place of the tool, tilt about x and y (radians), stops.
pub(crate) type Removal = ([f64; 3], [f64; 2], Option<(i64, i64)>);

/// All that `Input` refers to.
#[derive(Debug, Clone)]
pub(crate) struct Row {
    pub(crate) map: CropMap,
    pub(crate) decisions: Decisions,
    pub(crate) setup: ArmSetup,
    pub(crate) cameras: Vec<Camera>,
    pub(crate) views: Vec<(usize, Pose<Orchard, CameraFrame>)>,
}

impl Row {
    /// A cluster for each list of removals, each with one more fruitlet that is kept.
    pub(crate) fn of(clusters: &[Vec<Removal>]) -> Self {
        let mut row = Self {
            map: CropMap::default(),
            decisions: Decisions::default(),
            setup: setup(),
            cameras: vec![camera("left"), camera("right")],
            views: Vec::new(),
        };
        for removals in clusters {
            row.hang(removals);
        }
        row
    }

    pub(crate) fn sequence(&self) -> TaskList {
        let input = Input {
            map: &self.map,
            decisions: &self.decisions,
            setup: Some(&self.setup),
            cameras: &self.cameras,
            views: &self.views,
            run_token: "",
        };
        corymb_sequence::sequence(&input, &Config::default())
    }

    fn hang(&mut self, removals: &[Removal]) {
        let c = self.map.clusters.len();
        let mut way = Way {
            probability: 1.0,
            ..Way::default()
        };
        let place = removals.first().map_or([0.0; 3], |r| r.0);
        let keeper = self.fruitlet(c, place, Action::Keep);
        way.keepers.push(keeper);
        let mut members = vec![keeper];
        for removal in removals {
            let target = self.fruitlet(c, removal.0, Action::Remove);
            members.push(target);
            way.removals.push(plan(target, removal));
        }
        self.map.clusters.push(Cluster {
            id: format!("c{c:03}"),
            tree_idx: None,
            limb_idx: None,
            along_limb_m: None,
            spur: Point::new(place[0], place[1], place[2]),
            spur_deviation_m: 0.001,
            probability: 1.0,
            members,
        });
        self.decisions.chosen.push((c, way));
    }

    /// Adds a fruitlet to a cluster.
    pub(crate) fn fruitlet(
        &mut self,
        cluster_idx: usize,
        [x, y, z]: [f64; 3],
        action: Action,
    ) -> usize {
        let i = self.map.fruitlets.len();
        self.map.fruitlets.push(Fruitlet {
            id: format!("f{i:03}"),
            class: Class::Fruitlet,
            tree_idx: None,
            tree_probability: 1.0,
            cluster_idx,
            cluster_probability: 1.0,
            centre: Point::new(x, y, z),
            diameter_m: 0.02,
            covariance_m2: Matrix4::identity() * 1e-8,
            shared_deviation_m: 0.0,
            axis: None,
            stem: None,
            stem_top: None,
            spur: None,
            king_probability: 0.0,
            existence: 1.0,
            views: 5,
            detections: Vec::new(),
        });
        self.decisions.decisions.push(Decision {
            fruitlet_idx: i,
            action,
            rule: Rule::NoBound,
            reason: String::new(),
            confidence: 1.0,
        });
        i
    }
}

pub(crate) fn refusal(fruitlet_idx: usize) -> Refusal {
    Refusal {
        fruitlet_idx,
        reason: RefusalReason::NoAxis,
        blocked_by: Vec::new(),
        shortfall: None,
    }
}

fn plan(target: usize, (at, tilt, stops): &Removal) -> PlannedRemoval {
    // the tool comes from below: its +z points up, but for the tilt
    let turn = UnitQuaternion::from_euler_angles(tilt[0], tilt[1], 0.0);
    let pose = Pose::from_isometry(Isometry3::from_parts(
        Translation3::new(at[0], at[1], at[2]),
        turn,
    ));
    PlannedRemoval {
        targets: vec![target],
        enclosed: target,
        tool_idx: 0,
        arm_idx: Some(0),
        orchard_from_tool: pose,
        orchard_from_tool_cut: pose,
        tilt_rad: 0.1,
        clearance_m: 0.003,
        unseen_share: None,
        success_probability: 0.9,
        success_probability_unlocated: 0.8,
        stops: *stops,
        duration_s: 1.5,
        reach_checked: true,
        not_checked: Vec::new(),
    }
}

fn setup() -> ArmSetup {
    let tool = ToolSpec {
        name: None,
        action: ToolAction::EncloseTarget,
        inner_radius_m: 0.016,
        outer_radius_m: 0.018,
        length_m: 0.06,
        cut_offset_m: -0.003,
        cut_reach_m: 0.0,
        standoff_m: 0.08,
        tilt_tolerance_rad: 0.5,
        clearance_m: 0.002,
        body: Vec::new(),
    };
    let reach = ArmReach::Cartesian {
        low_m: Vector3::new(-0.6, -0.1, -1.5),
        high_m: Vector3::new(0.6, 1.4, 1.6),
        speed_m_s: 0.4,
        reach_direction: None,
        reach_within_rad: None,
    };
    let arm = ArmSpec {
        id: "main".into(),
        reach,
        rig_from_base: Pose::identity(),
        repeatability_m: None,
    };
    let orchard_from_rig = Pose::from_isometry(Isometry3::translation(0.0, -0.9, 1.5));
    ArmSetup {
        name: "invented".into(),
        tools: vec![tool],
        arms: vec![arm],
        platform: Some(Platform {
            orchard_from_rig,
            step_m: 0.5,
            settle_s: 1.0,
        }),
    }
}

fn camera(id: &str) -> Camera {
    Camera {
        id: id.into(),
        width_px: 1000,
        height_px: 800,
        focal_px: [800.0, 800.0],
        principal_px: [500.0, 400.0],
        distortion: Distortion::None,
        rig_from_camera: Pose::identity(),
    }
}

/// A camera at (x, y, z) that looks along orchard +y, upright.
pub(crate) fn view(
    camera_idx: usize,
    x: f64,
    y: f64,
    z: f64,
) -> (usize, Pose<Orchard, CameraFrame>) {
    // camera x = orchard x, camera y = orchard -z, camera z = orchard y
    let turn = UnitQuaternion::from_axis_angle(&Vector3::x_axis(), -std::f64::consts::FRAC_PI_2);
    (
        camera_idx,
        Pose::from_isometry(Isometry3::from_parts(Translation3::new(x, y, z), turn)),
    )
}
