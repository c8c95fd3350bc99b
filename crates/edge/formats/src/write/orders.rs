//! `orders.jsonl` and `refusals.jsonl`.

use crate::read::FIRST_TOOL;
use crate::wire::num::{Num, metres3};
use crate::wire::orders::{
    LookWire, OrderLine, PoseNameWire, RefusalLine, RemoveWire, ToolPoseWire,
};
use crate::wire::pose::PoseWire;
use crate::write::error::WriteError;
use crate::write::names::Names;
use crate::write::publish::Publication;
use corymb_model::arm::{ArmSetup, ToolSpec};
use corymb_model::frames::{CameraFrame, Orchard, Pose, Tool};
use corymb_model::map::CropMap;
use corymb_model::orders::{Order, Work};
use corymb_model::run::Run;
use corymb_model::ways::{PlannedRemoval, Refusal, Shortfall};
use nalgebra::Translation3;

const ORDERS: &str = "orders.jsonl";
const REFUSALS: &str = "refusals.jsonl";

impl Publication {
    /// Adds `orders.jsonl`, in the order given.
    ///
    /// # Errors
    /// A position without an entry, a number that is not finite, or the disk.
    pub fn orders(
        &mut self,
        run: &Run,
        map: &CropMap,
        arm: &ArmSetup,
        orders: &[Order],
    ) -> Result<(), WriteError> {
        let names = Names {
            file: ORDERS,
            run,
            map,
        };
        self.json_lines(ORDERS, orders.iter().map(|o| order(o, arm, &names)))
    }

    /// Adds `refusals.jsonl`, in the order given.
    ///
    /// # Errors
    /// A position without an entry, a number that is not finite, or the disk.
    pub fn refusals(
        &mut self,
        run: &Run,
        map: &CropMap,
        refusals: &[Refusal],
    ) -> Result<(), WriteError> {
        let names = Names {
            file: REFUSALS,
            run,
            map,
        };
        self.json_lines(REFUSALS, refusals.iter().map(|r| refusal(r, &names)))
    }
}

/// What a tool is called in orders.
pub(crate) fn tool_name(tool: &ToolSpec) -> &str {
    tool.name.as_deref().unwrap_or(FIRST_TOOL)
}

fn order(o: &Order, arm: &ArmSetup, names: &Names<'_>) -> Result<OrderLine, WriteError> {
    Ok(match &o.work {
        Work::Remove { plan, keepers } => {
            OrderLine::Remove(Box::new(remove(o, plan, keepers, arm, names)?))
        }
        Work::Look {
            fruitlet_idx,
            camera_idx,
            orchard_from_camera,
        } => OrderLine::Look(Box::new(look(
            o,
            *fruitlet_idx,
            *camera_idx,
            orchard_from_camera,
            names,
        )?)),
    })
}

fn remove(
    o: &Order,
    plan: &PlannedRemoval,
    keepers: &[usize],
    arm: &ArmSetup,
    names: &Names<'_>,
) -> Result<RemoveWire, WriteError> {
    let tool = names.entry("tool", &arm.tools, plan.tool_idx)?;
    let arm_spec = plan
        .arm_idx
        .map(|at| names.entry("arm", &arm.arms, at))
        .transpose()?;
    let cluster = names.cluster(o.cluster_idx)?;
    let enclosed = names.fruitlet(plan.enclosed)?;
    Ok(RemoveWire {
        order: o.id.clone(),
        seq: o.seq,
        stop: o.stop,
        orchard_from_rig: o.orchard_from_rig.as_ref().map(PoseWire::of),
        arm: arm_spec.map(|a| a.id.clone()),
        tool: tool_name(tool).to_owned(),
        action: tool.action.into(),
        tree: names.tree_id(cluster.tree_idx)?,
        cluster: cluster.id.clone(),
        targets: names.fruitlet_ids(&plan.targets)?,
        keepers: names.fruitlet_ids(keepers)?,
        enclosed: Some(enclosed.id.clone()),
        target_centre_m: metres3(&enclosed.centre.xyz),
        target_diameter_mm: Num::mm(enclosed.diameter_m),
        poses: tool_poses(plan, tool),
        tilt_deg: Num::degrees(plan.tilt_rad),
        clearance_mm: Num::mm(plan.clearance_m),
        unseen_share: plan.unseen_share.map(Num::share),
        success_probability: Num::share(plan.success_probability),
        success_probability_unlocated: Num::share(plan.success_probability_unlocated),
        needs: o.needs.clone(),
        duration_s: Num::seconds(o.duration_s),
        work_s: Some(Num::seconds(plan.duration_s)),
        stops: plan.stops,
        reach_checked: plan.reach_checked,
        not_checked: plan.not_checked.clone(),
    })
}

fn tool_poses(plan: &PlannedRemoval, tool: &ToolSpec) -> Vec<ToolPoseWire> {
    let pose = |name, pose: &Pose<Orchard, Tool>| ToolPoseWire {
        name,
        orchard_from_tool: PoseWire::of(pose),
        joints: None,
    };
    vec![
        pose(
            PoseNameWire::Standoff,
            &moved_back(&plan.orchard_from_tool, tool.standoff_m),
        ),
        pose(PoseNameWire::Enclose, &plan.orchard_from_tool),
        pose(PoseNameWire::Cut, &plan.orchard_from_tool_cut),
        pose(
            PoseNameWire::Retreat,
            &moved_back(&plan.orchard_from_tool_cut, tool.standoff_m),
        ),
    ]
}

/// The pose moved along the tool's own -z.
fn moved_back(orchard_from_tool: &Pose<Orchard, Tool>, back_m: f64) -> Pose<Orchard, Tool> {
    Pose::from_isometry(orchard_from_tool.iso * Translation3::new(0.0, 0.0, -back_m))
}

fn look(
    o: &Order,
    fruitlet_idx: usize,
    camera_idx: usize,
    orchard_from_camera: &Pose<Orchard, CameraFrame>,
    names: &Names<'_>,
) -> Result<LookWire, WriteError> {
    let fruitlet = names.fruitlet(fruitlet_idx)?;
    Ok(LookWire {
        order: o.id.clone(),
        seq: o.seq,
        stop: o.stop,
        orchard_from_rig: o.orchard_from_rig.as_ref().map(PoseWire::of),
        arm: None,
        cluster: names.cluster(o.cluster_idx)?.id.clone(),
        fruitlet: Some(fruitlet.id.clone()),
        target_centre_m: metres3(&fruitlet.centre.xyz),
        camera: names.camera_id(camera_idx)?,
        orchard_from_camera: PoseWire::of(orchard_from_camera),
        poses: Vec::new(),
        needs: o.needs.clone(),
        duration_s: Num::seconds(o.duration_s),
    })
}

fn refusal(r: &Refusal, names: &Names<'_>) -> Result<RefusalLine, WriteError> {
    let (shortfall_mm, shortfall_deg) = match r.shortfall {
        Some(Shortfall::Metres(m)) => (Some(Num::mm(m)), None),
        Some(Shortfall::Radians(rad)) => (None, Some(Num::degrees(rad))),
        None => (None, None),
    };
    Ok(RefusalLine {
        fruitlet: names.fruitlet(r.fruitlet_idx)?.id.clone(),
        reason: r.reason.into(),
        blocked_by: r.blocked_by.clone(),
        shortfall_mm,
        shortfall_deg,
    })
}
