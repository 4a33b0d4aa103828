//! Feedback: ONE cue after each pass.
//!
//! Takes: judged passes, in order.
//! Gives: one [`Cue`] per pass: the thing to do next time, or praise, or the
//! plain word that nothing could be judged.
//! Fails: never.
//!
//! Pure: no I/O, no clock, no threads; time comes in with the pass.

mod cue;
pub use cue::{Cue, CueKind, CueLeg};
