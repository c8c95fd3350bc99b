//! The best closing of any tool for each fruit and each set of fruit that is still there, found when asked for.

use crate::config::Config;
use crate::field::{Field, Set, There};
use crate::problem::{Problem, Setting};
use crate::search::Found;
use corymb_model::arm::{ArmSetup, ToolAction};
use std::collections::BTreeMap;

/// One closing of a tool.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Closing {
    /// Position in `ArmSetup::tools`.
    pub tool_idx: usize,
    /// The fruit that is enclosed, by slot.
    pub enclosed: usize,
    /// The fruit that is cut.
    pub targets: Set,
    /// What else is there when it happens.
    pub there: There,
    /// Pose and probability.
    pub found: Found,
}

/// A tool about a fruit.
type Place = (usize, usize);

/// Closings of one cluster, each searched for once.
pub(crate) struct Closings<'a> {
    pub setting: Setting<'a>,
    pub setup: &'a ArmSetup,
    pub config: &'a Config,
    /// Slot -> position in `Surroundings::bodies`.
    pub removable: &'a [usize],
    /// Slot -> standard deviation of the error that the fruit shares with its neighbours.
    pub shared_m: &'a [f64],
    fields: BTreeMap<Place, Option<Field<'a>>>,
    asked: BTreeMap<(Place, There), Option<usize>>,
    all: Vec<Closing>,
}

impl<'a> Closings<'a> {
    pub(crate) fn new(
        setting: Setting<'a>,
        setup: &'a ArmSetup,
        config: &'a Config,
        removable: &'a [usize],
        shared_m: &'a [f64],
    ) -> Self {
        let (fields, asked, all) = (BTreeMap::new(), BTreeMap::new(), Vec::new());
        Self {
            setting,
            setup,
            config,
            removable,
            shared_m,
            fields,
            asked,
            all,
        }
    }

    /// A closing by its position.
    pub(crate) fn get(&self, closing: usize) -> Option<&Closing> {
        self.all.get(closing)
    }

    /// ln of the probability that a closing succeeds.
    pub(crate) fn ln(&self, closing: usize) -> f64 {
        self.all
            .get(closing)
            .map_or(f64::NEG_INFINITY, |c| c.found.ln)
    }

    /// Poses of a tool about a fruit; `None` where its axis is not known.
    pub(crate) fn field(&mut self, tool_idx: usize, slot: usize) -> Option<&mut Field<'a>> {
        let (tool, local) = (self.setup.tools.get(tool_idx)?, *self.removable.get(slot)?);
        let shared = self.shared_m.get(slot).copied().unwrap_or(0.0);
        let (setting, config, slots) = (&self.setting, self.config, self.removable.len());
        self.fields
            .entry((tool_idx, slot))
            .or_insert_with(|| {
                Problem::new(setting, tool, local, shared)
                    .map(|problem| Field::new(problem, slots, config))
            })
            .as_mut()
    }

    /// The likeliest closing that takes fruit `slot` by itself while `keep` and `later` are there.
    pub(crate) fn of_target(&mut self, slot: usize, keep: Set, later: Set) -> Option<usize> {
        let there = There {
            targets: 0,
            keep,
            later,
        };
        let mut best: Option<usize> = None;
        for tool_idx in self.tools(ToolAction::EncloseTarget) {
            let closing = self.of_tool(tool_idx, slot, there);
            if let Some(c) = closing.filter(|&c| best.is_none_or(|b| self.ln(c) > self.ln(b))) {
                best = Some(c);
            }
        }
        best
    }

    /// With fewer neighbours it is never harder: where that is not possible this is not either, and where that is no
    /// likelier than a pose already known, none better needs to be looked for. Asked are all sets with one neighbour
    /// less, and of large sets, which have too many of those below them, each neighbour alone.
    fn of_tool(&mut self, tool_idx: usize, slot: usize, there: There) -> Option<usize> {
        let key = ((tool_idx, slot), there);
        if let Some(known) = self.asked.get(&key) {
            return *known;
        }
        let others = there.keep | there.later;
        let large = others.count_ones() as usize > self.config.members_exact;
        let mut bound = 0.0_f64;
        for other in members(others) {
            let part = if large {
                1 << other
            } else {
                others & !(1 << other)
            };
            let fewer = There {
                keep: there.keep & part,
                later: there.later & part,
                ..there
            };
            match self.of_tool(tool_idx, slot, fewer) {
                Some(closing) => bound = bound.min(self.ln(closing)),
                None => {
                    self.asked.insert(key, None);
                    return None;
                }
            }
        }
        self.ask(tool_idx, slot, there, bound)
    }

    /// Closings about the keeper `slot` that cut fruit of `may_go` while that and the other keepers are there.
    pub(crate) fn about_keeper(&mut self, slot: usize, keep: Set, may_go: Set) -> Vec<usize> {
        let mut found = Vec::new();
        for tool_idx in self.tools(ToolAction::EncloseKeeper) {
            let cuts = self
                .field(tool_idx, slot)
                .map(|field| field.cuts(keep, may_go))
                .unwrap_or_default();
            for targets in cuts {
                found.extend(self.ask(
                    tool_idx,
                    slot,
                    There {
                        targets,
                        keep,
                        later: may_go & !targets,
                    },
                    0.0,
                ));
            }
        }
        found
    }

    /// Positions of the tools that act so.
    pub(crate) fn tools(&self, action: ToolAction) -> Vec<usize> {
        let tools = self.setup.tools.iter().enumerate();
        tools
            .filter(|(_, tool)| tool.action == action)
            .map(|(i, _)| i)
            .collect()
    }

    fn ask(&mut self, tool_idx: usize, enclosed: usize, there: There, bound: f64) -> Option<usize> {
        let key = ((tool_idx, enclosed), there);
        if let Some(known) = self.asked.get(&key) {
            return *known;
        }
        let found = self
            .field(tool_idx, enclosed)
            .and_then(|field| field.best(&there, bound));
        let targets = if there.targets == 0 {
            1 << enclosed
        } else {
            there.targets
        };
        let closing = found.map(|found| {
            self.all.push(Closing {
                tool_idx,
                enclosed,
                targets,
                there,
                found,
            });
            self.all.len() - 1
        });
        self.asked.insert(key, closing);
        closing
    }
}

/// Positions of the members of a set, ascending.
pub(crate) fn members(set: Set) -> impl Iterator<Item = usize> {
    (0..Set::BITS as usize).filter(move |i| set & (1 << i) != 0)
}
