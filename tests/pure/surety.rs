//! How sure a value is beyond its limit, held against SciPy (`tools/outside/make_surety.py`).

use kickplate::calibration::Doubt;
use kickplate::rules::{
    AgeGroup, Evidence, JudgedPush, Leg, Limits, Measure, NotJudged, RuleId, RuleMap, Surety,
    Thresholds,
};
use serde::Deserialize;

#[derive(Deserialize)]
struct Golden {
    quantiles: Vec<Quantile>,
    cases: Vec<Case>,
    means: Vec<Mean>,
    passes: Vec<OfLeg>,
}

/// The pushes of a leg in one pass: value, shared and random standard deviation each; how
/// probable it is that the truth behind their mean, and behind their median, is above a limit.
#[derive(Deserialize)]
struct OfLeg {
    pushes: Vec<[f64; 3]>,
    limit: f64,
    sd: f64,
    mean_above: f64,
    median_above: f64,
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

/// A pass is spoken about exactly where SciPy's probability for its pushes together is the
/// surety or more.
#[test]
fn a_pass_is_beyond_where_its_pushes_together_are_probable_enough() {
    let rule = RuleId::KneeBend;
    let (mut sure, mut asked) = (0, 0);
    for of_leg in golden().passes {
        let pushes: Vec<JudgedPush> = of_leg
            .pushes
            .iter()
            .map(|&[value, shared, random]| {
                let mut measures = RuleMap::from_fn(|_| Measure::not_judged(NotJudged::Other));
                measures[rule] = Measure {
                    random: Some(random),
                    ..Measure::judged(value, shared.hypot(random), "")
                };
                JudgedPush {
                    quality: None,
                    leg: Leg::Right,
                    near_leg: None,
                    push_start_s: 0.0,
                    toe_off_s: 0.3,
                    measures,
                    flags: Vec::new(),
                }
            })
            .collect();
        assert_eq!(Evidence::of(&pushes, rule, Leg::Left), None);
        let evidence = Evidence::of(&pushes, rule, Leg::Right).unwrap();
        assert!((evidence.deviation - of_leg.sd).abs() < 1e-9);
        let mut thresholds = Thresholds::defaults(AgeGroup::Adult);
        for surety in Surety::ALL {
            thresholds.surety = surety;
            thresholds.limits[rule].at_most = Some(of_leg.limit);
            thresholds.limits[rule].dead_band = 0.0;
            let wanted =
                of_leg.mean_above.min(of_leg.median_above) > f64::from(surety.percent()) / 100.0;
            let found = evidence.surely_beyond(rule, &thresholds);
            assert_eq!(found, wanted.then_some(of_leg.limit));
            sure += usize::from(wanted);
            asked += 1;
        }
    }
    assert!(sure > 10 && sure < asked - 10, "{sure} of {asked}");
}
