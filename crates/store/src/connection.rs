//! One open connection to the sessions file, as the recording and the
//! archive both have it.

use std::cell::Cell;
use std::fs::OpenOptions;
use std::io;
use std::os::unix::fs::{MetadataExt, OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};

use super::schema::{MIGRATIONS, migrate};
use super::{StoreError, whole};

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
    /// The same of the write-ahead log, once it was written to.
    log_identity: Cell<Option<(u64, u64)>>,
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
            log_identity: Cell::new(None),
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

    /// What was committed is on the disk and stays there. Where the
    /// write-ahead log is no longer under its name (another program deleted
    /// it), SQLite goes on writing into a file that nobody will find again;
    /// then everything is brought into the sessions file itself.
    pub(super) fn make_sure(&self) -> Result<(), StoreError> {
        let now = identity_of(&self.log()).ok();
        let known = self.log_identity.get();
        if now.is_some() && (known.is_none() || known == now) {
            self.log_identity.set(now);
            return Ok(());
        }
        tracing::error!(file = %self.file.display(), "the write-ahead log was deleted by another program");
        let left: (i64, i64, i64) = self
            .connection
            .query_row("PRAGMA wal_checkpoint(FULL)", [], |r| {
                Ok((r.get(0)?, r.get(1)?, r.get(2)?))
            })
            .map_err(|e| self.fault(e))?;
        match left {
            (0, in_log, brought) if in_log == brought => Ok(()),
            _ => Err(StoreError::Busy {
                file: self.file.clone(),
            }),
        }
    }

    /// SQLite's name for the write-ahead log.
    fn log(&self) -> PathBuf {
        let mut name = self.file.as_os_str().to_owned();
        name.push("-wal");
        PathBuf::from(name)
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
///
/// A file that is there is never opened here: closing any descriptor of a file
/// drops every lock the process holds on it (fcntl(2)), also those of SQLite
/// (sqlite.org/howtocorrupt.html, 2.2). Another program that opens and closes
/// the sessions file then takes itself for the last one and deletes the
/// write-ahead log under the recording.
pub(super) fn create_private(file: &Path) -> io::Result<()> {
    /// Nobody of this program opens the file before its maker has closed it.
    static MAKING: Mutex<()> = Mutex::new(());
    let making = MAKING.lock().unwrap_or_else(PoisonError::into_inner);
    let made = OpenOptions::new()
        .create_new(true)
        .write(true)
        .mode(0o600)
        .open(file)
        .map(drop);
    drop(making);
    match made {
        Err(e) if e.kind() != io::ErrorKind::AlreadyExists => return Err(e),
        _ => {}
    }
    // By name: this opens nothing.
    if std::fs::metadata(file)?.permissions().mode() & 0o777 == 0o600 {
        return Ok(());
    }
    std::fs::set_permissions(file, std::fs::Permissions::from_mode(0o600))
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
    // Until the file is known to be whole nothing is written into it, not even
    // what waits in its log.
    let keep_log = DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE;
    connection.set_db_config(keep_log, true).map_err(fault)?;
    check(&mut connection, file, whole)?;
    connection.set_db_config(keep_log, false).map_err(fault)?;
    // FULL: in WAL mode, NORMAL may lose the last commits on a power cut.
    // secure_delete: what is deleted or changed is written over with zeros.
    connection
        .execute_batch(
            "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;
             PRAGMA secure_delete = ON;",
        )
        .map_err(fault)?;
    migrate(&mut connection, file, MIGRATIONS)?;
    crate::config::sync_folder_of(file).map_err(|e| StoreError::io(file, &e))?;
    Ok(connection)
}

/// Whether the file may be written into. Its tables are looked at every time;
/// all of it where that is wanted, and before its form is changed.
fn check(connection: &mut Connection, file: &Path, whole: bool) -> Result<(), StoreError> {
    // One moment of the file: another connection may be making its tables.
    let moment = connection
        .transaction()
        .map_err(|e| StoreError::sqlite(file, e))?;
    let version = whole::version(&moment, file)?;
    whole::check_tables(&moment, file, version)?;
    let changes = version > 0 && version < MIGRATIONS.len();
    if whole || changes {
        whole::check_content(&moment, file)?;
    }
    Ok(())
}

fn identity_of(file: &Path) -> io::Result<(u64, u64)> {
    let meta = std::fs::metadata(file)?;
    Ok((meta.dev(), meta.ino()))
}
