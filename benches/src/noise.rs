//! A scene with more or less noise than it has.

use corymb_simulate::SceneSpec;

/// Multiplies by `factor` how far boxes, image directions, depths, poses, mountings, the clock and the orchard file err,
/// how far wind moves fruit and how many false boxes there are; and what the run states of these, so that it stays as
/// true as it was. What is detected at all stays as it is.
#[must_use]
pub fn with_noise(spec: &SceneSpec, factor: f64) -> SceneSpec {
    let mut out = spec.clone();
    let (d, e, s) = (&mut out.detector, &mut out.errors, &mut out.stated);
    for level in [
        &mut d.edge_white_px,
        &mut d.edge_constant_px,
        &mut d.axis.deviation_deg,
        &mut d.depth.deviation_m,
        &mut d.false_per_image,
        &mut d.false_objects_per_tree,
        &mut e.pose_white_m,
        &mut e.pose_white_deg,
        &mut e.pose_drift_m,
        &mut e.pose_drift_deg,
        &mut e.mount_m,
        &mut e.mount_deg,
        &mut e.clock_offset_s,
        &mut e.limb_m,
        &mut out.wind.sway_mm,
    ] {
        *level *= factor;
    }
    let stated = [
        &mut s.box_edge_px,
        &mut s.pose_translation_m,
        &mut s.pose_rotation_deg,
        &mut s.pose_drift_m,
        &mut s.pose_drift_deg,
        &mut s.limb_m,
        &mut s.false_positives_per_frame,
    ];
    for level in stated.into_iter().flatten() {
        *level *= factor;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::with_noise;
    use corymb_simulate::{SceneSpec, spec::check};

    #[test]
    fn one_changes_nothing_and_the_rest_can_be_simulated() {
        for name in SceneSpec::NAMES {
            let spec = SceneSpec::named(name).unwrap();
            assert_eq!(with_noise(&spec, 1.0), spec, "{name}");
            for factor in [0.0, 0.5, 2.0] {
                assert!(check(&with_noise(&spec, factor)).is_ok(), "{name}");
            }
        }
        let (one, two) = (SceneSpec::hard(), with_noise(&SceneSpec::hard(), 2.0));
        assert!((two.wind.sway_mm - 2.0 * one.wind.sway_mm).abs() < 1e-12);
        let stated = with_noise(&SceneSpec::platform(), 2.0).stated.box_edge_px;
        assert_eq!(
            stated,
            SceneSpec::platform().stated.box_edge_px.map(|px| 2.0 * px)
        );
    }
}
