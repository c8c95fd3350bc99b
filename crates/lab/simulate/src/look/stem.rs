//! Stems: bent lines with a width.

use super::occluders::{Cone, Occluder, Sight};
use super::parts::Sighting;
use super::sampling::{EMPTY, clip, inside, take_in};
use super::view::Looker;
use crate::grow::TrueBody;
use nalgebra::Vector3;

/// Pieces of a stem between samples.
const ALONG_STEM: usize = 48;
/// A stem is not hidden by what it touches: margin in metres.
const TOUCH_M: f64 = 0.001;

impl Looker<'_> {
    /// A stem; its own body may hide it.
    pub(super) fn stem(
        &self,
        body: &TrueBody,
        shift: &Vector3<f64>,
        all: &[Occluder],
        blank: &Sighting,
    ) -> Option<Sighting> {
        let half_width_m = 0.5e-3 * self.spec.crop.stem_diameter_mm;
        let points = self.stem_points(body, shift);
        let middle = points.get(points.len() / 2)?;
        let reach = points
            .iter()
            .map(|p| (p - middle).norm())
            .fold(half_width_m, f64::max);
        let cone = Cone::about(middle, reach);
        let near: Vec<&Occluder> = all.iter().filter(|o| o.may_hide(&cone)).collect();
        let (mut whole_px, mut box_px) = (EMPTY, EMPTY);
        let mut shown = 0_usize;
        for p in &points {
            let px = self.lens.project(p)?;
            let pad_px = half_width_m * self.lens.pixels_per_unit() / p.z;
            let around = [
                [px[0] - pad_px, px[1] - pad_px],
                [px[0] + pad_px, px[1] + pad_px],
            ];
            around.iter().for_each(|q| take_in(&mut whole_px, q));
            if !near.iter().any(|o| o.hides(&Sight::to(p), TOUCH_M)) {
                around.iter().for_each(|q| take_in(&mut box_px, q));
                shown += usize::from(inside(&px, self.lens.size_px()));
            }
        }
        let visible_share = shown as f64 / points.len() as f64;
        let near_m = points.iter().map(|p| p.z).fold(f64::INFINITY, f64::min) - half_width_m;
        let box_px = clip(&box_px, self.lens.size_px());
        (shown > 0).then_some(Sighting {
            box_px,
            whole_px,
            visible_share,
            near_m,
            ..*blank
        })
    }

    /// Evenly along the stem; the spur's end stays, the body's end sways with it.
    fn stem_points(&self, body: &TrueBody, shift: &Vector3<f64>) -> Vec<Vector3<f64>> {
        let pieces = body.stem.len().saturating_sub(1);
        (0..=ALONG_STEM)
            .filter_map(|k| {
                let at = pieces as f64 * k as f64 / ALONG_STEM as f64;
                let i = (at as usize).min(pieces.saturating_sub(1));
                let (a, b) = (body.stem.get(i)?.xyz, body.stem.get(i + 1)?.xyz);
                let p = a + (b - a) * (at - i as f64) + shift * (k as f64 / ALONG_STEM as f64);
                Some(self.to_camera(&p))
            })
            .collect()
    }
}
