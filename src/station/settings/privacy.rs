//! The table `[privacy]` of the station file: which pictures are stored, and
//! for how long.

use serde::{Deserialize, Serialize};

use crate::config::{ConfigError, Key, Kind, Section};
use crate::store::Retention;

const KEEP_PICTURES: Key = Key::with_default(
    "keep_pictures",
    Kind::Flag,
    "false",
    "Whether pictures of flagged pushes are stored, and only of skaters whose consent stands in the roster. The big screen shows a sign while they are.",
);
const KEEP_DAYS: Key = Key::with_default(
    "keep_days",
    Kind::Whole { low: 1, high: 3650 },
    "30",
    "Stored pictures are deleted after so many days.",
);
const KEEP_GB: Key = Key::with_default(
    "keep_gb",
    Kind::Number {
        low: 0.1,
        high: 10_000.0,
    },
    "10",
    "Room all stored pictures may take, gigabytes; the oldest are deleted for newer ones.",
);
const FREE_SPACE_GB: Key = Key::with_default(
    "free_space_gb",
    Kind::Number {
        low: 0.1,
        high: 10_000.0,
    },
    "2",
    "Room that stays free on the disk of the recordings, gigabytes; the oldest pictures are deleted for it.",
);
const BLUR_STORED_FACES: Key = Key::with_default(
    "blur_stored_faces",
    Kind::Flag,
    "true",
    "Whether every face found is made unreadable before a picture is stored. Where [screen] blur_faces is on they are unreadable in any case.",
);

const KEEP_MEASURES_DAYS: Key = Key::with_default(
    "keep_measures_days",
    Kind::Whole { low: 0, high: 3650 },
    "0",
    "Sessions and passes with everything measured in them, their body points, notes and pictures are deleted after so many days, for good; 0 keeps them.",
);

/// Every key of the table `[privacy]` of the station file.
pub const PRIVACY_KEYS: [&Key; 6] = [
    &KEEP_PICTURES,
    &KEEP_DAYS,
    &KEEP_GB,
    &FREE_SPACE_GB,
    &BLUR_STORED_FACES,
    &KEEP_MEASURES_DAYS,
];

const GIGABYTE: f64 = 1e9;

/// Which pictures are stored, and for how long.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PrivacySettings {
    /// Whether pictures of those who consented are stored at all.
    pub keep_pictures: bool,
    /// Days they are kept.
    pub keep_days: u32,
    /// Room all of them may take, gigabytes.
    pub keep_gb: f64,
    /// Room that stays free on the disk, gigabytes.
    pub free_space_gb: f64,
    /// Whether faces in them are made unreadable.
    pub blur_stored_faces: bool,
    /// Days what was measured is kept; without end where `None`.
    pub keep_measures_days: Option<u32>,
}

impl Default for PrivacySettings {
    fn default() -> Self {
        PrivacySettings {
            keep_pictures: false,
            keep_days: 30,
            keep_gb: 10.0,
            free_space_gb: 2.0,
            blur_stored_faces: true,
            keep_measures_days: None,
        }
    }
}

impl PrivacySettings {
    /// Reads and checks the table.
    pub fn from_section(section: &Section<'_>) -> Result<Self, ConfigError> {
        section.only(&PRIVACY_KEYS.map(|k| k.name))?;
        Ok(PrivacySettings {
            keep_pictures: section.declared_flag(&KEEP_PICTURES)?,
            keep_days: section.declared_whole(&KEEP_DAYS)?,
            keep_gb: section.declared_number(&KEEP_GB)?,
            free_space_gb: section.declared_number(&FREE_SPACE_GB)?,
            blur_stored_faces: section.declared_flag(&BLUR_STORED_FACES)?,
            keep_measures_days: match section.declared_whole(&KEEP_MEASURES_DAYS)? {
                0 => None,
                days => Some(days),
            },
        })
    }

    /// What was measured before this moment may not be kept any longer: whole
    /// days, so that a day goes as one. `None` where all of it is kept.
    pub fn measures_kept_since(&self, now: &jiff::Zoned) -> Option<jiff::Zoned> {
        kept_since(self.keep_measures_days?, now)
    }

    /// The same in bytes.
    pub fn retention(&self) -> Retention {
        let bytes = |gb: f64| (gb * GIGABYTE) as u64;
        Retention {
            keep_days: self.keep_days,
            keep_bytes: bytes(self.keep_gb),
            free_bytes: bytes(self.free_space_gb),
        }
    }
}

/// The beginning of the day so many days before this one.
pub(in crate::station) fn kept_since(days: u32, now: &jiff::Zoned) -> Option<jiff::Zoned> {
    let day = now
        .date()
        .checked_sub(jiff::Span::new().try_days(days).ok()?);
    day.ok()?.to_zoned(now.time_zone().clone()).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Document;

    #[test]
    fn the_defaults_of_the_keys_are_the_defaults_of_the_type() {
        let document = Document::parse("", "x").unwrap();
        let read = PrivacySettings::from_section(&document.root());
        assert_eq!(read, Ok(PrivacySettings::default()));
        assert!(!PrivacySettings::default().keep_pictures);
        assert_eq!(PrivacySettings::default().keep_measures_days, None);
        assert_eq!(
            PrivacySettings::default().retention().keep_bytes,
            10_000_000_000
        );
    }

    #[test]
    fn measures_go_by_whole_days() {
        let since = |days| {
            let now = "2026-11-25T18:40:00+01:00[Europe/Zurich]".parse().unwrap();
            let settings = PrivacySettings {
                keep_measures_days: days,
                ..PrivacySettings::default()
            };
            settings.measures_kept_since(&now).map(|at| at.to_string())
        };
        assert_eq!(since(None), None);
        assert_eq!(
            since(Some(1)).unwrap(),
            "2026-11-24T00:00:00+01:00[Europe/Zurich]"
        );
        // Over the end of summer time.
        assert_eq!(
            since(Some(40)).unwrap(),
            "2026-10-16T00:00:00+02:00[Europe/Zurich]"
        );
    }
}
