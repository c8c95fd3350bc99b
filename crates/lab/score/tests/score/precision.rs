//! Average precision against the COCO evaluation code.

use crate::stored::{Greatest, rows, stored};
use corymb_score::overlap::area_px2;
use corymb_score::precision::{
    Claimed, Fate, ImageBoxes, Wanted, mean_average_precision, overlaps, precision_curve,
};
use proptest::prelude::*;
use serde_json::Value;

fn a_box(value: &Value) -> [f64; 4] {
    [0, 1, 2, 3].map(|i| value[i].as_f64().unwrap())
}

fn image(value: &Value) -> ImageBoxes {
    let wanted = |t: &Value| Wanted {
        box_px: a_box(&t[1]),
        required: t[0] == "required",
        region: t[0] == "region",
    };
    let claimed = |c: &Value| Claimed {
        box_px: a_box(&c[1]),
        score: c[0].as_f64().unwrap(),
        may_be_false: true,
    };
    ImageBoxes::new(
        rows(&value["truth"]).iter().map(wanted).collect(),
        rows(&value["claims"]).iter().map(claimed).collect(),
    )
}

/// pycocotools (version in the file): random scenes with equal scores, boxes that need not be found, regions left out,
/// and ranges of size.
#[test]
fn scenes_score_as_in_the_reference_code() {
    let (file, tolerance) = stored("precision.json");
    let mut greatest = Greatest::default();
    for (n, case) in rows(&file["cases"]).iter().enumerate() {
        let all: Vec<ImageBoxes> = rows(&case["images"]).iter().map(image).collect();
        for bin in rows(&case["by_side"]) {
            let [low, high] = [0, 1].map(|i| bin["sides_px"][i].as_f64().unwrap());
            let is_in = |b: &[f64; 4]| (low..=high).contains(&area_px2(b).sqrt());
            let images: Vec<ImageBoxes> = all
                .iter()
                .map(|i| i.restricted(|_, w| is_in(&w.box_px), |_, c| is_in(&c.box_px)))
                .collect();
            for (k, least) in overlaps().into_iter().enumerate() {
                let curve = precision_curve(&images, least);
                let what = format!("scene {n}, sides {low} to {high}, overlap {least}");
                let ap = &bin["average_precision"][k];
                greatest.compare(&what, curve.average_precision, ap, tolerance);
                let recall =
                    (curve.required > 0).then(|| curve.right as f64 / curve.required as f64);
                greatest.compare(&what, recall, &bin["recall"][k], tolerance);
            }
        }
    }
    println!(
        "greatest difference {:e} of {}",
        greatest.difference, greatest.compared
    );
    assert!(greatest.compared > 2000);
}

fn wanted(box_px: [f64; 4]) -> Wanted {
    Wanted {
        box_px,
        required: true,
        region: false,
    }
}

fn claimed(box_px: [f64; 4], score: f64) -> Claimed {
    Claimed {
        box_px,
        score,
        may_be_false: true,
    }
}

/// Two of three found, a false one between them: precision 1 up to a recall of 1/3, 2/3 up to 2/3, then none.
#[test]
fn average_precision_by_hand() {
    let at = |x: f64| [x, 0.0, x + 10.0, 10.0];
    let image = ImageBoxes::new(
        vec![wanted(at(0.0)), wanted(at(20.0)), wanted(at(40.0))],
        vec![
            claimed(at(20.0), 0.5),
            claimed(at(80.0), 0.7),
            claimed(at(0.0), 0.9),
        ],
    );
    assert_eq!(
        image.fates(0.5),
        [Fate::Right(1), Fate::False, Fate::Right(0)]
    );
    let expected = (34.0 + 33.0 * 2.0 / 3.0) / 101.0;
    assert!((mean_average_precision(&[image]).unwrap() - expected).abs() < 1e-12);
}

#[test]
fn where_nothing_is_required_nothing_is_defined() {
    let image = ImageBoxes::new(Vec::new(), vec![claimed([0.0, 0.0, 1.0, 1.0], 0.5)]);
    assert_eq!(
        precision_curve(std::slice::from_ref(&image), 0.5).average_precision,
        None
    );
    assert_eq!(mean_average_precision(&[image]), None);
}

#[test]
fn a_left_out_region_excuses_any_number_of_claims() {
    let region = Wanted {
        box_px: [0.0, 0.0, 50.0, 50.0],
        required: false,
        region: true,
    };
    let inside = |x: f64| claimed([x, 0.0, x + 10.0, 10.0], 0.5);
    let image = ImageBoxes::new(vec![region], vec![inside(0.0), inside(30.0), inside(46.0)]);
    assert_eq!(
        image.fates(0.5),
        [Fate::LeftOut, Fate::LeftOut, Fate::False]
    );
}

fn boxes() -> impl Strategy<Value = Vec<[f64; 4]>> {
    let one = (0u8..30, 0u8..30, 5u8..15, 5u8..15)
        .prop_map(|(x, y, w, h)| [x, y, x + w, y + h].map(f64::from));
    prop::collection::vec(one, 1..8)
}

proptest! {
    /// Every right box is worth no less than it was if a false one, less sure than all others, is added.
    #[test]
    fn a_false_box_below_all_others_changes_nothing(truth in boxes(), found in boxes()) {
        let wanted: Vec<Wanted> = truth.into_iter().map(wanted).collect();
        let mut claims: Vec<Claimed> = found.iter().enumerate().map(|(k, b)| claimed(*b, 0.5 + k as f64 / 20.0)).collect();
        let before = mean_average_precision(&[ImageBoxes::new(wanted.clone(), claims.clone())]);
        claims.push(claimed([100.0, 100.0, 110.0, 110.0], 0.1));
        prop_assert_eq!(before, mean_average_precision(&[ImageBoxes::new(wanted, claims)]));
    }

    #[test]
    fn truth_claimed_is_perfect(truth in boxes()) {
        let claims = truth.iter().map(|b| claimed(*b, 0.5)).collect();
        let image = ImageBoxes::new(truth.into_iter().map(wanted).collect(), claims);
        prop_assert!((mean_average_precision(&[image]).unwrap() - 1.0).abs() < 1e-12);
    }

    /// A true box is found once, and each claim has one fate.
    #[test]
    fn a_true_box_is_found_once(truth in boxes(), found in boxes()) {
        let required = truth.len();
        let claims: Vec<Claimed> = found.iter().map(|b| claimed(*b, 0.5)).collect();
        let image = ImageBoxes::new(truth.into_iter().map(wanted).collect(), claims);
        let fates = image.fates(0.3);
        let mut right: Vec<usize> = fates.iter().filter_map(|f| match f { Fate::Right(w) => Some(*w), _ => None }).collect();
        right.sort_unstable();
        let all = right.len();
        right.dedup();
        prop_assert!(right.len() == all && all <= required);
    }
}
