//! What a camera sees of one part of a body.

use super::sampling::BoxPx;

/// A part that a detector boxes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Part {
    /// The body itself.
    Body,
    /// Its stem.
    Stem,
    /// Its calyx end.
    Calyx,
}

/// A part as seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Sighting {
    pub(crate) part: Part,
    /// Position in the crop's bodies, or in its phantoms.
    pub(crate) body_idx: usize,
    pub(crate) phantom: bool,
    /// Box of what can be seen, cut at the border.
    pub(crate) box_px: BoxPx,
    /// Box of the whole part as if nothing hid it and the image had no border.
    pub(crate) whole_px: BoxPx,
    /// Seen share of the whole: of the area, or of the length of a stem.
    pub(crate) visible_share: f64,
    /// Distance along z to the near surface.
    pub(crate) near_m: f64,
    /// Image direction from the stem end to the calyx end and the share of the axis across the line of sight.
    pub(crate) axis_px: Option<([f64; 2], f64)>,
}
