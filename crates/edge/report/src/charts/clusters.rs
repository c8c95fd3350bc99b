//! How many fruitlets a true cluster has, against the map cluster that holds most of them.

use crate::charts::sheet::{LINE, MARGIN, Mark, Sheet, WIDTH};

/// The largest size with a row or column of its own; larger ones share it.
const LARGEST: usize = 9;
/// Left end of the cells, pixels.
const LEFT: f64 = 110.0;
/// Largest and usual height of a cell, pixels.
const CELL: f64 = 34.0;
/// Room for the sums at the right, pixels.
const SUMS: f64 = 60.0;

/// Sizes of clusters.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ClusterSizes {
    /// One pair a true cluster: its fruit, and the fruit of the map cluster that holds most of it, 0 where the map has
    /// none of it.
    pub true_and_map: Vec<[usize; 2]>,
    /// Why there are none.
    pub none_because: Option<String>,
}

/// A table of counts, each cell shaded by its share of the row.
#[must_use]
pub fn cluster_sizes(about: &str, data: &ClusterSizes) -> String {
    let mut sheet = Sheet::new("Cluster sizes", about);
    if data.true_and_map.is_empty() {
        let because = data.none_because.as_deref();
        return sheet.nothing(because.unwrap_or("no true cluster has fruit to be found"));
    }
    let table = Table::of(&data.true_and_map);
    sheet.key(&[
        (Mark::Frame, "same size"),
        (Mark::Bar, "the darker, the larger the share of its row"),
    ]);
    let top = sheet.y + 2.0 * LINE + 14.0;
    table.draw(&mut sheet, top);
    sheet.finish_at(top + CELL * table.rows.len() as f64 + LINE, &table.told())
}

/// Counts: a row a true size from 1, a column a map size from 0.
struct Table {
    rows: Vec<Vec<usize>>,
}

impl Table {
    fn of(pairs: &[[usize; 2]]) -> Self {
        let capped = || pairs.iter().map(|p| p.map(|size| size.min(LARGEST)));
        let most = capped().flatten().max().unwrap_or(1).max(1);
        let mut rows = vec![vec![0; most + 1]; most];
        for [fruit, in_map] in capped() {
            let row = fruit.checked_sub(1).and_then(|r| rows.get_mut(r));
            if let Some(count) = row.and_then(|r| r.get_mut(in_map)) {
                *count += 1;
            }
        }
        Self { rows }
    }

    fn draw(&self, sheet: &mut Sheet, top: f64) {
        let columns = self.rows.len() + 1;
        let wide = ((WIDTH - MARGIN - SUMS - LEFT) / columns as f64).min(2.0 * CELL);
        let right = LEFT + wide * columns as f64;
        let middle = |c: usize| LEFT + wide * (c as f64 + 0.5);
        let title = "fruit of the map cluster that holds most of it";
        sheet.svg.text_in("", [LEFT, top - 30.0], title);
        sheet.svg.text_in("", [MARGIN, top - 10.0], "true fruit");
        for c in 0..columns {
            let name = if c == 0 {
                "none".to_owned()
            } else {
                size_name(c)
            };
            sheet
                .svg
                .text_in("tick mid", [middle(c), top - 10.0], &name);
        }
        sheet
            .svg
            .text_in("tick soft end", [right + 40.0, top - 10.0], "n");
        for (r, row) in self.rows.iter().enumerate() {
            let y = top + CELL * r as f64;
            let base = y + CELL / 2.0 + 4.5;
            sheet
                .svg
                .text_in("tick end", [LEFT - 12.0, base], &size_name(r + 1));
            let sum: usize = row.iter().sum();
            for (c, &count) in row.iter().enumerate() {
                let x = LEFT + wide * c as f64;
                sheet.svg.rect(tint(count, sum), [x, y, x + wide, y + CELL]);
                let class = if count == 0 { "tick mid pale" } else { "mid" };
                sheet
                    .svg
                    .text_in(class, [middle(c), base], &count.to_string());
            }
            sheet
                .svg
                .text_in("tick soft end", [right + 40.0, base], &sum.to_string());
        }
        for r in 0..self.rows.len() {
            let (x, y) = (LEFT + wide * (r + 1) as f64, top + CELL * r as f64);
            let inner = [x + 2.0, y + 2.0, x + wide - 2.0, y + CELL - 2.0];
            sheet.svg.rect("frame", inner);
        }
    }

    fn told(&self) -> String {
        let rows: Vec<String> = (self.rows.iter().enumerate())
            .filter(|(_, row)| row.iter().any(|&n| n > 0))
            .map(|(r, row)| {
                let cells: Vec<String> = (row.iter().enumerate())
                    .filter(|(_, n)| **n > 0)
                    .map(|(c, n)| {
                        format!(
                            "{n} as {}",
                            if c == 0 {
                                "none".to_owned()
                            } else {
                                size_name(c)
                            }
                        )
                    })
                    .collect();
                format!("true size {}: {}", size_name(r + 1), cells.join(", "))
            })
            .collect();
        rows.join("; ") + "."
    }
}

fn size_name(size: usize) -> String {
    if size >= LARGEST {
        format!("{LARGEST}+")
    } else {
        size.to_string()
    }
}

/// Quarters of the row; light enough throughout for dark figures.
fn tint(count: usize, sum: usize) -> &'static str {
    match (4 * count).div_ceil(sum.max(1)) {
        0 => "t0",
        1 => "t1",
        2 => "t2",
        3 => "t3",
        _ => "t4",
    }
}
