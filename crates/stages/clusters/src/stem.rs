//! What a stem in space says about the spur.
//!
//! It was seen up to the spur; or its far part is hidden, and the spur lies onwards along the arc that the stem makes;
//! or boxes of other stems got mixed in and its end is only about right; or it is another fruit's and says nothing. A leaf over a spur hides the far parts of all its stems from all cameras,
//! so how often that happens depends on whether the spur is covered.

use crate::config::Config;
use crate::habit::Habit;
use nalgebra::{Matrix3, Vector3};

/// Share of stems that are wrong altogether: of one image, and of very many.
const WRONG_STEMS: [f64; 2] = [0.2, 0.03];
/// An inverse variance that stands for no knowledge, 1 / m^2: 50 mm.
const NO_KNOWLEDGE: f64 = 400.0;
/// Share of stems with other stems' boxes mixed in.
const ROUGH_SHARE: f64 = 0.1;
/// Standard deviation per axis of their ends, metres.
const ROUGH_M: f64 = 0.006;
/// Standard deviation of the direction in which a hidden part goes on, radians.
const ONWARDS_RAD: f64 = 0.1;

/// Whether something hides a spur from all cameras.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cover {
    /// Stems are seen to their ends, as a rule.
    Open,
    /// They are not.
    Covered,
}

/// How a stem is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum StemReading {
    /// None was seen, or it is not this fruit's.
    None,
    /// Seen up to the spur.
    Whole,
    /// Its far part is hidden.
    Short,
    /// Other stems' boxes are mixed in.
    Rough,
}

/// A stem as fusion has it.
pub(crate) struct SeenStem {
    /// Where it meets the fruit.
    pub(crate) top: Vector3<f64>,
    /// Where it was seen to end.
    pub(crate) far: Vector3<f64>,
    precision: Matrix3<f64>,
    /// From the far end to the fruit, unit, and the distance.
    along: Vector3<f64>,
    length_m: f64,
    /// Negative logs of the shares of whole and of short stems, at open and at covered spurs.
    shares: [[f64; 2]; 2],
    /// Loss for the stem's end being only about right, but for how far off it is.
    rough: f64,
    /// Loss for the stem being another fruit's.
    pub(crate) wrong: f64,
}

/// A reading with what follows from it.
pub(crate) struct Read {
    pub(crate) reading: StemReading,
    /// Nats.
    pub(crate) loss: f64,
    /// From where the spur should be to where it is.
    pub(crate) off: Vector3<f64>,
    /// Inverse of what `off` may vary by.
    pub(crate) precision: Matrix3<f64>,
}

impl SeenStem {
    /// A stem from its ends; `None` where it has no length.
    pub(crate) fn new(
        top: Vector3<f64>,
        far: Vector3<f64>,
        covariance: &Matrix3<f64>,
        views: usize,
        config: &Config,
    ) -> Option<SeenStem> {
        let covariance = covariance + Matrix3::identity() * config.stem_end_deviation_m.powi(2);
        let precision = covariance.try_inverse()? + Matrix3::identity() * NO_KNOWLEDGE;
        let two_pi = 2.0 * std::f64::consts::PI;
        // counts of images
        let wrong_share = WRONG_STEMS[1] + (WRONG_STEMS[0] - WRONG_STEMS[1]) / views.max(1) as f64;
        let shares = [config.hidden_share, config.covered_hidden_share].map(|hidden| {
            let hidden = hidden.clamp(1e-3, 0.99);
            [1.0 - hidden, hidden].map(|share| -((1.0 - wrong_share - ROUGH_SHARE) * share).ln())
        });
        // an end in the wrong place may be anywhere in a ball of the longest stem's radius
        let ball = 4.0 / 3.0 * std::f64::consts::PI * config.longest_stem_m.powi(3);
        let peak = 0.5 * precision.determinant().max(1e-300).ln() - 1.5 * two_pi.ln();
        Some(SeenStem {
            top,
            far,
            precision,
            along: (top - far).try_normalize(1e-6)?,
            length_m: (top - far).norm(),
            shares,
            rough: (0.5 * precision.determinant().max(1e-300).ln() + 3.0 * ROUGH_M.ln()).max(0.0)
                - ROUGH_SHARE.ln(),
            wrong: (peak + ball.ln()).max(0.0) - wrong_share.ln(),
        })
    }

    /// The likeliest reading as this fruit's own. Losses are negative logs of densities of the far end, less the open spur's whole reading.
    pub(crate) fn read(
        &self,
        spur: &Vector3<f64>,
        cover: Cover,
        habit: &Habit,
        config: &Config,
    ) -> Read {
        let [whole_share, short_share] = match cover {
            Cover::Open => self.shares[0],
            Cover::Covered => self.shares[1],
        };
        let off = spur - self.far;
        let whole = 0.5 * off.dot(&(self.precision * off)) + whole_share;
        let mut best = Read {
            reading: StemReading::Whole,
            loss: whole,
            off,
            precision: self.precision,
        };
        // a hidden part explains no less than its share costs
        if whole > short_share
            && let Some(short) = self.short(&off, habit, config)
        {
            let loss = short.loss + short_share;
            if loss < best.loss {
                best = Read { loss, ..short };
            }
        }
        let rough = 0.5 * off.norm_squared() / (ROUGH_M * ROUGH_M) + self.rough;
        if rough < best.loss {
            let precision = Matrix3::identity() / (ROUGH_M * ROUGH_M);
            best = Read {
                reading: StemReading::Rough,
                loss: rough,
                off,
                precision,
            };
        }
        best
    }

    /// The far part is hidden: its length is exponential, the arc goes on as it bends, the less surely the further.
    fn short(&self, off: &Vector3<f64>, habit: &Habit, config: &Config) -> Option<Read> {
        let rise = Vector3::z() - self.along * self.along.z;
        let onwards = (-self.along - rise * (4.0 * habit.sag)).try_normalize(1e-6)?;
        let stiffness = onwards.dot(&(self.precision * onwards));
        // the normal part pulls the hidden length up, the exponential one down
        let hidden_m =
            (onwards.dot(&(self.precision * off)) - 1.0 / config.hidden_length_m) / stiffness;
        if hidden_m <= 0.0 {
            return None;
        }
        // the arc of the whole stem, of which the seen part bends its share
        let whole_m = self.length_m + hidden_m;
        let fall = 4.0 * habit.sag * hidden_m * (self.length_m + hidden_m) / whole_m;
        let rest = off + self.along * hidden_m + rise * fall;
        let direction = 1.0 + hidden_m / self.length_m.max(0.003);
        let further = (ONWARDS_RAD * hidden_m).powi(2) * stiffness;
        let wider = direction * direction + further;
        let two_pi = 2.0 * std::f64::consts::PI;
        // across: two dimensions of a wider normal; along: an exponential in place of a normal
        let density = (wider * config.hidden_length_m * (stiffness / two_pi).sqrt()).ln();
        let loss = 0.5 * rest.dot(&(self.precision * rest)) / wider
            + hidden_m / config.hidden_length_m
            + density;
        let along = self.precision * onwards;
        let across = (self.precision - along * along.transpose() / stiffness) / wider;
        Some(Read {
            reading: StemReading::Short,
            loss,
            off: rest,
            precision: across,
        })
    }
}
