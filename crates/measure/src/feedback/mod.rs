//! Feedback: ONE cue after each pass.
//!
//! Takes: judged passes, in order.
//! Gives: one [`Cue`] per pass: the thing to do next time, or praise for the
//! band or for improvement, or silence on purpose, or the plain word that
//! nothing could be judged; and a [`SetSummary`] after a set of passes.
//! Fails: never. Values that are not finite are left out; a focus that names
//! no rule is no focus.
//!
//! Pure: no I/O, no clock, no threads; time comes in with the pass.
//!
//! How the one cue is chosen: [`CueSelector`]. What a pass offers to choose from:
//! `summary`. Which passes get a cue: `fade`. What counts as better than
//! before: `history`. Why it is done this way, and what the sources say:
//! `docs/feedback.md`.

mod cue;
mod cue_selector;
mod fade;
mod history;
mod set;
mod settings;
mod summary;

pub use cue::{Cue, CueKind, CueLeg, Good, UnfedReason};
pub use cue_selector::CueSelector;
pub use set::{NextThing, SetSummary};
pub use settings::{FEEDBACK_KEYS, FeedbackSettings};
