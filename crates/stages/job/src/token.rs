//! The name that all orders of one result share.

use corymb_model::map::CropMap;
use corymb_model::run::Run;

/// Sixteen hexadecimal digits that tell the orders of this result from those of any other: of another run, another
/// day, or the same run mapped anew with another outcome. Depends on the run's name and date and on the map, not on
/// the order of lines in a file.
///
/// The digest is FNV-1a with 64 bits (Fowler, Noll, Vo; offset basis and prime as in their reference code).
#[must_use]
pub fn run_token(run: &Run, map: &CropMap) -> String {
    let mut digest = Fnv::default();
    digest.text(&run.name);
    digest.text(&run.date);
    for fruitlet in &map.fruitlets {
        digest.text(&fruitlet.id);
        let centre = fruitlet.centre.xyz;
        for figure in [
            centre.x,
            centre.y,
            centre.z,
            fruitlet.diameter_m,
            fruitlet.existence,
        ] {
            digest.bytes(&figure.to_bits().to_le_bytes());
        }
    }
    format!("{:016x}", digest.0)
}

struct Fnv(u64);

impl Default for Fnv {
    fn default() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }
}

impl Fnv {
    fn bytes(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 = (self.0 ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
        }
    }

    /// With its length, so that two texts in a row cannot be mistaken for two others.
    fn text(&mut self, text: &str) {
        self.bytes(&(text.len() as u64).to_le_bytes());
        self.bytes(text.as_bytes());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_digest_is_fnv_1a() {
        // test vectors of the authors' reference code, 64 bits
        for (text, expected) in [
            ("", 0xcbf2_9ce4_8422_2325),
            ("a", 0xaf63_dc4c_8601_ec8c),
            ("foobar", 0x8594_4171_f739_67e8),
        ] {
            let mut digest = Fnv::default();
            digest.bytes(text.as_bytes());
            assert_eq!(digest.0, expected, "{text}");
        }
    }
}
