//! Residuals of box edges, a camera: each edge, and all by distance.

use super::spread::spread;
use crate::bodies::{Landmark, radius_px, residuals_at_rest};
use crate::fuse::Work;
use corymb_model::diagnostics::{CameraResiduals, DistanceBand, EdgeResiduals};

/// Bodies with fewer boxes follow their errors.
pub(super) const FEWEST_BOXES: usize = 3;
/// Ends of the distance bands, metres: what lies nearer than the first, between two, and beyond the last.
const BANDS_M: [f64; 8] = [0.3, 0.45, 0.6, 0.8, 1.0, 1.4, 2.0, 3.0];

/// Residuals of many edges under way.
#[derive(Default)]
struct Edges {
    px: Vec<f64>,
    unhidden: f64,
    unhidden_px: f64,
    hidden: f64,
}

impl Edges {
    /// `core`: share of the edge's density that the error of an unhidden edge explains.
    fn add(&mut self, px: f64, core: f64) {
        self.px.push(px);
        self.unhidden += core;
        self.unhidden_px += core * px;
        if px < 0.0 {
            self.hidden += 1.0 - core;
        }
    }

    fn told(mut self) -> EdgeResiduals {
        let count = self.px.len();
        EdgeResiduals {
            count,
            mean_px: (self.unhidden > 0.0).then(|| self.unhidden_px / self.unhidden),
            spread_px: spread(&mut self.px).spread_px,
            occluded_share: (count > 0).then(|| self.hidden / count as f64),
        }
    }
}

#[derive(Default)]
struct OfCamera {
    edges: [Edges; 4],
    bands: [Edges; BANDS_M.len() + 1],
}

/// The residuals of each camera.
pub(super) fn of_cameras(work: &Work<'_>, landmarks: &[&Landmark]) -> Vec<CameraResiduals> {
    let mut cameras: Vec<OfCamera> = Vec::new();
    cameras.resize_with(work.run.cameras.len(), OfCamera::default);
    let model = &work.evidence.model;
    for l in landmarks.iter().filter(|l| l.boxes.len() >= FEWEST_BOXES) {
        for &i in &l.boxes {
            let b = &work.obs.boxes[i];
            let c = work.stand.placed[b.frame].into_camera(&l.centre());
            let law = model.at(radius_px(b, c.norm(), l.radius()));
            let of = &mut cameras[work.stand.camera_of[b.frame]];
            let band = BANDS_M.partition_point(|&end| end <= c.norm());
            let all = residuals_at_rest(b, &c, l.radius(), model);
            for (k, e) in all.iter().enumerate().filter(|(k, _)| b.usable[*k]) {
                let (px, core) = (e.metres / e.m_per_px, law.core_share(e.metres / e.sigma_m));
                of.edges[k].add(px, core);
                of.bands[band].add(px, core);
            }
        }
    }
    let told = |(camera_idx, of): (usize, OfCamera)| CameraResiduals {
        camera_idx,
        edges: of.edges.map(Edges::told),
        bands: bands(of.bands),
    };
    cameras.into_iter().enumerate().map(told).collect()
}

fn bands(of: [Edges; BANDS_M.len() + 1]) -> Vec<DistanceBand> {
    let told = |(k, edges): (usize, Edges)| DistanceBand {
        from_m: k.checked_sub(1).map_or(0.0, |before| BANDS_M[before]),
        to_m: BANDS_M.get(k).copied(),
        edges: edges.told(),
    };
    let all = of.into_iter().enumerate().map(told);
    all.filter(|band| band.edges.count > 0).collect()
}
