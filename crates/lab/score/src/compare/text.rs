//! A comparison for people.

use crate::compare::{Against, Comparison, Difference};
use crate::headline::Better;
use std::fmt::Write;

/// Names shown of a list in the text; the files hold all.
const SHOWN: usize = 10;

/// The comparison as text: a block for each variant against the first.
#[must_use]
pub fn text(comparison: &Comparison) -> String {
    let mut out = String::new();
    for other in &comparison.others {
        heading(&mut out, &comparison.first, other);
        for figure in &other.figures {
            line(&mut out, figure);
        }
        changes(&mut out, other);
    }
    let _ = writeln!(
        out,
        "Difference = the other minus the first, over the units in both; [95 % interval, pairs of units drawn again]. p: \
         paired permutation test (~ random exchanges); p all: corrected for all figures above it was tested beside (Holm)."
    );
    out
}

fn heading(out: &mut String, first: &str, other: &Against) {
    let placement = other
        .placement
        .map_or("places judged differently from run to run", |p| p.words());
    let (units, unit) = (other.units, other.unit.plural());
    let _ = writeln!(
        out,
        "{} AGAINST {first}\n  {units} {unit} in both; {placement}",
        other.name
    );
    for (names, side) in [(&other.only_first, first), (&other.only_here, &other.name)] {
        if !names.is_empty() {
            let _ = writeln!(
                out,
                "  left out, as {side} alone has them: {}",
                listed(names.len(), names.iter().map(ToString::to_string))
            );
        }
    }
    let _ = writeln!(
        out,
        "  {:42}{:>9} {:>9} {:>10}  {:22}{:>8} {:>7}  better is",
        "", "first", "other", "difference", "[95 %]", "p", "p all"
    );
}

fn line(out: &mut String, figure: &Difference) {
    let title = format!("{}: {}", figure.part, figure.figure.replace('_', " "));
    let number = |v: Option<f64>| v.map_or_else(|| "-".to_owned(), |v| format!("{v:.3}"));
    let difference = figure
        .difference
        .map_or_else(|| "-".to_owned(), |v| format!("{v:+.3}"));
    let ends = figure.low.zip(figure.high);
    let ends = ends.map_or_else(String::new, |(l, h)| format!("[{l:+.3}, {h:+.3}]"));
    let p = figure.test.map_or_else(String::new, |t| {
        format!("{}{:.4}", if t.exact { "" } else { "~" }, t.p)
    });
    let p_all = figure.p_all.map_or_else(String::new, |p| format!("{p:.3}"));
    let note = match figure.reason {
        Some(reason) => format!("({reason})"),
        None => better(figure.better).to_owned(),
    };
    let _ = writeln!(
        out,
        "  {title:42}{:>9} {:>9} {difference:>10}  {ends:22}{p:>8} {p_all:>7}  {note}",
        number(figure.first),
        number(figure.other),
    );
}

pub(crate) fn better(better: Better) -> &'static str {
    match better {
        Better::Higher => "higher",
        Better::Lower => "lower",
        Better::NearZero => "near 0",
        Better::NearOne => "near 1",
    }
}

fn changes(out: &mut String, other: &Against) {
    let clusters = |gained: bool| -> Vec<String> {
        let those = other.changed_clusters.iter().filter(|c| c.gained == gained);
        those
            .map(|c| format!("{}/{} (of {})", c.run, c.cluster, c.size))
            .collect()
    };
    let frames = |better: bool| -> Vec<String> {
        let those = other.changed_frames.iter();
        those
            .filter(|f| (f.errors_other < f.errors_first) == better)
            .map(|f| {
                format!(
                    "{}/{} ({} -> {})",
                    f.run, f.frame, f.errors_first, f.errors_other
                )
            })
            .collect()
    };
    for (what, all, names) in [
        ("clusters now exact", other.clusters, clusters(true)),
        ("clusters no longer exact", other.clusters, clusters(false)),
        ("images with fewer wrong boxes", other.frames, frames(true)),
        ("images with more wrong boxes", other.frames, frames(false)),
    ] {
        let _ = writeln!(
            out,
            "  {what}: {} of {all}{}{}",
            names.len(),
            if names.is_empty() { "" } else { ": " },
            listed_names(names.into_iter())
        );
    }
    out.push('\n');
}

fn listed(count: usize, names: impl Iterator<Item = String>) -> String {
    format!("{count}: {}", listed_names(names))
}

/// The first names, and that there are more.
fn listed_names(mut names: impl Iterator<Item = String>) -> String {
    let shown: Vec<String> = names.by_ref().take(SHOWN).collect();
    let more = if names.next().is_some() { ", ..." } else { "" };
    shown.join(", ") + more
}
