//! Exports: what the coach, the parent and the spreadsheet get after a
//! session.
//!
//! Takes: stored sessions, their points and pictures, and an
//! [`ExportRequest`].
//! Gives: a folder or a ZIP archive with pages for people (`index.html`, one
//! page a skater), clips and stills of flagged pushes, tables (`pushes.csv`,
//! `passes.csv`, `pushes.parquet`), `session.json` and the body points.
//! Fails: with an [`ExportError`] in one sentence. Under the final name there
//! is a whole export or none; pictures or points that cannot be read are
//! left out and counted.
//!
//! Sessions are added to a dataset for data tools by [`add_to_dataset`]; [`club_page`] is
//! one page on what is in it.
//!
//! What may not leave does not: no consent, no pictures; a flag the coach
//! dismissed is neither counted nor shown; an anonymous export has no name in
//! any byte. What each file holds: `docs/export.md`.
//!
//! Only this module knows the video encoder and the writers of MP4
//! and ZIP.

// What this crate knows of the others; nothing else can be reached from it.
use kickplate_interface::display;
use kickplate_measure::{
    body, calibration, config, feedback, figure, geometry, roster, rules, stride, track,
};
use kickplate_store as store;

mod build;
mod chart;
mod clip;
mod club;
mod csv_file;
mod dataset;
mod draw;
mod error;
mod figure_svg;
mod hive;
mod hive_table;
mod page;
mod points;
mod query;
mod session_file;
mod skeleton;

mod summary;
mod table;
mod video;
mod words;
mod write;

use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use display::Language;
use roster::SkaterId;
use store::Archive;

pub use club::{
    ClubError, ClubFigures, Day, FEWEST_FOR_PERCENT, FEWEST_SKATERS, Measured, Month, RuleCounts,
    Seen, club_figures, club_page,
};
pub use csv_file::Separator;
pub use error::ExportError;
pub use hive::{Added, DATASET_VERSION, DatasetRequest, Settled, add_to_dataset, settle_deletions};
pub use video::{Mp4, VideoError};
pub use words::ExportWords;

/// How an export is handed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Format {
    /// A folder.
    #[default]
    Folder,
    /// A ZIP archive.
    Zip,
}

/// What is to be exported, and how.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportRequest {
    /// Numbers of the sessions.
    pub sessions: Vec<i64>,
    /// Only the passes of this skater.
    pub skater: Option<SkaterId>,
    /// Only flagged pushes, and passes with one, in the tables. The pages
    /// still count everything.
    pub flagged_only: bool,
    /// Folder or archive.
    pub format: Format,
    /// Without names, bibs, comments, dates and the names of sources, and
    /// only with pictures in which faces are blurred.
    pub anonymous: bool,
    /// With clips and stills, where there are pictures.
    pub pictures: bool,
    /// The name of the export.
    pub out: PathBuf,
    /// Language of pages, captions and cues.
    pub language: Language,
    /// Separator of the CSV files.
    pub separator: Separator,
}

/// What is being done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "the names are the documentation")]
pub enum Step {
    Reading,
    Points,
    Clips,
    Tables,
    Pages,
    Packing,
    Finishing,
}

/// How far an export is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Pieces done.
    pub done: usize,
    /// Pieces in all.
    pub of: usize,
    /// What is being done.
    pub step: Step,
}

/// A finished export.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exported {
    /// Where it is.
    pub path: PathBuf,
    /// Files in it.
    pub files: usize,
    /// Bytes of all of them, or of the archive.
    pub bytes: u64,
    /// Clips in it.
    pub clips: usize,
    /// Flagged pushes whose pictures could not be read.
    pub clips_broken: usize,
    /// Passes whose points could not be read.
    pub points_broken: usize,
    /// Passes that do not read as they were written and are left out.
    pub passes_damaged: usize,
    /// Passes of these sessions that could not be stored when they were
    /// skated.
    pub passes_lost: u32,
    /// Files used again from an export that was cut off.
    pub reused: usize,
}

/// Exports what was asked for. `progress` is called from this thread, often;
/// where `cancel` becomes true the export stops and leaves nothing behind.
///
/// # Errors
/// As [`ExportError`] lists; under `request.out` there is then nothing new.
pub fn export(
    archive: &Archive,
    request: &ExportRequest,
    progress: &dyn Fn(Progress),
    cancel: &AtomicBool,
) -> Result<Exported, ExportError> {
    progress(Progress {
        done: 0,
        of: 1,
        step: Step::Reading,
    });
    let words = match config::home() {
        Ok(home) => ExportWords::load(&home, request.language)?,
        Err(_) => ExportWords::built_in(request.language),
    };
    let material = query::gather(archive, request)?;
    let exported = write::write(&material, archive, request, &words, progress, cancel)?;
    let mut skaters: Vec<SkaterId> = material.people.iter().map(|p| p.id).collect();
    skaters.sort_unstable();
    let passes = material.passes().count();
    let what = format!(
        "{passes} passes of session {}, {} clips",
        request
            .sessions
            .iter()
            .map(i64::to_string)
            .collect::<Vec<_>>()
            .join(", "),
        exported.clips
    );
    // The copy is there and whole; that it could not be noted is said, and is
    // no reason to call it a failure.
    if let Err(e) = archive.note_export(&exported.path, &what, request.anonymous, &skaters) {
        tracing::warn!("the export was made and could not be noted: {e}");
    }
    Ok(exported)
}
