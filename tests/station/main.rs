//! The built program as a user or a computer in trouble meets it.

#![allow(missing_docs, reason = "a test")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[path = "../common/evening/mod.rs"]
mod evening_common;
#[path = "../common/station.rs"]
mod station_common;
#[path = "../common/store.rs"]
mod store_common;

mod cli_ruler;
mod cli_scale;
mod cli_words;
mod evening;
mod station_desk;
mod station_moved;
mod station_outside;
mod station_overload;
mod station_power;
mod station_voice;
