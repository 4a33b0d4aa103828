//! The one thing a skater is told after a pass.

use serde::Serialize;

use crate::rules::{NotJudged, RuleId};

/// What the cue is about.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum CueKind {
    /// One thing to do next time.
    Do {
        /// The rule.
        rule: RuleId,
        /// The measured value that stands for the pass, in the rule's unit.
        value: f64,
        /// The limit it is held against, in the rule's unit.
        limit: f64,
        /// Which leg (or arm) it is about.
        leg: CueLeg,
        /// How many pushes of the pass were beyond the limit.
        flagged_pushes: usize,
        /// What was good; said with every second thing to do in a row.
        #[serde(skip_serializing_if = "Option::is_none")]
        good: Option<Good>,
    },
    /// Everything that was judged is in the band.
    Praise,
    /// Not in the band yet, but better than before by the dead-band or more.
    Improved {
        /// The rule.
        rule: RuleId,
        /// Median of the pass, in the rule's unit.
        value: f64,
        /// Median of the earlier passes, in the rule's unit.
        earlier: f64,
        /// Which leg (or arm) it is about.
        leg: CueLeg,
    },
    /// Nothing is said on purpose.
    Unfed {
        /// Why nothing is said.
        why: UnfedReason,
    },
    /// Nothing could be judged in this pass, and why.
    NotJudged {
        /// The reason.
        reason: NotJudged,
    },
}

impl CueKind {
    /// The rule the cue speaks about, where it speaks about one.
    pub fn rule(&self) -> Option<RuleId> {
        match self {
            CueKind::Do { rule, .. } | CueKind::Improved { rule, .. } => Some(*rule),
            CueKind::Praise | CueKind::Unfed { .. } | CueKind::NotJudged { .. } => None,
        }
    }
}

/// Why a pass gets no cue although it was judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum UnfedReason {
    /// Cues have become rarer after passes in the band.
    Faded,
    /// Every n-th pass is left without a cue.
    Planned,
}

/// Something good to say beside a thing to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case", tag = "what")]
pub enum Good {
    /// Better than the earlier passes by the dead-band or more.
    Improved {
        /// The rule.
        rule: RuleId,
    },
    /// Every judged push was in the band.
    InBand {
        /// The rule.
        rule: RuleId,
    },
    /// Nothing of both; still no reason for a second bare correction.
    KeptGoing,
}

/// The side a cue is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs, reason = "the names are the documentation")]
pub enum CueLeg {
    Left,
    Right,
    Both,
}

/// The cue of one pass.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cue {
    /// Number of the pass in the session, from 1.
    pub pass_number: u32,
    /// Track the pass came from.
    pub track_id: u32,
    /// What it says.
    #[serde(flatten)]
    pub kind: CueKind,
}
