//! A small run and an output of it, invented.

use corymb_formats::{Header, Publication, StageSummary, Summary, WriteError, read_arm, read_run};
use corymb_model::arm::ArmSetup;
use corymb_model::decisions::{Action, Bound, Decision, Decisions, Rule, TreeLoad};
use corymb_model::diagnostics::{
    BoxCounts, BoxFate, CameraResiduals, Diagnostics, DistanceBand, EdgeResiduals, Event,
    EventKind, EventReason, Round, Spread, TimeReport,
};
use corymb_model::frames::{Direction, Orchard, Point, Pose};
use corymb_model::map::{Cluster, CropMap, Fruitlet};
use corymb_model::orders::{Order, Work};
use corymb_model::policy::{Pin, PinAs, Pinned};
use corymb_model::run::{BoxRef, Class, Run};
use corymb_model::scene::{Axis, Calibration, CorrectedPose, Estimate, MountEstimate, Stem};
use corymb_model::ways::{PlannedRemoval, Refusal, RefusalReason, Shortfall};
use nalgebra::{Isometry3, Matrix3, Matrix4, UnitQuaternion, Vector3};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The folder of the sound files from which bad ones are made.
pub(crate) fn sound() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../fixtures/bad/sound")
}

pub(crate) fn sound_run() -> Run {
    read_run(&sound()).unwrap_or_else(|p| panic!("{p}")).run
}

pub(crate) fn sound_arm() -> ArmSetup {
    read_arm(&sound().join("arm.toml"))
        .unwrap_or_else(|p| panic!("{p}"))
        .value
}

pub(crate) fn pose<T, S>(x: f64, y: f64, z: f64, turn: f64) -> Pose<T, S> {
    let axis = nalgebra::Unit::new_normalize(Vector3::new(1.0, 0.3, -0.2));
    let turn = UnitQuaternion::from_axis_angle(&axis, turn);
    Pose::from_isometry(Isometry3::from_parts(Vector3::new(x, y, z).into(), turn))
}

pub(crate) fn at(frame_idx: u32, detection_idx: u32) -> BoxRef {
    BoxRef {
        frame_idx,
        detection_idx,
    }
}

/// An output of the sound run.
pub(crate) struct Output {
    pub(crate) header: Header,
    pub(crate) map: CropMap,
    pub(crate) calibration: Calibration,
    pub(crate) diagnostics: Diagnostics,
    pub(crate) decisions: Decisions,
    pub(crate) orders: Vec<Order>,
    pub(crate) refusals: Vec<Refusal>,
    pub(crate) summary: Summary,
}

impl Output {
    pub(crate) fn sample() -> Self {
        Self {
            header: Header {
                tool_version: "0.1.0".to_owned(),
                inputs: BTreeMap::from([("run.json".to_owned(), "00".repeat(32))]),
            },
            map: map(),
            calibration: calibration(),
            diagnostics: diagnostics(),
            decisions: decisions(),
            orders: orders(),
            refusals: vec![Refusal {
                fruitlet_idx: 1,
                reason: RefusalReason::BlockedByFruit,
                blocked_by: vec!["f1".to_owned()],
                shortfall: Some(Shortfall::Metres(0.0012)),
            }],
            summary: summary(),
        }
    }

    pub(crate) fn write(&self, dir: &Path, run: &Run, arm: &ArmSetup) -> Result<(), WriteError> {
        let mut publication = Publication::output_folder(dir)?;
        publication.map(&self.header, run, &self.map)?;
        publication.calibration(&self.header, run, &self.calibration)?;
        publication.diagnostics(&self.header, run, &self.map, &self.diagnostics)?;
        publication.decisions(&self.header, run, &self.map, &self.decisions)?;
        publication.orders(run, &self.map, arm, &self.orders)?;
        publication.refusals(run, &self.map, &self.refusals)?;
        publication.summary(&self.header, &self.summary)?;
        publication.publish()
    }
}

fn map() -> CropMap {
    let far_covariance_m2 = Matrix3::from_diagonal(&Vector3::new(1e-6, 4e-6, 1e-6));
    let stem = Stem {
        top: Point::new(0.1, -0.05, 1.459),
        far: Point::new(0.101, -0.032, 1.468),
        far_deviation_m: 2e-6f64.sqrt(),
        far_covariance_m2,
        views: 2,
    };
    let fruitlet = |id: &str, x: f64, detections: Vec<(BoxRef, Class)>| Fruitlet {
        id: id.to_owned(),
        class: Class::Fruitlet,
        tree_idx: Some(0),
        tree_probability: 0.99,
        cluster_idx: 0,
        cluster_probability: 0.9,
        centre: Point::new(x, -0.05, 1.45),
        diameter_m: 0.018,
        covariance_m2: Matrix4::from_diagonal_element(2.5e-7),
        shared_deviation_m: 0.0012,
        axis: None,
        stem: None,
        stem_top: None,
        spur: None,
        king_probability: 0.6,
        existence: 0.97,
        views: detections.len(),
        detections,
    };
    let mut first = fruitlet(
        "f1",
        0.1,
        vec![
            (at(0, 0), Class::Fruitlet),
            (at(0, 1), Class::Stem),
            (at(1, 0), Class::Fruitlet),
        ],
    );
    first.axis = Direction::of(Vector3::new(0.1, 0.0, -1.0)).map(|direction| Axis {
        direction,
        deviation_rad: 0.1,
    });
    first.stem = Some(stem);
    first.stem_top = Some(stem.top);
    first.spur = Some(Point::new(0.1, -0.03, 1.47));
    CropMap {
        fruitlets: vec![
            first,
            fruitlet("f2", 0.13, vec![(at(2, 0), Class::Fruitlet)]),
        ],
        clusters: vec![Cluster {
            id: "c1".to_owned(),
            tree_idx: Some(0),
            limb_idx: Some(1),
            along_limb_m: Some(0.12),
            spur: Point::new(0.1, -0.03, 1.47),
            spur_deviation_m: 0.003,
            probability: 0.8,
            members: vec![0, 1],
        }],
    }
}

fn diagnostics() -> Diagnostics {
    let edges = |count, mean_px| EdgeResiduals {
        count,
        mean_px: Some(mean_px),
        spread_px: Some(1.2),
        occluded_share: Some(0.25),
    };
    let spread = |median_px| Spread {
        median_px: Some(median_px),
        spread_px: Some(0.75),
    };
    Diagnostics {
        cameras: vec![CameraResiduals {
            camera_idx: 1,
            edges: [0.1, -0.2, 0.3, -0.4].map(|mean_px| edges(3, mean_px)),
            bands: vec![
                DistanceBand {
                    from_m: 0.6,
                    to_m: Some(0.8),
                    edges: edges(11, 0.05),
                },
                DistanceBand {
                    from_m: 3.0,
                    to_m: None,
                    edges: edges(1, 0.5),
                },
            ],
        }],
        times: vec![TimeReport {
            time_s: 0.25,
            pass: Some("east".to_owned()),
            images: 2,
            matched: 3,
            missed: Some(1),
            unclaimed: 0,
            across: spread(0.25),
            down: spread(-0.125),
            size: spread(0.5),
            correction_m: 0.003,
            correction_rad: 0.002,
            translation_deviation_m: Some(0.002),
            rotation_deviation_rad: Some(0.001),
            linking_bodies: 2,
            on_prior_alone: false,
        }],
        rounds: vec![Round {
            bodies: 2,
            claimed: 3,
            changed_hands: Some(1),
            begun: 3,
            merged: 1,
            split: 0,
            dropped: 1,
            box_edge_px: 1.5,
            motion_m: 0.0005,
        }],
        events: vec![
            Event {
                kind: EventKind::Merged,
                round: 0,
                body_idx: Some(0),
                place: Point::new(0.1, -0.05, 1.45),
                boxes: 2,
                log_likelihood_before: Some(3.5),
                log_likelihood_after: Some(7.25),
                reason: EventReason::BetterTogether,
            },
            Event {
                kind: EventKind::Dropped,
                round: 0,
                body_idx: None,
                place: Point::new(0.5, -0.05, 1.45),
                boxes: 1,
                log_likelihood_before: Some(-2.0),
                log_likelihood_after: None,
                reason: EventReason::FewerThanTwoBoxes,
            },
        ],
        events_not_listed: BTreeMap::from([(EventKind::Begun, 3)]),
        boxes: vec![BoxCounts {
            camera_idx: 0,
            class: Class::Fruitlet,
            fates: BTreeMap::from([(BoxFate::Explained, 1), (BoxFate::Cut, 1)]),
        }],
    }
}

fn calibration() -> Calibration {
    let estimate = |value: f64| Estimate {
        value: Some(value),
        deviation: Some(value / 8.0),
        reason: None,
    };
    let assumed = || Estimate {
        value: Some(0.5),
        deviation: None,
        reason: Some("too few boxes".to_owned()),
    };
    Calibration {
        rig_poses: vec![CorrectedPose {
            time_s: 0.0,
            pass: Some("east".to_owned()),
            orchard_from_rig: pose(0.001, -0.9, 1.5, 0.01),
            translation_deviation_m: Some(0.002),
            rotation_deviation_rad: Some(0.001),
        }],
        mounts: vec![MountEstimate {
            camera_idx: 1,
            rig_from_camera: pose(0.06, 0.0, 0.0, -1.57),
            translation_deviation_m: None,
            rotation_deviation_rad: None,
            reason: Some("one camera holds the frame".to_owned()),
        }],
        clock_offset_s: estimate(0.02),
        box_edge_px: estimate(1.6),
        pose_translation_m: assumed(),
        pose_rotation_rad: estimate(0.004),
        detection_probability: assumed(),
        false_positives_per_frame: assumed(),
    }
}

fn decisions() -> Decisions {
    let decision = |fruitlet_idx, action, rule| Decision {
        fruitlet_idx,
        action,
        rule,
        reason: "It is the larger of two.".to_owned(),
        confidence: 0.875,
    };
    Decisions {
        decisions: vec![
            decision(0, Action::Keep, Rule::Preferred),
            decision(1, Action::Remove, Rule::ClusterLimit),
        ],
        trees: vec![TreeLoad {
            tree_idx: Some(0),
            trunk_area_cm2: Some(19.635),
            target: Some(117),
            bound: Some(Bound::TrunkArea),
            found: 2,
            unseen: 0.25,
            kept: 1,
            removed: 1,
            ..TreeLoad::default()
        }],
        pins_without_object: vec![Pin {
            what: Pinned::Cluster("c77".to_owned()),
            as_: PinAs::Keep,
        }],
        chosen: Vec::new(),
    }
}

fn orders() -> Vec<Order> {
    let plan = PlannedRemoval {
        targets: vec![1],
        enclosed: 1,
        tool_idx: 0,
        arm_idx: Some(0),
        orchard_from_tool: pose(0.13, -0.05, 1.43, 0.2),
        orchard_from_tool_cut: pose(0.13, -0.05, 1.432, 0.2),
        tilt_rad: 0.2,
        clearance_m: 0.004,
        unseen_share: Some(0.1),
        success_probability: 0.9,
        success_probability_unlocated: 0.7,
        stops: Some((-1, 2)),
        duration_s: 1.5,
        reach_checked: true,
        not_checked: vec!["leaves".to_owned()],
    };
    let order = |seq: u64, needs: Vec<String>, work| Order {
        id: format!("o{seq}"),
        seq,
        stop: Some(-1),
        orchard_from_rig: Some(pose(-0.5, -0.9, 1.5, 0.0)),
        needs,
        cluster_idx: 0,
        duration_s: 2.5,
        work,
    };
    let look = Work::Look {
        fruitlet_idx: 1,
        camera_idx: 0,
        orchard_from_camera: pose::<Orchard, _>(0.1, -0.8, 1.4, 1.6),
    };
    vec![
        order(
            1,
            Vec::new(),
            Work::Remove {
                plan,
                keepers: vec![0],
            },
        ),
        order(2, vec!["o1".to_owned()], look),
    ]
}

fn summary() -> Summary {
    Summary {
        run: "sound".to_owned(),
        stopped_after: "sequence".to_owned(),
        stopped_because: "All that was asked for is done.".to_owned(),
        left_out: BTreeMap::from([("images without a pose".to_owned(), 0)]),
        stages: vec![StageSummary {
            name: "fusion".to_owned(),
            seconds: 0.25,
            items: 4,
            item: "boxes".to_owned(),
            counts: BTreeMap::from([("bodies".to_owned(), 2)]),
        }],
        refusals: BTreeMap::from([("blocked_by_fruit".to_owned(), 1)]),
        threads: 2,
        seconds: 0.5,
        settings: serde_json::json!({"fusion": {"gate": 9.0}}),
    }
}
