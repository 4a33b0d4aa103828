//! The one thing a skater is told after a pass.

use serde::Serialize;

/// What the cue is about.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum CueKind {
    /// One thing to do next time.
    Do {
        /// Id of the rule.
        rule: &'static str,
        /// The measured value that stands for the pass, in the rule's unit.
        value: f64,
        /// The limit it is held against, in the rule's unit.
        target: f64,
        /// Which leg (or arm) it is about.
        leg: CueLeg,
        /// How many pushes of the pass were beyond the limit.
        flagged_pushes: usize,
    },
    /// Everything that was judged is in the band.
    Praise,
    /// Nothing could be judged in this pass, and why.
    NotJudged {
        /// A few plain words.
        reason: String,
    },
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
