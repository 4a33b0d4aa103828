//! What can go wrong with recordings, in one sentence each.

use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;

/// A recording that cannot be made or read, and the remedy.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The folder cannot be made or used.
    #[error(
        "recordings cannot be written to {} ({why}); make the folder writable or set sessions_folder in config/station.toml to another one",
        .folder.display()
    )]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// The system's words.
        why: String,
    },
    /// Another program run has the folder.
    #[error(
        "another Kickplate is recording to {}; close it or set sessions_folder in config/station.toml to another folder",
        .folder.display()
    )]
    InUse {
        /// The folder.
        folder: PathBuf,
    },
    /// Something else writes to the file for longer than anybody waits.
    #[error(
        "'{}' was being written to for too long by another part of Kickplate or by another program; the disk may be slow, and it is tried again",
        .file.display()
    )]
    Busy {
        /// The sessions file.
        file: PathBuf,
    },
    /// No room left.
    #[error(
        "the disk that holds {} is full; free some space, the passes waiting are then written",
        .file.display()
    )]
    Full {
        /// The sessions file.
        file: PathBuf,
    },
    /// The file or its folder went away under the program.
    #[error(
        "{} was moved or deleted while in use; put it back or leave it, a new one is made",
        .file.display()
    )]
    Gone {
        /// The sessions file.
        file: PathBuf,
    },
    /// Made by a newer program.
    #[error(
        "{} was made by a newer Kickplate; use that one, or set sessions_folder in config/station.toml to another folder",
        .file.display()
    )]
    TooNew {
        /// The sessions file.
        file: PathBuf,
    },
    /// The content is damaged.
    #[error(
        "{} is damaged ({why}); it is set aside at the next start and a new one is made",
        .file.display()
    )]
    Damaged {
        /// The sessions file.
        file: PathBuf,
        /// What was found.
        why: String,
    },
    /// Any other answer of the database.
    #[error("{} cannot be used ({why}); check the disk", .file.display())]
    Database {
        /// The sessions file.
        file: PathBuf,
        /// The database's words.
        why: String,
    },
    /// A file the user asked for cannot be written.
    #[error("{} cannot be written ({why}); name another place or make it writable", .file.display())]
    NotWritten {
        /// The file.
        file: PathBuf,
        /// The system's words.
        why: String,
    },
    /// A `session.json` that cannot be read.
    #[error("{} cannot be read as a session file: {why}", .file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// No such session.
    #[error("there is no session {id} in {}", .file.display())]
    NoSession {
        /// The id asked for.
        id: i64,
        /// The sessions file.
        file: PathBuf,
    },
    /// Pictures that should be there and are not.
    #[error("the pictures in {} cannot be shown ({why})", .file.display())]
    NoPictures {
        /// The file.
        file: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// Something that has to go and stays.
    #[error("{} could not be deleted ({why}); delete it by hand", .file.display())]
    NotDeleted {
        /// The file.
        file: PathBuf,
        /// The system's words.
        why: String,
    },
    /// No such pass, push, skater or strip; it may have been deleted.
    #[error("{0} is not in the recordings any more")]
    NotThere(String),
    /// What was given is not taken.
    #[error("{0}")]
    NotAllowed(String),
    /// A different pass already has this number.
    #[error(
        "pass {number} of this session is already stored with other content; this one is not stored"
    )]
    DuplicatePass {
        /// Number of the pass in its session.
        number: u32,
    },
    /// A record that cannot be put into words; the program's own fault.
    #[error("the record cannot be put into writing ({0}); please report this fault")]
    Encoding(String),
}

impl StoreError {
    pub(super) fn io(path: &Path, error: &std::io::Error) -> Self {
        if error.kind() == std::io::ErrorKind::StorageFull {
            return StoreError::Full {
                file: path.to_owned(),
            };
        }
        StoreError::Folder {
            folder: path.parent().unwrap_or(path).to_owned(),
            why: error.to_string(),
        }
    }

    pub(super) fn io_at(path: &Path, error: &std::io::Error) -> Self {
        StoreError::NotWritten {
            file: path.to_owned(),
            why: error.to_string(),
        }
    }

    pub(super) fn sqlite(file: &Path, error: rusqlite::Error) -> Self {
        let file = file.to_owned();
        let why = error.to_string();
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => StoreError::Full { file },
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
                StoreError::Damaged { file, why }
            }
            Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
                StoreError::Folder {
                    folder: file.parent().unwrap_or(&file).to_owned(),
                    why,
                }
            }
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => StoreError::Busy { file },
            _ => StoreError::Database { file, why },
        }
    }

    /// Whether trying the same pass again can never help.
    pub fn is_permanent(&self) -> bool {
        matches!(
            self,
            StoreError::DuplicatePass { .. } | StoreError::Encoding(_)
        )
    }
}
