//! Lines of `frames.jsonl` and `poses.jsonl`.

use crate::wire::num::Num;
use crate::wire::pose::PoseWire;
use crate::wire::strict::strict;
use crate::wire::text::Word;

strict! {
    /// One image with its detections.
    #[schemars(rename = "Frame")]
    FrameLine<'a> {
        /// Unique id.
        frame [needed]: Word<'a>,
        /// Id of the camera.
        camera [needed]: Word<'a>,
        /// When the image was taken.
        time_s [needed]: Num,
        /// Pose of the rig; may be absent when poses.jsonl exists.
        #[serde(skip_serializing_if = "Option::is_none")]
        orchard_from_rig [optional]: Option<PoseWire>,
        /// Which pass over the row.
        #[serde(skip_serializing_if = "Option::is_none")]
        pass [optional]: Option<Word<'a>>,
        /// Boxes.
        detections [needed]: Vec<DetectionWire<'a>>,
    }
}

strict! {
    /// A box.
    #[schemars(rename = "Detection")]
    DetectionWire<'a> {
        /// The detector's label.
        class [needed]: Word<'a>,
        /// 0 to 1.
        score [needed]: Num,
        /// x0, y0, x1, y1; the origin is the outer top-left corner of the top-left pixel.
        box_px [needed]: [Num; 4],
        /// Distance along the camera's z axis to the near surface of the object.
        #[serde(skip_serializing_if = "Option::is_none")]
        depth_m [optional]: Option<Num>,
        /// Fruit boxes: image direction from stem end to calyx end.
        #[serde(skip_serializing_if = "Option::is_none")]
        axis_px [optional]: Option<[Num; 2]>,
        /// 0 to 1.
        #[serde(skip_serializing_if = "Option::is_none")]
        damaged [optional]: Option<Num>,
        /// The detector's own track, unique within its camera; a hint only.
        #[serde(skip_serializing_if = "Option::is_none")]
        track [optional]: Option<Word<'a>>,
    }
}

strict! {
    /// The rig's pose at a time.
    #[schemars(rename = "TimedPose")]
    PoseLine {
        /// Strictly increasing from line to line.
        time_s [needed]: Num,
        /// Pose of the rig.
        orchard_from_rig [needed]: PoseWire,
    }
}
