//! Everything that comes out of a simulation.

use crate::detect::Image;
use crate::drive::Drive;
use crate::grow::{Crop, TrueBody, TrueLeaf, limb_as_filed};
use crate::spec::{ErrorSpec, SceneSpec, StatedSpec};
use crate::streams::{Purpose, Streams};
use corymb_model::Pose;
use corymb_model::frames::{CameraFrame, Orchard, Rig};
use corymb_model::orchard::OrchardModel;
use corymb_model::run::{Class, Run, StatedNoise};
use corymb_model::truth::{TrueFruitlet, Truth};
use std::collections::BTreeMap;

/// A simulated run with the truth about it.
#[derive(Debug, Clone)]
pub struct Simulated {
    /// What a user would have.
    pub run: Run,
    /// What scoring may see: bodies in the order of [`TrueScene::bodies`], labels of all detections, and for every image
    /// what a perfect detector would box.
    pub truth: Truth,
    /// The orchard without the errors of its file.
    pub true_orchard: OrchardModel,
    /// Everything else that is true.
    pub true_scene: TrueScene,
}

/// What is true beyond the truth file.
#[derive(Debug, Clone)]
pub struct TrueScene {
    /// Bodies, one an entry of [`Truth::fruitlets`].
    pub bodies: Vec<TrueBody>,
    /// Things that only look like bodies.
    pub look_alikes: Vec<TrueBody>,
    /// Leaves.
    pub leaves: Vec<TrueLeaf>,
    /// Names of clusters; a cluster may have grown no body.
    pub cluster_ids: Vec<String>,
    /// One entry an image, in the order of [`Run::frames`].
    pub frames: Vec<TrueFrame>,
    /// True mounting of each camera.
    pub mounts: Vec<Pose<Rig, CameraFrame>>,
    /// What must be added to an image's time to get the pose's time.
    pub clock_offset_s: f64,
    /// Mean hidden share of the bodies' areas over all views with the body inside the image.
    pub hidden_share: f64,
}

/// The truth about an image.
#[derive(Debug, Clone)]
pub struct TrueFrame {
    /// When it was taken, by the clock of the poses.
    pub time_s: f64,
    /// Where the rig was.
    pub orchard_from_rig: Pose<Orchard, Rig>,
    /// Where the camera was.
    pub orchard_from_camera: Pose<Orchard, CameraFrame>,
    /// Bodies in view, by position, with the share of their area that can be seen.
    pub visible: Vec<(usize, f64)>,
}

/// Puts the pieces together.
pub(crate) fn assemble(
    spec: &SceneSpec,
    true_orchard: OrchardModel,
    crop: Crop,
    drive: &Drive,
    images: Vec<Image>,
    streams: &Streams,
) -> Simulated {
    let truth = Truth {
        fruitlets: crop
            .bodies
            .iter()
            .map(|b| true_fruitlet(b, &crop, &true_orchard))
            .collect(),
        detections: images
            .iter()
            .map(|i| (i.frame.id.clone(), i.labels.clone()))
            .collect(),
        boxes: images
            .iter()
            .map(|i| (i.frame.id.clone(), i.boxes.clone()))
            .collect(),
        ..Truth::default()
    };
    let shares: Vec<f64> = images
        .iter()
        .flat_map(|i| &i.visible)
        .map(|(_, share)| *share)
        .collect();
    let hidden_share = 1.0 - shares.iter().sum::<f64>() / shares.len().max(1) as f64;
    let (frames, true_frames) = images.into_iter().map(split).unzip();
    let run = Run {
        name: spec.name.clone(),
        date: spec.date.clone(),
        stage_bbch: spec.stage_bbch,
        cameras: drive.cameras.clone(),
        noise: stated(&spec.stated, spec),
        frames,
        poses: drive.trajectory.clone(),
        orchard: spec
            .orchard
            .known
            .then(|| as_filed(spec, &spec.errors, &true_orchard, streams)),
    };
    let true_scene = TrueScene {
        bodies: crop.bodies,
        look_alikes: crop.phantoms,
        leaves: crop.leaves,
        cluster_ids: crop.cluster_ids,
        frames: true_frames,
        mounts: drive.mounts.clone(),
        clock_offset_s: spec.errors.clock_offset_s,
        hidden_share,
    };
    Simulated {
        run,
        truth,
        true_orchard,
        true_scene,
    }
}

fn split(image: Image) -> (corymb_model::run::Frame, TrueFrame) {
    let truth = TrueFrame {
        time_s: image.true_time_s,
        orchard_from_rig: image.orchard_from_rig,
        orchard_from_camera: image.orchard_from_camera,
        visible: image.visible,
    };
    (image.frame, truth)
}

fn true_fruitlet(body: &TrueBody, crop: &Crop, orchard: &OrchardModel) -> TrueFruitlet {
    let tree = orchard.trees.get(body.tree_idx);
    TrueFruitlet {
        id: body.id.clone().unwrap_or_default(),
        tree: tree.map(|t| t.id.clone()).unwrap_or_default(),
        limb: tree
            .and_then(|t| t.limbs.get(body.limb_idx))
            .map(|l| l.id.clone()),
        cluster: crop
            .cluster_ids
            .get(body.cluster_idx)
            .cloned()
            .unwrap_or_default(),
        centre: body.centre,
        diameter_m: body.diameter_m,
        axis: body.axis,
        stem_top: body.stem_top(),
        spur: body.spur(),
        king: body.king,
    }
}

fn stated(stated: &StatedSpec, spec: &SceneSpec) -> StatedNoise {
    let mut detection_probability = BTreeMap::new();
    if let Some(p) = stated.body_probability {
        for king in [false, true] {
            detection_probability.insert(spec.crop.kind.class(king), p);
        }
    }
    for (class, p) in [
        (Class::Stem, stated.stem_probability),
        (Class::Calyx, stated.calyx_probability),
    ] {
        detection_probability.extend(p.map(|p| (class, p)));
    }
    StatedNoise {
        box_edge_px: stated.box_edge_px,
        pose_translation_m: stated.pose_translation_m,
        pose_rotation_rad: stated.pose_rotation_deg.map(f64::to_radians),
        pose_drift_m: stated.pose_drift_m,
        pose_drift_rad: stated.pose_drift_deg.map(f64::to_radians),
        pose_drift_s: stated.pose_drift_s,
        limb_m: stated.limb_m,
        false_positives_per_frame: stated.false_positives_per_frame,
        detection_probability,
    }
}

/// The orchard as its file has it.
fn as_filed(
    spec: &SceneSpec,
    errors: &ErrorSpec,
    orchard: &OrchardModel,
    streams: &Streams,
) -> OrchardModel {
    let mut filed = orchard.clone();
    for (t, tree) in filed.trees.iter_mut().enumerate() {
        if !spec.orchard.trunks_measured {
            tree.trunk_diameter_m = None;
        }
        for (l, limb) in tree.limbs.iter_mut().enumerate() {
            let mut rng = streams.rng(Purpose::LimbError, t as u64, l as u64);
            *limb = limb_as_filed(limb, errors.limb_m, &mut rng);
        }
    }
    filed
}
