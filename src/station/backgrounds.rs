//! The backgrounds that the cameras are held to: one file for each camera, in the folder
//! `background` of the recordings.
//!
//! Takes: a camera, how it stands, and the background that was seen then.
//! Gives: the background, where it was seen with this lane.
//! Fails: a file that cannot be written or deleted, with one sentence that names it; one that
//! cannot be read counts as none, and the log says so.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::config::{Lane, private_folder, write_atomically};
use crate::standing::Reference;

/// The folder of the backgrounds, in the folder of the recordings.
pub const BACKGROUND_FOLDER: &str = "background";
/// The format of the files.
const FORMAT: &str = "kickplate-background-1";
/// No background comes near it, bytes.
const LARGEST: u64 = 1 << 20;

/// A background's file could not be written or deleted.
#[derive(Debug, thiserror::Error)]
#[error("the background {} cannot be {what} ({why})", .file.display())]
pub struct BackgroundError {
    /// The file.
    pub file: PathBuf,
    /// Written or deleted.
    pub what: &'static str,
    /// The system's words.
    pub why: String,
}

/// What stands in a file.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Kept {
    format: String,
    /// The lane it was seen with: another lane is another place.
    lane: Lane,
    background: Reference,
}

/// Where the backgrounds of a station lie.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Backgrounds {
    folder: PathBuf,
}

impl Backgrounds {
    /// Of the recordings in `recordings`.
    pub fn new(recordings: &Path) -> Self {
        Backgrounds {
            folder: recordings.join(BACKGROUND_FOLDER),
        }
    }

    /// The file of a camera. `None` is the first one that is found.
    fn file(&self, camera: Option<&str>) -> PathBuf {
        let hash = Sha256::digest(camera.unwrap_or("auto").as_bytes());
        let short: String = hash.iter().take(6).map(|b| format!("{b:02x}")).collect();
        self.folder.join(format!("{short}.json"))
    }

    /// What a camera saw when this lane was set up, where that is known.
    pub fn load(&self, camera: Option<&str>, lane: &Lane) -> Option<Reference> {
        let file = self.file(camera);
        let kept = match read(&file) {
            Ok(kept) => kept?,
            Err(why) => {
                tracing::warn!("the background {} is not used: {why}", file.display());
                return None;
            }
        };
        (kept.format == FORMAT && kept.lane == bare(lane)).then_some(kept.background)
    }

    /// Keeps what a camera sees now that the lane is set up. Only its owner can read it.
    ///
    /// # Errors
    /// A folder that cannot be written to.
    pub fn save(
        &self,
        camera: Option<&str>,
        lane: &Lane,
        background: Reference,
    ) -> Result<(), BackgroundError> {
        let file = self.file(camera);
        let kept = Kept {
            format: FORMAT.to_owned(),
            lane: bare(lane),
            background,
        };
        serde_json::to_vec(&kept)
            .map_err(std::io::Error::other)
            .and_then(|bytes| {
                private_folder(&self.folder)?;
                write_atomically(&file, &bytes, 0o600)
            })
            .map_err(|e| BackgroundError {
                file,
                what: "written",
                why: e.to_string(),
            })
    }

    /// Deletes what a camera saw: it stands anew.
    ///
    /// # Errors
    /// It cannot be deleted.
    pub fn forget(&self, camera: Option<&str>) -> Result<(), BackgroundError> {
        let file = self.file(camera);
        match std::fs::remove_file(&file) {
            Ok(()) => Ok(()),
            Err(e) if e.kind() == ErrorKind::NotFound => Ok(()),
            Err(e) => Err(BackgroundError {
                file,
                what: "deleted",
                why: e.to_string(),
            }),
        }
    }
}

/// A lane without its check, which has nothing to do with where the camera stands.
fn bare(lane: &Lane) -> Lane {
    Lane {
        checked: None,
        ..lane.clone()
    }
}

fn read(file: &Path) -> Result<Option<Kept>, String> {
    match std::fs::metadata(file) {
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(e.to_string()),
        Ok(meta) if meta.len() > LARGEST => return Err("it is too large".to_owned()),
        Ok(_) => {}
    }
    let bytes = std::fs::read(file).map_err(|e| e.to_string())?;
    serde_json::from_slice(&bytes)
        .map(Some)
        .map_err(|e| e.to_string())
}
