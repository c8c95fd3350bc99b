//! Run folders.

use crate::{Case, case};

pub(crate) fn cases() -> Vec<Case> {
    [heads(), frames(), detections(), poses(), orchards()]
        .into_iter()
        .flatten()
        .collect()
}

fn heads() -> Vec<Case> {
    vec![
        case!("no version", Run, "version-missing" at "run.json:1 version", |f| f.swap("run.json", "\"version\": 1,", "")),
        case!("version 2", Run, "version-newer" at "orchard.json:2 version", |f| {
            f.swap("orchard.json", "\"version\": 1", "\"version\": 2");
            f.swap("orchard.json", "\"rows\"", "\"alleys\""); // fields of a later version are no problems of their own
        }),
        case!("version as text", Run, "version-wrong" at "run.json:2 version", |f| {
            f.swap("run.json", "\"version\": 1", "\"version\": \"1\"");
        }),
        case!("version 0", Run, "version-wrong" at "run.json:2 version", |f| {
            f.swap("run.json", "\"version\": 1", "\"version\": 0");
        }),
        case!(
            "misspelt field",
            Run,
            [
                ("field-unknown", "run.json:7 cameras[0].widht_px"),
                ("field-missing", "run.json:7 cameras[0].width_px")
            ],
            |f| {
                f.swap("run.json", "width_px", "widht_px");
            }
        ),
        case!("field of noise that does not exist", Run, "field-unknown" at "run.json:15 noise.box_px", |f| {
            f.swap("run.json", "\"box_edge_px\"", "\"box_px\"");
        }),
        case!("no classes", Run, "field-missing" at "run.json:1 classes", |f| {
            f.swap("run.json", "\"classes\": {\"green fruit\": \"fruitlet\", \"pedicel\": \"stem\", \"leaf\": \"ignore\"},", "");
        }),
        case!("width as text", Run, "type-wrong" at "run.json:7 cameras[0].width_px", |f| {
            f.swap("run.json", "640", "\"640\"");
        }),
        case!("width as a fraction", Run, "type-wrong" at "run.json:7 cameras[0].width_px", |f| f.swap("run.json", "640", "640.5")),
        case!("width negative", Run, "number-out-of-range" at "run.json:7 cameras[0].width_px", |f| {
            f.swap("run.json", "640", "-640");
        }),
        case!("one focal length", Run, "length-wrong" at "run.json:7 cameras[0].focal_px", |f| {
            f.swap("run.json", "[500.0, 501.0]", "[500.0]");
        }),
        case!("class that does not exist", Run, "value-unknown" at "run.json:14 classes[\"green fruit\"]", |f| {
            f.swap("run.json", "\"fruitlet\", \"pedicel\"", "\"fruit\", \"pedicel\"");
        }),
        case!("distortion model that does not exist", Run, "value-unknown" at "run.json:8 cameras[0].distortion.model", |f| {
            f.swap("run.json", "plumb_bob", "brown");
        }),
        case!("chance for a class that does not exist", Run, "field-unknown" at "run.json:15 noise.detection_probability.fruit", |f| {
            f.swap("run.json", "{\"fruitlet\": 0.85}", "{\"fruit\": 0.85}");
        }),
        case!("noise too large to be held", Run, "number-not-finite" at "run.json:15 noise.box_edge_px", |f| {
            f.swap("run.json", "1.5", "1e400");
        }),
        case!("noise negative", Run, "negative" at "run.json:15 noise.box_edge_px", |f| f.swap("run.json", "1.5", "-1.5")),
        case!("drift time zero", Run, "not-positive" at "run.json:15 noise.pose_drift_s", |f| f.swap("run.json", "4.0", "0.0")),
        case!("chance in percent", Run, "share-range" at "run.json:15 noise.detection_probability.fruitlet", |f| {
            f.swap("run.json", "0.85", "85");
        }),
        case!("stage out of the scale", Run, "number-out-of-range" at "run.json:5 stage_bbch", |f| f.swap("run.json", "72", "172")),
        case!("stage far out of the scale", Run, "number-out-of-range" at "run.json:5 stage_bbch", |f| f.swap("run.json", "72", "710")),
        case!("name blank", Run, "text-empty" at "run.json:3 name", |f| f.swap("run.json", "\"sound\"", "\"  \"")),
        case!("date as written at home", Run, "date-malformed" at "run.json:4 date", |f| {
            f.swap("run.json", "2026-06-03T09:00:00Z", "03.06.2026");
        }),
        case!("no camera", Run, "list-empty" at "run.json:7 cameras", |f| {
            let text = f.text("run.json");
            let (start, end) = (text.find("[\n  {").unwrap(), text.find("],\n \"classes\"").unwrap());
            f.put("run.json", format!("{}[{}", &text[..start], &text[end..]).replace("\"cameras\":", "\n \"cameras\":").as_bytes());
        }),
        case!("camera id twice", Run, "id-twice" at "run.json:10 cameras[1].id", |f| {
            f.swap("run.json", "\"id\": \"right\"", "\"id\": \"left\"");
        }),
        case!("image without pixels", Run, "size-zero" at "run.json:7 cameras[0].height_px", |f| f.swap("run.json", "480", "0")),
        case!("focal length negative", Run, "focal-not-positive" at "run.json:7 cameras[0].focal_px[1]", |f| {
            f.swap("run.json", "501.0", "-501.0");
        }),
        case!("two coefficients", Run, "distortion-count" at "run.json:8 cameras[0].distortion.coefficients", |f| {
            f.swap("run.json", "[-0.05, 0.02, 0.0, 0.0, 0.0]", "[-0.05, 0.02]");
        }),
        case!("coefficients without a model", Run, "distortion-count" at "run.json:11 cameras[1].distortion.coefficients", |f| {
            f.swap("run.json", "\"coefficients\": []", "\"coefficients\": [0.1]");
        }),
        case!("mounting with w left out", Run, "length-wrong" at "run.json:9 cameras[0].rig_from_camera.quaternion_xyzw", |f| {
            f.swap("run.json", "[-0.7071068, 0.0, 0.0, 0.7071068]", "[-0.7071068, 0.0, 0.0]");
        }),
        case!("mounting not of unit length", Run, "quaternion-norm" at "run.json:9 cameras[0].rig_from_camera.quaternion_xyzw", |f| {
            f.swap("run.json", "[-0.7071068, 0.0, 0.0, 0.7071068]", "[-0.71, 0.0, 0.0, 0.71]");
        }),
        case!(
            "several things at once",
            Run,
            [
                ("date-malformed", "run.json:4 date"),
                ("size-zero", "run.json:7 cameras[0].width_px"),
                ("negative", "run.json:15 noise.box_edge_px"),
            ],
            |f| {
                f.swap("run.json", "2026-06-03T09:00:00Z", "yesterday");
                f.swap("run.json", "640", "0");
                f.swap("run.json", "1.5", "-1.5");
            }
        ),
    ]
}

fn frames() -> Vec<Case> {
    vec![
        case!("frame id twice", Run, "id-twice" at "frames.jsonl:3 frame", |f| f.swap("frames.jsonl", "left-1", "left-0")),
        case!("frame id empty", Run, "text-empty" at "frames.jsonl:3 frame", |f| f.swap("frames.jsonl", "left-1", "")),
        case!("camera misspelt", Run, "camera-unknown" at "frames.jsonl:2 camera", |f| {
            f.swap("frames.jsonl", "\"camera\": \"right\"", "\"camera\": \"rihgt\"");
        }),
        case!("time as text", Run, "type-wrong" at "frames.jsonl:3 time_s", |f| f.swap("frames.jsonl", "0.5, \"det", "\"0.5\", \"det")),
        case!("time not a number", Run, "number-not-finite" at "frames.jsonl:3", |f| f.swap("frames.jsonl", "0.5, \"det", "NaN, \"det")),
        case!("no detections", Run, "field-missing" at "frames.jsonl:2 detections", |f| {
            f.swap("frames.jsonl", ", \"detections\": [{\"class\": \"green fruit\", \"score\": 0.8, \"box_px\": [60.0, 121.0, 101.0, 160.5]}]", "");
        }),
        case!("field of a frame that does not exist", Run, "field-unknown" at "frames.jsonl:1 passs", |f| {
            f.swap("frames.jsonl", "\"pass\"", "\"passs\"");
        }),
        case!("pass as a number", Run, "type-wrong" at "frames.jsonl:1 pass", |f| f.swap("frames.jsonl", "\"east\"", "1")),
        case!("no pose anywhere", Run, "pose-missing" at "frames.jsonl:3 orchard_from_rig", |f| f.remove("poses.jsonl")),
        case!("frame pose not of unit length", Run, "quaternion-norm" at "frames.jsonl:1 orchard_from_rig.quaternion_xyzw", |f| {
            f.swap("frames.jsonl", "0.0, 1.0]", "0.0, 1.002]");
        }),
        case!("poses of one time that differ", RunWarnings, "pose-differs" at "frames.jsonl:2 orchard_from_rig", |f| {
            f.swap_last("frames.jsonl", "[0.0, -0.9, 1.5]", "[0.1, -0.9, 1.5]");
        }),
        case!(
            "two lines with two problems each",
            Run,
            [
                ("camera-unknown", "frames.jsonl:1 camera"),
                ("score-range", "frames.jsonl:1 detections[0].score"),
                ("label-unknown", "frames.jsonl:3 detections[0].class"),
                ("box-inverted", "frames.jsonl:3 detections[0].box_px"),
            ],
            |f| {
                f.swap(
                    "frames.jsonl",
                    "\"camera\": \"left\"",
                    "\"camera\": \"lfet\"",
                );
                f.swap("frames.jsonl", "\"score\": 0.9", "\"score\": -0.9");
                f.swap_last("frames.jsonl", "green fruit", "green fruits");
                f.swap(
                    "frames.jsonl",
                    "[20.0, 119.0, 61.0, 159.0]",
                    "[61.0, 119.0, 20.0, 159.0]",
                );
            }
        ),
    ]
}

fn detections() -> Vec<Case> {
    vec![
        case!("label not in classes", Run, "label-unknown" at "frames.jsonl:1 detections[1].class", |f| {
            f.swap("frames.jsonl", "\"pedicel\"", "\"pedicle\"");
        }),
        case!("corners swapped along x", Run, "box-inverted" at "frames.jsonl:1 detections[0].box_px", |f| {
            f.swap("frames.jsonl", "[100.0, 120.0, 140.0, 160.0]", "[140.0, 120.0, 100.0, 160.0]");
        }),
        case!("corners swapped along y", Run, "box-inverted" at "frames.jsonl:1 detections[0].box_px", |f| {
            f.swap("frames.jsonl", "[100.0, 120.0, 140.0, 160.0]", "[100.0, 160.0, 140.0, 120.0]");
        }),
        case!("box without width", Run, "box-empty" at "frames.jsonl:1 detections[0].box_px", |f| {
            f.swap("frames.jsonl", "[100.0, 120.0, 140.0, 160.0]", "[100.0, 120.0, 100.0, 160.0]");
        }),
        case!("box far right of the image", Run, "box-outside" at "frames.jsonl:1 detections[0].box_px", |f| {
            f.swap("frames.jsonl", "[100.0, 120.0, 140.0, 160.0]", "[600.0, 120.0, 710.0, 160.0]");
        }),
        case!("box just beside the image", Run, "box-outside" at "frames.jsonl:1 detections[0].box_px", |f| {
            f.swap("frames.jsonl", "[100.0, 120.0, 140.0, 160.0]", "[-20.0, 120.0, -1.0, 160.0]");
        }),
        case!("box of three numbers", Run, "length-wrong" at "frames.jsonl:1 detections[0].box_px", |f| {
            f.swap("frames.jsonl", "[100.0, 120.0, 140.0, 160.0]", "[100.0, 120.0, 140.0]");
        }),
        case!("box with a hole", Run, "type-wrong" at "frames.jsonl:1 detections[0].box_px[2]", |f| {
            f.swap("frames.jsonl", "[100.0, 120.0, 140.0, 160.0]", "[100.0, 120.0, null, 160.0]");
        }),
        case!("box edge infinite", Run, "number-not-finite" at "frames.jsonl:1 detections[0].box_px[2]", |f| {
            f.swap("frames.jsonl", "[100.0, 120.0, 140.0, 160.0]", "[100.0, 120.0, 1e999, 160.0]");
        }),
        case!("score in percent", Run, "score-range" at "frames.jsonl:2 detections[0].score", |f| f.swap("frames.jsonl", "0.8,", "80,")),
        case!("no score", Run, "field-missing" at "frames.jsonl:2 detections[0].score", |f| f.swap("frames.jsonl", "\"score\": 0.8, ", "")),
        case!("depth zero for unknown", Run, "not-positive" at "frames.jsonl:1 detections[0].depth_m", |f| {
            f.swap("frames.jsonl", "\"depth_m\": 0.6", "\"depth_m\": 0.0");
        }),
        case!("depth infinite", Run, "number-not-finite" at "frames.jsonl:1", |f| {
            f.swap("frames.jsonl", "\"depth_m\": 0.6", "\"depth_m\": Infinity");
        }),
        case!("axis without length", Run, "direction-zero" at "frames.jsonl:1 detections[0].axis_px", |f| {
            f.swap("frames.jsonl", "[0.6, 0.8]", "[0.0, 0.0]");
        }),
        case!("damage above 1", Run, "share-range" at "frames.jsonl:1 detections[0].damaged", |f| {
            f.swap("frames.jsonl", "\"damaged\": 0.1", "\"damaged\": 1.1");
        }),
        case!("track as a number", Run, "type-wrong" at "frames.jsonl:1 detections[0].track", |f| f.swap("frames.jsonl", "\"7\"", "7")),
        case!(
            "field of a detection that does not exist",
            Run,
            [
                ("field-unknown", "frames.jsonl:2 detections[0].box"),
                ("field-missing", "frames.jsonl:2 detections[0].box_px"),
            ],
            |f| f.swap_last("frames.jsonl", "\"box_px\": [60.0", "\"box\": [60.0")
        ),
    ]
}

fn poses() -> Vec<Case> {
    vec![
        case!("poses out of order", Run, "time-goes-back" at "poses.jsonl:3 time_s", |f| f.swap("poses.jsonl", "0.8,", "0.3,")),
        case!("a pose twice", Run, "time-goes-back" at "poses.jsonl:2 time_s", |f| f.swap("poses.jsonl", "0.4,", "0.0,")),
        case!("trajectory quaternion of zeros", Run, "quaternion-norm" at "poses.jsonl:2 orchard_from_rig.quaternion_xyzw", |f| {
            f.swap_last("poses.jsonl", "[0.04, -0.9, 1.5], \"quaternion_xyzw\": [0.0, 0.0, 0.0, 1.0]", "[0.04, -0.9, 1.5], \"quaternion_xyzw\": [0.0, 0.0, 0.0, 0.0]");
        }),
        case!("pose without a translation", Run, "field-missing" at "poses.jsonl:1 orchard_from_rig.translation_m", |f| {
            f.swap("poses.jsonl", "\"translation_m\": [0.0, -0.9, 1.5], ", "");
        }),
        case!(
            "pose as Euler angles",
            Run,
            [
                ("field-unknown", "poses.jsonl:1 orchard_from_rig.euler_deg"),
                (
                    "field-missing",
                    "poses.jsonl:1 orchard_from_rig.quaternion_xyzw"
                ),
            ],
            |f| f.swap(
                "poses.jsonl",
                "\"quaternion_xyzw\": [0.0, 0.0, 0.0, 1.0]",
                "\"euler_deg\": [0.0, 0.0, 0.0]"
            )
        ),
    ]
}

fn orchards() -> Vec<Case> {
    vec![
        case!("row id twice", Run, "id-twice" at "orchard.json:3 rows[1].id", |f| {
            f.swap("orchard.json", "\"rows\": [", "\"rows\": [{\"id\": \"row1\", \"from_m\": [0, 0, 0], \"to_m\": [1, 0, 0]}, ");
        }),
        case!("tree id twice", Run, "id-twice" at "orchard.json:8 trees[1].id", |f| f.swap("orchard.json", "tree02", "tree01")),
        case!("limb id twice", Run, "id-twice" at "orchard.json:7 trees[0].limbs[1].id", |f| {
            f.swap("orchard.json", "tree01.limb01", "tree01.leader");
        }),
        case!("obstacle id twice", Run, "id-twice" at "orchard.json:12 obstacles[1].id", |f| f.swap("orchard.json", "post1", "wire1")),
        case!("row that is not there", Run, "row-unknown" at "orchard.json:5 trees[0].row", |f| {
            f.swap("orchard.json", "\"row\": \"row1\"", "\"row\": \"rwo1\"");
        }),
        case!("limb of one point", Run, "limb-too-short" at "orchard.json:7 trees[0].limbs[1].points_m", |f| {
            f.swap("orchard.json", "[[0.0, 0.0, 1.4], [0.3, 0.0, 1.5]], \"radii_mm\": [9.0, 4.0]", "[[0.0, 0.0, 1.4]], \"radii_mm\": [9.0]");
        }),
        case!("limb of one point twice", Run, "limb-too-short" at "orchard.json:7 trees[0].limbs[1].points_m", |f| {
            f.swap("orchard.json", "[0.3, 0.0, 1.5]", "[0.0, 0.0, 1.4]");
        }),
        case!("radius missing", Run, "radii-count" at "orchard.json:6 trees[0].limbs[0].radii_mm", |f| {
            f.swap("orchard.json", "[25.0, 8.0]", "[25.0]");
        }),
        case!("radius negative", Run, "negative" at "orchard.json:6 trees[0].limbs[0].radii_mm[1]", |f| {
            f.swap("orchard.json", "[25.0, 8.0]", "[25.0, -8.0]");
        }),
        case!("kind of limb that does not exist", Run, "value-unknown" at "orchard.json:6 trees[0].limbs[0].kind", |f| {
            f.swap("orchard.json", "\"leader\"", "\"leeder\"");
        }),
        case!("trunk of zero", Run, "not-positive" at "orchard.json:5 trees[0].trunk_diameter_mm", |f| f.swap("orchard.json", "50.0", "0")),
        case!("kind of obstacle that does not exist", Run, "value-unknown" at "orchard.json:11 obstacles[0].kind", |f| {
            f.swap("orchard.json", "\"capsule\"", "\"cylinder\"");
        }),
        case!("obstacle without a kind", Run, "field-missing" at "orchard.json:11 obstacles[0].kind", |f| {
            f.swap("orchard.json", "\"kind\": \"capsule\", ", "");
        }),
        case!("capsule with a box's size", Run, "field-unknown" at "orchard.json:11 obstacles[0].size_m", |f| {
            f.swap("orchard.json", "\"radius_mm\": 1.5", "\"radius_mm\": 1.5, \"size_m\": [1, 1, 1]");
        }),
        case!("wire without thickness", Run, "not-positive" at "orchard.json:11 obstacles[0].radius_mm", |f| {
            f.swap("orchard.json", "\"radius_mm\": 1.5", "\"radius_mm\": 0");
        }),
        case!("flat box", Run, "not-positive" at "orchard.json:12 obstacles[1].size_m[2]", |f| {
            f.swap("orchard.json", "[0.1, 0.1, 2.0]", "[0.1, 0.1, 0.0]");
        }),
        case!("point of two numbers", Run, "length-wrong" at "orchard.json:8 trees[1].base_m", |f| {
            f.swap("orchard.json", "[1.0, 0.0, 0.0]", "[1.0, 0.0]");
        }),
    ]
}
