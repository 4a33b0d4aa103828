//! Which sounds there are.

use crate::feedback::CueKind;
use crate::rules::RuleId;

/// Praise; every other sound carries the id of its rule.
const WELL_DONE: &str = "well_done";

/// One of the station's sounds: one per rule, and one for praise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SoundId {
    /// Of a rule.
    Rule(RuleId),
    /// Of praise.
    Praise,
}

impl SoundId {
    /// The sound of a cue. `None` where silence is right: nothing was
    /// judged or nothing is said on purpose.
    pub fn of_cue(kind: &CueKind) -> Option<SoundId> {
        match kind {
            CueKind::Do { rule, .. } => Some(SoundId::Rule(*rule)),
            CueKind::Praise | CueKind::Improved { .. } => Some(SoundId::Praise),
            CueKind::Unfed { .. } | CueKind::NotJudged { .. } => None,
        }
    }

    /// All sounds: the rules in the order of their table, then praise.
    pub fn all() -> impl Iterator<Item = SoundId> {
        let rules = RuleId::ALL.iter().copied().map(SoundId::Rule);
        rules.chain([SoundId::Praise])
    }

    /// Its name, and with `.wav` the name of its file.
    pub fn name(self) -> &'static str {
        match self {
            SoundId::Rule(rule) => rule.code(),
            SoundId::Praise => WELL_DONE,
        }
    }

    /// Its place in [`SoundId::all`].
    pub(super) fn index(self) -> usize {
        match self {
            SoundId::Rule(rule) => rule as usize,
            SoundId::Praise => RuleId::ALL.len(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::NotJudged;

    #[test]
    fn a_pass_that_was_not_judged_is_silent() {
        let reason = NotJudged::NoPush;
        assert_eq!(SoundId::of_cue(&CueKind::NotJudged { reason }), None);
        assert_eq!(SoundId::of_cue(&CueKind::Praise), Some(SoundId::Praise));
        assert_eq!(SoundId::Praise.name(), "well_done");
        for (i, sound) in SoundId::all().enumerate() {
            assert_eq!(sound.index(), i);
        }
    }
}
