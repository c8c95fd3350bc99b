//! The summary of trials for people.

use super::{Promised, TrialRates, TrialSummary};
use crate::figure::Share;
use std::fmt::Write;

/// Ids listed in a line of the table; the serialised summary has all.
const LISTED: usize = 12;

/// The summary as a table: each rate with its counts, its 95 % Wilson interval and how wide that is in percentage
/// points.
#[must_use]
pub fn text(summary: &TrialSummary) -> String {
    let mut out = String::new();
    row(&mut out, "trials", &summary.trials.to_string());
    rates(&mut out, &summary.rates);
    let seconds = &summary.seconds;
    let times = match (seconds.median, seconds.p90) {
        (Some(median), Some(p90)) => {
            format!("median {median:.2}, 90 % within {p90:.2} (n {})", seconds.n)
        }
        _ => undefined(seconds.reason.as_deref()),
    };
    row(&mut out, "seconds", &times);
    if !summary.failures.is_empty() {
        head(&mut out, "failures by cause");
    }
    for failure in &summary.failures {
        let cause = failure.cause.as_deref().unwrap_or("(not stated)");
        row(&mut out, cause, &failure.trials.to_string());
    }
    if summary.causes_without_failure > 0 {
        let count = summary.causes_without_failure.to_string();
        row(&mut out, "cause stated, no failure observed", &count);
    }
    for tool in &summary.by_tool {
        let name = tool.tool.as_deref().unwrap_or("(not stated)");
        head(&mut out, &format!("tool {name}"));
        row(&mut out, "trials", &tool.trials.to_string());
        rates(&mut out, &tool.rates);
    }
    if let Some(against) = &summary.promised {
        promised(&mut out, against);
    }
    for remark in &summary.remarks {
        let _ = writeln!(out, "\n{remark}");
    }
    out
}

fn rates(out: &mut String, rates: &TrialRates) {
    for (name, share) in [
        ("reached", &rates.reached),
        ("enclosed", &rates.enclosed),
        ("cut", &rates.cut),
        ("damage", &rates.damage),
        ("success (cut and no damage)", &rates.success),
        ("enclosed, of reached", &rates.enclosed_of_reached),
        ("cut, of enclosed", &rates.cut_of_enclosed),
        ("cut, of reached", &rates.cut_of_reached),
    ] {
        row(out, name, &rate(share));
    }
}

fn promised(out: &mut String, promised: &Promised) {
    head(out, "promised and achieved success");
    let success = &promised.success;
    let line = match (success.brier, success.stated) {
        (Some(brier), Some(stated)) => {
            format!("Brier {brier:.3}, promised {stated:.3} (n {})", success.n)
        }
        _ => undefined(success.reason.as_deref()),
    };
    row(out, "all", &line);
    row(out, "achieved", &rate(&success.came_true));
    for bin in &success.bins {
        let name = format!("promised {:.1} to {:.1}", bin.from, bin.to);
        let line = format!("mean {:.3}, {}", bin.stated, rate(&bin.came_true));
        row(out, &name, &line);
    }
    let count = promised.success_not_known.to_string();
    row(out, "success not known, left out", &count);
    row(
        out,
        "orders to look, left out",
        &ids(&promised.orders_to_look),
    );
    row(
        out,
        "orders not known, left out",
        &ids(&promised.unknown_orders),
    );
    row(out, "orders never tried", &ids(&promised.never_tried));
}

fn rate(share: &Share) -> String {
    match (share.value, share.low, share.high) {
        (Some(value), Some(low), Some(high)) => {
            let [value, low, high] = [value, low, high].map(|v| 100.0 * v);
            let (counts, wide) = (format!("{}/{}", share.num, share.den), high - low);
            format!("{value:5.1} %  {counts:>9}  [{low:.1}, {high:.1}], {wide:.1} points wide")
        }
        _ => undefined(share.reason.as_deref()),
    }
}

fn ids(ids: &[String]) -> String {
    let mut line = ids.len().to_string();
    if !ids.is_empty() {
        let shown: Vec<&str> = ids.iter().take(LISTED).map(String::as_str).collect();
        let more = if ids.len() > LISTED { ", .." } else { "" };
        let _ = write!(line, ": {}{more}", shown.join(", "));
    }
    line
}

fn undefined(reason: Option<&str>) -> String {
    format!("- ({})", reason.unwrap_or("undefined"))
}

fn head(out: &mut String, title: &str) {
    let _ = writeln!(out, "{}", title.to_uppercase());
}

fn row(out: &mut String, title: &str, value: &str) {
    let _ = writeln!(out, "  {title:36}{value}");
}
