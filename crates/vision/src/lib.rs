//! From a camera or a file to body points in every frame.

// What this crate knows of the others; nothing else can be reached from it.
use kickplate_measure::geometry;

pub mod capture;
pub mod pose;
pub mod standing;
