//! What is kept of pictures and measures and for how long; the copy of
//! everything.

use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use jiff::Zoned;

use super::{Done, LOOK_AT_DISK_EVERY, PRUNE_EVERY, Service, ServiceError, said};
use crate::config::{Edit, Written};
use crate::panel::{Command, Message, Number, StoredMeasures, StoredPictures, WouldGo};
use crate::station::commands::backup;
use crate::station::settings::privacy::kept_since;
use crate::store::Aged;

/// 'Without a bound' in the settings file: the largest that can stand there.
pub(super) const MOST_DAYS: u32 = 3650;
pub(super) const MOST_GB: f64 = 10_000.0;

impl Service {
    pub(super) fn keep_pictures(&mut self, on: bool) -> Done {
        self.write_privacy(&[("keep_pictures", Written::Flag(on))])?;
        Ok(match on {
            true => Message::KeepOn {},
            false => Message::KeepOff {},
        })
    }

    pub(super) fn blur_stored_faces(&mut self, on: bool) -> Done {
        self.write_privacy(&[("blur_stored_faces", Written::Flag(on))])?;
        Ok(match (on, self.station.screen.blur_faces) {
            (true, _) => Message::BlurOn {},
            (false, true) => Message::BlurByScreen {},
            (false, false) => Message::BlurOff {},
        })
    }

    pub(super) fn set_retention(&mut self, days: Option<u32>, gb: Option<f64>) -> Done {
        self.write_privacy(&[
            (
                "keep_days",
                Written::Number(f64::from(days.unwrap_or(MOST_DAYS))),
            ),
            ("keep_gb", Written::Number(gb.unwrap_or(MOST_GB))),
        ])?;
        // At once, not within the hour.
        self.prune_at = Instant::now();
        Ok(Message::RetentionSet {})
    }

    fn write_privacy(&mut self, values: &[(&str, Written)]) -> Result<(), super::ServiceError> {
        let edits: Vec<Edit> = values
            .iter()
            .map(|(key, value)| Edit::new(&["privacy", key], value.clone()))
            .collect();
        self.write_station(&edits)?;
        let privacy = self.station.privacy;
        self.settings.change(|now| now.privacy = privacy);
        Ok(())
    }

    pub(super) fn preview_measures(&mut self, days: u32) -> Done {
        let since = kept_since(days, &Zoned::now()).filter(|_| days > 0);
        let since = since.ok_or_else(|| said(Message::NoDays {}))?;
        let old = self.archive()?.older_than(&since)?;
        let (passes, sessions) = (old.passes, old.sessions);
        self.view.privacy.would_go = Some(WouldGo {
            days,
            passes,
            sessions,
        });
        Ok(Message::MeasuresTried {
            days,
            passes,
            sessions,
        })
    }

    pub(super) fn keep_measures(&mut self, days: Option<u32>) -> Done {
        if days == Some(0) {
            return Err(said(Message::NoDays {}));
        }
        let written = Written::Number(f64::from(days.unwrap_or(0)));
        self.write_privacy(&[("keep_measures_days", written)])?;
        self.view.privacy.would_go = None;
        let gone = self.delete_old_measures()?;
        self.count_stored();
        Ok(match days {
            Some(days) => Message::MeasuresGone {
                days,
                passes: gone.passes,
                sessions: gone.sessions,
            },
            None => Message::MeasuresKept {},
        })
    }

    /// Deletes what was measured and may not be kept any longer.
    fn delete_old_measures(&mut self) -> Result<Aged, ServiceError> {
        let Some(since) = self.station.privacy.measures_kept_since(&Zoned::now()) else {
            return Ok(Aged::default());
        };
        let gone = self.archive()?.delete_older_than(&since)?;
        if gone != Aged::default() {
            tracing::info!(?gone, "what was measured was deleted as the settings say");
            self.listed = None;
            self.view.push = None;
            self.view.progress = None;
            // The session that was listed may be gone.
            let sessions = self.archive()?.sessions()?;
            if !sessions
                .iter()
                .any(|s| Some(s.id.number()) == self.view.session)
            {
                self.view.session = None;
                self.view.passes = Default::default();
                self.view.sessions = Arc::new(sessions.into_iter().rev().collect());
                self.follow_recording = true;
            }
        }
        Ok(gone)
    }

    /// Deletes pictures that may not be kept any longer: at the start and
    /// every hour.
    pub(super) fn look_after_pictures(&mut self) {
        let now = Instant::now();
        // A disk that fills up is not left to the next hour.
        let full = now >= self.look_at_disk_at && self.view.privacy.stored.strips > 0 && {
            self.look_at_disk_at = now + LOOK_AT_DISK_EVERY;
            let floor = self.station.privacy.retention().free_bytes;
            self.free_bytes().is_some_and(|free| free < floor)
        };
        if now < self.prune_at && !full {
            return;
        }
        self.prune_at = now + PRUNE_EVERY;
        let retention = self.station.privacy.retention();
        let free = self.free_bytes().unwrap_or(u64::MAX);
        let pruned = self.archive().and_then(|archive| {
            archive.do_chores()?;
            Ok(archive.prune(&retention, free)?)
        });
        match pruned {
            Ok(pruned) => {
                if pruned.bytes > 0 || pruned.left_over > 0 {
                    tracing::info!(?pruned, "pictures were deleted as the settings say");
                    self.listed = None;
                }
                self.trouble = pruned.still_full.then(|| {
                    Message::DiskNearlyFull {
                        folder: self.folder.clone(),
                        size: Number(self.station.privacy.free_space_gb, 1),
                    }
                    .say(&self.words)
                });
            }
            Err(error) => tracing::warn!(%error, "stored pictures could not be looked through"),
        }
        if let Err(error) = self.delete_old_measures() {
            tracing::warn!(%error, "what is too old could not be deleted and is tried again");
        }
        self.count_stored();
    }

    /// What lies on the disk, for the view.
    pub(super) fn count_stored(&mut self) {
        let Some(archive) = &self.archive else {
            return;
        };
        let Ok(usage) = archive.usage() else {
            return;
        };
        self.view.privacy.measures = StoredMeasures {
            passes: usage.passes,
            sessions: usage.sessions,
            oldest: archive.oldest_pass_day().ok().flatten(),
        };
        let oldest = archive.oldest_pictures_s().ok().flatten();
        self.view.privacy.stored = StoredPictures {
            strips: usage.strips,
            bytes: usage.picture_bytes,
            oldest: oldest
                .and_then(|s| jiff::Timestamp::from_second(s).ok())
                .map(|t| {
                    t.to_zoned(jiff::tz::TimeZone::system())
                        .strftime("%Y-%m-%d")
                        .to_string()
                }),
        };
    }

    pub(super) fn back_up(&mut self, path: &Path, sure: bool) -> Done {
        if path.exists() && !sure {
            return self.ask_to_replace(path, |path| Command::BackUp { path, sure: true });
        }
        self.view.question = None;
        let free = self.archive()?.usage()?;
        let written = backup::back_up(&self.home, &self.folder, path)
            .map_err(|e| said(Message::BackupFailed { why: e.to_string() }))?;
        tracing::info!(
            bytes = written.bytes,
            database = free.database_bytes,
            "backed up"
        );
        Ok(Message::BackedUp {
            file: path.to_owned(),
            size: Number(written.bytes as f64 / 1e6, 1),
        })
    }
}
