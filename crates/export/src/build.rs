//! The unfinished export on the disk, and how it becomes a finished one.
//!
//! Everything is built in `<name>.part`, brought to the disk together and
//! renamed in one step: under its final name there is a whole export or none. What a
//! crash left in `<name>.part` is used again where it is still right: the
//! ledger says for every costly file from what it was made and what its bytes
//! were. Only the owner can read any of it.

use std::collections::{BTreeSet, HashMap};
use std::fs::{DirBuilder, File, OpenOptions};
use std::io::{self, Read, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

use rustix::fs::{FlockOperation, RenameFlags};
use sha2::{Digest, Sha256};

use crate::config::sync_folder_of;

use super::ExportError;

const LEDGER: &str = "ledger";
const CONTENT: &str = "content";
const ARCHIVE: &str = "archive.zip";
/// First line of the ledger, which shows that the folder is ours.
const MARK: &str = "kickplate unfinished export 1";

/// SHA-256, hexadecimal.
pub type Hash = String;

/// An export being built.
pub struct Build {
    out: PathBuf,
    part: PathBuf,
    content: PathBuf,
    ledger: File,
    /// By path within the content: made from, bytes.
    known: HashMap<String, (Hash, Hash)>,
    written: BTreeSet<String>,
    /// Files that were used again.
    pub reused: usize,
    /// Bytes of all files.
    pub bytes: u64,
}

impl Build {
    /// Begins an export, or goes on with one that was cut off.
    pub fn begin(out: &Path) -> Result<Self, ExportError> {
        let name = out.file_name().ok_or_else(|| ExportError::NoName {
            path: out.to_owned(),
        })?;
        let folder = folder_of(out);
        if !folder.is_dir() {
            return Err(ExportError::NoFolder {
                path: folder.to_owned(),
            });
        }
        if out.symlink_metadata().is_ok() {
            return Err(ExportError::Taken {
                path: out.to_owned(),
            });
        }
        let mut part_name = name.to_owned();
        part_name.push(".part");
        let part = out.with_file_name(part_name);
        let failed = |e| ExportError::writing(out, e);
        if part.symlink_metadata().is_ok() {
            let ledger = std::fs::read(part.join(LEDGER)).unwrap_or_default();
            // A disk without room may have left the ledger empty.
            let ours = part.symlink_metadata().is_ok_and(|m| m.is_dir())
                && (ledger.starts_with(MARK.as_bytes()) || holds_only_an_empty_ledger(&part));
            if !ours {
                return Err(ExportError::InTheWay { path: part });
            }
            return Self::go_on(out, part);
        }
        new_private_folder(&part).map_err(failed)?;
        Self::go_on(out, part.clone()).inspect_err(|_| {
            // Made just now, and nothing is in it that anybody wants.
            let _ = std::fs::remove_dir_all(&part);
        })
    }

    /// With the folder of the unfinished export that is there.
    fn go_on(out: &Path, part: PathBuf) -> Result<Self, ExportError> {
        let failed = |e| ExportError::writing(out, e);
        let mut ledger = OpenOptions::new()
            .create(true)
            .read(true)
            .append(true)
            .mode(0o600)
            .open(part.join(LEDGER))
            .map_err(failed)?;
        if rustix::fs::flock(&ledger, FlockOperation::NonBlockingLockExclusive).is_err() {
            return Err(ExportError::Busy { path: part });
        }
        let mut text = String::new();
        if ledger.read_to_string(&mut text).is_err() || text.is_empty() {
            text.clear();
            ledger.set_len(0).map_err(failed)?;
            ledger
                .write_all(format!("{MARK}\n").as_bytes())
                .map_err(failed)?;
        }
        // Its last line may be cut off.
        let known = text
            .lines()
            .skip(1)
            .filter_map(|line| {
                let mut parts = line.splitn(3, ' ');
                let (made_from, bytes) = (parts.next()?, parts.next()?);
                let path = parts.next()?;
                (made_from.len() == 64 && bytes.len() == 64)
                    .then(|| (path.to_owned(), (made_from.to_owned(), bytes.to_owned())))
            })
            .collect();
        if !text.is_empty() && !text.ends_with('\n') {
            ledger.write_all(b"\n").map_err(failed)?;
        }
        let content = part.join(CONTENT);
        new_private_folder(&content)
            .or_else(|e| if content.is_dir() { Ok(()) } else { Err(e) })
            .map_err(failed)?;
        Ok(Build {
            out: out.to_owned(),
            part,
            content,
            ledger,
            known,
            written: BTreeSet::new(),
            reused: 0,
            bytes: 0,
        })
    }

    /// Bytes free for the owner where the export goes.
    pub fn free_bytes(&self) -> Option<u64> {
        let stat = rustix::fs::statvfs(&self.part).ok()?;
        Some(stat.f_bavail.saturating_mul(stat.f_frsize))
    }

    /// Where it goes.
    pub fn out(&self) -> &Path {
        &self.out
    }

    /// Whether there is a file below a folder, given with its slash.
    pub fn has(&self, folder: &str) -> bool {
        self.written.iter().any(|path| path.starts_with(folder))
    }

    /// Number of files so far.
    pub fn files(&self) -> usize {
        self.written.len()
    }

    /// Puts a file that costs little to make again.
    pub fn put(&mut self, path: &str, bytes: &[u8]) -> Result<(), ExportError> {
        self.write(path, bytes)
            .map_err(|e| ExportError::writing(&self.out, e))
    }

    /// Whether a file of an earlier try is still right: made from the same,
    /// and whole.
    pub fn reuse(&mut self, path: &str, made_from: &str) -> bool {
        let Some((from, hash)) = self.known.get(path) else {
            return false;
        };
        let whole = from == made_from
            && std::fs::read(self.content.join(path)).is_ok_and(|bytes| {
                let right = sha256(&[&bytes]) == *hash;
                self.bytes += if right { bytes.len() as u64 } else { 0 };
                right
            });
        if whole {
            self.reused += 1;
            self.written.insert(path.to_owned());
        }
        whole
    }

    /// Puts a file and notes what it was made from, so that it can be used
    /// again.
    pub fn put_costly(
        &mut self,
        path: &str,
        made_from: &str,
        bytes: &[u8],
    ) -> Result<(), ExportError> {
        let line = format!("{made_from} {} {path}\n", sha256(&[bytes]));
        self.write(path, bytes)
            .and_then(|()| self.ledger.write_all(line.as_bytes()))
            .map_err(|e| ExportError::writing(&self.out, e))
    }

    fn write(&mut self, path: &str, bytes: &[u8]) -> io::Result<()> {
        let target = self.content.join(path);
        if let Some((folder, _)) = path.rsplit_once('/') {
            let folder = self.content.join(folder);
            if !folder.is_dir() {
                new_private_folder(&folder)?;
            }
        }
        let mut file = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(true)
            .mode(0o600)
            .open(&target)?;
        file.write_all(bytes)?;
        self.bytes += bytes.len() as u64;
        self.written.insert(path.to_owned());
        Ok(())
    }

    /// Gives the folder its final name.
    pub fn finish_folder(mut self) -> Result<(), ExportError> {
        self.drop_leftovers()
            .and_then(|()| sync_all_under(&self.content))
            .map_err(|e| ExportError::writing(&self.out, e))?;
        self.rename(CONTENT)
    }

    /// Packs the files into one archive and gives it the final name. `step`
    /// is called before each file and stops the packing with its error. Gives
    /// the archive's bytes.
    pub fn finish_zip(
        mut self,
        step: &mut dyn FnMut(usize) -> Result<(), ExportError>,
    ) -> Result<u64, ExportError> {
        self.drop_leftovers()
            .map_err(|e| ExportError::writing(&self.out, e))?;
        let bytes = self.pack(step)?;
        self.rename(ARCHIVE)?;
        Ok(bytes)
    }

    fn pack(
        &self,
        step: &mut dyn FnMut(usize) -> Result<(), ExportError>,
    ) -> Result<u64, ExportError> {
        let failed = |e: io::Error| ExportError::writing(&self.out, e);
        let of_zip = |e: zip::result::ZipError| match e {
            zip::result::ZipError::Io(e) => ExportError::writing(&self.out, e),
            other => ExportError::Encoding {
                file: self.out.display().to_string(),
                why: other.to_string(),
            },
        };
        let file = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(true)
            .mode(0o600)
            .open(self.part.join(ARCHIVE))
            .map_err(failed)?;
        let mut zip = zip::ZipWriter::new(file);
        // One folder inside, called like the archive, so that unpacking it
        // does not strew files about.
        let stem = self.out.file_stem().unwrap_or_default().to_string_lossy();
        let top = super::dataset::slug(&stem);
        let top = if top.is_empty() {
            "export".to_owned()
        } else {
            top
        };
        for (i, path) in self.written.iter().enumerate() {
            step(i)?;
            let packed = [".mp4", ".png", ".parquet"]
                .iter()
                .any(|e| path.ends_with(e));
            let method = if packed {
                zip::CompressionMethod::Stored
            } else {
                zip::CompressionMethod::Deflated
            };
            // No time of day: the default is the archive format's first day.
            let options = zip::write::SimpleFileOptions::default()
                .compression_method(method)
                .last_modified_time(zip::DateTime::default())
                .unix_permissions(0o600);
            zip.start_file(format!("{top}/{path}"), options)
                .map_err(of_zip)?;
            let bytes = std::fs::read(self.content.join(path)).map_err(failed)?;
            zip.write_all(&bytes).map_err(failed)?;
        }
        let file = zip.finish().map_err(of_zip)?;
        file.sync_all().map_err(failed)?;
        Ok(file.metadata().map_err(failed)?.len())
    }

    fn rename(&mut self, what: &str) -> Result<(), ExportError> {
        let from = self.part.join(what);
        let here = rustix::fs::CWD;
        let done =
            match rustix::fs::renameat_with(here, &from, here, &self.out, RenameFlags::NOREPLACE) {
                // A file system that cannot promise it: look first.
                Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS) => {
                    if self.out.symlink_metadata().is_ok() {
                        Err(rustix::io::Errno::EXIST)
                    } else {
                        rustix::fs::rename(&from, &self.out)
                    }
                }
                done => done,
            };
        match done {
            Ok(()) => {}
            Err(rustix::io::Errno::EXIST | rustix::io::Errno::NOTEMPTY) => {
                return Err(ExportError::Taken {
                    path: self.out.clone(),
                });
            }
            Err(e) => return Err(ExportError::writing(&self.out, e.into())),
        }
        sync_folder_of(&self.out).map_err(|e| ExportError::writing(&self.out, e))
    }

    /// Files of an earlier try that are no part of this one.
    fn drop_leftovers(&self) -> io::Result<()> {
        for (path, is_folder) in tree(&self.content)? {
            let name = path
                .strip_prefix(&self.content)
                .unwrap_or(&path)
                .to_string_lossy()
                .into_owned();
            if !is_folder && !self.written.contains(&name) {
                std::fs::remove_file(&path)?;
            } else if is_folder {
                // Goes only where nothing is left in it.
                let _ = std::fs::remove_dir(&path);
            }
        }
        Ok(())
    }
}

impl Drop for Build {
    /// Also after a fault nothing half done stays behind: these are numbers
    /// and pictures of children.
    fn drop(&mut self) {
        if let Err(e) = std::fs::remove_dir_all(&self.part)
            && e.kind() != io::ErrorKind::NotFound
        {
            tracing::warn!("{} could not be removed: {e}", self.part.display());
        }
    }
}

/// SHA-256 of some parts, each with its length before it.
pub fn sha256(parts: &[&[u8]]) -> Hash {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update((part.len() as u64).to_le_bytes());
        hash.update(part);
    }
    hash.finalize().iter().map(|b| format!("{b:02x}")).collect()
}

fn holds_only_an_empty_ledger(part: &Path) -> bool {
    let empty = std::fs::metadata(part.join(LEDGER)).is_ok_and(|m| m.len() == 0);
    empty
        && std::fs::read_dir(part).is_ok_and(|entries| {
            entries
                .filter_map(Result::ok)
                .all(|e| e.file_name() == LEDGER)
        })
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// Makes a folder that must not be there yet.
fn new_private_folder(path: &Path) -> io::Result<()> {
    DirBuilder::new().mode(0o700).create(path)
}

/// Everything below a folder, deepest first.
fn tree(folder: &Path) -> io::Result<Vec<(PathBuf, bool)>> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        let is_folder = path.symlink_metadata()?.is_dir();
        if is_folder {
            all.extend(tree(&path)?);
        }
        all.push((path, is_folder));
    }
    Ok(all)
}

/// Brings everything of the file system to the disk at once: with hundreds of
/// small files one by one takes minutes on a busy disk.
fn sync_all_under(folder: &Path) -> io::Result<()> {
    rustix::fs::syncfs(File::open(folder)?).map_err(io::Error::from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_folder_is_there_whole_or_not_at_all_and_only_for_its_owner() {
        let dir = tempfile::tempdir().unwrap();
        let out = dir.path().join("after the session");
        let mut build = Build::begin(&out).unwrap();
        build.put("clips/a.mp4", b"clip").unwrap();
        assert_eq!(names(dir.path()), ["after the session.part"]);
        build.finish_folder().unwrap();
        assert_eq!(names(dir.path()), ["after the session"]);
        let mode = |p: &Path| p.metadata().unwrap().permissions().mode() & 0o777;
        assert_eq!(mode(&out), 0o700);
        assert_eq!(mode(&out.join("clips")), 0o700);
        assert_eq!(mode(&out.join("clips/a.mp4")), 0o600);
        // And never over something else.
        assert!(matches!(Build::begin(&out), Err(ExportError::Taken { .. })));
    }

    #[test]
    fn what_was_dropped_leaves_nothing() {
        let dir = tempfile::tempdir().unwrap();
        let mut build = Build::begin(&dir.path().join("x")).unwrap();
        build.put("a/b", b"1").unwrap();
        drop(build);
        assert!(names(dir.path()).is_empty());
    }

    #[test]
    fn after_a_crash_what_is_whole_and_still_right_is_used_again() {
        let dir = tempfile::tempdir().unwrap();
        let out = dir.path().join("x");
        let mut build = Build::begin(&out).unwrap();
        let from = sha256(&[b"strip 1"]);
        for file in ["clips/a", "clips/b", "clips/c"] {
            build.put_costly(file, &from, b"costly").unwrap();
        }
        build.put("old.txt", b"of the first try").unwrap();
        // A crash: no destructor runs, the lock goes with the process.
        let part = build.part.clone();
        let ledger = build.ledger.try_clone().unwrap();
        std::mem::forget(build);
        rustix::fs::flock(&ledger, FlockOperation::Unlock).unwrap();
        drop(ledger);
        std::fs::write(part.join("content/clips/b"), b"cut").unwrap();
        let mut text = std::fs::read_to_string(part.join(LEDGER)).unwrap();
        text.push_str("0123 cut off");
        std::fs::write(part.join(LEDGER), text).unwrap();

        let mut build = Build::begin(&out).unwrap();
        assert!(build.reuse("clips/a", &from));
        assert!(!build.reuse("clips/b", &from), "its bytes are others");
        assert!(
            !build.reuse("clips/c", &sha256(&[b"strip 2"])),
            "made from another"
        );
        build.put_costly("clips/b", &from, b"costly").unwrap();
        build.finish_folder().unwrap();
        assert_eq!(names(&out), ["clips"]);
        assert_eq!(names(&out.join("clips")), ["a", "b"]);
        assert_eq!(names(dir.path()), ["x"]);
    }

    #[test]
    fn two_at_once_and_foreign_folders_are_kept_apart() {
        let dir = tempfile::tempdir().unwrap();
        let out = dir.path().join("x");
        let first = Build::begin(&out).unwrap();
        assert!(matches!(Build::begin(&out), Err(ExportError::Busy { .. })));
        drop(first);
        // What a full disk left is no obstacle; it goes when this is done.
        std::fs::create_dir(dir.path().join("x.part")).unwrap();
        std::fs::write(dir.path().join("x.part").join(LEDGER), b"").unwrap();
        drop(Build::begin(&out).unwrap());
        assert!(names(dir.path()).is_empty());
        std::fs::create_dir(dir.path().join("x.part")).unwrap();
        std::fs::write(dir.path().join("x.part/thesis.txt"), b"mine").unwrap();
        assert!(matches!(
            Build::begin(&out),
            Err(ExportError::InTheWay { .. })
        ));
        assert!(dir.path().join("x.part/thesis.txt").exists());
        let nowhere = dir.path().join("no/x");
        assert!(matches!(
            Build::begin(&nowhere),
            Err(ExportError::NoFolder { .. })
        ));
    }

    #[test]
    fn an_archive_holds_the_files_and_no_time() {
        let dir = tempfile::tempdir().unwrap();
        let out = dir.path().join("Réport 1.zip");
        let mut build = Build::begin(&out).unwrap();
        build.put("clips/a.mp4", &[7; 1000]).unwrap();
        build.put("pushes.csv", &[b'x'; 1000]).unwrap();
        build.finish_zip(&mut |_| Ok(())).unwrap();
        assert_eq!(names(dir.path()), ["Réport 1.zip"]);
        let mut zip = zip::ZipArchive::new(File::open(&out).unwrap()).unwrap();
        let mut clip = zip.by_name("réport-1/clips/a.mp4").unwrap();
        assert_eq!(clip.last_modified().map(|t| t.year()), Some(1980));
        let mut bytes = Vec::new();
        clip.read_to_end(&mut bytes).unwrap();
        assert_eq!(bytes, [7; 1000]);
    }
}
