//! One open connection to the sessions file, as the recording and the
//! archive both have it.

use std::fs::OpenOptions;
use std::io;
use std::os::unix::fs::{MetadataExt, OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};

use super::StoreError;
use super::schema::{MIGRATIONS, migrate};

/// How long a statement waits while another connection writes: as long as a slow
/// disk may take for that. Only the writer's thread and the desk's wait here.
const BUSY_FOR: Duration = Duration::from_secs(5);

/// The sessions file, open.
pub(super) struct Book {
    pub(super) connection: Connection,
    pub(super) file: PathBuf,
    /// Device and inode the connection writes to. A file that was deleted
    /// takes writes without a fault, so it has to be looked at.
    identity: (u64, u64),
}

impl Book {
    /// Opens the file, makes it where it is not there, and brings it to the
    /// newest version. `whole` also looks through all of it for damage.
    pub(super) fn open(file: &Path, whole: bool) -> Result<Self, StoreError> {
        let connection = connect(file, whole)?;
        let identity = identity_of(file).map_err(|e| StoreError::io(file, &e))?;
        Ok(Book {
            connection,
            file: file.to_owned(),
            identity,
        })
    }

    pub(super) fn check_still_there(&self) -> Result<(), StoreError> {
        match identity_of(&self.file) {
            Ok(now) if now == self.identity => Ok(()),
            _ => Err(StoreError::Gone {
                file: self.file.clone(),
            }),
        }
    }

    /// A transaction that writes from its first statement on, so that it
    /// never has to be begun again.
    pub(super) fn writing(&self) -> Result<Transaction<'_>, StoreError> {
        Transaction::new_unchecked(&self.connection, TransactionBehavior::Immediate)
            .map_err(|e| self.fault(e))
    }

    pub(super) fn fault(&self, error: rusqlite::Error) -> StoreError {
        StoreError::sqlite(&self.file, error)
    }

    pub(super) fn damaged(&self, why: &str) -> StoreError {
        StoreError::Damaged {
            file: self.file.clone(),
            why: why.to_owned(),
        }
    }

    /// The folder of the file.
    pub(super) fn folder(&self) -> &Path {
        self.file.parent().unwrap_or(Path::new("."))
    }
}

/// Makes an empty file only its owner can read, or makes an old one so.
/// SQLite gives its side files the same permissions.
pub(super) fn create_private(file: &Path) -> io::Result<()> {
    OpenOptions::new()
        .create(true)
        .truncate(false)
        .write(true)
        .mode(0o600)
        .open(file)?
        .set_permissions(std::fs::Permissions::from_mode(0o600))
}

fn connect(file: &Path, whole: bool) -> Result<Connection, StoreError> {
    let fault = |e| StoreError::sqlite(file, e);
    create_private(file).map_err(|e| StoreError::io(file, &e))?;
    let mut connection = Connection::open_with_flags(
        file,
        OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )
    .map_err(fault)?;
    connection.busy_timeout(BUSY_FOR).map_err(fault)?;
    // FULL: in WAL mode, NORMAL may lose the last commits on a power cut.
    // secure_delete: what is deleted or changed is written over with zeros.
    connection
        .execute_batch(
            "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;
             PRAGMA secure_delete = ON;",
        )
        .map_err(fault)?;
    if whole {
        let check: String = connection
            .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
            .map_err(|e| match fault(e) {
                // The check could not even be made: what describes the tables
                // is damaged in a way that SQLite takes for a fault of the
                // question.
                StoreError::Database { file, why } if !disk_fails(&why) => {
                    StoreError::Damaged { file, why }
                }
                other => other,
            })?;
        if check != "ok" {
            return Err(StoreError::Damaged {
                file: file.to_owned(),
                why: check,
            });
        }
    }
    migrate(&mut connection, file, MIGRATIONS)?;
    crate::config::sync_folder_of(file).map_err(|e| StoreError::io(file, &e))?;
    Ok(connection)
}

/// SQLite's words for a disk that does not read (sqlite3_errstr of
/// SQLITE_IOERR): then the file may be good.
fn disk_fails(why: &str) -> bool {
    why.contains("disk I/O error")
}

fn identity_of(file: &Path) -> io::Result<(u64, u64)> {
    let meta = std::fs::metadata(file)?;
    Ok((meta.dev(), meta.ino()))
}
