//! A scene as a person writes it: what grows, what hides it, which cameras pass by and how bad the detector is.
//!
//! Every field has a default, its unit in its name and its reason in its comment. Unknown fields are refused.

mod cameras;
mod check;
mod detector;
mod errors;
mod kinds;
mod orchard;
mod overrides;
mod passes;
mod pieces;
mod plants;
mod rigs;
mod stages;

pub use cameras::{CameraSpec, LensSpec};
pub use check::check;
pub use detector::{AxisSpec, DepthSpec, DetectorSpec, PartSpec, TrackSpec};
pub use errors::{ErrorSpec, PoseSource, StatedSpec};
pub use orchard::OrchardSpec;
pub use overrides::{Override, OverrideError, with_overrides};
pub use passes::{AlongRow, Facing, Free, Motion, PassSpec};
pub use pieces::{DetectorFile, DetectorStated, ErrorsFile, ErrorsStated, RigFile};
pub use plants::{BodyKind, CropSpec, LeafSpec, WindSpec};
pub use stages::SizeSpec;

use serde::{Deserialize, Serialize};

/// Version of the scene file.
pub const VERSION: u32 = 1;

/// A whole scene.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SceneSpec {
    /// Version of this format; 1.
    pub version: u32,
    /// Name of the run that comes out.
    pub name: String,
    /// ISO 8601 date that is written into the run; invented.
    pub date: String,
    /// BBCH code of the growth stage, written into the run; absent = not stated. Tells how large bodies are where the
    /// crop does not.
    pub stage_bbch: Option<u8>,
    /// Trees, wires, posts.
    pub orchard: OrchardSpec,
    /// What hangs or sits on them.
    pub crop: CropSpec,
    /// Leaves that hide it.
    pub leaves: LeafSpec,
    /// Motion of clusters between images.
    pub wind: WindSpec,
    /// The detector.
    pub detector: DetectorSpec,
    /// Errors of poses, mounting, clock and orchard file.
    pub errors: ErrorSpec,
    /// What the run states about its noise.
    pub stated: StatedSpec,
    /// Cameras of the rig, at least one.
    pub cameras: Vec<CameraSpec>,
    /// Drives past the row, at least one.
    pub passes: Vec<PassSpec>,
}

impl Default for SceneSpec {
    /// One tree, one camera, one pass, an average detector.
    fn default() -> Self {
        Self {
            version: VERSION,
            name: "scene".into(),
            date: "2026-06-05T08:30:00Z".into(),
            stage_bbch: None,
            orchard: OrchardSpec::default(),
            crop: CropSpec::default(),
            leaves: LeafSpec::default(),
            wind: WindSpec::default(),
            detector: DetectorSpec::default(),
            errors: ErrorSpec::default(),
            stated: StatedSpec::default(),
            cameras: vec![CameraSpec::default()],
            passes: vec![PassSpec::default()],
        }
    }
}
