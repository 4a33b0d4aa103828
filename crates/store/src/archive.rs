//! The second way into the sessions file: for everything but recording.

use std::path::{Path, PathBuf};

use rusqlite::{OptionalExtension, Transaction, params};

use super::connection::Book;
use super::read;
use super::{
    PassKey, PictureStrip, PushKey, SESSIONS_FILE, SessionSummary, StoreError, StoredSession,
    clips, points,
};
use crate::config::private_folder;
use crate::track;

/// The recordings of one folder, to read, to write notes into and to delete
/// from, also while a session is being recorded. It never takes the lock of
/// the recording.
pub struct Archive {
    pub(super) book: Book,
}

impl Archive {
    /// Opens the sessions file in `folder`, making both where they are not
    /// there. A damaged file is not touched: the next recording sets it aside.
    ///
    /// # Errors
    /// A folder that cannot be used, a file of a newer program, a damaged one.
    pub fn open(folder: &Path) -> Result<Self, StoreError> {
        let file = folder.join(SESSIONS_FILE);
        private_folder(folder).map_err(|e| StoreError::io(&file, &e))?;
        Ok(Archive {
            book: Book::open(&file, false)?,
        })
    }

    /// The sessions file.
    pub fn file(&self) -> &Path {
        &self.book.file
    }

    /// The folder of the sessions file and the pictures.
    pub fn folder(&self) -> &Path {
        self.book.folder()
    }

    /// Whether the open file is still the one in the folder. Where not, it
    /// was moved, deleted or set aside: open the archive anew.
    pub fn is_current(&self) -> bool {
        self.book.check_still_there().is_ok()
    }

    /// Every session of the file, oldest first.
    pub fn sessions(&self) -> Result<Vec<SessionSummary>, StoreError> {
        self.book.sessions()
    }

    /// A whole session by its number.
    pub fn load_session(&self, id: i64) -> Result<StoredSession, StoreError> {
        self.book.load_session(id)
    }

    /// The body points of a pass; `None` where none are stored. Cut again
    /// with [`StoredSession::lane_of`].
    pub fn points(&self, pass: PassKey) -> Result<Option<track::Pass>, StoreError> {
        let bytes: Option<Vec<u8>> = self
            .book
            .connection
            .query_row(
                "SELECT o.content FROM pass_points o JOIN passes p ON p.id = o.pass_id
                 WHERE p.session_id = ?1 AND p.number = ?2",
                params![pass.session, pass.number],
                |r| r.get(0),
            )
            .optional()
            .map_err(|e| self.book.fault(e))?;
        bytes
            .map(|bytes| {
                points::decode(&bytes)
                    .ok_or_else(|| self.book.damaged("the points of a pass are unreadable"))
            })
            .transpose()
    }

    /// The pictures of a strip.
    pub fn strip(&self, id: i64) -> Result<PictureStrip, StoreError> {
        let found = self
            .book
            .connection
            .query_row(
                "SELECT push, rule, flagged_at_s, width, height, frame_width, frame_height,
                        faces_blurred, file, shots
                 FROM picture_strips WHERE id = ?1",
                [id],
                |r| {
                    let strip = PictureStrip {
                        push: r.get(0)?,
                        rule: read::rule(r, 1)?.ok_or(rusqlite::Error::QueryReturnedNoRows)?,
                        flagged_at_s: r.get(2)?,
                        size_px: [r.get(3)?, r.get(4)?],
                        frame_px: [r.get(5)?, r.get(6)?],
                        faces_blurred: r.get(7)?,
                        shots: Vec::new(),
                    };
                    Ok((strip, r.get::<_, String>(8)?, r.get::<_, String>(9)?))
                },
            )
            .optional()
            .map_err(|e| self.book.fault(e))?;
        let (mut strip, name, shots) =
            found.ok_or_else(|| StoreError::NotThere("this set of pictures".to_owned()))?;
        let path = clips::path_of(self.folder(), &name).ok_or_else(|| {
            self.book
                .damaged("the name of a picture file is unreadable")
        })?;
        strip.shots = clips::read(&path, &shots)?;
        Ok(strip)
    }

    /// Writes a whole copy of the sessions file to `path`, as it is now, also
    /// while a session is being recorded. The file must not be there yet.
    pub fn copy_to(&self, path: &Path) -> Result<(), StoreError> {
        super::create_private(path).map_err(|e| StoreError::io(path, &e))?;
        self.book
            .connection
            .execute("VACUUM INTO ?1", [path.to_string_lossy()])
            .map(|_| ())
            .map_err(|e| StoreError::sqlite(path, e))
    }

    /// Looks through the whole file for damage.
    pub fn check_whole(&self) -> Result<(), StoreError> {
        super::whole::check_content(&self.book.connection, &self.book.file)
    }

    /// Does what an earlier deletion had to put off; `true` where there was
    /// something.
    pub fn do_chores(&self) -> Result<bool, StoreError> {
        let waiting: i64 = self
            .book
            .connection
            .query_row(
                "SELECT count(*) FROM chores WHERE name = 'rewrite'",
                [],
                |r| r.get(0),
            )
            .map_err(|e| self.book.fault(e))?;
        if waiting > 0 {
            self.rewrite()?;
        }
        Ok(waiting > 0)
    }

    /// Builds the file anew from what is in it. SQLite writes over what is
    /// deleted, but pages that were put in order may keep old copies between
    /// their rows; a new file has none.
    pub(super) fn rewrite(&self) -> Result<(), StoreError> {
        let fault = |e| self.book.fault(e);
        self.book
            .connection
            .execute("DELETE FROM chores WHERE name = 'rewrite'", [])
            .map_err(fault)?;
        if let Err(error) = self.book.connection.execute_batch("VACUUM") {
            self.book
                .connection
                .execute("INSERT OR IGNORE INTO chores VALUES ('rewrite')", [])
                .map_err(fault)?;
            return Err(fault(error));
        }
        self.empty_log()
    }

    /// Brings everything from the write-ahead log into the file and cuts the
    /// log to nothing: deleted rows lie in it in full.
    pub(super) fn empty_log(&self) -> Result<(), StoreError> {
        let busy: i64 = self
            .book
            .connection
            .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |r| r.get(0))
            .map_err(|e| self.book.fault(e))?;
        if busy != 0 {
            return Err(StoreError::Busy {
                file: self.book.file.clone(),
            });
        }
        Ok(())
    }

    /// Row of a pass.
    pub(super) fn pass_row(
        &self,
        transaction: &Transaction<'_>,
        pass: PassKey,
    ) -> Result<i64, StoreError> {
        transaction
            .query_row(
                "SELECT id FROM passes WHERE session_id = ?1 AND number = ?2",
                params![pass.session, pass.number],
                |r| r.get(0),
            )
            .optional()
            .map_err(|e| self.book.fault(e))?
            .ok_or_else(|| {
                StoreError::NotThere(format!("pass {} of session {}", pass.number, pass.session))
            })
    }

    /// Row of a push.
    pub(super) fn push_row(
        &self,
        transaction: &Transaction<'_>,
        push: &PushKey,
    ) -> Result<i64, StoreError> {
        let pass = self.pass_row(transaction, push.pass)?;
        transaction
            .query_row(
                "SELECT id FROM pushes WHERE pass_id = ?1 AND position = ?2",
                params![pass, push.position],
                |r| r.get(0),
            )
            .optional()
            .map_err(|e| self.book.fault(e))?
            .ok_or_else(|| {
                StoreError::NotThere(format!(
                    "push {} of pass {}",
                    push.position + 1,
                    push.pass.number
                ))
            })
    }

    /// Files beside the sessions file whose names begin as it does and go on
    /// with one of `endings`.
    pub(super) fn beside(&self, endings: &[&str]) -> Result<Vec<PathBuf>, StoreError> {
        let io = |e| StoreError::io(&self.book.file, &e);
        let mut found = Vec::new();
        for entry in std::fs::read_dir(self.folder()).map_err(io)? {
            let entry = entry.map_err(io)?;
            let name = entry.file_name();
            let Some(rest) = name.to_str().and_then(|n| n.strip_prefix(SESSIONS_FILE)) else {
                continue;
            };
            if endings.iter().any(|e| rest.starts_with(e)) {
                found.push(entry.path());
            }
        }
        found.sort();
        Ok(found)
    }
}
