//! What the panel shows, and what a coach can do.

use std::path::PathBuf;
use std::sync::Arc;

use super::words::PanelWords;
use crate::calibration::Gauged;
use crate::config::{Lane, View};
use crate::display::{Language, PreviewImage, Words};
use crate::geometry::{Known, Mark};
use crate::roster::{Consent, Skater, SkaterId};
use crate::ruler::Difference;
use crate::rules::{AgeGroup, AgeGroups, JudgedPush, Leg, Limits, RuleId, RuleMap, Surety};
use crate::store::{PassKey, PushKey, PushNote, SessionSummary, Verdict};

/// What was held of a quantity for a check with persons.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RulerRow {
    /// The quantity.
    pub of: Gauged,
    /// How many holds count.
    pub holds: u32,
    /// Of how many persons.
    pub persons: u32,
    /// Reference and reading of the last one, degrees or metres.
    pub last: Option<[f64; 2]>,
}

/// Why a check with persons counts no more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CheckEnded {
    /// It was made on this day, with another camera, lane, model or engine.
    MadeWithAnother(jiff::civil::Date, Difference),
    /// Its file cannot be used.
    FileUnusable,
}

/// Everything the panel shows, as one snapshot. Parts that are large are
/// shared and made anew only when they change.
#[derive(Debug, Clone, Default)]
pub struct PanelView {
    /// How the station is.
    pub station: StationPart,
    /// What is happening in the lane.
    pub live: LivePart,
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
    /// Which of these says that a camera was moved; its remedy is the line.
    pub camera_moved: Option<usize>,
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

/// A saved lane.
#[derive(Debug, Clone, PartialEq)]
pub struct LaneEntry {
    /// Its name, as the file is named without its ending.
    pub name: String,
    /// Its file.
    pub file: PathBuf,
    /// The camera set-up; the sentence says why it cannot be used.
    pub lane: Result<Lane, String>,
    /// Whether it is the one in use.
    pub in_use: bool,
    /// Whether it is one of the examples Kickplate comes with, unchanged: no
    /// camera stood like that here.
    pub example: bool,
}

/// The second camera on the lane.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SecondEntry {
    /// What it is called, its stable id where its name is not known.
    pub name: String,
    /// The name of its lane.
    pub lane: String,
}

/// A camera that was found.
#[derive(Debug, Clone, PartialEq)]
pub struct CameraEntry {
    /// Its stable id.
    pub id: String,
    /// What it calls itself.
    pub name: String,
    /// Width, height, pictures a second it offers, best first.
    pub modes: Vec<(u32, u32, u32)>,
    /// Whether it is the one in use.
    pub in_use: bool,
}

/// What the set-up has so far; everything [`crate::geometry::solve_camera_pose`]
/// needs.
#[derive(Debug, Clone, PartialEq)]
pub struct LaneDraft {
    /// View, travel, the skater's stature, and the field of view where it is
    /// known; the rest is found.
    pub lane: Lane,
    /// Whether the field of view stands in a data sheet.
    pub hfov_known: bool,
    /// Things of known size.
    pub marks: Vec<Mark>,
    /// Two points of the line the skaters follow, pixels of the frame.
    pub line_px: Vec<[f64; 2]>,
    /// Size of the frame the marks were made on, pixels.
    pub frame_px: [u32; 2],
}

/// Where the camera stands, with one standard deviation each.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleResult {
    /// The lane that would be saved.
    pub lane: Lane,
    /// Lens above the ice, metres.
    pub camera_height_m: Known,
    /// Downward tilt, degrees.
    pub tilt_deg: Known,
    /// Roll, degrees.
    pub roll_deg: Known,
    /// Distance to the lane, metres.
    pub lane_distance_m: Known,
    /// Error of lengths on the lane, as a share of them.
    pub length_error: f64,
    /// How far the marks lie off this camera, pixels.
    pub misfit_px: f64,
}

/// What was seen in the camera's pictures.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureCheck {
    /// Mean brightness, 0 to 255.
    pub brightness: f64,
    /// Share of pixels that are white or black without detail.
    pub clipped_share: f64,
    /// Pictures a second that come in, where measured.
    pub fps: Option<f64>,
    /// How far a skater moves while the shutter is open, millimetres, where
    /// the exposure is known.
    pub blur_mm: Option<f64>,
    /// What to change, the most important first; empty when nothing.
    pub advice: Vec<PictureAdvice>,
}

/// One thing to change about the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureAdvice {
    /// One sentence: what is wrong, by how much, and the remedy.
    pub sentence: String,
}

/// One pass of the list.
#[derive(Debug, Clone, PartialEq)]
pub struct PassRow {
    /// Which pass it is.
    pub key: PassKey,
    /// Wall clock of its end, hours and minutes, where known.
    pub at: String,
    /// Who it was.
    pub skater: Option<SkaterId>,
    /// The view it was seen from.
    pub view: View,
    /// Mean speed, metres a second.
    pub speed_mps: f64,
    /// The words of its cue.
    pub cue: String,
    /// Which rules were switched on when it was judged.
    pub watched: RuleMap<bool>,
    /// Its pushes.
    pub pushes: Vec<PushRow>,
    /// The skater at a flagged instant, small; where pictures are kept, and for the
    /// newest passes alone.
    pub thumbnail: Option<Arc<PreviewImage>>,
}

/// One push of the list.
#[derive(Debug, Clone, PartialEq)]
pub struct PushRow {
    /// What was measured and flagged.
    pub judged: JudgedPush,
    /// What the coach said to it.
    pub note: PushNote,
    /// Whether pictures of it are kept.
    pub has_pictures: bool,
}

/// One push, looked at closely.
#[derive(Debug, Clone, PartialEq)]
pub struct PushDetail {
    /// Which push it is.
    pub key: PushKey,
    /// The pushing leg.
    pub leg: Leg,
    /// The rule whose instant is shown.
    pub rule: RuleId,
    /// The kept pictures in order, with the body drawn in; empty without
    /// consent.
    pub pictures: Vec<(f64, Arc<PreviewImage>)>,
    /// Index of the flagged instant in `pictures`.
    pub flagged: usize,
    /// What the curve is of.
    pub curve_of: CurveOf,
    /// It over the push, as the picture shows it; empty where the points are not
    /// kept.
    pub curve: Vec<CurvePoint>,
    /// What was judged, and one standard deviation of it, in the rule's unit.
    pub measured: Option<(f64, f64)>,
    /// When the quantity was read, seconds on the source's clock.
    pub instant_s: f64,
    /// The limits it was judged with.
    pub limits: Limits,
}

/// What a curve over a push is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum CurveOf {
    /// The included angle of the pushing leg's knee.
    #[default]
    Knee,
    /// The lean of the trunk from upright, along the way of the skater.
    Trunk,
}

impl CurveOf {
    /// The curve that shows a rule's quantity best.
    pub fn of_rule(rule: RuleId) -> Self {
        match rule {
            RuleId::TrunkLean => CurveOf::Trunk,
            _ => CurveOf::Knee,
        }
    }

    /// Whether the rule's limits are limits of this curve.
    pub fn has_limits_of(self, rule: RuleId) -> bool {
        match self {
            CurveOf::Trunk => rule == RuleId::TrunkLean,
            CurveOf::Knee => rule.rule().of_knee,
        }
    }
}

/// One point of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Seconds on the source's clock.
    pub at_s: f64,
    /// Degrees.
    pub value_deg: f64,
}

/// What changed limits would have done to the last pushes.
#[derive(Debug, Clone, PartialEq)]
pub struct Effect {
    /// The change it was asked for.
    pub edit: LimitEdit,
    /// Pushes looked at: the last ones of the group in which it was judged.
    pub pushes: u32,
    /// How many would have been flagged.
    pub flagged: u32,
    /// How many are flagged with the limits as they stand.
    pub flagged_now: u32,
}

/// Limits of one rule for one group.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitEdit {
    /// The group.
    pub group: AgeGroup,
    /// The rule.
    pub rule: RuleId,
    /// The limits wanted.
    pub limits: Limits,
}

/// How often the coach agreed with a rule's flags.
#[derive(Debug, Clone, PartialEq)]
pub struct Agreement {
    /// The rule.
    pub rule: RuleId,
    /// Flags the coach confirmed.
    pub confirmed: u32,
    /// Flags the coach dismissed.
    pub dismissed: u32,
}

/// One skater over the sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct Progress {
    /// Who.
    pub skater: SkaterId,
    /// One series per rule that was judged at least once.
    pub series: Vec<ProgressSeries>,
}

/// One measure over the sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct ProgressSeries {
    /// The rule.
    pub rule: RuleId,
    /// The limits of the skater now.
    pub limits: Limits,
    /// One point per session, oldest first.
    pub points: Vec<ProgressPoint>,
}

/// One measure in one session.
#[derive(Debug, Clone, PartialEq)]
pub struct ProgressPoint {
    /// Number of the session.
    pub session: i64,
    /// Its day, as shown.
    pub day: String,
    /// Median of the judged pushes, in the rule's unit.
    pub median: f64,
    /// Standard deviation of that median, measuring and spread together.
    pub uncertainty: f64,
    /// Judged pushes.
    pub pushes: u32,
}

/// What is kept of whom.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Privacy {
    /// Whether pictures are kept of those who consented.
    pub keep_pictures: bool,
    /// Days pictures are kept.
    pub keep_days: Option<u32>,
    /// Gigabytes pictures may take.
    pub keep_gb: Option<f64>,
    /// Whether faces are blurred in stored pictures.
    pub blur_stored_faces: bool,
    /// What lies on the disk.
    pub stored: StoredPictures,
    /// Days what was measured is kept.
    pub keep_measures_days: Option<u32>,
    /// What was measured and lies on the disk.
    pub measures: StoredMeasures,
    /// What would go if it were kept for some days only.
    pub would_go: Option<WouldGo>,
}

/// What was measured and lies on the disk.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct StoredMeasures {
    /// Passes.
    pub passes: u32,
    /// Sessions.
    pub sessions: u32,
    /// Day of the oldest pass, as shown.
    pub oldest: Option<String>,
}

/// What would be deleted at once if what was measured were kept for so many
/// days only.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WouldGo {
    /// The days it was asked for.
    pub days: u32,
    /// Passes.
    pub passes: u32,
    /// Sessions.
    pub sessions: u32,
}

/// What would be deleted with a skater.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WouldDelete {
    /// Who.
    pub skater: SkaterId,
    /// Their passes, with everything measured in them.
    pub passes: u32,
    /// Pushes of theirs with pictures.
    pub strips: u32,
    /// Comments on other skaters' pushes in which the name stands.
    pub comments: u32,
    /// Copies that were taken out of the station and may hold the skater.
    pub exports: u32,
}

/// A consent that was withdrawn: nothing is kept any more, and what was kept
/// goes soon.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Withdrawing {
    /// Whose.
    pub skater: SkaterId,
    /// Seconds until the pictures go.
    pub seconds: u32,
    /// Pushes with pictures that go then.
    pub strips: u32,
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

/// What lies on the disk.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StoredPictures {
    /// Strips of pictures.
    pub strips: u32,
    /// Their size, bytes.
    pub bytes: u64,
    /// Day of the oldest, as shown.
    pub oldest: Option<String>,
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

/// An export that runs or ran last.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportState {
    /// Share done, 0 to 1.
    pub done: f32,
    /// What is being done, or what it came to, in one sentence.
    pub sentence: String,
    /// Whether it still runs.
    pub running: bool,
}

/// Which files a choice shows; folders are always shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum FileKind {
    /// None: a folder is chosen.
    #[default]
    Folders,
    /// Tables with commas, semicolons or tabs.
    Roster,
    /// Backups.
    Backup,
}

impl FileKind {
    /// Whether a file of this name is shown.
    pub fn takes(self, name: &str) -> bool {
        let endings: &[&str] = match self {
            FileKind::Folders => &[],
            FileKind::Roster => &["csv", "tsv", "txt"],
            FileKind::Backup => &["zip"],
        };
        name.rsplit_once('.')
            .is_some_and(|(_, e)| endings.contains(&e.to_ascii_lowercase().as_str()))
    }
}

/// A place where a choice begins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// A drive that was plugged in, by where it is mounted.
    Drive(PathBuf),
    /// The home folder.
    Home(PathBuf),
    /// The folder of the recordings.
    Recordings(PathBuf),
}

impl Place {
    /// Its folder.
    pub fn path(&self) -> &std::path::Path {
        let (Place::Drive(path) | Place::Home(path) | Place::Recordings(path)) = self;
        path
    }
}

/// A folder or a file in a folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FolderEntry {
    /// Its name.
    pub name: String,
    /// Where it is.
    pub path: PathBuf,
    /// Whether it is a folder.
    pub is_folder: bool,
}

/// What lies in a folder.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FolderView {
    /// The folder; the places where `None`.
    pub folder: Option<PathBuf>,
    /// Which files are shown.
    pub kind: FileKind,
    /// Where a choice begins.
    pub places: Vec<Place>,
    /// Folders first, then files.
    pub entries: Vec<FolderEntry>,
    /// Whether there is more than is listed.
    pub cut: bool,
    /// Why it cannot be looked into.
    pub fault: Option<String>,
    /// Whether it is still being looked into.
    pub looking: bool,
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

/// A mark a coach has made in the picture, for the set-up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marked {
    /// Pixels of the frame, from its left edge and its top.
    pub at_px: [f64; 2],
}

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
        /// From how far the big screen is read, metres.
        reading_distance_m: Option<f64>,
    },
    /// Saves a lane for the camera in use and makes that the second camera;
    /// the camera and the lane that were in use before it come back.
    UseAsSecond {
        /// Its name: letters, digits, spaces, hyphens.
        name: String,
        /// How the second camera stands.
        lane: Lane,
    },
    /// The cameras stand right as they stand now, whatever they saw before.
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
