//! Weighted interval selection along a limb, with the number of fruit meant to stay as a second dimension.
//!
//! Clusters are taken in the order of their spurs from base to tip. A state is the last cluster that keeps fruit and
//! the number of fruit so far; since spurs are on a line, gaps between neighbours that keep fruit are all that the
//! spacing has to say; fruit that ought to go and cannot be reached keeps no place. A gap below the spacing is allowed
//! at the price of one unit of excess, so bounds that cannot be met are missed by as little as possible. A cluster that
//! keeps nothing may still have a score, for what hangs there out of reach: scores are taken relative to that of keeping
//! nothing, so that it need not be visited. Time O(clusters x fruit x (1 + clusters within the spacing)).

use crate::score::Score;

/// One thing that can be done with a cluster: the best way that means `stays` fruit to stay.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Choice {
    /// Fruit that is meant to stay.
    pub(crate) stays: usize,
    /// How it compares.
    pub(crate) score: Score,
    /// Position among the candidates of the cluster.
    pub(crate) candidate: usize,
}

/// A cluster on a limb.
#[derive(Debug)]
pub(crate) struct Site {
    /// Position in the map.
    pub(crate) cluster_idx: usize,
    /// Distance of the spur from the base of the limb, metres.
    pub(crate) along_m: f64,
    /// What can be done with it.
    pub(crate) choices: Vec<Choice>,
}

impl Site {
    /// The score of keeping nothing; zero where that cannot be.
    fn emptied(&self) -> Score {
        let nothing = self.choices.iter().find(|c| c.stays == 0);
        nothing.map_or_else(Score::default, |c| c.score)
    }
}

/// The best ways to arrive somewhere, by number of fruit: the score and the last site that keeps fruit.
type Row = Vec<Option<(Score, Option<usize>)>>;

#[derive(Debug, Clone, Copy)]
struct Cell {
    score: Score,
    choice: usize,
    before: Option<usize>,
}

/// All that a limb can offer.
#[derive(Debug)]
pub(crate) struct LimbTable {
    /// By site, then by number of fruit up to and with it: the best that keeps fruit at this site.
    cells: Vec<Vec<Option<Cell>>>,
    /// By number of fruit on the whole limb.
    ends: Row,
    /// What all scores above are relative to.
    emptied: Score,
}

impl LimbTable {
    /// `sites` ascending along the limb; a gap of `least_gap_m` or more is far enough.
    pub(crate) fn of(sites: &[Site], least_gap_m: Option<f64>) -> Self {
        let mut cells: Vec<Vec<Option<Cell>>> = Vec::with_capacity(sites.len());
        let mut far: Row = vec![Some((Score::default(), None))];
        let mut next_far = 0;
        for (i, site) in sites.iter().enumerate() {
            while next_far < i && is_far(&sites[next_far], site, least_gap_m) {
                absorb(&mut far, &cells[next_far], next_far);
                next_far += 1;
            }
            let mut near: Row = Vec::new();
            for (j, row) in cells.iter().enumerate().skip(next_far) {
                absorb(&mut near, row, j);
            }
            cells.push(keeping(site, &far, &near));
            if !site.choices.iter().any(|c| c.stays == 0) {
                // nobody gets past this site without stopping at it
                far.clear();
                next_far = i;
            }
        }
        for (j, row) in cells.iter().enumerate().skip(next_far) {
            absorb(&mut far, row, j);
        }
        let mut emptied = Score::default();
        sites.iter().for_each(|site| emptied += site.emptied());
        Self {
            cells,
            ends: far,
            emptied,
        }
    }

    /// The best score for each number of fruit on the limb.
    pub(crate) fn scores(&self) -> Vec<Option<Score>> {
        self.ends
            .iter()
            .map(|end| end.map(|(score, _)| score + self.emptied))
            .collect()
    }

    /// The choice at each site (position in its `choices`) for `count` fruit on the limb.
    pub(crate) fn trace(&self, sites: &[Site], count: usize) -> Vec<usize> {
        let nothing = |s: &Site| s.choices.iter().position(|c| c.stays == 0).unwrap_or(0);
        let mut picks: Vec<usize> = sites.iter().map(nothing).collect();
        let mut left = count;
        let mut at = self
            .ends
            .get(count)
            .copied()
            .flatten()
            .and_then(|(_, last)| last);
        while let Some(i) = at {
            let Some(cell) = self.cells[i].get(left).copied().flatten() else {
                break;
            };
            picks[i] = cell.choice;
            left -= sites[i].choices[cell.choice].stays;
            at = cell.before;
        }
        picks
    }
}

fn is_far(a: &Site, b: &Site, least_gap_m: Option<f64>) -> bool {
    least_gap_m.is_none_or(|gap_m| b.along_m - a.along_m >= gap_m)
}

/// Takes the cells of site `from` into `row` where they are better; the earlier one wins a tie.
fn absorb(row: &mut Row, cells: &[Option<Cell>], from: usize) {
    if row.len() < cells.len() {
        row.resize(cells.len(), None);
    }
    for (slot, cell) in row.iter_mut().zip(cells) {
        if let Some(cell) = cell
            && slot.is_none_or(|(score, _)| cell.score > score)
        {
            *slot = Some((cell.score, Some(from)));
        }
    }
}

/// The best that keeps fruit at `site`, after what lies far enough away or too near.
fn keeping(site: &Site, far: &Row, near: &Row) -> Vec<Option<Cell>> {
    let most = site.choices.iter().map(|c| c.stays).max().unwrap_or(0);
    let mut cells = vec![None; far.len().max(near.len()) + most];
    let emptied = site.emptied();
    let too_near = Score {
        bounds: -1,
        ..Score::default()
    };
    for (choice, c) in site.choices.iter().enumerate().filter(|(_, c)| c.stays > 0) {
        let gain = c.score - emptied;
        for (row, gap) in [(far, Score::default()), (near, too_near)] {
            for (count, state) in row.iter().enumerate() {
                let Some((score, before)) = *state else {
                    continue;
                };
                let score = score + gain + gap;
                let slot: &mut Option<Cell> = &mut cells[count + c.stays];
                if slot.is_none_or(|held| score > held.score) {
                    *slot = Some(Cell {
                        score,
                        choice,
                        before,
                    });
                }
            }
        }
    }
    cells
}
