//! Holds every push against the thresholds.

use super::shrinkage::pool;
use super::table::rule_geometry::unmeasurable;
use super::{
    Flag, JudgedPass, JudgedPush, Limits, Measure, NotJudged, Quantity, QuantityId, QuantityMap,
    Rule, RuleId, RuleMap, Thresholds,
};
use crate::config::View;
use crate::stride::{PassMotion, Push};

/// Judges a pass with one age group's thresholds.
pub fn judge(motion: &PassMotion, thresholds: &Thresholds) -> JudgedPass {
    let mut pushes: Vec<JudgedPush> = motion
        .pushes
        .iter()
        .map(|push| measure_push(motion, push))
        .collect();
    pool(&mut pushes, motion.calibration().toward_mean());
    for push in &mut pushes {
        push.flags = flags_of(&push.measures, thresholds);
    }
    JudgedPass {
        track_id: motion.track_id,
        started_at_s: motion.span_s[0],
        ended_at_s: motion.span_s[1],
        speed_mps: motion.speed_mps,
        view: motion.lane.view,
        thresholds: thresholds.clone(),
        quantities: QuantityMap::from_fn(|id: QuantityId| report(id.quantity(), motion, &pushes)),
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
    }
}

fn measure(rule: &Rule, motion: &PassMotion, push: &Push) -> Measure {
    if !rule.views.contains(&motion.lane.view) {
        return Measure::not_judged(not_from(motion.lane.view));
    }
    if let Some(why) = unmeasurable(motion, push) {
        return Measure::not_judged(why);
    }
    finite((rule.evaluate)(motion, push))
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

/// What of the measures of a push is beyond its limit.
pub fn flags_of(measures: &RuleMap<Measure>, thresholds: &Thresholds) -> Vec<Flag> {
    measures
        .iter()
        .filter_map(|(rule, measure)| flag(rule, &thresholds.limits[rule], measure))
        .collect()
}

fn flag(rule: RuleId, limits: &Limits, measure: &Measure) -> Option<Flag> {
    let value = measure.judged_value().filter(|_| limits.flagged)?;
    let limit = limits.beyond(value)?;
    Some(Flag { rule, value, limit })
}

fn not_from(view: View) -> NotJudged {
    match view {
        View::Side => NotJudged::NotFromSide,
        View::Front => NotJudged::NotFromFront,
        View::Rear => NotJudged::NotFromRear,
        View::Oblique => NotJudged::NotFromOblique,
    }
}
