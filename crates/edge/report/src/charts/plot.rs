//! A pair of axes on a sheet.

use crate::charts::scale::{Scale, number};
use crate::charts::sheet::{LINE, MARGIN, Sheet, WIDTH};

/// Left end of the axes, where one plot takes the whole width.
const LEFT: f64 = 68.0;
/// Free space below the head, for the title of the y axis.
const ABOVE: f64 = 30.0;

/// Two axes and the pixels between them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Plot {
    pub(crate) x: Scale,
    pub(crate) y: Scale,
    /// Left, top, right, bottom.
    pub(crate) area: [f64; 4],
}

impl Plot {
    /// Axes over the whole width of a sheet, `height` pixels high, under what stands there already.
    pub(crate) fn below_head(
        sheet: &Sheet,
        height: f64,
        x_values: [f64; 2],
        y_values: [f64; 2],
    ) -> Self {
        let top = sheet.y + ABOVE - LINE;
        let area = [LEFT, top + LINE, WIDTH - MARGIN, top + LINE + height];
        Self::in_area(area, x_values, y_values)
    }

    /// Axes in an area.
    pub(crate) fn in_area(area: [f64; 4], x_values: [f64; 2], y_values: [f64; 2]) -> Self {
        let [left, top, right, bottom] = area;
        Self {
            x: Scale::new(x_values, [left, right]),
            y: Scale::new(y_values, [bottom, top]),
            area,
        }
    }

    /// Lines across at round values of y, their numbers, and the title above them.
    pub(crate) fn y_axis(&self, sheet: &mut Sheet, wanted: usize, title: &str) {
        let [left, top, right, _] = self.area;
        let ticks = self.y.ticks(wanted);
        for &value in &ticks.values {
            let y = self.y.px(value);
            sheet.svg.path("grid", &[[left, y], [right, y]], false);
            let text = number(value, ticks.decimals);
            sheet.svg.text_in("tick end", [left - 8.0, y + 4.0], &text);
        }
        if !title.is_empty() {
            sheet.svg.text_in("", [MARGIN, top - 12.0], title);
        }
    }

    /// The line at the bottom with short strokes and numbers at round values of x.
    pub(crate) fn x_axis(&self, sheet: &mut Sheet, wanted: usize) {
        let ticks = self.x.ticks(wanted);
        let marks: Vec<(f64, String)> = (ticks.values.iter())
            .map(|&v| (v, number(v, ticks.decimals)))
            .collect();
        self.x_line(sheet, &marks);
        for (value, _) in &marks {
            let (x, y) = (self.x.px(*value), self.area[3]);
            sheet.svg.path("rule", &[[x, y], [x, y + 4.0]], false);
        }
    }

    /// The line at the bottom with a text under each value.
    pub(crate) fn x_line(&self, sheet: &mut Sheet, marks: &[(f64, String)]) {
        let [left, _, right, bottom] = self.area;
        sheet
            .svg
            .path("rule", &[[left, bottom], [right, bottom]], false);
        for (value, text) in marks {
            let at = [self.x.px(*value), bottom + 18.0];
            sheet.svg.text_in("tick mid", at, text);
        }
    }

    /// A row of counts under the axis, at values of x, named at the left.
    pub(crate) fn counts(&self, sheet: &mut Sheet, counts: &[(f64, usize)]) {
        let y = self.area[3] + 36.0;
        sheet
            .svg
            .text_in("tick soft end", [self.area[0] - 8.0, y], "n");
        for &(value, n) in counts {
            let at = [self.x.px(value), y];
            sheet.svg.text_in("tick soft mid", at, &n.to_string());
        }
    }

    /// The title of the x axis, `below` pixels under it.
    pub(crate) fn x_title(&self, sheet: &mut Sheet, below: f64, title: &str) {
        let [left, _, right, bottom] = self.area;
        let at = [f64::midpoint(left, right), bottom + below];
        sheet.svg.text_in("mid", at, title);
    }
}
