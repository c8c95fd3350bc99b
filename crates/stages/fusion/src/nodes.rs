//! Rig nodes: the distinct poses of the rig, each shared by the images taken at one time.

use crate::bodies::Placed;
use crate::config::Config;
use crate::trajectory::Trajectory;
use corymb_model::run::Run;
use nalgebra::{Isometry3, UnitQuaternion, Vector3, Vector6};

/// One pose of the rig and the images that share it.
#[derive(Debug, Clone)]
pub(crate) struct Node {
    pub(crate) time_s: f64,
    pub(crate) pass: Option<String>,
    /// Images, ascending.
    pub(crate) frames: Vec<usize>,
    /// As stated by the run.
    pub(crate) stated: Isometry3<f64>,
    /// Correction in the rig frame, translation first: `orchard_from_rig = stated * exp(correction)`.
    pub(crate) correction: Vector6<f64>,
}

impl Node {
    pub(crate) fn orchard_from_rig(&self) -> Isometry3<f64> {
        self.stated * small_motion(&self.correction)
    }
}

/// Poses and mounts as they stand, and the placement of every image that follows from them.
#[derive(Debug, Clone)]
pub(crate) struct Stand {
    pub(crate) nodes: Vec<Node>,
    /// Node of each image; `None` where the image is left out.
    pub(crate) node_of: Vec<Option<usize>>,
    /// Camera of each image.
    pub(crate) camera_of: Vec<usize>,
    /// Mounting as stated, a camera.
    pub(crate) mount_stated: Vec<Isometry3<f64>>,
    /// Correction of the mounting in the camera frame.
    pub(crate) mount_correction: Vec<Vector6<f64>>,
    /// Placement of each image (meaningless where left out).
    pub(crate) placed: Vec<Placed>,
    /// Scatter of the trajectory's poses about a smooth motion: metres, radians.
    pub(crate) scatter: Option<(f64, f64)>,
}

/// A small rigid motion: translation (metres) and rotation vector (radians), applied as rotation then translation.
pub(crate) fn small_motion(d: &Vector6<f64>) -> Isometry3<f64> {
    Isometry3::from_parts(
        Vector3::new(d[0], d[1], d[2]).into(),
        UnitQuaternion::from_scaled_axis(Vector3::new(d[3], d[4], d[5])),
    )
}

impl Stand {
    /// Groups images by time, pass and stated pose; images without a pose in reach are left out.
    pub(crate) fn new(run: &Run, config: &Config) -> Self {
        let trajectory = Trajectory::new(&run.poses);
        let mut nodes: Vec<Node> = Vec::new();
        let mut node_of = Vec::with_capacity(run.frames.len());
        for (frame, f) in run.frames.iter().enumerate() {
            let pose = f
                .orchard_from_rig
                .or_else(|| trajectory.at(f.time_s, config.max_extrapolation_s));
            let Some(pose) = pose else {
                node_of.push(None);
                continue;
            };
            // frames are ordered by time, so a node to join is among the last few
            let same = |n: &Node| n.time_s == f.time_s && n.pass == f.pass && n.stated == pose.iso;
            let found = nodes
                .iter()
                .rev()
                .take_while(|n| n.time_s == f.time_s)
                .position(same);
            let idx = found.map_or(nodes.len(), |back| nodes.len() - 1 - back);
            if idx == nodes.len() {
                nodes.push(Node {
                    time_s: f.time_s,
                    pass: f.pass.clone(),
                    frames: Vec::new(),
                    stated: pose.iso,
                    correction: Vector6::zeros(),
                });
            }
            nodes[idx].frames.push(frame);
            node_of.push(Some(idx));
        }
        let mount_stated: Vec<_> = run.cameras.iter().map(|c| c.rig_from_camera.iso).collect();
        let mut stand = Self {
            nodes,
            node_of,
            camera_of: run.frames.iter().map(|f| f.camera_idx).collect(),
            mount_correction: vec![Vector6::zeros(); mount_stated.len()],
            mount_stated,
            placed: vec![Placed::new(&Isometry3::identity()); run.frames.len()],
            scatter: trajectory.scatter,
        };
        stand.place_all();
        stand
    }

    pub(crate) fn rig_from_camera(&self, camera: usize) -> Isometry3<f64> {
        self.mount_stated[camera] * small_motion(&self.mount_correction[camera])
    }

    pub(crate) fn place_all(&mut self) {
        for n in 0..self.nodes.len() {
            self.place(n);
        }
    }

    /// Places the images of one node.
    pub(crate) fn place(&mut self, node: usize) {
        let rig = self.nodes[node].orchard_from_rig();
        for &f in &self.nodes[node].frames {
            self.placed[f] = Placed::new(&(rig * self.rig_from_camera(self.camera_of[f])));
        }
    }

    /// Forgets all corrections.
    pub(crate) fn reset(&mut self) {
        for n in &mut self.nodes {
            n.correction = Vector6::zeros();
        }
        for m in &mut self.mount_correction {
            *m = Vector6::zeros();
        }
        self.place_all();
    }
}
