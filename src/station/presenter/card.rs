//! What a card shows beside its words: the measured body, the doubt, and where the
//! skater was last time.
//!
//! Takes: a judged pass, its cue and its motion.
//! Gives: the plain values the big screen draws from.
//! Fails: never; what is not known is left out.

use crate::display::CueDetail;
use crate::feedback::{Cue, CueKind, CueLeg};
use crate::figure::{Order, Stance};
use crate::roster::SkaterId;
use crate::rules::{JudgedPass, JudgedPush, Leg, RuleId};
use crate::stride::PassMotion;

/// What a rule of a skater was at when it was last spoken about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Before {
    skater: Option<SkaterId>,
    rule: RuleId,
    value: f64,
}

/// More are not kept: a group has far fewer skaters times rules.
const BEFORE_KEPT: usize = 256;

/// What the gauge will show as last time's dot from now on.
pub(super) fn remembered(
    cue: &Cue,
    skater: Option<SkaterId>,
    mut before: Vec<Before>,
) -> Vec<Before> {
    if let CueKind::Do { rule, value, .. } | CueKind::Improved { rule, value, .. } = cue.kind {
        before.retain(|b| b.skater != skater || b.rule != rule);
        if before.len() >= BEFORE_KEPT {
            before.remove(0);
        }
        before.push(Before {
            skater,
            rule,
            value,
        });
    }
    before
}

/// What the card of a cue is drawn from beside its numbers.
pub(super) fn cue_detail(
    pass: &JudgedPass,
    kind: &CueKind,
    motion: &PassMotion,
    skater: Option<SkaterId>,
    before: &[Before],
) -> CueDetail {
    let (rule, value, more, leg) = match *kind {
        CueKind::Do {
            rule,
            value,
            limit,
            leg,
            ..
        } => (rule, value, value < limit, leg),
        CueKind::Improved {
            rule,
            value,
            earlier,
            leg,
        } => (rule, value, value > earlier, leg),
        CueKind::Praise | CueKind::Unfed { .. } | CueKind::NotJudged { .. } => {
            return CueDetail::default();
        }
    };
    // The push nearest to the value that is shown, of a leg the cue is about.
    let on_side = |of: Leg| match leg {
        CueLeg::Left => of == Leg::Left,
        CueLeg::Right => of == Leg::Right,
        CueLeg::Both => true,
    };
    let measured = |push: &JudgedPush| push.measures[rule].judged_value().filter(|v| v.is_finite());
    let nearest = pass
        .pushes
        .iter()
        .filter(|p| on_side(p.leg))
        .filter_map(|p| Some((p, measured(p)?)))
        .min_by(|a, b| (a.1 - value).abs().total_cmp(&(b.1 - value).abs()));
    let stance = nearest.and_then(|(judged_push, measured)| {
        let push = motion
            .pushes
            .iter()
            .find(|p| p.leg == judged_push.leg && p.toe_off_s == judged_push.toe_off_s)?;
        let order = Order::of_rule(rule, more);
        Some(Stance::of_push(motion, push, order, measured))
    });
    let limits = &pass.thresholds.limits[rule];
    CueDetail {
        stance,
        doubt: nearest.and_then(|(p, _)| p.measures[rule].uncertainty),
        before: before
            .iter()
            .find(|b| b.skater == skater && b.rule == rule)
            .map(|b| b.value),
        zone: [limits.at_least, limits.at_most],
        age_group: Some(pass.thresholds.age_group),
    }
}
