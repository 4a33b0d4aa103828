//! `config/station.toml`: what the live station runs with.

pub mod choices;
pub mod privacy;
pub mod reference;
pub mod second_camera;
pub mod snapshot;
pub mod sound;

use std::path::{Path, PathBuf};

use crate::config::{
    Absent, ConfigError, Document, FORMAT_KEY, Key, Kind, Lane, PlaceError, Problem, Step, Subject,
    brought_up, data_folder, in_written_lines, read_text, settings_folder, without,
    wrapped_comment,
};
use crate::display::{Appearance, SCREEN_KEYS, ScreenSettings};
use crate::feedback::{FEEDBACK_KEYS, FeedbackSettings};
use crate::panel::{PANEL_KEYS, PanelSettings};
use crate::rules::{AgeGroup, AgeGroups, RULES, RuleId};

use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::settings::privacy::{PRIVACY_KEYS, PrivacySettings};
use crate::station::settings::second_camera::{SECOND_CAMERA_KEYS, SecondCamera};
use crate::station::settings::sound::{SOUND_KEYS, VoiceSettings};

/// Steps from earlier formats of the station file.
pub const STATION_FORMATS: &[Step] = &[
    // Who skates there says now whether rendered bodies' shifts hold: `subject` of
    // the lane file.
    |text, file_name| without(text, file_name, &[], "corrections"),
];

/// The words of the choices, made from the types that own them.
const GROUPS: [&str; AgeGroup::ALL.len()] = {
    let mut names = [""; AgeGroup::ALL.len()];
    let mut i = 0;
    while i < names.len() {
        names[i] = AgeGroup::ALL[i].name();
        i += 1;
    }
    names
};
const RULE_IDS: [&str; RULES.len()] = {
    let mut ids = [""; RULES.len()];
    let mut i = 0;
    while i < ids.len() {
        ids[i] = RULES[i].id.code();
        i += 1;
    }
    ids
};

const CAMERA: Key = Key::with_default(
    "camera",
    Kind::Text,
    "\"auto\"",
    "The camera: auto takes the first one found, or the stable id that 'kickplate cameras' prints.",
);
const WIDTH: Key = width("Picture width asked of the camera, pixels.");
const HEIGHT: Key = height("Picture height asked of the camera, pixels.");
const FPS: Key = fps("Pictures a second asked of the camera.");
const LANE: Key = Key::with_default(
    "lane",
    Kind::Text,
    "\"lane-side.toml\"",
    "The lane file; a path that is not absolute starts at the folder of this file.",
);
const AGE_GROUP: Key = Key::with_default(
    "age_group",
    Kind::Choice(&GROUPS),
    "\"U13\"",
    "The group the skaters are judged as at the start.",
);
const MODEL: Key = Key::with_default(
    "model",
    Kind::Choice(&["heavy", "full", "lite"]),
    "\"full\"",
    "The pose model: heavy is the most exact and takes about four times the work of full; lite is the fastest. Where it is too much for the computer, the next lighter one takes over.",
);
const ENGINE: Key = Key::with_default(
    "engine",
    Kind::Choice(&["auto", "native", "embedded"]),
    "\"auto\"",
    "The inference engine: auto takes the native library where it is found, else the one inside the program.",
);
const MIN_PASS_SPEED: Key = Key::with_default(
    "min_pass_speed_mps",
    Kind::Number {
        low: 0.5,
        high: 8.0,
    },
    "2.0",
    "Slowest speed along the lane that counts as a pass, metres a second.",
);
const SOUND_LEVEL: Key = Key::with_default(
    "sound_level",
    Kind::Number {
        low: 0.0,
        high: 1.0,
    },
    "0.8",
    "Loudness of the cues, 0 silent to 1 full.",
);
const SOUND_MUTED: Key = Key::with_default(
    "sound_muted",
    Kind::Flag,
    "false",
    "Whether the cues are shown without sound.",
);
const READING_DISTANCE: Key = Key::with_default(
    "reading_distance_m",
    Kind::Number {
        low: 2.0,
        high: 40.0,
    },
    "10",
    "From how far the big screen is read, metres; sets the size of what it shows.",
);
const SCREEN_HEIGHT: Key = Key::with_default(
    "screen_height_m",
    Kind::Number {
        low: 0.15,
        high: 3.0,
    },
    "0.62",
    "Height of the visible picture of the big screen, metres (a 50 inch screen: 0.62).",
);
const SESSIONS_FOLDER: Key = Key {
    name: "sessions_folder",
    kind: Kind::Text,
    absent: Absent::Means("$XDG_DATA_HOME/kickplate, or .local/share/kickplate in the home folder"),
    example: "\"/home/coach/kickplate\"",
    what: "Folder the recordings go to; a path that is not absolute starts at the folder of this file.",
};
const FOCUS_RULE: Key = Key {
    name: "focus_rule",
    kind: Kind::Choice(&RULE_IDS),
    absent: Absent::Means("cues may be about every rule"),
    example: "\"knee_bend\"",
    what: "The one rule cues are about.",
};

/// The key of the picture width of a camera, here and in other tables.
pub(in crate::station) const fn width(what: &'static str) -> Key {
    let kind = Kind::Whole {
        low: 320,
        high: 3840,
    };
    Key::with_default("width", kind, "1280", what)
}

/// The key of the picture height of a camera.
pub(in crate::station) const fn height(what: &'static str) -> Key {
    let kind = Kind::Whole {
        low: 240,
        high: 2160,
    };
    Key::with_default("height", kind, "720", what)
}

/// The key of a camera's pictures a second.
pub(in crate::station) const fn fps(what: &'static str) -> Key {
    Key::with_default("fps", Kind::Whole { low: 5, high: 120 }, "30", what)
}

/// Every key of the station file, in the order of the reference.
pub const STATION_KEYS: [&Key; 15] = [
    &CAMERA,
    &WIDTH,
    &HEIGHT,
    &FPS,
    &LANE,
    &AGE_GROUP,
    &MODEL,
    &ENGINE,
    &MIN_PASS_SPEED,
    &SOUND_LEVEL,
    &SOUND_MUTED,
    &READING_DISTANCE,
    &SCREEN_HEIGHT,
    &SESSIONS_FOLDER,
    &FOCUS_RULE,
];

/// The tables of the station file and the keys in them.
pub const STATION_TABLES: [(&str, &str, &[&Key]); 6] = [
    (
        "feedback",
        "How the one cue after a pass is chosen.",
        &FEEDBACK_KEYS,
    ),
    ("screen", "What the big screen looks like.", &SCREEN_KEYS),
    (
        "privacy",
        "Which pictures of skaters are stored, and for how long.",
        &PRIVACY_KEYS,
    ),
    (
        "second_camera",
        "A further camera on the same lane, from another side.",
        &SECOND_CAMERA_KEYS,
    ),
    ("panel", "The coach's panel.", &PANEL_KEYS),
    ("sound", "The coach's own voice.", &SOUND_KEYS),
];

/// Which camera to open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CameraChoice {
    /// The first one found.
    Auto,
    /// The one with this stable id.
    Id(String),
}

/// What the live station runs with, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct StationSettings {
    /// Which camera to open.
    pub camera: CameraChoice,
    /// Picture width asked of the camera, pixels.
    pub width: u32,
    /// Picture height asked of the camera, pixels.
    pub height: u32,
    /// Pictures a second asked of the camera.
    pub fps: u32,
    /// The lane file.
    pub lane: PathBuf,
    /// The group the skaters are judged as at the start.
    pub age_group: AgeGroup,
    /// The pose model.
    pub model: ModelChoice,
    /// The inference engine.
    pub engine: EngineChoice,
    /// Slowest speed that counts as a pass, metres a second.
    pub min_pass_speed_mps: f64,
    /// Loudness of the cues, 0 to 1.
    pub sound_level: f64,
    /// Whether the cues make no sound.
    pub sound_muted: bool,
    /// From how far the big screen is read, metres.
    pub reading_distance_m: f64,
    /// Height of the visible picture of the big screen, metres.
    pub screen_height_m: f64,
    /// Folder the recordings go to; `None` is [`data_folder`].
    pub sessions_folder: Option<PathBuf>,
    /// The one rule cues are about; `None` is every rule.
    pub focus_rule: Option<RuleId>,
    /// How cues are chosen, the focus included.
    pub feedback: FeedbackSettings,
    /// What the big screen looks like.
    pub screen: ScreenSettings,
    /// Which pictures are stored, and for how long.
    pub privacy: PrivacySettings,
    /// A further camera on the same lane.
    pub second_camera: Option<SecondCamera>,
    /// The coach's panel.
    pub panel: PanelSettings,
    /// The coach's own voice.
    pub voice: VoiceSettings,
}

impl StationSettings {
    /// Reads and checks the station file. One that is not there is all
    /// defaults: no key has to be given.
    pub fn load(path: &Path) -> Result<Self, ConfigError> {
        let text = match read_text(path) {
            Err(e) if *e.problem == Problem::NotFound => String::new(),
            other => other?,
        };
        let folder = path.parent().unwrap_or(Path::new("."));
        Self::from_toml(&text, &path.display().to_string(), folder)
    }

    /// Checks the text of a station file. `file_name` is the name faults are
    /// reported under, `folder` is where paths in it start.
    pub fn from_toml(text: &str, file_name: &str, folder: &Path) -> Result<Self, ConfigError> {
        let newest = brought_up(text, file_name, STATION_FORMATS)?;
        Self::from_newest(&newest, file_name, folder)
            .map_err(|fault| in_written_lines(fault, text, &newest))
    }

    fn from_newest(text: &str, file_name: &str, folder: &Path) -> Result<Self, ConfigError> {
        let document = Document::parse(text, file_name)?;
        let root = document.root();
        let mut names: Vec<&str> = STATION_KEYS.iter().map(|k| k.name).collect();
        names.extend(STATION_TABLES.map(|(name, ..)| name));
        names.push(FORMAT_KEY);
        root.only(&names)?;
        let focus_rule = root.declared_choice(&FOCUS_RULE)?.map(|i| RULES[i].id);
        let feedback = match root.section("feedback")? {
            Some(section) => FeedbackSettings::from_section(&section)?,
            None => FeedbackSettings::default(),
        };
        let screen = match root.section("screen")? {
            Some(section) => ScreenSettings::from_section(&section)?,
            None => ScreenSettings::default(),
        };
        let privacy = match root.section("privacy")? {
            Some(section) => PrivacySettings::from_section(&section)?,
            None => PrivacySettings::default(),
        };
        let second_camera = match root.section("second_camera")? {
            Some(section) => SecondCamera::from_section(&section, folder)?,
            None => None,
        };
        let panel = match root.section("panel")? {
            Some(section) => PanelSettings::from_section(&section)?,
            None => PanelSettings::default(),
        };
        let voice = match root.section("sound")? {
            Some(section) => VoiceSettings::from_section(&section)?,
            None => VoiceSettings::default(),
        };
        let pick = |key: &Key| Ok(root.declared_choice(key)?.unwrap_or_default());
        let text_of = |key: &Key| Ok(root.declared_text(key)?.unwrap_or_default());
        Ok(StationSettings {
            camera: match text_of(&CAMERA)? {
                id if id == "auto" => CameraChoice::Auto,
                id => CameraChoice::Id(id),
            },
            width: root.declared_whole(&WIDTH)?,
            height: root.declared_whole(&HEIGHT)?,
            fps: root.declared_whole(&FPS)?,
            lane: folder.join(text_of(&LANE)?),
            age_group: AgeGroup::ALL[pick(&AGE_GROUP)?],
            model: ModelChoice::ALL[pick(&MODEL)?],
            engine: EngineChoice::ALL[pick(&ENGINE)?],
            min_pass_speed_mps: root.declared_number(&MIN_PASS_SPEED)?,
            sound_level: root.declared_number(&SOUND_LEVEL)?,
            sound_muted: root.declared_flag(&SOUND_MUTED)?,
            reading_distance_m: root.declared_number(&READING_DISTANCE)?,
            screen_height_m: root.declared_number(&SCREEN_HEIGHT)?,
            sessions_folder: root
                .declared_text(&SESSIONS_FOLDER)?
                .map(|path| folder.join(path)),
            focus_rule,
            feedback: FeedbackSettings {
                focus: focus_rule,
                ..feedback
            },
            screen,
            privacy,
            second_camera,
            panel,
            voice,
        })
    }

    /// The lane files it names: its own, and the second camera's.
    pub fn lanes(&self) -> Vec<PathBuf> {
        let second = self.second_camera.as_ref().map(|camera| &camera.lane);
        std::iter::once(&self.lane).chain(second).cloned().collect()
    }

    /// The folder recordings and logs go to. It need not exist yet.
    pub fn recordings_folder(&self) -> Result<PathBuf, PlaceError> {
        match &self.sessions_folder {
            Some(folder) => Ok(folder.clone()),
            None => data_folder(),
        }
    }
}

/// Every settings file of the station, read and checked as one snapshot.
#[derive(Debug, Clone, PartialEq)]
pub struct Setup {
    /// The resources folder.
    pub home: PathBuf,
    /// `config/station.toml`.
    pub station: StationSettings,
    /// The lane file the station settings name.
    pub lane: Lane,
    /// How the second camera stands, where there is one.
    pub second_lane: Option<Lane>,
    /// `config/age-groups.toml`.
    pub age_groups: AgeGroups,
    /// The look of the big screen, with the words of `lang`.
    pub look: Appearance,
}

impl Setup {
    /// Reads the settings of the resources folder `home`; `lane`, where
    /// given, takes the place of the lane file the settings name.
    pub fn load(home: &Path, lane: Option<&Path>) -> Result<Self, ConfigError> {
        let station = StationSettings::load(&station_file(home))?;
        Ok(Setup {
            home: home.to_owned(),
            lane: Lane::load(lane.unwrap_or(&station.lane))?,
            second_lane: match &station.second_camera {
                Some(second) => Some(Lane::load(&second.lane)?),
                None => None,
            },
            age_groups: AgeGroups::load(&age_groups_file(home))?,
            look: station.screen.look(home, station.focus_rule)?,
            station,
        })
    }

    /// Whatever the lane files say, who stands before a camera is a person: a lane
    /// copied from the demo must not shift a person's values. `first` says whether
    /// the first source is a camera too; the second always is. Gives whether a
    /// lane file said otherwise.
    pub fn people_before_cameras(&mut self, first: bool) -> bool {
        let lanes = self.second_lane.iter_mut();
        let lanes = lanes.chain(first.then_some(&mut self.lane));
        let mut otherwise = false;
        for lane in lanes {
            otherwise |= lane.subject != Subject::People;
            lane.subject = Subject::People;
            *lane = lane.clone().with_errors_told();
        }
        otherwise
    }
}

/// The station file of a resources folder.
pub fn station_file(home: &Path) -> PathBuf {
    settings_folder(home).join("station.toml")
}

/// The age groups file of a resources folder.
pub fn age_groups_file(home: &Path) -> PathBuf {
    settings_folder(home).join("age-groups.toml")
}

/// The station file with every default written out as a comment.
pub fn default_file() -> String {
    let mut out = wrapped_comment(
        "What the live station runs with. Made by 'kickplate config print-defaults station'. Every key may be left out; take the mark off the line of a key to change it.",
    );
    for key in STATION_KEYS {
        out += "\n";
        out += &key.as_commented_default();
    }
    for (name, what, keys) in STATION_TABLES {
        out += "\n";
        out += &wrapped_comment(what);
        out += &format!("[{name}]\n");
        for key in keys {
            out += "\n";
            out += &key.as_commented_default();
        }
    }
    out
}

#[cfg(test)]
#[path = "settings_tests.rs"]
mod tests;
