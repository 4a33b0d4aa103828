//! The wiring: sources, the pose model and the pure parts put together for
//! review, the live station, the demo and the scoring against exact truth.
//!
//! Takes: options from the command line and the settings.
//! Gives: judged passes to the screen, the sound and the store.
//! Fails: with one sentence that names the thing and the remedy; a running
//! station never ends because of a fault.

mod analyser;
pub mod check;
mod demo;
mod devices;
mod export;
pub mod eye;
mod live;
pub mod logging;
mod options;
mod packed;
pub mod reference;
mod replay;
mod review;
mod run;
mod scale;
pub mod score;
mod settings;
mod stage;
mod words;

pub use analyser::{Analyser, Happening, Judged, Judging};
pub use demo::demo;
pub use devices::{cameras, check_report};
pub use export::export;
pub use live::live;
pub use options::{
    DemoOptions, EngineChoice, ExportOptions, LiveOptions, ModelChoice, ReviewOptions,
    ScaleOptions, SessionChoice, UsageError,
};
pub use review::review;
pub use scale::scale;
pub use settings::{
    CameraChoice, Setup, StationSettings, age_groups_file, default_file as default_station_file,
    station_file,
};
