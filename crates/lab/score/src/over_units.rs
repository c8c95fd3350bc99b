//! The intervals over whole units as a table for people.

use crate::bootstrap::{Interval, Intervals};
use crate::scores::Part;
use std::fmt::Write;

/// A line a figure: value, 95 % interval over units, and the units behind it.
pub(crate) fn section(table: &mut String, intervals: &Part<Intervals>) {
    let intervals = match intervals {
        Part::Scored(intervals) => intervals,
        Part::Absent { absent_because } => {
            let _ = writeln!(table, "INTERVALS OVER UNITS\n  none: {absent_because}");
            return;
        }
    };
    let placement = intervals.placement.words();
    let drawn = match intervals.unit {
        Some(unit) => format!("{} {}", intervals.units, unit.plural()),
        None => "too few units".to_owned(),
    };
    let _ = writeln!(
        table,
        "INTERVALS OVER UNITS\n  95 %, whole units drawn again {} times; {drawn}; {placement}",
        intervals.resamples
    );
    for figure in &intervals.figures {
        let title = format!("{}: {}", figure.part, figure.figure.replace('_', " "));
        let _ = writeln!(table, "  {title:44}{}", cell(figure).trim_end());
    }
}

fn cell(figure: &Interval) -> String {
    let value = figure
        .value
        .map_or_else(|| "-".to_owned(), |v| format!("{v:.3}"));
    let ends = figure.low.zip(figure.high);
    let ends = ends.map(|(low, high)| format!("  [{low:.3}, {high:.3}]  n {}", figure.n));
    let why = figure.reason.iter().map(|r| format!("  ({r})"));
    value + &ends.unwrap_or_default() + &why.collect::<String>()
}
