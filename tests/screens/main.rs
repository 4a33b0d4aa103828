//! The skater's screen and the coach's panel, drawn without a display.

#![allow(missing_docs, reason = "a test")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[path = "../common/coach.rs"]
mod coach_common;

#[path = "../common/screen_states.rs"]
mod screen_states;

mod display_screens;
mod panel;
mod screen_sheets;
