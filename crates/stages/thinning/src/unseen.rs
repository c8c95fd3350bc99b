//! How many fruit were never seen.

/// Estimated number of fruit in no image, from how many were seen in exactly one (`once`) and exactly two (`twice`)
/// images; the counts may be fractional (sums of existence).
///
/// Chao's lower bound for zero-truncated counts, `once^2 / (2 twice)`, in its bias-corrected form
/// `once (once - 1) / (2 (twice + 1))`, which is defined without fruit seen twice (A. Chao, Nonparametric estimation of
/// the number of classes in a population, Scand. J. Statist. 11:265-270, 1984; Estimating the population size for
/// capture-recapture data with unequal catchability, Biometrics 43:783-791, 1987). A lower bound where fruit differ in how
/// easily they are seen, which they do; 0 where the correction would make it negative.
#[must_use]
pub fn chao(once: f64, twice: f64) -> f64 {
    (once * (once - 1.0) / (2.0 * (twice + 1.0))).max(0.0)
}
