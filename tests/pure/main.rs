//! What needs nothing but a processor and a folder: settings, cues, numbers of outside sources, what is kept and exported.

#![allow(missing_docs, reason = "a test")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[path = "../common/club.rs"]
mod club_common;
#[path = "../common/export.rs"]
mod export_common;
#[path = "../common/sound_analysis.rs"]
mod sound_analysis;
#[path = "../common/store.rs"]
mod store_common;

mod any_input;
mod club_report;
mod config_files;
mod constants;
mod dataset;
mod export_faults;
mod export_whole;
mod feedback_coach;
mod feedback_season;
mod mutated_input;
mod outside_numbers;
mod privacy;
mod reading;
mod ruler;
mod sight;
mod sound_files;
mod store_archive;
mod store_session_json;
mod store_sessions;
mod surety;
mod truth_coach;
