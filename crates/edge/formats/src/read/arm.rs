//! `arm.toml`.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, place};
use crate::limits::Limits;
use crate::problem::Problems;
use crate::read::checks::{Ids, filled, not_negative, point, positive, unit_vector, within};
use crate::read::document::{Grammar, Loaded, read_document};
use crate::source::at_path;
use crate::wire::arm::{ArmFile, ArmWire, CapsuleWire, PlatformWire, ToolActionWire, ToolWire};
use crate::wire::num::{Num, vector3};
use corymb_model::arm::{ArmReach, ArmSetup, ArmSpec, Platform, ToolCapsule, ToolSpec};
use std::path::Path;

/// What orders call the first tool where the arm file gives it no name.
pub const FIRST_TOOL: &str = "main";
/// Id of the first arm.
const FIRST_ARM: &str = "main";

/// Reads the tool, the arm and the platform.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_arm(path: &Path) -> Result<Loaded<ArmSetup>, Problems> {
    read_document(
        &at_path(path)?,
        Grammar::Toml,
        &Limits::default(),
        check_arm_file,
    )
}

fn check_arm_file(file: ArmFile, out: &mut Findings) -> ArmSetup {
    filled(&file.name, || place!["name"], out);
    out.unless(file.arm.is_some() || file.extra_arm.is_empty(), || {
        Finding::new(Code::ArmMissing, place!["arm"], "the first arm").found("nothing")
    });
    let mut names = Ids::of("tool");
    let mut tools = vec![check_tool(file.tool, &place!["tool"], &mut names, out)];
    for (at, tool) in file.extra_tool.into_iter().enumerate() {
        let here = place!["extra_tool", at];
        out.unless(tool.name.is_some(), || {
            Finding::new(
                Code::FieldMissing,
                place![in here; "name"],
                "the name of this further tool",
            )
            .found("nothing")
        });
        tools.push(check_tool(tool, &here, &mut names, out));
    }
    let first = file
        .arm
        .map(|arm| check_arm(arm, FIRST_ARM.to_owned(), &place!["arm"], out));
    let extra = file.extra_arm.into_iter().enumerate();
    let extra = extra.map(|(at, arm)| {
        check_arm(
            arm,
            format!("extra{}", at + 1),
            &place!["extra_arm", at],
            out,
        )
    });
    ArmSetup {
        name: file.name,
        tools,
        arms: first.into_iter().chain(extra).collect(),
        platform: file.platform.map(|p| check_platform(&p, out)),
    }
}

fn check_tool(tool: ToolWire, at: &Place, names: &mut Ids, out: &mut Findings) -> ToolSpec {
    names.add(
        tool.name.as_deref().unwrap_or(FIRST_TOOL),
        || place![in at; "name"],
        out,
    );
    let mm =
        |n: Num, name: &str, out: &mut Findings| positive(n, || place![in at; name], out) / 1e3;
    let inner_radius_m = mm(tool.inner_diameter_mm, "inner_diameter_mm", out) / 2.0;
    let outer_radius_m = mm(tool.outer_diameter_mm, "outer_diameter_mm", out) / 2.0;
    out.unless(outer_radius_m > inner_radius_m, || {
        let expected = format!("more than inner_diameter_mm, {}", tool.inner_diameter_mm.0);
        Finding::new(Code::ToolWall, place![in at; "outer_diameter_mm"], expected)
    });
    let length_m = mm(tool.length_mm, "length_mm", out);
    let cut_offset_m = tool.cut_offset_mm.0 / 1e3;
    out.unless((-length_m..=0.0).contains(&cut_offset_m), || {
        let expected = format!("a number from {} to 0", -tool.length_mm.0);
        Finding::new(
            Code::CutPlaneOutside,
            place![in at; "cut_offset_mm"],
            expected,
        )
    });
    let body = tool.body.iter().enumerate();
    ToolSpec {
        cut_reach_m: check_cut_reach(&tool, at, out),
        inner_radius_m,
        outer_radius_m,
        length_m,
        cut_offset_m,
        standoff_m: mm(tool.standoff_mm, "standoff_mm", out),
        tilt_tolerance_rad: check_angle(
            tool.tilt_tolerance_deg,
            || place![in at; "tilt_tolerance_deg"],
            out,
        ),
        clearance_m: not_negative(tool.clearance_mm, || place![in at; "clearance_mm"], out) / 1e3,
        body: body
            .map(|(n, capsule)| check_capsule(capsule, &place![in at; "body", n], out))
            .collect(),
        action: tool.action.into(),
        name: tool.name,
    }
}

/// An angle from 0 to 180 degrees, in radians.
fn check_angle(degrees: Num, place: impl FnOnce() -> Place, out: &mut Findings) -> f64 {
    within(degrees, 0.0, 180.0, place, out).to_radians()
}

fn check_cut_reach(tool: &ToolWire, at: &Place, out: &mut Findings) -> f64 {
    match (tool.cut_reach_mm, tool.action) {
        (Some(reach), ToolActionWire::EncloseKeeper) => {
            positive(reach, || place![in at; "cut_reach_mm"], out) / 1e3
        }
        (Some(reach), ToolActionWire::EncloseTarget) => {
            not_negative(reach, || place![in at; "cut_reach_mm"], out) / 1e3
        }
        (None, ToolActionWire::EncloseTarget) => 0.0,
        (None, ToolActionWire::EncloseKeeper) => {
            let place = place![in at; "cut_reach_mm"];
            out.push(
                Finding::new(Code::CutReachMissing, place, "a number greater than 0")
                    .found("nothing"),
            );
            0.0
        }
    }
}

fn check_capsule(capsule: &CapsuleWire, at: &Place, out: &mut Findings) -> ToolCapsule {
    let radius_m = positive(capsule.radius_mm, || place![in at; "radius_mm"], out) / 1e3;
    ToolCapsule {
        a: point(&capsule.a_m),
        b: point(&capsule.b_m),
        radius_m,
    }
}

fn check_arm(arm: ArmWire, id: String, at: &Place, out: &mut Findings) -> ArmSpec {
    let repeatability = |n: Option<Num>, out: &mut Findings| {
        n.map(|n| not_negative(n, || place![in at; "repeatability_mm"], out) / 1e3)
    };
    let foot = || place![in at; "rig_from_base"];
    match arm {
        ArmWire::Cartesian {
            rig_from_base,
            low_m,
            high_m,
            speed_m_s,
            reach_direction,
            reach_within_deg,
            repeatability_mm,
        } => {
            check_bounds(&low_m, &high_m, at, out);
            let speed_m_s = positive(speed_m_s, || place![in at; "speed_m_s"], out);
            check_reach_pair(
                reach_direction.is_some(),
                reach_within_deg.is_some(),
                at,
                out,
            );
            let reach = ArmReach::Cartesian {
                low_m: vector3(&low_m),
                high_m: vector3(&high_m),
                speed_m_s,
                reach_direction: reach_direction
                    .and_then(|d| unit_vector(&d, || place![in at; "reach_direction"], out)),
                reach_within_rad: reach_within_deg
                    .map(|d| check_angle(d, || place![in at; "reach_within_deg"], out)),
            };
            let repeatability_m = repeatability(repeatability_mm, out);
            ArmSpec {
                id,
                reach,
                rig_from_base: rig_from_base.check(foot, out),
                repeatability_m,
            }
        }
        ArmWire::Chain {
            rig_from_base,
            urdf,
            base_link,
            tool_link,
            joint_speed_rad_s,
            repeatability_mm,
        } => {
            for (name, text) in [
                ("urdf", &urdf),
                ("base_link", &base_link),
                ("tool_link", &tool_link),
            ] {
                filled(text, || place![in at; name], out);
            }
            let joint_speed_rad_s = positive(
                joint_speed_rad_s,
                || place![in at; "joint_speed_rad_s"],
                out,
            );
            let reach = ArmReach::Chain {
                urdf,
                base_link,
                tool_link,
                joint_speed_rad_s,
            };
            let repeatability_m = repeatability(repeatability_mm, out);
            ArmSpec {
                id,
                reach,
                rig_from_base: rig_from_base.check(foot, out),
                repeatability_m,
            }
        }
    }
}

fn check_bounds(low: &[Num; 3], high: &[Num; 3], at: &Place, out: &mut Findings) {
    for (axis, (low, high)) in low.iter().zip(high).enumerate() {
        out.unless(low.0 < high.0, || {
            Finding::new(
                Code::BoundsInverted,
                place![in at; "low_m", axis],
                format!("less than high_m there, {}", high.0),
            )
        });
    }
}

fn check_reach_pair(direction: bool, within: bool, at: &Place, out: &mut Findings) {
    let absent = if direction {
        "reach_within_deg"
    } else {
        "reach_direction"
    };
    out.unless(direction == within, || {
        Finding::new(
            Code::ReachIncomplete,
            place![in at; absent],
            "both or neither",
        )
        .found("nothing")
    });
}

fn check_platform(platform: &PlatformWire, out: &mut Findings) -> Platform {
    Platform {
        orchard_from_rig: platform
            .orchard_from_rig
            .check(|| place!["platform", "orchard_from_rig"], out),
        step_m: positive(platform.step_m, || place!["platform", "step_m"], out),
        settle_s: not_negative(platform.settle_s, || place!["platform", "settle_s"], out),
    }
}
