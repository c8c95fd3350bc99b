//! From which stops of the platform everything is reached.
//!
//! Each removal can be done from an interval of stops. Removals of a cluster that share a stop are done from one; where
//! they do not, their sequence is cut into the longest pieces that do, from the front. The pieces are intervals, and the
//! fewest stops that meet them all come from the classic greedy step: take the piece that ends first, stop at its end,
//! drop all that are met, repeat. Of equally few stops those in the middle of what they serve are taken, where the arm
//! has most room.
//!
//! The platform goes forward once. Only where a cluster's later piece lies behind its earlier one does it come back,
//! and forward again, as often as needed.

use crate::tasks::Task;
use std::collections::BTreeMap;

/// A stay at a stop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Visit {
    /// The stop; `None` where stops are not known.
    pub(crate) stop: Option<i64>,
    /// Positions among the tasks.
    pub(crate) tasks: Vec<usize>,
}

/// Successive removals of one cluster that can be done from one stop.
#[derive(Debug)]
struct Piece {
    tasks: Vec<usize>,
    /// First and last stop; `None` = any.
    stops: Option<(i64, i64)>,
    /// Whether it goes on with the cluster of the piece before.
    continues: bool,
}

/// Visits in the order of travel; what needs no particular stop comes last, without one. O(n log n + n x stops).
pub(crate) fn plan(tasks: &[Task<'_>]) -> Vec<Visit> {
    let pieces = pieces(tasks);
    let intervals: Vec<(i64, i64)> = pieces.iter().filter_map(|p| p.stops).collect();
    let at = centred(&intervals, &assigned(&intervals, &fewest(&intervals)));
    visits(&pieces, &at)
}

fn pieces(tasks: &[Task<'_>]) -> Vec<Piece> {
    let mut pieces: Vec<Piece> = Vec::new();
    for (t, task) in tasks.iter().enumerate() {
        let continues = task.before.is_some();
        let shared = pieces
            .last()
            .filter(|_| continues)
            .and_then(|p| common(p.stops, task.plan.stops));
        match (shared, pieces.last_mut()) {
            (Some(stops), Some(piece)) => {
                piece.stops = stops;
                piece.tasks.push(t);
            }
            _ => pieces.push(Piece {
                tasks: vec![t],
                stops: task.plan.stops,
                continues,
            }),
        }
    }
    pieces
}

/// The stops of both; `None` where there is none.
fn common(a: Option<(i64, i64)>, b: Option<(i64, i64)>) -> Option<Option<(i64, i64)>> {
    match (a, b) {
        (Some(a), Some(b)) => {
            let both = (a.0.max(b.0), a.1.min(b.1));
            (both.0 <= both.1).then_some(Some(both))
        }
        (one, other) => Some(one.or(other)),
    }
}

/// The fewest stops that meet every interval, ascending.
fn fewest(intervals: &[(i64, i64)]) -> Vec<i64> {
    let mut by_end: Vec<(i64, i64)> = intervals
        .iter()
        .map(|&(first, last)| (last, first))
        .collect();
    by_end.sort_unstable();
    let mut stops: Vec<i64> = Vec::new();
    for (last, first) in by_end {
        if stops.last().is_none_or(|&stop| stop < first) {
            stops.push(last);
        }
    }
    stops
}

/// For each interval the stop that lies nearest to its middle, the lower one of two.
fn assigned(intervals: &[(i64, i64)], stops: &[i64]) -> Vec<i64> {
    let nearest = |&(first, last): &(i64, i64)| {
        let inside = stops.iter().copied().filter(|s| (first..=last).contains(s));
        inside
            .min_by_key(|s| ((2 * s - first - last).abs(), *s))
            .unwrap_or(last)
    };
    intervals.iter().map(nearest).collect()
}

/// The stops moved to the middle of what all their intervals share.
fn centred(intervals: &[(i64, i64)], at: &[i64]) -> Vec<i64> {
    let mut shared: BTreeMap<i64, (i64, i64)> = BTreeMap::new();
    for (&(first, last), &stop) in intervals.iter().zip(at) {
        let both = shared.entry(stop).or_insert((first, last));
        *both = (both.0.max(first), both.1.min(last));
    }
    let middle = |stop: &i64| {
        shared
            .get(stop)
            .map_or(*stop, |(first, last)| first + (last - first) / 2)
    };
    at.iter().map(middle).collect()
}

fn visits(pieces: &[Piece], at: &[i64]) -> Vec<Visit> {
    let mut at = at.iter().copied();
    let mut by_time: BTreeMap<(i64, i64), Visit> = BTreeMap::new();
    let mut anywhere: Vec<usize> = Vec::new();
    let mut here: Option<(i64, i64)> = None;
    for piece in pieces {
        let Some(stop) = piece.stops.and_then(|_| at.next()) else {
            anywhere.extend(&piece.tasks);
            continue;
        };
        let sweep = match here.filter(|_| piece.continues) {
            Some((sweep, before)) if is_behind(sweep, before, stop) => sweep + 1,
            Some((sweep, _)) => sweep,
            None => 0,
        };
        here = Some((sweep, stop));
        let key = (sweep, if sweep % 2 == 0 { stop } else { -stop });
        let visit = by_time.entry(key).or_insert_with(|| Visit {
            stop: Some(stop),
            tasks: Vec::new(),
        });
        visit.tasks.extend(&piece.tasks);
    }
    let mut visits: Vec<Visit> = by_time.into_values().collect();
    if !anywhere.is_empty() {
        visits.push(Visit {
            stop: None,
            tasks: anywhere,
        });
    }
    visits
}

/// Whether a stop has been passed already in a sweep; even sweeps go up, odd ones come back.
fn is_behind(sweep: i64, before: i64, stop: i64) -> bool {
    if sweep % 2 == 0 {
        stop < before
    } else {
        stop > before
    }
}
