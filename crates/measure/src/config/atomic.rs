//! Writing a file so that a power cut leaves the old one or the new one,
//! never half of either.

use std::fs::{DirBuilder, File, OpenOptions};
use std::io::{self, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

/// Writes `bytes` to `path` in one step: a temporary file in the same folder,
/// brought to the disk, renamed, and the rename brought to the disk too.
/// `mode` is what a new file may be read by, before the umask: `0o600` for
/// what concerns skaters, `0o644` for what the user asked to have.
///
/// A symbolic link is followed, so that a linked settings file stays a link.
pub fn write_atomically(path: &Path, bytes: &[u8], mode: u32) -> io::Result<()> {
    let target = match path.symlink_metadata() {
        Ok(meta) if meta.is_symlink() => path.canonicalize()?,
        _ => path.to_owned(),
    };
    let temporary = temporary_beside(&target)?;
    let written = write_and_rename(&temporary, &target, bytes, mode);
    if written.is_err() {
        // The first fault is the one to report; a leftover is only untidy.
        let _ = std::fs::remove_file(&temporary);
    }
    written
}

fn write_and_rename(temporary: &Path, target: &Path, bytes: &[u8], mode: u32) -> io::Result<()> {
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(mode)
        .open(temporary)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    drop(file);
    std::fs::rename(temporary, target)?;
    sync_folder_of(target)
}

/// Makes a folder and those above it for their owner alone; one that is there stays as it
/// is.
pub fn private_folder(folder: &Path) -> io::Result<()> {
    DirBuilder::new().recursive(true).mode(0o700).create(folder)
}

/// Brings the entries of the folder that holds `path` to the disk.
pub fn sync_folder_of(path: &Path) -> io::Result<()> {
    File::open(folder_of(path))?.sync_all()
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

fn temporary_beside(target: &Path) -> io::Result<PathBuf> {
    static COUNT: AtomicU64 = AtomicU64::new(0);
    let name = target.file_name().ok_or_else(|| {
        io::Error::new(io::ErrorKind::InvalidInput, "the path does not name a file")
    })?;
    let mut hidden = std::ffi::OsString::from(".");
    hidden.push(name);
    hidden.push(format!(
        ".{}-{}.tmp",
        std::process::id(),
        COUNT.fetch_add(1, Ordering::Relaxed)
    ));
    Ok(folder_of(target).join(hidden))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn replaces_the_content_and_leaves_nothing_beside_it() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.toml");
        write_atomically(&path, b"one", 0o600).unwrap();
        write_atomically(&path, b"two", 0o600).unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"two");
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
        let mode = std::fs::metadata(&path).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
    }

    #[test]
    fn a_failure_leaves_the_old_file_and_no_leftover() {
        let dir = tempfile::tempdir().unwrap();
        // A folder in the place of the file: the rename fails, also for root.
        let path = dir.path().join("taken");
        std::fs::create_dir(&path).unwrap();
        assert!(write_atomically(&path, b"x", 0o600).is_err());
        assert!(path.is_dir());
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_link_stays_a_link() {
        let dir = tempfile::tempdir().unwrap();
        let real = dir.path().join("real.toml");
        let link = dir.path().join("link.toml");
        std::fs::write(&real, "old").unwrap();
        std::os::unix::fs::symlink(&real, &link).unwrap();
        write_atomically(&link, b"new", 0o644).unwrap();
        assert!(link.symlink_metadata().unwrap().is_symlink());
        assert_eq!(std::fs::read(&real).unwrap(), b"new");
    }
}
