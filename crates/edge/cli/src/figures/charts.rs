//! Scores and their details as what the charts take.

use crate::figures::Named;
use corymb_report::charts::{
    AxisErrors, ClusterSizes, EdgeResiduals, EdgesResiduals, ErrorBins, Quantiles, RadiusResiduals,
    Reliability, ReliabilityBin, ShareWithin, Sizes, SpreadBin, axis_errors, cluster_sizes,
    error_by_pixel_area, error_by_views, reliability, residuals_by_edge, residuals_by_radius,
    sizes,
};
use corymb_score::details::{Details, ErrorBin, Outcome, Placed};
use corymb_score::figure::{self, Share};
use corymb_score::{PlacedScores, Scores};

/// Every chart. The files are the same whatever there is to draw; a chart of nothing says why.
pub(crate) fn all(run: &str, scores: &Scores, details: &Details) -> Vec<Named> {
    let moved = match &details.placed {
        Placed::ShiftRemoved => "map moved by its slow common shift".to_owned(),
        Placed::AsStated { because } => format!("map as stated, since {because}"),
    };
    let poses = match details.residuals.corrected_poses {
        true => "cameras as corrected",
        false => "cameras as the run states them",
    };
    let (about, seen) = (format!("{run}; {moved}"), format!("{run}; {poses}"));
    let figures = scores.shift_removed.figures();
    let figures = figures.or_else(|| scores.absolute.figures());
    let mut charts = vec![
        (
            "residuals_by_edge.svg",
            residuals_by_edge(&seen, &edges(details)),
        ),
        (
            "residuals_by_radius.svg",
            residuals_by_radius(&seen, &radius(details)),
        ),
        (
            "error_by_views.svg",
            error_by_views(&about, &errors(&details.error_by_views)),
        ),
        (
            "error_by_pixel_area.svg",
            error_by_pixel_area(&about, &errors(&details.error_by_pixel_area)),
        ),
        ("diameters.svg", sizes(run, &diameters(details))),
        (
            "cluster_sizes.svg",
            cluster_sizes(&about, &clusters(details)),
        ),
    ];
    if let Some(figures) = figures {
        charts.push((
            "axis_errors.svg",
            axis_errors(&about, &axes(figures, details)),
        ));
        charts.extend(claims(&about, figures));
    }
    charts
}

/// A diagram for everything that claims a probability.
fn claims(about: &str, figures: &PlacedScores) -> impl Iterator<Item = Named> {
    let claims = &figures.calibration;
    let about = about.to_owned();
    [
        ("reliability_existence.svg", "existence", &claims.existence),
        (
            "reliability_membership.svg",
            "membership of a cluster",
            &claims.membership,
        ),
        ("reliability_king.svg", "being king", &claims.king),
        ("reliability_tree.svg", "being of its tree", &claims.tree),
        (
            "reliability_decision.svg",
            "confidence of decisions",
            &claims.decision,
        ),
        (
            "reliability_order_success.svg",
            "success of orders",
            &claims.order_success,
        ),
    ]
    .map(|(name, of, claim)| (name, reliability(&about, &diagram(of, claim))))
    .into_iter()
}

fn diagram(of: &str, claim: &figure::Reliability) -> Reliability {
    let bins = claim.bins.iter().map(|bin| ReliabilityBin {
        from: bin.from,
        to: bin.to,
        stated: bin.stated,
        came_true: bin.came_true.num,
        cases: bin.came_true.den,
        interval: interval(&bin.came_true),
    });
    Reliability {
        of: of.to_owned(),
        bins: bins.collect(),
        brier: claim.brier,
        calibration_error: claim.calibration_error,
        none_because: claim.reason.clone(),
    }
}

/// The interval of a share; all that is possible where there is none.
fn interval(share: &Share) -> [f64; 2] {
    [share.low.unwrap_or(0.0), share.high.unwrap_or(1.0)]
}

fn edges(details: &Details) -> EdgesResiduals {
    let residuals = &details.residuals;
    let edge = |side: usize| {
        let figures = &residuals.edges[side];
        EdgeResiduals {
            outward_px: residuals
                .boxes
                .iter()
                .filter_map(|b| b.outward_px[side])
                .collect(),
            mean_px: figures.mean_px,
            deviation_px: figures.deviation_px,
            within_stated: figures.within_stated.num,
        }
    };
    EdgesResiduals {
        edges: [0, 1, 2, 3].map(edge),
        stated_px: residuals.box_edge.deviation_px(),
        none_because: None,
    }
}

fn radius(details: &Details) -> RadiusResiduals {
    let bins = details.residuals.by_radius.iter().map(|bin| SpreadBin {
        label: format!("{}\u{2013}{}", bin.from_px, bin.to_px),
        n: bin.n,
        spread: bin
            .quantiles_px
            .map(
                |[low, low_quartile, median, high_quartile, high]| Quantiles {
                    low,
                    low_quartile,
                    median,
                    high_quartile,
                    high,
                },
            ),
    });
    RadiusResiduals {
        bins_px: bins.collect(),
        stated_px: details.residuals.box_edge.deviation_px(),
        none_because: None,
    }
}

fn errors(bins: &[ErrorBin]) -> ErrorBins {
    let spread = |bin: &ErrorBin| {
        Some(Quantiles {
            low: bin.p10_mm?,
            low_quartile: bin.low_quartile_mm?,
            median: bin.median_mm?,
            high_quartile: bin.high_quartile_mm?,
            high: bin.p90_mm?,
        })
    };
    let bins = bins.iter().map(|bin| SpreadBin {
        label: whole_numbers(bin),
        n: bin.n,
        spread: spread(bin),
    });
    ErrorBins {
        bins_mm: bins.collect(),
        none_because: None,
    }
}

/// The whole numbers of a bin.
fn whole_numbers(bin: &ErrorBin) -> String {
    match bin.to {
        None => format!("{}+", bin.from),
        Some(to) if to - bin.from <= 1.0 => bin.from.to_string(),
        Some(to) => format!("{}\u{2013}{}", bin.from, to - 1.0),
    }
}

/// All that is expected in the map, and all that the map holds.
fn diameters(details: &Details) -> Sizes {
    let expected = |o: Outcome| matches!(o, Outcome::Right | Outcome::Missed);
    let all = &details.fruitlets;
    Sizes {
        true_mm: (all.iter().filter(|f| expected(f.outcome)))
            .filter_map(|f| Some(f.truth.as_ref()?.diameter_mm))
            .collect(),
        map_mm: (all.iter())
            .filter_map(|f| Some(f.map.as_ref()?.diameter_mm))
            .collect(),
    }
}

fn clusters(details: &Details) -> ClusterSizes {
    ClusterSizes {
        true_and_map: details
            .clusters
            .iter()
            .map(|c| [c.fruit, c.map_fruit])
            .collect(),
        none_because: None,
    }
}

fn axes(figures: &PlacedScores, details: &Details) -> AxisErrors {
    let axes = &figures.orientation;
    let within = [
        (10.0, &axes.within_10_deg),
        (20.0, &axes.within_20_deg),
        (30.0, &axes.within_30_deg),
    ];
    let found = details
        .fruitlets
        .iter()
        .filter(|f| f.outcome == Outcome::Right);
    AxisErrors {
        errors_deg: found.filter_map(|f| f.error.as_ref()?.axis_deg).collect(),
        without_axis: axes.no_axis.num,
        within: within
            .map(|(deg, share)| ShareWithin {
                deg,
                num: share.num,
                den: share.den,
                interval: interval(share),
            })
            .to_vec(),
        none_because: axes.error_deg.reason.clone(),
    }
}
