//! Chooses the one cue of each pass.

use crate::config::View;
use crate::rules::{AgeGroup, JudgedPass, RuleId};

use super::fade::Fade;
use super::history::{History, Values, values_of};
use super::set::{SetSummary, SetTally};
use super::summary::{Deviation, Summary, sum_up};
use super::{Cue, CueKind, FeedbackSettings, Good};

/// The rule being worked on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Held {
    rule: RuleId,
    /// Passes it was spoken about in a row.
    passes: u32,
}

/// What was said last that the next cue depends on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Said {
    #[default]
    Nothing,
    /// A thing to do and nothing good beside it.
    BareDo,
    /// A thing to do with something good beside it, or praise.
    Good,
    /// Praise for improvement in that rule.
    Improved(RuleId),
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
///
/// Where the chosen rule is better than before by the dead-band or more, the
/// improvement is praised instead, but not twice in a row. Of two things to
/// do in a row one also says something good. Some passes get no cue on
/// purpose ([`CueKind::Unfed`]).
///
/// It knows no roster: who has several skaters has one of these for each.
#[derive(Debug, Clone)]
pub struct CueSelector {
    settings: FeedbackSettings,
    passes: u32,
    held: Option<Held>,
    judged_as: Option<(View, AgeGroup)>,
    fade: Fade,
    history: History,
    said: Said,
    last_good: Option<Good>,
    set: SetTally,
    summary: Option<SetSummary>,
}

impl CueSelector {
    /// A coach at the beginning of a session.
    pub fn new(settings: FeedbackSettings) -> Self {
        CueSelector {
            settings,
            passes: 0,
            held: None,
            judged_as: None,
            fade: Fade::default(),
            history: History::default(),
            said: Said::default(),
            last_good: None,
            set: SetTally::default(),
            summary: None,
        }
    }

    /// Takes new settings from the next pass on; pass numbers go on.
    pub fn set_settings(&mut self, settings: FeedbackSettings) {
        if settings != self.settings {
            self.settings = settings;
            self.held = None;
        }
    }

    /// Other skaters: what the earlier passes were like is forgotten, the
    /// rule being worked on and the numbers of the passes go on.
    pub fn forget(&mut self) {
        self.judged_as = None;
        self.fade = Fade::default();
        self.history = History::default();
        self.said = Said::default();
        self.last_good = None;
        self.set = SetTally::default();
        self.summary = None;
    }

    /// The one cue of this pass. Passes are numbered from 1 in the order
    /// they are given here.
    pub fn after_pass(&mut self, pass: &JudgedPass) -> Cue {
        self.passes = self.passes.saturating_add(1);
        let judged_as = (pass.view, pass.thresholds.age_group);
        if self.judged_as != Some(judged_as) {
            // Values of another view or group cannot be compared. A limit that was
            // moved is no reason to forget: what was measured stays, and is held
            // against the limit of today.
            self.forget();
            self.judged_as = Some(judged_as);
        }
        let kind = match sum_up(pass) {
            Summary::Beyond(deviations) => self.judged(pass, &deviations),
            Summary::InBand => self.judged(pass, &[]),
            // Says nothing about the rule being worked on: it stays held.
            Summary::NotJudged(reason) => {
                self.set.not_judged();
                CueKind::NotJudged { reason }
            }
        };
        self.summary = self.set.complete(pass, self.passes, &self.settings);
        Cue {
            pass_number: self.passes,
            track_id: pass.track_id,
            kind,
        }
    }

    /// The summary of the set that the last pass completed, once.
    pub fn take_summary(&mut self) -> Option<SetSummary> {
        self.summary.take()
    }

    fn judged(&mut self, pass: &JudgedPass, deviations: &[Deviation]) -> CueKind {
        let in_band = deviations.is_empty();
        let values = values_of(pass);
        let group = pass.thresholds.age_group;
        let unfed = self.fade.after(in_band, group, &self.settings);
        if in_band {
            self.held = None;
        }
        let kind = match unfed {
            Some(why) => CueKind::Unfed { why },
            None if in_band => {
                self.said = Said::Good;
                CueKind::Praise
            }
            None => self.choose(pass, deviations, &values),
        };
        self.history.push(&values, &self.settings);
        self.set.judged(values, deviations);
        kind
    }

    /// `deviations` is not empty and sorted, largest first.
    fn choose(&mut self, pass: &JudgedPass, deviations: &[Deviation], values: &Values) -> CueKind {
        let of_rule = |rule: RuleId| deviations.iter().find(|d| d.rule == rule);
        let chosen = self
            .settings
            .focus
            .and_then(of_rule)
            .or_else(|| {
                self.held
                    .filter(|h| h.passes < self.settings.hold_focus_passes)
                    .and_then(|h| of_rule(h.rule))
            })
            .unwrap_or(&deviations[0]);
        let rule = chosen.rule;
        self.hold(rule);
        if self.settings.praise_improvement
            && self.said != Said::Improved(rule)
            && let Some(value) = values[rule]
            && let Some((earlier, _)) = self.history.improvement(pass, rule, values, &self.settings)
        {
            self.said = Said::Improved(rule);
            self.history.spoken_of(rule);
            return CueKind::Improved {
                rule,
                value,
                earlier,
                leg: chosen.leg,
            };
        }
        let good = (self.said == Said::BareDo && self.settings.say_what_is_good).then(|| {
            self.history
                .best(pass, values, self.last_good, &self.settings)
        });
        self.said = match good {
            Some(_) => Said::Good,
            None => Said::BareDo,
        };
        if let Some(Good::Improved { rule }) = good {
            self.history.spoken_of(rule);
        }
        self.last_good = good.or(self.last_good);
        CueKind::Do {
            rule,
            value: chosen.value,
            limit: chosen.limit,
            leg: chosen.leg,
            flagged_pushes: chosen.pushes,
            good,
        }
    }

    fn hold(&mut self, rule: RuleId) {
        let passes = match self.held {
            Some(h) if h.rule == rule && h.passes < self.settings.hold_focus_passes => h.passes + 1,
            _ => 1,
        };
        self.held = Some(Held { rule, passes });
    }
}
