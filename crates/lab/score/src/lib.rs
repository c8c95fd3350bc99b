//! The output of a run against truth, stage by stage.
//!
//! [`score`] compares a crop map, decisions and a task list with the truth of a run: which fruit is there, where, how
//! large and which way it hangs; which boxes were held to be the same fruit; stems, clusters, kings, trees and counts;
//! what the decisions would leave and what the orders would really do. Every share carries its counts and a 95 % Wilson
//! interval, and a figure that is not defined is `null` with a reason.
//!
//! Figures that depend on places are given twice: absolute, and with the slow common shift of the map taken away, which
//! no estimator can see in the boxes and which a machine that finds its place again does not suffer from.
//!
//! A true fruitlet is *considered*, that is expected in the map, where body boxes of at least two images show it.
//!
//! Truth may be partial. Labels of detections hold; where an image has true boxes alone, labels follow from overlap.
//! Images without labels and left-out regions count for nothing. Objects that only have a name take part in everything
//! that goes by identity and in nothing that goes by place; without any place, and without any label, the parts that
//! would need them are absent and say why.

mod allowance;
mod association;
pub mod bootstrap;
mod calibration;
mod carried_out;
mod case;
pub mod clear;
mod closing;
mod clusters;
pub mod compare;
mod counts;
mod cylinder;
pub mod details;
mod detector;
pub mod figure;
mod files;
mod fruit;
pub mod headline;
mod identity;
mod input;
mod labels;
mod matching;
mod neighbours;
mod orientation;
mod over_units;
pub mod overlap;
mod pairing;
mod partition;
mod parts;
pub mod precision;
mod reach;
mod render;
pub mod rows;
mod scores;
mod shift;
mod thinned;
pub mod tracking;
mod tracks;
mod trees;
pub mod trials;
mod way;

pub use association::{AssociationScores, BoxAssociation, box_association};
pub use bootstrap::{Interval, Intervals};
pub use calibration::CalibrationScores;
pub use carried_out::OrderScores;
pub use clusters::{ClusterScores, KingScores};
pub use counts::{CountErrors, CountScores, CountedBy, PlaceCount, PlaceKind};
pub use details::{Details, details};
pub use detector::{AtOverlap, DetectorScores, EdgeErrors, InBin, JudgedBy, KindOfBox};
pub use files::{clusters_csv, frames_csv, scores_csv, units_csv};
pub use fruit::FruitScores;
pub use identity::IdentityScores;
pub use input::ScoreInput;
pub use labels::LEAST_IMAGES;
pub use orientation::OrientationScores;
pub use partition::{PartitionScores, compare_partitions};
pub use parts::{PartPairing, PartScores};
pub use render::render_table;
pub use scores::{Part, PlacedScores, Scores, ShiftScores, TruthScores};
pub use thinned::{DecisionScores, TreeLoadScore};
pub use tracks::{HotaAtOverlap, TrackingScores};
pub use trees::TreeScores;

use allowance::Allowance;
use association::{Claims, association};
use case::{Case, TrueClusters};
use corymb_model::map::CropMap;
use figure::{Figure, Spread};
use labels::Labels;
use matching::Matching;
use rows::{Judged, Placement, Rows};
use shift::{CommonShift, Moved};
use std::collections::BTreeSet;

const NO_MAP: &str = "no map was given";
const NO_PLACES: &str = "the truth states no places";

/// Scores the output of a run. Whatever is not in `input` is absent from the score, with the reason, and so is
/// whatever the truth says too little for.
///
/// Works on any input of the right types; O(boxes log boxes) for the map and, for each order, the fruit, limbs and
/// obstacles about it.
#[must_use]
pub fn score(input: &ScoreInput<'_>) -> Scores {
    let labels = Labels::of(input.run, input.truth);
    let clusters = TrueClusters::of(input.truth, &labels);
    let mut scores = Scores {
        truth: truth_scores(input, &labels),
        detector: detector::detector(input),
        association: Part::absent(NO_MAP),
        by_identity: Part::absent(NO_MAP),
        tracking: Part::absent(NO_MAP),
        absolute: Part::absent(NO_MAP),
        common_shift: Part::absent(NO_MAP),
        shift_removed: Part::absent(NO_MAP),
        counts: Part::absent(NO_MAP),
        intervals: Part::absent(NO_MAP),
        rows: Part::absent(NO_MAP),
    };
    if let Some(map) = input.map {
        let claims = Claims::of(map, |at| input.run.detection(at).is_some());
        match labels.no_identities {
            Some(because) => {
                scores.association = Part::absent(because);
                scores.by_identity = Part::absent(because);
            }
            None => {
                scores.association = Part::scored(association(&claims, &labels));
                scores.by_identity = Part::scored(identity::by_identity(input, map, &labels));
            }
        }
        scores.tracking = tracks::tracks(input, &claims);
        scores.counts = counts::counts(input, map, &labels);
        scores.place(&Judging {
            input,
            map,
            labels: &labels,
            claims: &claims,
            clusters: &clusters,
        });
    }
    scores
}

/// What is the same however the map lies.
struct Judging<'a> {
    input: &'a ScoreInput<'a>,
    map: &'a CropMap,
    labels: &'a Labels<'a>,
    claims: &'a Claims,
    clusters: &'a TrueClusters,
}

impl Judging<'_> {
    fn placed(&self, moved: &Moved, placement: Placement) -> (PlacedScores, Rows) {
        let case = Case {
            input: self.input,
            map: self.map,
            labels: self.labels,
            claims: self.claims,
            clusters: self.clusters,
            moved,
            matching: Matching::of(self.map, moved, self.input.truth, self.labels),
        };
        placed_scores(&case, placement)
    }
}

impl Scores {
    /// Fills in the parts that depend on places.
    fn place(&mut self, judging: &Judging<'_>) {
        let (map, truth) = (judging.map, judging.input.truth);
        if truth.fruitlets.is_empty() {
            self.absolute = Part::absent(NO_PLACES);
            self.common_shift = Part::absent(NO_PLACES);
            self.shift_removed = Part::absent(NO_PLACES);
            self.intervals = Part::absent(NO_PLACES);
            self.rows = Part::absent(NO_PLACES);
            return;
        }
        let (absolute, mut rows) = judging.placed(&Moved::nothing(map), Placement::Absolute);
        self.absolute = Part::scored(absolute);
        match CommonShift::of(map, truth, judging.labels) {
            Ok(shift) => {
                let moved = Moved::by(&shift, map);
                self.common_shift = Part::scored(shift_scores(&shift, &moved, map));
                let (scores, moved_rows) = judging.placed(&moved, Placement::ShiftRemoved);
                self.shift_removed = Part::scored(scores);
                rows = moved_rows;
            }
            Err(because) => {
                self.common_shift = Part::absent(because.clone());
                self.shift_removed = Part::absent(because);
            }
        }
        self.intervals = Part::scored(bootstrap::intervals(&rows));
        self.rows = Part::scored(rows);
    }
}

fn truth_scores(input: &ScoreInput<'_>, labels: &Labels<'_>) -> TruthScores {
    let truth = input.truth;
    let objects = 0..truth.objects();
    let expected: Vec<usize> = objects.clone().filter(|&g| labels.considered(g)).collect();
    let clusters = |of: &mut dyn Iterator<Item = usize>| {
        let names: BTreeSet<&str> = of.filter_map(|g| truth.cluster_of(g)).collect();
        names.len()
    };
    let seen = |times: usize| labels.images.iter().filter(|&&n| n == times).count();
    let images = (labels.images.iter())
        .filter(|&&n| n >= LEAST_IMAGES)
        .map(|&n| n as f64)
        .collect();
    TruthScores {
        objects: truth.objects(),
        objects_without_place: truth.named.len(),
        considered: expected.len(),
        seen_once: seen(1),
        never_seen: seen(0),
        clusters: clusters(&mut objects.into_iter()),
        clusters_considered: clusters(&mut expected.into_iter()),
        images_per_fruitlet: Spread::of(images, "no true fruitlet is seen in two images"),
        images_labelled_by_boxes: labels.frames_by_boxes,
        images_without_labels: labels.frames_without_labels,
        images_with_other_label_count: labels.frames_with_other_count,
        hand_counts: truth.counts.len(),
    }
}

fn shift_scores(shift: &CommonShift, moved: &Moved, map: &CropMap) -> ShiftScores {
    let n = map.fruitlets.len();
    let sum: f64 = moved.fruitlet.iter().map(|m| 1e3 * m.norm()).sum();
    ShiftScores {
        identified_error_mm: Spread::of(
            shift.error_sizes_m().map(|m| 1e3 * m).collect(),
            "no map fruit is identified",
        ),
        mean_shift_mm: Figure::ratio(sum, n as f64, n, "the map is empty"),
    }
}

fn placed_scores(case: &Case<'_>, placement: Placement) -> (PlacedScores, Rows) {
    let located = placement == Placement::ShiftRemoved;
    let allowance = case.input.policy.map(|policy| Allowance::of(case, policy));
    let allowance = allowance.as_ref();
    let decisions = match (case.input.decisions, allowance) {
        (None, _) => Part::absent("no decisions were given"),
        (_, None) => Part::absent("no policy was given"),
        (Some(decisions), Some(allowance)) => {
            Part::scored(thinned::decisions(case, decisions, allowance))
        }
    };
    let work = case.input.tasks.zip(case.input.setup);
    let carried = work.map(|(tasks, setup)| carried_out::carry_out(case, tasks, setup));
    let orders = match (work, &carried) {
        (Some(work), Some(carried)) => {
            Part::scored(carried_out::orders(case, work, carried, allowance))
        }
        _ if case.input.tasks.is_none() => Part::absent("no task list was given"),
        _ => Part::absent("no arm set-up was given"),
    };
    let judged = Judged {
        case,
        allowance,
        carried: carried.as_ref(),
    };
    let scores = PlacedScores {
        fruitlets: fruit::fruit(case),
        orientation: orientation::orientation(case),
        pairing: parts::parts(case),
        clusters: clusters::clusters(case),
        kings: clusters::kings(case),
        trees: trees::trees(case),
        decisions,
        orders,
        calibration: calibration::calibration(case, allowance, carried.as_ref(), located),
    };
    (scores, rows::rows(&judged, placement))
}
