//! `kickplate export --dataset`: sessions added to a dataset of a season or a club, and
//! what the deletion of a skater means for it.

use std::fmt::Write as _;
use std::path::Path;

use super::export::ExportOptions;
use crate::export::{DatasetRequest, ExportError, Settled, add_to_dataset, settle_deletions};
use crate::station::live::shutdown::stop_on_signals;
use crate::station::program::print;
use crate::station::usage::UsageError;
use crate::station::words::passes;
use crate::store::Archive;

/// The name of a station in a dataset: a word that every system takes as a folder's name.
///
/// # Errors
/// What is wrong with it.
pub(super) fn station_name(word: &str) -> Result<String, String> {
    let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    let good = (1..=40).contains(&word.len()) && word.chars().all(fits);
    good.then(|| word.to_owned()).ok_or_else(|| {
        "it must be a word of small letters a to z, digits and hyphens, 40 at most".to_owned()
    })
}

/// Adds the sessions and says what came of it.
///
/// # Errors
/// A folder that is no dataset, or not one for this program (exit code 2); a disk that is
/// full or gone; Ctrl-C.
pub(super) fn add(
    options: &ExportOptions,
    folder: &Path,
    archive: &Archive,
    sessions: Vec<i64>,
) -> anyhow::Result<()> {
    let request = DatasetRequest {
        sessions,
        folder: folder.to_owned(),
        station: options.station.clone(),
        names: options.names,
    };
    let cancel = stop_on_signals()?;
    let added = match add_to_dataset(archive, &request, &cancel) {
        Err(error @ ExportError::Dataset { .. }) => {
            return Err(UsageError(error.to_string()).into());
        }
        Err(ExportError::Cancelled) => anyhow::bail!(
            "it was stopped; sessions that were added stay, and the same command adds the rest"
        ),
        other => other?,
    };
    let mut text = format!(
        "{}: {} added, {}, {} pushes, {}.\n",
        folder.display(),
        match added.sessions {
            1 => "1 session".to_owned(),
            n => format!("{n} sessions"),
        },
        passes(added.passes),
        added.pushes,
        match (request.names, added.nameless) {
            (false, _) => "without names".to_owned(),
            (true, 0) => "with names".to_owned(),
            (true, n) => format!("with names but of {n} without noted consent"),
        }
    );
    if added.deleted_rows > 0 {
        // Writing into a String cannot fail.
        let _ = writeln!(
            text,
            "Rows of deleted skaters that were deleted in it: {}.",
            added.deleted_rows
        );
    }
    if added.passes_damaged > 0 {
        let _ = writeln!(
            text,
            "{} left out because they do not read as they were written: the disk may be failing.",
            passes(added.passes_damaged)
        );
    }
    print(&text)
}

/// After the deletion of a skater: deletes in the datasets as well, and says where.
///
/// # Errors
/// The recordings cannot be read.
pub(super) fn deleted_in_datasets(archive: &Archive) -> anyhow::Result<String> {
    let mut text = String::new();
    for Settled { place, outcome } in settle_deletions(archive)? {
        let place = place.display();
        // Writing into a String cannot fail.
        let _ = match outcome {
            Ok(rows) => writeln!(text, "{rows} rows deleted in the dataset {place}."),
            Err(why) => writeln!(
                text,
                "Not deleted yet in the dataset {place}: {why}. It is deleted there when sessions are added to it the next time."
            ),
        };
    }
    Ok(text)
}
