//! Whether a scene can be simulated: every field, all problems at once.

use super::{
    CameraSpec, CropSpec, DetectorSpec, ErrorSpec, LeafSpec, Motion, OrchardSpec, PartSpec,
    PassSpec, SceneSpec, SizeSpec, VERSION, WindSpec,
};
use crate::error::{Problem, SimulateError};
use std::fmt::Debug;

/// Trees of all rows together, at most.
const MOST_TREES: u32 = 2_000;
/// Images, at most.
const MOST_IMAGES: usize = 100_000;

/// Checks every field.
///
/// # Errors
/// [`SimulateError::Unusable`] with all fields that cannot be used.
pub fn check(spec: &SceneSpec) -> Result<(), SimulateError> {
    let mut report = Report::default();
    report.need(spec.version == VERSION, "version", &spec.version, "1");
    report.need(!spec.name.is_empty(), "name", &spec.name, "a name");
    orchard(&spec.orchard, &mut report);
    crop(&spec.crop, &spec.sizes(), &mut report);
    leaves(&spec.leaves, &mut report);
    wind(&spec.wind, &mut report);
    detector(&spec.detector, &mut report);
    errors(&spec.errors, &mut report);
    cameras(&spec.cameras, &mut report);
    passes(&spec.passes, spec.cameras.len(), &mut report);
    if report.problems.is_empty() {
        Ok(())
    } else {
        Err(SimulateError::Unusable(report.problems))
    }
}

#[derive(Default)]
struct Report {
    problems: Vec<Problem>,
}

impl Report {
    fn need(
        &mut self,
        holds: bool,
        field: impl Into<String>,
        found: &impl Debug,
        expected: &'static str,
    ) {
        if !holds {
            self.problems.push(Problem {
                field: field.into(),
                found: format!("{found:?}"),
                expected,
            });
        }
    }

    fn range(&mut self, field: &str, found: [f64; 2], least: f64) {
        let holds =
            found.iter().all(|v| v.is_finite()) && found[0] >= least && found[1] >= found[0];
        self.need(
            holds,
            field,
            &found,
            "two finite numbers, the first not below its least value nor above the second",
        );
    }

    fn positive(&mut self, field: &str, found: f64) {
        self.need(
            found.is_finite() && found > 0.0,
            field,
            &found,
            "a finite number above 0",
        );
    }

    fn not_negative(&mut self, field: &str, found: f64) {
        self.need(
            found.is_finite() && found >= 0.0,
            field,
            &found,
            "a finite number, 0 or more",
        );
    }

    fn finite(&mut self, field: impl Into<String>, found: &[f64]) {
        self.need(
            found.iter().all(|v| v.is_finite()),
            field,
            &found,
            "finite numbers",
        );
    }

    fn share(&mut self, field: impl Into<String>, found: f64) {
        self.need(
            (0.0..=1.0).contains(&found),
            field,
            &found,
            "a share from 0 to 1",
        );
    }
}

fn orchard(o: &OrchardSpec, r: &mut Report) {
    r.need(o.rows >= 1, "orchard.rows", &o.rows, "1 or more");
    r.need(
        o.trees_per_row >= 1,
        "orchard.trees_per_row",
        &o.trees_per_row,
        "1 or more",
    );
    let trees = o.rows.saturating_mul(o.trees_per_row);
    r.need(
        trees <= MOST_TREES,
        "orchard.trees_per_row",
        &trees,
        "at most 2000 trees in all",
    );
    r.positive("orchard.row_spacing_m", o.row_spacing_m);
    r.positive("orchard.tree_spacing_m", o.tree_spacing_m);
    r.not_negative("orchard.tree_scatter_m", o.tree_scatter_m);
    r.range("orchard.height_m", o.height_m, 0.3);
    r.range("orchard.trunk_diameter_mm", o.trunk_diameter_mm, 5.0);
    let limbs = o.limbs_per_tree;
    r.need(
        limbs[0] <= limbs[1] && limbs[1] <= 200,
        "orchard.limbs_per_tree",
        &limbs,
        "least and most, up to 200",
    );
    r.not_negative("orchard.lowest_limb_m", o.lowest_limb_m);
    r.need(
        o.lowest_limb_m < o.height_m[0],
        "orchard.lowest_limb_m",
        &o.lowest_limb_m,
        "below the lowest tree's tip",
    );
    r.range("orchard.limb_length_m", o.limb_length_m, 0.05);
    r.range("orchard.limb_base_mm", o.limb_base_mm, 2.0);
    r.range("orchard.limb_rise_deg", o.limb_rise_deg, -80.0);
    r.need(
        o.limb_rise_deg[1] <= 80.0,
        "orchard.limb_rise_deg",
        &o.limb_rise_deg,
        "from -80 to 80",
    );
    r.not_negative("orchard.limb_out_of_row_deg", o.limb_out_of_row_deg);
    r.not_negative("orchard.limb_sag_per_m", o.limb_sag_per_m);
    r.not_negative("orchard.limb_wander_m", o.limb_wander_m);
    r.finite("orchard.wires_at_m", &o.wires_at_m);
    r.positive("orchard.wire_diameter_mm", o.wire_diameter_mm);
    r.positive("orchard.post_diameter_mm", o.post_diameter_mm);
}

fn crop(c: &CropSpec, sizes: &SizeSpec, r: &mut Report) {
    let weights = c.cluster_size_weights;
    let usable =
        weights.iter().all(|w| w.is_finite() && *w >= 0.0) && weights.iter().sum::<f64>() > 0.0;
    r.need(
        usable,
        "crop.cluster_size_weights",
        &weights,
        "weights of 0 or more, not all 0",
    );
    r.share("crop.king_share", c.king_share);
    r.positive("crop.spur_gap_mm", c.spur_gap_mm);
    r.not_negative("crop.spur_gap_more_mm", c.spur_gap_more_mm);
    r.finite("crop.lowest_spur_m", &[c.lowest_spur_m]);
    r.range("crop.spur_length_mm", c.spur_length_mm, 0.0);
    r.positive("crop.stem_mean_mm", c.stem_mean_mm);
    r.not_negative("crop.stem_deviation_mm", c.stem_deviation_mm);
    r.range("crop.stem_bounds_mm", c.stem_bounds_mm, 1.0);
    r.positive("crop.king_stem_ratio", c.king_stem_ratio);
    r.not_negative("crop.stem_bow", c.stem_bow);
    r.positive("crop.stem_diameter_mm", c.stem_diameter_mm);
    r.positive("crop.diameter_mean_mm", sizes.mean_mm);
    r.not_negative("crop.diameter_deviation_mm", sizes.deviation_mm);
    r.range("crop.diameter_bounds_mm", sizes.bounds_mm, 1.0);
    r.share(
        "crop.diameter_between_clusters",
        c.diameter_between_clusters,
    );
    r.positive("crop.king_diameter_ratio", c.king_diameter_ratio);
    r.not_negative("crop.king_diameter_deviation", c.king_diameter_deviation);
    r.range("crop.length_ratio", c.length_ratio, 0.5);
    r.need(
        c.length_ratio[1] <= 2.0,
        "crop.length_ratio",
        &c.length_ratio,
        "at most 2",
    );
    r.share("crop.hang", c.hang);
    r.not_negative("crop.axis_wry_deg", c.axis_wry_deg);
    let gap = c.least_gap_mm.is_finite() && c.least_gap_mm > -0.5 * sizes.bounds_mm[0];
    r.need(
        gap,
        "crop.least_gap_mm",
        &c.least_gap_mm,
        "above minus half the least diameter",
    );
}

fn leaves(l: &LeafSpec, r: &mut Report) {
    r.need(
        (0.0..=100.0).contains(&l.per_cluster),
        "leaves.per_cluster",
        &l.per_cluster,
        "0 to 100",
    );
    r.range("leaves.length_mm", l.length_mm, 1.0);
    r.positive("leaves.width_ratio", l.width_ratio);
    r.range("leaves.distance_mm", l.distance_mm, 0.0);
}

fn wind(w: &WindSpec, r: &mut Report) {
    r.not_negative("wind.sway_mm", w.sway_mm);
    r.positive("wind.period_s", w.period_s);
}

fn part(name: &str, p: &PartSpec, r: &mut Report) {
    r.share(format!("detector.{name}.probability"), p.probability);
    r.share(
        format!("detector.{name}.never_below_share"),
        p.never_below_share,
    );
    r.share(
        format!("detector.{name}.full_above_share"),
        p.full_above_share,
    );
    let order = p.never_below_share <= p.full_above_share;
    r.need(
        order,
        format!("detector.{name}.full_above_share"),
        &p.full_above_share,
        "not below never_below_share",
    );
    r.not_negative(&format!("detector.{name}.half_size_px"), p.half_size_px);
}

fn detector(d: &DetectorSpec, r: &mut Report) {
    part("body", &d.body, r);
    part("stem", &d.stem, r);
    part("calyx", &d.calyx, r);
    r.need(
        (0.0..=90.0).contains(&d.calyx_within_deg),
        "detector.calyx_within_deg",
        &d.calyx_within_deg,
        "0 to 90",
    );
    r.need(
        d.calyx_share > 0.0 && d.calyx_share <= 1.0,
        "detector.calyx_share",
        &d.calyx_share,
        "above 0, to 1",
    );
    r.not_negative("detector.body_logit_deviation", d.body_logit_deviation);
    r.not_negative("detector.edge_white_px", d.edge_white_px);
    r.not_negative("detector.edge_constant_px", d.edge_constant_px);
    for (name, mean) in [
        ("detector.false_per_image", d.false_per_image),
        ("detector.false_objects_per_tree", d.false_objects_per_tree),
        ("detector.ignored_per_image", d.ignored_per_image),
    ] {
        r.need((0.0..=400.0).contains(&mean), name, &mean, "0 to 400");
    }
    r.share(
        "detector.false_object_probability",
        d.false_object_probability,
    );
    r.share("detector.merge_probability", d.merge_probability);
    r.share("detector.merge_from_overlap", d.merge_from_overlap);
    r.share("detector.duplicate_probability", d.duplicate_probability);
    r.share("detector.king_confusion", d.king_confusion);
    r.positive("detector.least_side_px", d.least_side_px);
    r.share("detector.damaged_share", d.damaged_share);
    r.not_negative("detector.box_step_px", d.box_step_px);
    r.share("detector.depth.probability", d.depth.probability);
    r.not_negative("detector.depth.deviation_m", d.depth.deviation_m);
    r.share("detector.depth.outlier_share", d.depth.outlier_share);
    r.share("detector.axis.probability", d.axis.probability);
    r.not_negative("detector.axis.deviation_deg", d.axis.deviation_deg);
    r.share(
        "detector.track.switch_probability",
        d.track.switch_probability,
    );
}

fn errors(e: &ErrorSpec, r: &mut Report) {
    r.positive("errors.trajectory_hz", e.trajectory_hz);
    for (name, value) in [
        ("errors.pose_white_m", e.pose_white_m),
        ("errors.pose_white_deg", e.pose_white_deg),
        ("errors.pose_drift_m", e.pose_drift_m),
        ("errors.pose_drift_deg", e.pose_drift_deg),
        ("errors.pass_offset_m", e.pass_offset_m),
        ("errors.pass_offset_deg", e.pass_offset_deg),
        ("errors.mount_m", e.mount_m),
        ("errors.mount_deg", e.mount_deg),
        ("errors.limb_m", e.limb_m),
    ] {
        r.not_negative(name, value);
    }
    r.positive("errors.pose_drift_s", e.pose_drift_s);
    let clock = e.clock_offset_s.abs() <= 0.4;
    r.need(
        clock,
        "errors.clock_offset_s",
        &e.clock_offset_s,
        "from -0.4 to 0.4",
    );
}

fn cameras(cameras: &[CameraSpec], r: &mut Report) {
    r.need(
        !cameras.is_empty(),
        "cameras",
        &cameras.len(),
        "at least one",
    );
    for (k, c) in cameras.iter().enumerate() {
        let at = |field: &str| format!("cameras[{k}].{field}");
        let first = cameras.iter().position(|other| other.id == c.id) == Some(k);
        r.need(
            first && !c.id.is_empty(),
            at("id"),
            &c.id,
            "a name that no other camera has",
        );
        r.need(
            c.width_px >= 16 && c.height_px >= 16,
            at("width_px"),
            &[c.width_px, c.height_px],
            "16 x 16 or more",
        );
        let focal = c.focal_px.iter().all(|f| f.is_finite() && *f > 0.0);
        r.need(focal, at("focal_px"), &c.focal_px, "finite numbers above 0");
        r.finite(at("principal_px"), &c.principal_px);
        r.finite(at("lens"), c.lens.coefficients());
        r.finite(at("position_m"), &c.position_m);
        r.finite(
            at("pan_deg, tilt_deg, roll_deg"),
            &[c.pan_deg, c.tilt_deg, c.roll_deg],
        );
    }
}

fn passes(passes: &[PassSpec], cameras: usize, r: &mut Report) {
    r.need(!passes.is_empty(), "passes", &passes.len(), "at least one");
    let images: usize = passes
        .iter()
        .map(|p| (p.exposures as usize).saturating_mul(cameras))
        .sum();
    r.need(
        images <= MOST_IMAGES,
        "passes",
        &images,
        "at most 100000 images",
    );
    let mut free_from_s = f64::NEG_INFINITY;
    for (k, p) in passes.iter().enumerate() {
        let at = |field: &str| format!("passes[{k}].{field}");
        r.need(p.exposures >= 1, at("exposures"), &p.exposures, "1 or more");
        r.positive(&at("rate_hz"), p.rate_hz);
        // a trajectory reaches half a second beyond a pass at either end
        let apart = p.start_s.is_finite() && p.start_s > free_from_s;
        r.need(
            apart,
            at("start_s"),
            &p.start_s,
            "more than 2 s after the end of the pass before",
        );
        free_from_s = p.start_s + f64::from(p.exposures) / p.rate_hz + 2.0;
        motion(&p.motion, &at("motion"), r);
    }
}

fn motion(motion: &Motion, at: &str, r: &mut Report) {
    match motion {
        Motion::AlongRow(m) => {
            r.finite(format!("{at}.from_m"), &m.from_m);
            r.finite(format!("{at}.speed_m_s"), &[m.speed_m_s]);
            r.share(format!("{at}.speed_wave"), m.speed_wave);
            r.positive(&format!("{at}.speed_period_s"), m.speed_period_s);
            r.not_negative(&format!("{at}.sway_mm"), m.sway_mm);
            r.not_negative(&format!("{at}.sway_deg"), m.sway_deg);
            r.positive(&format!("{at}.sway_period_s"), m.sway_period_s);
        }
        Motion::Free(m) => {
            for (name, v) in [
                ("from_m", &m.from_m),
                ("reach_m", &m.reach_m),
                ("look_at_m", &m.look_at_m),
                ("look_reach_m", &m.look_reach_m),
            ] {
                r.finite(format!("{at}.{name}"), v);
            }
            r.not_negative(&format!("{at}.roll_deg"), m.roll_deg);
            r.positive(&format!("{at}.period_s"), m.period_s);
        }
    }
}
