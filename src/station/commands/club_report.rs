//! `kickplate club-report`: one page on the season of a club, from a dataset.

use std::path::{Path, PathBuf};

use anyhow::Context;

use super::export::{LANGUAGES, choice};
use super::roster_cli::may_write;
use crate::config::{home, write_atomically};
use crate::display::Language;
use crate::export::{ClubError, ExportWords, club_figures, club_page};
use crate::station::live::shutdown::stop_on_signals;
use crate::station::program::print;
use crate::station::settings::{StationSettings, station_file};
use crate::station::usage::UsageError;
use crate::station::words::{count, passes};

/// `kickplate club-report`: one page on a season or a club.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct ClubReportOptions {
    /// The folder that 'kickplate export --dataset' wrote.
    pub dataset: PathBuf,
    /// The page to write.
    #[arg(long, value_name = "FILE.html", default_value = "club-report.html")]
    pub out: PathBuf,
    /// Language of the page, where it is not the screen's.
    #[arg(long, value_parser = choice(LANGUAGES))]
    pub language: Option<Language>,
    /// Also where there is a file of that name.
    #[arg(long)]
    pub replace: bool,
}

/// Reads the dataset and writes the page.
///
/// # Errors
/// No dataset, or one that this program cannot use whole; a page that is there already
/// (exit code 2); a disk that does not take it; Ctrl-C.
pub fn club_report(options: &ClubReportOptions) -> anyhow::Result<()> {
    let out = page_file(&options.out, options.replace)?;
    let home = home()?;
    let language = match options.language {
        Some(language) => language,
        None => StationSettings::load(&station_file(&home))?.screen.language,
    };
    let words = ExportWords::load(&home, language)?;
    let cancel = stop_on_signals()?;
    let figures = club_figures(&options.dataset, &cancel).map_err(|error| match error {
        ClubError::Cancelled => anyhow::Error::from(error),
        unusable => UsageError(unusable.to_string()).into(),
    })?;
    let page = club_page(&words, &figures);
    write_atomically(out, page.as_bytes(), 0o600).with_context(|| {
        format!(
            "{} cannot be written; choose another with --out",
            out.display()
        )
    })?;
    print(&format!(
        "{}: {}, {}, {}.\n",
        out.display(),
        count(figures.sessions(), "session", "sessions"),
        passes(figures.passes()),
        count(figures.pushes, "push", "pushes")
    ))
}

/// The page's file, where it may be written.
fn page_file(out: &Path, replace: bool) -> Result<&Path, UsageError> {
    if out.is_dir() || out.file_name().is_none() {
        return Err(UsageError(format!(
            "'{}' names no file; choose another with --out",
            out.display()
        )));
    }
    may_write(out, replace)?;
    Ok(out)
}
