//! Why a fruit cannot be taken: the first condition that no pose meets, what is in the way, and by how much.

use crate::closings::{Closings, members};
use crate::field::{Field, M_PER_RAD, Set, There};
use crate::judge::{Condition, Finding};
use crate::problem::{Aim, Problem};
use crate::search::KEPT;
use crate::solids::SolidName;
use corymb_model::arm::{ToolAction, ToolSpec};
use corymb_model::ways::{RefusalReason, Shortfall};

/// Poses looked at: those that do best on all conditions together.
const POSES: usize = 50;
/// A limit of an earlier stage weighs this much more in the search for the least excess.
const EARLIER: f64 = 100.0;
/// Conditions in the order in which they are asked.
const STAGES: [RefusalReason; 8] = [
    RefusalReason::StemTooShort,
    RefusalReason::BladeMissesStem,
    RefusalReason::BlockedByFruit,
    RefusalReason::CutsOtherStem,
    RefusalReason::BlockedByLimb,
    RefusalReason::BlockedByObstacle,
    RefusalReason::ReachDirection,
    RefusalReason::OutOfReach,
];

/// Something in the way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Blocker {
    /// Position in `CropMap::fruitlets`.
    Fruit(usize),
    /// A limb or an obstacle.
    Solid(SolidName),
}

/// Why not.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Diagnosis {
    pub reason: RefusalReason,
    pub blockers: Vec<Blocker>,
    pub shortfall: Option<Shortfall>,
    /// How many conditions were met before.
    met: usize,
}

impl Diagnosis {
    fn plain(reason: RefusalReason, shortfall_m: Option<f64>) -> Self {
        Self {
            reason,
            blockers: Vec::new(),
            shortfall: shortfall_m.map(Shortfall::Metres),
            met: 0,
        }
    }
}

/// Why fruit `slot` cannot be taken while `keep` is to stay and `later` should go but is there too: of the tool (and
/// keeper) that comes furthest.
pub(crate) fn diagnose(
    closings: &mut Closings<'_>,
    slot: usize,
    keep: Set,
    later: Set,
) -> Diagnosis {
    let mut places: Vec<(usize, usize, There)> = Vec::new();
    for tool_idx in closings.tools(ToolAction::EncloseTarget) {
        let there = There {
            targets: 0,
            keep,
            later,
        };
        places.push((tool_idx, slot, there));
    }
    for tool_idx in closings.tools(ToolAction::EncloseKeeper) {
        let about = |k: usize| There {
            targets: 1 << slot,
            keep: keep & !(1 << k),
            later,
        };
        places.extend(members(keep).map(|k| (tool_idx, k, about(k))));
    }
    let mut furthest = Diagnosis::plain(RefusalReason::NoKeeper, None);
    for (i, (tool_idx, enclosed, there)) in places.into_iter().enumerate() {
        let diagnosis = match closings.field(tool_idx, enclosed) {
            None => Diagnosis::plain(RefusalReason::NoAxis, None),
            Some(field) => of_field(field, &there),
        };
        if i == 0 || diagnosis.met > furthest.met {
            furthest = diagnosis;
        }
    }
    furthest
}

/// Excess over the limits of each stage.
type Excess = [f64; STAGES.len()];

fn of_field(field: &mut Field<'_>, there: &There) -> Diagnosis {
    if members(there.targets).any(|slot| !field.is_near(slot)) {
        return Diagnosis {
            met: 2,
            ..Diagnosis::plain(RefusalReason::BladeMissesStem, None)
        };
    }
    if let Some(excess) = too_large(field.problem.tool, field.problem.body.radius) {
        return Diagnosis {
            met: 1,
            ..Diagnosis::plain(RefusalReason::TooLarge, Some(excess))
        };
    }
    let mut left: Vec<(Aim, Excess)> = Vec::with_capacity(POSES);
    let mut findings = Vec::new();
    for aim in field.likeliest(there, POSES) {
        field.spares(&aim, there, &mut findings);
        left.push((aim, excess_of(&field.problem, &findings)));
    }
    for (stage, reason) in STAGES.into_iter().enumerate() {
        let nearest = least(&left, stage);
        left.retain(|(_, excess)| excess[stage] <= KEPT);
        let (Some(nearest), true) = (nearest, left.is_empty()) else {
            continue;
        };
        let aim = field.nearest_to_good(&nearest, there, |problem, findings| {
            let excess = excess_of(problem, findings);
            excess[stage] + EARLIER * excess[..stage].iter().sum::<f64>()
        });
        let findings = field.findings(&aim, there);
        let excess = excess_of(&field.problem, &findings);
        if excess[..=stage].iter().all(|e| *e <= KEPT) {
            left.push((aim, excess));
            continue;
        }
        // the better pose counts only where it keeps what came before
        let keeps = excess[..stage].iter().all(|e| *e <= KEPT);
        let findings = if keeps {
            findings
        } else {
            field.findings(&nearest, there)
        };
        return failed(&field.problem, &findings, stage, reason);
    }
    unlikely(field, there)
}

/// What is missing for the fruit to fit at all, metres.
fn too_large(tool: &ToolSpec, radius_m: f64) -> Option<f64> {
    let across = 2.0 * (radius_m - tool.inner_radius_m);
    let along = 2.0 * radius_m - (tool.length_m + tool.cut_offset_m);
    let excess = across.max(along);
    (excess > 0.0).then_some(excess)
}

/// The pose with the least excess at a stage; the first of equals.
fn least(left: &[(Aim, Excess)], stage: usize) -> Option<Aim> {
    left.iter()
        .min_by(|a, b| a.1[stage].total_cmp(&b.1[stage]))
        .map(|(aim, _)| *aim)
}

fn stage_of(problem: &Problem<'_>, condition: Condition) -> usize {
    match condition {
        Condition::Inside | Condition::Depth | Condition::OwnStem | Condition::Tilt => 0,
        Condition::Ring(_) => 1,
        Condition::Body(_) => 2,
        Condition::Stem(_) => 3,
        Condition::Solid(k) => match problem.solids.get(k).map(|s| s.name) {
            Some(SolidName::Obstacle(_)) => 5,
            _ => 4,
        },
        Condition::Pointing => 6,
        Condition::Reach => 7,
    }
}

fn excess_of(problem: &Problem<'_>, findings: &[Finding]) -> Excess {
    let mut excess = Excess::default();
    for finding in findings {
        let (stage, missing) = (stage_of(problem, finding.condition), -finding.spare);
        if stage == 0 {
            // behind the plane and in front of it: what is missing on both sides adds up
            let scale = if finding.condition.is_angle() {
                M_PER_RAD
            } else {
                1.0
            };
            excess[0] += missing.max(0.0) * scale;
        } else {
            excess[stage] = excess[stage].max(missing);
        }
    }
    excess
}

fn blocker_of(problem: &Problem<'_>, condition: Condition) -> Option<Blocker> {
    match condition {
        Condition::Body(k) | Condition::Stem(k) => problem
            .neighbours
            .get(k)
            .map(|n| Blocker::Fruit(n.body.idx)),
        Condition::Solid(k) => problem.solids.get(k).map(|s| Blocker::Solid(s.name)),
        _ => None,
    }
}

fn failed(
    problem: &Problem<'_>,
    findings: &[Finding],
    stage: usize,
    reason: RefusalReason,
) -> Diagnosis {
    let excess = excess_of(problem, findings)[stage];
    let in_the_way = |f: &&Finding| stage_of(problem, f.condition) == stage && f.spare < -KEPT;
    let mut blockers: Vec<Blocker> = findings
        .iter()
        .filter(in_the_way)
        .filter_map(|f| blocker_of(problem, f.condition))
        .collect();
    blockers.sort_unstable();
    blockers.dedup();
    let shortfall = if reason == RefusalReason::ReachDirection {
        Shortfall::Radians(excess.max(0.0))
    } else {
        Shortfall::Metres(excess.max(0.0))
    };
    // the first two reasons, no axis and too large, have been passed
    Diagnosis {
        reason,
        blockers,
        shortfall: Some(shortfall),
        met: 2 + stage,
    }
}

/// Every condition can be met, but not surely enough: what is least sure stands as the blocker.
fn unlikely(field: &mut Field<'_>, there: &There) -> Diagnosis {
    let aim = field.likeliest(there, 1).first().copied();
    let findings = aim
        .map(|aim| field.findings(&aim, there))
        .unwrap_or_default();
    let least_sure = findings.iter().min_by(|a, b| a.ln.total_cmp(&b.ln));
    let blockers = least_sure
        .and_then(|f| blocker_of(&field.problem, f.condition))
        .into_iter()
        .collect();
    Diagnosis {
        reason: RefusalReason::TooUnlikely,
        blockers,
        shortfall: None,
        met: 2 + STAGES.len(),
    }
}
