//! Sound: one short sound right after a pass.
//!
//! Takes: the folder with the sounds, [`SoundSettings`], and a [`SoundId`]
//! per cue; words a coach has spoken, from a [`Microphone`] into the folder `voices`.
//! Gives: a sound from the default device, and [`Speaker::state`] and
//! [`Speaker::last_started`] to show and to measure.
//! Fails: never outwardly. Without a device, or when it is lost, the speaker
//! says so in its state and tries again, at once when a sound device appears
//! in the system and within half a minute at the latest; without its files it
//! says which one is missing and stays silent. A word that cannot be used is left out. A
//! microphone that is missing, forbidden or silent ends a recording with one sentence.
//!
//! One thread owns the device, because the stream of the audio library must
//! stay in the thread that opened it and opening can block. Nothing here
//! blocks the caller.
//!
//! Only this module knows rodio.

mod device;
mod files;
mod id;
mod library_says;
mod recorder;
mod source;
mod speaker;
mod voices;
mod word;

pub use files::SoundError;
pub use id::{Ending, SoundId};
pub use recorder::{Ear, MicFault, Microphone, Recording};
pub use speaker::{SoundSettings, SoundState, Speaker, VoiceMode};
pub use voices::{LeftOut, VOICES_FOLDER, Voices, delete_word, keep_word, word_file};
pub use word::{LONGEST_WORD_S, WavFault, Word, WordFault};
