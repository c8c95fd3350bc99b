//! Invented orchards small enough to be checked by hand, with outputs that repeat the truth.

use corymb_model::arm::{ArmReach, ArmSetup, ArmSpec, Platform, ToolAction, ToolSpec};
use corymb_model::decisions::{Action, Decision, Decisions, Rule};
use corymb_model::frames::{Direction, Orchard, Point, Pose, Tool};
use corymb_model::map::{Cluster, CropMap, Fruitlet};
use corymb_model::orchard::{Limb, LimbKind, OrchardModel, Row, Tree};
use corymb_model::orders::{Order, TaskList, Work};
use corymb_model::policy::{Losses, Policy, Prefer, Target};
use corymb_model::run::{BoxRef, Class, Detection, Frame, Run, StatedNoise};
use corymb_model::scene::Axis;
use corymb_model::truth::{TrueFruitlet, Truth};
use corymb_model::ways::PlannedRemoval;
use corymb_score::{ScoreInput, Scores, score};
use nalgebra::{Isometry3, Matrix4, Vector3};
use std::collections::BTreeMap;

/// Height of every limb, metres.
const LIMB_Z: f64 = 2.0;
/// Distance between the clusters of a limb and between the fruit of a cluster, metres.
const CLUSTER_APART: f64 = 0.3;
const FRUIT_APART: f64 = 0.05;
/// Length of every stem, metres.
const STEM: f64 = 0.025;
/// How far the top of an enclosed fruit lies behind the rim, metres; the cut is at 3 mm.
pub(crate) const BEHIND_RIM: f64 = 0.005;

/// A fruitlet to be: its diameter and the images that show it.
#[derive(Debug, Clone)]
pub(crate) struct Spec {
    pub(crate) diameter_m: f64,
    pub(crate) seen: Vec<bool>,
}

/// A fruitlet of 20 mm that `images` images show.
pub(crate) fn plain(images: usize) -> Spec {
    Spec {
        diameter_m: 0.02,
        seen: vec![true; images],
    }
}

/// A run with truth and outputs.
#[derive(Clone)]
pub(crate) struct Scene {
    pub(crate) run: Run,
    pub(crate) truth: Truth,
    pub(crate) map: CropMap,
    pub(crate) decisions: Decisions,
    pub(crate) tasks: TaskList,
    pub(crate) policy: Policy,
    pub(crate) setup: ArmSetup,
}

impl Scene {
    /// Trees with clusters with fruit; the first fruit of a cluster is its king. Fruit hangs straight down, side by
    /// side, along y of its cluster.
    pub(crate) fn new(trees: &[Vec<Vec<Spec>>], false_boxes: usize) -> Self {
        let truth = truth(trees);
        let specs: Vec<&Spec> = trees.iter().flatten().flatten().collect();
        let (frames, detections) = frames(&specs, false_boxes);
        let run = Run {
            name: "invented".to_owned(),
            date: "2000-01-01".to_owned(),
            stage_bbch: None,
            cameras: Vec::new(),
            noise: StatedNoise::default(),
            frames,
            poses: Vec::new(),
            orchard: Some(orchard(trees.len())),
        };
        let truth = Truth {
            detections,
            ..truth
        };
        let map = repeat(&run, &truth);
        let policy = policy(1);
        let setup = setup();
        let decisions = decide(&map, policy.keep_at_most);
        let tasks = order(&map, &decisions);
        Self {
            run,
            truth,
            map,
            decisions,
            tasks,
            policy,
            setup,
        }
    }

    pub(crate) fn input(&self) -> ScoreInput<'_> {
        ScoreInput {
            run: &self.run,
            truth: &self.truth,
            map: Some(&self.map),
            decisions: Some(&self.decisions),
            tasks: Some(&self.tasks),
            policy: Some(&self.policy),
            setup: Some(&self.setup),
            true_orchard: None,
        }
    }

    pub(crate) fn score(&self) -> Scores {
        score(&self.input())
    }

    /// Decides again under a policy and orders again.
    pub(crate) fn thin_again(&mut self, keep_at_most: usize) {
        self.policy.keep_at_most = keep_at_most;
        self.decisions = decide(&self.map, keep_at_most);
        self.tasks = order(&self.map, &self.decisions);
    }

    /// The plan of the order at a position.
    pub(crate) fn plan(&mut self, at: usize) -> &mut PlannedRemoval {
        match &mut self.tasks.orders[at].work {
            Work::Remove { plan, .. } => plan,
            Work::Look { .. } => panic!("order {at} looks"),
        }
    }
}

fn truth(trees: &[Vec<Vec<Spec>>]) -> Truth {
    let mut fruitlets = Vec::new();
    for (t, clusters) in trees.iter().enumerate() {
        for (c, cluster) in clusters.iter().enumerate() {
            for (j, spec) in cluster.iter().enumerate() {
                let (x, y) = (
                    2.0 * t as f64 + CLUSTER_APART * c as f64,
                    FRUIT_APART * j as f64,
                );
                let at = |z: f64| Point::<Orchard>::new(x, y, z);
                let n = fruitlets.len();
                fruitlets.push(TrueFruitlet {
                    id: format!("true-{n:03}"),
                    tree: format!("tree-{t}"),
                    limb: Some(format!("limb-{t}")),
                    cluster: format!("cluster-{t}-{c}"),
                    centre: at(LIMB_Z - STEM - spec.diameter_m / 2.0),
                    diameter_m: spec.diameter_m,
                    axis: Direction::of(-Vector3::z()).unwrap(),
                    stem_top: at(LIMB_Z - STEM),
                    spur: at(LIMB_Z),
                    king: j == 0,
                });
            }
        }
    }
    Truth {
        fruitlets,
        ..Truth::default()
    }
}

/// One leader and one limb a tree; the limb runs along x above all fruit.
fn orchard(trees: usize) -> OrchardModel {
    let tree = |t: usize| {
        let x = 2.0 * t as f64;
        let limb = |id: String, kind, from: Point<Orchard>, to: Point<Orchard>| Limb {
            id,
            kind,
            points: vec![from, to],
            radii_m: vec![0.01, 0.005],
        };
        Tree {
            id: format!("tree-{t}"),
            row_idx: 0,
            base: Point::new(x, 0.5, 0.0),
            trunk_diameter_m: Some(0.04),
            limbs: vec![
                limb(
                    format!("leader-{t}"),
                    LimbKind::Leader,
                    Point::new(x, 0.5, 0.0),
                    Point::new(x, 0.5, 3.0),
                ),
                limb(
                    format!("limb-{t}"),
                    LimbKind::Limb,
                    Point::new(x - 0.1, 0.0, LIMB_Z + 0.02),
                    Point::new(x + 1.8, 0.0, LIMB_Z + 0.02),
                ),
            ],
        }
    };
    OrchardModel {
        rows: vec![Row {
            id: "row".to_owned(),
            from: Point::new(0.0, 0.5, 0.0),
            to: Point::new(9.0, 0.5, 0.0),
        }],
        trees: (0..trees).map(tree).collect(),
        obstacles: Vec::new(),
    }
}

/// In each image a body, a stem and a calyx box of each fruitlet that it shows, then false body boxes.
fn frames(
    specs: &[&Spec],
    false_boxes: usize,
) -> (Vec<Frame>, BTreeMap<String, Vec<Option<usize>>>) {
    let images = specs.iter().map(|s| s.seen.len()).max().unwrap_or(0);
    let (mut frames, mut labels) = (Vec::new(), BTreeMap::new());
    for f in 0..images {
        let (mut detections, mut here) = (Vec::new(), Vec::new());
        for (g, _) in specs
            .iter()
            .enumerate()
            .filter(|(_, s)| s.seen.get(f) == Some(&true))
        {
            for class in [Class::Fruitlet, Class::Stem, Class::Calyx] {
                detections.push(detection(class));
                here.push(Some(g));
            }
        }
        for _ in 0..false_boxes {
            detections.push(detection(Class::Fruitlet));
            here.push(None);
        }
        let id = format!("image-{f}");
        labels.insert(id.clone(), here);
        frames.push(Frame {
            id,
            camera_idx: 0,
            time_s: f as f64,
            orchard_from_rig: None,
            pass: None,
            detections,
        });
    }
    (frames, labels)
}

fn detection(class: Class) -> Detection {
    Detection {
        class,
        score: 1.0,
        box_px: [0.0, 0.0, 9.0, 9.0],
        depth_m: None,
        axis_px: None,
        damaged: None,
        track: None,
    }
}

/// A map that says of every fruitlet that was seen at all what the truth says.
pub(crate) fn repeat(run: &Run, truth: &Truth) -> CropMap {
    let trees = &run.orchard.as_ref().unwrap().trees;
    let mut map = CropMap::default();
    let mut cluster_of = BTreeMap::<&str, usize>::new();
    for (g, fruit) in truth.fruitlets.iter().enumerate() {
        let detections = boxes_of(run, truth, g);
        let views = detections.iter().filter(|d| d.1.is_body()).count();
        if views == 0 {
            continue;
        }
        let tree_idx = trees.iter().position(|t| t.id == fruit.tree);
        let cluster_idx = *cluster_of.entry(&fruit.cluster).or_insert_with(|| {
            map.clusters
                .push(cluster(truth, &fruit.cluster, map.clusters.len(), tree_idx));
            map.clusters.len() - 1
        });
        map.clusters[cluster_idx].members.push(map.fruitlets.len());
        map.fruitlets.push(Fruitlet {
            id: format!("f{:03}", map.fruitlets.len()),
            class: Class::Fruitlet,
            tree_idx,
            tree_probability: 1.0,
            cluster_idx,
            cluster_probability: 1.0,
            centre: fruit.centre,
            diameter_m: fruit.diameter_m,
            covariance_m2: Matrix4::identity() * 1e-6,
            shared_deviation_m: 0.0,
            axis: Some(Axis {
                direction: fruit.axis,
                deviation_rad: 0.1,
            }),
            stem: None,
            stem_top: Some(fruit.stem_top),
            spur: Some(fruit.spur),
            king_probability: f64::from(u8::from(fruit.king)),
            existence: 1.0,
            views,
            detections,
        });
    }
    map
}

fn cluster(truth: &Truth, name: &str, n: usize, tree_idx: Option<usize>) -> Cluster {
    let spurs: Vec<Vector3<f64>> = truth
        .fruitlets
        .iter()
        .filter(|t| t.cluster == name)
        .map(|t| t.spur.xyz)
        .collect();
    Cluster {
        id: format!("c{n:03}"),
        tree_idx,
        limb_idx: Some(1),
        along_limb_m: None,
        spur: Point::from_vector(spurs.iter().sum::<Vector3<f64>>() / spurs.len() as f64),
        spur_deviation_m: 0.001,
        probability: 1.0,
        members: Vec::new(),
    }
}

fn boxes_of(run: &Run, truth: &Truth, fruit: usize) -> Vec<(BoxRef, Class)> {
    let mut boxes = Vec::new();
    for (f, frame) in run.frames.iter().enumerate() {
        for (d, (detection, shows)) in frame
            .detections
            .iter()
            .zip(&truth.detections[&frame.id])
            .enumerate()
        {
            if *shows == Some(fruit) {
                boxes.push((
                    BoxRef {
                        frame_idx: f as u32,
                        detection_idx: d as u32,
                    },
                    detection.class,
                ));
            }
        }
    }
    boxes
}

/// A policy with a cluster limit only.
fn policy(keep_at_most: usize) -> Policy {
    Policy {
        name: "invented".to_owned(),
        target: Target::default(),
        keep_at_most,
        spacing_along_limb_m: None,
        prefer: Prefer::default(),
        act_above: 0.7,
        losses: Losses::default(),
        pins: Vec::new(),
    }
}

/// A cup on three linear axes.
fn setup() -> ArmSetup {
    ArmSetup {
        name: "invented".to_owned(),
        tools: vec![ToolSpec {
            name: None,
            action: ToolAction::EncloseTarget,
            inner_radius_m: 0.016,
            outer_radius_m: 0.018,
            length_m: 0.06,
            cut_offset_m: -0.003,
            cut_reach_m: 0.0,
            standoff_m: 0.08,
            tilt_tolerance_rad: 30f64.to_radians(),
            clearance_m: 0.002,
            body: Vec::new(),
        }],
        arms: vec![ArmSpec {
            id: "main".to_owned(),
            reach: ArmReach::Cartesian {
                low_m: Vector3::new(-20.0, -1.0, 0.0),
                high_m: Vector3::new(20.0, 1.0, 3.0),
                speed_m_s: 0.4,
                reach_direction: None,
                reach_within_rad: None,
            },
            rig_from_base: Pose::identity(),
            repeatability_m: None,
        }],
        platform: Some(Platform {
            orchard_from_rig: Pose::identity(),
            step_m: 0.5,
            settle_s: 1.0,
        }),
    }
}

/// Keeps the first so many fruit of each cluster.
fn decide(map: &CropMap, keep_at_most: usize) -> Decisions {
    let decision = |k: usize| {
        let members = &map.clusters[map.fruitlets[k].cluster_idx].members;
        let stays = members.iter().position(|&m| m == k).unwrap() < keep_at_most;
        Decision {
            fruitlet_idx: k,
            action: if stays { Action::Keep } else { Action::Remove },
            rule: Rule::ClusterLimit,
            reason: "invented".to_owned(),
            confidence: 1.0,
        }
    };
    Decisions {
        decisions: (0..map.fruitlets.len()).map(decision).collect(),
        ..Decisions::default()
    }
}

/// The cup straight from below for each fruit to be removed.
fn order(map: &CropMap, decisions: &Decisions) -> TaskList {
    let mut tasks = TaskList::default();
    for decision in decisions
        .decisions
        .iter()
        .filter(|d| d.action == Action::Remove)
    {
        let fruitlet = &map.fruitlets[decision.fruitlet_idx];
        let n = tasks.orders.len();
        let pose = cup_below(fruitlet.centre.xyz, fruitlet.diameter_m);
        tasks.orders.push(Order {
            id: format!("o{n:03}"),
            seq: n as u64,
            stop: Some(0),
            orchard_from_rig: Some(Pose::identity()),
            needs: if n > 0 {
                vec![format!("o{:03}", n - 1)]
            } else {
                Vec::new()
            },
            cluster_idx: fruitlet.cluster_idx,
            duration_s: 1.0,
            work: Work::Remove {
                plan: removal(decision.fruitlet_idx, pose),
                keepers: Vec::new(),
            },
        });
    }
    tasks
}

/// The cup about a fruit, opening upwards.
pub(crate) fn cup_below(centre: Vector3<f64>, diameter_m: f64) -> Pose<Orchard, Tool> {
    let rim = centre + Vector3::z() * (diameter_m / 2.0 + BEHIND_RIM);
    Pose::from_isometry(Isometry3::translation(rim.x, rim.y, rim.z))
}

fn removal(target: usize, pose: Pose<Orchard, Tool>) -> PlannedRemoval {
    PlannedRemoval {
        targets: vec![target],
        enclosed: target,
        tool_idx: 0,
        arm_idx: Some(0),
        orchard_from_tool: pose,
        orchard_from_tool_cut: pose,
        tilt_rad: 0.0,
        clearance_m: 0.01,
        unseen_share: None,
        success_probability: 1.0,
        success_probability_unlocated: 1.0,
        stops: Some((0, 0)),
        duration_s: 1.0,
        reach_checked: true,
        not_checked: Vec::new(),
    }
}
