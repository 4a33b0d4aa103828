//! The sessions file: opening, recovery, writing.

use std::fs::{File, OpenOptions, TryLockError};
use std::io;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use jiff::Zoned;
use rusqlite::{OptionalExtension, params};

use super::backend::goes_on;
use super::connection::Book;
use super::insert;
use super::skaters::DAMAGED;
use super::{
    NewPass, PictureStrip, SessionId, SessionInfo, SessionState, SessionSummary, SourceKind,
    StoreError, StoredSession,
};
use crate::config::private_folder;

/// Name of the sessions file in its folder.
pub const SESSIONS_FILE: &str = "sessions.sqlite3";
const LOCK_FILE: &str = "sessions.lock";

/// The recordings of one folder. One program run at a time holds it.
pub struct Store {
    pub(super) book: Book,
    recovered: Vec<SessionSummary>,
    set_aside: Option<PathBuf>,
    /// Held for as long as the store is open; a killed program lets go of it.
    _lock: File,
}

impl Store {
    /// Opens the sessions file in `folder`, making both where they are not
    /// there. Sessions the last run did not end are marked as recovered; a
    /// damaged file is set aside under another name and a new one is made.
    pub fn open(folder: &Path) -> Result<Store, StoreError> {
        let file = folder.join(SESSIONS_FILE);
        // The folder itself is what the user can do something about.
        let io = |e: io::Error| StoreError::io(&file, &e);
        private_folder(folder).map_err(io)?;
        let lock = lock(folder)?;
        let mut set_aside = None;
        let book = match Book::open(&file, true) {
            Err(StoreError::Damaged { why, .. }) => {
                let aside = move_aside(&file).map_err(io)?;
                tracing::error!(file = %aside.display(), %why, "damaged sessions file set aside");
                set_aside = Some(aside);
                Book::open(&file, true)?
            }
            other => other?,
        };
        let mut store = Store {
            book,
            recovered: Vec::new(),
            set_aside,
            _lock: lock,
        };
        store.recover()?;
        Ok(store)
    }

    /// The sessions that had no proper end when the store was opened, and
    /// what is in them.
    pub fn recovered(&self) -> &[SessionSummary] {
        &self.recovered
    }

    /// Where a damaged sessions file was moved to when the store was opened.
    pub fn set_aside(&self) -> Option<&Path> {
        self.set_aside.as_deref()
    }

    /// The sessions file.
    pub fn file(&self) -> &Path {
        &self.book.file
    }

    /// Begins a session; it is on the disk when this returns.
    pub fn begin_session(&mut self, info: &SessionInfo) -> Result<SessionId, StoreError> {
        self.check_still_there()?;
        let token = new_token(info);
        let text =
            |v: serde_json::Result<String>| v.map_err(|e| StoreError::Encoding(e.to_string()));
        let source = text(serde_json::to_string(&info.source))?;
        let lane = text(serde_json::to_string(&info.lane))?;
        let engine = text(serde_json::to_string(&info.engine))?;
        self.book
            .connection
            .execute(
                "INSERT INTO sessions (token, started_at, state, source, lane, engine, age_group)
                 VALUES (?1, ?2, 'open', ?3, ?4, ?5, ?6)",
                params![
                    token,
                    info.started.to_string(),
                    source,
                    lane,
                    engine,
                    info.age_group.name()
                ],
            )
            .map_err(|e| self.book.fault(e))?;
        Ok(SessionId {
            row: self.book.connection.last_insert_rowid(),
            token,
        })
    }

    /// Takes up a session again after the store was opened anew; `false`
    /// where this file does not hold it.
    pub fn resume_session(&self, session: &SessionId) -> Result<bool, StoreError> {
        let changed = self
            .book
            .connection
            .execute(
                "UPDATE sessions SET state = 'open', ended_at = NULL WHERE id = ?1 AND token = ?2",
                params![session.row, session.token],
            )
            .map_err(|e| self.book.fault(e))?;
        Ok(changed == 1)
    }

    /// Every session of the file, oldest first.
    pub fn sessions(&self) -> Result<Vec<SessionSummary>, StoreError> {
        self.book.sessions()
    }

    /// A whole session by its number.
    pub fn load_session(&self, id: i64) -> Result<StoredSession, StoreError> {
        self.book.load_session(id)
    }

    /// Writes one pass, its cue and what comes with it. When this returns the
    /// pass is on the disk and outlives a kill or a power cut. Writing the
    /// same pass again changes nothing. Points and pictures of a skater who
    /// was deleted meanwhile are not written.
    pub fn write_pass(&mut self, session: &SessionId, new: &NewPass) -> Result<(), StoreError> {
        self.write_passes(session, &[new])
    }

    /// The same for several passes in one step, all or none: a disk that takes
    /// its time is asked once.
    pub fn write_passes(
        &mut self,
        session: &SessionId,
        news: &[&NewPass],
    ) -> Result<(), StoreError> {
        self.check_still_there()?;
        insert::passes(&self.book, session, news)
    }

    /// Writes pictures of a pass that is stored; pictures of a pass that is
    /// not, or whose skater has no consent any more, are let go.
    pub fn write_strips(
        &mut self,
        session: &SessionId,
        number: u32,
        strips: &[PictureStrip],
    ) -> Result<(), StoreError> {
        self.check_still_there()?;
        insert::strips(&self.book, session, number, strips)
    }

    /// Notes that so many more passes of the session could not be kept.
    pub fn note_lost(&mut self, session: &SessionId, passes: u64) -> Result<(), StoreError> {
        let passes = i64::try_from(passes).unwrap_or(i64::MAX);
        self.book
            .connection
            .execute(
                "UPDATE sessions SET passes_lost = passes_lost + ?2 WHERE id = ?1",
                params![session.row, passes],
            )
            .map(|_| ())
            .map_err(|e| self.book.fault(e))
    }

    /// The session that a pass of now belongs to, with the number of its last
    /// pass: the newest one, unless it was ended for good, an hour or a
    /// midnight lies between, or it is of another kind of source.
    pub(super) fn session_that_goes_on(
        &self,
        kind: SourceKind,
        now: &Zoned,
    ) -> Result<Option<(SessionId, u32)>, StoreError> {
        let newest: Option<(SessionId, bool, Option<String>, u32)> = self
            .book
            .connection
            .query_row(
                "SELECT s.id, s.token, s.ended_for_good,
                        (SELECT written_at FROM passes WHERE session_id = s.id
                         ORDER BY id DESC LIMIT 1),
                        (SELECT coalesce(max(number), 0) FROM passes WHERE session_id = s.id)
                 FROM sessions s ORDER BY s.id DESC LIMIT 1",
                [],
                |r| {
                    let id = SessionId {
                        row: r.get(0)?,
                        token: r.get(1)?,
                    };
                    Ok((id, r.get(2)?, r.get(3)?, r.get(4)?))
                },
            )
            .optional()
            .map_err(|e| self.book.fault(e))?;
        let Some((id, false, Some(last_pass), last_number)) = newest else {
            return Ok(None);
        };
        let in_time = last_pass
            .parse::<Zoned>()
            .is_ok_and(|last_pass| goes_on(&last_pass, now));
        if !in_time || self.session_info(&id)?.source.kind != kind || !self.resume_session(&id)? {
            return Ok(None);
        }
        Ok(Some((id, last_number)))
    }

    /// What was known of a session at its beginning.
    pub(super) fn session_info(&self, id: &SessionId) -> Result<SessionInfo, StoreError> {
        self.book.session_info(id.row)
    }

    /// Ends a session: no further pass belongs to it, also after a restart.
    pub fn end_session_for_good(&mut self, session: &SessionId) -> Result<(), StoreError> {
        self.end_session(session)?;
        self.book
            .connection
            .execute(
                "UPDATE sessions SET ended_for_good = 1 WHERE id = ?1",
                [session.row],
            )
            .map(|_| ())
            .map_err(|e| self.book.fault(e))
    }

    /// Ends a session properly.
    pub fn end_session(&mut self, session: &SessionId) -> Result<(), StoreError> {
        self.check_still_there()?;
        self.book
            .connection
            .execute(
                "UPDATE sessions SET state = 'closed', ended_at = ?2 WHERE id = ?1",
                params![session.row, Zoned::now().to_string()],
            )
            .map(|_| ())
            .map_err(|e| self.book.fault(e))
    }

    /// The lock says that no other run records here, so every session still
    /// open belongs to a run that was stopped in the middle.
    fn recover(&mut self) -> Result<(), StoreError> {
        let mut found = self.sessions()?;
        found.retain(|s| s.state == SessionState::Open);
        if found.is_empty() {
            return Ok(());
        }
        self.book
            .connection
            .execute(
                "UPDATE sessions SET state = 'recovered', ended_at =
                   (SELECT max(written_at) FROM passes WHERE session_id = sessions.id)
                 WHERE state = 'open'",
                [],
            )
            .map_err(|e| self.book.fault(e))?;
        let mut now = self.sessions()?;
        now.retain(|s| found.iter().any(|f| f.id == s.id));
        for session in &now {
            tracing::warn!(
                session = session.id.row,
                passes = session.passes,
                "a session that was not ended properly was recovered"
            );
        }
        self.recovered = now;
        Ok(())
    }

    fn check_still_there(&self) -> Result<(), StoreError> {
        self.book.check_still_there()
    }
}

/// Keeps every recording out of a folder for as long as it is held.
pub struct Held(#[allow(dead_code, reason = "it is held, not used")] File);

/// Keeps every recording out of `folder`, which is made where it is not there.
///
/// # Errors
/// [`StoreError::InUse`] while one is going on.
pub fn hold(folder: &Path) -> Result<Held, StoreError> {
    private_folder(folder).map_err(|e| StoreError::io(&folder.join(LOCK_FILE), &e))?;
    lock(folder).map(Held)
}

fn lock(folder: &Path) -> Result<File, StoreError> {
    let path = folder.join(LOCK_FILE);
    let file = OpenOptions::new()
        .create(true)
        .truncate(false)
        .write(true)
        .mode(0o600)
        .open(&path)
        .map_err(|e| StoreError::io(&path, &e))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(StoreError::InUse {
            folder: folder.to_owned(),
        }),
        Err(TryLockError::Error(e)) => Err(StoreError::io(&path, &e)),
    }
}

/// Renames a damaged file, with its side files, to a name not yet taken.
fn move_aside(file: &Path) -> io::Result<PathBuf> {
    let with = |path: &Path, ending: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(ending);
        PathBuf::from(name)
    };
    let stamp = Zoned::now().strftime("%Y%m%d-%H%M%S").to_string();
    let mut aside = with(file, &format!("{DAMAGED}{stamp}"));
    let mut n = 1;
    while aside.exists() {
        n += 1;
        aside = with(file, &format!("{DAMAGED}{stamp}-{n}"));
    }
    std::fs::rename(file, &aside)?;
    for side in ["-wal", "-shm"] {
        match std::fs::rename(with(file, side), with(&aside, side)) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(e),
            _ => {}
        }
    }
    Ok(aside)
}

/// Different for every session that can meet another in one file.
fn new_token(info: &SessionInfo) -> String {
    static COUNT: AtomicU64 = AtomicU64::new(0);
    format!(
        "{}-{}-{}",
        info.started.timestamp().as_nanosecond(),
        std::process::id(),
        COUNT.fetch_add(1, Ordering::Relaxed)
    )
}

#[cfg(test)]
#[path = "database_tests.rs"]
mod tests;
