//! Tracks that meet in space are one fruit.

use super::cameras::Placement;
use super::{Found, PlainConfig};

/// Joins tracks, nearest first, that lie within a share of their radii and have no image in common. O(n^2).
pub(super) fn join(
    placement: &Placement,
    mut found: Vec<Found>,
    config: &PlainConfig,
) -> Vec<Found> {
    loop {
        let mut near: Vec<(f64, usize, usize)> = Vec::new();
        for (a, fa) in found.iter().enumerate() {
            for (b, fb) in found.iter().enumerate().skip(a + 1) {
                let apart = (fa.centre - fb.centre).norm();
                let within = config.join_within * (fa.radius_m + fb.radius_m);
                if apart < within && !share_an_image(fa, fb) {
                    near.push((apart, a, b));
                }
            }
        }
        if near.is_empty() {
            return found;
        }
        near.sort_by(|p, q| p.0.total_cmp(&q.0).then((p.1, p.2).cmp(&(q.1, q.2))));
        let mut used = vec![false; found.len()];
        let mut joined = Vec::new();
        for (_, a, b) in near {
            if used[a] || used[b] {
                continue;
            }
            (used[a], used[b]) = (true, true);
            let mut boxes = found[a].boxes.clone();
            boxes.extend(&found[b].boxes);
            boxes.sort_unstable();
            joined.push(placement.sphere(&boxes).unwrap_or(Found {
                boxes,
                ..found[a].clone()
            }));
        }
        let mut used = used.into_iter();
        found.retain(|_| !used.next().unwrap_or(false));
        found.extend(joined);
    }
}

fn share_an_image(a: &Found, b: &Found) -> bool {
    let images: Vec<u32> = a.boxes.iter().map(|x| x.frame_idx).collect();
    b.boxes.iter().any(|x| images.contains(&x.frame_idx))
}
