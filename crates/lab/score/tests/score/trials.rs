//! Field trials: rates against an independent formula, and cases worked out by hand.

use corymb_model::trials::{StatedChance, Trial};
use corymb_score::figure::Share;
use corymb_score::trials::{CAUTION, success, summarise, text};
use proptest::prelude::*;

const YES: Option<bool> = Some(true);
const NO: Option<bool> = Some(false);

fn trial(order: usize, [reached, enclosed, cut, damage]: [Option<bool>; 4]) -> Trial {
    Trial {
        order: format!("o{order}"),
        reached,
        enclosed,
        cut,
        damage,
        ..Trial::default()
    }
}

/// 40 trials: 38 reached, 37 enclosed, 35 cut, none with damage.
fn forty() -> Vec<Trial> {
    let of = |n: usize| {
        let seen = [n < 38, n < 37, n < 35, false].map(Some);
        trial(n, seen)
    };
    (0..40).map(of).collect()
}

/// The ends of Wilson's interval by bisection of the test that they come from: |p' - p| = z sqrt(p (1 - p) / n), with p
/// the true rate (Wilson, JASA 22 (1927)).
fn by_bisection(num: usize, den: usize, upper: bool) -> f64 {
    let seen = num as f64 / den as f64;
    let rejected =
        |p: f64| (seen - p).abs() > 1.959_963_984_540_054 * (p * (1.0 - p) / den as f64).sqrt();
    let (mut inside, mut outside) = (seen, f64::from(u8::from(upper)));
    if inside == outside {
        return outside;
    }
    for _ in 0..200 {
        let middle = f64::midpoint(inside, outside);
        if rejected(middle) {
            outside = middle;
        } else {
            inside = middle;
        }
    }
    inside
}

fn ends(share: &Share) -> (f64, f64) {
    (share.low.unwrap(), share.high.unwrap())
}

#[test]
fn the_worked_example_is_as_the_page_says() {
    let summary = summarise(&forty(), None);
    let rates = &summary.rates;
    for (share, num, low, high) in [
        (&rates.reached, 38, 83.5, 98.6),
        (&rates.cut, 35, 73.9, 94.5),
        (&rates.damage, 0, 0.0, 8.8),
    ] {
        assert_eq!((share.num, share.den), (num, 40));
        let (found_low, found_high) = ends(share);
        assert!((found_low - by_bisection(num, 40, false)).abs() < 1e-12);
        assert!((found_high - by_bisection(num, 40, true)).abs() < 1e-12);
        assert!((100.0 * found_low - low).abs() < 0.05, "{found_low}");
        assert!((100.0 * found_high - high).abs() < 0.05, "{found_high}");
    }
    assert_eq!(
        (rates.enclosed_of_reached.num, rates.enclosed_of_reached.den),
        (37, 38)
    );
    assert_eq!(
        (rates.cut_of_enclosed.num, rates.cut_of_enclosed.den),
        (35, 37)
    );
    assert_eq!(
        (rates.cut_of_reached.num, rates.cut_of_reached.den),
        (35, 38)
    );
    let page = text(&summary);
    for words in [
        "95.0 %      38/40  [83.5, 98.6], 15.1 points wide",
        "87.5 %      35/40  [73.9, 94.5], 20.7 points wide",
        "No damage in 40 trials does not mean none: a true rate of up to 8.8 %",
        CAUTION,
    ] {
        assert!(page.contains(words), "{words}\n{page}");
    }
}

#[test]
fn what_was_not_observed_counts_for_nothing() {
    let trials = [
        trial(1, [YES, YES, YES, NO]),
        trial(2, [YES, None, None, None]),
        trial(3, [None, None, YES, None]),
        trial(4, [YES, YES, NO, None]),
        trial(5, [None, YES, YES, YES]),
        trial(6, [NO, None, NO, NO]),
    ];
    let known = trials.each_ref().map(success);
    assert_eq!(known, [YES, None, None, NO, NO, NO]);
    let rates = summarise(&trials, None).rates;
    let counts = |s: &Share| (s.num, s.den);
    assert_eq!(counts(&rates.reached), (3, 4));
    assert_eq!(counts(&rates.enclosed), (3, 3));
    assert_eq!(counts(&rates.cut), (3, 5));
    assert_eq!(counts(&rates.damage), (1, 3));
    assert_eq!(counts(&rates.success), (1, 4));
    assert_eq!(counts(&rates.enclosed_of_reached), (2, 2));
    assert_eq!(counts(&rates.cut_of_enclosed), (2, 3));
    assert_eq!(counts(&rates.cut_of_reached), (1, 2));
    let nothing = summarise(&[], None);
    assert_eq!(nothing.rates.cut.value, None);
    assert!(nothing.rates.cut.reason.is_some() && nothing.seconds.reason.is_some());
    assert_eq!(nothing.remarks, [CAUTION]);
}

#[test]
fn causes_tools_and_times_are_counted() {
    let mut trials = forty();
    let causes = [
        (35, "b"),
        (36, "b"),
        (37, "a"),
        (38, "a"),
        (39, "c"),
        (0, "odd"),
    ];
    for (n, cause) in causes {
        trials[n].cause = Some(cause.to_owned());
    }
    trials[39].cause = None;
    for (n, trial) in trials.iter_mut().enumerate() {
        trial.tool = (n < 10).then(|| "cup".to_owned());
        trial.seconds = (n <= 10).then_some(n as f64);
    }
    let summary = summarise(&trials, None);
    let failures = summary
        .failures
        .iter()
        .map(|f| (f.cause.as_deref(), f.trials));
    let expected = [(Some("a"), 2), (Some("b"), 2), (None, 1)];
    assert_eq!(failures.collect::<Vec<_>>(), expected);
    assert_eq!(summary.causes_without_failure, 1);
    let tools = summary
        .by_tool
        .iter()
        .map(|t| (t.tool.as_deref(), t.trials, t.rates.cut.num));
    assert_eq!(
        tools.collect::<Vec<_>>(),
        [(None, 30, 25), (Some("cup"), 10, 10)]
    );
    assert_eq!(
        (summary.seconds.median, summary.seconds.p90),
        (Some(5.0), Some(9.0))
    );
    assert_eq!(summarise(&forty(), None).by_tool, []);
}

#[test]
fn promises_are_held_to_what_came_of_them_and_nothing_is_dropped() {
    let chance = |order: &str, success_probability| StatedChance {
        order: order.to_owned(),
        success_probability,
    };
    let chances = [
        chance("o9", Some(0.5)),
        chance("o1", Some(0.9)),
        chance("o2", Some(0.6)),
        chance("o3", Some(0.7)),
        chance("o4", None),
        chance("o8", None),
    ];
    let trials = [
        trial(7, [YES, YES, YES, NO]),
        trial(1, [YES, YES, YES, NO]),
        trial(2, [YES, YES, YES, YES]),
        trial(3, [YES, None, None, None]),
        trial(4, [YES, None, None, None]),
    ];
    let summary = summarise(&trials, Some(&chances));
    let promised = summary.promised.as_ref().unwrap();
    assert_eq!(promised.success.n, 2);
    // (0.9 - 1)^2 and (0.6 - 0)^2
    assert!((promised.success.brier.unwrap() - (0.01 + 0.36) / 2.0).abs() < 1e-12);
    assert_eq!(promised.success_not_known, 1);
    assert_eq!(promised.unknown_orders, ["o7"]);
    assert_eq!(promised.orders_to_look, ["o4"]);
    assert_eq!(promised.never_tried, ["o9"]);
    assert!(text(&summary).contains("orders never tried                  1: o9"));
}

proptest! {
    #[test]
    fn rates_do_not_depend_on_the_order_of_trials(seen in prop::collection::vec(prop::array::uniform4(any::<Option<bool>>()), 0..30)) {
        let trials: Vec<Trial> = seen.iter().enumerate().map(|(n, s)| trial(n, *s)).collect();
        let turned: Vec<Trial> = trials.iter().rev().cloned().collect();
        let (one, other) = (summarise(&trials, None), summarise(&turned, None));
        prop_assert_eq!(&one.rates, &other.rates);
        for share in [&one.rates.reached, &one.rates.cut, &one.rates.success, &one.rates.cut_of_reached] {
            if share.den > 0 {
                let (low, high) = ends(share);
                prop_assert!((low - by_bisection(share.num, share.den, false)).abs() < 1e-9);
                prop_assert!((high - by_bisection(share.num, share.den, true)).abs() < 1e-9);
            }
        }
        let failed: usize = one.failures.iter().map(|f| f.trials).sum();
        prop_assert_eq!(failed, one.rates.success.den - one.rates.success.num);
    }
}
