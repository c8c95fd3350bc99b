//! Pattern search for the highest place of a function without derivatives.

/// Climbs from `start` by steps along each coordinate, repeating a sum of steps that helped, and halving the steps
/// when none does (R. Hooke and T. A. Jeeves, J. ACM 8, 1961). Ends when the steps are under `last_share` of the
/// first ones, after about `evaluations` (a round is finished), or at a height of `enough`. `height` is told the height
/// to beat, and may return anything up to that where the place is no higher. Returns the place and the height there, never lower
/// than at the start.
pub(crate) fn climb<const N: usize>(
    start: [f64; N],
    first_steps: &[f64; N],
    last_share: f64,
    evaluations: usize,
    enough: f64,
    mut height: impl FnMut(&[f64; N], f64) -> f64,
) -> ([f64; N], f64) {
    let (mut here, mut top) = (start, height(&start, f64::NEG_INFINITY));
    let (mut share, mut tried) = (1.0, 1);
    while share >= last_share && tried < evaluations && top < enough {
        let before = here;
        for k in 0..N {
            for sign in [1.0, -1.0] {
                let mut next = here;
                next[k] += sign * share * first_steps[k];
                tried += 1;
                let there = height(&next, top);
                if there > top {
                    (here, top) = (next, there);
                    break;
                }
            }
        }
        if here == before {
            share *= 0.5;
            continue;
        }
        let mut ahead = here;
        ahead
            .iter_mut()
            .zip(&before)
            .for_each(|(a, b)| *a += *a - b);
        tried += 1;
        let there = height(&ahead, top);
        if there > top {
            (here, top) = (ahead, there);
        }
    }
    (here, top)
}

#[cfg(test)]
mod tests {
    use super::climb;

    #[test]
    fn finds_the_top_of_a_skew_hill() {
        let hill = |p: &[f64; 3]| {
            let (x, y, z) = (p[0] - 1.0, p[1] + 2.0, p[2] - 0.5);
            -(x * x + 3.0 * y * y + z * z + 1.5 * x * y)
        };
        let (at, top) = climb([0.0; 3], &[0.3; 3], 1e-5, 10_000, 0.0, |p, _| hill(p));
        assert!(top > -1e-8, "{at:?} {top}");
    }

    #[test]
    fn never_ends_lower_than_it_began() {
        let (at, top) = climb([0.3], &[1.0], 0.1, 1, 0.0, |p, _| -p[0].abs());
        assert!(top >= -0.3);
        assert!(at[0].abs() <= 0.3);
    }
}
