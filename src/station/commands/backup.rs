//! Everything in one file, and back: settings, lanes, recordings, pictures.
//!
//! A backup is a zip: `backup.json` (format and program), `config/*.toml`,
//! `recordings/` with the sessions file, the pictures, the checks with persons and the
//! hash of the PIN. A restore believes nothing in it: only these names are taken, none
//! that leads out of its folder, and nothing is put in place before all of it
//! was read and checked.

use std::fs::File;
use std::io::{self, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use serde::{Deserialize, Serialize};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use crate::config::{ConfigError, Lane, private_folder, settings_folder, sync_folder_of};
use crate::rules::AgeGroups;
use crate::station::health::host::free_bytes;
use crate::station::ruler::RULER_FOLDER;
use crate::station::settings::StationSettings;
use crate::store::{self, Archive, PICTURES_FOLDER, SESSIONS_FILE, StoreError};

/// The version of the file this program writes and reads.
const FORMAT: u32 = 1;
const MANIFEST: &str = "backup.json";
const PIN_FILE: &str = "panel-pin";
/// No manifest or settings file comes near it.
const SMALL: u64 = 1 << 20;
/// A folder of the recordings that belongs into a backup.
#[derive(Clone, Copy)]
struct Inner {
    name: &'static str,
    /// Whether a file of it, by its name, belongs there too.
    belongs: fn(&str) -> bool,
    /// Pictures are packed already.
    pack: bool,
}

const INNER: [Inner; 2] = [
    Inner {
        name: PICTURES_FOLDER,
        belongs: is_picture,
        pack: false,
    },
    Inner {
        name: RULER_FOLDER,
        belongs: is_check,
        pack: true,
    },
];
/// More files than any season has pictures.
const MOST_FILES: usize = 1_000_000;

#[derive(Serialize, Deserialize)]
struct Manifest {
    format: u32,
    program_version: String,
    made_at: String,
}

/// Why a backup could not be made or taken.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// A file or folder.
    #[error("{} cannot be {what} ({why})", .path.display())]
    Files {
        /// The file.
        path: PathBuf,
        /// Read or written.
        what: &'static str,
        /// The system's words.
        why: String,
    },
    /// The file is no backup, or not a whole one.
    #[error("{} is no backup of Kickplate that can be taken: {why}; nothing was changed", .path.display())]
    Refused {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// A signal.
    #[error("the backup was stopped; nothing is left of it")]
    Stopped,
    /// The recordings.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BackedUp {
    /// Size of the file, bytes.
    pub bytes: u64,
    /// Files in it.
    pub files: u32,
}

/// Where a restore has put what was there before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Restored {
    /// The old recordings, where there were some.
    pub old_recordings: Option<PathBuf>,
    /// The old settings.
    pub old_config: PathBuf,
    /// Files that were restored.
    pub files: u32,
}

fn files(path: &Path, what: &'static str, why: impl ToString) -> BackupError {
    BackupError::Files {
        path: path.to_owned(),
        what,
        why: why.to_string(),
    }
}

/// Writes the settings of the resources folder `home` and the recordings in
/// `folder` into one file, also while a session is being recorded. The file
/// appears when it is whole.
///
/// # Errors
/// What cannot be read or written.
pub fn back_up(home: &Path, folder: &Path, out: &Path) -> Result<BackedUp, BackupError> {
    back_up_unless(home, folder, out, &AtomicBool::new(false))
}

/// The same; where `cancel` becomes true it stops and leaves nothing behind.
///
/// # Errors
/// As [`back_up`], and that it was stopped.
pub fn back_up_unless(
    home: &Path,
    folder: &Path,
    out: &Path,
    cancel: &AtomicBool,
) -> Result<BackedUp, BackupError> {
    let part = beside(out, ".part");
    let made = write_zip(home, folder, &part, out, cancel);
    if made.is_err() {
        // The first fault is the one to report.
        let _ = std::fs::remove_file(&part);
    }
    made
}

fn write_zip(
    home: &Path,
    folder: &Path,
    part: &Path,
    out: &Path,
    cancel: &AtomicBool,
) -> Result<BackedUp, BackupError> {
    let written = |e: &dyn ToString| files(out, "written", e.to_string());
    let file = std::fs::OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(true)
        .mode(0o600)
        .open(part)
        .map_err(|e| written(&e))?;
    let mut zip = ZipWriter::new(file);
    let manifest = Manifest {
        format: FORMAT,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        made_at: jiff::Zoned::now().to_string(),
    };
    let manifest = serde_json::to_vec(&manifest).map_err(|e| written(&e))?;
    zip.start_file(MANIFEST, options(true))
        .map_err(|e| written(&e))?;
    zip.write_all(&manifest).map_err(|e| written(&e))?;
    let mut count = 1;
    let mut add = |path: &Path, name: String, pack: bool| -> Result<(), BackupError> {
        if cancel.load(Ordering::Relaxed) {
            return Err(BackupError::Stopped);
        }
        let mut source = match File::open(path) {
            // A picture may be deleted meanwhile; a backup without it is right.
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(()),
            other => other.map_err(|e| files(path, "read", e))?,
        };
        zip.start_file(name, options(pack))
            .map_err(|e| written(&e))?;
        io::copy(&mut source, &mut zip).map_err(|e| written(&e))?;
        count += 1;
        Ok(())
    };
    for (path, name) in plain_files(&settings_folder(home))? {
        if is_config(&name) {
            add(&path, format!("config/{name}"), true)?;
        }
    }
    let copy = beside(part, ".sqlite3");
    let _ = std::fs::remove_file(&copy);
    let copied = Archive::open(folder)
        .and_then(|archive| archive.copy_to(&copy))
        .map_err(BackupError::from)
        .and_then(|()| add(&copy, format!("recordings/{SESSIONS_FILE}"), true));
    let _ = std::fs::remove_file(&copy);
    copied?;
    add(
        &folder.join(PIN_FILE),
        format!("recordings/{PIN_FILE}"),
        true,
    )?;
    for inner in INNER {
        let inside = folder.join(inner.name);
        if !inside.is_dir() {
            continue;
        }
        for (path, name) in plain_files(&inside)? {
            if (inner.belongs)(&name) {
                add(
                    &path,
                    format!("recordings/{}/{name}", inner.name),
                    inner.pack,
                )?;
            }
        }
    }
    let file = zip.finish().map_err(|e| written(&e))?;
    file.sync_all().map_err(|e| written(&e))?;
    let bytes = file.metadata().map_err(|e| written(&e))?.len();
    std::fs::rename(part, out)
        .and_then(|()| sync_folder_of(out))
        .map_err(|e| written(&e))?;
    Ok(BackedUp {
        bytes,
        files: count,
    })
}

fn options(pack: bool) -> SimpleFileOptions {
    let method = if pack {
        CompressionMethod::Deflated
    } else {
        CompressionMethod::Stored
    };
    SimpleFileOptions::default()
        .compression_method(method)
        .large_file(true)
        .unix_permissions(0o600)
}

/// Puts a backup in the place of the settings and the recordings. Everything
/// is read into new folders and checked first; then the folders change
/// places. What was there before is kept beside, under a name that says so.
///
/// # Errors
/// A file that is no backup, of a newer program, damaged, or with names in it
/// that do not belong there; recordings that are in use; a disk that is too
/// full. Then everything is as it was.
pub fn restore(home: &Path, folder: &Path, from: &Path) -> Result<Restored, BackupError> {
    let _held = store::hold(folder)?;
    let config = settings_folder(home);
    let new_folder = beside(folder, ".restoring");
    let new_config = beside(&config, ".restoring");
    let clean = || {
        for new in [&new_folder, &new_config] {
            let _ = std::fs::remove_dir_all(new);
        }
    };
    clean();
    let unpacked = copy_config(&config, &new_config)
        .and_then(|()| unpack(from, &new_folder, &new_config))
        .and_then(|files| check(from, &new_folder, &new_config).map(|()| files));
    let files_restored = match unpacked {
        Ok(files) => files,
        Err(error) => {
            clean();
            return Err(error);
        }
    };
    let (old_folder, old_config) = free_names(folder, &config);
    let rename = |a: &Path, b: &Path| std::fs::rename(a, b).map_err(|e| files(a, "moved", e));
    let put = || -> Result<(), BackupError> {
        rename(folder, &old_folder)?;
        rename(&new_folder, folder)?;
        rename(&config, &old_config)?;
        rename(&new_config, &config)
    };
    if let Err(error) = put() {
        // Back the way it came; what did not move is not there to move.
        for (old, place) in [(&old_config, config.as_path()), (&old_folder, folder)] {
            if old.exists() {
                let _ = std::fs::remove_dir_all(place);
                let _ = std::fs::rename(old, place);
            }
        }
        clean();
        return Err(error);
    }
    let _ = sync_folder_of(folder);
    let _ = sync_folder_of(&config);
    // A folder that held nothing but its lock is not worth keeping.
    let empty = !old_folder.join(SESSIONS_FILE).exists();
    if empty {
        let _ = std::fs::remove_dir_all(&old_folder);
    }
    Ok(Restored {
        old_recordings: (!empty).then_some(old_folder),
        old_config,
        files: files_restored,
    })
}

/// Names for what was there before that nothing has yet: two restores may
/// come within one second.
fn free_names(folder: &Path, config: &Path) -> (PathBuf, PathBuf) {
    let stamp = jiff::Zoned::now().strftime("%Y%m%d-%H%M%S").to_string();
    let mut ending = format!("{}{stamp}", store::BEFORE_RESTORE);
    let mut n = 1;
    loop {
        let names = (beside(folder, &ending), beside(config, &ending));
        if names.0.symlink_metadata().is_err() && names.1.symlink_metadata().is_err() {
            return names;
        }
        n += 1;
        ending = format!("{}{stamp}-{n}", store::BEFORE_RESTORE);
    }
}

/// Takes every file of the zip into the new folders.
fn unpack(from: &Path, folder: &Path, config: &Path) -> Result<u32, BackupError> {
    let refused = |why: String| BackupError::Refused {
        path: from.to_owned(),
        why,
    };
    let file = File::open(from).map_err(|e| files(from, "read", e))?;
    let mut zip = ZipArchive::new(io::BufReader::new(file)).map_err(|e| refused(e.to_string()))?;
    if zip.len() > MOST_FILES {
        return Err(refused("it has more files than any backup".to_owned()));
    }
    let manifest: Manifest = {
        let entry = zip
            .by_name(MANIFEST)
            .map_err(|_| refused(format!("it has no {MANIFEST}")))?;
        serde_json::from_reader(entry.take(SMALL)).map_err(|e| refused(e.to_string()))?
    };
    if manifest.format > FORMAT {
        return Err(refused(format!(
            "it was made by a newer Kickplate ({}); use that one",
            manifest.program_version
        )));
    }
    for new in INNER.map(|inner| folder.join(inner.name)) {
        private_folder(&new).map_err(|e| files(&new, "written", e))?;
    }
    let mut total = 0u64;
    for i in 0..zip.len() {
        let entry = zip.by_index_raw(i).map_err(|e| refused(e.to_string()))?;
        total = total.saturating_add(entry.size());
    }
    if free_bytes(folder).is_some_and(|free| total > free) {
        return Err(refused(format!(
            "it needs {:.1} GB and the disk has less",
            total as f64 / 1e9
        )));
    }
    let mut count = 0;
    for i in 0..zip.len() {
        let mut entry = zip.by_index(i).map_err(|e| refused(e.to_string()))?;
        let name = entry
            .name()
            .map_err(|e| refused(e.to_string()))?
            .into_owned();
        if name == MANIFEST {
            continue;
        }
        let place = place_of(&name, folder, config)
            .filter(|_| entry.is_file() && !entry.is_symlink())
            .ok_or_else(|| refused(format!("'{name}' does not belong into a backup")))?;
        // Settings and the PIN are small; nothing else pretends to be one.
        let small = place.starts_with(config)
            || place.ends_with(PIN_FILE)
            || place.starts_with(folder.join(RULER_FOLDER));
        if small && entry.size() > SMALL {
            return Err(refused(format!("'{name}' is too large for what it is")));
        }
        let mut options = std::fs::OpenOptions::new();
        options.write(true).mode(0o600);
        // A settings file takes the place of the one that is there; anything
        // else that is there twice is a fault.
        if place.starts_with(config) {
            options.create(true).truncate(true);
        } else {
            options.create_new(true);
        }
        let mut out = options
            .open(&place)
            .map_err(|e| refused(format!("'{name}' cannot be taken ({e})")))?;
        let size = entry.size();
        // Its checksum is compared at its end; no more is taken than it says.
        let copied = io::copy(&mut (&mut entry).take(size), &mut out)
            .map_err(|e| refused(format!("'{name}' is damaged ({e})")))?;
        let more = entry
            .read(&mut [0; 1])
            .map_err(|e| refused(format!("'{name}' is damaged ({e})")))?;
        if copied != size || more > 0 {
            return Err(refused(format!("'{name}' is damaged")));
        }
        out.sync_all().map_err(|e| files(&place, "written", e))?;
        count += 1;
    }
    Ok(count)
}

/// Where a file of a backup belongs; `None` for every other name. The names
/// are compared as a whole: nothing of them becomes a path that was not
/// looked at.
fn place_of(name: &str, folder: &Path, config: &Path) -> Option<PathBuf> {
    if let Some(file) = name.strip_prefix("config/") {
        return is_config(file).then(|| config.join(file));
    }
    let rest = name.strip_prefix("recordings/")?;
    if rest == SESSIONS_FILE || rest == PIN_FILE {
        return Some(folder.join(rest));
    }
    let (inside, file) = rest.split_once('/')?;
    let inner = INNER.into_iter().find(|inner| inner.name == inside)?;
    (inner.belongs)(file).then(|| folder.join(inner.name).join(file))
}

/// A plain file name: no separator, no control character, not hidden.
fn is_plain(name: &str) -> bool {
    !name.is_empty()
        && !name.starts_with('.')
        && !name.contains(['/', '\\', ':'])
        && !name.chars().any(char::is_control)
}

fn is_config(name: &str) -> bool {
    is_plain(name) && name.ends_with(".toml")
}

fn is_picture(name: &str) -> bool {
    is_plain(name) && name.ends_with(".mjpeg")
}

fn is_check(name: &str) -> bool {
    is_plain(name) && name.ends_with(".json")
}

/// Whether the program could run with what was unpacked.
fn check(from: &Path, folder: &Path, config: &Path) -> Result<(), BackupError> {
    let refused = |why: String| BackupError::Refused {
        path: from.to_owned(),
        why,
    };
    let bad = |e: ConfigError| refused(e.to_string());
    let station = StationSettings::load(&config.join("station.toml")).map_err(bad)?;
    AgeGroups::load(&config.join("age-groups.toml")).map_err(bad)?;
    // Paths in the settings start at the folder they will be in.
    if station.lane.starts_with(config) {
        Lane::load(&station.lane).map_err(bad)?;
    }
    if !folder.join(SESSIONS_FILE).exists() {
        return Err(refused("it has no sessions file".to_owned()));
    }
    Archive::open(folder)
        .and_then(|archive| archive.check_whole())
        .map_err(|e| refused(e.to_string()))
}

fn copy_config(from: &Path, to: &Path) -> Result<(), BackupError> {
    std::fs::create_dir(to).map_err(|e| files(to, "written", e))?;
    for (path, name) in plain_files(from)? {
        std::fs::copy(&path, to.join(name)).map_err(|e| files(&path, "read", e))?;
    }
    Ok(())
}

/// The plain files of a folder with their names, sorted.
fn plain_files(folder: &Path) -> Result<Vec<(PathBuf, String)>, BackupError> {
    let fault = |e: io::Error| files(folder, "read", e);
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(fault)? {
        let entry = entry.map_err(fault)?;
        // A link to a settings file is as good as the file.
        let plain = std::fs::metadata(entry.path()).is_ok_and(|m| m.is_file());
        if let (true, Ok(name)) = (plain, entry.file_name().into_string()) {
            found.push((entry.path(), name));
        }
    }
    found.sort();
    Ok(found)
}

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

#[cfg(test)]
#[path = "backup_tests.rs"]
mod tests;
