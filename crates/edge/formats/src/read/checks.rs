//! Checks that several files share.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place};
use crate::wire::num::{Num, vector3};
use crate::wire::pose::NORM_TOLERANCE;
use corymb_model::{Direction, Point};
use std::collections::BTreeMap;

/// Adds a problem where the number is not greater than zero.
pub(crate) fn positive(n: Num, place: impl FnOnce() -> Place, out: &mut Findings) -> f64 {
    out.unless(n.0 > 0.0, || {
        Finding::new(Code::NotPositive, place(), "a number greater than 0")
    });
    n.0
}

/// Adds a problem where the number is below zero.
pub(crate) fn not_negative(n: Num, place: impl FnOnce() -> Place, out: &mut Findings) -> f64 {
    out.unless(n.0 >= 0.0, || {
        Finding::new(Code::Negative, place(), "0 or more")
    });
    n.0
}

/// Adds a problem where the number is no share or probability.
pub(crate) fn share(n: Num, place: impl FnOnce() -> Place, out: &mut Findings) -> f64 {
    out.unless((0.0..=1.0).contains(&n.0), || {
        Finding::new(Code::ShareRange, place(), "a number from 0 to 1")
    });
    n.0
}

/// Adds a problem where the number lies outside the range, both ends included.
pub(crate) fn within(
    n: Num,
    low: f64,
    high: f64,
    place: impl FnOnce() -> Place,
    out: &mut Findings,
) -> f64 {
    out.unless((low..=high).contains(&n.0), || {
        Finding::new(
            Code::NumberOutOfRange,
            place(),
            format!("a number from {low} to {high}"),
        )
    });
    n.0
}

/// Adds a problem where the text is empty or blank.
pub(crate) fn filled(text: &str, place: impl FnOnce() -> Place, out: &mut Findings) {
    out.unless(!text.trim().is_empty(), || {
        Finding::new(Code::TextEmpty, place(), "a name")
    });
}

/// A point from three lengths in metres.
pub(crate) fn point<F>(n: &[Num; 3]) -> Point<F> {
    Point::from_vector(vector3(n))
}

/// A unit vector, normalised; adds a problem where its length is not 1 within the tolerance.
pub(crate) fn unit_vector<F>(
    n: &[Num; 3],
    place: impl FnOnce() -> Place,
    out: &mut Findings,
) -> Option<Direction<F>> {
    let v = vector3(n);
    let norm = v.norm();
    out.unless((norm - 1.0).abs() <= NORM_TOLERANCE, || {
        Finding::new(
            Code::DirectionNorm,
            place(),
            format!("a length of 1 within {NORM_TOLERANCE} (it is {norm:.6})"),
        )
    });
    Direction::of(v)
}

/// Ids of one kind, each allowed once.
#[derive(Debug)]
pub(crate) struct Ids {
    kind: &'static str,
    position: BTreeMap<String, usize>,
}

impl Ids {
    pub(crate) fn of(kind: &'static str) -> Self {
        Self {
            kind,
            position: BTreeMap::new(),
        }
    }

    /// Adds the next id; an empty or repeated one is a problem.
    pub(crate) fn add(&mut self, id: &str, place: impl Fn() -> Place, out: &mut Findings) {
        filled(id, &place, out);
        let next = self.position.len();
        if let Some(first) = self.position.get(id) {
            let expected = format!(
                "an id that no other {} has ({} has it already)",
                self.kind,
                ordinal(*first, self.kind)
            );
            out.push(Finding::new(Code::IdTwice, place(), expected));
        } else {
            self.position.insert(id.to_owned(), next);
        }
    }

    pub(crate) fn position(&self, id: &str) -> Option<usize> {
        self.position.get(id).copied()
    }

    pub(crate) fn names(&self) -> impl Iterator<Item = &str> {
        self.position.keys().map(String::as_str)
    }
}

fn ordinal(position: usize, kind: &str) -> String {
    format!("{kind} number {}", position + 1)
}

/// A finding that a name is not among those known, with the nearest one as a suggestion.
pub(crate) fn unknown_name<'k>(
    code: Code,
    place: Place,
    wrong: &str,
    known: impl Iterator<Item = &'k str>,
    of: &str,
) -> Finding {
    suggest(
        Finding::new(code, place, format!("the id of a known {of}")),
        wrong,
        known,
    )
}

/// Adds the nearest of `candidates` as a suggestion, where one is near.
pub(crate) fn suggest<'k>(
    finding: Finding,
    wrong: &str,
    candidates: impl Iterator<Item = &'k str>,
) -> Finding {
    match nearest(wrong, candidates) {
        Some(near) => {
            let advice = format!("Did you mean `{near}`? {}", finding.code.entry().action);
            finding.advice(advice)
        }
        None => finding,
    }
}

/// The candidate at the smallest edit distance, where that is small against the word's length; ties by order.
fn nearest<'k>(wrong: &str, candidates: impl Iterator<Item = &'k str>) -> Option<&'k str> {
    let wrong = wrong.to_lowercase();
    let near = candidates
        .map(|c| (strsim::osa_distance(&wrong, &c.to_lowercase()), c))
        .min_by_key(|p| p.0)?;
    let most = (wrong.chars().count().max(near.1.chars().count()) / 3).max(1);
    (near.0 <= most).then_some(near.1)
}
