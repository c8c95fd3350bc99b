//! Body boxes as four planes each, in the camera frame, and the images they lie in.
//!
//! A sphere (centre c, radius r) that touches the plane of a box edge satisfies `normal . c = r` with the inward
//! normal: one linear equation an edge.

use crate::bodies::Placed;
use crate::depth::Depth;
use crate::tracks::Tracks;
use corymb_geometry::camera::Lens;
use corymb_geometry::edges::box_planes;
use corymb_model::run::{Class, Run};
use nalgebra::{Vector2, Vector3};

/// A body box.
#[derive(Debug, Clone)]
pub(crate) struct BoxObs {
    /// Position in `Run::frames`.
    pub(crate) frame: usize,
    /// Position in the frame's detections.
    pub(crate) det: usize,
    pub(crate) class: Class,
    /// Inward unit normals, camera frame: left, top, right, bottom.
    pub(crate) normals: [Vector3<f64>; 4],
    /// Turn of each plane for one pixel.
    pub(crate) rad_per_px: [f64; 4],
    /// False where the image border cuts the edge.
    pub(crate) usable: [bool; 4],
    /// Unit vector through the box's middle, camera frame.
    pub(crate) ray: Vector3<f64>,
    /// The same on the plane z = 1.
    pub(crate) at: Vector2<f64>,
    /// Mean half opening angle over the usable pairs of edges (sine), as if nothing were hidden.
    pub(crate) half_angle: f64,
    pub(crate) depth: Option<Depth>,
    /// Squared cosine of each edge's normal with the plumb line.
    pub(crate) plumb_share: [f64; 4],
    /// How far the motion that the body shares with its neighbours takes it off each edge's plane, metres.
    pub(crate) swayed_m: [f64; 4],
}

/// All body boxes, ordered by frame, and where each frame's begin.
#[derive(Debug, Default)]
pub(crate) struct Observations {
    pub(crate) boxes: Vec<BoxObs>,
    /// `boxes[starts[f]..starts[f + 1]]` are those of frame f.
    pub(crate) starts: Vec<usize>,
    pub(crate) lenses: Vec<Lens>,
    /// What of the plane z = 1 each camera's image covers.
    pub(crate) covers: Vec<Cover>,
    /// The detector's own tracks.
    pub(crate) tracks: Tracks,
}

/// A rectangle on the plane z = 1 that holds an image.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Cover {
    low: Vector2<f64>,
    high: Vector2<f64>,
}

/// Share of an image's longer side that a cover reaches to each side of the axis at most, and where the lens cannot
/// tell.
const WIDEST: f64 = 0.75;
/// Points along each side of an image's border that its cover is taken from.
const BORDER_STEPS: usize = 8;

impl Cover {
    fn new(lens: &Lens) -> Self {
        let (w, h) = (lens.width_px(), lens.height_px());
        let most = Vector2::repeat(WIDEST * w.max(h) / lens.mean_focal_px());
        let mut cover = Self {
            low: most,
            high: -most,
        };
        for k in 0..=BORDER_STEPS {
            let t = k as f64 / BORDER_STEPS as f64;
            for px in [(t * w, 0.0), (t * w, h), (0.0, t * h), (w, t * h)] {
                let Ok(at) = lens.undistort(&Vector2::new(px.0, px.1)) else {
                    return Self {
                        low: -most,
                        high: most,
                    };
                };
                cover.low = cover.low.inf(&at);
                cover.high = cover.high.sup(&at);
            }
        }
        Self {
            low: cover.low.sup(&-most),
            high: cover.high.inf(&most),
        }
    }

    /// Whether a sphere in the camera frame may reach into the image.
    pub(crate) fn meets(&self, centre: &Vector3<f64>, radius_m: f64) -> bool {
        let beyond = |plane: f64, across: f64| {
            let off = across - plane * centre.z;
            off * off > radius_m * radius_m * (1.0 + plane * plane)
        };
        let outside = |low: f64, high: f64, v: f64| {
            (v < low * centre.z && beyond(low, v)) || (v > high * centre.z && beyond(high, v))
        };
        centre.z > -radius_m
            && !outside(self.low.x, self.high.x, centre.x)
            && !outside(self.low.y, self.high.y, centre.y)
    }
}

impl Observations {
    pub(crate) fn of_frame(&self, frame: usize) -> std::ops::Range<usize> {
        self.starts[frame]..self.starts[frame + 1]
    }

    /// Tells every box which way is down, by poses whose errors do not matter to it.
    pub(crate) fn set_plumb(&mut self, placed: &[Placed]) {
        for b in &mut self.boxes {
            let down = placed[b.frame].down();
            b.plumb_share = b.normals.map(|n| n.dot(&down).powi(2));
        }
    }

    /// Reads the run's body boxes; boxes that no lens model can undistort are passed over.
    pub(crate) fn new(run: &Run, border_px: f64) -> Self {
        let lenses: Vec<Lens> = run.cameras.iter().map(Lens::new).collect();
        let mut boxes = Vec::new();
        let mut starts = vec![0];
        for (frame, f) in run.frames.iter().enumerate() {
            let lens = &lenses[f.camera_idx];
            for (det, d) in f.detections.iter().enumerate() {
                if d.class.is_body()
                    && let Some(b) = observe(lens, frame, det, d, border_px)
                {
                    boxes.push(b);
                }
            }
            starts.push(boxes.len());
        }
        Self {
            tracks: Tracks::new(run, boxes.iter().map(|b| (b.frame, b.det))),
            boxes,
            starts,
            covers: lenses.iter().map(Cover::new).collect(),
            lenses,
        }
    }
}

fn observe(
    lens: &Lens,
    frame: usize,
    det: usize,
    d: &corymb_model::run::Detection,
    border_px: f64,
) -> Option<BoxObs> {
    let planes = box_planes(lens, &d.box_px, border_px).ok()?;
    let normals = planes.each_ref().map(|p| p.normal);
    // the ray in the middle: equally far from opposite planes
    let across = normals[0] - normals[2];
    let down = normals[1] - normals[3];
    let ray = across.cross(&down).normalize();
    let ray = if ray.z < 0.0 { -ray } else { ray };
    if !ray.iter().all(|v| v.is_finite()) || ray.z < 1e-3 {
        return None;
    }
    let usable = planes.each_ref().map(|p| !p.on_border);
    let sines = normals.map(|n| n.dot(&ray));
    Some(BoxObs {
        frame,
        det,
        class: d.class,
        rad_per_px: planes.each_ref().map(|p| p.rad_per_px),
        usable,
        half_angle: sines.iter().sum::<f64>() / 4.0,
        at: Vector2::new(ray.x / ray.z, ray.y / ray.z),
        ray,
        normals,
        depth: d.depth_m.map(Depth::new),
        plumb_share: [0.0; 4],
        swayed_m: [0.0; 4],
    })
}
