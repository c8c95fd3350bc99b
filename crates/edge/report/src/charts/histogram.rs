//! Counts in bins of equal width.

use crate::charts::plot::Plot;
use crate::charts::sheet::Sheet;

/// Counts in bins of equal width, and of what lies beyond them.
#[derive(Debug, Clone, PartialEq)]
pub struct Histogram {
    /// Lower end of the first bin.
    pub from: f64,
    /// Width of a bin.
    pub step: f64,
    /// Values in each bin: its lower end belongs to it, its upper end to the next.
    pub counts: Vec<usize>,
    /// Values under the first bin.
    pub below: usize,
    /// Values above the last bin, its upper end among them.
    pub above: usize,
}

impl Histogram {
    /// Counts `values` in `bins` bins of width `step` from `from`; what is not a number is left out. O(values).
    #[must_use]
    pub fn of(values: &[f64], from: f64, step: f64, bins: usize) -> Self {
        let mut out = Self {
            from,
            step,
            counts: vec![0; bins],
            below: 0,
            above: 0,
        };
        for value in values.iter().filter(|v| v.is_finite()) {
            let at = ((value - from) / step).floor();
            // not negative, and saturating
            match out.counts.get_mut(at.max(0.0) as usize) {
                _ if at < 0.0 => out.below += 1,
                Some(count) => *count += 1,
                None => out.above += 1,
            }
        }
        out
    }

    /// All values, also those beyond the bins.
    #[must_use]
    pub fn total(&self) -> usize {
        self.below + self.counts.iter().sum::<usize>() + self.above
    }

    /// Lower end of a bin, or upper end of the one before.
    pub(crate) fn edge(&self, bin: usize) -> f64 {
        self.from + self.step * bin as f64
    }

    /// The largest count.
    pub(crate) fn most(&self) -> usize {
        self.counts.iter().copied().max().unwrap_or(0)
    }

    /// A bar for each bin that is not empty.
    pub(crate) fn draw_bars(&self, sheet: &mut Sheet, plot: &Plot, class: &str) {
        for (bin, &count) in self.counts.iter().enumerate().filter(|(_, n)| **n > 0) {
            let (x0, x1) = (plot.x.px(self.edge(bin)), plot.x.px(self.edge(bin + 1)));
            let corners = [x0, plot.y.px(count as f64), x1, plot.y.px(0.0)];
            sheet.svg.rect(class, corners);
        }
    }

    /// The outline of all bins as one line.
    pub(crate) fn draw_outline(&self, sheet: &mut Sheet, plot: &Plot, class: &str) {
        let mut line = vec![[plot.x.px(self.from), plot.y.px(0.0)]];
        for (bin, &count) in self.counts.iter().enumerate() {
            let y = plot.y.px(count as f64);
            line.push([plot.x.px(self.edge(bin)), y]);
            line.push([plot.x.px(self.edge(bin + 1)), y]);
        }
        line.push([plot.x.px(self.edge(self.counts.len())), plot.y.px(0.0)]);
        sheet.svg.path(class, &line, false);
    }
}
