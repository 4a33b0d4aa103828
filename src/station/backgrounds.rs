//! The backgrounds that the cameras are held to: one file for each camera and place of it, in
//! the folder `background` of the recordings.
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
const FORMAT: &str = "kickplate-background-2";
/// No background comes near it, bytes.
const LARGEST: u64 = 1 << 20;
/// So many places are kept, the newest.
const MOST: usize = 12;

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

    /// The file of a camera and of how it stands. `None` is the first one that is found.
    fn file(&self, camera: Option<&str>, lane: &Lane) -> PathBuf {
        let camera = camera.unwrap_or("auto");
        let whole = format!("{camera} {} {:?}", lane.view.name(), lane.place_steps());
        let hash = Sha256::digest(whole.as_bytes());
        let short: String = hash.iter().take(6).map(|b| format!("{b:02x}")).collect();
        self.folder.join(format!("{short}.json"))
    }

    /// What a camera saw when this lane was set up, where that is known.
    pub fn load(&self, camera: Option<&str>, lane: &Lane) -> Option<Reference> {
        let file = self.file(camera, lane);
        let kept = match read(&file) {
            Ok(kept) => kept?,
            Err(why) => {
                tracing::warn!("the background {} is not used: {why}", file.display());
                return None;
            }
        };
        (kept.format == FORMAT).then_some(kept.background)
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
        let file = self.file(camera, lane);
        let kept = Kept {
            format: FORMAT.to_owned(),
            background,
        };
        serde_json::to_vec(&kept)
            .map_err(std::io::Error::other)
            .and_then(|bytes| {
                private_folder(&self.folder)?;
                write_atomically(&file, &bytes, 0o600)?;
                self.keep_few()
            })
            .map_err(|e| BackgroundError {
                file,
                what: "written",
                why: e.to_string(),
            })
    }

    /// Deletes all but the newest.
    fn keep_few(&self) -> std::io::Result<()> {
        let mut files = Vec::new();
        for entry in std::fs::read_dir(&self.folder)? {
            let entry = entry?;
            let file = entry.path();
            if file.extension().is_some_and(|e| e == "json") {
                files.push((entry.metadata()?.modified()?, file));
            }
        }
        files.sort();
        let old = files.len().saturating_sub(MOST);
        files
            .drain(..old)
            .try_for_each(|(_, file)| std::fs::remove_file(file))
    }

    /// Deletes what a camera saw with this lane: it stands anew.
    ///
    /// # Errors
    /// It cannot be deleted.
    pub fn forget(&self, camera: Option<&str>, lane: &Lane) -> Result<(), BackgroundError> {
        let file = self.file(camera, lane);
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
