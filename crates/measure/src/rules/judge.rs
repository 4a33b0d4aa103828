//! Holds every push against the thresholds.

use super::set_up;
use super::shrinkage::pool;
use super::table::rule_geometry::unmeasurable;
use super::{
    Evidence, Flag, JudgedPass, JudgedPush, Measure, NotJudged, Quantity, QuantityId, QuantityMap,
    Rule, RuleId, RuleMap, Thresholds,
};
use crate::config::View;
use crate::stride::{Leg, PassMotion, Push};

/// Judges a pass with one age group's thresholds.
pub fn judge(motion: &PassMotion, thresholds: &Thresholds) -> JudgedPass {
    let mut pushes: Vec<JudgedPush> = motion
        .pushes
        .iter()
        .map(|push| measure_push(motion, push))
        .collect();
    pool(&mut pushes, motion.calibration().toward_mean());
    let mut quantities =
        QuantityMap::from_fn(|id: QuantityId| report(id.quantity(), motion, &pushes));
    set_up::add(motion, &mut pushes, &mut quantities);
    flag_all(&mut pushes, thresholds);
    JudgedPass {
        track_id: motion.track_id,
        started_at_s: motion.span_s[0],
        ended_at_s: motion.span_s[1],
        speed_mps: motion.speed_mps,
        view: motion.lane.view,
        thresholds: thresholds.clone(),
        quantities,
        pushes,
    }
}

/// A push with its measures, nothing flagged yet.
fn measure_push(motion: &PassMotion, push: &Push) -> JudgedPush {
    JudgedPush {
        leg: push.leg,
        near_leg: push.near_leg,
        push_start_s: push.push_start_s,
        toe_off_s: push.toe_off_s,
        measures: RuleMap::from_fn(|id: RuleId| measure(id.rule(), motion, push)),
        flags: Vec::new(),
        quality: Some(motion.seen([push.touchdown_s, push.recovery_s])),
    }
}

fn measure(rule: &Rule, motion: &PassMotion, push: &Push) -> Measure {
    if !rule.views.contains(&motion.lane.view) {
        return Measure::not_judged(not_from(motion.lane.view));
    }
    if let Some(why) = unmeasurable(motion, push) {
        return Measure::not_judged(why);
    }
    let seen = motion.seen((rule.needs.span_s)(push));
    if let Some(why) = rule.needs.unmet(&seen) {
        return Measure::not_judged(why);
    }
    let mut measure = finite((rule.evaluate)(motion, push));
    measure.praise_not = rule.needs.too_unsure_to_praise(&seen);
    let widening = rule.needs.widening(&seen);
    let doubt = motion.calibration().doubt_of(
        rule.id.code(),
        motion.lane.view,
        motion.lane.skater_height_m,
        measure.value.unwrap_or_default(),
    );
    measure.uncertainty = measure.uncertainty.map(|sd| sd * widening);
    measure.random = doubt
        .filter(|_| measure.uncertainty.is_some())
        .map(|doubt| doubt.random * widening);
    measure
}

fn report(quantity: &Quantity, motion: &PassMotion, pushes: &[JudgedPush]) -> Measure {
    if !quantity.views.contains(&motion.lane.view) {
        return Measure::not_judged(not_from(motion.lane.view));
    }
    finite((quantity.evaluate)(motion, pushes))
}

fn finite(measure: Measure) -> Measure {
    match measure.value {
        Some(v) if !v.is_finite() => Measure::not_judged(NotJudged::MeasurementFailed),
        _ => measure,
    }
}

/// Flags what of the measures is surely beyond its limit: by the push alone, or by all pushes
/// of its leg together where it is beyond as well.
pub fn flag_all(pushes: &mut [JudgedPush], thresholds: &Thresholds) {
    let together = RuleMap::from_fn(|rule: RuleId| {
        Leg::BOTH.map(|leg| {
            Evidence::of(pushes, rule, leg).and_then(|e| e.surely_beyond(rule, thresholds))
        })
    });
    for push in pushes {
        let of_leg = usize::from(push.leg != Leg::BOTH[0]);
        let flag = |(rule, measure): (RuleId, &Measure)| {
            let limits = &thresholds.limits[rule];
            let value = measure.judged_value().filter(|_| limits.flagged)?;
            // A value without its doubt is held to the dead-band alone: an older record's.
            let deviation = measure.uncertainty.unwrap_or(0.0);
            let alone = limits.surely_beyond(value, deviation, thresholds.surety);
            let with_others = || {
                limits
                    .beyond(value)
                    .filter(|l| together[rule][of_leg] == Some(*l))
            };
            let limit = alone.or_else(with_others)?;
            Some(Flag { rule, value, limit })
        };
        push.flags = push.measures.iter().filter_map(flag).collect();
    }
}

fn not_from(view: View) -> NotJudged {
    match view {
        View::Side => NotJudged::NotFromSide,
        View::Front => NotJudged::NotFromFront,
        View::Rear => NotJudged::NotFromRear,
        View::Oblique => NotJudged::NotFromOblique,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{LaneErrors, Subject};
    use crate::rules::AgeGroup;
    use crate::rules::table::rule_geometry::tests::motion_of;
    use crate::stride::synthetic::Skater;

    /// What a page says of a rule's margin is what pushes are flagged with. A hand that is
    /// read short is doubted more on people; it is never past the line.
    #[test]
    fn the_doubt_that_is_told_is_the_calibrations() {
        for subject in Subject::ALL {
            for view in [View::Side, View::Front] {
                let mut motion = motion_of(view, &Skater::default());
                motion.lane.subject = subject;
                // What the lane's own errors add is another page's.
                motion.lane.errors = LaneErrors::none();
                let pass = judge(&motion, &Thresholds::defaults(AgeGroup::Adult));
                let mut told = 0;
                for rule in RuleId::ALL {
                    let stature_m = motion.lane.skater_height_m;
                    let doubt = motion
                        .calibration()
                        .doubt_of(rule.code(), view, stature_m, 100.0)
                        .unwrap();
                    for m in pass
                        .pushes
                        .iter()
                        .map(|p| &p.measures[*rule])
                        .filter(|m| m.is_judged())
                    {
                        let off = m.uncertainty.unwrap() - doubt.of_one();
                        let short = *rule == RuleId::ArmCrossover && m.value < Some(0.0);
                        // The lane of the stick skater runs straight at the camera.
                        assert!(off.abs() < 1e-3 || short && off > 0.0, "{rule} {off}");
                        told += 1;
                    }
                }
                assert!(told > 2, "{view:?}");
            }
        }
    }

    /// The same push, the same limit: on rendered bodies it is sure, on people it is not.
    #[test]
    fn what_is_sure_on_rendered_bodies_may_not_be_on_people() {
        let thresholds = Thresholds::defaults(AgeGroup::Adult);
        let limit = thresholds.limits[RuleId::KneeBend].at_most.unwrap();
        let flags = |subject: Subject| {
            let calibration = crate::calibration::Calibration::of(subject, Default::default());
            let doubt = calibration
                .doubt_of("knee_bend", View::Side, 1.78, limit)
                .unwrap();
            let mut measures = RuleMap::<Measure>::default();
            measures[RuleId::KneeBend] = Measure::judged(limit + 7.0, doubt.of_one(), "");
            {
                let mut pushes = [JudgedPush {
                    leg: Leg::Left,
                    near_leg: None,
                    push_start_s: 0.0,
                    toe_off_s: 0.2,
                    measures,
                    flags: Vec::new(),
                    quality: None,
                }];
                flag_all(&mut pushes, &thresholds);
                pushes[0].flags.len()
            }
        };
        assert_eq!((flags(Subject::Rendered), flags(Subject::People)), (1, 0));
    }
}
