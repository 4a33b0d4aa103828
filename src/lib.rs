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

pub use kickplate_export as export;
pub use kickplate_interface::{display, panel, sound};
pub use kickplate_measure::{
    body, calibration, config, feedback, figure, geometry, multi_camera, quality, roster, ruler,
    rules, stride, track, words,
};
pub use kickplate_store as store;
pub use kickplate_vision::{capture, pose, standing};

pub mod command_line;
pub mod station;
