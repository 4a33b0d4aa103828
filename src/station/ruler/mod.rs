//! The files of the checks with persons: one for each camera, lane, pose model and engine,
//! in the folder `ruler` of the recordings.
//!
//! Takes: what is filmed, with what, and how the camera stands.
//! Gives: the check that holds for it, or why none does.
//! Fails: with one sentence that names the file; a file is written whole or not at all.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use sha2::{Digest, Sha256};

use crate::calibration::Checked;
use crate::config::{Lane, private_folder, write_atomically};
use crate::pose::{self, ModelKind, PoseError};
use crate::ruler::{Difference, Record, RecordFault, Setting};
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::vision::{model_kind, pose_settings};

/// The folder of the checks, in the folder of the recordings.
pub const RULER_FOLDER: &str = "ruler";
/// No check comes near it, bytes.
const LARGEST: u64 = 4 << 20;

/// Why a check's file cannot be used. Nothing was changed.
#[derive(Debug, thiserror::Error)]
pub enum CheckError {
    /// The file or its folder.
    #[error("the check {} cannot be {what} ({why})", .file.display())]
    File {
        /// The file.
        file: PathBuf,
        /// Read, written or deleted.
        what: &'static str,
        /// The system's words.
        why: String,
    },
    /// What stands in it.
    #[error("the check {} counts no more: {fault}", .file.display())]
    Refused {
        /// The file.
        file: PathBuf,
        /// Why.
        fault: RecordFault,
    },
}

/// What a check says of a lane.
#[derive(Debug, Clone, PartialEq)]
pub enum CheckState {
    /// Nobody was ever measured there.
    Never,
    /// It holds.
    Holds(Box<Checked>),
    /// There was one of this day, made with something else, and it counts no more.
    Ended(Date, Difference),
    /// The file that should be its cannot be used. The sentence says why.
    Unusable(String),
}

impl CheckState {
    /// A lane with the check, where it holds.
    pub fn on(&self, lane: &Lane) -> Lane {
        let checked = match self {
            CheckState::Holds(checked) => Some(**checked),
            _ => None,
        };
        Lane {
            checked,
            ..lane.clone()
        }
    }

    /// Why an earlier check counts no more, in one sentence.
    pub fn ended(&self) -> Option<String> {
        match self {
            CheckState::Never | CheckState::Holds(_) => None,
            CheckState::Ended(date, with) => Some(format!(
                "the check of {date} was made with another {with} and counts no more"
            )),
            CheckState::Unusable(why) => Some(why.clone()),
        }
    }
}

/// Where the checks of a station lie, and what reads its pictures.
#[derive(Debug, Clone, PartialEq)]
pub struct Checks {
    folder: PathBuf,
    model: ModelKind,
    engine: &'static str,
}

impl Checks {
    /// Of the recordings in `recordings`.
    ///
    /// # Errors
    /// An engine that was asked for and is not there.
    pub fn new(
        home: &Path,
        recordings: &Path,
        model: ModelChoice,
        engine: EngineChoice,
    ) -> Result<Self, PoseError> {
        let settings = pose_settings(model, engine);
        Ok(Checks {
            folder: recordings.join(RULER_FOLDER),
            model: model_kind(model),
            engine: pose::engine_of(settings.engine, home)?.name(),
        })
    }

    /// What a check of this camera on this lane holds for.
    pub fn setting(&self, camera: &str, lane: &Lane) -> Setting {
        Setting {
            camera: camera.to_owned(),
            lane: Lane {
                checked: None,
                ..lane.clone()
            },
            model: self.model,
            engine: self.engine.to_owned(),
        }
    }

    /// The file of a setting.
    pub fn file(&self, setting: &Setting) -> PathBuf {
        let (lane, numbers) = (&setting.lane, setting.lane.place_steps());
        let whole = format!(
            "{} {} {:?} {numbers:?} {:?} {}",
            setting.camera,
            lane.view.name(),
            lane.travel,
            setting.model,
            setting.engine
        );
        let hash = Sha256::digest(whole.as_bytes());
        let short: String = hash.iter().take(4).map(|b| format!("{b:02x}")).collect();
        self.folder
            .join(format!("{}-{short}.json", lane.view.name()))
    }

    /// The check of a setting; `None` where there is none yet.
    ///
    /// # Errors
    /// A file that cannot be read, or is not this setting's.
    pub fn load(&self, setting: &Setting) -> Result<Option<Record>, CheckError> {
        let file = self.file(setting);
        match read(&file)? {
            None => Ok(None),
            Some(text) => Record::parse(&text, setting)
                .map(Some)
                .map_err(|fault| CheckError::Refused { file, fault }),
        }
    }

    /// Writes a check in one step. Only its owner can read it.
    ///
    /// # Errors
    /// A folder that cannot be written to.
    pub fn save(&self, record: &Record) -> Result<PathBuf, CheckError> {
        let file = self.file(&record.setting);
        let written = |why: String| CheckError::File {
            file: file.clone(),
            what: "written",
            why,
        };
        let text = record.to_text().map_err(|e| written(e.to_string()))?;
        private_folder(&self.folder)
            .and_then(|()| write_atomically(&file, text.as_bytes(), 0o600))
            .map_err(|e| written(e.to_string()))?;
        Ok(file)
    }

    /// Deletes the check of a setting; whether there was one.
    ///
    /// # Errors
    /// It cannot be deleted.
    pub fn forget(&self, setting: &Setting) -> Result<bool, CheckError> {
        let file = self.file(setting);
        match std::fs::remove_file(&file) {
            Ok(()) => Ok(true),
            Err(e) if e.kind() == ErrorKind::NotFound => Ok(false),
            Err(e) => Err(CheckError::File {
                file,
                what: "deleted",
                why: e.to_string(),
            }),
        }
    }

    /// What holds for a setting: its check, or why an earlier one counts no more.
    pub fn state(&self, setting: &Setting) -> CheckState {
        match self.load(setting) {
            Err(error) => return CheckState::Unusable(error.to_string()),
            Ok(Some(record)) => {
                if let Some(checked) = record.checked() {
                    return CheckState::Holds(Box::new(checked));
                }
            }
            Ok(None) => {}
        }
        // The newest check that has to do with this camera or this lane.
        let others = self.all().into_iter().filter_map(|record| {
            let what = record.setting.differs(setting)?;
            let near = record.setting.camera == setting.camera
                || record.setting.lane.view == setting.lane.view;
            Some((record.day().filter(|_| near)?, what))
        });
        match others.max_by_key(|(date, _)| *date) {
            Some((date, what)) => CheckState::Ended(date, what),
            None => CheckState::Never,
        }
    }

    /// A lane with the check that holds for it before this camera.
    #[must_use]
    pub fn applied(&self, camera: &str, lane: &Lane) -> Lane {
        self.state(&self.setting(camera, lane)).on(lane)
    }

    /// Whether there is any file of a check.
    pub fn any(&self) -> bool {
        std::fs::read_dir(&self.folder).is_ok_and(|mut files| files.next().is_some())
    }

    /// Every check that can be read.
    pub fn all(&self) -> Vec<Record> {
        let files = std::fs::read_dir(&self.folder).into_iter().flatten();
        let mut files: Vec<PathBuf> = files
            .filter_map(|e| Some(e.ok()?.path()))
            .filter(|p| p.extension().is_some_and(|e| e == "json"))
            .collect();
        files.sort();
        let record = |file: PathBuf| Record::read(&read(&file).ok()??).ok();
        files.into_iter().filter_map(record).collect()
    }
}

/// The text of a file that may not be there.
fn read(file: &Path) -> Result<Option<String>, CheckError> {
    let unreadable = |why: String| CheckError::File {
        file: file.to_owned(),
        what: "read",
        why,
    };
    match std::fs::metadata(file) {
        Err(e) if e.kind() == ErrorKind::NotFound => Ok(None),
        Err(e) => Err(unreadable(e.to_string())),
        Ok(meta) if meta.len() > LARGEST => Err(unreadable("it is too large".to_owned())),
        Ok(_) => std::fs::read_to_string(file)
            .map(Some)
            .map_err(|e| unreadable(e.to_string())),
    }
}

/// The id of the camera that is asked for: of the first one found where none is named.
pub fn camera_of(id: Option<&str>) -> String {
    match id {
        Some(id) => id.to_owned(),
        None => {
            let cameras = crate::capture::list_cameras();
            let first = cameras.into_iter().next();
            first.map_or_else(|| "auto".to_owned(), |camera| camera.stable_id)
        }
    }
}

/// What stands for the camera of recordings of this size.
pub fn recordings_of(width: u32, height: u32) -> String {
    format!("recordings {width}x{height}")
}

#[cfg(test)]
mod tests;
