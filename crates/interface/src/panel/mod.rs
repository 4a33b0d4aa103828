//! The coach's panel: everything a coach sees and does beside the big screen.
//!
//! Takes: one [`PanelView`] at a time, an immutable snapshot of the station.
//! Gives: [`Command`]s, in the order the coach gave them.
//! Fails: never. What a command came to stands in the next view
//! ([`PanelView::answer`]); a command that cannot be taken is said there.
//!
//! The panel is a pure function of the view and of its own small state (which
//! page is open, what is typed). It never waits for a disk, a camera or the
//! thread that judges.

mod cue;
mod figures;
mod host;
mod look;
mod message;
mod model;
mod pages;
mod picture;
mod settings;
mod state;
mod status;
mod ui;
mod widgets;
mod words;

pub use cue::cue_line;
pub use host::PanelHost;
pub use message::{Message, Number, Of, Who};
pub use model::{
    Agreement, Answer, CameraEntry, CheckEnded, Command, CurveOf, CurvePoint, Effect, ExportOrder,
    ExportState, ExportWhat, FileKind, FolderEntry, FolderView, LaneDraft, LaneEntry, LimitEdit,
    LivePart, Marked, PassRow, PictureAdvice, PictureCheck, Place, Progress, ProgressPoint,
    ProgressSeries, PushDetail, PushRow, Question, QueueStep, QueueView, RulerRow, ScaleResult,
    SecondEntry, StationPart, StoredPictures,
};
pub use model::{PanelView, PinState, Privacy, StoredMeasures, Withdrawing, WouldDelete, WouldGo};
pub use model::{VoiceOrder, VoiceView, WordRecording};
pub use settings::{PANEL_KEYS, PanelPlace, PanelSettings, PanelSetup};
pub use state::{PageId, PanelState};
pub use ui::{main_keys_of as main_keys, panel_ui};
pub use words::PanelWords;
