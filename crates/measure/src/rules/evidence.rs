//! What the pushes of one leg in a pass say together about a limit.
//!
//! The part of the doubt that differs from push to push shrinks with their number; the part
//! that belongs to the person, the gear and the rink stays.

use super::{JudgedPush, RuleId, Thresholds};
use crate::geometry::true_median;
use crate::stride::Leg;

/// The pushes of a leg as one value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// Mean of the judged values, in the rule's unit.
    pub mean: f64,
    /// The middle one of them: a single wild reading does not move it.
    pub median: f64,
    /// Standard deviation of the mean's error, same unit.
    pub deviation: f64,
    /// How many were judged.
    pub pushes: usize,
}

impl Evidence {
    /// Of a leg's judged pushes; `None` where none was judged. An uncertainty that is not
    /// known counts as nothing, one whose parts are not known as shared by all.
    pub fn of(pushes: &[JudgedPush], rule: RuleId, leg: Leg) -> Option<Self> {
        let (mut values, mut shared, mut random2) = (Vec::new(), 0.0, 0.0);
        for push in pushes.iter().filter(|push| push.leg == leg) {
            let measure = &push.measures[rule];
            let Some(value) = measure.judged_value().filter(|v| v.is_finite()) else {
                continue;
            };
            let all = measure.uncertainty.unwrap_or(0.0);
            let random = measure.random.unwrap_or(0.0).min(all);
            values.push(value);
            shared += (all * all - random * random).max(0.0).sqrt();
            random2 += random * random;
        }
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        Some(Evidence {
            mean,
            median: true_median(&mut values)?,
            deviation: (shared / n).hypot(random2.sqrt() / n),
            pushes: values.len(),
        })
    }

    /// The limit that the leg is surely beyond in this pass, if any: by its mean and by the
    /// middle one of its pushes.
    pub fn surely_beyond(&self, rule: RuleId, thresholds: &Thresholds) -> Option<f64> {
        let limits = thresholds.limits[rule];
        let beyond = |value: f64| limits.surely_beyond(value, self.deviation, thresholds.surety);
        beyond(self.mean).filter(|limit| beyond(self.median) == Some(*limit))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::judge::flag_all;
    use crate::rules::{AgeGroup, Measure, NotJudged, RuleMap};

    fn push(leg: Leg, deg: f64) -> JudgedPush {
        let mut measures = RuleMap::from_fn(|_| Measure::not_judged(NotJudged::Other));
        measures[RuleId::KneeBend] = Measure {
            random: Some(4.0),
            ..Measure::judged(deg, 5.0, "")
        };
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

    fn flagged(deg: &[f64]) -> Vec<bool> {
        let mut thresholds = Thresholds::defaults(AgeGroup::Adult);
        thresholds.limits[RuleId::KneeBend].at_most = Some(120.0);
        thresholds.limits[RuleId::KneeBend].dead_band = 3.0;
        let mut pushes: Vec<JudgedPush> = deg.iter().map(|&d| push(Leg::Left, d)).collect();
        pushes.push(push(Leg::Right, 110.0));
        flag_all(&mut pushes, &thresholds);
        assert!(pushes.pop().is_some_and(|right| right.flags.is_empty()));
        pushes.iter().map(|p| !p.flags.is_empty()).collect()
    }

    /// 1.2816 of 5 are 6.4; of the mean of four, hypot(3, 4 / 2) = 3.6, they are 4.6.
    #[test]
    fn four_pushes_say_more_than_one() {
        assert_eq!(flagged(&[125.5]), [false]);
        assert_eq!(flagged(&[127.0]), [true]);
        assert_eq!(flagged(&[125.5; 4]), [true; 4]);
        assert_eq!(flagged(&[124.0; 4]), [false; 4]);
        // A push within the dead-band stays unflagged beside others that are beyond.
        let mixed = flagged(&[127.0, 127.0, 127.0, 122.0]);
        assert_eq!(mixed, [true, true, true, false]);
    }

    #[test]
    fn one_wild_push_does_not_speak_for_the_pass() {
        let thresholds = Thresholds::defaults(AgeGroup::Adult);
        let limit = thresholds.limits[RuleId::KneeBend].at_most;
        let off = |deg: &[f64]| {
            let at = limit.unwrap_or_default();
            let pushes: Vec<JudgedPush> = deg.iter().map(|d| push(Leg::Left, at + d)).collect();
            let evidence = Evidence::of(&pushes, RuleId::KneeBend, Leg::Left)?;
            evidence.surely_beyond(RuleId::KneeBend, &thresholds)
        };
        assert_eq!(off(&[-2.0, 1.0, -1.0, 60.0]), None);
        assert_eq!(off(&[12.0, 14.0, 13.0, 60.0]), limit);
        assert_eq!(off(&[]), None);
    }
}
