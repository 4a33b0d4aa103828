//! How long what was measured is kept: sessions, passes and everything that
//! hangs on them, deleted by age without a trace.

use jiff::{ToSpan, Zoned};
use rusqlite::params;

use super::archive::Archive;
use super::schema::BEFORE_VERSION;
use super::skaters::{DAMAGED, remove, take_strips};
use super::{StoreError, lineup};

/// What lies before some moment, or went for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Aged {
    /// Passes with their pushes, measures, points and notes.
    pub passes: u32,
    /// Sessions of which nothing is left.
    pub sessions: u32,
    /// Sets of pictures of these passes.
    pub strips: u32,
}

/// What is old, by row.
struct Old {
    passes: Vec<i64>,
    sessions: Vec<i64>,
}

impl Archive {
    /// What was written before this moment.
    pub fn older_than(&self, before: &Zoned) -> Result<Aged, StoreError> {
        let old = self.old(before)?;
        Ok(Aged {
            passes: old.passes.len() as u32,
            sessions: old.sessions.len() as u32,
            strips: 0,
        })
    }

    /// Deletes every pass that was written before this moment, with its
    /// pushes, measures, points, notes and pictures, and every session that
    /// began before and holds none any more; not the one being recorded. When
    /// this returns no file of the folder holds a byte of them, but where the
    /// file is large and is built anew later ([`Archive::do_chores`]).
    ///
    /// Copies made before migrations go whole, because the same passes are in
    /// them; damaged files that were set aside go when they were last written
    /// before this moment.
    ///
    /// # Errors
    /// What could not be deleted; trying again goes on where it stopped.
    pub fn delete_older_than(&self, before: &Zoned) -> Result<Aged, StoreError> {
        self.book.check_still_there()?;
        self.remove_damaged(before)?;
        let old = self.old(before)?;
        if old.passes.is_empty() && old.sessions.is_empty() {
            return Ok(Aged::default());
        }
        let fault = |e| self.book.fault(e);
        let transaction = self.book.writing()?;
        let mut files = Vec::new();
        for pass in &old.passes {
            files.extend(take_strips(&transaction, "p.id", *pass).map_err(fault)?);
            transaction
                .execute("DELETE FROM passes WHERE id = ?1", [pass])
                .map_err(fault)?;
        }
        let mut sessions = 0;
        for session in &old.sessions {
            // A pass may have come to it meanwhile.
            sessions += transaction
                .execute(
                    "DELETE FROM sessions WHERE id = ?1 AND state <> 'open'
                       AND NOT EXISTS (SELECT 1 FROM passes WHERE session_id = ?1)",
                    [session],
                )
                .map_err(fault)?;
        }
        lineup::forget_before(&transaction, before).map_err(fault)?;
        self.end_deletion(transaction, &files, &[BEFORE_VERSION])?;
        Ok(Aged {
            passes: old.passes.len() as u32,
            sessions: sessions as u32,
            strips: files.len() as u32,
        })
    }

    /// The day of the oldest pass, year-month-day; `None` where there is none.
    pub fn oldest_pass_day(&self) -> Result<Option<String>, StoreError> {
        let oldest: Option<String> = self
            .book
            .connection
            .query_row("SELECT min(written_at) FROM passes", [], |r| r.get(0))
            .map_err(|e| self.book.fault(e))?;
        Ok(oldest.map(|at| at.split('T').next().unwrap_or_default().to_owned()))
    }

    fn old(&self, before: &Zoned) -> Result<Old, StoreError> {
        // Text that begins with the day sorts by day; what is near the day is
        // compared as a time, because zones and summers differ.
        let near = before
            .checked_add(2.days())
            .map_or_else(|_| before.to_string(), |d| d.to_string());
        let is_old = |at: &str| at.parse::<Zoned>().is_ok_and(|at| at < *before);
        let rows = |question: &str| -> Result<Vec<i64>, StoreError> {
            let read = || -> rusqlite::Result<Vec<(i64, String)>> {
                self.book
                    .connection
                    .prepare_cached(question)?
                    .query_map(params![near], |r| Ok((r.get(0)?, r.get(1)?)))?
                    .collect()
            };
            let all = read().map_err(|e| self.book.fault(e))?;
            Ok(all
                .into_iter()
                .filter(|(_, at)| is_old(at))
                .map(|(row, _)| row)
                .collect())
        };
        let passes = rows("SELECT id, written_at FROM passes WHERE written_at < ?1")?;
        // The last pass of a session is its end, as far as keeping goes.
        let sessions = rows(
            "SELECT s.id, coalesce((SELECT max(p.written_at) FROM passes p
                                    WHERE p.session_id = s.id), s.started_at)
             FROM sessions s WHERE s.state <> 'open' AND s.started_at < ?1",
        )?;
        Ok(Old { passes, sessions })
    }

    /// Nobody can tell what is in a damaged file, but nothing in it is newer
    /// than the file.
    fn remove_damaged(&self, before: &Zoned) -> Result<(), StoreError> {
        for file in self.beside(&[DAMAGED])? {
            let written = std::fs::metadata(&file).and_then(|m| m.modified());
            let old = written
                .ok()
                .and_then(|at| jiff::Timestamp::try_from(at).ok())
                .is_some_and(|at| at < before.timestamp());
            if old {
                remove(&file)?;
            }
        }
        Ok(())
    }
}
