//! The table `[privacy]` of the station file: which pictures are stored, and
//! for how long.

use serde::{Deserialize, Serialize};

use crate::store::Retention;

const GIGABYTE: f64 = 1e9;

kickplate_measure::settings! {
    /// Which pictures are stored, and for how long.
    #[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
    pub struct PrivacySettings, PRIVACY_KEYS {
        /// Whether pictures of flagged pushes are stored, and only of skaters whose consent
        /// stands in the roster. The big screen shows a sign while they are.
        keep_pictures: flag(false);
        /// Stored pictures are deleted after so many days.
        keep_days: whole(1, 3650, 30);
        /// Room all stored pictures may take, gigabytes; the oldest are deleted for newer
        /// ones.
        keep_gb: number(0.1, 10_000.0, 10);
        /// Room that stays free on the disk of the recordings, gigabytes; the oldest pictures
        /// are deleted for it.
        free_space_gb: number(0.1, 10_000.0, 2);
        /// Whether every face found is made unreadable before a picture is stored. Where
        /// [screen] blur_faces is on they are unreadable in any case.
        blur_stored_faces: flag(true);
        /// Sessions and passes with everything measured in them, their body points, notes and
        /// pictures are deleted after so many days, for good; 0 keeps them.
        keep_measures_days: whole_or_none(0, 3650, 0);
    }
}

impl PrivacySettings {
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
