//! The wiring: sources, the pose model and the pure parts put together for
//! review, the live station and the demo.
//!
//! Takes: options from the command line and the settings.
//! Gives: judged passes to the screen, the sound and the store.
//! Fails: with one sentence that names the thing and the remedy; a running
//! station never ends because of a fault.

pub mod backgrounds;
pub mod coach_service;
pub mod commands;
pub mod health;
pub mod lateness;
pub mod live;
pub mod logging;
mod output;
pub mod presenter;
pub mod program;
mod roomy;
pub mod ruler;
pub mod session;
pub mod settings;
pub mod usage;
pub mod vision;
mod words;

pub use commands::club_report::{ClubReportOptions, club_report};
pub use commands::devices::{cameras, check_report, sound_after};
pub use commands::export::{ExportOptions, SessionChoice, export, for_the_panel as panel_exporter};
pub use commands::rejudge::{RejudgeOptions, rejudge};
pub use commands::review::{ReviewOptions, review};
pub use commands::roster_cli::{
    CommentsGo, back_up, restore, roster_delete, roster_export, roster_import, roster_list,
};
pub use commands::ruler::{RulerCommand, ruler as ruler_command};
pub use commands::scale::{Scale, ScaleOptions, scale, scale_of};
pub use live::{DemoOptions, LiveOptions, demo, live};
pub use output::say;
pub use session::offline::Analyser;
pub use session::pass_judge::{FinishedPass, Judging};
pub use session::pass_times::PassTimes;
pub use settings::choices::{EngineChoice, ModelChoice};
pub use settings::privacy::{PRIVACY_KEYS, PrivacySettings};
pub use settings::reference;
pub use settings::{
    CameraChoice, Setup, StationSettings, age_groups_file, default_file as default_station_file,
    station_file,
};
pub use usage::UsageError;
pub use vision::load_monitor::{Advice, FrameCost, LoadMonitor};
pub use vision::watch::began;
pub use vision::{model_kind, pose_settings, set_view};
pub use words::{cue_sentence, fault};

/// What is behind a lock, also after a thread that held it has failed.
fn lock<T>(mutex: &std::sync::Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner)
}
