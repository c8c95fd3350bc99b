//! The detector's own tracks: right most of the time, broken off now and then.

use super::At;
use crate::streams::{Draw, Purpose, Streams};
use rand::RngExt;

/// Name of the track that a body carries in an image. It says nothing of the body.
pub(super) fn name(switch_probability: f64, body_idx: usize, at: At, streams: &Streams) -> String {
    let body = body_idx as u64;
    let mut switches = streams.rng(Purpose::Track, body, at.camera_idx as u64);
    let broken = (0..at.exposure_idx)
        .filter(|_| switches.chance(switch_probability))
        .count() as u64;
    let camera = at.camera_idx as u64 + 1;
    let mut rng = streams.rng(Purpose::Track, body, camera << 32 | broken);
    let number: u64 = rng.random();
    format!("{:012x}", number >> 16)
}
