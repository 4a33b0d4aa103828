//! A recorded session as pages, clips, tables and points.

// What this crate knows of the others; nothing else can be reached from it.
use kickplate_interface::display;
use kickplate_measure::{body, config, feedback, geometry, roster, rules, stride, track};
use kickplate_store::store;

pub mod export;
