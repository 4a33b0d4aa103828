//! What a session is made of, beside its passes.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Zoned;
use serde::{Deserialize, Serialize};

use crate::config::Lane;
use crate::feedback::Cue;
use crate::roster::SkaterId;
use crate::rules::{AgeGroup, JudgedPass, RuleId};
use crate::track;

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
    /// The pose model: `heavy`, `full` or `lite`.
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

/// Names one pass of one sessions file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PassKey {
    /// Number of the session.
    pub session: i64,
    /// Number of the pass in its session as it was announced, from 1.
    pub number: u32,
}

/// Names one push of one sessions file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PushKey {
    /// Its pass.
    pub pass: PassKey,
    /// Its place in the pass, from 0.
    pub position: u32,
}

/// One picture of a strip.
#[derive(Debug, Clone, PartialEq)]
pub struct Shot {
    /// Capture time, seconds on the source's clock.
    pub captured_at_s: f64,
    /// The picture as JPEG.
    pub jpeg: Vec<u8>,
}

/// The pictures around one flagged instant, in order of time.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureStrip {
    /// Place of the push in its pass, from 0.
    pub push: u32,
    /// The rule.
    pub rule: RuleId,
    /// The flagged instant, seconds on the source's clock.
    pub flagged_at_s: f64,
    /// Width and height of the pictures, pixels.
    pub size_px: [u32; 2],
    /// Width and height of the camera's frames, pixels: what body points are
    /// measured in.
    pub frame_px: [u32; 2],
    /// Whether every face found in them was made unreadable.
    pub faces_blurred: bool,
    /// The pictures.
    pub shots: Vec<Shot>,
}

/// One pass to be stored.
#[derive(Debug, Clone)]
pub struct NewPass {
    /// What was measured and flagged.
    pub pass: JudgedPass,
    /// The cue that was given.
    pub cue: Cue,
    /// Whose pass it is, where that is known.
    pub skater: Option<SkaterId>,
    /// The body points as they were tracked.
    pub points: Option<Arc<track::Pass>>,
    /// Pictures of flagged pushes; kept only with the skater's consent.
    pub strips: Vec<PictureStrip>,
    /// The camera set-up it was measured with, where it is not the session's.
    pub lane: Option<Lane>,
    /// What measured it, where it is not the session's.
    pub engine: Option<EngineInfo>,
    /// The camera or file it was seen by, where it is not the session's.
    pub source: Option<SourceInfo>,
}

impl From<(JudgedPass, Cue)> for NewPass {
    /// A pass of nobody in particular, without points and pictures.
    fn from((pass, cue): (JudgedPass, Cue)) -> Self {
        NewPass {
            pass,
            cue,
            skater: None,
            points: None,
            strips: Vec::new(),
            lane: None,
            engine: None,
            source: None,
        }
    }
}

/// What the coach says of a flag.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// It was right.
    Confirmed,
    /// It was wrong, or said nothing worth saying.
    Dismissed,
}

impl Verdict {
    /// The name used in files.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Confirmed => "confirmed",
            Verdict::Dismissed => "dismissed",
        }
    }
}

/// What is known of stored pictures without reading them.
#[derive(Debug, Clone, PartialEq)]
pub struct StripInfo {
    /// Names them for [`super::Archive::strip`].
    pub id: i64,
    /// Place of the push in its pass, from 0.
    pub push: u32,
    /// The rule.
    pub rule: RuleId,
    /// The flagged instant, seconds on the source's clock.
    pub flagged_at_s: f64,
    /// Size on the disk, bytes.
    pub bytes: u64,
    /// Whether every face found in them was made unreadable.
    pub faces_blurred: bool,
}

/// What the coach wrote about one push.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PushNote {
    /// What is said of its flags.
    pub verdicts: BTreeMap<RuleId, Verdict>,
    /// A comment; empty where there is none.
    pub comment: String,
    /// Whether it is marked to be found again.
    pub starred: bool,
}

/// One pass and all that is stored of it.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredPass {
    /// Number of the pass in its session as it was announced, from 1.
    pub number: u32,
    /// The pass as it was judged.
    pub pass: JudgedPass,
    /// The cue that was given.
    pub cue: Cue,
    /// Whose pass it is, where that is known.
    pub skater: Option<SkaterId>,
    /// What the coach wrote, one per push.
    pub notes: Vec<PushNote>,
    /// The stored pictures.
    pub strips: Vec<StripInfo>,
    /// Whether its body points are stored.
    pub has_points: bool,
    /// The camera set-up it was measured with, where it is not the session's.
    pub lane: Option<Lane>,
    /// What measured it, where it is not the session's.
    pub engine: Option<EngineInfo>,
    /// The camera or file it was seen by, where it is not the session's.
    pub source: Option<SourceInfo>,
}

impl StoredPass {
    /// A stored pass with nothing beside what was judged and said.
    pub fn bare(pass: JudgedPass, cue: Cue) -> Self {
        StoredPass {
            number: cue.pass_number,
            notes: vec![PushNote::default(); pass.pushes.len()],
            pass,
            cue,
            skater: None,
            strips: Vec::new(),
            has_points: false,
            lane: None,
            engine: None,
            source: None,
        }
    }
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
    /// Numbers of passes that are not among them: they do not read as they
    /// were written.
    pub damaged: Vec<u32>,
}

impl StoredSession {
    /// The camera set-up a pass of this session was measured with: what its
    /// points have to be cut with again.
    pub fn lane_of<'a>(&'a self, pass: &'a StoredPass) -> &'a Lane {
        pass.lane.as_ref().unwrap_or(&self.info.lane)
    }

    /// What measured a pass of this session.
    pub fn engine_of<'a>(&'a self, pass: &'a StoredPass) -> &'a EngineInfo {
        pass.engine.as_ref().unwrap_or(&self.info.engine)
    }

    /// The camera or file a pass of this session was seen by.
    pub fn source_of<'a>(&'a self, pass: &'a StoredPass) -> &'a SourceInfo {
        pass.source.as_ref().unwrap_or(&self.info.source)
    }
}
