//! What the station answers and tells on the panel: one kind of sentence
//! each, with what is filled into it. The words stand in the language file.

use std::path::PathBuf;

use super::words::PanelWords;
use crate::config::Travel;
use crate::rules::{AgeGroup, Rule};
use crate::sound::SoundId;

/// A number with so many places after the decimal mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Number(pub f64, pub usize);

/// A skater as they are called; `None` is nobody known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Who(pub Option<String>);

impl Who {
    /// Somebody.
    pub fn is(label: impl Into<String>) -> Self {
        Who(Some(label.into()))
    }
}

/// A rule, by what it is called in the language.
#[derive(Clone, Copy)]
pub struct Of(pub &'static Rule);

impl std::fmt::Debug for Of {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.0.id.code())
    }
}

impl PartialEq for Of {
    fn eq(&self, other: &Self) -> bool {
        self.0.id == other.0.id
    }
}

/// What can be filled into a sentence.
trait Fill {
    fn fill(&self, words: &PanelWords) -> String;
}

macro_rules! fill_plain {
    ($($kind:ty),*) => {
        $(impl Fill for $kind {
            fn fill(&self, _: &PanelWords) -> String {
                self.to_string()
            }
        })*
    };
}
fill_plain!(String, u32, u64, usize, i64);

impl Fill for Number {
    fn fill(&self, words: &PanelWords) -> String {
        format!("{:.*}", self.1, self.0).replace('.', words.get("number.decimal_mark"))
    }
}

impl Fill for Who {
    fn fill(&self, words: &PanelWords) -> String {
        match &self.0 {
            Some(label) => label.clone(),
            None => words.get("did.nobody").to_owned(),
        }
    }
}

impl Fill for Of {
    fn fill(&self, words: &PanelWords) -> String {
        words.rule_name(self.0).to_owned()
    }
}

impl Fill for SoundId {
    fn fill(&self, words: &PanelWords) -> String {
        words.sound_name(*self)
    }
}

impl Fill for AgeGroup {
    fn fill(&self, words: &PanelWords) -> String {
        words.group_name(*self).to_owned()
    }
}

impl Fill for Travel {
    fn fill(&self, words: &PanelWords) -> String {
        words.get(&format!("travel.{}", self.name())).to_owned()
    }
}

impl Fill for PathBuf {
    fn fill(&self, _: &PanelWords) -> String {
        self.display().to_string()
    }
}

/// One sentence after the other.
impl Fill for Vec<Message> {
    fn fill(&self, words: &PanelWords) -> String {
        let all: Vec<String> = self.iter().map(|s| s.say(words)).collect();
        all.join(" ")
    }
}

macro_rules! sayings {
    ($($name:ident = $key:literal { $($part:ident: $kind:ty),* })*) => {
        /// One sentence of the station, without its words.
        #[derive(Debug, Clone, PartialEq)]
        #[allow(missing_docs, reason = "what they say stands in the language file")]
        pub enum Message {
            $($name { $($part: $kind),* }),*
        }

        impl Message {
            /// Every key with the parts that are filled in, in this order.
            pub const ALL: &[(&str, &[&str])] = &[$(($key, &[$(stringify!($part)),*])),*];

            /// The sentence in this language.
            pub fn say(&self, words: &PanelWords) -> String {
                match self {
                    $(Message::$name { $($part),* } => {
                        let parts: &[(&str, String)] =
                            &[$((stringify!($part), $part.fill(words))),*];
                        words.say_all($key, parts)
                    })*
                }
            }
        }
    };
}

sayings! {
    // What was done.
    PanelOpen = "did.panel_open" {}
    PanelLocked = "did.panel_locked" {}
    PinSet = "did.pin_set" {}
    PinOff = "did.pin_off" {}
    CamerasLooked = "did.cameras" {}
    CamerasAlready = "did.cameras_already" {}
    CameraOpened = "did.camera" { width: u32, height: u32, fps: u32 }
    PictureGood = "did.picture_good" {}
    StandsRight = "did.stands_right" {}
    ScaleFound = "did.scale" { percent: Number }
    LaneInUse = "did.lane_in_use" { name: String }
    LaneSavedInUse = "did.lane_saved_in_use" { name: String }
    SecondInUse = "did.second" { name: String }
    SecondDropped = "did.second_dropped" {}
    GroupInUse = "did.group" { group: AgeGroup }
    LimitsTried = "did.limits_tried" { of: u32, group: AgeGroup, flagged: u32, now: u32 }
    LimitsSet = "did.limits_set" { what: Of, group: AgeGroup }
    LimitsDefault = "did.limits_default" { what: Of, group: AgeGroup }
    LimitsDefaults = "did.limits_defaults" { group: AgeGroup }
    LimitsCopied = "did.limits_copied" { to: AgeGroup, from: AgeGroup }
    LimitsUndone = "did.limits_undone" {}
    SuretySet = "did.surety" { percent: u32 }
    HoldTaken = "did.hold" { held: Number, read: Number }
    HoldUndone = "did.hold_undone" {}
    CheckInUse = "did.check_in_use" { persons: u32 }
    HoldNone = "cannot.hold_none" {}
    HoldNoCamera = "cannot.hold_no_camera" {}
    HoldLighterModel = "cannot.hold_lighter_model" {}
    HoldRefused = "cannot.hold_refused" { why: String }
    HoldNotSeen = "cannot.hold_not_seen" {}
    HoldNobody = "cannot.hold_nobody" {}
    HoldSeveral = "cannot.hold_several" {}
    HoldMoves = "cannot.hold_moves" {}
    HoldSmall = "cannot.hold_small" {}
    HoldOtherWay = "cannot.hold_other_way" {}
    HoldTurned = "cannot.hold_turned" {}
    LimitsOwn = "did.limits_own" { who: Who, what: Of }
    LimitsOfGroup = "did.limits_of_group" { who: Who }
    SkaterAdded = "did.skater_added" { who: Who }
    SkaterChanged = "did.skater_changed" { who: Who }
    ConsentGiven = "did.consent" { who: Who }
    ConsentWithdrawing = "did.consent_withdrawing" { who: Who, strips: u32, seconds: u32 }
    ConsentWithdrawn = "did.consent_withdrawn" { who: Who, strips: u32 }
    ConsentStays = "did.consent_stays" { who: Who }
    DeleteCounted = "did.delete_counted" { who: Who, passes: u32, strips: u32 }
    Asked = "did.asked" {}
    LeftUndone = "did.left_undone" {}
    SkaterDeleted = "did.skater_deleted" { who: Who, passes: u32, strips: u32, more: Vec<Message> }
    DeletedMentions = "did.deleted_mentions" { n: u32 }
    DeletedComments = "did.deleted_comments" { n: u32 }
    KeptMentions = "did.kept_mentions" { n: u32 }
    LookSet = "did.look" {}
    SoundTried = "did.sound_tried" {}
    SoundIsOff = "cannot.sound_off" {}
    NoSounds = "cannot.no_sounds" { why: String }
    SoundNotNow = "cannot.sound_not_now" {}

    // The coach's voice.
    VoiceOff = "did.voice_off" {}
    VoiceInstead = "did.voice_instead" {}
    VoiceAfter = "did.voice_after" {}
    WordSpeak = "did.word_speak" {}
    WordKept = "did.word_kept" { what: SoundId }
    WordHeard = "did.word_heard" { what: SoundId }
    WordDeleted = "did.word_deleted" { what: SoundId }
    WordNotRecorded = "cannot.word_not_recorded" {}
    WordBusy = "cannot.word_busy" {}
    WordNotNow = "cannot.word_not_now" {}
    WordSilent = "cannot.word_silent" {}
    WordTooLoud = "cannot.word_too_loud" {}
    WordQuiet = "cannot.word_quiet" {}
    WordNone = "cannot.word_none" { what: SoundId }
    WordNotDeleted = "cannot.word_not_deleted" {}
    WordFile = "cannot.word_file" { file: PathBuf, why: String }
    MicMissing = "cannot.mic_missing" {}
    MicNotAllowed = "cannot.mic_not_allowed" {}
    MicDead = "cannot.mic_dead" {}
    MicRefused = "cannot.mic_refused" { why: String }
    WordDamaged = "state.word_damaged" { file: PathBuf }
    WordOtherKind = "state.word_other_kind" { file: PathBuf }
    WordLength = "state.word_length" { file: PathBuf }
    WordUnknown = "state.word_unknown" { file: PathBuf }
    WordUnreadable = "state.word_unreadable" { file: PathBuf, why: String }

    DeletedCopies = "did.deleted_copies" { n: usize }
    DeletedLater = "did.deleted_later" {}
    DeletedAside = "did.deleted_aside" { place: PathBuf }
    DeletedExport = "did.deleted_export" { day: String, place: String }
    DeletedDataset = "did.deleted_dataset" { place: PathBuf }
    RosterRead = "did.roster_read" { new: usize, changed: usize, same: usize, notes: Vec<Message> }
    RosterNote = "did.roster_note" { note: String }
    RosterWritten = "did.roster_written" { file: PathBuf }
    OrderSet = "did.order" { n: usize }
    NextIs = "did.next" { who: Who }
    PassIsOf = "did.pass_is_of" { n: u32, who: Who }
    PassIsOfAgain = "did.pass_is_of_again" { n: u32, who: Who }
    SessionOpen = "did.session" { n: i64, passes: usize }
    Noted = "did.noted" {}
    PicturesOpen = "did.pictures" { n: usize }
    NoPictures = "did.no_pictures" {}
    ProgressOpen = "did.progress" { who: Who }
    ProgressEmpty = "did.progress_empty" { who: Who }
    Shown = "did.shown" {}
    SoundSet = "did.sound" { percent: Number }
    SoundMuted = "did.sound_muted" {}
    QuietOn = "did.quiet_on" {}
    QuietOff = "did.quiet_off" {}
    LanguageSet = "did.language" {}
    FocusSet = "did.focus" { what: Of }
    FocusNone = "did.focus_none" {}
    SessionEnded = "did.session_ended" {}
    KeepOn = "did.keep_on" {}
    KeepOff = "did.keep_off" {}
    BlurOn = "did.blur_on" {}
    BlurByScreen = "did.blur_by_screen" {}
    BlurOff = "did.blur_off" {}
    RetentionSet = "did.retention" {}
    MeasuresTried = "did.measures_tried" { days: u32, passes: u32, sessions: u32 }
    MeasuresGone = "did.measures_gone" { days: u32, passes: u32, sessions: u32 }
    MeasuresKept = "did.measures_kept" {}
    ExportBegins = "did.export_begins" {}
    ExportStopping = "did.export_stopping" {}
    Places = "did.places" {}
    FolderLooked = "did.folder" { folder: PathBuf }
    BackedUp = "did.backed_up" { file: PathBuf, size: Number }

    // Why something was not done.
    Locked = "cannot.locked" {}
    NoPin = "cannot.no_pin" {}
    PinLength = "cannot.pin_length" {}
    PinWrong = "cannot.pin_wrong" {}
    PinWait = "cannot.pin_wait" { n: u64 }
    PinFile = "cannot.pin_file" { file: String, why: String }
    TooFast = "cannot.too_fast" { n: u64 }
    CameraSlow = "cannot.camera_slow" { n: u64, needed: u64 }
    ComputerSlow = "cannot.computer_slow" { n: u64, needed: u64 }
    CameraMoved = "cannot.camera_moved" {}
    SecondMoved = "cannot.second_moved" {}
    PictureSoft = "cannot.picture_soft" {}
    PictureFaint = "cannot.picture_faint" {}
    OtherWay = "cannot.other_way" { n: u32, set: Travel }
    DoNotFit = "cannot.do_not_fit" { n: u32 }
    SkatersSlow = "cannot.too_slow" { n: u32, speed: Number, least: Number }
    NobodyUpright = "cannot.nobody_upright" {}
    ProgramFault = "cannot.program_fault" {}
    NotOpen = "cannot.not_open" {}
    DiskFull = "cannot.disk_full" { file: PathBuf }
    FolderUnusable = "cannot.folder" { folder: PathBuf, why: String }
    Recordings = "cannot.recordings" { why: String }
    Settings = "cannot.settings" { why: String }
    NoCameras = "cannot.no_cameras" { why: String }
    NotLive = "cannot.not_live" {}
    NoPictureCame = "cannot.no_picture_came" {}
    ScaleTooFew = "cannot.scale_too_few" {}
    ScaleNoLine = "cannot.scale_no_line" {}
    ScaleApart = "cannot.scale_apart" {}
    ScaleOpen = "cannot.scale_open" {}
    ScaleOpenNoAngle = "cannot.scale_open_no_angle" {}
    ScaleContradiction = "cannot.scale_contradiction" {}
    LaneName = "cannot.lane_name" { n: usize }
    LaneNameTaken = "cannot.lane_name_taken" { name: String }
    NoFirstCamera = "cannot.no_first_camera" {}
    NotRead = "cannot.not_read" { file: PathBuf, why: String }
    NotWritten = "cannot.not_written" { file: PathBuf, why: String }
    NoRosterFile = "cannot.no_roster_file" { file: PathBuf }
    RosterFaults = "cannot.roster_faults" { faults: Vec<Message> }
    RosterLine = "cannot.roster_line" { line: u64, why: String }
    RosterFault = "cannot.roster_fault" { why: String }
    LimitsWrong = "cannot.limits" { why: String }
    NoLimitsUndo = "cannot.no_limits_undo" {}
    SkaterGone = "cannot.skater_gone" {}
    NoName = "cannot.no_name" {}
    HeightWrong = "cannot.height" {}
    ConsentBy = "cannot.consent_by" {}
    NoQueueUndo = "cannot.no_queue_undo" {}
    NoPassUndo = "cannot.no_pass_undo" {}
    NoWithdrawal = "cannot.no_withdrawal" {}
    PushGone = "cannot.push_gone" { push: u32, n: u32 }
    NoExporter = "cannot.no_exporter" {}
    ExportRuns = "cannot.export_runs" {}
    NoExport = "cannot.no_export" {}
    ExportNotStarted = "cannot.export_not_started" { why: String }
    ExportCancelled = "cannot.export_cancelled" {}
    ExportFailed = "cannot.export_failed" { why: String }
    NoExportFolder = "cannot.no_export_folder" { folder: PathBuf, why: String }
    ExportNoRoom = "cannot.export_no_room" { folder: PathBuf }
    ExportNothing = "cannot.export_nothing" {}
    BackupFailed = "cannot.backup" { why: String }
    NoDays = "cannot.no_days" {}
    FolderSilent = "cannot.folder_silent" { folder: PathBuf }

    // What is asked before something is replaced.
    FileThere = "ask.file_there" { file: PathBuf }
    ReplaceIt = "ask.replace" {}
    RosterChanges = "ask.roster_changes" { new: usize, changed: usize, names: String }
    TakeRoster = "ask.take_roster" {}

    // How the station is.
    Starting = "state.starting" {}
    RecordingBegins = "state.recording_begins" {}
    RecordingOpens = "state.recording_opens" {}
    CameraOpening = "state.camera_opening" { name: String }
    CameraLive = "state.camera_live" { name: String }
    CameraSilent = "state.camera_silent" { name: String }
    CameraLookedFor = "state.camera_looked_for" {}
    CameraNone = "state.camera_none" {}
    CameraAbsent = "state.camera_absent" { name: String, found: String }
    CameraRefused = "state.camera_refused" { name: String, why: String }
    CameraUnfit = "state.camera_unfit" { name: String }
    CameraGone = "state.camera_gone" { name: String, why: String }
    CameraQuiet = "state.camera_quiet" { name: String, seconds: Number }
    CameraStuck = "state.camera_stuck" { name: String }
    SourceEnded = "state.source_ended" { name: String }
    SourceStopped = "state.source_stopped" {}
    Measuring = "state.measuring" { model: String, engine: String }
    SoundReady = "state.sound_ready" {}
    SoundOff = "state.sound_off" {}
    NoLoudspeaker = "state.no_loudspeaker" {}
    RecordingWrites = "state.recording_writes" {}
    RecordingEnded = "state.recording_ended" {}
    SecondCamera = "state.second_camera" { why: String }
    PassesLost = "state.passes_lost" { n: u64, why: String }
    PicturesLost = "state.pictures_lost" { n: u64 }
    DiskNearlyFull = "state.disk_nearly_full" { folder: PathBuf, size: Number }

    // What there is to change about the picture.
    TooDark = "advice.dark" { brightness: Number }
    TooWhite = "advice.white" { percent: Number }
    TooBlack = "advice.black" { percent: Number }
    TooSlow = "advice.slow" { fps: Number }
    ShutterSlow = "advice.shutter" { part: Number, speed: Number, mm: Number }
    MayBlur = "advice.blur" { speed: Number, mm: Number }

    // An export on its way.
    ExportReading = "export.reading" {}
    ExportPoints = "export.points" {}
    ExportClips = "export.clips" {}
    ExportTables = "export.tables" {}
    ExportPages = "export.pages" {}
    ExportPacking = "export.packing" {}
    ExportFinishing = "export.finishing" {}
    Exported = "export.done" { place: PathBuf, files: usize, clips: usize, size: Number, more: Vec<Message> }
    ExportClipsBroken = "export.clips_broken" { n: usize }
    ExportPointsBroken = "export.points_broken" { n: usize }
    ExportReused = "export.reused" { n: usize }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::display::Language;
    use crate::rules::RULES;

    /// The parts in braces of a text, in the order of the alphabet.
    fn parts_of(text: &str) -> Vec<String> {
        let mut parts: Vec<String> = text
            .split('{')
            .skip(1)
            .filter_map(|rest| Some(rest.split_once('}')?.0.to_owned()))
            .collect();
        parts.sort();
        parts
    }

    #[test]
    fn every_sentence_has_words_with_the_same_parts_in_both_languages() {
        for language in Language::ALL {
            let words = PanelWords::built_in(language);
            for (key, parts) in Message::ALL {
                let text = words.get(key);
                assert_ne!(text, *key, "{} has no {key}", language.code());
                let mut wanted: Vec<&str> = parts.to_vec();
                wanted.sort_unstable();
                assert_eq!(parts_of(text), wanted, "{} {key}", language.code());
            }
            // And the other way round: no words that nobody says.
            let said = ["did.", "cannot.", "ask.", "state.", "advice.", "export."];
            for (key, _) in words.all() {
                let declared = Message::ALL.iter().any(|(k, _)| *k == key);
                let of_these = said.iter().any(|s| key.starts_with(s));
                assert!(!of_these || declared || key == "did.nobody", "{key}");
            }
        }
    }

    #[test]
    fn parts_are_in_the_words_of_the_language() {
        let french = PanelWords::built_in(Language::Fr);
        let english = PanelWords::english();
        let limits = Message::LimitsSet {
            what: Of(RULES[0]),
            group: AgeGroup::Adult,
        };
        assert_eq!(
            limits.say(&english),
            "New limits for Knee bend of Adult, from the next pass on."
        );
        assert!(limits.say(&french).contains("Flexion du genou"));
        assert!(limits.say(&french).contains("Adulte"));
        let scale = Message::ScaleFound {
            percent: Number(1.84, 1),
        };
        assert!(scale.say(&english).contains("1.8 %"));
        assert!(scale.say(&french).contains("1,8 %"));
        let nobody = Message::NextIs { who: Who(None) };
        assert_eq!(nobody.say(&english), "Next: nobody known.");
    }

    #[test]
    fn what_is_filled_in_is_not_filled_in_again() {
        let odd = Message::LimitsOwn {
            who: Who::is("{what}"),
            what: Of(RULES[0]),
        };
        assert!(
            odd.say(&PanelWords::english())
                .starts_with("{what} has own")
        );
    }

    #[test]
    fn several_sentences_stand_one_after_the_other() {
        let deleted = |more| Message::SkaterDeleted {
            who: Who::is("4 Robin"),
            passes: 2,
            strips: 1,
            more,
        };
        let words = PanelWords::english();
        let short = deleted(vec![]).say(&words);
        assert!(short.ends_with('.'), "{short:?}");
        let long = deleted(vec![
            Message::DeletedLater {},
            Message::DeletedCopies { n: 2 },
        ]);
        assert!(
            long.say(&words)
                .starts_with(&format!("{short} The sessions file"))
        );
    }
}
