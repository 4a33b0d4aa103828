//! What people see and hear: the skater's screen, the coach's panel, the sounds.

// What this crate knows of the others; nothing else can be reached from it.
use kickplate_measure::{
    body, calibration, config, feedback, figure, geometry, roster, ruler, rules, stride, words,
};
use kickplate_store as store;

pub mod display;
pub mod panel;
pub mod sound;
