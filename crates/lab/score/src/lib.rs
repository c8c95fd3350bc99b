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
mod cylinder;
mod detector;
pub mod details;
pub mod figure;
mod fruit;
pub mod headline;
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
mod way;

pub use association::{AssociationScores, BoxAssociation, box_association};
pub use bootstrap::{Interval, Intervals};
pub use calibration::CalibrationScores;
pub use carried_out::OrderScores;
pub use clusters::{ClusterScores, KingScores};
pub use details::{Details, details};
pub use detector::{AtOverlap, DetectorScores, EdgeErrors, InBin, JudgedBy, KindOfBox};
pub use fruit::FruitScores;
pub use input::ScoreInput;
pub use labels::LEAST_IMAGES;
pub use orientation::OrientationScores;
pub use partition::{PartitionScores, compare_partitions};
pub use parts::{PartPairing, PartScores};
pub use render::render_table;
pub use scores::{Part, PlacedScores, Scores, ShiftScores, TruthScores};
pub use thinned::{DecisionScores, TreeLoadScore};
pub use tracks::{HotaAtOverlap, TrackingScores};
pub use trees::{TreeCount, TreeScores};

use allowance::Allowance;
use association::{Claims, association};
use case::{Case, TrueClusters};
use corymb_model::map::CropMap;
use figure::{Figure, Spread};
use labels::Labels;
use matching::Matching;
use rows::{Judged, Placement, Rows};
use shift::{CommonShift, Moved};

const NO_MAP: &str = "no map was given";

/// Scores the output of a run. Whatever is not in `input` is absent from the score, with the reason.
///
/// Works on any input of the right types; O(boxes log boxes) for the map and, for each order, the fruit, limbs and
/// obstacles about it.
#[must_use]
pub fn score(input: &ScoreInput<'_>) -> Scores {
    let labels = Labels::of(input.run, input.truth);
    let clusters = TrueClusters::of(input.truth, &labels);
    let truth = truth_scores(&labels, &clusters);
    let Some(map) = input.map else {
        let (association, common_shift) = (Part::absent(NO_MAP), Part::absent(NO_MAP));
        return Scores {
            truth,
            detector: detector::detector(input),
            association,
            tracking: Part::absent(NO_MAP),
            absolute: Part::absent(NO_MAP),
            common_shift,
            shift_removed: Part::absent(NO_MAP),
            intervals: Part::absent(NO_MAP),
            rows: Part::absent(NO_MAP),
        };
    };
    let claims = Claims::of(map, |at| input.run.detection(at).is_some());
    let placed = |moved: &Moved, placement: Placement| {
        let matching = Matching::of(map, moved, input.truth, &labels);
        let (labels, claims, clusters) = (&labels, &claims, &clusters);
        placed_scores(
            &Case {
                input,
                map,
                labels,
                claims,
                clusters,
                moved,
                matching,
            },
            placement,
        )
    };
    let (absolute, mut rows) = placed(&Moved::nothing(map), Placement::Absolute);
    let (common_shift, shift_removed) = match CommonShift::of(map, input.truth, &labels) {
        Ok(shift) => {
            let moved = Moved::by(&shift, map);
            let (scores, moved_rows) = placed(&moved, Placement::ShiftRemoved);
            rows = moved_rows;
            (
                Part::scored(shift_scores(&shift, &moved, map)),
                Part::scored(scores),
            )
        }
        Err(because) => (Part::absent(because.clone()), Part::absent(because)),
    };
    Scores {
        truth,
        detector: detector::detector(input),
        association: Part::scored(association(&claims, &labels)),
        tracking: tracks::tracks(input, &claims),
        absolute: Part::scored(absolute),
        common_shift,
        shift_removed,
        intervals: Part::scored(bootstrap::intervals(&rows)),
        rows: Part::scored(rows),
    }
}

fn truth_scores(labels: &Labels<'_>, clusters: &TrueClusters) -> TruthScores {
    let seen = |times: &dyn Fn(usize) -> bool| labels.images.iter().filter(|&&n| times(n)).count();
    let images = labels
        .images
        .iter()
        .filter(|&&n| n >= LEAST_IMAGES)
        .map(|&n| n as f64)
        .collect();
    TruthScores {
        objects: labels.images.len(),
        considered: seen(&|n| n >= LEAST_IMAGES),
        seen_once: seen(&|n| n == 1),
        never_seen: seen(&|n| n == 0),
        clusters: clusters.considered.len(),
        clusters_considered: clusters.judged().count(),
        images_per_fruitlet: Spread::of(images, "no true fruitlet is seen in two images"),
        images_without_labels: labels.frames_without_labels,
        images_with_other_label_count: labels.frames_with_other_count,
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
