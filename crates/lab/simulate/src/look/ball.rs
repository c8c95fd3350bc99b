//! Round things: outline, visible part, visible share.

use super::occluders::{Cone, Occluder, Sight};
use super::parts::Sighting;
use super::sampling::{BoxPx, EMPTY, area, clip, extreme, inside, outward, take_in};
use super::spheroid::{Disc, Spheroid};
use super::view::Looker;
use nalgebra::Vector3;

/// Samples along an outline.
const RIM: usize = 72;
/// Rings inside it.
const RINGS: usize = 10;
/// Samples on each ring.
const ON_RING: usize = 48;
/// What hides must be nearer by this, metres.
const MARGIN_M: f64 = 1e-4;

/// A sample of an outline in space and in the image.
type Sample = (Vector3<f64>, [f64; 2]);

impl Looker<'_> {
    /// A spheroid; bodies named `own` do not hide it.
    pub(super) fn ball(
        &self,
        shape: &Spheroid,
        own: Option<usize>,
        all: &[Occluder],
        blank: &Sighting,
    ) -> Option<Sighting> {
        let disc = shape.disc()?;
        let rim = self.rim(&disc)?;
        let whole_px = self.whole(&disc, &rim)?;
        if area(&clip(&whole_px, self.lens.size_px())) <= 0.0 {
            return None;
        }
        let cone = Cone::about(&shape.centre, shape.outer_radius());
        let before =
            |o: &&Occluder| (o.body_idx.is_none() || o.body_idx != own) && o.may_hide(&cone);
        let near: Vec<&Occluder> = all.iter().filter(before).collect();
        let (box_px, visible_share) = self.visible(shape, &disc, &rim, &whole_px, &near);
        (visible_share > 0.0).then_some(Sighting {
            box_px,
            whole_px,
            visible_share,
            ..*blank
        })
    }

    /// Samples of the outline; `None` where some of it cannot be imaged.
    fn rim(&self, disc: &Disc) -> Option<Vec<Sample>> {
        (0..RIM)
            .map(|k| {
                let p = disc.at(1.0, k as f64 / RIM as f64);
                self.lens.project(&p).map(|px| (p, px))
            })
            .collect()
    }

    fn whole(&self, disc: &Disc, rim: &[Sample]) -> Option<BoxPx> {
        let mut edges = [0.0; 4];
        for (k, edge) in edges.iter_mut().enumerate() {
            let best = farthest(rim, k)?;
            let value = extreme(&|turn| disc.at(1.0, turn), self.lens, best, RIM, k)?;
            *edge = if k < 2 { -value } else { value };
        }
        Some(edges)
    }

    /// Box and share of what is not hidden.
    fn visible(
        &self,
        shape: &Spheroid,
        disc: &Disc,
        rim: &[Sample],
        whole_px: &BoxPx,
        near: &[&Occluder],
    ) -> (BoxPx, f64) {
        let size_px = self.lens.size_px();
        if near.is_empty() && clip(whole_px, size_px) == *whole_px {
            return (*whole_px, 1.0);
        }
        let hidden = |p: &Vector3<f64>| {
            let sight = Sight::to(p);
            near.iter().any(|o| o.hides(&sight, MARGIN_M))
        };
        let mut box_px = EMPTY;
        let mut shown = 0_usize;
        for (share, turn) in rings() {
            let p = disc.at(share, turn);
            // the near surface, not the disc inside the body, must be free
            let surface = p * shape.entry(&p).unwrap_or(1.0);
            let Some(px) = self.lens.project(&surface) else {
                continue;
            };
            if !hidden(&surface) {
                take_in(&mut box_px, &px);
                shown += usize::from(inside(&px, size_px));
            }
        }
        let open: Vec<bool> = rim.iter().map(|(p, _)| !hidden(p)).collect();
        for ((_, px), _) in rim.iter().zip(&open).filter(|(_, open)| **open) {
            take_in(&mut box_px, px);
        }
        // an edge whose outermost sample is free is where it would be without anything in front
        for (k, edge) in box_px.iter_mut().enumerate() {
            if farthest(rim, k).is_some_and(|best| open[best]) {
                *edge = whole_px[k];
            }
        }
        (
            clip(&box_px, size_px),
            shown as f64 / (RINGS * ON_RING) as f64,
        )
    }
}

/// Shares of the rim's radius and turns of the samples inside an outline, each standing for an equal area.
fn rings() -> impl Iterator<Item = (f64, f64)> {
    (0..RINGS).flat_map(|r| {
        let share = ((r as f64 + 0.5) / RINGS as f64).sqrt();
        let offset = if r % 2 == 0 { 0.0 } else { 0.5 };
        (0..ON_RING).map(move |k| (share, (k as f64 + offset) / ON_RING as f64))
    })
}

fn farthest(rim: &[Sample], k: usize) -> Option<usize> {
    let reach = |i: &usize| {
        rim.get(*i)
            .map_or(f64::NEG_INFINITY, |(_, px)| outward(px, k))
    };
    (0..rim.len()).max_by(|a, b| reach(a).total_cmp(&reach(b)).then(b.cmp(a)))
}
