//! Each rule on a tree small enough to see why.

use crate::block::{Block, Fruit, Spur, policy};
use corymb_model::decisions::{Action, Decision, Decisions, Rule};
use corymb_model::policy::{Losses, Pin, PinAs, Pinned, Prefer};

fn spur(place: Option<(usize, u32)>, fruit: &[Fruit]) -> Spur {
    Spur {
        tree: 0,
        place,
        fruit: fruit.to_vec(),
        success: Vec::new(),
    }
}

fn of(decisions: &Decisions, i: usize) -> &Decision {
    decisions
        .decisions
        .iter()
        .find(|d| d.fruitlet_idx == i)
        .unwrap()
}

fn says(decisions: &Decisions, i: usize, action: Action, rule: Rule, words: &[&str]) {
    let d = of(decisions, i);
    assert_eq!((d.action, d.rule), (action, rule), "{}", d.reason);
    for word in words {
        assert!(d.reason.contains(word), "{word:?} is not in {:?}", d.reason);
    }
    assert!(d.reason.ends_with('.') && !d.reason.contains('\n'));
}

#[test]
fn the_likelier_king_stays() {
    let fruit = [Fruit::sure(0.05, 20.0), Fruit::sure(0.9, 20.0)];
    let d = Block::of(&[spur(None, &fruit)], policy(1, None, None)).decide();
    says(
        &d,
        1,
        Action::Keep,
        Rule::Preferred,
        &["f000", "king", "90 %", "5 %"],
    );
    says(
        &d,
        0,
        Action::Remove,
        Rule::ClusterLimit,
        &["f001", "king", "may hold 1"],
    );
    assert!(of(&d, 0).confidence > 0.8 && of(&d, 0).confidence < 1.0);
}

#[test]
fn a_negative_weight_sends_the_king_off() {
    let fruit = [Fruit::sure(0.05, 20.0), Fruit::sure(0.9, 20.0)];
    let mut policy = policy(1, None, None);
    policy.prefer = Prefer {
        king: -1.0,
        diameter: 0.5,
        reach: 0.0,
    };
    let d = Block::of(&[spur(None, &fruit)], policy).decide();
    assert_eq!(of(&d, 1).action, Action::Remove);
}

#[test]
fn the_larger_one_stays() {
    let fruit = [Fruit::sure(0.5, 18.0), Fruit::sure(0.5, 22.5)];
    let d = Block::of(&[spur(None, &fruit)], policy(1, None, None)).decide();
    says(
        &d,
        0,
        Action::Remove,
        Rule::ClusterLimit,
        &["larger", "22.5 mm", "18.0 mm"],
    );
}

#[test]
fn reach_speaks_where_it_decides() {
    let fruit = [Fruit::sure(0.5, 20.0), Fruit::sure(0.5, 20.4)];
    // the way that leaves the larger one succeeds with 0.3, the other with 0.9
    let reach = Spur {
        success: vec![1.0, 0.9, 0.3, 1.0],
        ..spur(None, &fruit)
    };
    let d = Block::of(&[reach], policy(1, None, None)).decide();
    says(
        &d,
        1,
        Action::Remove,
        Rule::ClusterLimit,
        &["f000", "tool", "90 %", "30 %"],
    );
    says(&d, 0, Action::Keep, Rule::Preferred, &["tool"]);
}

#[test]
fn what_the_tool_cannot_take_stays_and_another_goes() {
    let stuck = Fruit {
        reachable: false,
        ..Fruit::sure(0.0, 18.0)
    };
    let d = Block::of(
        &[spur(None, &[stuck, Fruit::sure(0.9, 22.0)])],
        policy(1, None, None),
    )
    .decide();
    says(
        &d,
        1,
        Action::Remove,
        Rule::ClusterLimit,
        &["f000 stays", "leave 1 more hanging out of the tool's reach"],
    );
}

#[test]
fn what_ought_to_go_and_cannot_is_a_refused_removal() {
    let stuck = |king| Fruit {
        reachable: false,
        ..Fruit::sure(king, 20.0)
    };
    let d = Block::of(
        &[spur(None, &[stuck(0.1), stuck(0.8)])],
        policy(1, None, None),
    )
    .decide();
    says(
        &d,
        0,
        Action::Remove,
        Rule::ClusterLimit,
        &["limb1", "4.0 mm"],
    );
    assert_eq!(of(&d, 1).action, Action::Keep);
    assert_eq!(d.chosen[0].1.refused.len(), 1);
    assert!(
        d.trees[0].unmet[0]
            .contains("cannot be reached by the tool though it ought to go: 1 fruit"),
        "{:?}",
        d.trees[0].unmet
    );
    assert_eq!(d.trees[0].unmet.len(), 1, "{:?}", d.trees[0].unmet);
}

#[test]
fn fruit_in_doubt_never_replaces_the_last_sure_one() {
    let doubtful = Fruit {
        existence: 0.6,
        ..Fruit::sure(0.9, 25.0)
    };
    let fruit = [doubtful, Fruit::sure(0.1, 20.0), Fruit::sure(0.0, 18.0)];
    let d = Block::of(&[spur(None, &fruit)], policy(1, None, None)).decide();
    says(
        &d,
        0,
        Action::LookAgain,
        Rule::Confidence,
        &["60 %", "70 %"],
    );
    says(&d, 1, Action::Keep, Rule::LastSureFruit, &["1 more"]);
    assert_eq!(of(&d, 2).action, Action::Remove);
    assert_eq!(
        (d.trees[0].kept, d.trees[0].removed, d.trees[0].look_again),
        (1, 1, 1)
    );
}

#[test]
fn doubtful_membership_waits_too() {
    let loose = Fruit {
        membership: 0.55,
        ..Fruit::sure(0.9, 25.0)
    };
    let d = Block::of(
        &[spur(None, &[loose, Fruit::sure(0.1, 20.0)])],
        policy(1, None, None),
    )
    .decide();
    says(
        &d,
        0,
        Action::LookAgain,
        Rule::Confidence,
        &["belongs", "55 %"],
    );
}

#[test]
fn spacing_empties_the_lesser_cluster_and_names_the_other() {
    let low = spur(Some((1, 100)), &[Fruit::sure(0.1, 20.0)]);
    let high = spur(Some((1, 160)), &[Fruit::sure(0.9, 20.0)]);
    let other_limb = spur(Some((2, 120)), &[Fruit::sure(0.1, 20.0)]);
    let d = Block::of(&[low, high, other_limb], policy(1, None, Some(0.1))).decide();
    says(
        &d,
        0,
        Action::Remove,
        Rule::Spacing,
        &["c001", "60.0 mm", "100.0 mm"],
    );
    says(&d, 2, Action::Keep, Rule::NoBound, &["left with 1"]);
}

#[test]
fn a_gap_of_exactly_the_spacing_is_enough() {
    let at = |mm| spur(Some((1, mm)), &[Fruit::sure(0.5, 20.0)]);
    let d = Block::of(&[at(100), at(200), at(300)], policy(1, None, Some(0.1))).decide();
    assert_eq!(d.trees[0].kept, 3);
}

#[test]
fn more_fruit_goes_before_more_worth() {
    // the middle one is worth more than both outer ones together
    let at = |mm, king| spur(Some((1, mm)), &[Fruit::sure(king, 20.0)]);
    let mut policy = policy(1, None, Some(0.1));
    policy.prefer.king = 10.0;
    let d = Block::of(&[at(100, 0.0), at(160, 1.0), at(220, 0.0)], policy).decide();
    assert_eq!(d.trees[0].kept, 2);
    assert_eq!(of(&d, 1).action, Action::Remove);
}

#[test]
fn the_tree_bound_takes_the_least_and_says_what_is_kept() {
    let clusters: Vec<Spur> = (0..4)
        .map(|k| spur(None, &[Fruit::sure(0.2 * f64::from(k), 20.0)]))
        .collect();
    let d = Block::of(&clusters, policy(1, Some(3.0), None)).decide();
    says(
        &d,
        0,
        Action::Remove,
        Rule::TreeTarget,
        &["left with 3", "f001"],
    );
    let load = &d.trees[0];
    assert_eq!(
        (load.target, load.to_leave, load.binds, load.kept),
        (Some(3), Some(3), true, 3)
    );
    assert!(load.unmet.is_empty());
}

#[test]
fn a_target_out_of_reach_says_by_how_many_and_why() {
    let doubtful = Fruit {
        existence: 0.6,
        ..Fruit::sure(0.5, 20.0)
    };
    let both = [doubtful, Fruit::sure(0.5, 20.0)];
    let stuck = [Fruit {
        reachable: false,
        ..Fruit::sure(0.5, 20.0)
    }];
    let d = Block::of(
        &[spur(None, &both), spur(None, &both), spur(None, &stuck)],
        policy(1, Some(1.0), None),
    )
    .decide();
    let unmet = d.trees[0].unmet.join(" | ");
    assert!(
        unmet.contains("4 fruit are meant to stay on the tree where 1 are wanted, 3 too many"),
        "{unmet}"
    );
    assert!(
        unmet.contains("2 wait for another look, 2 clusters keep a sure one beside those, 0 are"),
        "{unmet}"
    );
    assert!(
        unmet.contains("1 fruit; until somebody takes it 5 fruit hang on the tree where 1 are"),
        "{unmet}"
    );
    // the one out of reach ought to go, and says so
    says(&d, 4, Action::Remove, Rule::TreeTarget, &["cannot take it"]);
}

/// Clusters of which the tool can finish only the last one: whoever stays, one that ought to go is out of reach.
fn mostly_out_of_reach(clusters: u32) -> Vec<Spur> {
    let stuck = |king| Fruit {
        reachable: false,
        ..Fruit::sure(king, 20.0)
    };
    let within_reach = [Fruit::sure(0.2, 20.0), Fruit::sure(0.7, 20.0)];
    let hard = [stuck(0.1), stuck(0.3), Fruit::sure(0.9, 22.0)];
    (1..=clusters)
        .map(|k| {
            let fruit: &[Fruit] = if k == clusters { &within_reach } else { &hard };
            spur(Some((1, 100 * k)), fruit)
        })
        .collect()
}

#[test]
fn refused_fruit_takes_no_place_on_the_tree() {
    let block = Block::of(&mostly_out_of_reach(6), policy(1, Some(6.0), Some(0.1)));
    let d = block.decide();
    for cluster in &block.map.clusters {
        let keeps = |i: &&usize| of(&d, **i).action == Action::Keep;
        assert_eq!(cluster.members.iter().filter(keeps).count(), 1);
    }
    let load = &d.trees[0];
    assert_eq!((load.kept, load.removed, load.binds), (6, 11, false));
    let refused: usize = d.chosen.iter().map(|(_, way)| way.refused.len()).sum();
    assert_eq!(refused, 5);
    assert_eq!(load.unmet.len(), 1, "{:?}", load.unmet);
    assert!(
        load.unmet[0].contains(
            "5 fruit; until somebody takes it 11 fruit hang on the tree where 6 are wanted, and clusters hold more \
             than 1 because of it: 5"
        ),
        "{:?}",
        load.unmet
    );
    // of two out of reach one must stay, and it is the better of the two; the best of all can be taken off
    says(&d, 1, Action::Keep, Rule::Preferred, &[]);
    says(&d, 0, Action::Remove, Rule::ClusterLimit, &["hangs there"]);
}

#[test]
fn a_target_below_the_clusters_is_met_by_what_is_meant_to_stay() {
    let d = Block::of(&mostly_out_of_reach(6), policy(1, Some(4.0), None)).decide();
    let load = &d.trees[0];
    assert_eq!((load.kept, load.binds), (4, true));
    assert!(load.unmet.len() == 1 && load.unmet[0].contains("cannot be reached"));
}

#[test]
fn refused_fruit_keeps_no_place_along_the_limb() {
    // the first ought to go for the sake of the second and cannot; the second is not given up for it
    let stuck = Fruit {
        reachable: false,
        ..Fruit::sure(0.1, 20.0)
    };
    let low = spur(Some((1, 100)), &[stuck]);
    let high = spur(Some((1, 160)), &[Fruit::sure(0.9, 20.0)]);
    let d = Block::of(&[low, high], policy(1, None, Some(0.1))).decide();
    says(
        &d,
        0,
        Action::Remove,
        Rule::Spacing,
        &["c001", "60.0 mm", "cannot take it"],
    );
    assert_eq!((of(&d, 1).action, d.trees[0].kept), (Action::Keep, 1));
}

#[test]
fn refused_fruit_is_not_the_last_sure_one() {
    let doubtful = Fruit {
        existence: 0.6,
        ..Fruit::sure(0.9, 25.0)
    };
    let stuck = Fruit {
        reachable: false,
        ..Fruit::sure(0.1, 20.0)
    };
    let mut block = Block::of(
        &[spur(None, &[doubtful, stuck])],
        policy(1, Some(0.0), None),
    );
    let d = block.decide();
    says(&d, 1, Action::Keep, Rule::LastSureFruit, &["1 more"]);
    // unless no way keeps it
    block.ways[0].ways.retain(|way| !way.keepers.contains(&1));
    let d = block.decide();
    says(
        &d,
        1,
        Action::Remove,
        Rule::ClusterLimit,
        &["cannot take it"],
    );
}

#[test]
fn pins_hold_and_the_particular_one_wins() {
    let fruit = [
        Fruit::sure(0.1, 18.0),
        Fruit::sure(0.9, 22.0),
        Fruit::sure(0.0, 20.0),
    ];
    let pin = |what, as_| Pin { what, as_ };
    let mut policy = policy(1, None, None);
    policy.pins = vec![
        pin(Pinned::Fruitlet("f000".into()), PinAs::Keep),
        pin(Pinned::Cluster("c000".into()), PinAs::Remove),
        pin(Pinned::Tree("t0".into()), PinAs::LeaveAlone),
        pin(Pinned::Fruitlet("nobody".into()), PinAs::Keep),
    ];
    let d = Block::of(&[spur(Some((1, 100)), &fruit), spur(None, &fruit)], policy).decide();
    says(&d, 0, Action::Keep, Rule::Pin, &["pins it to stay"]);
    says(&d, 1, Action::Remove, Rule::Pin, &["pins it to go"]);
    for i in 3..6 {
        says(&d, i, Action::Keep, Rule::Pin, &["left alone"]);
    }
    assert_eq!(d.pins_without_object.len(), 1);
}

#[test]
fn equal_fruit_is_decided_by_name() {
    let fruit = [Fruit::sure(0.5, 20.0), Fruit::sure(0.5, 20.0)];
    let d = Block::of(&[spur(None, &fruit)], policy(1, None, None)).decide();
    says(&d, 0, Action::Keep, Rule::Preferred, &["equal in worth"]);
    says(
        &d,
        1,
        Action::Remove,
        Rule::ClusterLimit,
        &["f000", "by name"],
    );
    assert!((of(&d, 1).confidence - 0.5).abs() < 0.01);
}

#[test]
fn losses_raise_what_is_left() {
    let clusters: Vec<Spur> = (0..20)
        .map(|_| spur(None, &[Fruit::sure(0.5, 20.0)]))
        .collect();
    let mut policy = policy(1, Some(9.0), None);
    policy.losses = Losses {
        natural_drop: Some(0.25),
        ..Losses::default()
    };
    let d = Block::of(&clusters, policy).decide();
    assert_eq!(
        (d.trees[0].target, d.trees[0].to_leave, d.trees[0].kept),
        (Some(9), Some(12), 12)
    );
}

#[test]
fn nothing_to_decide_on() {
    let d = Block::of(&[], policy(1, Some(3.0), None)).decide();
    assert!(d.decisions.is_empty() && d.chosen.is_empty());
    assert_eq!((d.trees.len(), d.trees[0].found), (1, 0));
}

#[test]
fn without_an_orchard_there_is_no_target_and_it_says_so() {
    let mut block = Block::of(
        &[spur(
            None,
            &[Fruit::sure(0.5, 20.0), Fruit::sure(0.6, 20.0)],
        )],
        policy(1, Some(1.0), None),
    );
    block.map.clusters[0].tree_idx = None;
    block
        .map
        .fruitlets
        .iter_mut()
        .for_each(|f| f.tree_idx = None);
    let input = corymb_thinning::Input {
        orchard: None,
        ..block.input()
    };
    let d = corymb_thinning::decide(&input, &corymb_thinning::Config::default());
    assert_eq!(d.trees.len(), 1);
    assert_eq!(
        d.trees[0].no_target_because.as_deref(),
        Some("the tree is not known")
    );
    assert_eq!(d.trees[0].kept, 1);
}

#[test]
fn a_cluster_without_ways_is_left_as_it_is() {
    let mut block = Block::of(
        &[spur(
            None,
            &[Fruit::sure(0.5, 20.0), Fruit::sure(0.6, 20.0)],
        )],
        policy(1, None, None),
    );
    block.ways.clear();
    let d = block.decide();
    assert_eq!(d.trees[0].kept, 2);
    says(
        &d,
        0,
        Action::Keep,
        Rule::NoBound,
        &["no way takes off more"],
    );
    assert!(!d.trees[0].unmet.is_empty());
}
