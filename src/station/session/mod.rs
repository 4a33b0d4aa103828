//! From tracked passes to judged, stored and announced ones.

pub mod analyser;
pub(in crate::station) mod camera_pairing;
pub mod control;
pub(in crate::station) mod cue_selectors;
pub mod pass_times;
pub mod skater_queue;
