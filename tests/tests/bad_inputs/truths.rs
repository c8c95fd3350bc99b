//! Truth: places of fruitlets, labels, true boxes, counts.

use crate::{Case, case};

pub(crate) fn cases() -> Vec<Case> {
    [fruitlets(), objects(), boxes(), counts()]
        .into_iter()
        .flatten()
        .collect()
}

fn fruitlets() -> Vec<Case> {
    vec![
        case!("tree of truth that is not there", Truth, "tree-unknown" at "truth.json:4 fruitlets[0].tree", |f| {
            f.swap("truth.json", "\"tree01\"", "\"tree99\"");
        }),
        case!("limb of truth that is not there", Truth, "limb-unknown" at "truth.json:4 fruitlets[0].limb", |f| {
            f.swap("truth.json", "tree01.limb01", "tree01.limb10");
        }),
        case!("true fruitlet twice", Truth, "id-twice" at "truth.json:4 fruitlets[1].id", |f| {
            let text = f.text("truth.json");
            let one = &text[text.find("{\"id\"").unwrap()..=text.find("true}").unwrap() + 4];
            f.swap("truth.json", one, &format!("{one}, {}", one.replace('\n', " ")));
            f.swap("truth.json", ",\n   \"axis\"", ", \"axis\"");
        }),
        case!("axis of truth not of unit length", Truth, "direction-norm" at "truth.json:5 fruitlets[0].axis", |f| {
            f.swap("truth.json", "[0.0, 0.0, -1.0]", "[0.0, 0.0, -0.5]");
        }),
        case!("true diameter zero", Truth, "not-positive" at "truth.json:4 fruitlets[0].diameter_mm", |f| f.swap("truth.json", "18.0", "0")),
        case!("label of a fruitlet that is not there", Truth, "fruitlet-unknown" at "truth.json:7 detections.left-0[1]", |f| {
            f.swap("truth.json", "[\"t1\", \"t1\"]", "[\"t1\", \"t2\"]");
        }),
        case!("labels of a frame that is not there", Truth, "frame-unknown" at "truth.json:7 detections.left-9", |f| {
            f.swap("truth.json", "left-1", "left-9");
        }),
        case!("a label short", Truth, "detections-length" at "truth.json:7 detections.left-0", |f| {
            f.swap("truth.json", "[\"t1\", \"t1\"]", "[\"t1\"]");
        }),
        case!("king as a number", Truth, "type-wrong" at "truth.json:5 fruitlets[0].king", |f| f.swap("truth.json", "true", "1")),
    ]
}

fn objects() -> Vec<Case> {
    vec![
        case!("truth that states nothing", Truth, "truth-empty" at "truth.json:1", |f| {
            f.put("truth.json", b"{\"version\": 1, \"objects\": [{\"id\": \"a1\"}]}");
        }),
        case!("object named as a fruitlet", Truth, "id-twice" at "truth.json:8 objects[1].id", |f| {
            f.swap("truth.json", "\"n2\"", "\"t1\"");
        }),
        case!("object without a name", Truth, "text-empty" at "truth.json:8 objects[1].id", |f| {
            f.swap("truth.json", "\"n2\"", "\"\"");
        }),
        case!("tree of an object that is not there", Truth, "tree-unknown" at "truth.json:8 objects[0].tree", |f| {
            f.swap("truth.json", "\"tree02\"", "\"tree20\"");
        }),
        case!("field of an object that does not exist", Truth, "field-unknown" at "truth.json:8 objects[0].limb", |f| {
            f.swap("truth.json", "\"tree\": \"tree02\"", "\"limb\": \"tree01.limb01\"");
        }),
        case!("name used by a label that is empty", Truth, "text-empty" at "truth.json:1 detections.left-1[0]", |f| {
            f.put("truth.json", b"{\"version\": 1, \"detections\": {\"left-1\": [\"\"]}}");
        }),
    ]
}

fn boxes() -> Vec<Case> {
    vec![
        case!("true box of a frame that is not there", Truth, "frame-unknown" at "truth.json:12 boxes.left-7", |f| {
            f.swap("truth.json", "\"left-1\": []", "\"left-7\": []");
        }),
        case!("true box of an object that is not there", Truth, "fruitlet-unknown" at "truth.json:11 boxes.right-0[0].object", |f| {
            f.swap("truth.json", "\"object\": \"n1\"", "\"object\": \"n3\"");
        }),
        case!("true box of a class that does not exist", Truth, "value-unknown" at "truth.json:11 boxes.right-0[1].class", |f| {
            f.swap("truth.json", "\"class\": \"stem\"", "\"class\": \"pedicel\"");
        }),
        case!(
            "several true boxes at once",
            Truth,
            [
                ("box-inverted", "truth.json:10 boxes.left-0[0].box_px"),
                ("share-range", "truth.json:10 boxes.left-0[0].visible_share"),
                ("box-empty", "truth.json:11 boxes.right-0[0].box_px"),
                ("box-outside", "truth.json:11 boxes.right-0[1].box_px"),
            ],
            |f| {
                f.swap(
                    "truth.json",
                    "[100.0, 120.0, 140.0, 160.0]",
                    "[140.0, 120.0, 100.0, 160.0]",
                );
                f.swap(
                    "truth.json",
                    "\"visible_share\": 0.8",
                    "\"visible_share\": 80",
                );
                f.swap(
                    "truth.json",
                    "[60.0, 121.0, 101.0, 160.5]",
                    "[60.0, 121.0, 60.0, 160.5]",
                );
                f.swap(
                    "truth.json",
                    "[70.0, 90.0, 80.0, 121.0]",
                    "[1070.0, 90.0, 1080.0, 121.0]",
                );
            }
        ),
        case!(
            "left-out regions",
            Truth,
            [
                ("box-inverted", "truth.json:14 left_out.left-0[0]"),
                ("box-outside", "truth.json:14 left_out.left-0[1]")
            ],
            |f| {
                f.swap(
                    "truth.json",
                    "[0.0, 0.0, 50.0, 480.0]",
                    "[50.0, 0.0, 0.0, 480.0]",
                );
                f.swap(
                    "truth.json",
                    "[600.0, 0.0, 640.0, 480.0]",
                    "[600.0, 0.0, 640.0, 4800.0]",
                );
            }
        ),
        case!("left-out region of three numbers", Truth, "length-wrong" at "truth.json:14 left_out.left-0[0]", |f| {
            f.swap("truth.json", "[0.0, 0.0, 50.0, 480.0]", "[0.0, 0.0, 50.0]");
        }),
    ]
}

fn counts() -> Vec<Case> {
    vec![
        case!(
            "counts of nothing and of two things",
            Truth,
            [
                ("count-unclear", "truth.json:15 counts[0]"),
                ("count-unclear", "truth.json:15 counts[1]"),
                ("count-unclear", "truth.json:15 counts[2]"),
            ],
            |f| {
                f.swap("truth.json", "{\"tree\": \"tree01\", ", "{");
                f.swap(
                    "truth.json",
                    "{\"row\": \"row1\"",
                    "{\"tree\": \"tree02\", \"row\": \"row1\"",
                );
                f.swap("truth.json", "\"block\": true", "\"block\": false");
            }
        ),
        case!("a tree counted twice", Truth, "count-twice" at "truth.json:15 counts[1]", |f| {
            f.swap("truth.json", "\"row\": \"row1\"", "\"tree\": \"tree01\"");
        }),
        case!(
            "places of counts that are not there",
            Truth,
            [
                ("tree-unknown", "truth.json:15 counts[0].tree"),
                ("row-unknown", "truth.json:15 counts[1].row")
            ],
            |f| {
                f.swap(
                    "truth.json",
                    "{\"tree\": \"tree01\", ",
                    "{\"tree\": \"tree10\", ",
                );
                f.swap("truth.json", "\"row\": \"row1\"", "\"row\": \"row2\"");
            }
        ),
        case!("half a fruitlet counted", Truth, "type-wrong" at "truth.json:15 counts[0].fruitlets", |f| {
            f.swap("truth.json", "\"fruitlets\": 1}", "\"fruitlets\": 0.5}");
        }),
    ]
}
