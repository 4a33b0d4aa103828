//! What a coach can do.

use std::path::PathBuf;

use super::keeping::FileKind;
use super::passes::LimitEdit;
use super::set_up::LaneDraft;
use super::voice::VoiceOrder;
use crate::calibration::Gauged;
use crate::config::Lane;
use crate::display::{Language, ScreenPlace};
use crate::roster::{Consent, Skater, SkaterId};
use crate::rules::{AgeGroup, Limits, RuleId, Surety};
use crate::store::{PassKey, PushKey, Verdict};

/// A step in the queue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum QueueStep {
    /// The current skater is left out this time.
    Skip,
    /// The current and the next change places.
    Swap,
    /// The one before comes again.
    Back,
    /// The next pass belongs to nobody known.
    Unknown,
    /// This one is next.
    To(SkaterId),
    /// The last step is taken back.
    Undo,
}

/// Of which passes an export is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ExportWhat {
    /// Of the last evening, whatever pieces it was recorded in.
    #[default]
    Tonight,
    /// Of one session.
    Session(i64),
    /// Of all.
    All,
}

/// What an export is to hold.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportOrder {
    /// Of which passes.
    pub what: ExportWhat,
    /// Only this skater.
    pub skater: Option<SkaterId>,
    /// Only pushes with a flag that was not dismissed.
    pub flagged_only: bool,
    /// Numbers in place of names.
    pub anonymous: bool,
    /// One zip file and not a folder.
    pub zip: bool,
    /// The folder it is put into.
    pub into: PathBuf,
}

/// What a coach can do. Every command is answered.
#[derive(Debug, Clone, PartialEq)]
pub enum Command {
    /// Opens the panel with the PIN.
    Unlock(String),
    /// Locks the panel.
    Lock,
    /// Sets a new PIN, or none.
    SetPin(Option<String>),

    /// Looks for cameras.
    FindCameras,
    /// Takes this camera in this mode from now on.
    UseCamera {
        /// Stable id.
        id: String,
        /// Width, height, pictures a second.
        mode: (u32, u32, u32),
    },
    /// Looks at the pictures that come in.
    CheckPicture,
    /// Finds how the camera stands.
    FindScale(LaneDraft),
    /// Saves a lane under a name and takes it from now on.
    SaveLane {
        /// Its name: letters, digits, spaces, hyphens.
        name: String,
        /// What to save.
        lane: Lane,
        /// How the big screen is seen, where that was changed.
        screen: Option<ScreenPlace>,
    },
    /// Saves a lane for the camera in use and makes that the second camera;
    /// the camera and the lane that were in use before it come back.
    UseAsSecond {
        /// Its name: letters, digits, spaces, hyphens.
        name: String,
        /// How the second camera stands.
        lane: Lane,
    },
    /// The camera stands right as it stands now, whatever it saw before.
    CameraStandsRight,
    /// No second camera from now on.
    DropSecond,
    /// Takes this saved lane from now on.
    UseLane(String),

    /// The group skaters without one are judged as.
    UseAgeGroup(AgeGroup),
    /// Asks what limits would have done.
    PreviewLimits(LimitEdit),
    /// Changes limits, from the next pass on.
    SetLimits(LimitEdit),
    /// Takes the person who stands still now as holding this, degrees or metres.
    RulerHold {
        /// What is held.
        of: Gauged,
        /// What the instrument shows.
        reference: f64,
        /// Which person.
        person: u32,
    },
    /// Takes the last hold back.
    RulerUndo,
    /// The check's values hold from now on.
    RulerUse,
    /// How sure it has to be that a value is beyond its limit, from the next pass on.
    SetSurety(Surety),
    /// Gives a rule of a group its default, or the whole group.
    ResetLimits {
        /// The group.
        group: AgeGroup,
        /// The rule, or all.
        rule: Option<RuleId>,
    },
    /// Copies all limits from one group to another.
    CopyLimits {
        /// From here.
        from: AgeGroup,
        /// To here.
        to: AgeGroup,
    },
    /// Takes back the last change of limits.
    UndoLimits,
    /// Limits of one skater in place of the group's; `None` takes them off.
    OverrideLimits {
        /// Who.
        skater: SkaterId,
        /// The rule.
        rule: RuleId,
        /// The limits.
        limits: Option<Limits>,
    },

    /// Adds a skater; the id is chosen.
    AddSkater(Skater),
    /// Changes a skater.
    ChangeSkater(Skater),
    /// Deletes a skater and everything kept of them.
    DeleteSkater(SkaterId),
    /// Counts what would go with a skater.
    PreviewDelete(SkaterId),
    /// Sets consent to keep pictures, or withdraws it: nothing is kept from
    /// then on, and what was kept goes after a few seconds.
    SetConsent(SkaterId, Option<Consent>),
    /// The consent that is being withdrawn stays.
    UndoWithdrawal,
    /// Reads a roster file.
    ImportRoster {
        /// The file.
        path: PathBuf,
        /// Whether skaters may be changed by it without a question.
        sure: bool,
    },
    /// Writes the roster.
    ExportRoster {
        /// The file.
        path: PathBuf,
        /// Whether a file that is there may be replaced.
        sure: bool,
    },
    /// Leaves what was asked undone.
    DropQuestion,
    /// The order skaters come in.
    SetQueue(Vec<SkaterId>),
    /// A step in the queue.
    Queue(QueueStep),
    /// Says who a pass was.
    SetSkaterOfPass(PassKey, Option<SkaterId>),
    /// Gives the pass back that was given away last.
    UndoSkaterOfPass,

    /// Lists the passes of a session.
    OpenSession(i64),
    /// Shows a push closely.
    OpenPush {
        /// Which.
        push: PushKey,
        /// The rule whose instant is wanted; the first flagged one else.
        rule: Option<RuleId>,
    },
    /// Agrees with a flag or not; `None` takes it back.
    SetVerdict {
        /// Which push.
        push: PushKey,
        /// The rule.
        rule: RuleId,
        /// The verdict.
        verdict: Option<Verdict>,
    },
    /// A comment on a push.
    SetComment(PushKey, String),
    /// Marks a push for the export.
    SetStarred(PushKey, bool),
    /// Shows the flagged push of the last pass on the big screen.
    ShowMe,
    /// Shows a skater over the sessions.
    OpenProgress(SkaterId),
    /// How loud the sounds are, and whether there are any.
    SetSound {
        /// Share of full level, 0 to 1.
        level: f64,
        /// Whether none is played.
        muted: bool,
    },
    /// Plays the sound of praise, as loud as it is set.
    TrySound,
    /// Something with the words of the coach's voice.
    Voice(VoiceOrder),
    /// Whether the panel has its look for a dark hall, from the next start on, too.
    SetDark(bool),
    /// Whether the big screen shows signs alone.
    SetQuiet(bool),
    /// The language of panel and big screen.
    SetLanguage(Language),
    /// The rule that is worked on today.
    SetFocus(Option<RuleId>),
    /// Ends the session: it is closed and stored; the next pass begins
    /// another one.
    EndSession,

    /// Whether pictures of those who consented are kept.
    KeepPictures(bool),
    /// How long and how much is kept; `None` is without a bound.
    SetRetention {
        /// Days.
        keep_days: Option<u32>,
        /// Gigabytes.
        keep_gb: Option<f64>,
    },
    /// Whether faces are blurred in stored pictures.
    BlurStoredFaces(bool),
    /// Asks what would go if what was measured were kept for so many days.
    PreviewMeasures(u32),
    /// How many days what was measured is kept; what is older is deleted at
    /// once. `None` is for good.
    KeepMeasures(Option<u32>),

    /// Starts an export.
    Export(ExportOrder),
    /// Stops the export that runs.
    CancelExport,
    /// Writes everything into one file.
    BackUp {
        /// The file.
        path: PathBuf,
        /// Whether a file that is there may be replaced.
        sure: bool,
    },
    /// Looks into a folder, or for the places where a choice begins.
    LookIntoFolder {
        /// The folder; the places where `None`.
        folder: Option<PathBuf>,
        /// Which files are wanted.
        kind: FileKind,
    },
}
