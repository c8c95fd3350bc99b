//! Numbers of the trade with their sources.

use crate::block::tree;
use corymb_model::decisions::Bound;
use corymb_model::policy::{Losses, Target};
use corymb_thinning::target::{of_tree, section_cm2, to_leave};
use corymb_thinning::{Config, unseen};

fn bound(trunk_diameter_m: f64, target: Target) -> Option<(u64, Bound)> {
    let mut tree = tree(0);
    tree.trunk_diameter_m = Some(trunk_diameter_m);
    of_tree(Some(&tree), &target, &Config::default()).target
}

fn per_trunk(density: f64) -> Target {
    Target {
        fruit_per_cm2_trunk: Some(density),
        ..Target::default()
    }
}

/// Geometry: girth^2 / (4 pi) = pi d^2 / 4, computed to three decimals; the tolerance is half the last decimal.
#[test]
fn trunk_sections() {
    assert!((section_cm2(0.157 / std::f64::consts::PI) - 19.615).abs() < 5e-4);
    assert!((section_cm2(0.05) - 19.635).abs() < 5e-4);
}

/// 5 cm of trunk at 6 fruit a cm2: 117.8, rounded down.
#[test]
fn six_fruit_a_square_centimetre() {
    assert_eq!(bound(0.05, per_trunk(6.0)), Some((117, Bound::TrunkArea)));
}

/// Royal Gala on M.9 (NIAB): 120, 180, 240 fruit are quoted as 5, 7, 9 per cm2. The trunk areas that follow, 24.0, 25.7
/// and 26.7 cm2, are one tree's to within the rounding of the densities (half a fruit per cm2, 10 %).
#[test]
fn royal_gala_crop_densities() {
    for (fruit, density) in [(120, 5.0), (180, 7.0), (240, 9.0)] {
        let diameter_m = (f64::from(fruit) / density * 4.0 / std::f64::consts::PI).sqrt() / 100.0;
        assert_eq!(
            bound(diameter_m, per_trunk(density)),
            Some((fruit as u64, Bound::TrunkArea))
        );
        assert!((section_cm2(diameter_m) / 25.5 - 1.0).abs() < 0.1);
    }
}

/// Trunk girth table (eXtension 2011): inches of girth at six inches above the ground and fruit to leave. From 6 to 10
/// inches it is the six-per-cm2 rule within 10 %; the ends of the table leave less.
#[test]
fn girth_table() {
    for (girth_in, fruit) in [
        (6.0, 110.0),
        (7.0, 150.0),
        (8.0, 200.0),
        (9.0, 230.0),
        (10.0, 300.0),
    ] {
        let diameter_m = girth_in * 0.0254 / std::f64::consts::PI;
        let (by_rule, _) = bound(diameter_m, per_trunk(6.0)).unwrap();
        assert!(
            (by_rule as f64 / fruit - 1.0).abs() < 0.1,
            "{girth_in} in: {by_rule} against {fruit}"
        );
    }
    assert!((section_cm2(6.0 * 0.0254 / std::f64::consts::PI) - 18.48).abs() < 5e-3);
    assert!((section_cm2(20.0 * 0.0254 / std::f64::consts::PI) - 205.4).abs() < 5e-2);
}

#[test]
fn the_smallest_bound_holds_and_an_exact_product_stays_whole() {
    let all = Target {
        fruit_per_cm2_trunk: Some(6.0),
        fruit_per_tree: Some(40.9),
        fruit_per_cm2_limb: Some(6.0),
    };
    // two side limbs of 2 cm: 6.28 cm2, 37.7 fruit (branch rule of 6 per cm2, HortTechnology 23(6):830, 2013)
    assert_eq!(bound(0.05, all), Some((37, Bound::LimbArea)));
    let per_tree = Target {
        fruit_per_tree: Some(40.9),
        ..Target::default()
    };
    assert_eq!(bound(0.05, per_tree), Some((40, Bound::PerTree)));
    // a trunk of exactly 3 cm2 at 10 a cm2
    let diameter_m = (3.0 * 4.0 / std::f64::consts::PI).sqrt() / 100.0;
    assert_eq!(
        bound(diameter_m, per_trunk(10.0)),
        Some((30, Bound::TrunkArea))
    );
}

#[test]
fn a_bound_that_cannot_be_computed_is_none_with_a_reason() {
    let mut tree = tree(0);
    tree.trunk_diameter_m = None;
    let none = of_tree(Some(&tree), &per_trunk(6.0), &Config::default());
    assert_eq!(none.target, None);
    assert_eq!(
        none.none_because.as_deref(),
        Some("no trunk diameter is known")
    );
    assert_eq!(
        of_tree(None, &per_trunk(6.0), &Config::default())
            .none_because
            .as_deref(),
        Some("the tree is not known")
    );
}

/// Losses put into the balance again give the target back: closed loop of the formula, not its inverse.
#[test]
fn expected_load_after_losses_meets_the_target() {
    let losses = Losses {
        natural_drop: Some(0.1),
        tool_success: Some(0.8),
        count_unseen: true,
    };
    let (found, unseen) = (300, 12.0);
    let leave = to_leave(120, found, unseen, &losses, &Config::default());
    let load = |n: f64| 0.9 * (n + 0.2 * (found as f64 - n) + unseen);
    assert!(
        load(leave as f64) <= 120.0 && load(leave as f64 + 1.0) > 120.0,
        "{leave}"
    );
    assert_eq!(
        to_leave(120, found, unseen, &Losses::default(), &Config::default()),
        120
    );
    let hopeless = Losses {
        tool_success: Some(0.1),
        ..Losses::default()
    };
    assert_eq!(to_leave(10, 300, 0.0, &hopeless, &Config::default()), 0);
}

/// Chao's bias-corrected lower bound by hand: f1 = 10, f2 = 4 gives 10 * 9 / (2 * 5) = 9; and on zero-truncated Poisson
/// counts with mean 1.5, where e^-1.5 = 0.2231 of 1,000 go unseen: f1 = 334.7, f2 = 251.0.
#[test]
fn fruit_never_seen() {
    assert!((unseen::chao(10.0, 4.0) - 9.0).abs() < 1e-12);
    assert!((unseen::chao(334.7, 251.0) - 223.1).abs() < 2.5);
    assert!(unseen::chao(0.4, 3.0).abs() < 1e-12);
    assert!(unseen::chao(0.0, 0.0).abs() < 1e-12);
}
