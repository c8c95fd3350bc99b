//! The figures of a row: which, and where they stand in a score.

use corymb_simulate::Simulated;
use serde_json::Value;
use std::borrow::Cow;

/// A figure of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FigureKind {
    /// Name of the column, with its unit unless it is a share or a count.
    pub name: Cow<'static, str>,
    /// Heading in narrow tables; `None` = only in the full ones.
    pub short: Option<Cow<'static, str>>,
    /// Decimals in narrow tables.
    pub decimals: usize,
    /// Path in the serialised score, or one of [`OF_THE_RUN`].
    pub path: Cow<'static, str>,
}

/// Figures of the simulated run itself, by their paths.
pub const OF_THE_RUN: [&str; 3] = ["run.images", "run.boxes", "run.hidden_share"];

const fn wide(
    name: &'static str,
    short: &'static str,
    decimals: usize,
    path: &'static str,
) -> FigureKind {
    FigureKind {
        name: Cow::Borrowed(name),
        short: Some(Cow::Borrowed(short)),
        decimals,
        path: Cow::Borrowed(path),
    }
}

const fn full(name: &'static str, path: &'static str) -> FigureKind {
    FigureKind {
        name: Cow::Borrowed(name),
        short: None,
        decimals: 3,
        path: Cow::Borrowed(path),
    }
}

/// The figures that every row has, in order. Those of `shift_removed` are after the slow common shift of the map is
/// taken away, which no method can see in the boxes and which a machine that finds its place again does not suffer from.
#[rustfmt::skip] // a table
pub const FIGURES: &[FigureKind] = &[
    wide("f1", "F1", 3, "absolute.fruitlets.f1"),
    full("precision", "absolute.fruitlets.precision"),
    full("recall", "absolute.fruitlets.recall"),
    wide("f1_shift_removed", "F1 moved", 3, "shift_removed.fruitlets.f1"),
    wide("centre_error_mm", "centre mm", 2, "absolute.fruitlets.position_error_mm"),
    full("centre_error_shift_removed_mm", "shift_removed.fruitlets.position_error_mm"),
    wide("diameter_error_mm", "diameter mm", 2, "absolute.fruitlets.diameter_error_mm"),
    full("axis_within_30_deg", "absolute.orientation.within_30_deg_of_all_matched"),
    wide("hota", "HOTA", 3, "association.bodies.hota"),
    full("association_accuracy", "association.bodies.ass_a"),
    full("idf1", "association.bodies.idf1"),
    wide("stems_right", "stems", 3, "absolute.pairing.stem.right"),
    full("calyces_right", "absolute.pairing.calyx.right"),
    wide("clusters_exact", "clusters", 3, "absolute.clusters.exact"),
    full("clusters_pairwise_f1", "absolute.clusters.pairwise_f1"),
    full("kings_right", "absolute.kings.right"),
    full("tree_right", "absolute.trees.tree"),
    wide("count_error_share", "count error", 3, "absolute.trees.count_error_share"),
    wide("inside_90", "in 90 %", 3, "shift_removed.calibration.inside_90_centre"),
    full("inside_90_with_shared", "absolute.calibration.inside_90_centre_with_shared"),
    full("decided_as_allowed", "shift_removed.decisions.as_allowed"),
    wide("clusters_right", "thinned right", 3, "shift_removed.orders.clusters_right"),
    full("clusters_right_absolute", "absolute.orders.clusters_right"),
    wide("orders_good", "orders good", 3, "shift_removed.orders.good"),
    full("orders_good_absolute", "absolute.orders.good"),
    full("fruitlets_true", "truth.objects"),
    full("fruitlets_seen", "truth.considered"),
    full("hidden_share", "run.hidden_share"),
    full("images", "run.images"),
    full("boxes", "run.boxes"),
];

impl FigureKind {
    /// A figure at a path of the score, shown in every table.
    #[must_use]
    pub fn at(name: &str, path: &str) -> Self {
        Self {
            name: Cow::Owned(name.to_owned()),
            short: Some(Cow::Owned(name.to_owned())),
            decimals: 3,
            path: Cow::Owned(path.to_owned()),
        }
    }

    /// The figure in a serialised score: a number as it is, of a share or single figure its value, of a spread its
    /// median; `None` where it is not defined.
    pub(crate) fn value(&self, simulated: &Simulated, score: &Value) -> Option<f64> {
        let run = &simulated.run;
        match self.path.as_ref() {
            "run.images" => Some(run.frames.len() as f64),
            "run.boxes" => {
                Some(run.frames.iter().map(|f| f.detections.len()).sum::<usize>() as f64)
            }
            "run.hidden_share" => Some(simulated.true_scene.hidden_share),
            path => {
                let mut steps = path.split('.');
                let found = steps.try_fold(score, |at, step| at.get(step))?;
                let value = found.get("value").or_else(|| found.get("median"));
                value.unwrap_or(found).as_f64()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_unlike() {
        let mut names: Vec<&str> = FIGURES.iter().map(|f| f.name.as_ref()).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), FIGURES.len());
    }
}
