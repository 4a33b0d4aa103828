//! What the other pushes of a pass say about one push.

use super::{JudgedPush, RuleId};
use crate::stride::Leg;

/// Moves the judged values of every leg toward their mean in the pass, by no more
/// than `most` of the way ([`Calibration::toward_mean`](crate::calibration::Calibration::toward_mean)). A fault
/// that all pushes show slightly inside the dead-band stays inside; one that is
/// beyond it on the whole is no longer missed, nor a good pass flagged, for one
/// stray reading. The legs are kept apart: they may differ.
pub fn pool(pushes: &mut [JudgedPush], most: f64) {
    for &rule in RuleId::ALL {
        for leg in Leg::BOTH {
            let judged = |push: &JudgedPush| {
                let value = push.measures[rule].judged_value();
                value.filter(|_| push.leg == leg)
            };
            let values: Vec<f64> = pushes.iter().filter_map(judged).collect();
            if values.len() < 2 {
                continue;
            }
            let n = values.len() as f64;
            let mean = values.iter().sum::<f64>() / n;
            let spread2 = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
            let errors: Vec<f64> = pushes
                .iter()
                .filter(|push| judged(push).is_some())
                .filter_map(|push| push.measures[rule].uncertainty)
                .collect();
            let error2 = errors.iter().map(|e| e * e).sum::<f64>() / n;
            // What readings alone could make of this spread. No more than
            // that is taken for scatter: where one push stands out by far
            // more than the stated error, it is the push that differs.
            let toward = most.min(error2 / spread2.max(f64::MIN_POSITIVE));
            for push in pushes.iter_mut() {
                if let Some(value) = judged(push) {
                    push.measures[rule].value = Some(value + toward * (mean - value));
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::{Measure, NotJudged, RuleMap};

    const MOST: f64 = 0.5;

    fn push(leg: Leg, first: Measure) -> JudgedPush {
        let mut measures = RuleMap::from_fn(|_| Measure::not_judged(NotJudged::Other));
        measures[RuleId::KneeBend] = first;
        JudgedPush {
            quality: None,
            leg,
            near_leg: None,
            push_start_s: 0.0,
            toe_off_s: 0.2,
            measures,
            flags: Vec::new(),
        }
    }

    fn values(pushes: &[JudgedPush]) -> Vec<Option<f64>> {
        pushes
            .iter()
            .map(|p| p.measures[RuleId::KneeBend].value)
            .collect()
    }

    #[test]
    fn values_of_a_leg_move_toward_their_mean_and_keep_it() {
        let mut pushes: Vec<JudgedPush> = [126.0, 134.0, 130.0]
            .map(|deg| push(Leg::Left, Measure::judged(deg, 6.0, "")))
            .to_vec();
        pool(&mut pushes, MOST);
        let left = 1.0 - MOST;
        let expected = [130.0 - 4.0 * left, 130.0 + 4.0 * left, 130.0];
        for (found, expected) in values(&pushes).into_iter().zip(expected) {
            assert!((found.unwrap() - expected).abs() < 1e-9);
        }
    }

    /// One push that is really different must not hide behind the others.
    #[test]
    fn a_push_that_stands_out_stays() {
        let mut pushes: Vec<JudgedPush> = [118.0, 121.0, 119.0, 152.0]
            .map(|deg| push(Leg::Left, Measure::judged(deg, 6.0, "")))
            .to_vec();
        pool(&mut pushes, MOST);
        let last = values(&pushes)[3].unwrap();
        assert!(last > 147.0, "{last}");
    }

    #[test]
    fn the_other_leg_and_what_is_not_judged_take_no_part() {
        let unsure = Measure::unsure(170.0, 6.0, NotJudged::Other);
        let mut pushes = vec![
            push(Leg::Left, Measure::judged(120.0, 6.0, "")),
            push(Leg::Right, Measure::judged(150.0, 6.0, "")),
            push(Leg::Left, unsure),
            push(Leg::Left, Measure::not_judged(NotJudged::Other)),
        ];
        let before = values(&pushes);
        pool(&mut pushes, MOST);
        assert_eq!(values(&pushes), before);
    }
}
