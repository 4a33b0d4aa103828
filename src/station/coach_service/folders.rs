//! What lies in a folder, for the choice of a file: listed on a thread of its
//! own, with a bound on entries and on time, because a drive may hang.

use std::ffi::OsString;
use std::os::unix::ffi::OsStringExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, TryRecvError, bounded};

use super::{Done, Service, said};
use crate::panel::{FileKind, FolderEntry, FolderView, Message, Place};

/// Entries that are listed; who has more types the name.
const MOST_ENTRIES: usize = 400;
/// Entries that are looked at for them.
const MOST_SEEN: usize = 20_000;
/// How long a listing looks.
const LOOKS_FOR: Duration = Duration::from_secs(2);
/// A folder that has not answered by then is given up.
const PATIENCE: Duration = Duration::from_secs(4);
/// Listings of drives that hang, at most; each keeps a thread.
const MOST_HANGING: usize = 4;
/// How often plugged drives are looked for.
const LOOK_FOR_DRIVES_EVERY: Duration = Duration::from_secs(3);
/// Where the system puts drives that are plugged in.
const DRIVES: [&str; 2] = ["/media", "/run/media"];

/// What was found in a folder.
#[derive(Debug, Default, PartialEq)]
struct Listed {
    entries: Vec<FolderEntry>,
    /// Whether there is more.
    cut: bool,
}

/// A listing that is going on.
struct Looking {
    since: Instant,
    answer: Receiver<Result<Listed, String>>,
}

/// The listing that is waited for, and those that were given up.
#[derive(Default)]
pub(super) struct Lookings {
    current: Option<Looking>,
    given_up: Vec<Receiver<Result<Listed, String>>>,
}

impl Lookings {
    /// The current one is not waited for any longer.
    fn let_go(&mut self) {
        self.given_up.extend(self.current.take().map(|l| l.answer));
        self.given_up
            .retain(|answer| matches!(answer.try_recv(), Err(TryRecvError::Empty)));
    }
}

impl Service {
    pub(super) fn look_into_folder(&mut self, folder: Option<PathBuf>, kind: FileKind) -> Done {
        self.folders.let_go();
        let mut view = FolderView {
            folder: folder.clone(),
            kind,
            ..FolderView::default()
        };
        let Some(folder) = folder else {
            view.places = self.places();
            self.view.folder = Some(Arc::new(view));
            return Ok(Message::Places {});
        };
        if self.folders.given_up.len() >= MOST_HANGING {
            return Err(said(Message::FolderSilent { folder }));
        }
        let (tell, answer) = bounded(1);
        let looked_into = folder.clone();
        std::thread::Builder::new()
            .name("folder".into())
            .spawn(move || {
                let until = Instant::now() + LOOKS_FOR;
                // Nobody may be waiting any more.
                let _ = tell.send(list(&looked_into, kind, until).map_err(|e| e.to_string()));
            })
            .map_err(|e| {
                said(Message::NotRead {
                    file: folder.clone(),
                    why: e.to_string(),
                })
            })?;
        self.folders.current = Some(Looking {
            since: Instant::now(),
            answer,
        });
        view.looking = true;
        self.view.folder = Some(Arc::new(view));
        Ok(Message::FolderLooked { folder })
    }

    /// Notes the first drive that is plugged in, every few seconds.
    pub(super) fn look_for_drives(&mut self) {
        if self
            .drives_at
            .is_some_and(|at| at.elapsed() < LOOK_FOR_DRIVES_EVERY)
        {
            return;
        }
        self.drives_at = Some(Instant::now());
        self.view.drive = self.places().into_iter().find_map(|place| match place {
            Place::Drive(path) => Some(path),
            _ => None,
        });
    }

    /// Takes what was found in the folder, once it has.
    pub(super) fn take_folder(&mut self) {
        let (Some(looking), Some(view)) = (&self.folders.current, &self.view.folder) else {
            return;
        };
        let folder = view.folder.clone().unwrap_or_default();
        let fault = match looking.answer.try_recv() {
            Ok(Ok(found)) => {
                let mut view = FolderView::clone(view);
                (view.entries, view.cut, view.looking) = (found.entries, found.cut, false);
                self.folders.current = None;
                self.view.folder = Some(Arc::new(view));
                return;
            }
            Ok(Err(why)) => Message::NotRead { file: folder, why },
            Err(TryRecvError::Empty) if looking.since.elapsed() < PATIENCE => return,
            Err(_) => Message::FolderSilent { folder },
        };
        let mut view = FolderView::clone(view);
        (view.fault, view.looking) = (Some(fault.say(&self.words)), false);
        self.view.folder = Some(Arc::new(view));
        self.folders.let_go();
    }

    /// Where a coach's files may be: drives first.
    fn places(&self) -> Vec<Place> {
        // The kernel's list: no drive is touched for it.
        let mounts = std::fs::read("/proc/self/mounts").unwrap_or_default();
        let mut places: Vec<Place> = drives_of(&mounts).into_iter().map(Place::Drive).collect();
        let home = std::env::var_os("HOME").map(PathBuf::from);
        places.extend(home.filter(|h| h.is_absolute()).map(Place::Home));
        let recordings = std::path::absolute(&self.folder).unwrap_or(self.folder.clone());
        places.push(Place::Recordings(recordings));
        places
    }
}

/// The folders and the files of the wanted kind in a folder, by name; hidden
/// ones and names that are no text are left out.
fn list(folder: &Path, kind: FileKind, until: Instant) -> std::io::Result<Listed> {
    let mut listed = Listed::default();
    for (seen, entry) in std::fs::read_dir(folder)?.enumerate() {
        if seen >= MOST_SEEN || Instant::now() >= until {
            listed.cut = true;
            break;
        }
        let Ok(entry) = entry else {
            continue;
        };
        let Ok(name) = entry.file_name().into_string() else {
            continue;
        };
        if name.starts_with('.') {
            continue;
        }
        let path = entry.path();
        // Follows links.
        let Ok(meta) = std::fs::metadata(&path) else {
            continue;
        };
        if meta.is_dir() || (meta.is_file() && kind.takes(&name)) {
            listed.entries.push(FolderEntry {
                name,
                path,
                is_folder: meta.is_dir(),
            });
        }
    }
    listed
        .entries
        .sort_by_key(|e| (!e.is_folder, e.name.to_lowercase(), e.name.clone()));
    listed.cut |= listed.entries.len() > MOST_ENTRIES;
    listed.entries.truncate(MOST_ENTRIES);
    Ok(listed)
}

/// The mount points of plugged-in drives in the kernel's list, as
/// proc_pid_mounts(5) and fstab(5) describe it: one line a mount, the second
/// field its place, with blanks, tabs, line ends and backslashes in octal.
fn drives_of(mounts: &[u8]) -> Vec<PathBuf> {
    let mut drives: Vec<PathBuf> = mounts
        .split(|b| *b == b'\n')
        .filter_map(|line| line.split(|b| *b == b' ').nth(1))
        .map(|field| PathBuf::from(OsString::from_vec(unescaped(field))))
        .filter(|place| {
            DRIVES
                .iter()
                .any(|d| place.starts_with(d) && place != Path::new(d))
        })
        .filter(|place| place.to_str().is_some())
        .collect();
    drives.sort();
    drives.dedup();
    drives
}

fn unescaped(field: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(field.len());
    let mut rest = field;
    while let Some((&first, after)) = rest.split_first() {
        let octal = (first == b'\\').then(|| after.first_chunk::<3>()).flatten();
        let value = octal.and_then(|digits| {
            let text = std::str::from_utf8(digits).ok()?;
            u8::from_str_radix(text, 8).ok()
        });
        match value {
            Some(value) => {
                out.push(value);
                rest = &after[3..];
            }
            None => {
                out.push(first);
                rest = after;
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn far() -> Instant {
        Instant::now() + Duration::from_secs(60)
    }

    fn names(listed: &Listed) -> Vec<&str> {
        listed.entries.iter().map(|e| e.name.as_str()).collect()
    }

    #[test]
    fn folders_come_first_and_only_files_of_the_kind() {
        let dir = tempfile::tempdir().unwrap();
        for name in [
            "b.csv",
            "A.CSV",
            "team.tsv",
            "photo.jpg",
            ".hidden.csv",
            "all.zip",
        ] {
            std::fs::write(dir.path().join(name), "").unwrap();
        }
        for name in ["zeta", "Alpha", ".cache"] {
            std::fs::create_dir(dir.path().join(name)).unwrap();
        }
        std::os::unix::fs::symlink(dir.path().join("zeta"), dir.path().join("link")).unwrap();
        std::os::unix::fs::symlink("nowhere", dir.path().join("dead.csv")).unwrap();
        let of = |kind| list(dir.path(), kind, far()).unwrap();
        let roster = of(FileKind::Roster);
        assert_eq!(
            names(&roster),
            ["Alpha", "link", "zeta", "A.CSV", "b.csv", "team.tsv"]
        );
        assert!(!roster.cut && roster.entries[1].is_folder);
        assert_eq!(names(&of(FileKind::Backup))[3..], ["all.zip"]);
        assert_eq!(names(&of(FileKind::Folders)), ["Alpha", "link", "zeta"]);
        assert!(list(&dir.path().join("none"), FileKind::Roster, far()).is_err());
    }

    #[test]
    fn a_listing_is_bounded_in_entries_and_in_time() {
        let dir = tempfile::tempdir().unwrap();
        for n in 0..MOST_ENTRIES + 5 {
            std::fs::write(dir.path().join(format!("{n:04}.csv")), "").unwrap();
        }
        let listed = list(dir.path(), FileKind::Roster, far()).unwrap();
        assert_eq!((listed.entries.len(), listed.cut), (MOST_ENTRIES, true));
        let late = list(dir.path(), FileKind::Roster, Instant::now()).unwrap();
        assert_eq!((late.entries.len(), late.cut), (0, true));
    }

    /// Lines as the manual page has them.
    #[test]
    fn plugged_in_drives_are_found_in_the_kernels_list() {
        let mounts = b"proc /proc proc rw 0 0\n\
            /dev/sda2 / ext4 rw 0 0\n\
            /dev/sdb1 /media/coach/TEAM\\040STICK vfat rw 0 0\n\
            /dev/sdc1 /run/media/coach/back\\134slash ext4 rw 0 0\n\
            tmpfs /media tmpfs rw 0 0\n\
            /dev/sdd1 /mediatheque/x ext4 rw 0 0\n\
            broken\n";
        let drives = drives_of(mounts);
        let drives: Vec<&str> = drives.iter().map(|d| d.to_str().unwrap()).collect();
        assert_eq!(
            drives,
            ["/media/coach/TEAM STICK", "/run/media/coach/back\\slash"]
        );
        assert!(drives_of(b"").is_empty());
    }
}
