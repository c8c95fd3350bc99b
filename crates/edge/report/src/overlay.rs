//! One image: the detector's boxes under the outlines that the map predicts through the corrected camera.
//!
//! Meaning is in the line style first and in the colour second, so that a print without colours still reads.

use crate::svg::Svg;
use corymb_geometry::camera::Lens;
use corymb_model::frames::{CameraFrame, Orchard, Point, Pose};
use corymb_model::map::{CropMap, Fruitlet};
use corymb_model::run::{Class, Frame, Run};
use corymb_model::scene::Scene;
use nalgebra::Vector3;
use std::collections::BTreeSet;

const STYLE: &str = "\
.sheet{fill:#fff}
.ground{fill:#f6f4ee}
path,rect{fill:none}
.body{stroke:#8b7442;stroke-width:1.2}
.stem{stroke:#8b7442;stroke-width:1.2;stroke-dasharray:1 3}
.calyx{stroke:#8b7442;stroke-width:1.2;stroke-dasharray:5 2}
.unclaimed{stroke:#b4472e;stroke-width:1.6;stroke-dasharray:8 3 1 3}
.outline{stroke:#14666b;stroke-width:2}
.faint{stroke:#14666b;stroke-width:1.4;stroke-dasharray:4 4}
.hang{stroke:#4b3f8f;stroke-width:1.6}
.stalk{stroke:#2f7d3b;stroke-width:2;stroke-dasharray:7 3}
.limb{stroke:#a9a295;stroke-width:1;stroke-dasharray:12 5}
.end{fill:#4b3f8f}
text{font-family:sans-serif;font-size:13px;fill:#333}
";
/// Points of a drawn outline.
const OUTLINE_POINTS: usize = 32;
/// Width that a legend entry needs, pixels.
const ENTRY_PX: f64 = 225.0;
/// Height of a line below the image, pixels.
const LINE_PX: f64 = 18.0;

/// What is drawn with which style, in the order of the legend.
const LEGEND: [(&str, &str); 9] = [
    ("body", "body box"),
    ("stem", "stem box"),
    ("calyx", "calyx box"),
    ("unclaimed", "box explained by nothing"),
    ("outline", "mapped fruit"),
    ("faint", "existence under one half"),
    ("hang", "axis, dot at calyx end"),
    ("stalk", "mapped stem"),
    ("limb", "limb"),
];

/// `wanted` images with a pose, evenly spaced over the run: positions in `Run::frames`, ascending.
#[must_use]
pub fn evenly_spaced(scene: &Scene, wanted: usize) -> Vec<usize> {
    let usable: Vec<usize> = (0..scene.views.len())
        .filter(|&i| scene.views[i].orchard_from_camera.is_some())
        .collect();
    if wanted >= usable.len() {
        return usable;
    }
    (0..wanted)
        .map(|k| usable[(2 * k + 1) * usable.len() / (2 * wanted)])
        .collect()
}

/// The picture of one image; `None` where there is no such image or it has no pose.
#[must_use]
pub fn svg(run: &Run, scene: &Scene, map: &CropMap, frame_idx: usize) -> Option<String> {
    let frame = run.frames.get(frame_idx)?;
    let camera = run.cameras.get(frame.camera_idx)?;
    let orchard_from_camera = scene.views.get(frame_idx)?.orchard_from_camera?;
    let eye = Eye {
        lens: Lens::new(camera),
        camera_from_orchard: orchard_from_camera.inverse(),
        size_px: [f64::from(camera.width_px), f64::from(camera.height_px)],
    };
    let mut page = Svg::default();
    page.rect("ground", [0.0, 0.0, eye.size_px[0], eye.size_px[1]]);
    draw_limbs(&mut page, run, &eye);
    draw_boxes(&mut page, frame, &claimed(map, frame_idx));
    for fruitlet in &map.fruitlets {
        draw_fruitlet(&mut page, fruitlet, &eye);
    }
    let title = format!("{}, image {}, camera {}", run.name, frame.id, camera.id);
    let height = draw_strip(&mut page, &eye, &title);
    Some(page.finish(eye.size_px[0], height, STYLE, &title))
}

/// The detections of an image that the map explains.
fn claimed(map: &CropMap, frame_idx: usize) -> BTreeSet<usize> {
    map.fruitlets
        .iter()
        .flat_map(|f| &f.detections)
        .filter(|(at, _)| at.frame_idx as usize == frame_idx)
        .map(|(at, _)| at.detection_idx as usize)
        .collect()
}

/// A camera at a place.
struct Eye {
    lens: Lens,
    camera_from_orchard: Pose<CameraFrame, Orchard>,
    size_px: [f64; 2],
}

impl Eye {
    fn see(&self, p_in_orchard: &Point<Orchard>) -> Option<[f64; 2]> {
        self.project(&self.camera_from_orchard.apply(p_in_orchard).xyz)
    }

    fn project(&self, p_in_camera: &Vector3<f64>) -> Option<[f64; 2]> {
        let px = self.lens.project(p_in_camera).ok()?;
        Some([px.x, px.y])
    }

    fn holds(&self, [x, y]: [f64; 2]) -> bool {
        (0.0..=self.size_px[0]).contains(&x) && (0.0..=self.size_px[1]).contains(&y)
    }

    /// The outline of a sphere: the circle in which the rays from the camera touch it, projected point by point.
    /// `None` where the camera is inside or any point is out of the lens's range.
    fn outline(&self, centre: &Point<Orchard>, radius_m: f64) -> Option<Vec<[f64; 2]>> {
        let c = self.camera_from_orchard.apply(centre).xyz;
        let distance = c.norm();
        if c.z <= radius_m || distance <= radius_m {
            return None;
        }
        let toward = c / distance;
        let middle = c - toward * (radius_m * radius_m / distance);
        let ring = radius_m * (1.0 - (radius_m / distance).powi(2)).sqrt();
        let across = toward.cross(&Vector3::y()).try_normalize(1e-9)?;
        let up = toward.cross(&across);
        (0..OUTLINE_POINTS)
            .map(|k| {
                // a small count
                let turn = std::f64::consts::TAU * k as f64 / OUTLINE_POINTS as f64;
                let p = middle + (across * turn.cos() + up * turn.sin()) * ring;
                self.project(&p)
            })
            .collect()
    }
}

fn draw_limbs(page: &mut Svg, run: &Run, eye: &Eye) {
    let trees = run.orchard.iter().flat_map(|o| &o.trees);
    for limb in trees.flat_map(|t| &t.limbs) {
        for pair in limb.points.windows(2) {
            let seen: Vec<[f64; 2]> = pair.iter().filter_map(|p| eye.see(p)).collect();
            if seen.iter().any(|&p| eye.holds(p)) {
                page.path("limb", &seen, false);
            }
        }
    }
}

fn draw_boxes(page: &mut Svg, frame: &Frame, claimed: &BTreeSet<usize>) {
    for (i, detection) in frame.detections.iter().enumerate() {
        let class = match detection.class {
            Class::Ignore => continue,
            _ if !claimed.contains(&i) => "unclaimed",
            Class::Stem => "stem",
            Class::Calyx => "calyx",
            _ => "body",
        };
        page.rect(class, detection.box_px);
    }
}

fn draw_fruitlet(page: &mut Svg, fruitlet: &Fruitlet, eye: &Eye) {
    let radius_m = fruitlet.diameter_m / 2.0;
    let Some(outline) = eye.outline(&fruitlet.centre, radius_m) else {
        return;
    };
    if !outline.iter().any(|&p| eye.holds(p)) {
        return;
    }
    let class = if fruitlet.is_decided() {
        "outline"
    } else {
        "faint"
    };
    page.path(class, &outline, true);
    if let Some(axis) = fruitlet.axis {
        let calyx = Point::from_vector(fruitlet.centre.xyz + axis.direction.xyz * radius_m);
        if let (Some(from), Some(to)) = (eye.see(&fruitlet.centre), eye.see(&calyx)) {
            page.path("hang", &[from, to], false);
            page.dot("end", to, 2.5);
        }
    }
    if let (Some(top), Some(spur)) = (fruitlet.stem_top, fruitlet.spur) {
        let seen: Vec<[f64; 2]> = [top, spur].iter().filter_map(|p| eye.see(p)).collect();
        page.path("stalk", &seen, false);
    }
}

/// Title and legend below the image; returns where they end.
fn draw_strip(page: &mut Svg, eye: &Eye, title: &str) -> f64 {
    let [width, top] = eye.size_px;
    // covers what was drawn beyond the image; what it has too much of the picture's edge cuts off
    page.rect("sheet", [0.0, top, width, top + 20.0 * LINE_PX]);
    let (mut x, mut y) = (8.0, top + LINE_PX);
    page.text([x, y], title);
    y += LINE_PX;
    for (class, words) in LEGEND {
        if x > 8.0 && x + ENTRY_PX > width {
            x = 8.0;
            y += LINE_PX;
        }
        page.path(class, &[[x, y - 4.0], [x + 30.0, y - 4.0]], false);
        page.text([x + 36.0, y], words);
        x += ENTRY_PX;
    }
    y + LINE_PX / 2.0
}
