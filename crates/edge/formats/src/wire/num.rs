//! Numbers of files: always finite, rounded alike everywhere, never minus zero.

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{Deserialize, Deserializer};
use serde::ser::Error;
use serde::{Serialize, Serializer};
use std::borrow::Cow;

/// A number of a file, in the file's unit. Writing one that is not finite is an error.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Num(pub(crate) f64);

/// Decimals of a length in metres: a ten-thousandth of a millimetre.
const METRE_DECIMALS: i32 = 7;
/// Decimals of a length in millimetres, likewise.
const MILLIMETRE_DECIMALS: i32 = 4;
/// Decimals of an angle in degrees.
const DEGREE_DECIMALS: i32 = 5;
/// Decimals of a component of a quaternion or unit vector: two billionths of a radian.
const UNIT_DECIMALS: i32 = 9;
/// Decimals of a time in seconds: a microsecond.
const SECOND_DECIMALS: i32 = 6;
/// Decimals of a probability or share.
const SHARE_DECIMALS: i32 = 6;
/// Decimals of an image coordinate.
const PIXEL_DECIMALS: i32 = 6;
/// Significant digits of covariances, rates and other numbers without a natural scale.
const DIGITS: usize = 6;

impl Num {
    /// As it is.
    pub(crate) fn exact(value: f64) -> Self {
        Self(value + 0.0) // minus zero becomes zero
    }

    fn decimals(value: f64, decimals: i32) -> Self {
        let scale = 10f64.powi(decimals);
        let scaled = (value * scale).round() / scale;
        Self::exact(if scaled.is_finite() { scaled } else { value })
    }

    /// Metres, to be written in metres.
    pub(crate) fn metres(metres: f64) -> Self {
        Self::decimals(metres, METRE_DECIMALS)
    }

    /// Metres, to be written in millimetres.
    pub(crate) fn mm(metres: f64) -> Self {
        Self::decimals(metres * 1e3, MILLIMETRE_DECIMALS)
    }

    /// Radians, to be written in degrees.
    pub(crate) fn degrees(radians: f64) -> Self {
        Self::decimals(radians.to_degrees(), DEGREE_DECIMALS)
    }

    /// A component of a unit vector or quaternion.
    pub(crate) fn unit(component: f64) -> Self {
        Self::decimals(component, UNIT_DECIMALS)
    }

    /// Seconds.
    pub(crate) fn seconds(seconds: f64) -> Self {
        Self::decimals(seconds, SECOND_DECIMALS)
    }

    /// A probability or share.
    pub(crate) fn share(share: f64) -> Self {
        Self::decimals(share, SHARE_DECIMALS)
    }

    /// Pixels.
    pub(crate) fn pixels(pixels: f64) -> Self {
        Self::decimals(pixels, PIXEL_DECIMALS)
    }

    /// Six significant digits.
    pub(crate) fn significant(value: f64) -> Self {
        let rounded = format!("{:.*e}", DIGITS - 1, value)
            .parse()
            .unwrap_or(value);
        Self::exact(rounded)
    }
}

/// Three lengths in metres.
pub(crate) fn metres3(v: &nalgebra::Vector3<f64>) -> [Num; 3] {
    [Num::metres(v.x), Num::metres(v.y), Num::metres(v.z)]
}

/// Three components of a unit vector.
pub(crate) fn unit3(v: &nalgebra::Vector3<f64>) -> [Num; 3] {
    [Num::unit(v.x), Num::unit(v.y), Num::unit(v.z)]
}

/// The vector of three numbers, in their unit.
pub(crate) fn vector3(n: &[Num; 3]) -> nalgebra::Vector3<f64> {
    nalgebra::Vector3::new(n[0].0, n[1].0, n[2].0)
}

impl Serialize for Num {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if self.0.is_finite() {
            serializer.serialize_f64(self.0)
        } else {
            Err(S::Error::custom(format_args!(
                "{} is not a finite number",
                self.0
            )))
        }
    }
}

impl<'de> Deserialize<'de> for Num {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        f64::deserialize(deserializer).map(Self::exact)
    }
}

impl JsonSchema for Num {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Number".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "number" })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_rounded_and_never_minus_zero() {
        assert_eq!(Num::metres(1.234_567_849).0, 1.234_567_8);
        assert_eq!(Num::mm(0.012_345_678).0, 12.3457);
        assert_eq!(Num::significant(1.234_567_89e-8).0, 1.234_57e-8);
        assert!(Num::metres(-1e-9).0.is_sign_positive());
        assert!(Num::exact(-0.0).0.is_sign_positive());
        assert_eq!(Num::degrees(std::f64::consts::FRAC_PI_6).0, 30.0);
    }

    #[test]
    fn rounding_keeps_what_cannot_be_scaled() {
        assert_eq!(Num::metres(1e305).0, 1e305);
        assert!(serde_json::to_string(&Num::metres(f64::NAN)).is_err());
        assert!(serde_json::to_string(&Num::significant(f64::INFINITY)).is_err());
    }
}
