//! How large bodies are at a growth stage.
//!
//! The BBCH scale of pome fruit (Meier et al. 1994, Nachrichtenbl. Deut. Pflanzenschutzd. 46) gives upper ends: 71 to
//! 10 mm, 72 to 20 mm, 74 to 40 mm; 73 has no size there; 75 to 79 are half to nine tenths of the final size. All else
//! here is invented: the means, the spread (about an eighth of the mean), the final size of 75 mm.

use super::SceneSpec;

/// Diameters of the bodies of a scene, millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SizeSpec {
    /// Mean of bodies that are not kings.
    pub mean_mm: f64,
    /// Standard deviation of it.
    pub deviation_mm: f64,
    /// No body lies beyond these.
    pub bounds_mm: [f64; 2],
}

/// Diameter of fruit ready for picking, millimetres.
const FINAL_MM: f64 = 75.0;

impl SizeSpec {
    /// The sizes at a BBCH stage; those of 72 where none is stated or nothing hangs yet.
    #[must_use]
    pub fn at_stage(bbch: Option<u8>) -> Self {
        let of = |mean_mm, deviation_mm, bounds_mm| Self {
            mean_mm,
            deviation_mm,
            bounds_mm,
        };
        match bbch {
            Some(71) => of(7.0, 1.0, [4.0, 10.0]),
            Some(73) => of(22.0, 2.7, [14.0, 30.0]),
            Some(74) => of(30.0, 3.5, [20.0, 40.0]),
            Some(stage @ 75..=79) => Self::of_final(f64::from(stage - 70) / 10.0),
            Some(80..) => Self::of_final(1.0),
            Some(0..=70 | 72) | None => of(14.0, 1.8, [9.0, 20.0]),
        }
    }

    fn of_final(share: f64) -> Self {
        let mean_mm = share * FINAL_MM;
        Self {
            mean_mm,
            deviation_mm: 0.1 * mean_mm,
            bounds_mm: [0.7 * mean_mm, 1.3 * mean_mm],
        }
    }
}

impl SceneSpec {
    /// The diameters of its bodies: as given, else by its stage.
    #[must_use]
    pub fn sizes(&self) -> SizeSpec {
        let (crop, by_stage) = (&self.crop, SizeSpec::at_stage(self.stage_bbch));
        SizeSpec {
            mean_mm: crop.diameter_mean_mm.unwrap_or(by_stage.mean_mm),
            deviation_mm: crop.diameter_deviation_mm.unwrap_or(by_stage.deviation_mm),
            bounds_mm: crop.diameter_bounds_mm.unwrap_or(by_stage.bounds_mm),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_keep_to_the_scale_and_grow() {
        // upper ends: BBCH scale of pome fruit, Meier et al. 1994; half the final size at 75, nine tenths at 79
        for (stage, most_mm) in [(71, 10.0), (72, 20.0), (74, 40.0)] {
            assert_eq!(
                SizeSpec::at_stage(Some(stage)).bounds_mm[1],
                most_mm,
                "{stage}"
            );
        }
        assert_eq!(SizeSpec::at_stage(Some(75)).mean_mm, 0.5 * FINAL_MM);
        assert_eq!(SizeSpec::at_stage(Some(79)).mean_mm, 0.9 * FINAL_MM);
        let stages: Vec<SizeSpec> = (71..=80).map(|s| SizeSpec::at_stage(Some(s))).collect();
        for pair in stages.windows(2) {
            assert!(pair[0].mean_mm < pair[1].mean_mm, "{pair:?}");
            assert!(pair[0].bounds_mm[0] < pair[1].bounds_mm[0], "{pair:?}");
        }
        for s in stages {
            assert!(
                s.bounds_mm[0] < s.mean_mm - s.deviation_mm
                    && s.mean_mm + s.deviation_mm < s.bounds_mm[1]
            );
        }
    }

    #[test]
    fn what_is_given_holds_against_the_stage() {
        let mut scene = SceneSpec::platform();
        scene.stage_bbch = Some(74);
        assert_eq!(scene.sizes(), SizeSpec::at_stage(Some(74)));
        scene.crop.diameter_mean_mm = Some(25.0);
        let sizes = scene.sizes();
        assert_eq!((sizes.mean_mm, sizes.bounds_mm), (25.0, [20.0, 40.0]));
    }
}
