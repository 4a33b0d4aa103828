//! The settings of the panel.

use std::path::PathBuf;
use std::sync::Arc;

use egui::Key as KeyPress;

use super::words::PanelWords;
use crate::config::{ConfigError, Key, Kind, Section};
use crate::display::{Units, Words};

const WINDOW: Key = Key::with_default(
    "window",
    Kind::Choice(&["auto", "own", "same", "off"]),
    "\"auto\"",
    "Where the coach's panel opens: own is a window of its own, same is over the big screen by F2, auto takes own where there is a second monitor, off is not at all.",
);
const DIAGONAL: Key = Key::with_default(
    "screen_diagonal_in",
    Kind::Number {
        low: 5.0,
        high: 60.0,
    },
    "15.6",
    "Diagonal of the screen the panel stands on, inches; sets how large 12 millimetres are on it.",
);
const WRONG_SKATER: Key = Key::with_default(
    "wrong_skater_key",
    Kind::Choice(&["w", "f6", "f8", "period"]),
    "\"w\"",
    "The key, or the button of a presenter or foot pedal, that says the last pass was somebody else.",
);
const PRESS: Key = Key::with_default(
    "press_key",
    Kind::Choice(&["f5", "f9", "f10"]),
    "\"f5\"",
    "The key, or the button of a presenter or foot pedal, that presses what the panel's ring is around; Enter and Space always do.",
);

const DARK: Key = Key::with_default(
    "dark",
    Kind::Flag,
    "false",
    "Whether the panel has its look for a dark hall; the page Now changes it.",
);

/// Every key of the table `[panel]` of the station file.
pub const PANEL_KEYS: [&Key; 5] = [&WINDOW, &DIAGONAL, &WRONG_SKATER, &PRESS, &DARK];

/// Where the panel opens.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum PanelPlace {
    /// A window of its own where there is a second monitor.
    #[default]
    Auto,
    /// A window of its own.
    Own,
    /// Over the big screen, by a key.
    Same,
    /// Not at all.
    Off,
}

/// What can be set about the panel.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs, reason = "what they mean stands with their keys")]
pub struct PanelSettings {
    pub window: PanelPlace,
    pub screen_diagonal_in: f64,
    pub wrong_skater_key: KeyPress,
    pub press_key: KeyPress,
    pub dark: bool,
}

impl Default for PanelSettings {
    fn default() -> Self {
        PanelSettings {
            window: PanelPlace::Auto,
            screen_diagonal_in: 15.6,
            wrong_skater_key: KeyPress::W,
            press_key: KeyPress::F5,
            dark: false,
        }
    }
}

impl PanelSettings {
    /// Reads and checks the table `[panel]`.
    ///
    /// # Errors
    /// A key nobody knows, or a value that cannot be.
    pub fn from_section(section: &Section<'_>) -> Result<Self, ConfigError> {
        section.only(&PANEL_KEYS.map(|k| k.name))?;
        let pick = |key: &Key| Ok(section.declared_choice(key)?.unwrap_or_default());
        Ok(PanelSettings {
            window: [
                PanelPlace::Auto,
                PanelPlace::Own,
                PanelPlace::Same,
                PanelPlace::Off,
            ][pick(&WINDOW)?],
            screen_diagonal_in: section.declared_number(&DIAGONAL)?,
            wrong_skater_key: [KeyPress::W, KeyPress::F6, KeyPress::F8, KeyPress::Period]
                [pick(&WRONG_SKATER)?],
            press_key: [KeyPress::F5, KeyPress::F9, KeyPress::F10][pick(&PRESS)?],
            dark: section.declared_flag(&DARK)?,
        })
    }
}

/// What the panel is opened with.
#[derive(Debug, Clone)]
pub struct PanelSetup {
    /// Its words.
    pub words: Arc<PanelWords>,
    /// The big screen's words: what a push could not be judged for.
    pub screen_words: Arc<Words>,
    /// Units of lengths.
    pub units: Units,
    /// Its settings.
    pub settings: PanelSettings,
    /// Where files go that are named without a folder.
    pub folder: PathBuf,
}

impl Default for PanelSetup {
    fn default() -> Self {
        PanelSetup {
            words: PanelWords::english(),
            screen_words: Words::english(),
            units: Units::default(),
            settings: PanelSettings::default(),
            folder: PathBuf::from("."),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Document;

    #[test]
    fn the_declared_defaults_are_those_of_the_type() {
        let document = Document::parse("[panel]", "station.toml").unwrap();
        let section = document.root().section("panel").unwrap().unwrap();
        assert_eq!(
            PanelSettings::from_section(&section),
            Ok(PanelSettings::default())
        );
    }
}
