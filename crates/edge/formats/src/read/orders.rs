//! `orders.jsonl` and `refusals.jsonl` back into the task list.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, place};
use crate::limits::Limits;
use crate::lines::{diagnose, read_lines};
use crate::problem::{Problem, Problems};
use crate::read::checks::{not_negative, point, share, unknown_name};
use crate::read::document::Loaded;
use crate::read::known::Known;
use crate::shape::Shape;
use crate::source::{Located, locate_needed, require_folder};
use crate::wire::num::Num;
use crate::wire::orders::{LookWire, OrderLine, PoseNameWire, RefusalLine, RemoveWire};
use crate::write::tool_name;
use corymb_model::arm::{ArmSetup, ToolAction};
use corymb_model::frames::{Orchard, Point, Pose, Tool};
use corymb_model::map::CropMap;
use corymb_model::orders::{Order, Work};
use corymb_model::run::Run;
use corymb_model::trials::StatedChance;
use corymb_model::ways::{PlannedRemoval, Refusal, Shortfall};
use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use std::collections::HashMap;
use std::path::Path;

/// Reads `orders.jsonl` of an output folder that was made with `arm`.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_orders(
    dir: &Path,
    run: &Run,
    map: &CropMap,
    arm: &ArmSetup,
) -> Result<Loaded<Vec<Order>>, Problems> {
    let known = Known::of_map(run, map);
    let located = locate_needed(dir, "orders.jsonl")?;
    let read = read_records(&located, |line: OrderLine, out| {
        check_order(&line, &known, map, arm, out)
    })?;
    let id = |(no, order): &'_ (u64, Option<Order>)| Some((*no, order.as_ref()?.id.clone()));
    let ids: Vec<(u64, String)> = read.value.iter().filter_map(id).collect();
    let ids = ids.iter().map(|(no, id)| (*no, id.as_str()));
    let problems = repeated_orders(ids, &located.name);
    let problems = problems.in_order(&located.name, Limits::default().problems);
    let value = read
        .value
        .into_iter()
        .filter_map(|(_, order)| order)
        .collect();
    problems.or_else(Loaded {
        value,
        file_name: read.file_name,
        sha256: read.sha256,
    })
}

/// Reads of `orders.jsonl` of an output folder what each order said of its success, and nothing else: neither the run nor
/// the arm is needed.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_order_chances(dir: &Path) -> Result<Loaded<Vec<StatedChance>>, Problems> {
    require_folder(dir)?;
    let located = locate_needed(dir, "orders.jsonl")?;
    let read = read_records(&located, |line: OrderLine, out| Some(stated(line, out)))?;
    let known = |(no, chance): &(u64, Option<StatedChance>)| Some((*no, chance.clone()?));
    let chances: Vec<(u64, StatedChance)> = read.value.iter().filter_map(known).collect();
    let ids = chances.iter().map(|(no, c)| (*no, c.order.as_str()));
    let problems =
        repeated_orders(ids, &located.name).in_order(&located.name, Limits::default().problems);
    problems.or_else(Loaded {
        value: chances.into_iter().map(|(_, chance)| chance).collect(),
        file_name: read.file_name,
        sha256: read.sha256,
    })
}

fn stated(line: OrderLine, out: &mut Findings) -> StatedChance {
    let (order, success_probability) = match line {
        OrderLine::Remove(remove) => {
            let at = || place!["success_probability"];
            (
                remove.order,
                Some(share(remove.success_probability, at, out)),
            )
        }
        OrderLine::Look(look) => (look.order, None),
    };
    StatedChance {
        order,
        success_probability,
    }
}

/// Reads `refusals.jsonl` of an output folder; an empty file holds none.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_refusals(
    dir: &Path,
    run: &Run,
    map: &CropMap,
) -> Result<Loaded<Vec<Refusal>>, Problems> {
    let known = Known::of_map(run, map);
    let located = locate_needed(dir, "refusals.jsonl")?;
    let read = read_records(&located, |line: RefusalLine, out| {
        check_refusal(&line, &known, out)
    })?;
    let value = read
        .value
        .into_iter()
        .filter_map(|(_, refusal)| refusal)
        .collect();
    Ok(Loaded {
        value,
        file_name: read.file_name,
        sha256: read.sha256,
    })
}

/// Records with their lines; `None` never stands where there is no problem.
type Records<T> = Vec<(u64, Option<T>)>;

/// Reads lines that are few; each is looked at closely at once. No line at all is no problem here.
fn read_records<W: DeserializeOwned + JsonSchema, T: Send>(
    located: &Located,
    check: impl Fn(W, &mut Findings) -> Option<T> + Sync,
) -> Result<Loaded<Records<T>>, Problems> {
    let limits = Limits::default();
    let shape = Shape::of::<W>();
    let parse = |no: u64, bytes: &[u8]| {
        let mut record = None;
        let problems = diagnose(
            &(located.name.as_str(), no, bytes),
            &shape,
            &limits,
            |line: W, out| record = check(line, out),
        );
        problems.or_else(record)
    };
    let mut records = Vec::new();
    let ending = read_lines(located, &limits, parse, |no, record| {
        records.push((no, record));
        Ok(())
    });
    let ending = match ending {
        Ok(ending) => ending,
        Err(problem) if problem.code == Code::FileEmpty => {
            let document = located.open()?;
            return Ok(Loaded {
                value: records,
                file_name: located.name.clone(),
                sha256: document.finish()?,
            });
        }
        Err(problem) => return Err(problem.into()),
    };
    ending.problems.or_else(Loaded {
        value: records,
        file_name: located.name.clone(),
        sha256: ending.sha256,
    })
}

/// Problems of orders whose id an earlier line has.
fn repeated_orders<'o>(ids: impl Iterator<Item = (u64, &'o str)>, file: &str) -> Problems {
    let mut first: HashMap<&str, u64> = HashMap::new(); // only asked, never walked
    let mut problems = Problems::default();
    for (no, id) in ids {
        if let Some(earlier) = first.insert(id, no) {
            problems.list.push(Problem {
                code: Code::IdTwice,
                file: file.to_owned(),
                line: Some(no),
                field: "order".to_owned(),
                found: format!("{id:?}"),
                expected: format!("an id that no other order has (line {earlier} has it already)"),
                what_to_do: Code::IdTwice.entry().action.to_owned(),
            });
        }
    }
    problems
}

fn check_order(
    line: &OrderLine,
    known: &Known<'_>,
    map: &CropMap,
    arm: &ArmSetup,
    out: &mut Findings,
) -> Option<Order> {
    match line {
        OrderLine::Remove(wire) => check_remove(wire, known, map, arm, out),
        OrderLine::Look(wire) => check_look(wire, known, map, out),
    }
}

fn check_remove(
    wire: &RemoveWire,
    known: &Known<'_>,
    map: &CropMap,
    arm: &ArmSetup,
    out: &mut Findings,
) -> Option<Order> {
    let cluster_idx = known.cluster(&wire.cluster, || place!["cluster"], out);
    if let Some(tree) = &wire.tree {
        known.tree(tree, || place!["tree"], out);
    }
    let targets = known.fruitlets(&wire.targets, |at| place!["targets", at], out);
    let keepers = known.fruitlets(&wire.keepers, |at| place!["keepers", at], out);
    let enclosed = check_enclosed(wire, &targets, &keepers, known, map, out);
    let tool_idx = check_tool(&wire.tool, arm, out);
    let arm_idx = wire.arm.as_ref().and_then(|id| check_arm(id, arm, out));
    let chance = |n: Num, name: &str, out: &mut Findings| share(n, || place![name], out);
    let plan = PlannedRemoval {
        targets,
        enclosed: enclosed?,
        tool_idx: tool_idx?,
        arm_idx,
        orchard_from_tool: check_pose(wire, PoseNameWire::Enclose, out)?,
        orchard_from_tool_cut: check_pose(wire, PoseNameWire::Cut, out)?,
        tilt_rad: wire.tilt_deg.0.to_radians(),
        clearance_m: wire.clearance_mm.0 / 1e3,
        unseen_share: wire.unseen_share.map(|n| chance(n, "unseen_share", out)),
        success_probability: chance(wire.success_probability, "success_probability", out),
        success_probability_unlocated: chance(
            wire.success_probability_unlocated,
            "success_probability_unlocated",
            out,
        ),
        stops: wire.stops,
        duration_s: wire.work_s.unwrap_or(wire.duration_s).0,
        reach_checked: wire.reach_checked,
        not_checked: wire.not_checked.clone(),
    };
    Some(Order {
        id: wire.order.clone(),
        seq: wire.seq,
        stop: wire.stop,
        orchard_from_rig: wire
            .orchard_from_rig
            .as_ref()
            .map(|p| p.check(|| place!["orchard_from_rig"], out)),
        needs: wire.needs.clone(),
        cluster_idx: cluster_idx?,
        duration_s: not_negative(wire.duration_s, || place!["duration_s"], out),
        work: Work::Remove { plan, keepers },
    })
}

/// The fruit that is enclosed; where a file does not say, the target or keeper nearest to the centre stated.
fn check_enclosed(
    wire: &RemoveWire,
    targets: &[usize],
    keepers: &[usize],
    known: &Known<'_>,
    map: &CropMap,
    out: &mut Findings,
) -> Option<usize> {
    if let Some(id) = &wire.enclosed {
        return known.fruitlet(id, || place!["enclosed"], out);
    }
    let candidates = match wire.action.into() {
        ToolAction::EncloseTarget => targets,
        ToolAction::EncloseKeeper => keepers,
    };
    nearest(candidates, &point(&wire.target_centre_m), map)
}

fn nearest(candidates: &[usize], to: &Point<Orchard>, map: &CropMap) -> Option<usize> {
    let distance = |at: usize| {
        map.fruitlets
            .get(at)
            .map_or(f64::INFINITY, |f| (f.centre.xyz - to.xyz).norm())
    };
    candidates
        .iter()
        .copied()
        .min_by(|a, b| distance(*a).total_cmp(&distance(*b)))
}

fn check_tool(name: &str, arm: &ArmSetup, out: &mut Findings) -> Option<usize> {
    let position = arm.tools.iter().position(|t| tool_name(t) == name);
    if position.is_none() {
        let names = arm.tools.iter().map(tool_name);
        out.push(unknown_name(
            Code::ToolUnknown,
            place!["tool"],
            name,
            names,
            "tool",
        ));
    }
    position
}

fn check_arm(id: &str, arm: &ArmSetup, out: &mut Findings) -> Option<usize> {
    let position = arm.arms.iter().position(|a| a.id == id);
    if position.is_none() {
        let names = arm.arms.iter().map(|a| a.id.as_str());
        out.push(unknown_name(
            Code::ToolUnknown,
            place!["arm"],
            id,
            names,
            "arm",
        ));
    }
    position
}

fn check_pose(
    wire: &RemoveWire,
    name: PoseNameWire,
    out: &mut Findings,
) -> Option<Pose<Orchard, Tool>> {
    let place = |at: usize| -> Place { place!["poses", at, "orchard_from_tool"] };
    match wire.poses.iter().position(|p| p.name == name) {
        Some(at) => wire
            .poses
            .get(at)
            .map(|p| p.orchard_from_tool.check(|| place(at), out)),
        None => {
            let expected = format!("a pose named {}", serde_json::json!(name));
            out.push(Finding::new(Code::FieldMissing, place!["poses"], expected));
            None
        }
    }
}

fn check_look(
    wire: &LookWire,
    known: &Known<'_>,
    map: &CropMap,
    out: &mut Findings,
) -> Option<Order> {
    let cluster_idx = known.cluster(&wire.cluster, || place!["cluster"], out);
    let camera_idx = known.camera(&wire.camera, || place!["camera"], out);
    let members = cluster_idx
        .and_then(|c| map.clusters.get(c))
        .map_or(&[][..], |c| &c.members);
    let fruitlet_idx = match &wire.fruitlet {
        Some(id) => known.fruitlet(id, || place!["fruitlet"], out),
        None => nearest(members, &point(&wire.target_centre_m), map),
    };
    let orchard_from_camera = wire
        .orchard_from_camera
        .check(|| place!["orchard_from_camera"], out);
    Some(Order {
        id: wire.order.clone(),
        seq: wire.seq,
        stop: wire.stop,
        orchard_from_rig: wire
            .orchard_from_rig
            .as_ref()
            .map(|p| p.check(|| place!["orchard_from_rig"], out)),
        needs: wire.needs.clone(),
        cluster_idx: cluster_idx?,
        duration_s: not_negative(wire.duration_s, || place!["duration_s"], out),
        work: Work::Look {
            fruitlet_idx: fruitlet_idx?,
            camera_idx: camera_idx?,
            orchard_from_camera,
        },
    })
}

fn check_refusal(wire: &RefusalLine, known: &Known<'_>, out: &mut Findings) -> Option<Refusal> {
    let length = wire.shortfall_mm.map(|n| Shortfall::Metres(n.0 / 1e3));
    let angle = wire
        .shortfall_deg
        .map(|n| Shortfall::Radians(n.0.to_radians()));
    Some(Refusal {
        fruitlet_idx: known.fruitlet(&wire.fruitlet, || place!["fruitlet"], out)?,
        reason: wire.reason.into(),
        blocked_by: wire.blocked_by.clone(),
        shortfall: length.or(angle),
    })
}
