//! The table `[sound]` of the station file: the coach's own voice.

use serde::{Deserialize, Serialize};

use super::StationSettings;
use crate::sound::{SoundSettings, VoiceMode};

kickplate_measure::settings! {
    /// The coach's own voice.
    #[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
    pub struct VoiceSettings, SOUND_KEYS {
        /// Whether a word the coach has spoken is heard with a cue: off is the sound alone,
        /// instead is the word in its place, after is the word behind it. A cue without a word
        /// has its sound.
        voice: choice(VoiceMode { "off" => Off, "instead" => Instead, "after" => After });
    }
}

impl StationSettings {
    /// How loud it sounds, and with which voice. Where the big screen shows signs alone
    /// no word is heard either.
    pub(in crate::station) fn sound(&self) -> SoundSettings {
        SoundSettings {
            muted: self.sound_muted,
            level: self.sound_level as f32,
            voice: match self.screen.symbols_only {
                true => VoiceMode::Off,
                false => self.voice.voice,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    #[test]
    fn a_voice_is_off_unless_it_is_chosen_and_silent_in_quiet_mode() {
        let read =
            |text: &str| StationSettings::from_toml(text, "station.toml", Path::new("/s")).unwrap();
        assert_eq!(read("").sound().voice, VoiceMode::Off);
        for mode in VoiceMode::ALL {
            let text = format!("[sound]\nvoice = \"{}\"\n", mode.name());
            assert_eq!(read(&text).sound().voice, mode);
            let quiet = format!("{text}[screen]\nsymbols_only = true\n");
            assert_eq!(read(&quiet).sound().voice, VoiceMode::Off);
        }
        let wrong =
            StationSettings::from_toml("[sound]\nvoice = \"loud\"\n", "s.toml", Path::new("/"));
        assert!(wrong.unwrap_err().to_string().contains("s.toml, line 2"));
    }
}
