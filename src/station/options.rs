//! What a user asks for on the command line, as the station takes it.

use std::path::{Path, PathBuf};

use clap::ValueEnum;

use crate::config::View;
use crate::display::Language;
use crate::export::{Format, Separator};
use crate::rules::AgeGroup;

/// Which pose model to use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ModelChoice {
    /// The most exact one: about four times the work of full.
    Heavy,
    /// The middle one.
    Full,
    /// The fastest one, for slow machines.
    Lite,
}

impl ModelChoice {
    /// All models, in the order of their names in files.
    pub const ALL: [ModelChoice; 3] = [ModelChoice::Heavy, ModelChoice::Full, ModelChoice::Lite];

    /// The next one that takes less work.
    pub fn lighter(self) -> Option<ModelChoice> {
        match self {
            ModelChoice::Heavy => Some(ModelChoice::Full),
            ModelChoice::Full => Some(ModelChoice::Lite),
            ModelChoice::Lite => None,
        }
    }

    /// The next one that is more exact.
    pub fn more_exact(self) -> Option<ModelChoice> {
        Self::ALL.into_iter().find(|m| m.lighter() == Some(self))
    }

    /// The name used in files and on the command line.
    pub fn name(self) -> &'static str {
        match self {
            ModelChoice::Heavy => "heavy",
            ModelChoice::Full => "full",
            ModelChoice::Lite => "lite",
        }
    }
}

/// Which inference engine to use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum EngineChoice {
    /// The native one where its library is found, else the embedded one.
    Auto,
    /// The native ONNX Runtime library; an error where it is not found.
    Native,
    /// The one inside this program.
    Embedded,
}

impl EngineChoice {
    /// All choices, in the order of their names in files.
    pub const ALL: [EngineChoice; 3] = [
        EngineChoice::Auto,
        EngineChoice::Native,
        EngineChoice::Embedded,
    ];

    /// The name used in files and on the command line.
    pub fn name(self) -> &'static str {
        match self {
            EngineChoice::Auto => "auto",
            EngineChoice::Native => "native",
            EngineChoice::Embedded => "embedded",
        }
    }
}

/// `kickplate`: the live station. What is `None` comes from the settings.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LiveOptions {
    /// Camera, by its stable id.
    pub camera: Option<String>,
    /// Lane file.
    pub lane: Option<PathBuf>,
    /// Age group.
    pub age_group: Option<AgeGroup>,
    /// Pose model.
    pub model: Option<ModelChoice>,
    /// Inference engine.
    pub engine: Option<EngineChoice>,
    /// A video that plays over and over instead of the camera.
    pub source: Option<PathBuf>,
    /// Each frame of that video waits until the one before was judged.
    pub every_frame: bool,
    /// In a window instead of the full screen.
    pub windowed: bool,
}

/// `kickplate demo`: rendered skaters instead of a camera.
#[derive(Debug, Clone, PartialEq)]
pub struct DemoOptions {
    /// Without a window and without sound.
    pub headless: bool,
    /// Where the headless demo writes its results.
    pub out: PathBuf,
    /// In a window instead of the full screen.
    pub windowed: bool,
}

/// `kickplate review`: a recorded video.
#[derive(Debug, Clone, PartialEq)]
pub struct ReviewOptions {
    /// The video, or a folder of pictures.
    pub file: PathBuf,
    /// Lane file.
    pub lane: PathBuf,
    /// Age group.
    pub age_group: AgeGroup,
    /// Folder the results go to.
    pub out: PathBuf,
    /// View, where it differs from the one in the lane file.
    pub view: Option<View>,
    /// Pose model.
    pub model: ModelChoice,
    /// Inference engine.
    pub engine: EngineChoice,
}

/// `kickplate bench`: how fast this machine is.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchOptions {
    /// The clips; those of the demo where none is named.
    pub clips: Vec<PathBuf>,
    /// Lane file of every clip, instead of the one beside each.
    pub lane: Option<PathBuf>,
    /// Pose model.
    pub model: ModelChoice,
    /// Inference engine.
    pub engine: EngineChoice,
    /// One of the two ways of reading only.
    pub only: Option<BenchPath>,
}

/// How `kickplate bench` reads a clip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum BenchPath {
    /// As fast as it goes.
    Review,
    /// At its own speed, as from a camera.
    Live,
}

impl BenchPath {
    /// The head of its columns.
    pub fn title(self) -> &'static str {
        match self {
            BenchPath::Review => "review",
            BenchPath::Live => "live path",
        }
    }
}

/// `kickplate scale`: how the camera stands, from marks in its picture.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleOptions {
    /// The marks file.
    pub marks: PathBuf,
    /// Lane file to write; only shown where `None`.
    pub out: Option<PathBuf>,
}

/// Which sessions to export.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SessionChoice {
    /// The last one with a pass.
    #[default]
    Latest,
    /// Every one.
    All,
    /// The one of this number.
    Number(i64),
}

/// `kickplate export`: a session as files.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportOptions {
    /// Which sessions.
    pub session: SessionChoice,
    /// Name, number or both of one skater.
    pub skater: Option<String>,
    /// Only what is flagged in the tables.
    pub flagged_only: bool,
    /// Folder or archive.
    pub format: Format,
    /// Without names, dates and comments.
    pub anonymous: bool,
    /// Without clips and stills.
    pub without_pictures: bool,
    /// Between the cells of the CSV files.
    pub separator: Separator,
    /// Language; the screen's where `None`.
    pub language: Option<Language>,
    /// Name of the export.
    pub out: PathBuf,
}

/// What the user gave has to be changed: a word on the command line, or what
/// it names. Ends the program with exit code 2.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct UsageError(pub String);

/// A file the user named has to be there.
///
/// # Errors
/// One sentence that names it.
pub(super) fn is_there(path: &Path) -> Result<(), UsageError> {
    if path.exists() {
        return Ok(());
    }
    Err(UsageError(format!(
        "there is no file '{}': check the spelling of the path",
        path.display()
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_is_not_there_is_named() {
        assert_eq!(is_there(Path::new(env!("CARGO_MANIFEST_DIR"))), Ok(()));
        assert_eq!(
            is_there(Path::new("no/clip.mp4")).unwrap_err().to_string(),
            "there is no file 'no/clip.mp4': check the spelling of the path"
        );
    }

    /// The command line takes the words the settings file takes.
    #[test]
    fn names_are_the_same_everywhere() {
        for m in ModelChoice::ALL {
            assert_eq!(m.to_possible_value().unwrap().get_name(), m.name());
        }
        for e in EngineChoice::ALL {
            assert_eq!(e.to_possible_value().unwrap().get_name(), e.name());
        }
    }
}
