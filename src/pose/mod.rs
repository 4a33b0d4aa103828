//! Bodies in a frame: 33 body points per person.
//!
//! Takes: [`crate::capture::Frame`]s of one fixed camera, in order.
//! Gives: a [`PoseFrame`] for every frame, also when nobody is there.
//! Fails: a missing or altered model file, an engine that cannot load, as
//! [`PoseError`]; a frame never fails on its content.
//!
//! Only this module knows the inference engines (`ort`, `tract`).

mod body;
pub use body::{Body, BodyPoint, Landmark, POINTS, PoseFrame, Roi};
