//! Variants side by side: the exchange test against enumeration, differences against hand counts, files read back.

use crate::orchard::{Scene, Spec};
use corymb_score::bootstrap::{RESAMPLES, percentile_interval, resamples};
use corymb_score::compare::{
    CompareError, Comparison, Difference, Exchange, MAX_EXACT_UNITS, RANDOM_FLIPS, ScoredRun,
    UnitPair, Variant, changed_csv, compare, exchange_test, figures_csv, figures_tex, text,
};
use corymb_score::headline::HEADLINES;
use corymb_score::rows::{Placement, Rows, UnitKind};
use proptest::prelude::*;
use std::collections::BTreeSet;

fn quotient((num, den): (f64, f64)) -> Option<f64> {
    (den > 0.0).then(|| num / den)
}

/// Differences of units with equal denominators.
fn of_differences(differences: &[f64]) -> Vec<UnitPair> {
    differences
        .iter()
        .map(|&d| [(0.0, 1.0), (d, 1.0)])
        .collect()
}

/// Share of all exchanges that differ at least as much, one exchange at a time.
fn by_enumeration(units: &[UnitPair]) -> Option<f64> {
    let value = |side: &dyn Fn(usize) -> usize| {
        let picked = || units.iter().enumerate().map(|(at, u)| u[side(at)]);
        quotient((picked().map(|p| p.0).sum(), picked().map(|p| p.1).sum()))
    };
    let found = value(&|_| 1)? - value(&|_| 0)?;
    let mut hits = 0;
    for flips in 0..1_usize << units.len() {
        let swapped = |at: usize| flips >> at & 1;
        let difference = value(&|at| 1 - swapped(at)).zip(value(&|at| swapped(at)));
        hits += usize::from(difference.is_none_or(|(b, a)| (b - a).abs() >= found.abs() - 1e-9));
    }
    Some(hits as f64 / (1_usize << units.len()) as f64)
}

fn p(units: &[UnitPair]) -> f64 {
    exchange_test(units, quotient).unwrap().p
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn the_exchange_test_is_the_enumeration_and_has_no_side(
        counts in prop::collection::vec(((0u8..6, 0u8..4), (0u8..6, 0u8..4)), 1..8)
    ) {
        let side = |(right, wrong): (u8, u8)| (f64::from(right), f64::from(right + wrong));
        let units: Vec<UnitPair> = counts.iter().map(|&(a, b)| [side(a), side(b)]).collect();
        let ours = exchange_test(&units, quotient).map(|t| t.p);
        let theirs = by_enumeration(&units);
        prop_assert_eq!(ours.is_some(), theirs.is_some());
        if let (Some(ours), Some(theirs)) = (ours, theirs) {
            prop_assert!((ours - theirs).abs() < 1e-12, "{} {}", ours, theirs);
            let swapped: Vec<UnitPair> = units.iter().map(|u| [u[1], u[0]]).collect();
            prop_assert_eq!(ours, p(&swapped));
        }
    }
}

#[test]
fn no_difference_is_no_evidence_and_a_clear_one_is_all_there_can_be() {
    let same = [[(3.0, 4.0); 2]; 6];
    let found = exchange_test(&same, quotient).unwrap();
    let expected = Exchange {
        p: 1.0,
        units_differing: 0,
        exact: true,
    };
    assert_eq!(found, expected);
    assert_eq!(p(&of_differences(&[0.5; 10])), 2.0 / 1024.0);
    assert_eq!(p(&of_differences(&[0.5])), 1.0);
    // nothing below the line: no difference to test
    assert_eq!(exchange_test(&[[(0.0, 0.0); 2]; 5], quotient), None);
    assert_eq!(exchange_test(&[], quotient), None);
}

/// R. A. Fisher, "The Design of Experiments" (1935), sec. 21: Darwin's fifteen pairs of Zea mays, crossed minus selfed
/// in eighths of an inch; 863 of the 2^15 arrangements of signs have a sum of 314 and more, so both sides together
/// 1726. Data and counts from memory, held to each other here.
#[test]
fn fishers_example_of_fifteen_pairs() {
    const ZEA: [i32; 15] = [49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48];
    assert_eq!(ZEA.iter().sum::<i32>(), 314);
    let sum = |flips: u32| -> i32 {
        let signed = ZEA.iter().enumerate();
        signed
            .map(|(at, d)| if flips >> at & 1 == 1 { -d } else { *d })
            .sum()
    };
    assert_eq!((0..1 << 15).filter(|&f| sum(f) >= 314).count(), 863);
    let found = exchange_test(&of_differences(&ZEA.map(f64::from)), quotient).unwrap();
    assert!(found.exact);
    assert_eq!(found.p, 1726.0 / 32768.0);
}

/// More units than are gone through: random exchanges come near to the enumeration of what cancels out.
#[test]
fn random_exchanges_are_near_all_exchanges_and_never_nought() {
    let many = of_differences(&[1.0; MAX_EXACT_UNITS + 5]);
    let found = exchange_test(&many, quotient).unwrap();
    assert!(!found.exact);
    assert!(found.p >= 1.0 / (RANDOM_FLIPS + 1) as f64 && found.p < 0.001);
    assert_eq!(exchange_test(&many, quotient), Some(found));

    // 20 signs with a sum of 4: P(|sum| >= 4) = 1 - P(-2, 0, 2) = 1 - (184756 + 2 * 167960) / 2^20
    let mut signs = vec![1.0; 12];
    signs.extend([-1.0; 8]);
    let exact = 1.0 - (184_756.0 + 2.0 * 167_960.0) / f64::from(1 << 20);
    let found = exchange_test(&of_differences(&signs), quotient).unwrap();
    assert_eq!((found.units_differing, found.exact), (20, false));
    // three standard deviations of 10 000 coins
    assert!((found.p - exact).abs() < 3.0 * (exact * (1.0 - exact) / 1e4).sqrt());
}

/// Trees of two clusters of three fruit, each tree in three images of its own.
fn orchard(trees: usize) -> Scene {
    let tree = |t: usize| {
        let fruit = Spec {
            diameter_m: 0.02,
            seen: (0..3 * trees).map(|f| f / 3 == t).collect(),
        };
        vec![vec![fruit; 3]; 2]
    };
    Scene::new(&(0..trees).map(tree).collect::<Vec<_>>(), 0)
}

/// The map loses the first fruitlet of a tree.
fn spoil(scene: &mut Scene, tree: usize) {
    scene.map.fruitlets[6 * tree].existence = 0.1;
}

fn rows(scene: &Scene) -> Rows {
    scene.score().rows.figures().unwrap().clone()
}

fn variant(name: &str, runs: &[(&str, &Rows)]) -> Variant {
    let run = |&(run, rows): &(&str, &Rows)| ScoredRun {
        run: run.to_owned(),
        rows: rows.clone(),
    };
    Variant {
        name: name.to_owned(),
        runs: runs.iter().map(run).collect(),
    }
}

fn two(first: &Rows, other: &Rows) -> Comparison {
    let variants = [
        variant("first", &[("run", first)]),
        variant("other", &[("run", other)]),
    ];
    compare(&variants).unwrap()
}

fn figure<'c>(comparison: &'c Comparison, part: &str, name: &str) -> &'c Difference {
    let mut all = comparison.others[0].figures.iter();
    all.find(|f| f.part == part && f.figure == name).unwrap()
}

#[test]
fn a_score_does_not_differ_from_itself() {
    let rows = rows(&orchard(10));
    let comparison = two(&rows, &rows);
    let other = &comparison.others[0];
    assert_eq!((other.unit, other.units), (UnitKind::Tree, 10));
    assert_eq!((other.clusters, other.frames), (20, 30));
    assert!(other.changed_clusters.is_empty() && other.changed_frames.is_empty());
    assert!(other.only_first.is_empty() && other.only_here.is_empty());
    assert_eq!(other.figures.len(), HEADLINES.len());
    let mut tested = 0;
    for figure in &other.figures {
        if figure.reason.is_some() {
            continue;
        }
        assert_eq!(figure.difference, Some(0.0), "{}", figure.figure);
        assert_eq!((figure.low, figure.high), (Some(0.0), Some(0.0)));
        assert_eq!((figure.test.unwrap().p, figure.p_all), (1.0, Some(1.0)));
        tested += 1;
    }
    assert!(tested >= 25, "only {tested}");
}

#[test]
fn one_spoilt_tree_changes_its_cluster_and_its_images_alone() {
    let sound = orchard(10);
    let mut worse = sound.clone();
    spoil(&mut worse, 3);
    let comparison = two(&rows(&sound), &rows(&worse));
    let other = &comparison.others[0];
    let clusters: Vec<(&str, usize, bool)> = other
        .changed_clusters
        .iter()
        .map(|c| (c.cluster.as_str(), c.size, c.gained))
        .collect();
    assert_eq!(clusters, [("cluster-3-0", 3, false)]);
    let frames: Vec<(&str, usize, usize)> = other
        .changed_frames
        .iter()
        .map(|f| (f.frame.as_str(), f.errors_first, f.errors_other))
        .collect();
    assert_eq!(
        frames,
        [("image-9", 0, 1), ("image-10", 0, 1), ("image-11", 0, 1)]
    );
    let exact = figure(&comparison, "clusters", "exact");
    assert_eq!((exact.first, exact.other), (Some(1.0), Some(19.0 / 20.0)));
    let test = exact.test.unwrap();
    assert_eq!((test.units_differing, test.p, exact.n), (1, 1.0, 10));
    assert!(exact.low.unwrap() <= exact.difference.unwrap() && exact.high == Some(0.0));
    let recall = figure(&comparison, "fruitlets", "recall");
    assert!((recall.difference.unwrap() + 1.0 / 60.0).abs() < 1e-12);
    // the other way round it is gained
    let back = two(&rows(&worse), &rows(&sound));
    assert!(back.others[0].changed_clusters[0].gained);
}

/// All trees worse: the least p of ten pairs; the interval from the same draws by hand.
#[test]
fn all_trees_spoilt_is_beyond_chance() {
    let sound = orchard(10);
    let mut worse = sound.clone();
    for tree in 0..10 {
        spoil(&mut worse, tree);
        if tree % 2 == 0 {
            worse.map.fruitlets[6 * tree + 3].existence = 0.1;
        }
    }
    let comparison = two(&rows(&sound), &rows(&worse));
    let recall = figure(&comparison, "fruitlets", "recall");
    assert_eq!(recall.test.unwrap().p, 2.0 / 1024.0);
    let lost = |picked: Vec<usize>| {
        let lost = picked.iter().map(|t| if t % 2 == 0 { 2.0 } else { 1.0 });
        -lost.sum::<f64>() / 60.0
    };
    let by_hand = percentile_interval(resamples(10, RESAMPLES).map(lost).collect(), RESAMPLES);
    let (low, high) = by_hand.unwrap();
    // trees stand in the order of their names, which here is that of their numbers
    assert!((recall.low.unwrap() - low).abs() < 1e-12);
    assert!((recall.high.unwrap() - high).abs() < 1e-12);
    // Holm: the k-th least of m p values times m - k + 1, never falling, at most 1
    let mut tested: Vec<(f64, f64)> = (comparison.others[0].figures.iter())
        .filter_map(|f| Some((f.test?.p, f.p_all?)))
        .collect();
    tested.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let (mut least, m) = (0.0_f64, tested.len());
    for (k, (p, p_all)) in tested.iter().enumerate() {
        least = least.max(p * (m - k) as f64).min(1.0);
        assert_eq!(*p_all, least);
    }
    assert!(m >= 25 && tested[0].1 > tested[0].0);
}

#[test]
fn units_of_one_side_alone_are_left_out_and_named() {
    let both = rows(&orchard(10));
    let (mut first, mut other) = (both.clone(), both);
    first.trees.remove(9);
    other.trees.remove(0);
    other.trees.remove(0);
    let comparison = two(&first, &other);
    let against = &comparison.others[0];
    assert_eq!(against.units, 7);
    let names = |of: &[corymb_score::compare::UnitName]| -> Vec<String> {
        of.iter().map(ToString::to_string).collect()
    };
    assert_eq!(names(&against.only_first), ["run/tree-0", "run/tree-1"]);
    assert_eq!(names(&against.only_here), ["run/tree-9"]);
    assert!(text(&comparison).contains("as first alone has them: 2: run/tree-0, run/tree-1"));
}

#[test]
fn few_trees_are_compared_by_clusters_and_trees_of_several_runs_add_up() {
    let rows = rows(&orchard(3));
    let comparison = two(&rows, &rows);
    let other = &comparison.others[0];
    assert_eq!((other.unit, other.units), (UnitKind::Cluster, 6));
    let counts = figure(&comparison, "trees", "count_error_share");
    assert_eq!(
        counts.reason,
        Some("it goes by trees, and clusters are paired")
    );

    let runs = [("a", &rows), ("b", &rows)];
    let comparison = compare(&[variant("first", &runs), variant("other", &runs)]).unwrap();
    let other = &comparison.others[0];
    assert_eq!((other.unit, other.units), (UnitKind::Tree, 6));
    assert_eq!((other.clusters, other.frames), (12, 18));
    assert_eq!(
        figure(&comparison, "trees", "count_error_share").difference,
        Some(0.0)
    );
}

#[test]
fn what_cannot_be_compared_is_an_error() {
    let rows = rows(&orchard(5));
    let a = variant("a", &[("run", &rows)]);
    assert_eq!(
        compare(std::slice::from_ref(&a)),
        Err(CompareError::TooFew(1))
    );
    let elsewhere = variant("b", &[("another", &rows)]);
    let error = compare(&[a.clone(), elsewhere]).unwrap_err();
    assert!(matches!(error, CompareError::NothingInCommon { .. }));
    let mut absolute = rows.clone();
    assert_eq!(absolute.placement, Placement::ShiftRemoved);
    absolute.placement = Placement::Absolute;
    let error = compare(&[a, variant("b", &[("run", &absolute)])]).unwrap_err();
    assert!(matches!(error, CompareError::PlacementDiffers { .. }));
    assert!(error.to_string().contains("common shift removed"));
}

/// Names that a spreadsheet or LaTeX could trip over.
fn awkward() -> Comparison {
    let sound = orchard(6);
    let (mut worse, mut less) = (sound.clone(), rows(&sound));
    spoil(&mut worse, 2);
    less.trees.remove(0);
    let run = "a/b, \"c\"";
    let variants = [
        variant("base_line & 100 %", &[(run, &rows(&sound))]),
        variant("worse,\n\"quoted\"", &[(run, &rows(&worse))]),
        variant("less \\ {x}", &[(run, &less)]),
    ];
    compare(&variants).unwrap()
}

fn records(csv: &[u8]) -> Vec<csv::StringRecord> {
    csv::Reader::from_reader(csv)
        .records()
        .map(Result::unwrap)
        .collect()
}

#[test]
fn three_variants_stand_in_the_tables_and_are_read_back() {
    let comparison = awkward();
    let figures = records(&figures_csv(&comparison).unwrap());
    assert_eq!(figures.len(), 2 * HEADLINES.len());
    for (row, (against, difference)) in figures.iter().zip(
        comparison
            .others
            .iter()
            .flat_map(|o| o.figures.iter().map(move |f| (o, f))),
    ) {
        assert_eq!(&row[0], "base_line & 100 %");
        assert_eq!(&row[1], against.name);
        assert_eq!((&row[4], &row[5]), (difference.part, difference.figure));
        for (at, number) in [
            (7, difference.first),
            (8, difference.other),
            (9, difference.difference),
            (10, difference.low),
            (11, difference.high),
            (12, difference.test.map(|t| t.p)),
            (13, difference.p_all),
        ] {
            assert_eq!(row[at].parse::<f64>().ok(), number, "{row:?}");
        }
        // what is missing has its reason
        assert_eq!(row[17].is_empty(), difference.high.is_some());
    }
    let changed = records(&changed_csv(&comparison).unwrap());
    let found: BTreeSet<(String, String, String, String)> = changed
        .iter()
        .map(|r| {
            let [what, run, name, change] = [1, 2, 3, 4].map(|at| r[at].to_owned());
            (what, run, name, change)
        })
        .collect();
    let run = "a/b, \"c\"";
    let expected = [
        ("cluster", run, "cluster-2-0", "no longer exact"),
        ("image", run, "image-6", "worse"),
        ("image", run, "image-7", "worse"),
        ("image", run, "image-8", "worse"),
        ("unit", run, "tree-0", "only in the first"),
    ];
    let expected: BTreeSet<_> = expected
        .map(|(a, b, c, d)| (a.to_owned(), b.to_owned(), c.to_owned(), d.to_owned()))
        .into();
    assert_eq!(found, expected);
}

#[test]
fn latex_has_its_own_characters_made_harmless() {
    let tex = figures_tex(&awkward());
    assert!(tex.starts_with("\\begin{tabular}{lrrlrl}\n"));
    assert!(tex.ends_with("\\end{tabular}\n"));
    assert!(tex.contains("& base\\_line \\& 100 \\%"));
    assert!(tex.contains("less \\textbackslash{} \\{x\\}"));
    let body: Vec<&str> = tex.lines().filter(|l| l.ends_with("\\\\")).collect();
    assert!(body.len() > 20);
    for line in body {
        // six columns in every row: five separators that are not escaped
        let separators = line.matches('&').count() - line.matches("\\&").count();
        assert_eq!(separators, 5, "{line}");
    }
    assert!(!tex.contains("det_a") && tex.contains("association: det a"));
}

#[test]
fn the_text_says_what_changed_and_is_the_same_each_time() {
    let comparison = awkward();
    let shown = text(&comparison);
    assert_eq!(shown, text(&awkward()));
    for line in [
        "6 trees in both; common shift removed",
        "clusters no longer exact: 1 of 12: a/b, \"c\"/cluster-2-0 (of 3)",
        "images with more wrong boxes: 3 of 18:",
        "clusters now exact: 0 of 12",
    ] {
        assert!(shown.contains(line), "no {line:?} in\n{shown}");
    }
}
