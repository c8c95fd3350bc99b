//! Writing down the orders.

use crate::look::Look;
use crate::stops::Visit;
use crate::tasks::Task;
use crate::{Config, Input, travel};
use corymb_model::arm::{ArmSetup, ToolAction};
use corymb_model::decisions::Action;
use corymb_model::orders::{Order, SequenceStats, TaskList, Work};
use corymb_model::ways::Refusal;
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

/// What a task list is put together from.
pub(crate) struct Parts<'a> {
    pub(crate) input: &'a Input<'a>,
    pub(crate) setup: &'a ArmSetup,
    pub(crate) tasks: &'a [Task<'a>],
    /// Stays in the order of travel, each with its tasks in the order of execution.
    pub(crate) visits: &'a [Visit],
    pub(crate) looks: Vec<Look>,
    pub(crate) refusals: Vec<Refusal>,
}

/// Refusals of the chosen ways by the id of the fruitlet, one each.
pub(crate) fn refusals(input: &Input<'_>) -> Vec<Refusal> {
    let id = |r: &Refusal| input.map.fruitlets.get(r.fruitlet_idx).map(|f| &f.id);
    let mut refusals: Vec<Refusal> = input
        .decisions
        .chosen
        .iter()
        .flat_map(|(_, way)| way.refused.iter().cloned())
        .collect();
    refusals.sort_by(|a, b| (id(a), a.reason).cmp(&(id(b), b.reason)));
    refusals.dedup_by_key(|r| r.fruitlet_idx);
    refusals
}

/// Orders with names and times: at each stop the removals, then second looks; looks that need a stop of their own
/// come last.
pub(crate) fn task_list(parts: &Parts<'_>, config: &Config) -> TaskList {
    let mut writer = Writer::of(parts, config);
    let (at_visit, mut apart) = look_places(parts);
    for (v, visit) in parts.visits.iter().enumerate() {
        writer.removals(visit);
        for &look in at_visit.get(&v).into_iter().flatten() {
            writer.look(look, visit.stop);
        }
    }
    // stable: looks come by id
    apart.sort_by_key(|(stop, _)| *stop);
    for (stop, look) in apart {
        writer.look(look, stop);
    }
    let stats = stats(parts, &writer.orders);
    TaskList {
        orders: writer.orders,
        refusals: parts.refusals.clone(),
        stats,
    }
}

/// Looks at the visit that does them, and those that no visit does with their own stop.
type LookPlaces<'a> = (BTreeMap<usize, Vec<&'a Look>>, Vec<(Option<i64>, &'a Look)>);

/// A look is done at the last visit to its cluster; else at the last visit that is no more than one stop away from where
/// the platform brings its camera; else from there.
fn look_places<'a>(parts: &'a Parts<'_>) -> LookPlaces<'a> {
    let visits = parts.visits.iter().enumerate();
    let pairs = visits.flat_map(|(v, visit)| visit.tasks.iter().map(move |&t| (t, v)));
    let finished: BTreeMap<usize, usize> = pairs
        .filter_map(|(t, v)| Some((parts.tasks.get(t)?.cluster_idx, v)))
        .collect();
    let mut places: LookPlaces<'a> = Default::default();
    for look in &parts.looks {
        let cluster = parts
            .input
            .map
            .fruitlets
            .get(look.fruitlet_idx)
            .map(|f| f.cluster_idx);
        let own = own_stop(parts, look);
        let passing = || {
            let near = parts.visits.iter().enumerate().filter_map(|(v, visit)| {
                let away = (visit.stop? - own?).abs();
                (away <= 1).then_some((away, Reverse(v)))
            });
            near.min().map(|(_, Reverse(v))| v)
        };
        match cluster
            .and_then(|c| finished.get(&c).copied())
            .or_else(passing)
        {
            Some(v) => places.0.entry(v).or_default().push(look),
            None => places.1.push((own, look)),
        }
    }
    places
}

/// The stop at which the camera of a look stands nearest to its place along the row; `None` without a platform.
fn own_stop(parts: &Parts<'_>, look: &Look) -> Option<i64> {
    let platform = parts.setup.platform.filter(|p| p.step_m != 0.0)?;
    let camera = parts.input.cameras.get(look.camera_idx)?;
    let at_zero = platform
        .at_stop(0)
        .after(&camera.rig_from_camera)
        .origin()
        .xyz
        .x;
    let steps = (look.orchard_from_camera.origin().xyz.x - at_zero) / platform.step_m;
    // a float cast saturates
    let stop = steps.round() as i64;
    Some(stop)
}

fn stats(parts: &Parts<'_>, orders: &[Order]) -> SequenceStats {
    let stops: BTreeSet<i64> = parts.visits.iter().filter_map(|v| v.stop).collect();
    let stays = parts.visits.iter().filter(|v| v.stop.is_some()).count();
    let along = |visit: &Visit| -> f64 {
        let places: Vec<_> = visit
            .tasks
            .iter()
            .filter_map(|&t| parts.tasks.get(t))
            .map(|t| t.enclose)
            .collect();
        places.windows(2).map(|w| (w[1] - w[0]).norm()).sum()
    };
    // stays are few
    let settle_s = parts.setup.platform.map_or(0.0, |p| p.settle_s) * stays as f64;
    SequenceStats {
        stops: stops.len(),
        travel_m: parts.visits.iter().map(along).sum(),
        duration_s: orders.iter().map(|o| o.duration_s).sum::<f64>() + settle_s,
    }
}

struct Writer<'a> {
    parts: &'a Parts<'a>,
    config: &'a Config,
    orders: Vec<Order>,
    names: BTreeSet<String>,
    /// The name of each task's order, once written.
    name_of: Vec<Option<String>>,
    /// The fruit of each cluster that is kept.
    kept: BTreeMap<usize, Vec<usize>>,
}

impl<'a> Writer<'a> {
    fn of(parts: &'a Parts<'a>, config: &'a Config) -> Self {
        let name_of = vec![None; parts.tasks.len()];
        Self {
            parts,
            config,
            orders: Vec::new(),
            names: BTreeSet::new(),
            name_of,
            kept: kept(parts.input),
        }
    }

    fn removals(&mut self, visit: &Visit) {
        let mut from = None;
        for &t in &visit.tasks {
            let Some(task) = self.parts.tasks.get(t) else {
                continue;
            };
            let travel_s = from.map_or(0.0, |from| {
                travel::travel_s(from, task, self.parts.setup, self.config)
            });
            from = Some(task.standoff);
            let id = self.name("cut", &self.first_target(task));
            self.name_of[t] = Some(id.clone());
            let needs = task
                .before
                .and_then(|b| self.name_of.get(b).cloned().flatten());
            let work = Work::Remove {
                plan: task.plan.clone(),
                keepers: self.keepers(task),
            };
            let duration_s = task.plan.duration_s + travel_s;
            self.push(
                id,
                visit.stop,
                needs.into_iter().collect(),
                task.cluster_idx,
                duration_s,
                work,
            );
        }
    }

    fn look(&mut self, look: &Look, stop: Option<i64>) {
        let Some(fruitlet) = self.parts.input.map.fruitlets.get(look.fruitlet_idx) else {
            return;
        };
        let cluster_idx = fruitlet.cluster_idx;
        let id = self.name("look", &self.fruitlet_id(look.fruitlet_idx));
        let work = Work::Look {
            fruitlet_idx: look.fruitlet_idx,
            camera_idx: look.camera_idx,
            orchard_from_camera: look.orchard_from_camera,
        };
        self.push(id, stop, Vec::new(), cluster_idx, self.config.look_s, work);
    }

    fn push(
        &mut self,
        id: String,
        stop: Option<i64>,
        needs: Vec<String>,
        cluster_idx: usize,
        duration_s: f64,
        work: Work,
    ) {
        let seq = self.orders.len() as u64 + 1;
        let orchard_from_rig = stop.and_then(|s| Some(self.parts.setup.platform?.at_stop(s)));
        self.orders.push(Order {
            id,
            seq,
            stop,
            orchard_from_rig,
            needs,
            cluster_idx,
            duration_s,
            work,
        });
    }

    fn fruitlet_id(&self, i: usize) -> String {
        self.parts
            .input
            .map
            .fruitlets
            .get(i)
            .map_or_else(String::new, |f| f.id.clone())
    }

    /// The smallest id among the targets: no other order removes that fruitlet, so it names this one.
    fn first_target(&self, task: &Task<'_>) -> String {
        task.plan
            .targets
            .iter()
            .map(|&i| self.fruitlet_id(i))
            .min()
            .unwrap_or_default()
    }

    /// A name not yet used; a number is added only where a plan names a fruitlet twice.
    fn name(&mut self, what: &str, fruitlet: &str) -> String {
        let token = self.parts.input.run_token;
        let hyphen = if token.is_empty() { "" } else { "-" };
        let base = format!("{token}{hyphen}{what}-{fruitlet}");
        let mut name = base.clone();
        let mut number = 2;
        while !self.names.insert(name.clone()) {
            name = format!("{base}-{number}");
            number += 1;
        }
        name
    }

    /// Fruit of the cluster that is kept; for a tool that encloses the one to keep, that one first.
    fn keepers(&self, task: &Task<'_>) -> Vec<usize> {
        let mut keepers = self
            .kept
            .get(&task.cluster_idx)
            .cloned()
            .unwrap_or_default();
        let tool = self.parts.setup.tools.get(task.plan.tool_idx);
        if tool.is_some_and(|t| t.action == ToolAction::EncloseKeeper) {
            keepers.retain(|&i| i != task.plan.enclosed);
            keepers.insert(0, task.plan.enclosed);
        }
        keepers
    }
}

/// The fruit of each cluster that is kept, ascending.
fn kept(input: &Input<'_>) -> BTreeMap<usize, Vec<usize>> {
    let mut kept: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for decision in input
        .decisions
        .decisions
        .iter()
        .filter(|d| d.action == Action::Keep)
    {
        if let Some(fruitlet) = input.map.fruitlets.get(decision.fruitlet_idx) {
            kept.entry(fruitlet.cluster_idx)
                .or_default()
                .push(decision.fruitlet_idx);
        }
    }
    kept.values_mut().for_each(|list| list.sort_unstable());
    kept
}
