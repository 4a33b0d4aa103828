//! From body points to one cue: tracking, cutting a pass into pushes, rules, the
//! choice of the cue, and the settings all of it follows.
//!
//! Pure: no thread, no clock, no camera, no window. Time comes in with the frame.
//! Only [`config`] reads and writes files.

pub mod body;
pub mod calibration;
pub mod config;
pub mod feedback;
pub mod figure;
pub mod geometry;
pub mod multi_camera;
pub mod quality;
pub mod roster;
pub mod ruler;
pub mod rules;
pub mod stride;
pub mod track;
pub mod words;
