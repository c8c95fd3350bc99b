//! A run folder, for simulators and importers.

use crate::read::document::VERSION;
use crate::source::Packing;
use crate::wire::frames::{DetectionWire, FrameLine, PoseLine};
use crate::wire::num::{Num, metres3};
use crate::wire::orchard::{LimbWire, ObstacleWire, OrchardFile, RowWire, TreeWire};
use crate::wire::pose::PoseWire;
use crate::wire::run::{
    CameraWire, ChancesWire, DistortionModel, DistortionWire, NoiseWire, RunFile,
};
use crate::wire::text::Word;
use crate::write::error::WriteError;
use crate::write::publish::Publication;
use corymb_model::orchard::{Limb, Obstacle, ObstacleShape, OrchardModel, Tree};
use corymb_model::run::{Camera, Class, Detection, Distortion, Frame, Run, StatedNoise, TimedPose};
use std::borrow::Cow;
use std::path::Path;

/// Files of a run folder.
const RUN_FILES: [&str; 4] = ["run.json", "frames.jsonl", "poses.jsonl", "orchard.json"];

/// Writes a run folder; `lines` says how its `.jsonl` files are packed. Detector labels are our own class names.
/// Files of another run in the folder are replaced or removed.
///
/// # Errors
/// A number that is not finite, a camera that is not there, or the disk. The folder is then as before.
pub fn write_run(dir: &Path, run: &Run, lines: Packing) -> Result<(), WriteError> {
    let all = RUN_FILES
        .iter()
        .flat_map(|name| Packing::ALL.map(|p| format!("{name}{}", p.suffix())))
        .collect();
    let mut publication = Publication::begin(dir, all)?;
    publication.json("run.json", &run_file(run))?;
    if let Some(orchard) = &run.orchard {
        publication.json("orchard.json", &orchard_file(orchard))?;
    }
    if !run.poses.is_empty() {
        let name = format!("poses.jsonl{}", lines.suffix());
        publication.json_lines(&name, run.poses.iter().map(|p| Ok(pose_line(p))))?;
    }
    let name = format!("frames.jsonl{}", lines.suffix());
    publication.json_lines(&name, run.frames.iter().map(|f| frame_line(f, run)))?;
    publication.publish()
}

fn run_file(run: &Run) -> RunFile {
    RunFile {
        version: VERSION,
        name: run.name.clone(),
        date: run.date.clone(),
        stage_bbch: run.stage_bbch,
        cameras: run.cameras.iter().map(camera).collect(),
        classes: Class::ALL
            .into_iter()
            .map(|c| (c.name().to_owned(), c.into()))
            .collect(),
        noise: (run.noise != StatedNoise::default()).then(|| noise(&run.noise)),
    }
}

fn camera(c: &Camera) -> CameraWire {
    let (model, coefficients): (_, &[f64]) = match &c.distortion {
        Distortion::None => (DistortionModel::None, &[]),
        Distortion::PlumbBob(k) => (DistortionModel::PlumbBob, k),
        Distortion::RationalPolynomial(k) => (DistortionModel::RationalPolynomial, k),
        Distortion::Equidistant(k) => (DistortionModel::Equidistant, k),
    };
    CameraWire {
        id: c.id.clone(),
        width_px: c.width_px,
        height_px: c.height_px,
        focal_px: c.focal_px.map(Num::exact),
        principal_px: c.principal_px.map(Num::exact),
        distortion: DistortionWire {
            model,
            coefficients: coefficients.iter().map(|k| Num::exact(*k)).collect(),
        },
        rig_from_camera: PoseWire::of(&c.rig_from_camera),
    }
}

fn noise(n: &StatedNoise) -> NoiseWire {
    let degrees = |radians: f64| Num::significant(radians.to_degrees());
    let mut chances = ChancesWire::default();
    for (class, chance) in &n.detection_probability {
        *chances.of(*class) = Some(Num::share(*chance));
    }
    NoiseWire {
        box_edge_px: n.box_edge_px.map(Num::significant),
        pose_translation_m: n.pose_translation_m.map(Num::significant),
        pose_rotation_deg: n.pose_rotation_rad.map(degrees),
        pose_drift_m: n.pose_drift_m.map(Num::significant),
        pose_drift_deg: n.pose_drift_rad.map(degrees),
        pose_drift_s: n.pose_drift_s.map(Num::significant),
        limb_m: n.limb_m.map(Num::significant),
        false_positives_per_frame: n.false_positives_per_frame.map(Num::significant),
        detection_probability: (!n.detection_probability.is_empty()).then_some(chances),
    }
}

fn orchard_file(orchard: &OrchardModel) -> OrchardFile {
    let row = |r: &corymb_model::orchard::Row| RowWire {
        id: r.id.clone(),
        from_m: metres3(&r.from.xyz),
        to_m: metres3(&r.to.xyz),
    };
    OrchardFile {
        version: VERSION,
        rows: orchard.rows.iter().map(row).collect(),
        trees: orchard.trees.iter().map(|t| tree(t, orchard)).collect(),
        obstacles: orchard.obstacles.iter().map(obstacle).collect(),
    }
}

fn tree(t: &Tree, orchard: &OrchardModel) -> TreeWire {
    TreeWire {
        id: t.id.clone(),
        row: orchard
            .rows
            .get(t.row_idx)
            .map_or_else(String::new, |r| r.id.clone()),
        base_m: metres3(&t.base.xyz),
        trunk_diameter_mm: t.trunk_diameter_m.map(Num::mm),
        limbs: t.limbs.iter().map(limb).collect(),
    }
}

fn limb(l: &Limb) -> LimbWire {
    LimbWire {
        id: l.id.clone(),
        kind: l.kind.into(),
        points_m: l.points.iter().map(|p| metres3(&p.xyz)).collect(),
        radii_mm: l.radii_m.iter().map(|r| Num::mm(*r)).collect(),
    }
}

fn obstacle(o: &Obstacle) -> ObstacleWire {
    let id = o.id.clone();
    match &o.shape {
        ObstacleShape::Capsule { a, b, radius_m } => ObstacleWire::Capsule {
            id,
            a_m: metres3(&a.xyz),
            b_m: metres3(&b.xyz),
            radius_mm: Num::mm(*radius_m),
        },
        ObstacleShape::Box {
            orchard_from_box,
            size_m,
        } => ObstacleWire::Box {
            id,
            orchard_from_box: PoseWire::of(orchard_from_box),
            size_m: size_m.map(Num::metres),
        },
    }
}

fn pose_line(p: &TimedPose) -> PoseLine {
    PoseLine {
        time_s: Num::seconds(p.time_s),
        orchard_from_rig: PoseWire::of(&p.orchard_from_rig),
    }
}

fn frame_line<'a>(f: &'a Frame, run: &Run) -> Result<FrameLine<'a>, WriteError> {
    let camera = run.cameras.get(f.camera_idx).ok_or(WriteError::Position {
        file: "frames.jsonl",
        kind: "camera",
        position: f.camera_idx,
        count: run.cameras.len(),
    })?;
    Ok(FrameLine {
        frame: Word(Cow::Borrowed(&f.id)),
        camera: Word(Cow::Owned(camera.id.clone())),
        time_s: Num::seconds(f.time_s),
        orchard_from_rig: f.orchard_from_rig.as_ref().map(PoseWire::of),
        pass: f.pass.as_deref().map(|p| Word(Cow::Borrowed(p))),
        detections: f.detections.iter().map(detection).collect(),
    })
}

fn detection(d: &Detection) -> DetectionWire<'_> {
    DetectionWire {
        class: Word(Cow::Borrowed(d.class.name())),
        score: Num::share(d.score),
        box_px: d.box_px.map(Num::pixels),
        depth_m: d.depth_m.map(Num::metres),
        axis_px: d.axis_px.map(|a| a.map(Num::unit)),
        damaged: d.damaged.map(Num::share),
        track: d.track.as_deref().map(|t| Word(Cow::Borrowed(t))),
    }
}
