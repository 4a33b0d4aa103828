//! What is kept of whom, what would go, and the files of a choice.

use std::path::PathBuf;

use crate::roster::SkaterId;

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
