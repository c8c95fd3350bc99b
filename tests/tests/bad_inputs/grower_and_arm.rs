//! Policies and arms.

use crate::{Case, case};

pub(crate) fn cases() -> Vec<Case> {
    policies().into_iter().chain(arms()).collect()
}

fn policies() -> Vec<Case> {
    vec![
        case!("policy without a version", Policy, "version-missing" at "policy.toml:1 version", |f| {
            f.swap("policy.toml", "version = 1\n", "");
        }),
        case!("policy of a later version", Policy, "version-newer" at "policy.toml:1 version", |f| {
            f.swap("policy.toml", "version = 1", "version = 3");
        }),
        case!("no target at all", Policy, "field-missing" at "policy.toml:1 target", |f| {
            f.swap("policy.toml", "[target]\nfruit_per_cm2_trunk = 6.0\nfruit_per_tree = 120\n", "");
        }),
        case!("target without a bound", Policy, "target-none" at "policy.toml:4 target", |f| {
            f.swap("policy.toml", "fruit_per_cm2_trunk = 6.0\nfruit_per_tree = 120\n", "");
        }),
        case!("misspelt bound", Policy, "field-unknown" at "policy.toml:6 target.fruit_per_tee", |f| {
            f.swap("policy.toml", "fruit_per_tree", "fruit_per_tee");
        }),
        case!("target of zero", Policy, "not-positive" at "policy.toml:6 target.fruit_per_tree", |f| {
            f.swap("policy.toml", "120", "0");
        }),
        case!("target infinite", Policy, "number-not-finite" at "policy.toml:6 target.fruit_per_tree", |f| {
            f.swap("policy.toml", "120", "inf");
        }),
        case!("keep none in a cluster", Policy, "not-positive" at "policy.toml:9 cluster.keep_at_most", |f| {
            f.swap("policy.toml", "keep_at_most = 1", "keep_at_most = 0");
        }),
        case!("keep a fraction of a fruit", Policy, "type-wrong" at "policy.toml:9 cluster.keep_at_most", |f| {
            f.swap("policy.toml", "keep_at_most = 1", "keep_at_most = 1.5");
        }),
        case!("spacing of zero", Policy, "not-positive" at "policy.toml:12 spacing.along_limb_m", |f| {
            f.swap("policy.toml", "along_limb_m = 0.1", "along_limb_m = 0.0");
        }),
        case!("weight missing", Policy, "field-missing" at "policy.toml:14 prefer.reach", |f| {
            f.swap("policy.toml", "reach = 0.25\n", "");
        }),
        case!("confidence in percent", Policy, "share-range" at "policy.toml:20 confidence.act_above", |f| {
            f.swap("policy.toml", "0.7", "70");
        }),
        case!("drop above all", Policy, "share-range" at "policy.toml:23 losses.natural_drop", |f| {
            f.swap("policy.toml", "natural_drop = 0.1", "natural_drop = 1.1");
        }),
        case!("pin of two things", Policy, "pin-unclear" at "policy.toml:25 pin[0]", |f| {
            f.swap("policy.toml", "fruitlet = \"f1\"", "fruitlet = \"f1\"\ntree = \"tree01\"");
        }),
        case!("pin of nothing", Policy, "pin-unclear" at "policy.toml:25 pin[0]", |f| {
            f.swap("policy.toml", "fruitlet = \"f1\"\n", "");
        }),
        case!("pinned both ways", Policy, "pin-conflict" at "policy.toml:29 pin[1]", |f| {
            f.swap("policy.toml", "tree = \"tree02\"", "fruitlet = \"f1\"");
        }),
        case!("way of pinning that does not exist", Policy, "value-unknown" at "policy.toml:27 pin[0].as", |f| {
            f.swap("policy.toml", "\"keep\"", "\"kept\"");
        }),
        case!("table in place of a list of pins", Policy, "type-wrong" at "policy.toml:25 pin", |f| {
            let text = f.text("policy.toml");
            let until = text.rfind("[[pin]]").unwrap();
            f.put("policy.toml", text[..until].replace("[[pin]]", "[pin]").as_bytes());
        }),
    ]
}

fn arms() -> Vec<Case> {
    vec![
        case!("no tool", Arm, "field-missing" at "arm.toml:1 tool", |f| {
            let text = f.text("arm.toml");
            let (start, end) = (text.find("[tool]").unwrap(), text.find("[[extra_tool]]").unwrap());
            f.put("arm.toml", format!("{}{}", &text[..start], &text[end..]).as_bytes());
        }),
        case!("action that does not exist", Arm, "value-unknown" at "arm.toml:5 tool.action", |f| {
            f.swap("arm.toml", "enclose_target", "enclose_targets");
        }),
        case!("diameters swapped", Arm, "tool-wall" at "arm.toml:7 tool.outer_diameter_mm", |f| {
            f.swap("arm.toml", "outer_diameter_mm = 36.0", "outer_diameter_mm = 30.0");
        }),
        case!("cutting plane in front of the rim", Arm, "cut-plane-outside" at "arm.toml:9 tool.cut_offset_mm", |f| {
            f.swap("arm.toml", "cut_offset_mm = -3.0", "cut_offset_mm = 3.0");
        }),
        case!("cutting plane behind the enclosure", Arm, "cut-plane-outside" at "arm.toml:9 tool.cut_offset_mm", |f| {
            f.swap("arm.toml", "cut_offset_mm = -3.0", "cut_offset_mm = -60.5");
        }),
        case!("ring without width", Arm, "cut-reach-missing" at "arm.toml:19 extra_tool[0].cut_reach_mm", |f| {
            f.swap("arm.toml", "cut_reach_mm = 12.0\n", "");
        }),
        case!("tilt beyond all", Arm, "number-out-of-range" at "arm.toml:11 tool.tilt_tolerance_deg", |f| {
            f.swap("arm.toml", "tilt_tolerance_deg = 30.0", "tilt_tolerance_deg = 300.0");
        }),
        case!("clearance negative", Arm, "negative" at "arm.toml:12 tool.clearance_mm", |f| {
            f.swap("arm.toml", "clearance_mm = 2.0", "clearance_mm = -2.0");
        }),
        case!("standoff zero", Arm, "not-positive" at "arm.toml:10 tool.standoff_mm", |f| {
            f.swap("arm.toml", "standoff_mm = 80.0", "standoff_mm = 0.0");
        }),
        case!("further tool without a name", Arm, "field-missing" at "arm.toml:19 extra_tool[0].name", |f| {
            f.swap("arm.toml", "name = \"guard\"\n", "");
            f.swap("arm.toml", "[tool]", "[tool]\nname = \"cup\"");
            f.swap("arm.toml", "\n\n[tool]", "\n[tool]");
        }),
        case!("tools of one name", Arm, "id-twice" at "arm.toml:21 extra_tool[0].name", |f| {
            f.swap("arm.toml", "[tool]", "[tool]\nname = \"guard\"");
        }),
        case!("name of the unnamed tool", Arm, "id-twice" at "arm.toml:20 extra_tool[0].name", |f| {
            f.swap("arm.toml", "\"guard\"", "\"main\"");
        }),
        case!("bounds swapped", Arm, "bounds-inverted" at "arm.toml:33 arm.low_m[1]", |f| {
            f.swap("arm.toml", "[-0.6, -0.1, -1.5]", "[-0.6, 1.5, -1.5]");
        }),
        case!("direction without its angle", Arm, "reach-incomplete" at "arm.toml:31 arm.reach_within_deg", |f| {
            f.swap("arm.toml", "reach_within_deg = 60.0\n", "");
        }),
        case!("reach direction not of unit length", Arm, "direction-norm" at "arm.toml:36 arm.reach_direction", |f| {
            f.swap("arm.toml", "[0.0, 1.0, 0.0]", "[0.0, 2.0, 0.0]");
        }),
        case!("arm of a kind that does not exist", Arm, "value-unknown" at "arm.toml:32 arm.kind", |f| {
            f.swap("arm.toml", "\"cartesian\"", "\"cartesan\"");
        }),
        case!("arm that does not move", Arm, "not-positive" at "arm.toml:35 arm.speed_m_s", |f| {
            f.swap("arm.toml", "speed_m_s = 0.4", "speed_m_s = 0");
        }),
        case!("chain without a last link", Arm, "field-missing" at "arm.toml:44 extra_arm[0].tool_link", |f| {
            f.swap("arm.toml", "tool_link = \"tool\"\n", "");
        }),
        case!("link without a name", Arm, "text-empty" at "arm.toml:47 extra_arm[0].base_link", |f| {
            f.swap("arm.toml", "base_link = \"base\"", "base_link = \"\"");
        }),
        case!("foot turned by nothing", Arm, "quaternion-norm" at "arm.toml:42 arm.rig_from_base.quaternion_xyzw", |f| {
            f.swap("arm.toml", "[0.0, 0.0, 0.0, 1.0]", "[0.0, 0.0, 0.0, 0.0]");
        }),
        case!("a further arm alone", Arm, "arm-missing" at "arm.toml:1 arm", |f| {
            let text = f.text("arm.toml");
            let (start, end) = (text.find("[arm]").unwrap(), text.find("[[extra_arm]]").unwrap());
            f.put("arm.toml", format!("{}{}", &text[..start], &text[end..]).as_bytes());
        }),
        case!("platform that does not step", Arm, "not-positive" at "arm.toml:56 platform.step_m", |f| {
            f.swap("arm.toml", "step_m = 0.5", "step_m = 0.0");
        }),
        case!("body without thickness", Arm, "not-positive" at "arm.toml:17 tool.body[0].radius_mm", |f| {
            f.swap("arm.toml", "radius_mm = 20.0", "radius_mm = 0.0");
        }),
        case!("a date in place of a name", Arm, "type-wrong" at "arm.toml:2 name", |f| {
            f.swap("arm.toml", "\"cup on three axes\"", "2026-06-03");
        }),
    ]
}
