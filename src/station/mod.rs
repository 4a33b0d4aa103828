//! The wiring: sources, the pose model and the pure parts put together for
//! review, the live station, the demo and the scoring against exact truth.
//!
//! Takes: options from the command line and the settings.
//! Gives: judged passes to the screen, the sound and the store.
//! Fails: with one sentence that names the thing and the remedy; a running
//! station never ends because of a fault.

mod analyser;
pub mod check;
pub mod logging;
mod options;
pub mod reference;
mod review;
pub mod score;
mod settings;
mod words;

pub use analyser::{Analyser, Happening, Judging};
pub use options::{DemoOptions, EngineChoice, LiveOptions, ModelChoice, ReviewOptions, UsageError};
pub use review::review;
pub use settings::{
    CameraChoice, Setup, StationSettings, age_groups_file, default_file as default_station_file,
    station_file,
};

/// `kickplate`: the live station.
pub fn live(_: &LiveOptions) -> anyhow::Result<()> {
    anyhow::bail!("x")
}
/// d
pub fn demo(_: &DemoOptions) -> anyhow::Result<()> {
    anyhow::bail!("x")
}
/// c
pub fn cameras() -> anyhow::Result<()> {
    anyhow::bail!("x")
}
/// c
pub fn check_report() -> check::CheckReport {
    check::CheckReport::gather(vec![])
}
