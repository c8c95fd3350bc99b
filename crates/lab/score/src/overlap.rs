//! How far two boxes in an image overlap.

/// Area of a box `[x0, y0, x1, y1]`, square pixels; 0 where it is turned inside out.
#[must_use]
pub fn area_px2(b: &[f64; 4]) -> f64 {
    (b[2] - b[0]).max(0.0) * (b[3] - b[1]).max(0.0)
}

/// Area that two boxes have in common, square pixels.
#[must_use]
pub fn common_px2(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    area_px2(&[
        a[0].max(b[0]),
        a[1].max(b[1]),
        a[2].min(b[2]),
        a[3].min(b[3]),
    ])
}

/// Intersection over union of two boxes, 0 to 1 (the Jaccard index); 0 where both are empty.
///
/// Source: M. Everingham et al., "The PASCAL visual object classes (VOC) challenge", IJCV 88 (2010), eq. 3.
#[must_use]
pub fn overlap(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    let common = common_px2(a, b);
    let either = area_px2(a) + area_px2(b) - common;
    if either > 0.0 { common / either } else { 0.0 }
}

/// Share of a box that lies in a region, 0 to 1; 0 for an empty box.
#[must_use]
pub fn share_inside(b: &[f64; 4], region: &[f64; 4]) -> f64 {
    let area = area_px2(b);
    if area > 0.0 {
        common_px2(b, region) / area
    } else {
        0.0
    }
}

/// Whether at least half of a box lies in one of the regions, so that it belongs to what was not labelled.
#[must_use]
pub fn lies_in_any(b: &[f64; 4], regions: &[[f64; 4]]) -> bool {
    regions.iter().any(|region| share_inside(b, region) >= 0.5)
}

#[cfg(test)]
mod tests {
    use super::{area_px2, lies_in_any, overlap, share_inside};
    use proptest::prelude::*;

    #[test]
    fn overlaps_by_hand() {
        let a = [0.0, 0.0, 2.0, 2.0];
        assert_eq!(overlap(&a, &[1.0, 0.0, 3.0, 2.0]), 2.0 / 6.0);
        assert_eq!(overlap(&a, &[2.0, 0.0, 4.0, 2.0]), 0.0);
        assert_eq!(overlap(&a, &[0.5, 0.5, 1.5, 1.5]), 0.25);
        assert_eq!(overlap(&[1.0; 4], &[1.0; 4]), 0.0);
        assert_eq!(share_inside(&[0.0, 0.0, 4.0, 1.0], &a), 0.5);
        assert!(lies_in_any(&[0.0, 0.0, 4.0, 1.0], &[a]));
        assert!(!lies_in_any(&[0.0, 0.0, 4.1, 1.0], &[a]));
        assert_eq!(area_px2(&[2.0, 0.0, 1.0, 5.0]), 0.0);
    }

    fn a_box() -> impl Strategy<Value = [f64; 4]> {
        (0u8..12, 0u8..12, 1u8..9, 1u8..9)
            .prop_map(|(x, y, w, h)| [x, y, x + w, y + h].map(f64::from))
    }

    proptest! {
        /// On whole numbers an area is a count of pixels.
        #[test]
        fn overlap_is_a_count_of_pixels(a in a_box(), b in a_box()) {
            let inside = |b: &[f64; 4], x: f64, y: f64| b[0] <= x && x < b[2] && b[1] <= y && y < b[3];
            let (mut both, mut either) = (0.0, 0.0);
            for x in 0..21 {
                for y in 0..21 {
                    let (in_a, in_b) = (inside(&a, f64::from(x), f64::from(y)), inside(&b, f64::from(x), f64::from(y)));
                    both += f64::from(u8::from(in_a && in_b));
                    either += f64::from(u8::from(in_a || in_b));
                }
            }
            prop_assert_eq!(overlap(&a, &b), both / either);
            prop_assert_eq!(overlap(&a, &b), overlap(&b, &a));
            prop_assert_eq!(overlap(&a, &a), 1.0);
        }
    }
}
