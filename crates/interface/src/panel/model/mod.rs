//! What the panel shows, and what a coach can do.
//!
//! Takes: nothing; the service fills it in.
//! Gives: [`PanelView`], one snapshot of all that is shown, and [`Command`].
//! Fails: never.

mod command;
mod keeping;
mod passes;
mod set_up;
mod station;
mod voice;

use std::path::PathBuf;
use std::sync::Arc;

use super::words::PanelWords;
use crate::display::Words;
use crate::roster::{Skater, SkaterId};
use crate::rules::{AgeGroup, AgeGroups};
use crate::store::{PassKey, SessionSummary};

pub use command::{Command, ExportOrder, ExportWhat, QueueStep};
pub use keeping::{
    ExportState, FileKind, FolderEntry, FolderView, Place, Privacy, StoredMeasures, StoredPictures,
    Withdrawing, WouldDelete, WouldGo,
};
pub use passes::{
    Agreement, CurveOf, CurvePoint, Effect, LimitEdit, PassRow, Progress, ProgressPoint,
    ProgressSeries, PushDetail, PushRow,
};
pub use set_up::{
    CameraEntry, CheckEnded, LaneDraft, LaneEntry, Marked, PictureAdvice, PictureCheck, RulerRow,
    ScaleResult, SecondEntry,
};
pub use station::{LivePart, QueueView, StationPart};
pub use voice::{VoiceOrder, VoiceView, WordRecording};

/// Everything the panel shows, as one snapshot. Parts that are large are
/// shared and made anew only when they change.
#[derive(Debug, Clone, Default)]
pub struct PanelView {
    /// How the station is.
    pub station: StationPart,
    /// What is happening in the lane.
    pub live: LivePart,
    /// The words of the coach's voice.
    pub voices: VoiceView,
    /// Who is next.
    pub queue: QueueView,
    /// Everybody on the roster, in its order.
    pub roster: Arc<Vec<Skater>>,
    /// The limits of every age group.
    pub groups: Arc<AgeGroups>,
    /// Whether a change of limits can be taken back.
    pub can_undo_limits: bool,
    /// The group skaters without one are judged as.
    pub age_group: Option<AgeGroup>,
    /// The lanes that are saved, and which one is in use.
    pub lanes: Arc<Vec<LaneEntry>>,
    /// What was held for the check of the camera and lane in use, by quantity; empty where
    /// there can be no check.
    pub holds: Vec<RulerRow>,
    /// Why an earlier check with persons counts no more for the camera and lane in use.
    pub check_ended: Option<CheckEnded>,
    /// The cameras found when they were last looked for.
    pub cameras: Arc<Vec<CameraEntry>>,
    /// The second camera on the lane, where there is one.
    pub second: Option<SecondEntry>,
    /// What the last scale came to.
    pub scale: Option<Result<ScaleResult, String>>,
    /// What the last look at the picture found.
    pub picture_check: Option<PictureCheck>,
    /// The sessions of the sessions file, newest first.
    pub sessions: Arc<Vec<SessionSummary>>,
    /// Number of the session whose passes are listed.
    pub session: Option<i64>,
    /// The passes of that session, newest first.
    pub passes: Arc<Vec<PassRow>>,
    /// The push that was asked for.
    pub push: Option<Arc<PushDetail>>,
    /// What changed limits would have done.
    pub effect: Option<Effect>,
    /// How often the coach agreed with each rule's flags.
    pub agreement: Arc<Vec<Agreement>>,
    /// One skater over the sessions.
    pub progress: Option<Arc<Progress>>,
    /// What is kept of whom.
    pub privacy: Privacy,
    /// Whether a PIN guards the panel.
    pub pin: PinState,
    /// The export that runs or ran last.
    pub export: Option<ExportState>,
    /// The folder that was looked into last, for the choice of a file.
    pub folder: Option<Arc<FolderView>>,
    /// What would go if this skater were deleted, where that was asked.
    pub would_delete: Option<WouldDelete>,
    /// A consent that was withdrawn and whose pictures are about to go.
    pub withdrawing: Option<Withdrawing>,
    /// A drive that is plugged in, for exports.
    pub drive: Option<PathBuf>,
    /// Something that is done only after a second press.
    pub question: Option<Question>,
    /// Whose a pass was before it was given to somebody else, to take that
    /// back.
    pub given_away: Option<(PassKey, Option<SkaterId>)>,
    /// The words of panel and big screen, where another language was chosen.
    pub words: Option<(Arc<PanelWords>, Arc<Words>)>,
    /// What the last command came to.
    pub answer: Option<Answer>,
}

/// Something that was asked for and is done only after a second press.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// What would happen, in words.
    pub sentence: String,
    /// What the key says that does it.
    pub yes: String,
    /// What does it.
    pub then: Box<Command>,
}

/// Whether a PIN guards the panel.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum PinState {
    /// There is none.
    #[default]
    NotSet,
    /// It has to be given.
    Locked,
    /// It was given.
    Open,
}

/// What the last command came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Counts the answers, so that the same words twice are two answers.
    pub number: u64,
    /// One sentence.
    pub sentence: String,
    /// Whether it was done.
    pub done: bool,
}
