//! Chi-square gates against SciPy.

use crate::common::reference;
use corymb_geometry::chi2;
use serde::Deserialize;

#[derive(Deserialize)]
struct Stored {
    relative_tolerance: f64,
    quantiles: Vec<Quantile>,
    exceedances: Vec<Exceedance>,
}

#[derive(Deserialize)]
struct Quantile {
    dof: usize,
    p: f64,
    value: f64,
}

#[derive(Deserialize)]
struct Exceedance {
    dof: usize,
    x: f64,
    p: f64,
}

#[test]
fn agree_with_scipy() {
    let stored: Stored = reference("chi2.json");
    assert!(stored.quantiles.len() > 100 && stored.exceedances.len() > 50);
    for q in &stored.quantiles {
        let got = chi2::quantile(q.p, q.dof);
        assert!(
            (got - q.value).abs() <= stored.relative_tolerance * q.value,
            "dof {} p {}: {got} {}",
            q.dof,
            q.p,
            q.value
        );
    }
    for e in &stored.exceedances {
        let got = chi2::exceedance(e.x, e.dof);
        assert!(
            (got - e.p).abs() <= stored.relative_tolerance * e.p,
            "dof {} x {}: {got} {}",
            e.dof,
            e.x,
            e.p
        );
    }
}

#[test]
fn ends_are_stated_not_panics() {
    assert_eq!(chi2::quantile(0.0, 3), 0.0);
    assert_eq!(chi2::quantile(-1.0, 3), 0.0);
    assert_eq!(chi2::quantile(1.0, 3), f64::INFINITY);
    assert_eq!(chi2::quantile(0.9, 0), 0.0);
    assert!(chi2::quantile(f64::NAN, 3).is_nan());
    assert_eq!(chi2::exceedance(-1.0, 3), 1.0);
    assert_eq!(chi2::exceedance(1.0, 0), 0.0);
    assert_eq!(chi2::exceedance(0.0, 2), 1.0);
}
