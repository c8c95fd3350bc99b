//! What each image offers: its stem and calyx boxes on the undistorted plane, and the bodies that it looks at.
//!
//! An image's own error (a pose not quite corrected, wind) moves a body and its parts together. Where the body's own
//! box is whole, its offset from the prediction is therefore taken over for the parts, as far as the run's offsets
//! exceed what box noise alone explains.

use super::PartsConfig;
use crate::cubes::Cubes;
use corymb_geometry::Lens;
use corymb_model::run::{Class, Detection, Run};
use corymb_model::scene::{Body, Scene};
use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};

/// A body nearer to the camera than this is no sight, metres.
const NEAREST_M: f64 = 0.03;
/// An edge this near to the image's border, and its noise, may be cut by it, pixels.
const BORDER_PX: f64 = 1.0;
/// Standard deviations within which a box's extent passes for whole.
const WHOLE_WITHIN: f64 = 3.0;

/// The boxes of parts and the sights of one image.
pub(super) struct Image {
    /// Position in `Run::frames`.
    pub(super) frame_idx: u32,
    /// Rotation of `camera_from_orchard`.
    pub(super) turn: Matrix3<f64>,
    /// Standard deviation of a box edge on the plane z = 1.
    pub(super) edge: f64,
    /// Stem boxes.
    pub(super) stems: Vec<PartBox>,
    /// Calyx boxes.
    pub(super) calyces: Vec<PartBox>,
    /// Positions in [`Sights::all`].
    pub(super) sights: Vec<usize>,
}

/// A box on the plane z = 1 of its camera.
pub(super) struct PartBox {
    /// Position in `Frame::detections`.
    pub(super) detection_idx: u32,
    /// Left, top.
    pub(super) low: Vector2<f64>,
    /// Right, bottom.
    pub(super) high: Vector2<f64>,
    /// Whether the image's border may have cut the left or top edge.
    pub(super) low_cut: [bool; 2],
    /// Whether the image's border may have cut the right or bottom edge.
    pub(super) high_cut: [bool; 2],
}

impl PartBox {
    /// Its centre.
    pub(super) fn centre(&self) -> Vector2<f64> {
        0.5 * (self.low + self.high)
    }
}

/// A body in an image that can show parts of it.
pub(super) struct Sight {
    /// Position in [`Sights::images`].
    pub(super) image_idx: usize,
    /// Position in `Scene::bodies`.
    pub(super) body_idx: usize,
    /// The body's centre in the camera frame.
    pub(super) p_in_camera: Vector3<f64>,
    /// What to add to a prediction on the plane z = 1.
    pub(super) shift: Vector2<f64>,
    /// Standard deviation per axis of what `shift` leaves.
    pub(super) local: f64,
    /// Whether the body has a box of its own in this image.
    pub(super) has_box: bool,
    /// Image direction of the body's axis as the detector gives it, on the plane z = 1.
    pub(super) image_axis: Option<Vector2<f64>>,
    /// Stem boxes within reach: positions in [`Image::stems`].
    pub(super) stems: Vec<usize>,
    /// Calyx boxes within the outline: positions in [`Image::calyces`].
    pub(super) calyces: Vec<usize>,
}

impl Sight {
    /// Where a point appears on the plane z = 1, given its offset from the body's centre in the orchard frame.
    pub(super) fn see(&self, image: &Image, offset: &Vector3<f64>) -> Vector2<f64> {
        let q = self.p_in_camera + image.turn * offset;
        let per_z = 1.0 / q.z.max(NEAREST_M);
        Vector2::new(q.x * per_z, q.y * per_z) + self.shift
    }

    /// Where the body's centre appears.
    pub(super) fn at(&self) -> Vector2<f64> {
        let p = &self.p_in_camera;
        Vector2::new(p.x / p.z, p.y / p.z) + self.shift
    }
}

/// Every image and every sight of a run.
pub(super) struct Sights {
    /// Images with a pose.
    pub(super) images: Vec<Image>,
    /// Sights, by body and then by image.
    pub(super) all: Vec<Sight>,
    /// First position in `all` of each body, and one past the last.
    starts: Vec<usize>,
}

impl Sights {
    /// Prepares a run. O(images x bodies in view x part boxes).
    pub(super) fn new(run: &Run, scene: &Scene, config: &PartsConfig) -> Sights {
        let lenses: Vec<Lens> = run.cameras.iter().map(Lens::new).collect();
        let boxes_of_frame = boxes_by_frame(run, scene);
        let looks: Vec<Look<'_>> = (0..run.frames.len())
            .filter_map(|frame_idx| {
                Look::new(
                    run,
                    scene,
                    &lenses,
                    frame_idx,
                    boxes_of_frame.get(frame_idx)?,
                )
            })
            .collect();
        let local_px = local_deviation_px(scene, &looks);
        let cubes = Cubes::of(scene.bodies.iter().map(|b| (b.centre.xyz, b.radius_m)));
        let mut images = Vec::with_capacity(looks.len());
        let mut all = Vec::new();
        for look in looks {
            let image_idx = images.len();
            let image = look.image(scene.box_edge_px);
            all.extend(look.sights(image_idx, &image, scene, &cubes, local_px, config));
            images.push(image);
        }
        all.sort_by_key(|s| (s.body_idx, s.image_idx));
        for (i, s) in all.iter().enumerate() {
            images[s.image_idx].sights.push(i);
        }
        let starts = (0..=scene.bodies.len())
            .map(|b| all.partition_point(|s| s.body_idx < b))
            .collect();
        Sights {
            images,
            all,
            starts,
        }
    }

    /// The sights of a body: their positions in [`Sights::all`].
    pub(super) fn of_body(&self, body_idx: usize) -> std::ops::Range<usize> {
        self.starts[body_idx]..self.starts[body_idx + 1]
    }

    /// The image of a sight.
    pub(super) fn image(&self, sight: &Sight) -> &Image {
        &self.images[sight.image_idx]
    }
}

/// For each frame the bodies with a box there, and the box's position.
fn boxes_by_frame(run: &Run, scene: &Scene) -> Vec<Vec<(usize, u32)>> {
    let mut out = vec![Vec::new(); run.frames.len()];
    for (body_idx, body) in scene.bodies.iter().enumerate() {
        for at in &body.boxes {
            if let Some(list) = out.get_mut(at.frame_idx as usize) {
                list.push((body_idx, at.detection_idx));
            }
        }
    }
    out
}

/// An image while it is being prepared.
struct Look<'a> {
    frame_idx: u32,
    detections: &'a [Detection],
    lens: &'a Lens,
    turn: Matrix3<f64>,
    origin: Vector3<f64>,
    /// Own boxes of bodies: body, box on the plane, image axis.
    own: Vec<OwnBox>,
}

struct OwnBox {
    body_idx: usize,
    offset: Vector2<f64>,
    whole: [bool; 2],
    image_axis: Option<Vector2<f64>>,
}

impl<'a> Look<'a> {
    fn new(
        run: &'a Run,
        scene: &Scene,
        lenses: &'a [Lens],
        frame_idx: usize,
        boxes: &[(usize, u32)],
    ) -> Option<Look<'a>> {
        let frame = run.frames.get(frame_idx)?;
        let lens = lenses.get(frame.camera_idx)?;
        let orchard_from_camera = scene.views.get(frame_idx)?.orchard_from_camera?;
        let turn = orchard_from_camera
            .iso
            .rotation
            .to_rotation_matrix()
            .into_inner()
            .transpose();
        let origin = orchard_from_camera.origin().xyz;
        let frame_idx = u32::try_from(frame_idx).ok()?;
        let mut look = Look {
            frame_idx,
            detections: &frame.detections,
            lens,
            turn,
            origin,
            own: Vec::new(),
        };
        for &(body_idx, detection_idx) in boxes {
            let (body, d) = (
                scene.bodies.get(body_idx)?,
                frame.detections.get(detection_idx as usize)?,
            );
            look.own
                .extend(look.own_box(body_idx, body, d, scene.box_edge_px));
        }
        look.own.sort_by_key(|o| o.body_idx);
        Some(look)
    }

    fn own_box(&self, body_idx: usize, body: &Body, d: &Detection, edge_px: f64) -> Option<OwnBox> {
        let p = self.turn * (body.centre.xyz - self.origin);
        let (low, high) = outline(&p, body.radius_m)?;
        let (seen_low, seen_high, by_px) = flatten(self.lens, &d.box_px)?;
        let tolerance =
            WHOLE_WITHIN * std::f64::consts::SQRT_2 * edge_px / self.lens.mean_focal_px();
        let extent = (seen_high - seen_low) - (high - low);
        Some(OwnBox {
            body_idx,
            offset: 0.5 * (seen_low + seen_high - low - high),
            whole: [extent.x.abs() < tolerance, extent.y.abs() < tolerance],
            image_axis: d
                .axis_px
                .and_then(|a| (by_px * Vector2::from(a)).try_normalize(1e-12)),
        })
    }

    fn image(&self, edge_px: f64) -> Image {
        let margin_px = BORDER_PX + edge_px;
        let boxes = |class: Class| {
            let of_class = self
                .detections
                .iter()
                .enumerate()
                .filter(move |(_, d)| d.class == class);
            of_class
                .filter_map(|(i, d)| {
                    let (low, high, _) = flatten(self.lens, &d.box_px)?;
                    let (w, h) = (self.lens.width_px(), self.lens.height_px());
                    let [x0, y0, x1, y1] = d.box_px;
                    Some(PartBox {
                        detection_idx: u32::try_from(i).ok()?,
                        low,
                        high,
                        low_cut: [x0 < margin_px, y0 < margin_px],
                        high_cut: [x1 > w - margin_px, y1 > h - margin_px],
                    })
                })
                .collect()
        };
        Image {
            frame_idx: self.frame_idx,
            turn: self.turn,
            edge: edge_px / self.lens.mean_focal_px(),
            stems: boxes(Class::Stem),
            calyces: boxes(Class::Calyx),
            sights: Vec::new(),
        }
    }

    fn sights(
        &self,
        image_idx: usize,
        image: &Image,
        scene: &Scene,
        cubes: &Cubes,
        local_px: f64,
        config: &PartsConfig,
    ) -> Vec<Sight> {
        let mut out = Vec::new();
        let local = local_px / self.lens.mean_focal_px();
        let (low, high) = bounds(self.lens);
        let shown = cubes.that(|centre, reach_m| {
            let p = self.turn * (centre - self.origin);
            meets(&p, reach_m, config.longest_stem_m, &low, &high)
        });
        for body_idx in shown {
            let body = &scene.bodies[body_idx];
            let p = self.turn * (body.centre.xyz - self.origin);
            // a fruit out of the image may still show its stem there
            let reach_m = body.radius_m + config.longest_stem_m;
            if p.z < NEAREST_M || !inside(&p, reach_m, &low, &high) {
                continue;
            }
            let own = self
                .own
                .binary_search_by_key(&body_idx, |o| o.body_idx)
                .ok()
                .map(|i| &self.own[i]);
            let (shift, left) = anchor(own, local, image.edge);
            let mut sight = Sight {
                image_idx,
                body_idx,
                p_in_camera: p,
                shift,
                local: left,
                has_box: own.is_some(),
                image_axis: own.and_then(|o| o.image_axis),
                stems: Vec::new(),
                calyces: Vec::new(),
            };
            sight.find_candidates(image, body.radius_m, config);
            if sight.has_box || !sight.stems.is_empty() || !sight.calyces.is_empty() {
                out.push(sight);
            }
        }
        out
    }
}

impl Sight {
    fn find_candidates(&mut self, image: &Image, radius_m: f64, config: &PartsConfig) {
        let (at, z) = (self.at(), self.p_in_camera.z);
        let slack = WHOLE_WITHIN * (image.edge + self.local);
        let outline = config.length_over_diameter * radius_m / z + slack;
        let begins = outline + config.largest_gap_m / z;
        let ends = outline + config.longest_stem_m / z;
        let near = |b: &PartBox| {
            let away = Vector2::new(
                apart(at.x, b.low.x, b.high.x),
                apart(at.y, b.low.y, b.high.y),
            );
            let far = Vector2::new(
                farthest(at.x, b.low.x, b.high.x),
                farthest(at.y, b.low.y, b.high.y),
            );
            away.norm_squared() < begins * begins && far.norm_squared() < ends * ends
        };
        self.stems = (0..image.stems.len())
            .filter(|&i| near(&image.stems[i]))
            .collect();
        // off the camera's axis an outline stretches outwards, by at most its slant
        let slant = (1.0 + at.norm_squared()).sqrt();
        let within = |b: &PartBox| (b.centre() - at).norm_squared() < (slant * outline).powi(2);
        self.calyces = (0..image.calyces.len())
            .filter(|&i| within(&image.calyces[i]))
            .collect();
    }
}

/// Distance from `x` to the interval.
fn apart(x: f64, low: f64, high: f64) -> f64 {
    (low - x).max(x - high).max(0.0)
}

/// Distance from `x` to the farther end of the interval.
fn farthest(x: f64, low: f64, high: f64) -> f64 {
    (x - low).abs().max((x - high).abs())
}

/// How the body's own box shifts predictions in its image, and the deviation that is left: the offset, shrunk by what
/// box noise contributes to it.
fn anchor(own: Option<&OwnBox>, local: f64, edge: f64) -> (Vector2<f64>, f64) {
    let none = (Vector2::zeros(), local);
    let Some(own) = own else { return none };
    let total = local * local + 0.5 * edge * edge;
    if total <= 0.0 {
        return none;
    }
    let keep = local * local / total;
    let shift = Vector2::new(
        if own.whole[0] {
            keep * own.offset.x
        } else {
            0.0
        },
        if own.whole[1] {
            keep * own.offset.y
        } else {
            0.0
        },
    );
    let left = if own.whole[0] && own.whole[1] {
        local * (1.0 - keep).sqrt()
    } else {
        local
    };
    (shift, left)
}

/// Standard deviation per axis of whole boxes' offsets beyond box noise, pixels: from the median, so that boxes of
/// something else do not count.
fn local_deviation_px(scene: &Scene, looks: &[Look<'_>]) -> f64 {
    let mut sizes: Vec<f64> = Vec::new();
    for look in looks {
        let focal = look.lens.mean_focal_px();
        for own in &look.own {
            sizes.extend(
                (0..2)
                    .filter(|&k| own.whole[k])
                    .map(|k| own.offset[k].abs() * focal),
            );
        }
    }
    if sizes.is_empty() {
        return 0.0;
    }
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
    let spread = 1.4826 * *median;
    (spread * spread - 0.5 * scene.box_edge_px * scene.box_edge_px)
        .max(0.0)
        .sqrt()
}

/// Box of a sphere on the plane z = 1: the tangents of the angles at which planes through the camera centre touch it.
/// `None` where it reaches the camera's own plane.
fn outline(p: &Vector3<f64>, radius_m: f64) -> Option<(Vector2<f64>, Vector2<f64>)> {
    let side = |across: f64| {
        let away = across.hypot(p.z);
        let half = (radius_m / away).min(1.0).asin();
        let middle = across.atan2(p.z);
        let limit = std::f64::consts::FRAC_PI_2;
        (middle - half > -limit && middle + half < limit)
            .then(|| ((middle - half).tan(), (middle + half).tan()))
    };
    let (x, y) = (side(p.x)?, side(p.y)?);
    Some((Vector2::new(x.0, y.0), Vector2::new(x.1, y.1)))
}

/// A box on the plane z = 1, and the derivative of that plane by pixels at its centre. The lens is taken as linear
/// over the box.
fn flatten(lens: &Lens, b: &[f64; 4]) -> Option<(Vector2<f64>, Vector2<f64>, Matrix2<f64>)> {
    let middle = Vector2::new(0.5 * (b[0] + b[2]), 0.5 * (b[1] + b[3]));
    let (n, by_px) = lens.undistort_with_jacobian(&middle).ok()?;
    let half = Vector2::new(
        0.5 * (b[2] - b[0]) * by_px.m11,
        0.5 * (b[3] - b[1]) * by_px.m22,
    );
    Some((n - half, n + half, by_px))
}

/// What of the plane z = 1 the image covers, generously; a lens that cannot say covers ninety degrees.
fn bounds(lens: &Lens) -> (Vector2<f64>, Vector2<f64>) {
    let (w, h) = (lens.width_px(), lens.height_px());
    let (mut low, mut high) = (Vector2::repeat(-1.0), Vector2::repeat(1.0));
    let border = [
        (0.0, 0.0),
        (w, 0.0),
        (0.0, h),
        (w, h),
        (0.5 * w, 0.0),
        (0.5 * w, h),
        (0.0, 0.5 * h),
        (w, 0.5 * h),
    ];
    let seen: Vec<Vector2<f64>> = border
        .iter()
        .filter_map(|&(x, y)| lens.undistort(&Vector2::new(x, y)).ok())
        .collect();
    if seen.len() == border.len() {
        low = seen
            .iter()
            .fold(Vector2::repeat(f64::INFINITY), |a, n| a.inf(n));
        high = seen
            .iter()
            .fold(Vector2::repeat(f64::NEG_INFINITY), |a, n| a.sup(n));
    }
    (low, high)
}

/// Whether [`inside`] may hold for a point of a sphere, with a reach that much beyond it.
fn meets(
    centre: &Vector3<f64>,
    radius_m: f64,
    reach_m: f64,
    low: &Vector2<f64>,
    high: &Vector2<f64>,
) -> bool {
    // how far a point lies beyond a bound changes by this much at most when it moves by one
    let within = |beyond: f64, bound: f64| beyond < reach_m + radius_m * (1.0 + bound.hypot(1.0));
    let z = centre.z;
    z > NEAREST_M - radius_m
        && within(low.x * z - centre.x, low.x)
        && within(centre.x - high.x * z, high.x)
        && within(low.y * z - centre.y, low.y)
        && within(centre.y - high.y * z, high.y)
}

/// Whether anything within `reach_m` of a point may lie in the image.
fn inside(p: &Vector3<f64>, reach_m: f64, low: &Vector2<f64>, high: &Vector2<f64>) -> bool {
    let (x, y, r) = (p.x / p.z, p.y / p.z, reach_m / p.z);
    x > low.x - r && x < high.x + r && y > low.y - r && y < high.y + r
}
