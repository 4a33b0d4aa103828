//! What is set while people skate: sound, signs alone, language, what is
//! worked on today; and the end of the session. Everything is written into
//! the settings file and holds at once.

use std::sync::Arc;

use super::{Done, Service, ServiceError, said};
use crate::config::{Edit, Written};
use crate::display::Language;
use crate::panel::{Message, Number, Of, PanelWords};
use crate::rules::RuleId;
use crate::sound::SoundState;
use crate::station::settings::snapshot::OutputSettings;

impl Service {
    pub(super) fn set_sound(&mut self, level: f64, muted: bool) -> Done {
        let level = (level.clamp(0.0, 1.0) * 100.0).round() / 100.0;
        self.write_station(&[
            Edit::new(&["sound_level"], Written::Number(level)),
            Edit::new(&["sound_muted"], Written::Flag(muted)),
        ])?;
        self.put_outputs_in_use()?;
        Ok(match muted {
            true => Message::SoundMuted {},
            false => Message::SoundSet {
                percent: Number(100.0 * level, 0),
            },
        })
    }

    pub(super) fn try_sound(&mut self) -> Done {
        let seen = self.session.view();
        if let Some(why) = no_sound(seen.sound.as_ref(), seen.somebody_passing) {
            return Err(said(why));
        }
        self.session.try_sound();
        Ok(Message::SoundTried {})
    }

    pub(super) fn set_dark(&mut self, on: bool) -> Done {
        self.write_station(&[Edit::new(&["panel", "dark"], Written::Flag(on))])?;
        Ok(Message::LookSet {})
    }

    pub(super) fn set_quiet(&mut self, on: bool) -> Done {
        self.write_station(&[Edit::new(&["screen", "symbols_only"], Written::Flag(on))])?;
        self.put_outputs_in_use()?;
        Ok(match on {
            true => Message::QuietOn {},
            false => Message::QuietOff {},
        })
    }

    pub(super) fn set_language(&mut self, language: Language) -> Done {
        let words = Arc::new(PanelWords::load(&self.home, language)?);
        let code = Written::Text(language.code().to_owned());
        self.write_station(&[Edit::new(&["screen", "language"], code)])?;
        self.put_outputs_in_use()?;
        self.words = Arc::clone(&words);
        self.view.words = Some((words, Arc::clone(&self.screen_words)));
        // Cues and reasons are said anew.
        self.listed = None;
        Ok(Message::LanguageSet {})
    }

    pub(super) fn set_focus(&mut self, rule: Option<RuleId>) -> Done {
        let written = rule.map_or(Written::Absent, |r| Written::Text(r.code().to_owned()));
        self.write_station(&[Edit::new(&["focus_rule"], written)])?;
        self.settings.change(|now| now.feedback.focus = rule);
        self.session.settings_changed()?;
        self.put_outputs_in_use()?;
        Ok(match rule {
            Some(rule) => Message::FocusSet {
                what: Of(rule.rule()),
            },
            None => Message::FocusNone {},
        })
    }

    /// The session is closed behind its last pass; the next pass begins another.
    pub(super) fn end_session(&mut self) -> Done {
        self.end_withdrawal();
        self.session.end_session()?;
        Ok(Message::SessionEnded {})
    }

    /// Hands the look and the sound of the settings to the big screen.
    pub(super) fn put_outputs_in_use(&mut self) -> Result<(), ServiceError> {
        let look = self
            .station
            .screen
            .look(&self.home, self.station.focus_rule)?;
        self.screen_words = Arc::clone(&look.words);
        let outputs = Arc::new(OutputSettings {
            look,
            sound: self.station.sound(),
        });
        self.settings
            .change(|now| now.outputs = Some(Arc::clone(&outputs)));
        Ok(())
    }
}

/// Why no sound can be tried now, where that is so. Whoever is in the lane would take it for
/// an answer.
pub(super) fn no_sound(sound: Option<&SoundState>, somebody_passing: bool) -> Option<Message> {
    match sound {
        None | Some(SoundState::Off) => Some(Message::SoundIsOff {}),
        Some(SoundState::NoDevice(_)) => Some(Message::NoLoudspeaker {}),
        Some(SoundState::NoSounds(why)) => Some(Message::NoSounds { why: why.clone() }),
        Some(SoundState::Ready) => somebody_passing.then_some(Message::SoundNotNow {}),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sound_is_tried_only_where_it_is_heard_and_nobody_takes_it_for_an_answer() {
        let why = "The sound praise.wav cannot be opened".to_owned();
        for (sound, refused) in [
            (None, Message::SoundIsOff {}),
            (Some(SoundState::Off), Message::SoundIsOff {}),
            (
                Some(SoundState::NoDevice("gone".to_owned())),
                Message::NoLoudspeaker {},
            ),
            (
                Some(SoundState::NoSounds(why.clone())),
                Message::NoSounds { why },
            ),
        ] {
            assert_eq!(no_sound(sound.as_ref(), false), Some(refused));
        }
        let ready = Some(&SoundState::Ready);
        assert_eq!(no_sound(ready, true), Some(Message::SoundNotNow {}));
        assert_eq!(no_sound(ready, false), None);
    }
}
