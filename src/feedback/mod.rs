//! Feedback: ONE cue after each pass.
//!
//! Takes: judged passes, in order.
//! Gives: one [`Cue`] per pass: the thing to do next time, or praise, or the
//! plain word that nothing could be judged.
//! Fails: never. Values that are not finite are left out; a focus that names
//! no rule is no focus.
//!
//! Pure: no I/O, no clock, no threads; time comes in with the pass.
//!
//! How the one cue is chosen: [`Coach`]. What a pass offers to choose from:
//! `summary`. Why only one: a display that speaks of more than one or two
//! quantities loses its benefit (textbook summary, read second-hand), and a
//! skater who hears the same word for some passes can work on it.

mod coach;
mod cue;
mod summary;

pub use coach::{Coach, FeedbackSettings};
pub use cue::{Cue, CueKind, CueLeg};
