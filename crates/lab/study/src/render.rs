//! Rows and tables as text: CSV for machines, Markdown and plain text for people.

use crate::figures::FigureKind;
use crate::rows::Rows;
use crate::summary::{Line, MeanInterval, Summary};

/// Every row: scene, what varies, seed, estimator, every figure; an empty cell where a figure is not defined, and
/// seconds where they were asked for. Line ends are line feeds, quoting as in RFC 4180.
#[must_use]
pub fn rows_csv(rows: &Rows) -> String {
    let timed = rows.rows.iter().any(|row| row.seconds.is_some());
    let mut head = vec!["scene".to_owned()];
    head.extend(rows.varied.iter().cloned());
    head.extend(["seed".to_owned(), "estimator".to_owned()]);
    head.extend(rows.figures.iter().map(|f| f.name.to_string()));
    head.extend(timed.then(|| "seconds".to_owned()));
    let mut csv = csv_line(&head);
    for row in &rows.rows {
        let mut cells = vec![row.scene.clone()];
        cells.extend(row.values.iter().cloned());
        cells.extend([row.seed.to_string(), row.estimator.clone()]);
        cells.extend(row.figures.iter().map(|f| number(*f)));
        cells.extend(timed.then(|| number(row.seconds)));
        csv += &csv_line(&cells);
    }
    csv
}

/// The summary with one figure a line: number of seeds in which it is defined, mean, ends of the 95 % interval.
#[must_use]
pub fn table_csv(summary: &Summary) -> String {
    let mut head = vec!["scene".to_owned()];
    head.extend(summary.varied.iter().cloned());
    let rest = ["estimator", "figure", "seeds", "n", "mean", "low", "high"];
    head.extend(rest.map(str::to_owned));
    let mut csv = csv_line(&head);
    for line in &summary.lines {
        for (kind, figure) in summary.figures.iter().zip(&line.figures) {
            let mut cells = vec![line.scene.clone()];
            cells.extend(line.values.iter().cloned());
            cells.extend([line.estimator.clone(), kind.name.to_string()]);
            cells.extend([line.seeds.to_string(), figure.n.to_string()]);
            cells.extend([figure.mean, figure.low(), figure.high()].map(number));
            csv += &csv_line(&cells);
        }
    }
    csv
}

fn csv_line(cells: &[String]) -> String {
    let quoted: Vec<String> = cells.iter().map(|c| csv_cell(c)).collect();
    quoted.join(",") + "\n"
}

fn csv_cell(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// The shortest text that reads back to the same number.
fn number(value: Option<f64>) -> String {
    value.map(|v| v.to_string()).unwrap_or_default()
}

/// The main figures as a Markdown table.
#[must_use]
pub fn table_markdown(summary: &Summary) -> String {
    let cells = cells(summary);
    let row = |cells: &[String]| {
        let escaped: Vec<String> = cells.iter().map(|c| c.replace('|', "\\|")).collect();
        format!("| {} |\n", escaped.join(" | "))
    };
    let mut table = String::new();
    for (k, line) in cells.iter().enumerate() {
        table += &row(line);
        if k == 0 {
            table += &format!("|{}\n", "---|".repeat(line.len()));
        }
    }
    table + "\n" + &legend(summary)
}

/// The main figures as a table of plain text.
#[must_use]
pub fn table_text(summary: &Summary) -> String {
    let cells = cells(summary);
    let columns = cells.first().map_or(0, Vec::len);
    let widths: Vec<usize> = (0..columns)
        .map(|k| {
            cells
                .iter()
                .filter_map(|l| l.get(k))
                .map(|c| c.chars().count())
                .max()
                .unwrap_or(0)
        })
        .collect();
    let mut table = String::new();
    for line in &cells {
        let padded: Vec<String> = line
            .iter()
            .zip(&widths)
            .map(|(cell, width)| format!("{cell:width$}"))
            .collect();
        table += padded.join("  ").trim_end();
        table.push('\n');
    }
    table + "\n" + &legend(summary)
}

/// Head and lines of the narrow tables. A figure that no line has is left out.
fn cells(summary: &Summary) -> Vec<Vec<String>> {
    let shown: Vec<(usize, &FigureKind, &str)> = summary
        .figures
        .iter()
        .enumerate()
        .filter_map(|(k, kind)| Some((k, kind, kind.short.as_deref()?)))
        .filter(|(k, ..)| {
            summary
                .lines
                .iter()
                .any(|l| l.figures.get(*k).is_some_and(|f| f.n > 0))
        })
        .collect();
    let mut head = vec!["scene".to_owned()];
    head.extend(summary.varied.iter().cloned());
    head.push("estimator".to_owned());
    head.extend(shown.iter().map(|(_, _, short)| (*short).to_owned()));
    let mut all = vec![head];
    for line in &summary.lines {
        let mut cells = vec![line.scene.clone()];
        cells.extend(line.values.iter().cloned());
        cells.push(line.estimator.clone());
        cells.extend(
            shown
                .iter()
                .map(|(k, kind, _)| figure(line, *k, kind.decimals)),
        );
        all.push(cells);
    }
    all
}

fn figure(line: &Line, k: usize, decimals: usize) -> String {
    let Some(MeanInterval {
        n,
        mean: Some(mean),
        half_width,
    }) = line.figures.get(k).copied()
    else {
        return "-".to_owned();
    };
    let mut text = format!("{mean:.decimals$}");
    if let Some(half) = half_width {
        text += &format!(" ± {half:.decimals$}");
    }
    if n < line.seeds {
        text += &format!(" (n {n})");
    }
    text
}

fn legend(summary: &Summary) -> String {
    let seeds = summary.lines.iter().map(|l| l.seeds).max().unwrap_or(0);
    let interval = if seeds > 1 {
        " ± half of the 95 % interval (Student's t)"
    } else {
        "; intervals need two seeds"
    };
    format!("Means over {seeds} seed(s){interval}. All data is invented, by the simulator.\n")
}
