//! A symmetric positive definite system in envelope (skyline) storage with its Cholesky factor.
//!
//! Poses in the order of time couple with near ones only, and the few mounts come last with full rows: the envelope
//! holds just that, and the factor fills nothing outside it (George and Liu, Computer Solution of Large Sparse
//! Positive Definite Systems, 1981, ch. 4). Cost: sum over rows of (row width)^2 / 2.

/// Lower triangle, row by row, each from its first entry that may differ from zero.
#[derive(Debug, Clone)]
pub(crate) struct Envelope {
    first: Vec<usize>,
    start: Vec<usize>,
    data: Vec<f64>,
}

impl Envelope {
    /// `first[i] <= i`: the first column of row i.
    pub(crate) fn zeros(first: Vec<usize>) -> Self {
        let mut start = Vec::with_capacity(first.len() + 1);
        let mut at = 0;
        for (i, f) in first.iter().enumerate() {
            start.push(at);
            at += i - f + 1;
        }
        start.push(at);
        Self {
            first,
            start,
            data: vec![0.0; at],
        }
    }

    /// Multiplications that the factor of such an envelope costs.
    pub(crate) fn cost(first: &[usize]) -> f64 {
        first
            .iter()
            .enumerate()
            .map(|(i, f)| ((i - f + 1) as f64).powi(2) * 0.5)
            .sum()
    }

    pub(crate) fn len(&self) -> usize {
        self.first.len()
    }

    fn row(&self, i: usize) -> &[f64] {
        &self.data[self.start[i]..self.start[i + 1]]
    }

    /// Adds to entry (i, j), i >= j, inside the envelope.
    pub(crate) fn add(&mut self, i: usize, j: usize, v: f64) {
        debug_assert!(j >= self.first[i] && j <= i);
        self.data[self.start[i] + j - self.first[i]] += v;
    }

    /// Entries (i, j) to (i, j + len), inside the envelope.
    pub(crate) fn part_mut(&mut self, i: usize, j: usize, len: usize) -> &mut [f64] {
        let at = self.start[i] + j - self.first[i];
        &mut self.data[at..at + len]
    }

    /// Factors in place; `None` where the matrix is not positive definite.
    pub(crate) fn factor(mut self) -> Option<Factor> {
        for i in 0..self.len() {
            let (head, tail) = self.data.split_at_mut(self.start[i]);
            let fi = self.first[i];
            let row = &mut tail[..=i - fi];
            for j in fi..i {
                let fj = self.first[j];
                let from = fi.max(fj);
                let other = &head[self.start[j]..self.start[j + 1]];
                let dot: f64 = row[from - fi..j - fi]
                    .iter()
                    .zip(&other[from - fj..j - fj])
                    .map(|(a, b)| a * b)
                    .sum();
                row[j - fi] = (row[j - fi] - dot) / other[j - fj];
            }
            let rest: f64 = row[..i - fi].iter().map(|v| v * v).sum();
            let d = row[i - fi] - rest;
            if d.is_nan() || d <= 0.0 {
                return None;
            }
            row[i - fi] = d.sqrt();
        }
        Some(Factor(self))
    }
}

/// The factor L of L L' = A.
#[derive(Debug, Clone)]
pub(crate) struct Factor(Envelope);

impl Factor {
    /// Solves A x = b in place.
    pub(crate) fn solve(&self, b: &mut [f64]) {
        let e = &self.0;
        for i in 0..e.len() {
            let row = e.row(i);
            let dot: f64 = row[..row.len() - 1]
                .iter()
                .zip(&b[e.first[i]..i])
                .map(|(a, x)| a * x)
                .sum();
            b[i] = (b[i] - dot) / row[row.len() - 1];
        }
        for i in (0..e.len()).rev() {
            let row = e.row(i);
            b[i] /= row[row.len() - 1];
            let x = b[i];
            for (k, a) in row[..row.len() - 1].iter().enumerate() {
                b[e.first[i] + k] -= a * x;
            }
        }
    }
}

impl Factor {
    /// The diagonal of the inverse of A, at the cost of another factor.
    ///
    /// Of the inverse Z only entries inside the envelope are needed, from the last column to the first:
    /// `Z_ij = ([i = j] / L_jj - sum over k > j of L_kj Z_ik) / L_jj` (Takahashi, Fagan and Chen, Formation of a sparse
    /// bus impedance matrix, 1973; Erisman and Tinney, Communications of the ACM 18(3), 1975).
    pub(crate) fn inverse_diagonal(&self) -> Vec<f64> {
        let l = &self.0;
        let n = l.len();
        // rows below the diagonal that reach into a column
        let mut below: Vec<Vec<usize>> = vec![Vec::new(); n];
        for i in 0..n {
            for column in &mut below[l.first[i]..i] {
                column.push(i);
            }
        }
        let at = |i: usize, j: usize| l.start[i] + j - l.first[i];
        let mut z = vec![0.0; l.data.len()];
        for j in (0..n).rev() {
            let diagonal = l.data[at(j, j)];
            let mut own = 1.0 / diagonal;
            for &i in &below[j] {
                let sum: f64 = below[j]
                    .iter()
                    .map(|&k| l.data[at(k, j)] * z[at(i.max(k), i.min(k))])
                    .sum();
                z[at(i, j)] = -sum / diagonal;
                own -= l.data[at(i, j)] * z[at(i, j)];
            }
            z[at(j, j)] = own / diagonal;
        }
        (0..n).map(|i| z[at(i, i)]).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::Envelope;
    use nalgebra::{DMatrix, DVector};
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn solves_like_a_dense_factor(n in 1_usize..12, seed in prop::collection::vec(-1.0_f64..1.0, 400), widths in prop::collection::vec(0_usize..6, 12)) {
            let first: Vec<usize> = (0..n).map(|i| if i + 2 >= n { 0 } else { i.saturating_sub(widths[i]) }).collect();
            let mut dense = DMatrix::<f64>::zeros(n, n);
            let mut env = Envelope::zeros(first.clone());
            for i in 0..n {
                for j in first[i]..=i {
                    let v = if i == j { 12.0 + seed[i] } else { seed[20 + i * 12 + j] };
                    env.add(i, j, v);
                    dense[(i, j)] = v;
                    dense[(j, i)] = v;
                }
            }
            let b: Vec<f64> = (0..n).map(|i| seed[300 + i]).collect();
            let mut x = b.clone();
            let factor = env.factor().unwrap();
            factor.solve(&mut x);
            let inverse = dense.clone().try_inverse().unwrap();
            for (i, v) in factor.inverse_diagonal().iter().enumerate() {
                prop_assert!((v - inverse[(i, i)]).abs() < 1e-10);
            }
            let back = dense * DVector::from_vec(x);
            for i in 0..n {
                prop_assert!((back[i] - b[i]).abs() < 1e-10);
            }
        }
    }

    #[test]
    fn refuses_what_is_not_positive() {
        let mut env = Envelope::zeros(vec![0, 0]);
        env.add(0, 0, 1.0);
        env.add(1, 1, 1.0);
        env.add(1, 0, 2.0);
        assert!(env.factor().is_none());
    }
}
