//! Whether the station speaks when it should, and only then.

use super::truth::{TruthPush, TruthSkater};
use kickplate::feedback::{CueKind, CueSelector, FeedbackSettings};
use kickplate::rules::{JudgedPass, JudgedPush, Limits, RuleId, RuleMap, Thresholds};

/// One judged measure of a rule that may speak.
#[derive(Debug, Clone, Copy)]
pub struct Flagged {
    /// The station spoke.
    pub said: bool,
    /// The true value is beyond the limit by more than the dead-band.
    pub beyond: bool,
    /// The true value is beyond the limit itself.
    pub past_limit: bool,
}

/// The one thing said after a pass, against the true faults of its pushes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CueCheck {
    /// Rules whose true value is beyond the limit by more than the dead-band
    /// in at least one judged push.
    pub faults: Vec<RuleId>,
    /// Rules whose true value is beyond the limit itself.
    pub near_faults: Vec<RuleId>,
    /// The rule spoken about; `None` is praise or silence.
    pub said: Option<RuleId>,
    /// It was praise.
    pub praised: bool,
    /// All pushes it speaks about are cut off by the clip's beginning or end,
    /// so that the truth file has no values for them.
    pub unknown: bool,
}

/// Flags of one push on values that are within their limit, in words.
pub(super) fn false_flags(
    skater: &TruthSkater,
    push: &TruthPush,
    found: &JudgedPush,
    limits: &RuleMap<Limits>,
    height_share: f64,
) -> Vec<String> {
    let mut list = Vec::new();
    for flag in &found.flags {
        let truth = skater.measure(flag.rule, push);
        if let Some(truth) = truth.filter(|t| !past_limit(&limits[flag.rule], *t)) {
            list.push(format!(
                "{} {:?} {:.2}: {:.3} for {truth:.3} ({}{:.0} % of the frame's height)",
                flag.rule,
                push.side,
                push.toe_off_s,
                flag.value,
                if push.whole_in_view {
                    ""
                } else {
                    "not whole in view, "
                },
                100.0 * height_share
            ));
        }
    }
    list
}

/// Whether a value is beyond its limit, by however little.
pub(super) fn past_limit(limits: &Limits, value: f64) -> bool {
    limits.at_least.is_some_and(|l| value < l) || limits.at_most.is_some_and(|h| value > h)
}

/// Holds what is said after a pass against the true faults of its pushes;
/// `cut` are those that are there but have no values in the truth file.
pub(super) fn check_cue(
    skater: &TruthSkater,
    pass: &JudgedPass,
    pushes: &[(&TruthPush, &JudgedPush)],
    cut: &[&JudgedPush],
) -> CueCheck {
    let Thresholds { limits, .. } = &pass.thresholds;
    let rules_where = |wrong: &dyn Fn(&Limits, f64) -> bool| -> Vec<RuleId> {
        limits
            .iter()
            .filter(|(rule, limits)| {
                limits.flagged
                    && pushes.iter().any(|(truth, found)| {
                        found.measures[*rule].is_judged()
                            && skater
                                .measure(*rule, truth)
                                .is_some_and(|v| wrong(limits, v))
                    })
            })
            .map(|(rule, _)| rule)
            .collect()
    };
    let cue = CueSelector::new(FeedbackSettings::default()).after_pass(pass);
    let said = match cue.kind {
        CueKind::Do { rule, .. } => Some(rule),
        _ => None,
    };
    let spoken_of = |push: &&JudgedPush| push.flags.iter().any(|f| Some(f.rule) == said);
    CueCheck {
        unknown: said.is_some()
            && pass
                .pushes
                .iter()
                .filter(spoken_of)
                .all(|push| cut.iter().any(|c| std::ptr::eq(*c, push))),
        faults: rules_where(&|l, v| l.beyond(v).is_some()),
        near_faults: rules_where(&past_limit),
        praised: cue.kind == CueKind::Praise,
        said,
    }
}
