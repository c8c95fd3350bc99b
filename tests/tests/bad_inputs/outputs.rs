//! Output folders.

use crate::{Case, case};

pub(crate) fn cases() -> Vec<Case> {
    vec![
        case!("no map", Output, "file-missing" at "map.json", |f| f.remove("out/map.json")),
        case!("map of another frame", Output, "value-unknown" at "map.json:4 frame", |f| {
            f.swap("out/map.json", "\"orchard\"", "\"world\"");
        }),
        case!("map of a tree that is not there", Output, "tree-unknown" at "map.json:13 fruitlets[0].tree", |f| {
            f.swap("out/map.json", "\"tree\": \"tree01\"", "\"tree\": \"tree91\"");
        }),
        case!("cluster on a limb that is not there", Output, "limb-unknown" at "map.json:9 trees[0].clusters[0].limb", |f| {
            f.swap("out/map.json", "tree01.limb01", "tree01.limb02");
        }),
        case!("fruitlet of a cluster that is not there", Output, "cluster-unknown" at "map.json:13 fruitlets[0].cluster", |f| {
            f.swap("out/map.json", "\"cluster\": \"c1\"", "\"cluster\": \"c2\"");
        }),
        case!(
            "fruitlet id twice",
            Output,
            [("id-twice", "map.json:14 fruitlets[1].id"),],
            |f| f.swap("out/map.json", "\"f2\"", "\"f1\"")
        ),
        case!("box of a frame that is not there", Output, "frame-unknown" at "map.json:14 fruitlets[1].detections[0]", |f| {
            f.swap("out/map.json", "\"left-1\"", "\"left-7\"");
        }),
        case!("box that the frame does not have", Output, "detection-unknown" at "map.json:14 fruitlets[1].detections[0]", |f| {
            f.swap("out/map.json", "[\"left-1\", 0", "[\"left-1\", 1");
        }),
        case!("box claimed twice", Output, "box-claimed-twice" at "map.json:14 fruitlets[1].detections[0]", |f| {
            f.swap("out/map.json", "[\"left-1\", 0", "[\"right-0\", 0");
        }),
        case!("existence in percent", Output, "share-range" at "map.json:13 fruitlets[0].existence", |f| {
            f.swap("out/map.json", "\"existence\": 0.97", "\"existence\": 97");
        }),
        case!("axis without its deviation", Output, "field-missing" at "map.json:13 fruitlets[0].axis_deviation_deg", |f| {
            f.swap("out/map.json", "\"axis_deviation_deg\": 5.72958", "\"axis_deviation_deg\": null");
        }),
        case!("covariance of three rows", Output, "length-wrong" at "map.json:13 fruitlets[0].covariance_m2", |f| {
            f.swap("out/map.json", "\"covariance_m2\": [[2.5e-7, 0.0, 0.0, 0.0], ", "\"covariance_m2\": [");
        }),
        case!("decision on a fruitlet that is not there", Output, "fruitlet-unknown" at "decisions.json:9 decisions[0].fruitlet", |f| {
            f.swap("out/decisions.json", "\"f1\"", "\"f9\"");
        }),
        case!("action of a decision that does not exist", Output, "value-unknown" at "decisions.json:10 decisions[1].action", |f| {
            f.swap("out/decisions.json", "\"remove\"", "\"removed\"");
        }),
        case!("decisions on other inputs", Output, "inputs-differ" at "decisions.json inputs", |f| {
            f.swap("out/decisions.json", "0000", "0001");
        }),
        case!("order for a tool that is not there", Output, "tool-unknown" at "orders.jsonl:1 tool", |f| {
            f.swap("out/orders.jsonl", "\"tool\":\"main\"", "\"tool\":\"mian\"");
        }),
        case!("order for an arm that is not there", Output, "tool-unknown" at "orders.jsonl:1 arm", |f| {
            f.swap("out/orders.jsonl", "\"arm\":\"main\"", "\"arm\":\"extra7\"");
        }),
        case!("look through a camera that is not there", Output, "camera-unknown" at "orders.jsonl:2 camera", |f| {
            f.swap("out/orders.jsonl", "\"camera\":\"left\"", "\"camera\":\"middle\"");
        }),
        case!("order without the enclosing pose", Output, "field-missing" at "orders.jsonl:1 poses", |f| {
            f.swap("out/orders.jsonl", "\"name\":\"enclose\"", "\"name\":\"standoff\"");
        }),
        case!("order id twice", Output, "id-twice" at "orders.jsonl:2 order", |f| {
            f.swap("out/orders.jsonl", "\"order\":\"o2\"", "\"order\":\"o1\"");
        }),
        case!("order of a kind that does not exist", Output, "value-unknown" at "orders.jsonl:2 kind", |f| {
            f.swap("out/orders.jsonl", "\"kind\":\"look\"", "\"kind\":\"lok\"");
        }),
        case!("reason of a refusal that does not exist", Output, "value-unknown" at "refusals.jsonl:1 reason", |f| {
            f.swap("out/refusals.jsonl", "blocked_by_fruit", "blocked");
        }),
        case!("calibration of a camera that is not there", Output, "camera-unknown" at "calibration.json:12 cameras[0].camera", |f| {
            f.swap("out/calibration.json", "\"right\"", "\"middle\"");
        }),
        case!("residuals of a camera that is not there", Output, "camera-unknown" at "diagnostics.json:9 cameras[0].camera", |f| {
            f.swap("out/diagnostics.json", "\"right\"", "\"middle\"");
        }),
        case!("event of a fruitlet that is not there", Output, "fruitlet-unknown" at "diagnostics.json:18 events[0].fruitlet", |f| {
            f.swap("out/diagnostics.json", "\"f1\"", "\"f8\"");
        }),
        case!("summary without stages", Output, "field-missing" at "summary.json:1 stages", |f| {
            f.swap("out/summary.json", "\"stages\"", "\"x_stages\"");
        }),
    ]
}
