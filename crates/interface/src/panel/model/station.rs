//! How the station is, what happens in the lane, and who is next.

use std::sync::Arc;

use crate::display::{Language, PreviewImage, ScreenPlace};
use crate::roster::SkaterId;
use crate::rules::RuleId;
use crate::store::PassKey;

/// How the station is, in numbers and words.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StationPart {
    /// State of the camera in a few words.
    pub camera: String,
    /// Whether pictures come in.
    pub camera_live: bool,
    /// Pictures a second that come in.
    pub fps: Option<f64>,
    /// Frames overwritten by newer ones since the start.
    pub dropped: u64,
    /// Pictures that could not be read since the start.
    pub corrupt: u64,
    /// How often the camera was opened again.
    pub reopened: u64,
    /// The inference engine and the model.
    pub engine: String,
    /// State of the sound in a few words.
    pub sound: String,
    /// State of the recording in a few words.
    pub recording: String,
    /// Passes on the disk in this session.
    pub passes_written: u64,
    /// Free space of the disk the recordings are on, gigabytes.
    pub free_disk_gb: Option<f64>,
    /// Memory of the program, megabytes.
    pub memory_mb: Option<f64>,
    /// Since the start, seconds.
    pub uptime_s: f64,
    /// What is wrong now, one sentence each; empty when nothing is.
    pub problems: Vec<String>,
    /// Whether the camera was moved. It is the first of these then, and its remedy is the line.
    pub camera_moved: bool,
    /// Whether it cannot be told how the camera stands: the background shows too little.
    pub place_unknown: bool,
    /// Whether the lane in use is an example and not one that was set up.
    pub lane_example: bool,
    /// How loud the sounds are, 0 to 1.
    pub sound_level: f64,
    /// Whether no sound is played.
    pub muted: bool,
    /// Whether the big screen shows signs alone.
    pub quiet: bool,
    /// The rule that is worked on today.
    pub focus: Option<RuleId>,
    /// The language of panel and big screen.
    pub language: Language,
    /// How the big screen is seen.
    pub screen: ScreenPlace,
}

/// What is happening in the lane.
#[derive(Debug, Clone, Default)]
pub struct LivePart {
    /// Whether somebody is passing.
    pub somebody_passing: bool,
    /// A small picture of the lane, with faces blurred where that is set.
    pub preview: Option<Arc<PreviewImage>>,
    /// Size of the camera's frames, pixels: what marks are counted in.
    pub frame_px: Option<[u32; 2]>,
    /// The last pass and the words of its cue.
    pub last: Option<(PassKey, String)>,
    /// The words the skater was shown after it.
    pub shown: Option<String>,
    /// Who is in the lane now, in the order they came; nobody known is
    /// `None`.
    pub in_lane: Vec<Option<SkaterId>>,
    /// How old the picture is, seconds, where it is known.
    pub picture_age_s: Option<f64>,
    /// Lines of the body that is followed, pixels of the frame.
    pub body: Arc<Vec<[[f64; 2]; 2]>>,
}

impl LivePart {
    /// How old the picture is, seconds, where it is not of now.
    pub fn old_picture_s(&self) -> Option<f64> {
        self.picture_age_s.filter(|age_s| *age_s > OLD_S)
    }
}

/// A picture older than this is not of now, seconds.
const OLD_S: f64 = 1.5;

/// Who is next.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct QueueView {
    /// The order they come in.
    pub order: Vec<SkaterId>,
    /// Who is expected; `None` is an unknown skater.
    pub current: Option<SkaterId>,
    /// Who the last pass was given to; the outer `None` before the first.
    pub last: Option<Option<SkaterId>>,
    /// Whether a step can be taken back.
    pub can_undo: bool,
    /// Since when it stands so, hours and minutes, where it is the queue of
    /// the last start.
    pub taken_up: Option<String>,
}
