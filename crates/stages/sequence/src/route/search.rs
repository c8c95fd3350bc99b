//! Better paths by small changes, then by disturbing and repairing the best one.
//!
//! Changes are reversals of a stretch (2-opt) and shifts of up to three places, turned or not (or-opt), tried only where
//! they bring a place next to one of its nearest neighbours, and nearer to it than to what is beside it now. A disturbance exchanges two adjacent stretches (a
//! double bridge of an open path), which neither kind of change undoes easily; it is kept where the repaired path is no
//! longer than before. (O. Martin, S. W. Otto, E. W. Felten, Large-step Markov chains for the traveling salesman problem,
//! Complex Systems 5:299-326, 1991.) Costs are whole numbers, so every change shortens the path by at least one and the
//! repair ends.

use super::chance::Chance;
use super::path::{Move, Path};
use super::{Costs, Links};
use crate::Config;
use std::collections::VecDeque;

/// Longest stretch that is shifted.
const LONGEST_SHIFT: usize = 3;
/// Longest stretch that a disturbance exchanges: of 5, 10, 20, 30, 50 and 100, the lengths of 30 and 50 gave the shortest
/// paths through 60 to 200 random places with and without precedences, by up to 5 % where precedences are many.
const LONGEST_KICK: usize = 50;

/// The path after all disturbances: [`Config::kicks_per_order`] a place.
pub(crate) fn improve(
    costs: &Costs,
    links: &Links,
    start: Vec<usize>,
    config: &Config,
) -> Vec<usize> {
    let near = neighbours(costs, config.neighbours);
    let mut path = Path::of(costs, links, start);
    let mut open: VecDeque<usize> = path.order.iter().copied().collect();
    repair(&mut path, &near, &mut open);
    let mut chance = Chance::new(config.seed);
    for _ in 0..config.kicks_per_order.saturating_mul(costs.len()) {
        let Some(kick) = kick(&path, &mut chance) else {
            continue;
        };
        let held = path.clone();
        let loss = -path.gain(kick);
        open.extend(ends(&path, kick));
        path.make(kick);
        if repair(&mut path, &near, &mut open) < loss {
            path = held;
        }
    }
    path.order
}

/// The nearest other places of each, nearest first.
fn neighbours(costs: &Costs, most: usize) -> Vec<Vec<usize>> {
    let of = |a: usize| {
        let mut others: Vec<usize> = (0..costs.len()).filter(|&b| b != a).collect();
        others.sort_by_key(|&b| (costs.get(a, b), b));
        others.truncate(most);
        others
    };
    (0..costs.len()).map(of).collect()
}

/// Two adjacent stretches to exchange, `None` where precedences forbid this one.
fn kick(path: &Path<'_>, chance: &mut Chance) -> Option<Move> {
    let len = path.order.len();
    let first = chance.below(len.saturating_sub(1));
    let one = 1 + chance.below(LONGEST_KICK.min(len - first - 1));
    let other = 1 + chance.below(LONGEST_KICK.min(len - first - one));
    let change = Move::Shift {
        first,
        last: first + one - 1,
        gap: first + one + other,
        turned: false,
    };
    (first + one < len && path.allows(change)).then_some(change)
}

/// Places whose neighbours a change alters.
fn ends(path: &Path<'_>, change: Move) -> Vec<usize> {
    let (first, last, gap) = match change {
        Move::Reverse { first, last } => (first, last, None),
        Move::Shift {
            first, last, gap, ..
        } => (first, last, Some(gap)),
    };
    let positions = [
        first.checked_sub(1),
        Some(first),
        Some(last),
        Some(last + 1),
    ];
    let around_gap = [gap.and_then(|g| g.checked_sub(1)), gap];
    let places = positions.into_iter().chain(around_gap).flatten();
    places
        .filter_map(|position| path.order.get(position).copied())
        .collect()
}

/// Makes changes about the `open` places until none shortens the path; by how much it got shorter.
fn repair(path: &mut Path<'_>, near: &[Vec<usize>], open: &mut VecDeque<usize>) -> i64 {
    let mut waiting = vec![false; path.order.len()];
    open.iter().for_each(|&p| waiting[p] = true);
    let mut shorter = 0;
    while let Some(place) = open.pop_front() {
        waiting[place] = false;
        while let Some((gain, change)) = best_change(path, near, place) {
            for end in ends(path, change) {
                if !waiting[end] {
                    waiting[end] = true;
                    open.push_back(end);
                }
            }
            path.make(change);
            shorter += gain;
        }
    }
    shorter
}

/// The change that brings `place` next to a near neighbour and shortens the path most; the first of equal ones.
fn best_change(path: &Path<'_>, near: &[Vec<usize>], place: usize) -> Option<(i64, Move)> {
    let mut best: Option<(i64, Move)> = None;
    let longest = path.longest_beside(place);
    for &other in near[place]
        .iter()
        .take_while(|&&other| path.between(place, other) < longest)
    {
        for change in changes(path, path.at[place], path.at[other]) {
            let gain = path.gain(change);
            if gain > best.map_or(0, |(held, _)| held) && path.allows(change) {
                best = Some((gain, change));
            }
        }
    }
    best
}

/// Changes after which the places at positions `a` and `b` are next to each other.
fn changes(path: &Path<'_>, a: usize, b: usize) -> impl Iterator<Item = Move> {
    let (low, high) = (a.min(b), a.max(b));
    let reversals = [(low + 1, high), (low, high - 1)].into_iter();
    let reversals = reversals.filter(|(first, last)| first < last);
    let len = path.order.len();
    let shifts = (0..LONGEST_SHIFT).flat_map(move |more| {
        let from_a = Some((a, a + more, true));
        let to_a = a
            .checked_sub(more)
            .map(|first| (first, a, false))
            .filter(|_| more > 0);
        [from_a, to_a].into_iter().flatten()
    });
    let shifts = shifts.filter(move |&(first, last, _)| last < len && !(first..=last).contains(&b));
    let shifts = shifts.flat_map(move |(first, last, a_leads)| {
        // behind b the place must lead its stretch, before b it must end it
        let single = first == last;
        let behind = Move::Shift {
            first,
            last,
            gap: b + 1,
            turned: !a_leads && !single,
        };
        let ahead = Move::Shift {
            first,
            last,
            gap: b,
            turned: a_leads && !single,
        };
        [behind, ahead]
    });
    let moved = |m: &Move| match *m {
        Move::Shift {
            first, last, gap, ..
        } => gap < first || gap > last + 1,
        Move::Reverse { .. } => true,
    };
    reversals
        .map(|(first, last)| Move::Reverse { first, last })
        .chain(shifts.filter(moved))
}
