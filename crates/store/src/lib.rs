//! What is kept: sessions, the roster, points and pictures in one folder.

// What this crate knows of the others; nothing else can be reached from it.
use kickplate_measure::{body, config, feedback, roster, rules, track};

pub mod store;
