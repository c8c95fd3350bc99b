//! From values to pixels, round numbers along an axis, and how numbers are written.

/// A linear scale.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scale {
    from: f64,
    to: f64,
    px: [f64; 2],
}

impl Scale {
    /// The values `from` to `to` on the pixels `px`; values that do not span anything are given a span of one.
    pub(crate) fn new([from, to]: [f64; 2], px: [f64; 2]) -> Self {
        let spans = from.is_finite() && to.is_finite() && to > from;
        let (from, to) = if spans { (from, to) } else { (0.0, 1.0) };
        Self { from, to, px }
    }

    /// Where a value stands; values beyond the ends stand at the ends, so that nothing leaves the plot.
    pub(crate) fn px(&self, value: f64) -> f64 {
        let share = ((value - self.from) / (self.to - self.from)).clamp(0.0, 1.0);
        self.px[0] + (self.px[1] - self.px[0]) * share
    }

    /// About `wanted` round values within the scale.
    pub(crate) fn ticks(&self, wanted: usize) -> Ticks {
        let step = round_step((self.to - self.from) / wanted.max(1) as f64);
        let slack = 1e-9 * step;
        let first = ((self.from - slack) / step).ceil();
        let count = ((self.to + slack) / step).floor() - first;
        // few, and not negative
        let values = (0..=count.max(0.0) as usize).map(|k| (first + k as f64) * step);
        Ticks {
            values: values.collect(),
            decimals: decimals_of(step),
        }
    }
}

/// Round values, all written with as many decimals.
#[derive(Debug, Clone)]
pub(crate) struct Ticks {
    pub(crate) values: Vec<f64>,
    pub(crate) decimals: usize,
}

/// The least of 1, 2 and 5 times a power of ten that is not under `step`.
pub(crate) fn round_step(step: f64) -> f64 {
    if !(step.is_finite() && step > 0.0) {
        return 1.0;
    }
    let decade = 10f64.powf(step.log10().floor());
    [1.0, 2.0, 5.0]
        .map(|m| m * decade)
        .into_iter()
        .find(|&s| s >= step * (1.0 - 1e-9))
        .unwrap_or(10.0 * decade)
}

/// The round value at or above `value` at which an axis from zero ends.
pub(crate) fn round_up(value: f64) -> f64 {
    if !(value.is_finite() && value > 0.0) {
        return 1.0;
    }
    let step = round_step(value / 5.0);
    (value / step - 1e-9).ceil() * step
}

fn decimals_of(step: f64) -> usize {
    // clamped
    (-(step.log10() + 1e-9).floor()).clamp(0.0, 9.0) as usize
}

/// A number with a real minus and no minus zero.
pub(crate) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(size) if size.chars().all(|c| matches!(c, '0' | '.')) => size.to_owned(),
        Some(size) => format!("\u{2212}{size}"),
        None => text,
    }
}

/// A share in per cent.
pub(crate) fn percent(num: usize, den: usize) -> String {
    let decimals = usize::from(den > 999);
    number(100.0 * num as f64 / den.max(1) as f64, decimals) + " %"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let ticks = Scale::new([-0.9, 3.1], [0.0, 1.0]).ticks(4);
        assert_eq!(ticks.values, [0.0, 1.0, 2.0, 3.0]);
        assert_eq!(ticks.decimals, 0);
        let ticks = Scale::new([0.0, 0.25], [0.0, 1.0]).ticks(5);
        assert_eq!(ticks.values.len(), 6);
        assert_eq!(
            (ticks.decimals, number(ticks.values[5], 2)),
            (2, "0.25".into())
        );
    }

    #[test]
    fn values_beyond_the_scale_stand_at_its_ends() {
        let scale = Scale::new([10.0, 20.0], [300.0, 100.0]);
        assert_eq!(
            [0.0, 10.0, 15.0, 99.0].map(|v| scale.px(v)),
            [300.0, 300.0, 200.0, 100.0]
        );
        assert_eq!(Scale::new([3.0, 3.0], [0.0, 8.0]).px(0.5), 4.0);
    }

    #[test]
    fn numbers_have_real_signs() {
        let written = [-1.25, -0.004, 0.0, 12.0].map(|v| number(v, 2));
        assert_eq!(written, ["\u{2212}1.25", "0.00", "0.00", "12.00"]);
        assert_eq!(
            [7.0, 10.0, 11.0, 0.25, 0.0].map(round_up),
            [8.0, 10.0, 15.0, 0.25, 1.0]
        );
    }
}
