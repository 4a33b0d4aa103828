//! Kickplate: a rinkside real-time camera station.
//!
//! A camera outside the boards watches skaters pass through a lane. A pose
//! model finds the body, a stride engine cuts each pass into pushes, rules
//! judge every push, and right after the pass one cue is shown and sounded.
//!
//! Data flows one way:
//! `capture → pose → track → stride → rules → feedback → {display, sound,
//! store} → export`, wired together in [`station`]. No module knows a later one.
//! [`config`] and [`geometry`] are the ground all of them stand on.

pub mod capture;
pub mod coach;
pub mod config;
pub mod display;
pub mod export;
pub mod feedback;
pub mod geometry;
pub mod joint;
pub mod pose;
pub mod roster;
pub mod rules;
pub mod sound;
pub mod station;
pub mod store;
pub mod stride;
pub mod track;
