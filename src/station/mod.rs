//! The wiring: sources, the pose model and the pure parts put together for
//! review, the live station, the demo and the scoring against exact truth.
//!
//! Takes: options from the command line and the settings.
//! Gives: judged passes to the screen, the sound and the store.
//! Fails: with one sentence that names the thing and the remedy; a running
//! station never ends because of a fault.

mod analyser;
pub mod backup;
mod bench;
mod beside_window;
pub mod check;
mod coaches;
pub mod control;
mod demo;
pub mod desk;
mod devices;
mod ending;
mod export;
mod eye;
pub mod health;
mod lighter;
pub mod lineup;
mod live;
mod load;
pub mod logging;
mod notify;
mod options;
mod packed;
mod panel;
mod pictures;
pub mod pin;
mod privacy;
pub mod reference;
mod replay;
mod review;
mod roster_words;
mod run;
mod scale;
pub mod score;
mod second;
mod second_camera;
mod settings;
mod soak;
mod stage;
mod stages;
#[cfg(test)]
mod wiring_tests;
mod words;

pub use analyser::{Analyser, Happening, Judged, Judging};
pub use bench::bench;
pub use demo::demo;
pub use devices::{cameras, check_report};
pub use export::export;
pub use live::live;
pub use load::{Advice, FrameCost, Load};
pub use options::{
    BenchOptions, BenchPath, DemoOptions, EngineChoice, ExportOptions, LiveOptions, ModelChoice,
    ReviewOptions, ScaleOptions, SessionChoice, UsageError,
};
pub use privacy::{PRIVACY_KEYS, PrivacySettings};
pub use review::review;
pub use roster_words::{
    back_up, restore, roster_delete, roster_export, roster_import, roster_list,
};
pub use run::began;
pub use scale::{Scale, scale, scale_of};
pub use settings::{
    CameraChoice, Setup, StationSettings, age_groups_file, default_file as default_station_file,
    station_file,
};
pub use soak::{SoakOptions, soak};
pub use words::fault;
