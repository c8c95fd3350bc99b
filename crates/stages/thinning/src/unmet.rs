//! Bounds that could not be met: which, by how much, and why.

use crate::candidates::Candidate;
use crate::facts::Facts;
use crate::plan::TreePlan;
use crate::standing::Status;
use crate::tree::TreeGroup;

/// One sentence for each bound of a tree that is not met by what is meant to stay, and one for fruit that ought to go
/// and cannot be reached; empty where all bounds are met and nothing is refused.
pub(crate) fn of_tree(facts: &Facts<'_>, tree: &TreeGroup, plan: &TreePlan) -> Vec<String> {
    let sentences = [
        target(facts, tree, plan),
        clusters(facts, tree),
        spacing(facts, tree),
        pins(facts, tree),
        out_of_reach(facts, tree, plan),
    ];
    sentences.into_iter().flatten().collect()
}

fn chosen<'a>(facts: &Facts<'a>, tree: &TreeGroup) -> Vec<&'a Candidate<'a>> {
    tree.clusters
        .iter()
        .filter_map(|&c| facts.chosen(c))
        .collect()
}

fn target(facts: &Facts<'_>, tree: &TreeGroup, plan: &TreePlan) -> Option<String> {
    let to_leave = plan.to_leave?;
    let all = chosen(facts, tree);
    let stays: usize = all.iter().map(|c| c.stays.len()).sum();
    let over = (stays as u64)
        .checked_sub(to_leave)
        .filter(|over| *over > 0)?;
    Some(format!(
        "{stays} fruit are meant to stay on the tree where {to_leave} are wanted, {over} too many: {}",
        held_back(facts, &all)
    ))
}

fn clusters(facts: &Facts<'_>, tree: &TreeGroup) -> Option<String> {
    let most = facts.input.policy.keep_at_most;
    let mut over = chosen(facts, tree);
    over.retain(|c| c.stays.len() > most);
    let excess: usize = over.iter().map(|c| c.stays.len() - most).sum();
    (excess > 0).then(|| {
        let why = held_back(facts, &over);
        format!(
            "clusters where more than {most} are meant to stay: {}, by {excess} fruit together: {why}",
            over.len()
        )
    })
}

fn spacing(facts: &Facts<'_>, tree: &TreeGroup) -> Option<String> {
    let gaps = facts.narrow_gaps(tree.tree_idx);
    let (a, b, gap_m) = gaps.iter().min_by(|a, b| a.2.total_cmp(&b.2))?;
    let id = |c: usize| &facts.input.map.clusters[c].id;
    Some(format!(
        "gaps along a limb below the spacing: {}, the narrowest of {:.1} mm between {} and {}",
        gaps.len(),
        1e3 * gap_m,
        id(*a),
        id(*b)
    ))
}

fn pins(facts: &Facts<'_>, tree: &TreeGroup) -> Option<String> {
    let all = chosen(facts, tree);
    let stays = all.iter().flat_map(|c| &c.stays);
    let broken = stays
        .filter(|&&i| facts.standing.status[i] == Status::MustGo)
        .count();
    (broken > 0).then(|| format!("pinned to go, but no way takes it off: {broken} fruit"))
}

/// Fruit that ought to go and cannot be reached, and what it does to the bounds until somebody takes it.
fn out_of_reach(facts: &Facts<'_>, tree: &TreeGroup, plan: &TreePlan) -> Option<String> {
    let most = facts.input.policy.keep_at_most;
    let all = chosen(facts, tree);
    let refused: usize = all.iter().map(|c| c.hangs - c.stays.len()).sum();
    let hangs: usize = all.iter().map(|c| c.hangs).sum();
    let over = all.iter().filter(|c| c.hangs > c.stays.len().max(most));
    let on_tree = match plan.to_leave {
        Some(to_leave) => format!("{hangs} fruit hang on the tree where {to_leave} are wanted"),
        None => format!("{hangs} fruit hang on the tree"),
    };
    (refused > 0).then(|| {
        format!(
            "cannot be reached by the tool though it ought to go: {refused} fruit; until somebody takes it {on_tree}, \
             and clusters hold more than {most} because of it: {}",
            over.count()
        )
    })
}

/// What keeps fruit from going, counted over some clusters.
fn held_back(facts: &Facts<'_>, clusters: &[&Candidate<'_>]) -> String {
    let count = |status: Status| {
        let stays = clusters.iter().flat_map(|c| &c.stays);
        stays
            .filter(|&&i| facts.standing.status[i] == status)
            .count()
    };
    let doubtful = |c: &&&Candidate<'_>| {
        let is = |status: Status| c.stays.iter().any(|&i| facts.standing.status[i] == status);
        is(Status::Waiting) && is(Status::Free)
    };
    let beside = clusters.iter().filter(doubtful).count();
    format!(
        "{} wait for another look, {beside} clusters keep a sure one beside those, {} are pinned",
        count(Status::Waiting),
        count(Status::MustStay) + count(Status::LeftAlone)
    )
}
