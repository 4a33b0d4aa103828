//! Which sounds there are.

use crate::feedback::CueKind;
use crate::rules::RULES;

/// Praise; every other sound carries the id of its rule.
const WELL_DONE: &str = "well_done";

/// One of the station's sounds: one per rule, and one for praise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct SoundId(u8);

impl SoundId {
    /// The sound of praise.
    pub const PRAISE: SoundId = SoundId(RULES.len() as u8);

    /// The sound of a cue. `None` where silence is right: nothing was
    /// judged or nothing is said on purpose.
    pub fn of_cue(kind: &CueKind) -> Option<SoundId> {
        match kind {
            CueKind::Do { rule, .. } => SoundId::of_rule(rule),
            CueKind::Praise | CueKind::Improved { .. } => Some(SoundId::PRAISE),
            CueKind::Unfed { .. } | CueKind::NotJudged { .. } => None,
        }
    }

    /// The sound of the rule with that id.
    pub fn of_rule(rule: &str) -> Option<SoundId> {
        RULES
            .iter()
            .position(|r| r.id == rule)
            .map(|i| SoundId(i as u8))
    }

    /// All sounds: the rules in the order of their table, then praise.
    pub fn all() -> impl Iterator<Item = SoundId> {
        (0..=SoundId::PRAISE.0).map(SoundId)
    }

    /// Its name, and with `.wav` the name of its file.
    pub fn name(self) -> &'static str {
        RULES.get(self.index()).map_or(WELL_DONE, |r| r.id)
    }

    pub(super) fn index(self) -> usize {
        usize::from(self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pass_that_was_not_judged_is_silent() {
        let reason = String::new();
        assert_eq!(SoundId::of_cue(&CueKind::NotJudged { reason }), None);
        assert_eq!(SoundId::of_cue(&CueKind::Praise), Some(SoundId::PRAISE));
        assert_eq!(SoundId::PRAISE.name(), "well_done");
        assert_eq!(SoundId::of_rule("no_such_rule"), None);
        assert_eq!(SoundId::all().count(), RULES.len() + 1);
        for rule in RULES {
            assert_eq!(SoundId::of_rule(rule.id).map(SoundId::name), Some(rule.id));
        }
    }
}
