//! Which of two fruitlets was preferred, and by what.

use crate::candidates::Candidate;
use crate::facts::Facts;

/// Why the winner was preferred.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Because {
    /// The king term: king probabilities of winner and loser.
    King(f64, f64),
    /// The diameter term: diameters of winner and loser, metres.
    Size(f64, f64),
    /// The reach term: success of the plan that leaves the winner and of the one that leaves the loser.
    Reach(f64, f64),
    /// No way leaves the loser in the winner's place with as much fruit meant to stay.
    NoOtherWay,
    /// To leave the loser would leave so many more hanging, above what the cluster may hold, that cannot be reached.
    OutOfReach(usize),
    /// Nothing: the id decides.
    Tie,
}

/// A comparison of two fruitlets of a cluster.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Comparison {
    /// Who stays.
    pub(crate) winner: usize,
    /// Who goes.
    pub(crate) loser: usize,
    /// Worth of the winner as chosen.
    pub(crate) winner_worth: f64,
    /// Worth of the loser if it stayed instead.
    pub(crate) loser_worth: f64,
    /// What decided.
    pub(crate) because: Because,
}

/// The comparison that `loser` lost inside its cluster; `None` where nothing of the cluster is kept.
pub(crate) fn lost_by(facts: &Facts<'_>, loser: usize) -> Option<Comparison> {
    let cluster = facts.input.map.fruitlets.get(loser)?.cluster_idx;
    let chosen = facts.chosen(cluster)?;
    let instead = instead(facts, cluster, chosen, loser);
    let worth = |&i: &usize| facts.worth.base(i);
    let gives_way = |i: &usize| instead.is_none_or(|other| !other.stays.contains(i));
    let least = |rivals: Vec<usize>| {
        rivals
            .into_iter()
            .min_by(|a, b| worth(a).total_cmp(&worth(b)))
    };
    let winner = least(facts.kept(cluster).filter(gives_way).collect())
        .or_else(|| least(facts.kept(cluster).collect()))?;
    Some(compare(facts, winner, loser, chosen, instead))
}

/// The comparison of a fruitlet that stays with one of its cluster that goes.
pub(crate) fn between(facts: &Facts<'_>, winner: usize, loser: usize) -> Option<Comparison> {
    let cluster = facts.input.map.fruitlets.get(winner)?.cluster_idx;
    let chosen = facts.chosen(cluster)?;
    Some(compare(
        facts,
        winner,
        loser,
        chosen,
        instead(facts, cluster, chosen, loser),
    ))
}

/// The best way that keeps `loser` and is no further beyond any bound than the chosen one, with as much fruit meant to
/// stay.
fn instead<'a>(
    facts: &Facts<'a>,
    cluster: usize,
    chosen: &Candidate<'a>,
    loser: usize,
) -> Option<&'a Candidate<'a>> {
    let as_good = |c: &&Candidate<'_>| {
        let bounds = |c: &Candidate<'_>| (c.score.pins, c.score.bounds);
        c.stays.len() == chosen.stays.len()
            && bounds(c) >= bounds(chosen)
            && c.stays.contains(&loser)
    };
    facts
        .candidates
        .get(cluster)?
        .iter()
        .filter(as_good)
        .max_by_key(|c| c.score)
}

fn compare(
    facts: &Facts<'_>,
    winner: usize,
    loser: usize,
    chosen: &Candidate<'_>,
    instead: Option<&Candidate<'_>>,
) -> Comparison {
    let success = chosen.success();
    let success_instead = instead.map_or(0.0, Candidate::success);
    let winner_worth = facts.worth.whole(winner, success);
    let loser_worth = facts.worth.whole(loser, success_instead);
    let because = match instead {
        None => Because::NoOtherWay,
        Some(other) if other.score.hanging < chosen.score.hanging => {
            Because::OutOfReach(other.hangs.saturating_sub(chosen.hangs))
        }
        Some(other) if other.score.value == chosen.score.value => Because::Tie,
        Some(_) => strongest(facts, winner, loser, success, success_instead),
    };
    Comparison {
        winner,
        loser,
        winner_worth,
        loser_worth,
        because,
    }
}

/// The term that decided: reach where the comparison would turn without it, else the largest difference.
fn strongest(
    facts: &Facts<'_>,
    winner: usize,
    loser: usize,
    success: f64,
    instead: f64,
) -> Because {
    let worth = facts.worth;
    let fruit = |i: usize| &facts.input.map.fruitlets[i];
    let king = worth.king[winner] - worth.king[loser];
    let size = worth.size[winner] - worth.size[loser];
    let reach = worth.prefer.reach * (success - instead);
    if reach > 0.0 && (king + size < 0.0 || reach >= king.max(size)) {
        Because::Reach(success, instead)
    } else if king >= size {
        Because::King(
            fruit(winner).king_probability,
            fruit(loser).king_probability,
        )
    } else {
        Because::Size(fruit(winner).diameter_m, fruit(loser).diameter_m)
    }
}
