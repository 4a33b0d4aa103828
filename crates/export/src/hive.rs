//! A dataset of many sessions for data tools: Parquet files in the Hive layout, one
//! part a session (`docs/dataset.md`).
//!
//! Takes: stored sessions and a folder.
//! Gives: `pushes/` and `passes/` in it, partitioned by season, station and date. The
//! same session again replaces its own part; a part is there whole or not at all.
//! Fails: with an [`ExportError`]; parts that are written stay, and the same call again
//! does the rest.
//!
//! A skater is a key that was drawn by lot for this dataset. What a coach wrote never
//! gets here; a name does where names are asked for and consent is noted.

use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use serde::{Deserialize, Serialize};

use super::ExportError;
use super::dataset::PassPart;
use super::hive_table;
use super::query;
use super::table::{Cell, Table};
use crate::config::{private_folder, write_atomically};
use crate::store::{Archive, DatasetNote, StoreError};
use kickplate_table::{from_parquet, to_parquet_noting};

/// The version of tables and layout that is written and read.
pub const DATASET_VERSION: u32 = 1;
/// What a dataset says of itself.
const ABOUT: &str = "dataset.json";
/// The note of every part.
pub(super) const VERSION_NOTE: &str = "kickplate.dataset_version";
/// The tables, each a folder.
pub(super) const TABLES: [&str; 2] = ["passes", "pushes"];

/// What is to be added, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DatasetRequest {
    /// Numbers of the sessions.
    pub sessions: Vec<i64>,
    /// The folder of the dataset; a new one is begun where there is none.
    pub folder: PathBuf,
    /// What this station is called in it: small letters, digits, hyphens.
    pub station: String,
    /// With the names of skaters whose consent is noted.
    pub names: bool,
}

/// What was added.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Added {
    /// Sessions.
    pub sessions: usize,
    /// Passes.
    pub passes: usize,
    /// Pushes.
    pub pushes: usize,
    /// Skaters whose name was left out because no consent is noted.
    pub nameless: usize,
    /// Rows of deleted skaters that were deleted before.
    pub deleted_rows: usize,
    /// Passes that do not read as they were written and were left out.
    pub passes_damaged: usize,
}

#[derive(Debug, Serialize, Deserialize)]
pub(super) struct About {
    kickplate_dataset_version: u32,
    id: String,
    names: bool,
}

/// Adds sessions to a dataset. Where `cancel` becomes true it stops between two
/// sessions.
///
/// # Errors
/// A folder of something else or of a newer program; a dataset that is kept with names
/// where none are asked for, or the other way round; a disk that is full or gone.
pub fn add_to_dataset(
    archive: &Archive,
    request: &DatasetRequest,
    cancel: &AtomicBool,
) -> Result<Added, ExportError> {
    let folder = &request.folder;
    let about = open_or_begin(folder, request.names)?;
    archive.note_dataset(&about.id, folder)?;
    let mut added = Added {
        deleted_rows: settle(archive, &about.id, folder)?,
        ..Added::default()
    };
    let listed = |name| parts(&folder.join(name)).map_err(|e| ExportError::writing(folder, e));
    let before = [listed(TABLES[0])?, listed(TABLES[1])?];
    let skaters = archive.skaters()?;
    let mut nameless = BTreeSet::new();
    for &id in &request.sessions {
        if cancel.load(Ordering::Relaxed) {
            return Err(ExportError::Cancelled);
        }
        let stored = archive.load_session(id)?;
        let session = stored.name_in_datasets().to_owned();
        let started = stored.info.started.clone();
        added.passes_damaged += stored.damaged.len();
        let material = query::material_of(vec![stored], &skaters);
        let mut keys = Vec::with_capacity(material.people.len());
        for person in &material.people {
            let name = (request.names && person.consent).then(|| person.name.clone());
            if request.names && name.is_none() {
                nameless.insert(person.id);
            }
            keys.push((archive.key_in_dataset(&about.id, person.id)?, name));
        }
        let who = |part: &PassPart| part.person.and_then(|i| keys.get(i).cloned());
        let partition = format!(
            "season={}/station={}/date={}",
            season_of(started.date()),
            request.station,
            started.date()
        );
        let file = format!("session-{session}.parquet");
        let tables = [
            hive_table::passes(&material, &session, &who),
            hive_table::pushes(&material, &session, &who),
        ];
        for ((name, before), table) in TABLES.into_iter().zip(&before).zip(&tables) {
            put(folder, name, before, (&partition, &file, &session), table)?;
        }
        added.sessions += 1;
        added.passes += tables[0].rows.len();
        added.pushes += tables[1].rows.len();
    }
    added.nameless = nameless.len();
    Ok(added)
}

/// From July to June, as winters are skated (common practice, no source).
pub(super) fn season_of(date: jiff::civil::Date) -> String {
    let first = if date.month() >= 7 {
        date.year()
    } else {
        date.year() - 1
    };
    format!("{first}-{}", first + 1)
}

/// Writes a part of a table; then parts of the same session elsewhere, which are among
/// those that were there `before`, go: the station was called otherwise, or its clock was
/// put right.
fn put(
    folder: &Path,
    name: &str,
    before: &[PathBuf],
    (partition, file, session): (&str, &str, &str),
    table: &Table,
) -> Result<(), ExportError> {
    let no = |error| ExportError::writing(folder, error);
    let notes = [
        (VERSION_NOTE.to_owned(), DATASET_VERSION.to_string()),
        (
            "kickplate.program_version".to_owned(),
            env!("CARGO_PKG_VERSION").to_owned(),
        ),
        ("kickplate.session".to_owned(), session.to_owned()),
    ];
    let place = folder.join(name).join(partition);
    let target = place.join(file);
    if !table.rows.is_empty() {
        let bytes = to_parquet_noting(table, &notes).map_err(|e| ExportError::Encoding {
            file: folder.display().to_string(),
            why: e.to_string(),
        })?;
        private_folder(&place).map_err(no)?;
        write_atomically(&target, &bytes, 0o600).map_err(no)?;
    }
    for part in before {
        let same = part.file_name().is_some_and(|name| name == file);
        if same && (*part != target || table.rows.is_empty()) {
            fs::remove_file(part).map_err(no)?;
        }
    }
    Ok(())
}

/// The dataset in a folder; a new one where the folder is empty or not there.
fn open_or_begin(folder: &Path, names: bool) -> Result<About, ExportError> {
    let no = |why: &str| ExportError::Dataset {
        folder: folder.to_owned(),
        why: why.to_owned(),
    };
    if let Some(about) = read_about(folder).map_err(|why| no(&why))? {
        return match (about.names, names) {
            (true, false) => Err(no(
                "it is kept with names; give --names, or choose another folder",
            )),
            (false, true) => Err(no(
                "it is kept without names; leave --names out, or choose another folder",
            )),
            _ => Ok(about),
        };
    }
    let empty = fs::read_dir(folder).map_or(true, |mut entries| entries.next().is_none());
    if !empty {
        return Err(no(
            "it holds other files and is no dataset of Kickplate; choose a new or empty folder",
        ));
    }
    let about = About {
        kickplate_dataset_version: DATASET_VERSION,
        id: lot().map_err(|e| ExportError::writing(folder, e))?,
        names,
    };
    let text = serde_json::to_vec_pretty(&about).map_err(|e| ExportError::Encoding {
        file: ABOUT.to_owned(),
        why: e.to_string(),
    })?;
    private_folder(folder)
        .and_then(|()| write_atomically(&folder.join(ABOUT), &text, 0o600))
        .map_err(|e| ExportError::writing(folder, e))?;
    Ok(about)
}

/// A name no other dataset has.
fn lot() -> io::Result<String> {
    use std::io::Read;
    let mut bytes = [0u8; 8];
    fs::File::open("/dev/urandom")?.read_exact(&mut bytes)?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

/// What a dataset says of itself; `None` where there is none.
///
/// # Errors
/// In words: it cannot be read, or is of a newer program.
pub(super) fn read_about(folder: &Path) -> Result<Option<About>, String> {
    let text = match fs::read(folder.join(ABOUT)) {
        Ok(text) => text,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(format!("its {ABOUT} cannot be read ({e})")),
    };
    let about: About = serde_json::from_slice(&text)
        .map_err(|e| format!("its {ABOUT} is none of Kickplate's ({e})"))?;
    if about.kickplate_dataset_version > DATASET_VERSION {
        return Err(format!(
            "it was made by a newer Kickplate (version {} of the tables, this one knows {DATASET_VERSION}); use that one",
            about.kickplate_dataset_version
        ));
    }
    Ok(Some(about))
}

/// Every part below a folder of a table, in order.
pub(super) fn parts(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    let mut waiting = vec![folder.to_owned()];
    while let Some(folder) = waiting.pop() {
        let entries = match fs::read_dir(&folder) {
            Err(e) if e.kind() == io::ErrorKind::NotFound => continue,
            other => other?,
        };
        for entry in entries {
            let entry = entry?;
            let path = entry.path();
            // Links are not followed.
            if entry.file_type()?.is_dir() {
                waiting.push(path);
            } else if is_part(&path) {
                found.push(path);
            }
        }
    }
    found.sort();
    Ok(found)
}

/// What begins with a dot is unfinished, or of the system.
fn is_part(path: &Path) -> bool {
    let hidden = |name: &std::ffi::OsStr| name.as_encoded_bytes().starts_with(b".");
    path.extension().is_some_and(|e| e == "parquet") && !path.file_name().is_some_and(hidden)
}

/// What became of the rows of deleted skaters in one dataset.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settled {
    /// The dataset.
    pub place: PathBuf,
    /// Rows that were deleted; or why none could be: then they still are to be.
    pub outcome: Result<usize, String>,
}

/// Deletes the rows of deleted skaters in every dataset that is known and there.
///
/// # Errors
/// The store only; a dataset that cannot be reached is told in its outcome.
pub fn settle_deletions(archive: &Archive) -> Result<Vec<Settled>, StoreError> {
    let mut settled = Vec::new();
    for DatasetNote { id, place } in archive.datasets()? {
        if archive.owed_to_dataset(&id)?.is_empty() {
            continue;
        }
        let outcome = match read_about(&place) {
            Ok(Some(about)) if about.id == id => {
                settle(archive, &id, &place).map_err(|e| e.to_string())
            }
            Ok(_) => Err("it is not there now".to_owned()),
            Err(why) => Err(why),
        };
        settled.push(Settled { place, outcome });
    }
    Ok(settled)
}

/// Deletes what is owed to the dataset in `folder`; gives how many rows.
fn settle(archive: &Archive, id: &str, folder: &Path) -> Result<usize, ExportError> {
    let keys = archive.owed_to_dataset(id)?;
    if keys.is_empty() {
        return Ok(0);
    }
    let mut rows = 0;
    for table in TABLES {
        let parts = parts(&folder.join(table)).map_err(|e| ExportError::writing(folder, e))?;
        for part in parts {
            rows += without(&part, &keys)?;
        }
    }
    archive.settled_in_dataset(id, &keys)?;
    Ok(rows)
}

/// Takes the rows of these keys out of a part; gives how many there were.
fn without(part: &Path, keys: &[String]) -> Result<usize, ExportError> {
    let no = |why: String| ExportError::Dataset {
        folder: part.to_owned(),
        why,
    };
    let bytes = fs::read(part).map_err(|e| ExportError::writing(part, e))?;
    let (mut table, notes) = from_parquet(bytes).map_err(|e| no(e.to_string()))?;
    let version = notes.iter().find(|(key, _)| key == VERSION_NOTE);
    let column = table.columns.iter().position(|c| c.name == hive_table::KEY);
    let (Some(_), Some(column)) = (version, column) else {
        return Err(no(
            "it is no part of a dataset of Kickplate; move it away".to_owned()
        ));
    };
    let before = table.rows.len();
    table
        .rows
        .retain(|row| !matches!(&row[column], Cell::Text(key) if keys.contains(key)));
    let gone = before - table.rows.len();
    if gone > 0 {
        let written = match table.rows.is_empty() {
            true => fs::remove_file(part),
            false => {
                let bytes = to_parquet_noting(&table, &notes).map_err(|e| no(e.to_string()))?;
                write_atomically(part, &bytes, 0o600)
            }
        };
        written.map_err(|e| ExportError::writing(part, e))?;
    }
    Ok(gone)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_season_goes_from_july_to_june() {
        for (date, season) in [
            ("2026-07-01", "2026-2027"),
            ("2026-12-31", "2026-2027"),
            ("2027-01-01", "2026-2027"),
            ("2027-06-30", "2026-2027"),
            ("2027-07-01", "2027-2028"),
        ] {
            assert_eq!(season_of(date.parse().unwrap()), season);
        }
    }
}
