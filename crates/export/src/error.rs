//! Why there is no export, in one sentence.

use std::io;
use std::path::{Path, PathBuf};

use crate::config::ConfigError;
use crate::store::StoreError;

/// Why there is no export. Nothing is left under its final name.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The store could not be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The words could not be read.
    #[error(transparent)]
    Words(ConfigError),
    /// There is no pass to export.
    #[error("there is nothing to export: {0}")]
    Nothing(String),
    /// The name is taken.
    #[error("{path} is there already; choose another name with --out, or move it away first")]
    Taken {
        /// The name.
        path: PathBuf,
    },
    /// The name is none.
    #[error("{path} does not name a folder or file; choose another name with --out")]
    NoName {
        /// The name.
        path: PathBuf,
    },
    /// The folder it should go into is not there.
    #[error("the folder {path} does not exist; make it first, or choose another with --out")]
    NoFolder {
        /// The folder.
        path: PathBuf,
    },
    /// What stands under the name of the unfinished export is none.
    #[error("{path} is in the way and is not an unfinished export; move it away first")]
    InTheWay {
        /// What is in the way.
        path: PathBuf,
    },
    /// The dataset is none, or not one that can be added to.
    #[error("nothing can be added to or deleted in the dataset {}: {why}", .folder.display())]
    Dataset {
        /// The dataset, or the part of it.
        folder: PathBuf,
        /// Why, and the remedy.
        why: String,
    },
    /// Somebody else is writing the same export.
    #[error("another export is being written to {path}; wait for it, or choose another name")]
    Busy {
        /// The unfinished export.
        path: PathBuf,
    },
    /// Not enough room, seen before anything was written.
    #[error(
        "about {} MB are needed in {folder} and {} MB are free; make room, or choose another disk with --out",
        megabytes(*.needed_bytes), .free_bytes >> 20
    )]
    NoRoom {
        /// Where it should go.
        folder: PathBuf,
        /// What is needed, bytes.
        needed_bytes: u64,
        /// What is free, bytes.
        free_bytes: u64,
    },
    /// The disk became full meanwhile.
    #[error(
        "the disk became full while {path} was written; nothing was kept: make room, or choose another disk with --out"
    )]
    Full {
        /// The export.
        path: PathBuf,
    },
    /// The disk or the folder went away meanwhile.
    #[error(
        "{path} went away while it was written; put the disk back and export again, nothing on the station is lost"
    )]
    Gone {
        /// The export.
        path: PathBuf,
    },
    /// The system refused for another reason.
    #[error("{path} could not be written ({why}); check its folder and the disk")]
    Io {
        /// The export.
        path: PathBuf,
        /// The system's words.
        why: io::Error,
    },
    /// A file of the export could not be put together.
    #[error("{file} could not be put together: {why}")]
    Encoding {
        /// The file.
        file: String,
        /// What was said.
        why: String,
    },
    /// It was stopped from outside.
    #[error("the export was stopped; nothing of it was kept")]
    Cancelled,
}

fn megabytes(bytes: u64) -> u64 {
    bytes.div_ceil(1 << 20)
}

impl ExportError {
    /// What a failed write of the export at `out` means.
    pub(super) fn writing(out: &Path, e: io::Error) -> Self {
        let path = out.to_owned();
        match e.kind() {
            io::ErrorKind::StorageFull
            | io::ErrorKind::QuotaExceeded
            | io::ErrorKind::FileTooLarge => ExportError::Full { path },
            io::ErrorKind::NotFound | io::ErrorKind::StaleNetworkFileHandle => {
                ExportError::Gone { path }
            }
            _ if matches!(
                e.raw_os_error(),
                Some(libc::EIO | libc::ENODEV | libc::ENXIO | libc::ENOTCONN)
            ) =>
            {
                ExportError::Gone { path }
            }
            _ => ExportError::Io { path, why: e },
        }
    }
}
