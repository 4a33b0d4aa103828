//! Holds every push against the thresholds.

use super::shrinkage::pool;
use super::table::rule_geometry::unmeasurable;
use super::{
    Flag, JudgedPass, JudgedPush, Limits, Measure, QUANTITIES, Quantity, RULES, Rule, Thresholds,
};
use crate::config::View;
use crate::rules::not_judged;
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
        quantities: QUANTITIES
            .iter()
            .map(|quantity| report(quantity, motion, &pushes))
            .collect(),
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
        measures: RULES
            .iter()
            .map(|rule| measure(rule, motion, push))
            .collect(),
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
        Some(v) if !v.is_finite() => Measure::not_judged(not_judged::MEASUREMENT_FAILED),
        _ => measure,
    }
}

/// What of the measures of a push, in the order of the rule table, is beyond
/// its limit.
pub fn flags_of(measures: &[Measure], thresholds: &Thresholds) -> Vec<Flag> {
    RULES
        .iter()
        .zip(&thresholds.limits)
        .zip(measures)
        .filter_map(|((rule, limits), measure)| flag(rule, limits, measure))
        .collect()
}

fn flag(rule: &Rule, limits: &Limits, measure: &Measure) -> Option<Flag> {
    let value = measure.value.filter(|_| measure.judged && limits.flagged)?;
    limits.beyond(value).map(|limit| Flag {
        rule: rule.id.to_owned(),
        value,
        limit,
    })
}

fn not_from(view: View) -> &'static str {
    match view {
        View::Side => not_judged::NOT_FROM_SIDE,
        View::Front => not_judged::NOT_FROM_FRONT,
        View::Rear => not_judged::NOT_FROM_REAR,
        View::Oblique => not_judged::NOT_FROM_OBLIQUE,
    }
}
