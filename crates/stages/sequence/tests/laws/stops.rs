//! Stops: few, in reach, one way along the row.

use crate::row::{Removal, Row};
use corymb_model::orders::Work;
use proptest::prelude::*;
use std::collections::BTreeSet;

fn at(stops: Option<(i64, i64)>) -> Removal {
    ([0.0, 0.0, 1.5], [0.0, 0.0], stops)
}

/// The fewest stops that meet all intervals, by trying every set.
fn fewest(intervals: &[(i64, i64)]) -> u32 {
    let meets = |set: u32, &(first, last): &(i64, i64)| (first..=last).any(|s| set >> s & 1 == 1);
    let sets = (0u32..1 << 9).filter(|&set| intervals.iter().all(|i| meets(set, i)));
    sets.map(u32::count_ones).min().unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_set_of_stops_is_smaller(intervals in prop::collection::vec((0i64..7, 0i64..3), 1..12)) {
        let intervals: Vec<(i64, i64)> = intervals.iter().map(|(first, more)| (*first, first + more)).collect();
        let row = Row::of(&intervals.iter().map(|&i| vec![at(Some(i))]).collect::<Vec<_>>());
        let list = row.sequence();
        prop_assert_eq!(list.stats.stops as u32, fewest(&intervals));
        prop_assert_eq!(list.orders.len(), intervals.len());
        let stops: Vec<i64> = list.orders.iter().map(|o| o.stop.unwrap()).collect();
        prop_assert!(stops.is_sorted());
    }

    #[test]
    fn every_order_is_in_reach_and_clusters_keep_their_order(
        clusters in prop::collection::vec(prop::collection::vec((0i64..6, 0i64..3), 1..4), 1..8),
    ) {
        let clusters: Vec<Vec<Removal>> = clusters.iter()
            .map(|c| c.iter().map(|(first, more)| at(Some((*first, first + more)))).collect())
            .collect();
        let list = Row::of(&clusters).sequence();
        prop_assert_eq!(list.orders.len(), clusters.iter().map(Vec::len).sum::<usize>());
        let mut done = BTreeSet::new();
        for order in &list.orders {
            let Work::Remove { plan, .. } = &order.work else { panic!("a look without doubt") };
            let (first, last) = plan.stops.unwrap();
            prop_assert!((first..=last).contains(&order.stop.unwrap()));
            prop_assert!(order.needs.iter().all(|n| done.contains(n)));
            done.insert(order.id.clone());
        }
    }
}

#[test]
fn the_platform_comes_back_only_where_it_must() {
    // the first removal of the first cluster is reached from stop 4 only, the second from stop 1 only
    let twisted = vec![at(Some((4, 4))), at(Some((1, 1)))];
    let list = Row::of(&[twisted, vec![at(Some((0, 2)))]]).sequence();
    let stops: Vec<Option<i64>> = list.orders.iter().map(|o| o.stop).collect();
    assert_eq!(stops, [Some(1), Some(4), Some(1)]);
    assert_eq!(list.stats.stops, 2);
}

#[test]
fn of_equally_few_stops_the_middle_one() {
    let list = Row::of(&[vec![at(Some((0, 4)))], vec![at(Some((1, 5)))]]).sequence();
    assert!(list.orders.iter().all(|o| o.stop == Some(2)));
    let rig = list.orders[0].orchard_from_rig.unwrap().origin().xyz;
    assert!((rig - nalgebra::Vector3::new(1.0, -0.9, 1.5)).norm() < 1e-12);
}

#[test]
fn without_stops_all_is_done_from_where_the_rig_stands() {
    let mut row = Row::of(&[vec![at(None), at(None)], vec![at(None)]]);
    row.setup.platform = None;
    let list = row.sequence();
    assert_eq!(list.orders.len(), 3);
    assert!(
        list.orders
            .iter()
            .all(|o| o.stop.is_none() && o.orchard_from_rig.is_none())
    );
    assert_eq!(list.stats.stops, 0);
}
