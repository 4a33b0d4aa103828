//! How sure a value is beyond its limit, held against SciPy (`tools/outside/make_surety.py`).

use kickplate::calibration::Doubt;
use kickplate::rules::{Limits, Surety};
use serde::Deserialize;

#[derive(Deserialize)]
struct Golden {
    quantiles: Vec<Quantile>,
    cases: Vec<Case>,
    means: Vec<Mean>,
}

#[derive(Deserialize)]
struct Quantile {
    percent: u32,
    z: f64,
}

/// A value, its standard deviation, a limit, and how probable it is that the truth is
/// above it.
#[derive(Deserialize)]
struct Case {
    value: f64,
    limit: f64,
    sd: f64,
    above: f64,
}

#[derive(Deserialize)]
struct Mean {
    n: usize,
    shared: f64,
    random: f64,
    sd: f64,
}

fn golden() -> Golden {
    serde_json::from_str(include_str!("../golden/outside/surety.json")).unwrap()
}

#[test]
fn the_three_sureties_are_the_normal_distributions_quantiles() {
    let quantiles = golden().quantiles;
    assert_eq!(quantiles.len(), Surety::ALL.len());
    for q in quantiles {
        let surety = Surety::from_percent(q.percent).unwrap();
        assert!((surety.deviations() - q.z).abs() < 1e-12, "{}", q.percent);
    }
    assert_eq!(Surety::from_percent(85), None);
}

/// Flagged exactly where SciPy's probability is the surety or more, on both sides of a
/// band, and never inside the dead-band.
#[test]
fn a_value_is_flagged_where_it_is_probable_enough_that_the_truth_is_beyond() {
    let (mut flagged, mut asked) = (0, 0);
    for case in golden().cases {
        for surety in Surety::ALL {
            let sure = f64::from(surety.percent()) / 100.0;
            let mut limits = Limits {
                flagged: true,
                at_least: None,
                at_most: Some(case.limit),
                dead_band: 0.0,
            };
            let beyond = |l: &Limits| l.surely_beyond(case.value, case.sd, surety);
            assert_eq!(beyond(&limits).is_some(), case.above > sure);
            flagged += usize::from(case.above > sure);
            asked += 1;
            // However sure it is, the dead-band is left alone.
            limits.dead_band = (case.value - case.limit).abs() + 0.1;
            assert_eq!(beyond(&limits), None);
            limits = Limits {
                flagged: true,
                at_least: Some(case.limit),
                at_most: None,
                dead_band: 0.0,
            };
            assert_eq!(beyond(&limits).is_some(), 1.0 - case.above > sure);
        }
    }
    assert!(asked > 60 && flagged > 10 && flagged < asked - 10);
}

#[test]
fn what_pushes_share_does_not_shrink_with_their_number() {
    for m in golden().means {
        let doubt = Doubt {
            shared: m.shared,
            random: m.random,
        };
        assert!((doubt.of_mean(m.n) - m.sd).abs() < 1e-9, "{} pushes", m.n);
    }
}

#[test]
fn a_doubt_that_is_no_number_is_never_sure() {
    let limits = Limits {
        flagged: true,
        at_least: None,
        at_most: Some(100.0),
        dead_band: 1.0,
    };
    for wild in [f64::NAN, f64::INFINITY, -1.0] {
        assert_eq!(limits.surely_beyond(1e9, wild, Surety::Likely), None);
    }
}
