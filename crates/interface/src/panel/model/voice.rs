//! The words the coach has spoken.

use crate::sound::{SoundId, VoiceMode};

/// The words of the coach's voice, as the panel shows them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct VoiceView {
    /// Whether they are heard with the cues.
    pub mode: VoiceMode,
    /// The sounds that have a word.
    pub has: Vec<SoundId>,
    /// The word that is being recorded.
    pub recording: Option<WordRecording>,
    /// The word that was deleted last and can be put back.
    pub deleted: Option<SoundId>,
    /// Files that were left out, one sentence each.
    pub left_out: Vec<String>,
}

/// A word that is being recorded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WordRecording {
    /// For which sound.
    pub of: SoundId,
    /// How loud it is now, 0 to 1 of full scale.
    pub level: f32,
    /// How much more is taken, seconds.
    pub left_s: f64,
}

/// What a coach does with the words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum VoiceOrder {
    /// Whether they are heard with the cues.
    Use(VoiceMode),
    /// Records a word, from this press on and for 2 s at most.
    Record(SoundId),
    /// The word is spoken.
    Stop,
    /// Plays a word.
    Hear(SoundId),
    /// Deletes a word.
    Delete(SoundId),
    /// Puts the word back that was deleted last.
    PutBack,
}
