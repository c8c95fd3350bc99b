//! What may happen to each fruitlet before anything is chosen: pins and doubt.

use crate::Input;
use crate::rank::Ranks;
use corymb_model::map::Fruitlet;
use corymb_model::policy::{Pin, PinAs, Pinned};

/// What may happen to a fruitlet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Status {
    /// Existence under one half: it gets no decision and counts for nothing.
    Undecided,
    /// To be decided.
    Free,
    /// Existence or membership is too unsure: it waits for another look and counts as present.
    Waiting,
    /// Pinned to stay.
    MustStay,
    /// Pinned to go.
    MustGo,
    /// Pinned to be left alone: it stays and counts as present.
    LeftAlone,
}

impl Status {
    /// Whether a way may remove it.
    pub(crate) fn may_go(self) -> bool {
        matches!(self, Status::Free | Status::MustGo)
    }
}

/// The status of every fruitlet.
#[derive(Debug)]
pub(crate) struct Standing {
    /// One a fruitlet of the map.
    pub(crate) status: Vec<Status>,
    /// Whether the fruitlet is surely there and surely of its cluster.
    pub(crate) sure: Vec<bool>,
    /// The fruit of each cluster that gets a decision, by id.
    pub(crate) members: Vec<Vec<usize>>,
    /// Pins that name nothing on the map.
    pub(crate) pins_without_object: Vec<Pin>,
}

impl Standing {
    /// Pins before doubt; among pins the more particular one holds (fruitlet before cluster before limb before tree),
    /// among equals the later one. O(pins x fruit).
    pub(crate) fn of(input: &Input<'_>, ranks: &Ranks) -> Self {
        let sure: Vec<bool> = input
            .map
            .fruitlets
            .iter()
            .map(|f| is_sure(f, input.policy.act_above))
            .collect();
        let mut pinned: Vec<Option<(u8, PinAs)>> = vec![None; sure.len()];
        let mut pins_without_object = Vec::new();
        for pin in &input.policy.pins {
            let level = level(&pin.what);
            let mut found = false;
            for (i, slot) in pinned.iter_mut().enumerate() {
                if names(input, &pin.what, i) {
                    found = true;
                    if slot.is_none_or(|(held, _)| held <= level) {
                        *slot = Some((level, pin.as_));
                    }
                }
            }
            if !found {
                pins_without_object.push(pin.clone());
            }
        }
        let status = input.map.fruitlets.iter().zip(&pinned).zip(&sure);
        let status = status
            .map(|((f, pin), &sure)| status_of(f, pin.map(|p| p.1), sure))
            .collect();
        Self {
            status,
            sure,
            members: members(input, ranks),
            pins_without_object,
        }
    }
}

fn members(input: &Input<'_>, ranks: &Ranks) -> Vec<Vec<usize>> {
    let mut members = vec![Vec::new(); input.map.clusters.len()];
    for (i, fruitlet) in input.map.fruitlets.iter().enumerate() {
        if let Some(list) = members.get_mut(fruitlet.cluster_idx)
            && fruitlet.is_decided()
        {
            list.push(i);
        }
    }
    for list in &mut members {
        list.sort_by_key(|&i: &usize| ranks.fruitlet[i]);
    }
    members
}

fn is_sure(fruitlet: &Fruitlet, act_above: f64) -> bool {
    fruitlet.existence >= act_above && fruitlet.cluster_probability >= act_above
}

fn status_of(fruitlet: &Fruitlet, pin: Option<PinAs>, sure: bool) -> Status {
    match (fruitlet.is_decided(), pin) {
        (false, _) => Status::Undecided,
        (true, Some(PinAs::Keep)) => Status::MustStay,
        (true, Some(PinAs::Remove)) => Status::MustGo,
        (true, Some(PinAs::LeaveAlone)) => Status::LeftAlone,
        (true, None) if sure => Status::Free,
        (true, None) => Status::Waiting,
    }
}

fn level(what: &Pinned) -> u8 {
    match what {
        Pinned::Tree(_) => 0,
        Pinned::Limb(_) => 1,
        Pinned::Cluster(_) => 2,
        Pinned::Fruitlet(_) => 3,
    }
}

/// Whether `what` names fruitlet `i`, itself or by what it hangs on.
fn names(input: &Input<'_>, what: &Pinned, i: usize) -> bool {
    let Some(fruitlet) = input.map.fruitlets.get(i) else {
        return false;
    };
    let cluster = input.map.clusters.get(fruitlet.cluster_idx);
    let tree = cluster.and_then(|c| input.orchard?.trees.get(c.tree_idx?));
    match what {
        Pinned::Fruitlet(id) => fruitlet.id == *id,
        Pinned::Cluster(id) => cluster.is_some_and(|c| c.id == *id),
        Pinned::Tree(id) => tree.is_some_and(|t| t.id == *id),
        Pinned::Limb(id) => {
            let limb = cluster.and_then(|c| tree?.limbs.get(c.limb_idx?));
            limb.is_some_and(|l| l.id == *id)
        }
    }
}
