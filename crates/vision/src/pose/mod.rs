//! Bodies in a frame: 33 body points per person.
//!
//! Takes: [`crate::capture::Frame`]s of one fixed camera, in order.
//! Gives: a [`PoseFrame`] for every frame, also when nobody is there.
//! Fails: a missing or altered model file, an engine that cannot load, as
//! [`PoseError`]; a frame never fails on its content.
//!
//! Only this module knows the inference engines (`ort`, `tract`).
//!
//! # How a frame becomes bodies
//! 1. `motion` compares a small version of the frame with a learned
//!    background: the camera stands still, so what differs is what moves.
//! 2. Everybody already known is read again by the landmark model in the
//!    region their last guide points span; who is gone is dropped.
//! 3. Moving places that no known body explains are shown to the person
//!    detector as squares about twice their height (it finds nobody in a
//!    whole frame), and what it finds is read three times until the region
//!    has settled.
//!
//! 4. Where the camera sees people from their side, the legs are read once more
//!    by a second model while the near one is nearly straight: about every
//!    fifth frame of a skater.
//!
//! With one skater and a quiet background a frame costs one landmark run, and
//! now and then one of the second model, which takes three quarters of that.
//!
//! # Two engines
//! ONNX Runtime is several times faster and is loaded at run time where it is
//! installed; tract is compiled in and always there. tract is called
//! directly and not through `ort`'s alternative backend, because `ort` keeps
//! one backend per process for ever: this way both can run side by side, a
//! test can hold one against the other, and `ort` can be a newer release than
//! the backend's crate allows.

mod clarity;
mod crop;
mod detector;
mod engine;
mod error;
mod estimator;
mod landmarks;
mod legs;
mod models;
mod motion;
mod plausible;
mod region;
mod steady;
mod trace;

pub use clarity::picture_sharpness;
pub use engine::{EngineChoice, EngineInfo, EngineKind, LIBRARY_VARIABLE, engine_of};
pub use error::PoseError;
pub use estimator::{Estimator, PoseCounters, PoseSettings, Replacement, StageTimes};
use kickplate_measure::body;
pub use kickplate_measure::body::{
    Body, BodyPoint, Clarity, LEG_JOINTS, Landmark, LegPoint, LegReading, ModelKind, POINTS,
    PoseFrame, Roi,
};
pub use models::{
    DETECTION, LANDMARK_FULL, LANDMARK_HEAVY, LANDMARK_LITE, LEGS, ModelFile, SHIPPED_MODELS,
};
pub use trace::TraceFrame;
