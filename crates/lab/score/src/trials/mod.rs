//! Field trials of orders, summarised: rates with their intervals, causes of failure, times, and what the orders had
//! promised against what came of it.
//!
//! Nothing is inferred: a rate is of the trials in which the thing was observed, a conditional rate of those in which
//! the condition was observed to hold as well.

mod promised;
mod text;

pub use promised::Promised;
pub use text::text;

use crate::figure::{Share, Spread};
use corymb_model::trials::{StatedChance, Trial};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// What everybody who reads such a summary must know.
pub const CAUTION: &str = "A moving arm with a blade can hurt people. Trials like these prove no safety, and corymb is \
    not a safety function: ISO 12100, ISO 10218-1/-2, ISO 13849-1, ISO 18497 and local codes apply to the machine.";

/// The trials in figures.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrialSummary {
    /// Number of trials.
    pub trials: usize,
    /// Rates over all trials.
    pub rates: TrialRates,
    /// Seconds of the trials that were timed.
    pub seconds: Spread,
    /// Trials that were observed to fail, by cause: most first, ties by cause; `null` where none is stated.
    pub failures: Vec<CauseCount>,
    /// Trials that state a cause though they were not observed to fail.
    pub causes_without_failure: usize,
    /// The rates by tool, in the order of their names; empty where no trial names one.
    pub by_tool: Vec<ToolRates>,
    /// Against the orders, where they were given.
    pub promised: Option<Promised>,
    /// What the figures do not say by themselves.
    pub remarks: Vec<String>,
}

/// Rates with 95 % Wilson intervals.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrialRates {
    /// Came to the fruit.
    pub reached: Share,
    /// Had the fruit within the tool.
    pub enclosed: Share,
    /// Cut the stem.
    pub cut: Share,
    /// Harmed something.
    pub damage: Share,
    /// Cut and harmed nothing; see [`success`].
    pub success: Share,
    /// Enclosed, of those that reached.
    pub enclosed_of_reached: Share,
    /// Cut, of those that enclosed.
    pub cut_of_enclosed: Share,
    /// Cut, of those that reached.
    pub cut_of_reached: Share,
}

/// Failures of one cause.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CauseCount {
    /// As written; `None` = not stated.
    pub cause: Option<String>,
    /// Failed trials.
    pub trials: usize,
}

/// The trials of one tool.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ToolRates {
    /// As written; `None` = not stated.
    pub tool: Option<String>,
    /// Number of trials.
    pub trials: usize,
    /// Their rates.
    pub rates: TrialRates,
}

/// Whether a trial cut its fruit and harmed nothing. What was not cut or did harm has failed, whatever else was
/// observed; where neither is known to be so and one was not observed, the answer is `None`.
#[must_use]
pub fn success(trial: &Trial) -> Option<bool> {
    match (trial.cut, trial.damage) {
        (Some(false), _) | (_, Some(true)) => Some(false),
        (Some(true), Some(false)) => Some(true),
        _ => None,
    }
}

/// Summarises trials, with what `chances` promised where they are given. O(n log n).
#[must_use]
pub fn summarise(trials: &[Trial], chances: Option<&[StatedChance]>) -> TrialSummary {
    let all: Vec<&Trial> = trials.iter().collect();
    let rates = rates(&all);
    let failed = |t: &&Trial| success(t) == Some(false);
    TrialSummary {
        trials: trials.len(),
        seconds: Spread::of(
            trials.iter().filter_map(|t| t.seconds).collect(),
            "no trial was timed",
        ),
        failures: by_cause(trials.iter().filter(failed)),
        causes_without_failure: trials
            .iter()
            .filter(|t| t.cause.is_some() && !failed(t))
            .count(),
        by_tool: by_tool(trials),
        promised: chances.map(|c| Promised::of(trials, c)),
        remarks: remarks(&rates),
        rates,
    }
}

fn rates(trials: &[&Trial]) -> TrialRates {
    type Seen = fn(&Trial) -> Option<bool>;
    let (reached, enclosed, cut): (Seen, Seen, Seen) = (|t| t.reached, |t| t.enclosed, |t| t.cut);
    let rate =
        |seen: Seen, if_none: &str| Share::of(trials.iter().copied().filter_map(seen), if_none);
    let of = |seen: Seen, given: Seen, if_none: &str| {
        let given = trials.iter().copied().filter(|t| given(t) == Some(true));
        Share::of(given.filter_map(seen), if_none)
    };
    TrialRates {
        reached: rate(reached, "reaching was observed in no trial"),
        enclosed: rate(enclosed, "enclosing was observed in no trial"),
        cut: rate(cut, "cutting was observed in no trial"),
        damage: rate(|t| t.damage, "damage was looked for in no trial"),
        success: rate(success, "success is known of no trial"),
        enclosed_of_reached: of(
            enclosed,
            reached,
            "enclosing was observed in no trial that reached",
        ),
        cut_of_enclosed: of(
            cut,
            enclosed,
            "cutting was observed in no trial that enclosed",
        ),
        cut_of_reached: of(
            cut,
            reached,
            "cutting was observed in no trial that reached",
        ),
    }
}

fn by_cause<'t>(failed: impl Iterator<Item = &'t Trial>) -> Vec<CauseCount> {
    let mut counts: BTreeMap<&Option<String>, usize> = BTreeMap::new();
    for trial in failed {
        *counts.entry(&trial.cause).or_default() += 1;
    }
    let count = |(cause, trials): (&Option<String>, usize)| CauseCount {
        cause: cause.clone(),
        trials,
    };
    let mut counts: Vec<CauseCount> = counts.into_iter().map(count).collect();
    counts.sort_by_key(|c| std::cmp::Reverse(c.trials)); // stable: ties stay in the order of causes
    counts
}

fn by_tool(trials: &[Trial]) -> Vec<ToolRates> {
    let tools: BTreeSet<&Option<String>> = trials.iter().map(|t| &t.tool).collect();
    if tools.iter().all(|tool| tool.is_none()) {
        return Vec::new();
    }
    let of = |tool: &Option<String>| {
        let used: Vec<&Trial> = trials.iter().filter(|t| t.tool == *tool).collect();
        ToolRates {
            tool: tool.clone(),
            trials: used.len(),
            rates: rates(&used),
        }
    };
    tools.into_iter().map(of).collect()
}

fn remarks(rates: &TrialRates) -> Vec<String> {
    let mut remarks = Vec::new();
    if let (0, Some(high)) = (rates.damage.num, rates.damage.high) {
        remarks.push(format!(
            "No damage in {} trials does not mean none: a true rate of up to {:.1} % is compatible with it (upper end of \
             the two-sided 95 % Wilson interval).",
            rates.damage.den,
            100.0 * high
        ));
    }
    remarks.push(CAUTION.to_owned());
    remarks
}
