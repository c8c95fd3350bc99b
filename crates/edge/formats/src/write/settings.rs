//! Policies and arms.

use crate::read::document::VERSION;
use crate::wire::arm::{ArmFile, ArmWire, CapsuleWire, PlatformWire, ToolWire};
use crate::wire::num::{Num, metres3, unit3};
use crate::wire::policy::{
    ClusterWire, ConfidenceWire, LossesWire, PinWire, PolicyFile, PreferWire, SpacingWire,
    TargetWire,
};
use crate::wire::pose::PoseWire;
use crate::write::error::WriteError;
use crate::write::publish::Publication;
use corymb_model::arm::{ArmReach, ArmSetup, ArmSpec, ToolAction, ToolSpec};
use corymb_model::policy::{Losses, Pin, Pinned, Policy};
use std::path::Path;

/// Writes a policy.
///
/// # Errors
/// A number that is not finite, or the disk.
pub fn write_policy(path: &Path, policy: &Policy) -> Result<(), WriteError> {
    Publication::single(path, |publication, name| {
        publication.toml(name, &policy_file(policy))
    })
}

/// Writes the tool, the arm and the platform.
///
/// # Errors
/// No tool at all, a number that is not finite, or the disk.
pub fn write_arm(path: &Path, arm: &ArmSetup) -> Result<(), WriteError> {
    Publication::single(path, |publication, name| {
        publication.toml(name, &arm_file(arm)?)
    })
}

fn policy_file(p: &Policy) -> PolicyFile {
    let losses = LossesWire {
        natural_drop: p.losses.natural_drop.map(Num::share),
        tool_success: p.losses.tool_success.map(Num::share),
        count_unseen: p.losses.count_unseen,
    };
    PolicyFile {
        version: VERSION,
        name: p.name.clone(),
        target: TargetWire {
            fruit_per_cm2_trunk: p.target.fruit_per_cm2_trunk.map(Num::exact),
            fruit_per_tree: p.target.fruit_per_tree.map(Num::exact),
            fruit_per_cm2_limb: p.target.fruit_per_cm2_limb.map(Num::exact),
        },
        cluster: ClusterWire {
            keep_at_most: u32::try_from(p.keep_at_most).unwrap_or(u32::MAX),
        },
        spacing: p.spacing_along_limb_m.map(|s| SpacingWire {
            along_limb_m: Num::metres(s),
        }),
        prefer: PreferWire {
            king: Num::exact(p.prefer.king),
            diameter: Num::exact(p.prefer.diameter),
            reach: Num::exact(p.prefer.reach),
        },
        confidence: ConfidenceWire {
            act_above: Num::share(p.act_above),
        },
        losses: (p.losses != Losses::default()).then_some(losses),
        pin: p.pins.iter().map(pin).collect(),
    }
}

pub(crate) fn pin(p: &Pin) -> PinWire {
    let mut wire = PinWire {
        fruitlet: None,
        cluster: None,
        limb: None,
        tree: None,
        as_: p.as_.into(),
    };
    match &p.what {
        Pinned::Fruitlet(id) => wire.fruitlet = Some(id.clone()),
        Pinned::Cluster(id) => wire.cluster = Some(id.clone()),
        Pinned::Limb(id) => wire.limb = Some(id.clone()),
        Pinned::Tree(id) => wire.tree = Some(id.clone()),
    }
    wire
}

fn arm_file(a: &ArmSetup) -> Result<ArmFile, WriteError> {
    let missing = WriteError::Position {
        file: "arm.toml",
        kind: "tool",
        position: 0,
        count: 0,
    };
    let mut tools = a.tools.iter().map(tool);
    let mut arms = a.arms.iter().map(arm);
    Ok(ArmFile {
        version: VERSION,
        name: a.name.clone(),
        tool: tools.next().ok_or(missing)?,
        extra_tool: tools.collect(),
        arm: arms.next(),
        extra_arm: arms.collect(),
        platform: a.platform.map(|p| PlatformWire {
            orchard_from_rig: PoseWire::of(&p.orchard_from_rig),
            step_m: Num::metres(p.step_m),
            settle_s: Num::seconds(p.settle_s),
        }),
    })
}

fn tool(t: &ToolSpec) -> ToolWire {
    let capsule = |c: &corymb_model::arm::ToolCapsule| CapsuleWire {
        a_m: metres3(&c.a.xyz),
        b_m: metres3(&c.b.xyz),
        radius_mm: Num::mm(c.radius_m),
    };
    ToolWire {
        name: t.name.clone(),
        action: t.action.into(),
        inner_diameter_mm: Num::mm(2.0 * t.inner_radius_m),
        outer_diameter_mm: Num::mm(2.0 * t.outer_radius_m),
        length_mm: Num::mm(t.length_m),
        cut_offset_mm: Num::mm(t.cut_offset_m),
        cut_reach_mm: (t.action == ToolAction::EncloseKeeper).then(|| Num::mm(t.cut_reach_m)),
        standoff_mm: Num::mm(t.standoff_m),
        tilt_tolerance_deg: Num::degrees(t.tilt_tolerance_rad),
        clearance_mm: Num::mm(t.clearance_m),
        body: t.body.iter().map(capsule).collect(),
    }
}

fn arm(a: &ArmSpec) -> ArmWire {
    let rig_from_base = PoseWire::of(&a.rig_from_base);
    let repeatability_mm = a.repeatability_m.map(Num::mm);
    match &a.reach {
        ArmReach::Cartesian {
            low_m,
            high_m,
            speed_m_s,
            reach_direction,
            reach_within_rad,
        } => ArmWire::Cartesian {
            rig_from_base,
            low_m: metres3(low_m),
            high_m: metres3(high_m),
            speed_m_s: Num::exact(*speed_m_s),
            reach_direction: reach_direction.map(|d| unit3(&d.xyz)),
            reach_within_deg: reach_within_rad.map(Num::degrees),
            repeatability_mm,
        },
        ArmReach::Chain {
            urdf,
            base_link,
            tool_link,
            joint_speed_rad_s,
        } => ArmWire::Chain {
            rig_from_base,
            urdf: urdf.clone(),
            base_link: base_link.clone(),
            tool_link: tool_link.clone(),
            joint_speed_rad_s: Num::exact(*joint_speed_rad_s),
            repeatability_mm,
        },
    }
}
