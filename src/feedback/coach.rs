//! Chooses the one cue of each pass.

use serde::{Deserialize, Serialize};

use crate::rules::{JudgedPass, RULES};

use super::summary::{Deviation, Summary, sum_up};
use super::{Cue, CueKind};

/// What a coach can set about the choice of cues.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct FeedbackSettings {
    /// Id of the rule that is spoken about first whenever it is flagged.
    /// An id that names no rule is no focus.
    pub focus: Option<String>,
    /// For how many passes a chosen rule is kept while it is flagged in each
    /// of them, so that a skater can work on one thing; 0 and 1 choose anew
    /// after every pass. The value 3 is a proposal of this project.
    pub hold_focus_passes: u32,
}

impl Default for FeedbackSettings {
    fn default() -> Self {
        FeedbackSettings {
            focus: None,
            hold_focus_passes: 3,
        }
    }
}

/// The rule being worked on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Held {
    rule_index: usize,
    /// Passes it was spoken about in a row.
    passes: u32,
}

/// Chooses one cue per pass, in this order:
///
/// 1. the coach's focus, when it is flagged;
/// 2. the rule spoken about last time, while it is still flagged and has not
///    been kept for [`FeedbackSettings::hold_focus_passes`] passes;
/// 3. the rule furthest beyond its limit, in dead-band widths, by the median
///    of its flagged pushes;
/// 4. praise, when something was judged and nothing is flagged;
/// 5. the reason why nothing could be judged.
#[derive(Debug, Clone)]
pub struct Coach {
    settings: FeedbackSettings,
    passes: u32,
    held: Option<Held>,
}

impl Coach {
    /// A coach at the beginning of a session.
    pub fn new(settings: FeedbackSettings) -> Self {
        Coach {
            settings,
            passes: 0,
            held: None,
        }
    }

    /// Takes new settings from the next pass on; pass numbers go on.
    pub fn set_settings(&mut self, settings: FeedbackSettings) {
        if settings != self.settings {
            self.settings = settings;
            self.held = None;
        }
    }

    /// The one cue of this pass. Passes are numbered from 1 in the order
    /// they are given here.
    pub fn after_pass(&mut self, pass: &JudgedPass) -> Cue {
        self.passes = self.passes.saturating_add(1);
        let kind = match sum_up(pass) {
            Summary::Beyond(deviations) => self.choose(&deviations),
            Summary::InBand => {
                self.held = None;
                CueKind::Praise
            }
            // Says nothing about the rule being worked on: it stays held.
            Summary::NotJudged(reason) => CueKind::NotJudged { reason },
        };
        Cue {
            pass_number: self.passes,
            track_id: pass.track_id,
            kind,
        }
    }

    /// `deviations` is not empty and sorted, largest first.
    fn choose(&mut self, deviations: &[Deviation]) -> CueKind {
        let of_rule = |index: usize| deviations.iter().find(|d| d.rule_index == index);
        let focus = self.settings.focus.as_deref();
        let chosen = RULES
            .iter()
            .position(|r| Some(r.id) == focus)
            .and_then(of_rule)
            .or_else(|| {
                self.held
                    .filter(|h| h.passes < self.settings.hold_focus_passes)
                    .and_then(|h| of_rule(h.rule_index))
            })
            .unwrap_or(&deviations[0]);
        self.hold(chosen.rule_index);
        CueKind::Do {
            rule: RULES[chosen.rule_index].id,
            value: chosen.value,
            target: chosen.limit,
            leg: chosen.leg,
            flagged_pushes: chosen.pushes,
        }
    }

    fn hold(&mut self, rule_index: usize) {
        let passes = match self.held {
            Some(h) if h.rule_index == rule_index && h.passes < self.settings.hold_focus_passes => {
                h.passes + 1
            }
            _ => 1,
        };
        self.held = Some(Held { rule_index, passes });
    }
}
