//! Several cameras on one lane: passes of one skater become one pass.
//!
//! Takes: when the passes of each camera began and ended ([`Span`]), then the
//! judged passes that belong together, all on one clock.
//! Gives: [`JudgedPass`](crate::rules::JudgedPass)es in which every quantity
//! stands as the camera saw it that sees it best, once for each skater that
//! went through.
//! Fails: never. A pass that only one camera saw stays as it is; where two
//! cameras contradict each other about which leg pushed, the first camera's
//! pass stays alone and says so.
//!
//! Pure: no I/O, no clock, no threads; time comes in with the passes. Nobody
//! is recognised: passes belong together because they were in the same lane
//! at the same time, in the same order.

mod matcher;
mod merge;

pub use matcher::{Matcher, Presence, Span, Watch};
pub use merge::{SAME_PUSH_S, merge, seen_by_two, with_thresholds};

#[cfg(test)]
mod tests;
