//! The boxes of an image in a grid over the plane z = 1, for questions of the kind "which boxes lie near here".

use crate::observe::Observations;
use nalgebra::Vector2;

/// Edge of a cell on the plane z = 1: about the size of a fruitlet's box in a close image.
pub(crate) const CELL: f64 = 0.03;

#[derive(Debug, Clone, Default)]
pub(crate) struct Grid {
    low: [i32; 2],
    cells: [i32; 2],
    /// Starts of the cells in `items`.
    starts: Vec<u32>,
    items: Vec<u32>,
}

impl Grid {
    /// The grid of one image's boxes (positions in `Observations::boxes`).
    pub(crate) fn new(obs: &Observations, frame: usize) -> Self {
        let range = obs.of_frame(frame);
        if range.is_empty() {
            return Self::default();
        }
        let cell = |i: usize| [key(obs.boxes[i].at.x), key(obs.boxes[i].at.y)];
        let mut low = [i32::MAX; 2];
        let mut high = [i32::MIN; 2];
        for i in range.clone() {
            for (k, c) in cell(i).into_iter().enumerate() {
                low[k] = low[k].min(c);
                high[k] = high[k].max(c);
            }
        }
        let cells = [high[0] - low[0] + 1, high[1] - low[1] + 1];
        let flat = |i: usize| {
            let c = cell(i);
            ((c[1] - low[1]) * cells[0] + c[0] - low[0]) as usize
        };
        let mut starts = vec![0_u32; (cells[0] * cells[1]) as usize + 1];
        for i in range.clone() {
            starts[flat(i) + 1] += 1;
        }
        for k in 1..starts.len() {
            starts[k] += starts[k - 1];
        }
        let mut fill = starts.clone();
        let mut items = vec![0_u32; range.len()];
        for i in range {
            let f = flat(i);
            items[fill[f] as usize] = i as u32;
            fill[f] += 1;
        }
        Self {
            low,
            cells,
            starts,
            items,
        }
    }

    /// Boxes whose middle lies in the cells that the rectangle touches.
    pub(crate) fn near(&self, at: Vector2<f64>, half: Vector2<f64>, mut each: impl FnMut(usize)) {
        if self.items.is_empty() {
            return;
        }
        let range = |k: usize, a: f64, h: f64| {
            let from = (key(a - h) - self.low[k]).max(0);
            let to = (key(a + h) - self.low[k]).min(self.cells[k] - 1);
            from..=to
        };
        let columns = range(0, at.x, half.x);
        if columns.is_empty() {
            return;
        }
        for y in range(1, at.y, half.y) {
            // the cells of a row lie side by side
            let row = y * self.cells[0];
            let from = self.starts[(row + columns.start()) as usize];
            let to = self.starts[(row + columns.end() + 1) as usize];
            for &i in &self.items[from as usize..to as usize] {
                each(i as usize);
            }
        }
    }
}

/// Cell of a coordinate; far out coordinates share the last cell.
fn key(v: f64) -> i32 {
    (v.clamp(-30.0, 30.0) / CELL).floor() as i32
}
