//! What a session is made of, beside its passes.

use jiff::Zoned;
use serde::{Deserialize, Serialize};

use crate::config::Lane;
use crate::feedback::Cue;
use crate::rules::{AgeGroup, JudgedPass};

/// Where the pictures came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SourceKind {
    /// A live camera.
    Camera,
    /// A video file.
    Video,
    /// A folder of pictures.
    Images,
}

/// The source of a session.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SourceInfo {
    /// What it is.
    pub kind: SourceKind,
    /// Name of the camera, or of the file or folder without its path.
    pub name: String,
    /// Frame width, pixels.
    pub width: u32,
    /// Frame height, pixels.
    pub height: u32,
    /// Frames a second as the source states them, where it does.
    pub frames_per_second: Option<f64>,
    /// Frames read, where the source has an end.
    pub frames: Option<u64>,
}

/// What did the measuring.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EngineInfo {
    /// Version of this program.
    pub program_version: String,
    /// The inference engine: `native` or `embedded`.
    pub backend: String,
    /// The pose model: `full` or `lite`.
    pub model: String,
    /// SHA-256 of the model file, hexadecimal, where known.
    pub model_sha256: Option<String>,
}

/// What is known of a session when it begins.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionInfo {
    /// Where the pictures come from.
    pub source: SourceInfo,
    /// The camera set-up.
    pub lane: Lane,
    /// What does the measuring.
    pub engine: EngineInfo,
    /// The group the skaters are judged as.
    pub age_group: AgeGroup,
    /// Wall clock, with the time zone it was read in.
    pub started: Zoned,
}

/// Names one session of one sessions file.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct SessionId {
    pub(super) row: i64,
    pub(super) token: String,
}

impl SessionId {
    /// The number a person can name the session by.
    pub fn number(&self) -> i64 {
        self.row
    }
}

/// How a session ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SessionState {
    /// It is being recorded.
    Open,
    /// The program ended it.
    Closed,
    /// The program was stopped in the middle; what was written is there.
    Recovered,
}

/// One session of the list.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionSummary {
    /// Its name.
    pub id: SessionId,
    /// When it began, as stored.
    pub started_at: String,
    /// When it ended or when its last pass was written, as stored.
    pub ended_at: Option<String>,
    /// How it ended.
    pub state: SessionState,
    /// Passes stored.
    pub passes: u32,
    /// Passes that could not be kept while the disk refused to write.
    pub passes_lost: u32,
}

/// One pass and what was said about it.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredPass {
    /// The pass as it was judged.
    pub pass: JudgedPass,
    /// The cue that was given.
    pub cue: Cue,
}

/// A whole session, read back.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredSession {
    /// Its entry in the list.
    pub summary: SessionSummary,
    /// What was known at its beginning.
    pub info: SessionInfo,
    /// Its passes by number.
    pub passes: Vec<StoredPass>,
}
