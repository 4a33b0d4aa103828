//! How the big screen looks, and the settings of it.

use std::path::Path;
use std::sync::Arc;

use super::words::Words;
use crate::config::{Absent, ConfigError, Key, Kind, Section};
use crate::rules::{AgeGroup, RuleId};
use crate::words::{LANGUAGE_CODES, Language};

/// Units lengths are shown in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// Centimetres.
    #[default]
    Metric,
    /// Inches.
    Imperial,
}

/// Light on dark or dark on light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Theme {
    /// Light on dark: for a hall that is not too bright.
    #[default]
    Dark,
    /// Dark on light: where light falls onto the glass.
    Light,
}

/// A key of the keyboard or of a presenter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[allow(missing_docs, reason = "the names are the documentation")]
pub enum ShowMeKey {
    #[default]
    Space,
    Enter,
    R,
    F5,
}

/// How the big screen looks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Appearance {
    /// Every word on it.
    pub words: Arc<Words>,
    /// Units of lengths.
    pub units: Units,
    /// Light on dark or dark on light.
    pub theme: Theme,
    /// Whether the picture of a replay is mirrored.
    pub mirror: bool,
    /// Only symbols: no word, number or picture of a skater.
    pub symbols_only: bool,
    /// Whether names stand beside the bibs.
    pub names: bool,
    /// The youngest group that is shown numbers; `None`: nobody is.
    pub numbers_from: Option<AgeGroup>,
    /// The rule the lane works on, said while it is free.
    pub focus: Option<RuleId>,
}

impl Default for Appearance {
    fn default() -> Self {
        Appearance {
            words: Words::english(),
            units: Units::default(),
            theme: Theme::default(),
            mirror: false,
            symbols_only: false,
            names: true,
            numbers_from: Some(AgeGroup::U15),
            focus: None,
        }
    }
}

const fn choice(
    name: &'static str,
    words: &'static [&'static str],
    default: &'static str,
    what: &'static str,
) -> Key {
    Key::with_default(name, Kind::Choice(words), default, what)
}

const LANGUAGE: Key = choice(
    "language",
    &LANGUAGE_CODES,
    "\"en\"",
    "The language of the big screen; its words stand in the folder lang and can be edited.",
);
const UNITS: Key = choice(
    "units",
    &["metric", "imperial"],
    "\"metric\"",
    "Whether lengths are shown in centimetres or in inches.",
);
const THEME: Key = choice(
    "theme",
    &["dark", "light"],
    "\"dark\"",
    "Light letters on dark, or dark ones on light where light falls onto the screen.",
);
const MIRROR: Key = Key::with_default(
    "mirror_picture",
    Kind::Flag,
    "false",
    "Whether the picture of a replay is mirrored, as a looking-glass would show it.",
);
const NAMES: Key = Key::with_default(
    "show_names",
    Kind::Flag,
    "true",
    "Whether the big screen shows names beside the bibs; without it only bibs and the colours of bands.",
);
const NUMBERS_FROM: Key = choice(
    "numbers_from",
    &["U7", "U9", "U11", "U13", "U15", "U18", "adult", "never"],
    "\"U15\"",
    "The youngest group that is shown its measured number, small, beside the gauge.",
);
const SYMBOLS_ONLY: Key = Key::with_default(
    "symbols_only",
    Kind::Flag,
    "false",
    "Quiet mode for skaters who should not be shown in public: only symbol and sound, no word, number or picture.",
);
const BLUR: Key = Key::with_default(
    "blur_faces",
    Kind::Flag,
    "true",
    "Whether faces are blurred in every picture on the screen; a person the pose model does not find is not blurred.",
);
const SHOW_ME: Key = choice(
    "show_me_key",
    &["space", "enter", "r", "f5"],
    "\"space\"",
    "The key that shows the flagged push of the last pass in slow motion while the lane is free; Page Down and B do so too, for presenters.",
);
const MONITOR: Key = Key {
    name: "monitor",
    kind: Kind::Text,
    absent: Absent::Means("the monitor the window system chooses"),
    example: "\"HDMI-1\"",
    what: "Name of the monitor the big screen opens on, as the log names them at the start; another one is taken while it is missing.",
};

/// Every key of the table `[screen]` of the station file.
pub const SCREEN_KEYS: [&Key; 10] = [
    &LANGUAGE,
    &UNITS,
    &THEME,
    &MIRROR,
    &SYMBOLS_ONLY,
    &NAMES,
    &NUMBERS_FROM,
    &BLUR,
    &SHOW_ME,
    &MONITOR,
];

/// What can be set about the big screen.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs, reason = "what they mean stands with their keys")]
pub struct ScreenSettings {
    pub language: Language,
    pub units: Units,
    pub theme: Theme,
    pub mirror_picture: bool,
    pub symbols_only: bool,
    pub show_names: bool,
    pub numbers_from: Option<AgeGroup>,
    pub blur_faces: bool,
    pub show_me_key: ShowMeKey,
    pub monitor: Option<String>,
}

impl Default for ScreenSettings {
    fn default() -> Self {
        ScreenSettings {
            language: Language::default(),
            units: Units::default(),
            theme: Theme::default(),
            mirror_picture: false,
            symbols_only: false,
            show_names: true,
            numbers_from: Some(AgeGroup::U15),
            blur_faces: true,
            show_me_key: ShowMeKey::default(),
            monitor: None,
        }
    }
}

impl ScreenSettings {
    /// Reads and checks the table `[screen]`.
    ///
    /// # Errors
    /// A key nobody knows, or a value that cannot be.
    pub fn from_section(section: &Section<'_>) -> Result<Self, ConfigError> {
        section.only(&SCREEN_KEYS.map(|k| k.name))?;
        let pick = |key: &Key| Ok(section.declared_choice(key)?.unwrap_or_default());
        Ok(ScreenSettings {
            language: Language::ALL[pick(&LANGUAGE)?],
            units: [Units::Metric, Units::Imperial][pick(&UNITS)?],
            theme: [Theme::Dark, Theme::Light][pick(&THEME)?],
            mirror_picture: section.declared_flag(&MIRROR)?,
            symbols_only: section.declared_flag(&SYMBOLS_ONLY)?,
            show_names: section.declared_flag(&NAMES)?,
            // The last word is "never".
            numbers_from: AgeGroup::ALL
                .get(section.declared_choice(&NUMBERS_FROM)?.unwrap_or(4))
                .copied(),
            blur_faces: section.declared_flag(&BLUR)?,
            show_me_key: [
                ShowMeKey::Space,
                ShowMeKey::Enter,
                ShowMeKey::R,
                ShowMeKey::F5,
            ][pick(&SHOW_ME)?],
            monitor: section.declared_text(&MONITOR)?,
        })
    }

    /// The look these settings make, with the words of the resources folder.
    ///
    /// # Errors
    /// As [`Words::load`].
    pub fn look(&self, home: &Path, focus: Option<RuleId>) -> Result<Appearance, ConfigError> {
        Ok(Appearance {
            words: Arc::new(Words::load(home, self.language)?),
            units: self.units,
            theme: self.theme,
            mirror: self.mirror_picture,
            symbols_only: self.symbols_only,
            names: self.show_names,
            numbers_from: self.numbers_from,
            focus,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Document;

    #[test]
    fn the_declared_defaults_are_those_of_the_type() {
        let document = Document::parse("[screen]", "station.toml").unwrap();
        let section = document.root().section("screen").unwrap().unwrap();
        assert_eq!(
            ScreenSettings::from_section(&section),
            Ok(ScreenSettings::default())
        );
    }
}
