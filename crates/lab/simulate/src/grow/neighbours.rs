//! What stands where, for growing without overlap.

use super::body::TrueBody;
use super::polyline::Segment;
use nalgebra::Vector3;
use std::collections::BTreeMap;

/// Edge of a cell, metres: larger than any body with its stem reaches.
const CELL_M: f64 = 0.08;

type Cell = [i64; 3];

/// Bodies and wood by cells of space. Queries only; no order comes out of it.
pub(super) struct Neighbours {
    bodies: BTreeMap<Cell, Vec<usize>>,
    wood: BTreeMap<Cell, Vec<Segment>>,
}

impl Neighbours {
    pub(super) fn new(wood: &[Segment]) -> Self {
        let mut cells: BTreeMap<Cell, Vec<Segment>> = BTreeMap::new();
        for s in wood {
            let steps = ((s.b - s.a).norm() / (0.5 * CELL_M)).ceil().max(1.0) as usize;
            let mut last = None;
            for k in 0..=steps {
                let cell = cell(&(s.a + (s.b - s.a) * (k as f64 / steps as f64)));
                if last != Some(cell) {
                    cells.entry(cell).or_default().push(*s);
                }
                last = Some(cell);
            }
        }
        Self {
            bodies: BTreeMap::new(),
            wood: cells,
        }
    }

    pub(super) fn add(&mut self, body: &TrueBody, idx: usize) {
        self.bodies
            .entry(cell(&body.centre.xyz))
            .or_default()
            .push(idx);
    }

    /// Whether `body` keeps `gap_m` from every other and neither meets wood nor has its stem through another body.
    pub(super) fn has_room(
        &self,
        body: &TrueBody,
        others: &[TrueBody],
        gap_m: f64,
        off_wood: bool,
    ) -> bool {
        let at = cell(&body.centre.xyz);
        around(at).all(|c| {
            let near = self
                .bodies
                .get(&c)
                .into_iter()
                .flatten()
                .filter_map(|k| others.get(*k));
            near.into_iter().all(|other| apart(body, other, gap_m))
        }) && (!off_wood || self.clear_of_wood(body, at))
    }

    fn clear_of_wood(&self, body: &TrueBody, at: Cell) -> bool {
        around(at).all(|c| {
            let near = self.wood.get(&c).into_iter().flatten();
            near.into_iter()
                .all(|s| s.axis_distance(&body.centre.xyz) > s.radius_m + body.outer_radius_m())
        })
    }
}

fn apart(a: &TrueBody, b: &TrueBody, gap_m: f64) -> bool {
    let distance_m = (a.centre.xyz - b.centre.xyz).norm();
    let stems_clear = |of: &TrueBody, from: &TrueBody| {
        of.stem
            .iter()
            .all(|p| (p.xyz - from.centre.xyz).norm() > from.radius_m() + gap_m.min(0.0))
    };
    distance_m > a.outer_radius_m() + b.outer_radius_m() + gap_m
        && stems_clear(a, b)
        && stems_clear(b, a)
}

fn cell(p: &Vector3<f64>) -> Cell {
    [p.x, p.y, p.z].map(|v| (v / CELL_M).floor() as i64)
}

fn around(c: Cell) -> impl Iterator<Item = Cell> {
    let steps = || -1..=1_i64;
    steps().flat_map(move |i| {
        steps().flat_map(move |j| steps().map(move |k| [c[0] + i, c[1] + j, c[2] + k]))
    })
}
