//! A comparison for a spreadsheet and for a paper.

use crate::compare::text::better;
use crate::compare::{ClusterChange, Comparison, Difference, FrameChange};
use crate::files::finish;
use std::fmt::Write;

/// All figures, one a row.
///
/// # Errors
/// None on data; what the CSV writer says.
pub fn figures_csv(comparison: &Comparison) -> Result<Vec<u8>, csv::Error> {
    let mut rows = csv::Writer::from_writer(Vec::new());
    rows.write_record([
        "first",
        "other",
        "unit",
        "units",
        "part",
        "figure",
        "better",
        "value_first",
        "value_other",
        "difference",
        "low",
        "high",
        "p",
        "p_all",
        "p_exact",
        "units_differing",
        "n",
        "reason",
    ])?;
    let number = |v: Option<f64>| v.map_or_else(String::new, |v| v.to_string());
    for other in &comparison.others {
        for f in &other.figures {
            rows.write_record([
                comparison.first.clone(),
                other.name.clone(),
                other.unit.plural().to_owned(),
                other.units.to_string(),
                f.part.to_owned(),
                f.figure.to_owned(),
                better(f.better).to_owned(),
                number(f.first),
                number(f.other),
                number(f.difference),
                number(f.low),
                number(f.high),
                number(f.test.map(|t| t.p)),
                number(f.p_all),
                f.test.map_or_else(String::new, |t| t.exact.to_string()),
                f.test
                    .map_or_else(String::new, |t| t.units_differing.to_string()),
                f.n.to_string(),
                f.reason.unwrap_or_default().to_owned(),
            ])?;
        }
    }
    finish(rows)
}

/// Every changed cluster and image, and every unit that is left out, one a row.
///
/// # Errors
/// None on data; what the CSV writer says.
pub fn changed_csv(comparison: &Comparison) -> Result<Vec<u8>, csv::Error> {
    let mut rows = csv::Writer::from_writer(Vec::new());
    rows.write_record(["other", "what", "run", "name", "change", "first", "second"])?;
    for other in &comparison.others {
        for c in &other.changed_clusters {
            let ClusterChange {
                run,
                cluster,
                gained,
                ..
            } = c;
            let change = if *gained {
                "now exact"
            } else {
                "no longer exact"
            };
            let [first, second] = [!gained, *gained].map(|exact| if exact { "1" } else { "0" });
            rows.write_record([&other.name, "cluster", run, cluster, change, first, second])?;
        }
        for f in &other.changed_frames {
            let FrameChange { run, frame, .. } = f;
            let change = if f.errors_other < f.errors_first {
                "better"
            } else {
                "worse"
            };
            let [first, second] = [f.errors_first, f.errors_other].map(|n| n.to_string());
            rows.write_record([&other.name, "image", run, frame, change, &first, &second])?;
        }
        for (names, side) in [
            (&other.only_first, "only in the first"),
            (&other.only_here, "only in the other"),
        ] {
            for name in names {
                rows.write_record([&other.name, "unit", &name.run, &name.unit, side, "", ""])?;
            }
        }
    }
    finish(rows)
}

/// The figures as a plain LaTeX tabular that needs no package: one row a figure, two columns a variant.
#[must_use]
pub fn figures_tex(comparison: &Comparison) -> String {
    let mut out = String::new();
    let columns = "lr".to_owned() + &"rl".repeat(comparison.others.len());
    let _ = writeln!(out, "\\begin{{tabular}}{{{columns}}}\n\\hline");
    let _ = write!(out, "figure & {}", escaped(&comparison.first));
    for other in &comparison.others {
        let _ = write!(
            out,
            " & {} & difference, 95\\,\\% interval",
            escaped(&other.name)
        );
    }
    out.push_str(" \\\\\n\\hline\n");
    let rows = comparison.others.first().map_or(0, |o| o.figures.len());
    for row in 0..rows {
        let of: Vec<&Difference> = comparison
            .others
            .iter()
            .filter_map(|o| o.figures.get(row))
            .collect();
        if of.iter().all(|f| f.difference.is_none()) {
            continue;
        }
        tex_row(&mut out, &of);
    }
    out.push_str("\\hline\n\\end{tabular}\n");
    out
}

fn tex_row(out: &mut String, of: &[&Difference]) {
    let number = |v: Option<f64>| v.map_or_else(|| "--".to_owned(), |v| format!("{v:.3}"));
    if let Some(figure) = of.first() {
        let title = format!("{}: {}", figure.part, figure.figure.replace('_', " "));
        let _ = write!(out, "{} & {}", escaped(&title), number(figure.first));
    }
    for figure in of {
        let _ = write!(out, " & {} & ", number(figure.other));
        if let Some(d) = figure.difference {
            let _ = write!(out, "${d:+.3}$");
        }
        if let Some((low, high)) = figure.low.zip(figure.high) {
            let _ = write!(out, " $[{low:+.3}, {high:+.3}]$");
        }
        if let Some(p) = figure.p_all {
            let _ = write!(out, ", $p = {p:.3}$");
        }
    }
    out.push_str(" \\\\\n");
}

/// Text with what LaTeX would take for its own made harmless.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' => out.push_str("\\textbackslash{}"),
            '\n' | '\r' => out.push(' '),
            '~' => out.push_str("\\textasciitilde{}"),
            '^' => out.push_str("\\textasciicircum{}"),
            '&' | '%' | '$' | '#' | '_' | '{' | '}' => {
                out.push('\\');
                out.push(c);
            }
            other => out.push(other),
        }
    }
    out
}
