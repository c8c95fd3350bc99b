//! The task list carried out in sequence on the true orchard.

use crate::allowance::Allowance;
use crate::case::Case;
use crate::closing::{Outcome, Plan, Reality};
use crate::figure::{Share, Spread};
use crate::reach::in_reach;
use corymb_model::arm::ArmSetup;
use corymb_model::decisions::Action;
use corymb_model::orders::{Order, TaskList, Work};
use corymb_model::ways::PlannedRemoval;
use nalgebra::Vector3;
use serde::Serialize;
use std::collections::BTreeSet;

/// Orders against truth. Each order is judged by what a good order does (the enclosed fruit inside and behind the cutting
/// plane, the right stems cut and no other, tilt within tolerance, nothing else touched); what was cut is gone for the
/// next one. A tool that meets wood or wire stops and cuts nothing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OrderScores {
    /// Orders to look again; they are not judged.
    pub looks: usize,
    /// Removals left out because the truth is silent about a fruitlet that they are aimed at.
    pub not_judged: usize,
    /// Orders that meet every condition.
    pub good: Share,
    /// All targets and the enclosed fruit are true fruit.
    pub aimed_at_fruit: Share,
    /// The enclosed fruit lies inside, behind the cutting plane.
    pub enclosed: Share,
    /// Its stem crosses the cutting plane inside, its spur is in front.
    pub stem_crosses: Share,
    /// Every target's stem is cut.
    pub targets_cut: Share,
    /// The tilt against the true axis is within tolerance.
    pub tilt_ok: Share,
    /// The tilt against the true axis, where there is an enclosed fruit.
    pub tilt_deg: Spread,
    /// Other fruit is touched.
    pub touched: Share,
    /// Another fruit's stem is cut.
    pub cut_other: Share,
    /// Fruit that no order is aimed at is touched or cut.
    pub hurt_kept: Share,
    /// A limb is met.
    pub hits_limb: Share,
    /// An obstacle is met.
    pub hits_obstacle: Share,
    /// Every pose, moved as the fruit is, lies within the arm's bounds at its stop, of orders whose arm and stop are known.
    pub in_reach: Share,
    /// Orders with a target that an earlier order had.
    pub repeated: usize,
    /// Orders before something that they need.
    pub needs_broken: usize,
    /// Orders whose number is not above the one before.
    pub out_of_sequence: usize,
    /// Decided removals of true fruit that a good order carries out, of all decided removals.
    pub decided_and_done: Share,
    /// Decided removals with neither order nor refusal.
    pub neither_ordered_nor_refused: usize,
    /// Excess fruit of overfull true clusters that good orders take, never more of a cluster than its excess.
    pub excess_removed: Share,
    /// Overfull true clusters that end as full as allowed, with none of the fruit that stays touched.
    pub clusters_right: Share,
}

/// What happened to the orders.
pub(crate) struct Carried<'a> {
    done: Vec<Done<'a>>,
    reality: Reality<'a>,
    /// Fruit that good orders were aimed at.
    removed_well: BTreeSet<usize>,
    /// Fruit touched by any order that was carried out.
    touched: BTreeSet<usize>,
    /// Removals that the truth is silent about.
    not_judged: Vec<&'a PlannedRemoval>,
}

/// An order that was carried out.
struct Done<'a> {
    order: &'a Order,
    plan: &'a PlannedRemoval,
    outcome: Outcome,
    /// Its targets and its enclosed fruit are true fruit.
    aimed_at_fruit: bool,
}

/// An order as it was judged.
pub(crate) struct JudgedOrder {
    /// The map fruitlet that it encloses.
    pub(crate) enclosed: usize,
    /// It meets every condition.
    pub(crate) good: bool,
    /// It touches or cuts fruit that no order is aimed at.
    pub(crate) hurt_kept: bool,
}

/// Scores the orders as `carried` out.
pub(crate) fn orders(
    case: &Case<'_>,
    (tasks, setup): (&TaskList, &ArmSetup),
    carried: &Carried<'_>,
    allowance: Option<&Allowance>,
) -> OrderScores {
    let aims = carried.aims(case);
    let share = |of: &dyn Fn(&Done<'_>) -> bool| {
        Share::of(carried.done.iter().map(of), "there is no order to remove")
    };
    let reached = carried
        .done
        .iter()
        .filter_map(|d| in_reach(d.order, d.plan, &moved_by(case, d.plan), setup));
    let thinned = Thinned::of(case, allowance, carried);
    let (decided_and_done, neither_ordered_nor_refused) = decided(case, tasks, carried);
    OrderScores {
        looks: tasks.orders.len() - carried.done.len() - carried.not_judged.len(),
        not_judged: carried.not_judged.len(),
        good: share(&|d| d.is_good()),
        aimed_at_fruit: share(&|d| d.aimed_at_fruit),
        enclosed: share(&|d| d.outcome.enclosed),
        stem_crosses: share(&|d| d.outcome.stem_inside && d.outcome.spur_in_front),
        targets_cut: share(&|d| d.outcome.targets_cut),
        tilt_ok: share(&|d| d.outcome.tilt_ok),
        tilt_deg: carried.tilt_deg(),
        touched: share(&|d| !d.outcome.touched.is_empty()),
        cut_other: share(&|d| d.outcome.cut_other),
        hurt_kept: share(&|d| d.hurts_other_than(&aims)),
        hits_limb: share(&|d| d.outcome.hits_limb),
        hits_obstacle: share(&|d| d.outcome.hits_obstacle),
        in_reach: Share::of(
            reached,
            "no order has both a stop and an arm with linear axes",
        ),
        repeated: repeated(carried),
        needs_broken: needs_broken(tasks),
        out_of_sequence: out_of_sequence(tasks),
        decided_and_done,
        neither_ordered_nor_refused,
        excess_removed: thinned.excess_removed,
        clusters_right: thinned.clusters_right,
    }
}

impl Carried<'_> {
    /// The orders one by one.
    pub(crate) fn judged(&self, case: &Case<'_>) -> Vec<JudgedOrder> {
        let aims = self.aims(case);
        let judged = |done: &Done<'_>| JudgedOrder {
            enclosed: done.plan.enclosed,
            good: done.is_good(),
            hurt_kept: done.hurts_other_than(&aims),
        };
        self.done.iter().map(judged).collect()
    }

    /// True fruit that any order is aimed at.
    fn aims(&self, case: &Case<'_>) -> BTreeSet<usize> {
        let targets = self.done.iter().flat_map(|d| &d.plan.targets);
        targets.filter_map(|&k| case.truth_of(k)).collect()
    }

    fn tilt_deg(&self) -> Spread {
        let tilts = self.done.iter().filter_map(|d| d.outcome.tilt_rad);
        Spread::of(
            tilts.map(f64::to_degrees).collect(),
            "no order encloses a true fruitlet",
        )
    }

    /// The probability that each order stated, with or without finding the place again, and what came of it.
    pub(crate) fn success(&self, located: bool) -> Vec<(f64, bool)> {
        let stated = |plan: &PlannedRemoval| match located {
            true => plan.success_probability,
            false => plan.success_probability_unlocated,
        };
        let done = self.done.iter();
        done.map(|d| (stated(d.plan), d.is_good())).collect()
    }
}

impl Done<'_> {
    fn hurts_other_than(&self, aims: &BTreeSet<usize>) -> bool {
        self.outcome
            .touched
            .union(&self.outcome.cut)
            .any(|g| !aims.contains(g))
    }

    fn is_good(&self) -> bool {
        self.aimed_at_fruit && self.outcome.good
    }
}

/// Carries out the removals in the order of the list.
pub(crate) fn carry_out<'a>(case: &Case<'a>, tasks: &'a TaskList, setup: &ArmSetup) -> Carried<'a> {
    let mut carried = Carried {
        done: Vec::new(),
        reality: Reality::of(case.truth(), case.true_orchard()),
        removed_well: BTreeSet::new(),
        touched: BTreeSet::new(),
        not_judged: Vec::new(),
    };
    for order in &tasks.orders {
        let Work::Remove { plan, .. } = &order.work else {
            continue;
        };
        if is_silent(case, plan) {
            carried.not_judged.push(plan);
            continue;
        }
        let targets: BTreeSet<usize> = plan
            .targets
            .iter()
            .filter_map(|&k| case.truth_of(k))
            .collect();
        let enclosed = case.truth_of(plan.enclosed);
        let aimed_at_fruit =
            enclosed.is_some() && !targets.is_empty() && targets.len() == plan.targets.len();
        let outcome = outcome(case, setup, plan, enclosed, targets, &carried.reality);
        let done = Done {
            order,
            plan,
            outcome,
            aimed_at_fruit,
        };
        if !done.outcome.hits_limb && !done.outcome.hits_obstacle {
            carried.touched.extend(&done.outcome.touched);
            for &g in &done.outcome.cut {
                carried.reality.fell(g);
            }
        }
        if done.is_good() {
            carried
                .removed_well
                .extend(plan.targets.iter().filter_map(|&k| case.truth_of(k)));
        }
        carried.done.push(done);
    }
    carried
}

/// Whether a plan has to do with a map fruitlet that has no true one and that the truth is silent about.
fn is_silent(case: &Case<'_>, plan: &PlannedRemoval) -> bool {
    let mut all = plan.targets.iter().chain([&plan.enclosed]);
    all.any(|&k| case.truth_of(k).is_none() && case.is_silent(k))
}

/// What the closing of a plan does, at its place moved as its fruit is; nothing where the tool is unknown.
fn outcome(
    case: &Case<'_>,
    setup: &ArmSetup,
    plan: &PlannedRemoval,
    enclosed: Option<usize>,
    targets: BTreeSet<usize>,
    reality: &Reality<'_>,
) -> Outcome {
    let Some(tool) = setup.tools.get(plan.tool_idx) else {
        return Outcome::default();
    };
    let by = moved_by(case, plan);
    let moved = |pose: corymb_model::frames::Pose<_, _>| {
        let mut iso = pose.iso;
        iso.translation.vector += by;
        corymb_model::frames::Pose::from_isometry(iso)
    };
    reality.close(&Plan {
        tool,
        orchard_from_tool: moved(plan.orchard_from_tool),
        orchard_from_tool_cut: moved(plan.orchard_from_tool_cut),
        enclosed,
        targets,
    })
}

/// How far the tool is moved before it is judged: as the fruit that it encloses, metres.
fn moved_by(case: &Case<'_>, plan: &PlannedRemoval) -> Vector3<f64> {
    let by = case.moved.fruitlet.get(plan.enclosed).copied();
    by.unwrap_or_default()
}

fn repeated(carried: &Carried<'_>) -> usize {
    let mut before = BTreeSet::<usize>::new();
    let mut repeated = 0;
    for done in &carried.done {
        repeated += usize::from(done.plan.targets.iter().any(|k| before.contains(k)));
        before.extend(&done.plan.targets);
    }
    repeated
}

fn out_of_sequence(tasks: &TaskList) -> usize {
    let falls = |pair: &&[Order]| pair[1].seq <= pair[0].seq;
    tasks.orders.windows(2).filter(falls).count()
}

fn needs_broken(tasks: &TaskList) -> usize {
    let mut before = BTreeSet::<&str>::new();
    let mut broken = 0;
    for order in &tasks.orders {
        broken += usize::from(order.needs.iter().any(|n| !before.contains(n.as_str())));
        before.insert(order.id.as_str());
    }
    broken
}

/// How many decided removals were done well, and how many were neither ordered nor refused.
fn decided(case: &Case<'_>, tasks: &TaskList, carried: &Carried<'_>) -> (Share, usize) {
    let Some(decisions) = case.input.decisions else {
        return (Share::undefined("no decisions were given"), 0);
    };
    let removals = || {
        decisions
            .decisions
            .iter()
            .filter(|d| d.action == Action::Remove)
            .map(|d| d.fruitlet_idx)
            .filter(|&k| case.truth_of(k).is_some() || !case.is_silent(k))
    };
    let done = |k: usize| {
        case.truth_of(k)
            .is_some_and(|g| carried.removed_well.contains(&g))
    };
    let answered: BTreeSet<usize> = (carried
        .done
        .iter()
        .map(|d| d.plan)
        .chain(carried.not_judged.iter().copied())
        .flat_map(|plan| plan.targets.iter().copied()))
    .chain(tasks.refusals.iter().map(|r| r.fruitlet_idx))
    .collect();
    (
        Share::of(removals().map(done), "nothing is to be removed"),
        removals().filter(|k| !answered.contains(k)).count(),
    )
}

/// What became of the overfull clusters.
struct Thinned {
    excess_removed: Share,
    clusters_right: Share,
}

impl Thinned {
    fn of(case: &Case<'_>, allowance: Option<&Allowance>, carried: &Carried<'_>) -> Self {
        let Some(allowance) = allowance else {
            let none = Share::undefined("no policy was given");
            return Self {
                excess_removed: none.clone(),
                clusters_right: none,
            };
        };
        let (mut excess, mut taken) = (0, 0);
        for (_, members, allowed) in overfull(case, allowance) {
            let too_many = members.len() - allowed;
            excess += too_many;
            taken += members
                .iter()
                .filter(|g| carried.removed_well.contains(g))
                .count()
                .min(too_many);
        }
        let right = clusters_right(case, allowance, carried).into_iter();
        let none = "no true cluster that the cluster limit alone settles is overfull";
        Self {
            excess_removed: Share::new(taken, excess, none),
            clusters_right: Share::of(right.map(|(_, right)| right), none),
        }
    }
}

/// Settled true clusters with more fruit than allowed: number, considered members, how many may stay.
fn overfull<'c>(
    case: &'c Case<'_>,
    allowance: &'c Allowance,
) -> impl Iterator<Item = (usize, &'c [usize], usize)> {
    let sizes = move |&c: &usize| {
        let members = case
            .clusters
            .considered
            .get(c)
            .map_or(&[][..], Vec::as_slice);
        (c, members, allowance.leave.get(c).copied().unwrap_or(0))
    };
    let all = allowance.settled.iter().map(sizes);
    all.filter(|(_, members, allowed)| members.len() > *allowed)
}

/// Whether each overfull true cluster ends as full as allowed, with none of the fruit that stays touched.
pub(crate) fn clusters_right(
    case: &Case<'_>,
    allowance: &Allowance,
    carried: &Carried<'_>,
) -> Vec<(usize, bool)> {
    let right = |(c, members, allowed): (usize, &[usize], usize)| {
        let alive = || members.iter().filter(|&&g| carried.reality.is_alive(g));
        let unhurt = alive().all(|g| !carried.touched.contains(g));
        (c, alive().count() == allowed && unhurt)
    };
    overfull(case, allowance).map(right).collect()
}
