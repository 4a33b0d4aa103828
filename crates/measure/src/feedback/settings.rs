//! What a coach can set about the choice of cues.

use serde::{Deserialize, Serialize};

use crate::config::{ConfigError, Key, Kind, Section};
use crate::rules::{AgeGroup, RuleId};

const fn whole(
    name: &'static str,
    low: u32,
    high: u32,
    default: &'static str,
    what: &'static str,
) -> Key {
    Key::with_default(name, Kind::Whole { low, high }, default, what)
}

const HOLD: Key = whole(
    "hold_focus_passes",
    0,
    20,
    "3",
    "For how many passes the cue stays with one rule while it is flagged, so that a skater can work on one thing; 0 and 1 choose anew after every pass.",
);
const FULL: Key = whole(
    "full_feedback_passes",
    0,
    50,
    "5",
    "Every one of so many first passes gets its cue.",
);
const FADE_AFTER: Key = whole(
    "fade_after_in_band",
    0,
    20,
    "3",
    "After so many passes in a row in the band cues become rarer; 0 never makes them rarer.",
);
const CHILD: Key = whole(
    "fade_percent_child",
    25,
    100,
    "75",
    "How many of 100 passes get a cue once cues are rarer, in the groups up to U13 (12 years).",
);
const OLDER: Key = whole(
    "fade_percent_older",
    25,
    100,
    "50",
    "How many of 100 passes get a cue once cues are rarer, in the groups from U15 (13 years) on.",
);
const MISSES: Key = whole(
    "full_again_after_misses",
    1,
    10,
    "2",
    "After so many passes in a row out of the band every pass gets a cue again.",
);
const UNFED: Key = whole(
    "unfed_every",
    0,
    20,
    "0",
    "Every n-th judged pass gets no cue whatever it was like, so that the skater judges it alone; 0 is never, and never two passes in a row.",
);
const IMPROVEMENT: Key = Key::with_default(
    "praise_improvement",
    Kind::Flag,
    "true",
    "Whether a pass that is better than before by the dead-band or more is praised although it is not in the band yet; the pass after it is told what to do again.",
);
const NEEDS: Key = whole(
    "improvement_needs_passes",
    1,
    20,
    "3",
    "How many earlier passes there must be before better than before is said.",
);
const BASELINE: Key = whole(
    "improvement_baseline_passes",
    1,
    50,
    "10",
    "Before is the median of the first so many passes since improvement was last spoken of, so that slow progress counts too.",
);
const GOOD: Key = Key::with_default(
    "say_what_is_good",
    Kind::Flag,
    "true",
    "Whether the second thing to do in a row also says what improved or what is in the band.",
);
const SET: Key = whole(
    "set_passes",
    0,
    100,
    "10",
    "After so many passes a summary of the set is shown; 0 shows none.",
);

/// Every key of the table `[feedback]` of the station file.
pub const FEEDBACK_KEYS: [&Key; 12] = [
    &HOLD,
    &FULL,
    &FADE_AFTER,
    &CHILD,
    &OLDER,
    &MISSES,
    &UNFED,
    &IMPROVEMENT,
    &NEEDS,
    &BASELINE,
    &GOOD,
    &SET,
];

/// What a coach can set about the choice of cues. What the fields mean in
/// full stands with their keys, [`FEEDBACK_KEYS`]; the values are proposals
/// of this project (`docs/feedback.md`).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct FeedbackSettings {
    /// The rule that is spoken about first whenever it is flagged.
    pub focus: Option<RuleId>,
    /// Passes a chosen rule is kept while it is flagged.
    pub hold_focus_passes: u32,
    /// First passes that all get a cue.
    pub full_feedback_passes: u32,
    /// Passes in a row in the band that make cues rarer; 0 never.
    pub fade_after_in_band: u32,
    /// Share of passes with a cue then, up to 12 years, percent.
    pub fade_percent_child: u32,
    /// Share of passes with a cue then, from 13 years on, percent.
    pub fade_percent_older: u32,
    /// Passes in a row out of the band that bring every cue back.
    pub full_again_after_misses: u32,
    /// Every n-th judged pass without a cue; 0 never.
    pub unfed_every: u32,
    /// Whether improvement outside of the band is praised.
    pub praise_improvement: bool,
    /// Earlier passes needed to speak of improvement.
    pub improvement_needs_passes: u32,
    /// Passes since the last spoken improvement whose median counts as before.
    pub improvement_baseline_passes: u32,
    /// Whether every second thing to do in a row says what is good.
    pub say_what_is_good: bool,
    /// Passes of a set; 0 makes no sets.
    pub set_passes: u32,
}

impl Default for FeedbackSettings {
    fn default() -> Self {
        FeedbackSettings {
            focus: None,
            hold_focus_passes: 3,
            full_feedback_passes: 5,
            fade_after_in_band: 3,
            fade_percent_child: 75,
            fade_percent_older: 50,
            full_again_after_misses: 2,
            unfed_every: 0,
            praise_improvement: true,
            improvement_needs_passes: 3,
            improvement_baseline_passes: 10,
            say_what_is_good: true,
            set_passes: 10,
        }
    }
}

impl FeedbackSettings {
    /// Reads and checks the table `[feedback]`; `focus` is set elsewhere.
    ///
    /// # Errors
    /// A key nobody knows, or a value that cannot be.
    pub fn from_section(section: &Section<'_>) -> Result<Self, ConfigError> {
        section.only(&FEEDBACK_KEYS.map(|k| k.name))?;
        Ok(FeedbackSettings {
            focus: None,
            hold_focus_passes: section.declared_whole(&HOLD)?,
            full_feedback_passes: section.declared_whole(&FULL)?,
            fade_after_in_band: section.declared_whole(&FADE_AFTER)?,
            fade_percent_child: section.declared_whole(&CHILD)?,
            fade_percent_older: section.declared_whole(&OLDER)?,
            full_again_after_misses: section.declared_whole(&MISSES)?,
            unfed_every: section.declared_whole(&UNFED)?,
            praise_improvement: section.declared_flag(&IMPROVEMENT)?,
            improvement_needs_passes: section.declared_whole(&NEEDS)?,
            improvement_baseline_passes: section.declared_whole(&BASELINE)?,
            say_what_is_good: section.declared_flag(&GOOD)?,
            set_passes: section.declared_whole(&SET)?,
        })
    }

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
