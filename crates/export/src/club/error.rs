//! Why there is no report, in one sentence.

use std::path::PathBuf;

/// Why there is no report.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ClubError {
    /// There is no dataset.
    #[error("there is no dataset in '{}'; give the folder that 'kickplate export --dataset' wrote", .folder.display())]
    NoDataset {
        /// The folder.
        folder: PathBuf,
    },
    /// There is one, and it cannot be used.
    #[error("the dataset '{}' cannot be used: {why}", .folder.display())]
    Dataset {
        /// The folder.
        folder: PathBuf,
        /// Why, and the remedy.
        why: String,
    },
    /// No session is in it.
    #[error("the dataset '{}' is empty: add sessions with 'kickplate export --dataset' first", .folder.display())]
    Empty {
        /// The folder.
        folder: PathBuf,
    },
    /// One of its files is none of its parts, or damaged.
    #[error("'{}' cannot be used: {why}", .part.display())]
    Part {
        /// The file.
        part: PathBuf,
        /// Why, and the remedy.
        why: String,
    },
    /// It was stopped from outside.
    #[error("the report was stopped; nothing was written")]
    Cancelled,
}
