//! The wiring: sources, the pose model and the pure parts put together for
//! review, the live station, the demo and the scoring against exact truth.
//!
//! Takes: options from the command line and the settings.
//! Gives: judged passes to the screen, the sound and the store.
//! Fails: with one sentence that names the thing and the remedy; a running
//! station never ends because of a fault.

pub mod score;
