//! One choice of cues per skater, one count of passes for all.
//!
//! Every skater of the roster has a [`CueSelector`] and so a history of its own;
//! whoever is not known shares one, as everybody does without a roster. Each
//! selector counts its own passes; what is announced and stored is the number
//! counted here, so that a number stays unique in the session. A skater who works on a rule of
//! their own has it as the focus instead of everybody's.

use std::collections::HashMap;

use crate::feedback::{Cue, CueSelector, FeedbackSettings, SetSummary};
use crate::multi_camera::with_thresholds;
use crate::roster::SkaterId;
use crate::rules::{JudgedPass, RuleId, Thresholds};

/// The cue selectors of everybody in the lane.
pub struct CueSelectors {
    settings: FeedbackSettings,
    by_skater: HashMap<Option<SkaterId>, CueSelector>,
    passes: u32,
    last: Option<Last>,
}

/// The last pass, to be given to somebody else.
struct Last {
    number: u32,
    skater: Option<SkaterId>,
    /// The skater's selector as it was before; `None` where it was the first.
    before: Option<CueSelector>,
    pass: JudgedPass,
}

impl CueSelectors {
    /// At the beginning of a session.
    pub fn new(settings: FeedbackSettings) -> Self {
        CueSelectors {
            settings,
            by_skater: HashMap::new(),
            passes: 0,
            last: None,
        }
    }

    /// Takes new settings from the next pass on.
    pub fn set_settings(&mut self, settings: &FeedbackSettings) {
        self.settings = settings.clone();
    }

    /// Another lane or source: what the earlier passes were like is
    /// forgotten, the count goes on.
    pub fn forget(&mut self) {
        self.last = None;
        for selector in self.by_skater.values_mut() {
            selector.forget();
        }
    }

    /// The cue of a pass, and the summary of the set it completed. `focus`: the rule
    /// this skater works on, where it is not everybody's.
    pub fn after_pass(
        &mut self,
        skater: Option<SkaterId>,
        focus: Option<RuleId>,
        pass: &JudgedPass,
    ) -> (Cue, Option<SetSummary>) {
        self.passes = self.passes.saturating_add(1);
        self.last = Some(Last {
            number: self.passes,
            skater,
            before: self.by_skater.get(&skater).cloned(),
            pass: pass.clone(),
        });
        let selector = self.selector_of(skater, focus);
        let mut cue = selector.after_pass(pass);
        let summary = selector.take_summary();
        cue.pass_number = self.passes;
        let summary = summary.map(|summary| SetSummary {
            last_pass: self.passes,
            ..summary
        });
        (cue, summary)
    }

    /// The pass was somebody else's: it leaves the history of whom it was
    /// given to and goes into the other's, judged with the other's limits and
    /// `focus`. Only of the last pass; further back a history is not put right.
    pub fn correct(
        &mut self,
        number: u32,
        to: Option<SkaterId>,
        focus: Option<RuleId>,
        limits: Option<&Thresholds>,
    ) {
        let Some(last) = self.last.take().filter(|l| l.number == number) else {
            return;
        };
        match last.before {
            Some(before) => self.by_skater.insert(last.skater, before),
            None => self.by_skater.remove(&last.skater),
        };
        let before = self.by_skater.get(&to).cloned();
        let pass = match limits {
            Some(limits) => with_thresholds(last.pass, limits),
            None => last.pass,
        };
        let selector = self.selector_of(to, focus);
        // What it would have said is not said any more.
        selector.after_pass(&pass);
        selector.take_summary();
        self.last = Some(Last {
            number,
            skater: to,
            before,
            pass,
        });
    }

    /// A skater's selector, with the settings of today.
    fn selector_of(&mut self, skater: Option<SkaterId>, focus: Option<RuleId>) -> &mut CueSelector {
        let settings = FeedbackSettings {
            focus: focus.or(self.settings.focus),
            ..self.settings.clone()
        };
        let selector = self
            .by_skater
            .entry(skater)
            .or_insert_with(|| CueSelector::new(settings.clone()));
        selector.set_settings(settings);
        selector
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::View;
    use crate::feedback::CueKind;
    use crate::rules::{
        AgeGroup, Flag, JudgedPush, Leg, Measure, NotJudged, QuantityMap, RuleId, RuleMap,
    };

    const A: Option<SkaterId> = Some(SkaterId(1));
    const B: Option<SkaterId> = Some(SkaterId(2));

    /// A pass whose knee stays at an angle, degrees; flagged when `flagged`.
    fn pass(track_id: u32, knee_deg: f64, flagged: bool) -> JudgedPass {
        let mut measures = RuleMap::from_fn(|_| Measure::not_judged(NotJudged::Other));
        measures[RuleId::KneeBend] = Measure::judged(knee_deg, 1.0, "seen");
        let thresholds = Thresholds::defaults(AgeGroup::Adult);
        let limit = thresholds.limits[RuleId::KneeBend].at_most.unwrap_or(120.0);
        let push = JudgedPush {
            quality: None,
            leg: Leg::Left,
            near_leg: None,
            push_start_s: 0.0,
            toe_off_s: 0.3,
            measures,
            flags: flagged
                .then_some(Flag {
                    rule: RuleId::KneeBend,
                    value: knee_deg,
                    limit,
                })
                .into_iter()
                .collect(),
        };
        JudgedPass {
            track_id,
            started_at_s: 0.0,
            ended_at_s: 2.0,
            speed_mps: 5.0,
            view: View::Side,
            thresholds,
            pushes: vec![push],
            quantities: QuantityMap::from_fn(|_| Measure::not_judged(NotJudged::Other)),
        }
    }

    fn settings() -> FeedbackSettings {
        FeedbackSettings {
            set_passes: 0,
            ..FeedbackSettings::default()
        }
    }

    #[test]
    fn numbers_are_unique_whoever_skates() {
        let mut selectors = CueSelectors::new(settings());
        let numbers: Vec<u32> = [A, B, None, A]
            .into_iter()
            .map(|s| {
                selectors
                    .after_pass(s, None, &pass(1, 100.0, false))
                    .0
                    .pass_number
            })
            .collect();
        assert_eq!(numbers, [1, 2, 3, 4]);
        selectors.forget();
        assert_eq!(
            selectors
                .after_pass(B, None, &pass(1, 100.0, false))
                .0
                .pass_number,
            5
        );
    }

    /// Three bad passes of A, then a better one: praised for A, and nothing
    /// new for B, who never skated badly.
    #[test]
    fn one_skaters_history_is_not_anothers() {
        let improved = |cue: Cue| matches!(cue.kind, CueKind::Improved { .. });
        let mut selectors = CueSelectors::new(settings());
        for _ in 0..3 {
            selectors.after_pass(A, None, &pass(1, 150.0, true));
        }
        assert!(!improved(
            selectors.after_pass(B, None, &pass(1, 135.0, true)).0
        ));
        assert!(improved(
            selectors.after_pass(A, None, &pass(1, 135.0, true)).0
        ));
    }

    #[test]
    fn a_corrected_pass_changes_sides() {
        let improved = |cue: Cue| matches!(cue.kind, CueKind::Improved { .. });
        // As if A had skated the three bad passes, corrected one by one.
        let mut selectors = CueSelectors::new(settings());
        for _ in 0..3 {
            let (cue, _) = selectors.after_pass(B, None, &pass(1, 150.0, true));
            selectors.correct(cue.pass_number, A, None, None);
        }
        assert!(!improved(
            selectors.after_pass(B, None, &pass(1, 135.0, true)).0
        ));
        assert!(improved(
            selectors.after_pass(A, None, &pass(1, 135.0, true)).0
        ));
        // An older pass is left where it is.
        selectors.correct(1, B, None, None);
        assert_eq!(
            selectors
                .after_pass(A, None, &pass(1, 135.0, true))
                .0
                .pass_number,
            6
        );
    }

    /// Two faults: the trunk far beyond its limit, the knee a little.
    fn two_faults() -> JudgedPass {
        let mut pass = pass(1, 125.0, true);
        let limits = &pass.thresholds.limits;
        let least = limits[RuleId::TrunkLean].at_least.unwrap_or(30.0);
        let push = &mut pass.pushes[0];
        push.measures[RuleId::TrunkLean] = Measure::judged(least - 25.0, 1.0, "seen");
        push.flags.push(Flag {
            rule: RuleId::TrunkLean,
            value: least - 25.0,
            limit: least,
        });
        pass
    }

    fn rule_said(cue: &Cue) -> RuleId {
        match cue.kind {
            CueKind::Do { rule, .. } => rule,
            ref other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_skaters_own_focus_beats_the_groups_and_is_nobody_elses() {
        let group = FeedbackSettings {
            focus: Some(RuleId::TrunkLean),
            ..settings()
        };
        let knee = Some(RuleId::KneeBend);
        let mut selectors = CueSelectors::new(group);
        let mut said = |skater, focus| {
            let (cue, _) = selectors.after_pass(skater, focus, &two_faults());
            rule_said(&cue)
        };
        assert_eq!(said(A, knee), RuleId::KneeBend);
        assert_eq!(said(B, None), RuleId::TrunkLean);
        assert_eq!(said(None, None), RuleId::TrunkLean);
        // Taken away again: the group's from the next pass on.
        assert_eq!(said(A, None), RuleId::TrunkLean);
        // Of two faults none is left out where nothing is worked on.
        let mut free = CueSelectors::new(settings());
        let (cue, _) = free.after_pass(A, None, &two_faults());
        assert_eq!(rule_said(&cue), RuleId::TrunkLean);
        let (cue, _) = free.after_pass(B, knee, &two_faults());
        assert_eq!(rule_said(&cue), RuleId::KneeBend);
    }

    #[test]
    fn a_summary_names_the_pass_of_the_session() {
        let mut selectors = CueSelectors::new(FeedbackSettings {
            set_passes: 2,
            ..FeedbackSettings::default()
        });
        for skater in [A, B, A] {
            let (cue, summary) = selectors.after_pass(skater, None, &pass(1, 100.0, false));
            let expected = (skater == A && cue.pass_number == 3).then_some(3);
            assert_eq!(summary.map(|s| s.last_pass), expected);
        }
    }
}
