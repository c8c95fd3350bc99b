//! The scene from what the rounds left.

use crate::bodies::Landmark;
use crate::fuse::Work;
use crate::motion;
use crate::nodes::Stand;
use crate::noise;
use crate::region::{self, Lasting};
use corymb_model::frames::{Point, Pose};
use corymb_model::run::{BoxRef, Class};
use corymb_model::scene::{Body, Calibration, CorrectedPose, Estimate, MountEstimate, Scene, View};
use nalgebra::{Isometry3, Rotation3, UnitQuaternion};

/// Share of an edge's deviation taken as constant where the run is too small to tell.
const UNKNOWN_CONSTANT_SHARE: f64 = 0.5;

pub(crate) fn scene(work: &Work<'_>, landmarks: &[Landmark]) -> Scene {
    let lasting = lasting(work, landmarks);
    let mut bodies: Vec<Body> = landmarks
        .iter()
        .enumerate()
        .map(|(k, l)| {
            body(
                work,
                l,
                &lasting,
                work.duplicates.get(k).map_or(&[], Vec::as_slice),
            )
        })
        .collect();
    bodies.retain(|b| b.existence >= work.config.drop_below);
    let key = |b: &Body| [b.centre.xyz.x, b.centre.xyz.z, b.centre.xyz.y];
    bodies.sort_by(|a, b| {
        let (a, b) = (key(a), key(b));
        a[0].total_cmp(&b[0])
            .then(a[1].total_cmp(&b[1]))
            .then(a[2].total_cmp(&b[2]))
    });
    Scene {
        views: views(&work.stand),
        bodies,
        calibration: calibration(work),
        frames_left_out: work.stand.node_of.iter().filter(|n| n.is_none()).count(),
        box_edge_px: work.evidence.model.sigma_px,
        ..Scene::default()
    }
}

/// What the run says of errors that several images of a body share.
fn lasting(work: &Work<'_>, landmarks: &[Landmark]) -> Lasting {
    let (obs, stand) = (&work.obs, &work.stand);
    let model = work.evidence.model;
    Lasting {
        model,
        constant_px: noise::constant_part(obs, stand, landmarks, &model)
            .unwrap_or(model.sigma_px * UNKNOWN_CONSTANT_SHARE),
        motion: motion::learn(obs, stand, landmarks, &model),
        mean_rate: work.evidence.detection,
        plain_rate: region::plain_rate(landmarks).unwrap_or(work.evidence.detection),
    }
}

fn views(stand: &Stand) -> Vec<View> {
    stand
        .placed
        .iter()
        .zip(&stand.node_of)
        .map(|(p, n)| {
            let r = UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(p.r));
            View {
                orchard_from_camera: n
                    .map(|_| Pose::from_isometry(Isometry3::from_parts(p.t.into(), r))),
            }
        })
        .collect()
}

fn body(work: &Work<'_>, l: &Landmark, lasting: &Lasting, duplicates: &[usize]) -> Body {
    let name = |&i: &usize| {
        let b = &work.obs.boxes[i];
        BoxRef {
            frame_idx: b.frame as u32,
            detection_idx: b.det as u32,
        }
    };
    let score = work.score(l);
    Body {
        class: most_common_class(work, l),
        centre: Point::from_vector(l.centre()),
        radius_m: l.radius(),
        covariance_m2: region::covariance(&work.obs, &work.stand, l, lasting),
        shared_deviation_m: shared(work),
        existence: 1.0 / (1.0 + (-score).exp()),
        boxes: l.boxes.iter().map(name).collect(),
        duplicate_boxes: duplicates.iter().map(name).collect(),
        calyx_boxes: Vec::new(),
        stem_boxes: Vec::new(),
        axis: None,
        stem: None,
    }
}

fn most_common_class(work: &Work<'_>, l: &Landmark) -> Class {
    Class::ALL
        .into_iter()
        .max_by_key(|&c| {
            let n = l
                .boxes
                .iter()
                .filter(|&&i| work.obs.boxes[i].class == c)
                .count();
            (n, std::cmp::Reverse(c))
        })
        .unwrap_or(Class::Fruitlet)
}

/// What neighbours share is what is unknown of the poses that see them.
fn shared(work: &Work<'_>) -> f64 {
    let n = work.refined.node_sd.len().max(1);
    (work.refined.node_sd.iter().map(|s| s.0 * s.0).sum::<f64>() / n as f64).sqrt()
}

fn calibration(work: &Work<'_>) -> Calibration {
    let stand = &work.stand;
    let sd = |list: &[(f64, f64)], k: usize| list.get(k).copied();
    let rig_poses = stand
        .nodes
        .iter()
        .enumerate()
        .map(|(k, n)| CorrectedPose {
            time_s: n.time_s,
            pass: n.pass.clone(),
            orchard_from_rig: Pose::from_isometry(n.orchard_from_rig()),
            translation_deviation_m: sd(&work.refined.node_sd, k).map(|s| s.0),
            rotation_deviation_rad: sd(&work.refined.node_sd, k).map(|s| s.1),
        })
        .collect();
    let single = stand.mount_stated.len() < 2;
    let mounts = (0..stand.mount_stated.len())
        .map(|k| MountEstimate {
            camera_idx: k,
            rig_from_camera: Pose::from_isometry(stand.rig_from_camera(k)),
            translation_deviation_m: sd(&work.refined.mount_sd, k).map(|s| s.0),
            rotation_deviation_rad: sd(&work.refined.mount_sd, k).map(|s| s.1),
            reason: single.then(|| {
                "one camera: its mounting cannot be told from the pose of the rig".to_owned()
            }),
        })
        .collect();
    let learned = |value: f64| Estimate {
        value: Some(value),
        deviation: None,
        reason: None,
    };
    let stated = |value: f64, why: &str| Estimate {
        value: Some(value),
        deviation: None,
        reason: Some(why.to_owned()),
    };
    Calibration {
        rig_poses,
        mounts,
        clock_offset_s: Estimate {
            value: None,
            deviation: None,
            reason: Some("not estimated: taken as part of the pose corrections".to_owned()),
        },
        box_edge_px: learned(work.evidence.model.sigma_px),
        pose_translation_m: if work.run.noise.pose_translation_m.is_some() {
            stated(work.pose_sd.0, "as stated by the run")
        } else {
            learned(work.pose_sd.0)
        },
        pose_rotation_rad: if work.run.noise.pose_rotation_rad.is_some() {
            stated(work.pose_sd.1, "as stated by the run")
        } else {
            learned(work.pose_sd.1)
        },
        detection_probability: learned(work.evidence.detection),
        false_positives_per_frame: stated(
            work.evidence.clutter_per_image,
            "as stated by the run, or the default",
        ),
    }
}
