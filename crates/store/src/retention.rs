//! How much is kept and for how long.

use std::collections::HashSet;
use std::time::{Duration, SystemTime};

use jiff::Timestamp;

use super::archive::Archive;
use super::clips::PICTURES_FOLDER;
use super::{StoreError, clips};

/// A picture file no table knows is left over after this long: the recording
/// lays a file down before it writes its row.
const LEFT_OVER_AFTER: Duration = Duration::from_secs(600);

/// What may be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Retention {
    /// Pictures are deleted after so many days.
    pub keep_days: u32,
    /// All pictures together, bytes; the oldest go first.
    pub keep_bytes: u64,
    /// Room that stays free on the disk, bytes; the oldest pictures go for it.
    pub free_bytes: u64,
}

/// What [`Archive::prune`] deleted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Pruned {
    /// Sets of pictures that were too old.
    pub too_old: u32,
    /// Sets that went because there were too many.
    pub too_many: u32,
    /// Sets that went because the disk is nearly full.
    pub disk_full: u32,
    /// Bytes of all of them.
    pub bytes: u64,
    /// Files in the pictures folder that belonged to nothing.
    pub left_over: u32,
    /// Whether the disk stays fuller than it may be although no picture is
    /// left.
    pub still_full: bool,
}

/// What the recordings take.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Usage {
    /// The sessions file and its log, bytes.
    pub database_bytes: u64,
    /// The pictures, bytes.
    pub picture_bytes: u64,
    /// Sets of pictures.
    pub strips: u32,
    /// Passes stored.
    pub passes: u32,
    /// Sessions stored.
    pub sessions: u32,
    /// Copies before migrations and damaged files set aside, bytes.
    pub old_files_bytes: u64,
}

impl Archive {
    /// What the recordings take.
    pub fn usage(&self) -> Result<Usage, StoreError> {
        let fault = |e| self.book.fault(e);
        let (picture_bytes, clips, passes, sessions): (i64, u32, u32, u32) = self
            .book
            .connection
            .query_row(
                "SELECT (SELECT coalesce(sum(bytes), 0) FROM picture_strips),
                        (SELECT count(*) FROM picture_strips),
                        (SELECT count(*) FROM passes), (SELECT count(*) FROM sessions)",
                [],
                |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?)),
            )
            .map_err(fault)?;
        let size = |path: &std::path::Path| std::fs::metadata(path).map_or(0, |m| m.len());
        let of = |paths: Vec<std::path::PathBuf>| paths.iter().map(|p| size(p)).sum::<u64>();
        Ok(Usage {
            database_bytes: size(&self.book.file) + of(self.beside(&["-wal", "-shm"])?),
            picture_bytes: picture_bytes.max(0) as u64,
            strips: clips,
            passes,
            sessions,
            old_files_bytes: of(
                self.beside(&[super::schema::BEFORE_VERSION, super::skaters::DAMAGED])?
            ),
        })
    }

    /// Deletes pictures that are too old, too many, or in the way of a disk
    /// that has only `free_bytes` left; the oldest go first. Measures go
    /// by [`Archive::delete_older_than`], and exports are the coach's own.
    pub fn prune(&self, retention: &Retention, free_bytes: u64) -> Result<Pruned, StoreError> {
        self.prune_at(retention, free_bytes, Timestamp::now())
    }

    pub(super) fn prune_at(
        &self,
        retention: &Retention,
        free_bytes: u64,
        now: Timestamp,
    ) -> Result<Pruned, StoreError> {
        self.book.check_still_there()?;
        let fault = |e| self.book.fault(e);
        let transaction = self.book.writing()?;
        let all: Vec<(i64, String, u64, i64)> = transaction
            .prepare("SELECT id, file, bytes, kept_since_s FROM picture_strips ORDER BY kept_since_s, id")
            .and_then(|mut s| {
                s.query_map([], |r| {
                    Ok((
                        r.get(0)?,
                        r.get(1)?,
                        r.get::<_, i64>(2)?.max(0) as u64,
                        r.get(3)?,
                    ))
                })?
                .collect()
            })
            .map_err(fault)?;
        let oldest_s = now.as_second() - i64::from(retention.keep_days) * 86_400;
        let mut kept: u64 = all.iter().map(|s| s.2).sum();
        let mut free = free_bytes;
        let mut pruned = Pruned::default();
        let mut going = Vec::new();
        for (id, file, bytes, since_s) in &all {
            let why = if *since_s < oldest_s {
                &mut pruned.too_old
            } else if kept > retention.keep_bytes {
                &mut pruned.too_many
            } else if free < retention.free_bytes {
                &mut pruned.disk_full
            } else {
                // Sorted by age: what comes after is newer and no reason is
                // left.
                break;
            };
            *why += 1;
            kept -= bytes;
            free += bytes;
            pruned.bytes += bytes;
            going.push(file.clone());
            transaction
                .execute("DELETE FROM picture_strips WHERE id = ?1", [id])
                .map_err(fault)?;
        }
        pruned.still_full = free < retention.free_bytes;
        transaction.commit().map_err(fault)?;
        self.remove_files(&going)?;
        pruned.left_over = self.sweep()?;
        Ok(pruned)
    }

    /// Deletes files in the pictures folder that no table knows: what a power
    /// cut left half done, and the pictures of a file that was set aside.
    fn sweep(&self) -> Result<u32, StoreError> {
        let folder = self.folder().join(PICTURES_FOLDER);
        let Ok(entries) = std::fs::read_dir(&folder) else {
            return Ok(0);
        };
        // Listed before the table is read: a row that comes later has a file
        // that is younger still.
        let names: Vec<(String, SystemTime)> = entries
            .filter_map(Result::ok)
            .filter_map(|e| {
                let modified = e.metadata().ok().filter(|m| m.is_file())?.modified().ok()?;
                Some((e.file_name().into_string().ok()?, modified))
            })
            .collect();
        let known: HashSet<String> = self
            .book
            .connection
            .prepare("SELECT file FROM picture_strips")
            .and_then(|mut s| s.query_map([], |r| r.get(0))?.collect())
            .map_err(|e| self.book.fault(e))?;
        let mut swept = 0;
        for (name, modified) in names {
            let old = modified
                .elapsed()
                .is_ok_and(|since| since >= LEFT_OVER_AFTER);
            if old && !known.contains(&name) {
                clips::remove(self.folder(), &name)?;
                swept += 1;
            }
        }
        Ok(swept)
    }
}
