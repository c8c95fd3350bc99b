//! One sentence a grower can read.

use crate::compare::{Because, Comparison};
use crate::facts::Facts;
use crate::ground::Ground;
use corymb_model::decisions::Bound;
use corymb_model::ways::{Refusal, RefusalReason, Shortfall};

/// The reason for what happens to `fruitlet`.
pub(crate) fn of(facts: &Facts<'_>, fruitlet: usize, ground: &Ground) -> String {
    let said = Speaker { facts, fruitlet }.say(ground);
    match refusal(facts, fruitlet) {
        Some(r) => format!(
            "{said}; but the tool cannot take it, and it hangs there until somebody does: {}.",
            hindrance(r)
        ),
        None => format!("{said}."),
    }
}

struct Speaker<'a> {
    facts: &'a Facts<'a>,
    fruitlet: usize,
}

impl Speaker<'_> {
    fn say(&self, ground: &Ground) -> String {
        let most = self.facts.input.policy.keep_at_most;
        match ground {
            Ground::PinnedToStay => "Stays: the policy pins it to stay".into(),
            Ground::PinnedToGo => "Goes: the policy pins it to go".into(),
            Ground::PinnedToGoInVain => {
                "Stays although the policy pins it to go: no way to take it off is known".into()
            }
            Ground::LeftAlone => "Stays as it is: the policy pins it to be left alone".into(),
            Ground::InDoubt => self.in_doubt(),
            Ground::LastSure { waiting } => format!(
                "Stays: it is the last fruit of its cluster that is surely there, {waiting} more wait for another look"
            ),
            Ground::WithinLimit { stays } => {
                format!("Stays: its cluster is to be left with {stays} and may hold {most}")
            }
            Ground::NothingTakesIt { stays } => format!(
                "Stays although its cluster is left with {stays} and may hold {most}: no way takes off more"
            ),
            Ground::Won(c) => format!("Stays: preferred to {}{}", self.name(c.loser), won_by(c)),
            Ground::OverLimit(None) => {
                format!(
                    "Goes: its cluster may hold {most}, and what waits for another look or is pinned fills it"
                )
            }
            Ground::OverLimit(Some(c)) => {
                format!(
                    "Goes: its cluster may hold {most}, and {}{}",
                    self.name(c.winner),
                    lost_by(c)
                )
            }
            Ground::TooNear { neighbour, gap_m } => self.too_near(*neighbour, *gap_m),
            Ground::OverTarget {
                to_leave,
                bound,
                least_kept,
            } => self.over_target(*to_leave, *bound, *least_kept),
            Ground::NoBetterWay(None) => "Goes: no way that leaves it is as good".into(),
            Ground::NoBetterWay(Some(c)) => format!("Goes: {}{}", self.name(c.winner), lost_by(c)),
        }
    }

    fn name(&self, fruitlet: usize) -> &str {
        &self.facts.input.map.fruitlets[fruitlet].id
    }

    fn in_doubt(&self) -> String {
        let f = &self.facts.input.map.fruitlets[self.fruitlet];
        let bar = percent(self.facts.input.policy.act_above);
        let (there, member) = (percent(f.existence), percent(f.cluster_probability));
        if f.existence < self.facts.input.policy.act_above {
            format!("Look again: it is there with {there} only, and nothing is done below {bar}")
        } else {
            format!(
                "Look again: it belongs to its cluster with {member} only, and nothing is done below {bar}"
            )
        }
    }

    fn too_near(&self, neighbour: usize, gap_m: f64) -> String {
        let least_m = self.facts.input.policy.spacing_along_limb_m.unwrap_or(0.0);
        let id = &self.facts.input.map.clusters[neighbour].id;
        format!(
            "Goes: cluster {id}, {} along the limb, keeps fruit, and clusters that do so are to be {} apart",
            millimetres(gap_m),
            millimetres(least_m)
        )
    }

    fn over_target(&self, to_leave: u64, bound: Bound, least_kept: Option<usize>) -> String {
        let bound = match bound {
            Bound::TrunkArea => "its trunk area",
            Bound::PerTree => "the number set for a tree",
            Bound::LimbArea => "the area of its limbs",
        };
        let said = format!("Goes: the tree is to be left with {to_leave} by {bound}");
        let worth = self.facts.worth.whole(self.fruitlet, 1.0);
        match least_kept.map(|i| (self.name(i), self.facts.worth_as_chosen(i))) {
            None => said,
            Some((id, least)) if least >= worth => {
                format!(
                    "{said}, and even the least of those kept, {id}, is worth {least:.2} against {worth:.2}"
                )
            }
            Some(_) => format!(
                "{said}, and what stays is the better choice together without it, worth {worth:.2}"
            ),
        }
    }
}

fn won_by(c: &Comparison) -> String {
    match c.because {
        Because::King(winner, loser) => {
            format!(
                ", more likely the king ({} against {}){}",
                percent(winner),
                percent(loser),
                worths(c)
            )
        }
        Because::Size(winner_m, loser_m) => {
            format!(
                ", larger ({} against {}){}",
                millimetres(winner_m),
                millimetres(loser_m),
                worths(c)
            )
        }
        Because::Reach(winner, loser) => format!(
            ", because the tool takes off the rest with {} this way and with {} the other{}",
            percent(winner),
            percent(loser),
            worths(c)
        ),
        Because::NoOtherWay => ", because the tool has no way to leave that one instead".into(),
        Because::OutOfReach(more) => format!(
            ", because to leave that one instead would leave {more} more hanging out of the tool's reach"
        ),
        Because::Tie => ", equal in worth, by the order of their names".into(),
    }
}

fn lost_by(c: &Comparison) -> String {
    match c.because {
        Because::King(winner, loser) => {
            format!(
                " is more likely the king ({} against {}){}",
                percent(winner),
                percent(loser),
                worths(c)
            )
        }
        Because::Size(winner_m, loser_m) => {
            format!(
                " is larger ({} against {}){}",
                millimetres(winner_m),
                millimetres(loser_m),
                worths(c)
            )
        }
        Because::Reach(winner, loser) => format!(
            " is the better one to leave: the tool then takes off the rest with {}, otherwise with {}{}",
            percent(winner),
            percent(loser),
            worths(c)
        ),
        Because::NoOtherWay => {
            " stays because the tool has no way to leave this one instead".into()
        }
        Because::OutOfReach(more) => format!(
            " stays because to leave this one instead would leave {more} more hanging out of the tool's reach"
        ),
        Because::Tie => " is equal in worth and comes first by name".into(),
    }
}

fn worths(c: &Comparison) -> String {
    format!(", worth {:.2} against {:.2}", c.winner_worth, c.loser_worth)
}

fn percent(probability: f64) -> String {
    format!("{:.0} %", 100.0 * probability)
}

fn millimetres(length_m: f64) -> String {
    format!("{:.1} mm", 1e3 * length_m)
}

fn refusal<'a>(facts: &Facts<'a>, fruitlet: usize) -> Option<&'a Refusal> {
    let cluster = facts.input.map.fruitlets.get(fruitlet)?.cluster_idx;
    facts
        .chosen(cluster)?
        .way
        .refused
        .iter()
        .find(|r| r.fruitlet_idx == fruitlet)
}

/// What hinders the tool, with what is in the way and by how much.
fn hindrance(refusal: &Refusal) -> String {
    let what = match refusal.reason {
        RefusalReason::NoAxis => "which way it hangs is not known",
        RefusalReason::TooLarge => "it is too large for the tool",
        RefusalReason::StemTooShort => "its stem is too short",
        RefusalReason::BlockedByFruit => "other fruit is in the way",
        RefusalReason::CutsOtherStem => "another stem would be cut",
        RefusalReason::BlockedByLimb => "a limb is in the way",
        RefusalReason::BlockedByObstacle => "an obstacle is in the way",
        RefusalReason::OutOfReach => "it is out of the arm's reach",
        RefusalReason::ReachDirection => "the arm cannot point that way",
        RefusalReason::LastSureFruit => "it is the last fruit that is surely there",
        other => &other.name().replace('_', " "),
    };
    let mut said = what.to_owned();
    if !refusal.blocked_by.is_empty() {
        said.push_str(&format!(" ({})", refusal.blocked_by.join(", ")));
    }
    match refusal.shortfall {
        Some(Shortfall::Metres(m)) => said.push_str(&format!(", short by {}", millimetres(m))),
        Some(Shortfall::Radians(rad)) => {
            said.push_str(&format!(", short by {:.1} degrees", rad.to_degrees()));
        }
        None => {}
    }
    said
}
