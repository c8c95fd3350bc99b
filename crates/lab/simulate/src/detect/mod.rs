//! A detector's answer to each image.

mod boxes;
mod extras;
mod perfect;
mod track;

use crate::drive::Drive;
use crate::grow::Crop;
use crate::lens::Lens;
use crate::look::{Looker, Part, look};
use crate::spec::SceneSpec;
use crate::streams::Streams;
use boxes::Found;
use corymb_model::Pose;
use corymb_model::frames::{CameraFrame, Orchard, Rig};
use corymb_model::run::Frame;
use corymb_model::truth::TrueBox;
use rayon::prelude::*;

/// An image with what is true about it.
pub(crate) struct Image {
    pub(crate) frame: Frame,
    /// For each detection the body that it shows.
    pub(crate) labels: Vec<Option<usize>>,
    /// What a perfect detector would box.
    pub(crate) boxes: Vec<TrueBox>,
    pub(crate) true_time_s: f64,
    pub(crate) orchard_from_rig: Pose<Orchard, Rig>,
    pub(crate) orchard_from_camera: Pose<Orchard, CameraFrame>,
    /// Visible share of each body in view, with its position in the crop's bodies.
    pub(crate) visible: Vec<(usize, f64)>,
}

/// Where an image stands in the drive.
#[derive(Debug, Clone, Copy)]
struct At {
    exposure_idx: usize,
    camera_idx: usize,
    /// Number of the image for its random streams.
    number: u64,
}

/// All images, ordered by time, then camera, then id.
pub(crate) fn images(
    spec: &SceneSpec,
    crop: &Crop,
    drive: &Drive,
    streams: &Streams,
) -> Vec<Image> {
    let lenses: Vec<Lens> = drive.cameras.iter().map(Lens::of).collect();
    let cameras = lenses.len();
    let mut images: Vec<Image> = (0..drive.exposures.len() * cameras)
        .into_par_iter()
        .map(|n| {
            let at = At {
                exposure_idx: n / cameras,
                camera_idx: n % cameras,
                number: n as u64,
            };
            image(spec, crop, drive, &lenses[at.camera_idx], at, streams)
        })
        .collect();
    images.sort_by(|a, b| {
        let (a, b) = (&a.frame, &b.frame);
        a.time_s
            .total_cmp(&b.time_s)
            .then(a.camera_idx.cmp(&b.camera_idx))
            .then_with(|| a.id.cmp(&b.id))
    });
    images
}

fn image(
    spec: &SceneSpec,
    crop: &Crop,
    drive: &Drive,
    lens: &Lens,
    at: At,
    streams: &Streams,
) -> Image {
    let exposure = &drive.exposures[at.exposure_idx];
    let orchard_from_camera = exposure
        .orchard_from_rig
        .after(&drive.mounts[at.camera_idx]);
    let looker = Looker {
        spec,
        crop,
        lens,
        camera_from_orchard: orchard_from_camera.iso.inverse(),
        time_s: exposure.true_time_s,
    };
    let sightings = look(&looker);
    let bodies = sightings
        .iter()
        .filter(|s| s.part == Part::Body && !s.phantom);
    let visible = bodies.map(|s| (s.body_idx, s.visible_share)).collect();
    let mut found = boxes::found(spec, crop, &sightings, lens, at, streams);
    extras::merge(spec, &mut found, at, streams);
    extras::duplicate(spec, &mut found, at, streams);
    extras::invent(spec, &mut found, lens, at, streams);
    found.retain_mut(|f| boxes::finish(spec, f, lens));
    found.sort_by(|a, b| b.detection.score.total_cmp(&a.detection.score));
    let camera = &drive.cameras[at.camera_idx].id;
    let frame = Frame {
        id: format!("{camera}-{:05}", at.exposure_idx),
        camera_idx: at.camera_idx,
        time_s: exposure.stamped_time_s,
        orchard_from_rig: exposure.stated,
        pass: spec.passes[exposure.pass_idx].id.clone(),
        detections: found.iter().map(|f| f.detection.clone()).collect(),
    };
    Image {
        frame,
        labels: found.iter().map(|f: &Found| f.label).collect(),
        boxes: perfect::boxes(crop, &sightings),
        true_time_s: exposure.true_time_s,
        orchard_from_rig: exposure.orchard_from_rig,
        orchard_from_camera,
        visible,
    }
}
