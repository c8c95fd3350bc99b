//! Published optima of TSPLIB (G. Reinelt, TSPLIB, ORSA J. Computing 3:376-384, 1991), closed through the open path: the
//! first place is given twice, and two further places pin the ends of the path to its copies. The coordinates were
//! written down from memory; an optimum that comes out to the unit says that they are right.

use corymb_sequence::Config;
use corymb_sequence::route::{Costs, Route, shortest};

const FAR: i64 = 1_000_000;

/// A tour as an open path: places 0..n, a copy of place 0, and one more beyond each end of the path.
fn closed(n: usize, between: impl Fn(usize, usize) -> i64, config: &Config) -> Route {
    let (copy, head, tail) = (n, n + 1, n + 2);
    let costs = Costs::of(n + 3, |a, b| match (a, b) {
        (a, b) if b < n => between(a, b),
        (a, b) if b == copy => between(a, 0) + if a == 0 { FAR } else { 0 },
        (a, b) if b == head => {
            if a == 0 {
                0
            } else {
                FAR
            }
        }
        (a, _) => {
            if a == copy {
                0
            } else if a == head {
                2 * FAR
            } else {
                FAR
            }
        }
    });
    assert_eq!(tail + 1, costs.len());
    shortest(&costs, &vec![None; n + 3], config)
}

const BURMA14: [(f64, f64); 14] = [
    (16.47, 96.10),
    (16.47, 94.44),
    (20.09, 92.54),
    (22.39, 93.37),
    (25.23, 97.24),
    (22.00, 96.05),
    (20.47, 97.02),
    (17.20, 96.29),
    (16.30, 97.38),
    (14.05, 98.12),
    (16.53, 97.38),
    (21.52, 95.59),
    (19.41, 97.13),
    (20.09, 94.55),
];

/// The GEO distance of TSPLIB: degrees and minutes, a sphere of 6378.388 km, pi taken as 3.141592.
#[allow(clippy::approx_constant)] // TSPLIB defines the distance with this value
fn geo(a: (f64, f64), b: (f64, f64)) -> i64 {
    let radians = |x: f64| 3.141592 * (x.trunc() + 5.0 * (x - x.trunc()) / 3.0) / 180.0;
    let q1 = (radians(a.1) - radians(b.1)).cos();
    let q2 = (radians(a.0) - radians(b.0)).cos();
    let q3 = (radians(a.0) + radians(b.0)).cos();
    (6378.388 * (0.5 * ((1.0 + q1) * q2 - (1.0 - q1) * q3)).acos() + 1.0) as i64
}

#[test]
fn burma14_exactly_and_by_search() {
    let between = |a: usize, b: usize| geo(BURMA14[a], BURMA14[b]);
    let exact = closed(
        14,
        between,
        &Config {
            exact_up_to: 17,
            ..Config::default()
        },
    );
    assert!(exact.proved);
    assert_eq!(exact.cost, 3323);
    assert_eq!(closed(14, between, &Config::default()).cost, 3323);
}

const BERLIN52: [(i32, i32); 52] = [
    (565, 575),
    (25, 185),
    (345, 750),
    (945, 685),
    (845, 655),
    (880, 660),
    (25, 230),
    (525, 1000),
    (580, 1175),
    (650, 1130),
    (1605, 620),
    (1220, 580),
    (1465, 200),
    (1530, 5),
    (845, 680),
    (725, 370),
    (145, 665),
    (415, 635),
    (510, 875),
    (560, 365),
    (300, 465),
    (520, 585),
    (480, 415),
    (835, 625),
    (975, 580),
    (1215, 245),
    (1320, 315),
    (1250, 400),
    (660, 180),
    (410, 250),
    (420, 555),
    (575, 665),
    (1150, 1160),
    (700, 580),
    (685, 595),
    (685, 610),
    (770, 610),
    (795, 645),
    (720, 635),
    (760, 650),
    (475, 960),
    (95, 260),
    (875, 920),
    (700, 500),
    (555, 815),
    (830, 485),
    (1170, 65),
    (830, 610),
    (605, 625),
    (595, 360),
    (1340, 725),
    (1740, 245),
];

#[test]
fn berlin52_by_search() {
    let between = |a: usize, b: usize| {
        let (p, q) = (BERLIN52[a], BERLIN52[b]);
        (f64::from(p.0 - q.0).hypot(f64::from(p.1 - q.1)) + 0.5) as i64
    };
    let found = closed(52, between, &Config::default()).cost;
    assert!(
        (7542..=7617).contains(&found),
        "{found}: the optimum is 7542, one per cent more is allowed"
    );
}
