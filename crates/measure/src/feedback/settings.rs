//! What a coach can set about the choice of cues.

use serde::{Deserialize, Serialize};

use crate::rules::{AgeGroup, RuleId};

crate::settings! {
    /// What a coach can set about the choice of cues; the values are proposals
    /// of this project (`docs/feedback.md`).
    #[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
    #[serde(default, deny_unknown_fields)]
    pub struct FeedbackSettings, FEEDBACK_KEYS {
        /// For how many passes the cue stays with one rule while it is flagged, so that a
        /// skater can work on one thing; 0 and 1 choose anew after every pass.
        hold_focus_passes: whole(0, 20, 3);
        /// Every one of so many first passes gets its cue.
        full_feedback_passes: whole(0, 50, 5);
        /// After so many passes in a row in the band cues become rarer; 0 never makes them
        /// rarer.
        fade_after_in_band: whole(0, 20, 3);
        /// How many of 100 passes get a cue once cues are rarer, in the groups up to U13 (12
        /// years).
        fade_percent_child: whole(25, 100, 75);
        /// How many of 100 passes get a cue once cues are rarer, in the groups from U15 (13
        /// years) on.
        fade_percent_older: whole(25, 100, 50);
        /// After so many passes in a row out of the band every pass gets a cue again.
        full_again_after_misses: whole(1, 10, 2);
        /// Every n-th judged pass gets no cue whatever it was like, so that the skater judges
        /// it alone; 0 is never, and never two passes in a row.
        unfed_every: whole(0, 20, 0);
        /// Whether a pass that is better than before by the dead-band or more is praised
        /// although it is not in the band yet; the pass after it is told what to do again.
        praise_improvement: flag(true);
        /// How many earlier passes there must be before better than before is said.
        improvement_needs_passes: whole(1, 20, 3);
        /// Before is the median of the first so many passes since improvement was last spoken
        /// of, so that slow progress counts too.
        improvement_baseline_passes: whole(1, 50, 10);
        /// Whether the second thing to do in a row also says what improved or what is in the
        /// band.
        say_what_is_good: flag(true);
        /// After so many passes a summary of the set is shown; 0 shows none.
        set_passes: whole(0, 100, 10);
        elsewhere {
            /// The rule that is spoken about first whenever it is flagged.
            focus: Option<RuleId>;
        }
    }
}

impl FeedbackSettings {
    /// Share of passes that get a cue once cues are rarer, percent.
    pub fn fade_percent(&self, group: AgeGroup) -> u32 {
        match group {
            AgeGroup::U7 | AgeGroup::U9 | AgeGroup::U11 | AgeGroup::U13 => self.fade_percent_child,
            AgeGroup::U15 | AgeGroup::U18 | AgeGroup::Adult => self.fade_percent_older,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Document;

    #[test]
    fn the_declared_defaults_are_those_of_the_type() {
        let document = Document::parse("[feedback]", "station.toml").unwrap();
        let section = document.root().section("feedback").unwrap().unwrap();
        assert_eq!(
            FeedbackSettings::from_section(&section),
            Ok(FeedbackSettings::default())
        );
    }
}
