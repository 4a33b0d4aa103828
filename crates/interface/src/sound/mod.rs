//! Sound: one short sound right after a pass.
//!
//! Takes: the folder with the sounds, [`SoundSettings`], and a [`SoundId`]
//! per cue.
//! Gives: a sound from the default device, and [`Speaker::state`] and
//! [`Speaker::last_started`] to show and to measure.
//! Fails: never outwardly. Without a device, or when it is lost, the speaker
//! says so in its state and tries again, at once when a sound device appears
//! in the system and within half a minute at the latest; without its files it
//! says which one is missing and stays silent.
//!
//! One thread owns the device, because the stream of the audio library must
//! stay in the thread that opened it and opening can block. Nothing here
//! blocks the caller.
//!
//! Only this module knows rodio.

mod id;
mod source;
mod speaker;

pub use id::SoundId;
pub use speaker::{SoundError, SoundSettings, SoundState, Speaker};
