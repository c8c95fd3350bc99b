//! Tracks by overlap against the reference evaluators.

use crate::stored::{Greatest, path, rows, stored};
use corymb_score::clear::{clear_mot, identity_boxes};
use corymb_score::tracking::{TrackedBox, TrackedFrame, swept_hota};
use proptest::prelude::*;
use serde_json::Value;
use std::collections::BTreeMap;

/// A sequence in the text form of `fixtures/reference/tracking`: image -> boxes.
fn read(name: &str) -> BTreeMap<u32, Vec<TrackedBox>> {
    let text = std::fs::read_to_string(path("tracking").join(name)).unwrap();
    let mut images = BTreeMap::<u32, Vec<TrackedBox>>::new();
    for line in text.lines() {
        let cells: Vec<f64> = line.split(',').map(|c| c.parse().unwrap()).collect();
        let [x, y, w, h] = [cells[2], cells[3], cells[4], cells[5]];
        images.entry(cells[0] as u32).or_default().push(TrackedBox {
            id: cells[1] as usize,
            box_px: [x, y, x + w, y + h],
        });
    }
    images
}

fn sequence(name: &str) -> Vec<TrackedFrame> {
    let (truth, claims) = (
        read(&format!("{name}.gt.txt")),
        read(&format!("{name}.test.txt")),
    );
    let last = *truth.keys().chain(claims.keys()).max().unwrap();
    let of =
        |side: &BTreeMap<u32, Vec<TrackedBox>>, k: u32| side.get(&k).cloned().unwrap_or_default();
    (1..=last)
        .map(|k| TrackedFrame {
            truth: of(&truth, k),
            claims: of(&claims, k),
        })
        .collect()
}

fn listed(frames: &Value) -> Vec<TrackedFrame> {
    let one = |b: &Value| TrackedBox {
        id: b[0].as_u64().unwrap() as usize,
        box_px: [1, 2, 3, 4].map(|i| b[i].as_f64().unwrap()),
    };
    let side = |f: &Value, k: usize| rows(&f[k]).iter().map(one).collect();
    rows(frames)
        .iter()
        .map(|f| TrackedFrame {
            truth: side(f, 0),
            claims: side(f, 1),
        })
        .collect()
}

/// motmetrics and the reference HOTA code (versions in the file) on two short sequences and on random ones.
#[test]
fn sequences_score_as_in_the_reference_evaluators() {
    let (file, tolerance) = stored("tracking.json");
    let mut greatest = Greatest::default();
    for case in rows(&file["cases"]) {
        let name = case["name"].as_str().unwrap();
        let frames = case.get("frames").map_or_else(|| sequence(name), listed);
        let (clear, identity) = (clear_mot(&frames, 0.5), identity_boxes(&frames, 0.5));
        for (figure, ours) in [
            ("num_objects", clear.truth),
            ("num_false_positives", clear.false_ones()),
            ("num_misses", clear.misses()),
            ("num_switches", clear.switches),
            ("num_fragmentations", clear.fragmentations),
        ] {
            assert_eq!(case["clear"][figure], ours, "{name}: {figure}");
        }
        for (figure, ours) in [
            ("mota", clear.mota()),
            ("mean_overlap", clear.motp()),
            ("idf1", identity.f1()),
            ("idp", identity.precision()),
            ("idr", identity.recall()),
        ] {
            greatest.compare(
                &format!("{name}: {figure}"),
                ours,
                &case["clear"][figure],
                tolerance,
            );
        }
        let hota = swept_hota(&frames).unwrap();
        for (k, (_, parts)) in hota.at.iter().enumerate() {
            for (figure, ours) in [
                ("hota", parts.hota),
                ("det_a", parts.det_a),
                ("ass_a", parts.ass_a),
                ("loc_a", parts.loc_a),
            ] {
                let what = format!("{name}: {figure} {k}");
                greatest.compare(&what, Some(ours), &case["hota"][figure][k], tolerance);
            }
        }
    }
    println!(
        "greatest difference {:e} of {}",
        greatest.difference, greatest.compared
    );
    assert!(greatest.compared > 1000);
}

/// The means over the overlaps of the two public sequences, as the reference HOTA code prints them.
#[test]
fn the_public_sequences_have_their_known_hota() {
    for (name, [hota, det_a, ass_a]) in [
        ("TUD-Campus", [0.39140, 0.41805, 0.36912]),
        ("TUD-Stadtmitte", [0.39785, 0.39227, 0.40884]),
    ] {
        let mean = swept_hota(&sequence(name)).unwrap().mean;
        for (ours, theirs) in [(mean.hota, hota), (mean.det_a, det_a), (mean.ass_a, ass_a)] {
            assert!(
                (ours - theirs).abs() < 5.1e-6,
                "{name}: {ours}, elsewhere {theirs}"
            );
        }
    }
}

#[test]
fn nothing_at_all_has_no_figures() {
    let frames = [TrackedFrame::default(), TrackedFrame::default()];
    assert!(swept_hota(&frames).is_none());
    let (clear, identity) = (clear_mot(&frames, 0.5), identity_boxes(&frames, 0.5));
    assert_eq!(
        (clear.mota(), clear.motp(), identity.f1()),
        (None, None, None)
    );
}

/// Boxes on a coarse lattice, so that they often overlap; an identity once an image.
fn frames() -> impl Strategy<Value = Vec<TrackedFrame>> {
    let boxes = || {
        prop::collection::btree_map(0usize..5, (0u8..12, 0u8..12, 4u8..8, 4u8..8), 0..5).prop_map(
            |m| {
                m.into_iter()
                    .map(|(id, (x, y, w, h))| TrackedBox {
                        id,
                        box_px: [x, y, x + w, y + h].map(f64::from),
                    })
                    .collect()
            },
        )
    };
    let frame = (boxes(), boxes()).prop_map(|(truth, claims)| TrackedFrame { truth, claims });
    prop::collection::vec(frame, 1..8)
}

proptest! {
    #[test]
    fn truth_claimed_under_other_names_is_perfect(mut frames in frames()) {
        for frame in &mut frames {
            frame.claims = frame.truth.iter().map(|b| TrackedBox { id: 40 - b.id, ..*b }).collect();
        }
        let clear = clear_mot(&frames, 0.5);
        prop_assert_eq!((clear.misses(), clear.false_ones(), clear.switches), (0, 0, 0));
        if let Some(hota) = swept_hota(&frames) {
            for (_, parts) in hota.at {
                prop_assert!((parts.hota - 1.0).abs() < 1e-12 && (parts.loc_a - 1.0).abs() < 1e-12);
            }
            prop_assert_eq!(identity_boxes(&frames, 0.5).f1(), Some(1.0));
        }
    }

    /// Asking for more overlap never helps, and no figure leaves its range.
    #[test]
    fn figures_keep_their_ranges(frames in frames()) {
        if let Some(hota) = swept_hota(&frames) {
            prop_assert!(hota.at.windows(2).all(|w| w[1].1.det_a <= w[0].1.det_a));
            for (alpha, parts) in hota.at {
                for v in [parts.hota, parts.det_a, parts.ass_a] {
                    prop_assert!((0.0..=1.0 + 1e-12).contains(&v));
                }
                prop_assert!(parts.loc_a >= alpha - 1e-12);
            }
        }
        let (clear, identity) = (clear_mot(&frames, 0.5), identity_boxes(&frames, 0.5));
        prop_assert!(identity.right <= identity.truth.min(identity.claims));
        prop_assert!(clear.pairs <= clear.truth.min(clear.claims));
        prop_assert!(clear.switches <= clear.pairs);
    }
}
