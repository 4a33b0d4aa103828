//! Choosing a file or a folder, over the whole page.

use std::path::{Path, PathBuf};

use egui::Ui;

use super::Desk;
use crate::panel::model::{Command, FileKind, FolderView, Place};
use crate::panel::widgets::{Press, Voice, grid, pager, plain_card, say};

/// Folders and files on one leaf.
const PER_LEAF: usize = 12;

/// What a file or folder is chosen for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::panel) enum FileFor {
    /// The roster file, to read or to write.
    Roster,
    /// The folder of an export.
    Export,
    /// The file of a backup.
    Backup,
}

impl FileFor {
    fn kind(self) -> FileKind {
        match self {
            FileFor::Roster => FileKind::Roster,
            FileFor::Export => FileKind::Folders,
            FileFor::Backup => FileKind::Backup,
        }
    }

    fn title(self) -> &'static str {
        match self {
            FileFor::Roster => "files.roster",
            FileFor::Export => "files.export",
            FileFor::Backup => "files.backup",
        }
    }
}

/// A choice that is open.
pub(in crate::panel) struct FileChoice {
    pub(in crate::panel) purpose: FileFor,
    /// The folder that is looked into; the places where `None`.
    folder: Option<PathBuf>,
    leaf: usize,
}

/// How a choice ended.
pub(in crate::panel) enum FileChosen {
    Nothing,
    File(PathBuf),
    Folder(PathBuf),
}

impl FileChoice {
    /// Begins with the places.
    pub(in crate::panel) fn open(d: &mut Desk<'_>, purpose: FileFor) -> Self {
        let mut choice = FileChoice {
            purpose,
            folder: None,
            leaf: 0,
        };
        choice.look(d, None);
        choice
    }

    /// A roster file in this folder, which was asked for already.
    pub(in crate::panel) fn of_roster(folder: Option<PathBuf>) -> Self {
        FileChoice {
            purpose: FileFor::Roster,
            folder,
            leaf: 0,
        }
    }

    fn look(&mut self, d: &mut Desk<'_>, folder: Option<PathBuf>) {
        self.folder.clone_from(&folder);
        self.leaf = 0;
        d.send(Command::LookIntoFolder {
            folder,
            kind: self.purpose.kind(),
        });
    }

    /// What was found there, once it was.
    fn found<'v>(&self, d: &Desk<'v>) -> Option<&'v FolderView> {
        let view = d.view.folder.as_deref()?;
        let asked = view.folder == self.folder && view.kind == self.purpose.kind();
        (asked && !view.looking).then_some(view)
    }
}

/// Draws the choice; `Some` when it ended.
pub(in crate::panel) fn show(
    ui: &mut Ui,
    d: &mut Desk<'_>,
    choice: &mut FileChoice,
) -> Option<FileChosen> {
    let s = d.s;
    say(ui, s, Voice::Title, d.w.get(choice.purpose.title()));
    let found = choice.found(d);
    let readable = found.is_some_and(|f| f.fault.is_none());
    let up = choice.folder.as_deref().and_then(Path::parent);
    let keys = vec![
        Press::new(d.w.get("list.cancel")).large(),
        Press::new(d.w.get("files.places"))
            .large()
            .enabled(choice.folder.is_some()),
        Press::new(d.w.get("files.up"))
            .large()
            .enabled(up.is_some()),
        Press::new(d.w.get("files.this_folder"))
            .main()
            .large()
            .enabled(choice.folder.is_some() && readable),
    ];
    let pressed = grid(ui, s, 4, keys);
    match (pressed, &choice.folder) {
        (Some(0), _) => return Some(FileChosen::Nothing),
        (Some(1), _) => choice.look(d, None),
        (Some(2), _) => {
            let up = up.map(Path::to_owned);
            choice.look(d, up);
        }
        (Some(_), Some(folder)) => return Some(FileChosen::Folder(folder.clone())),
        _ => {}
    }
    if pressed.is_some() {
        return None;
    }
    match &choice.folder {
        Some(folder) => say(ui, s, Voice::Head, &folder.display().to_string()),
        None => say(ui, s, Voice::Head, d.w.get("files.places")),
    };
    let Some(found) = found else {
        say(ui, s, Voice::Body, d.w.get("files.looking"));
        return None;
    };
    if let Some(fault) = &found.fault {
        plain_card(ui, s, s.c.warning, |ui| say(ui, s, Voice::Body, fault));
        return None;
    }
    if choice.folder.is_none() {
        places(ui, d, choice, found);
        return None;
    }
    entries(ui, d, choice, found)
}

fn places(ui: &mut Ui, d: &mut Desk<'_>, choice: &mut FileChoice, found: &FolderView) {
    let s = d.s;
    let words: Vec<String> = found
        .places
        .iter()
        .map(|place| match place {
            Place::Drive(path) => {
                let name = path.file_name().unwrap_or_default().to_string_lossy();
                d.w.say("files.drive", &[("name", &name)])
            }
            Place::Home(_) => d.w.get("files.home").to_owned(),
            Place::Recordings(_) => d.w.get("files.recordings").to_owned(),
        })
        .collect();
    let keys = words.iter().map(|w| Press::new(w).large().left()).collect();
    if let Some(index) = grid(ui, s, 2, keys) {
        let path = found.places[index].path().to_owned();
        choice.look(d, Some(path));
    }
    let drive = |place: &Place| matches!(place, Place::Drive(_));
    if !found.places.iter().any(drive) {
        say(ui, s, Voice::Quiet, d.w.get("files.no_drive"));
        if Press::new(d.w.get("files.again")).show(ui, s) {
            choice.look(d, None);
        }
    }
}

fn entries(
    ui: &mut Ui,
    d: &mut Desk<'_>,
    choice: &mut FileChoice,
    found: &FolderView,
) -> Option<FileChosen> {
    let s = d.s;
    if found.entries.is_empty() {
        let key = match choice.purpose {
            FileFor::Export => "files.no_folder",
            FileFor::Roster | FileFor::Backup => "files.nothing",
        };
        say(ui, s, Voice::Body, d.w.get(key));
    }
    if found.cut {
        say(ui, s, Voice::Body, d.w.get("files.cut"));
    }
    let count = found.entries.len();
    let range = pager(ui, s, d.w, count, PER_LEAF, &mut choice.leaf);
    let shown = &found.entries[range];
    let words: Vec<String> = shown
        .iter()
        .map(|entry| {
            let key = if entry.is_folder {
                "files.folder"
            } else {
                "files.file"
            };
            d.w.say(key, &[("name", &entry.name)])
        })
        .collect();
    let keys = words.iter().map(|w| Press::new(w).large().left()).collect();
    let entry = &shown[grid(ui, s, 2, keys)?];
    if entry.is_folder {
        choice.look(d, Some(entry.path.clone()));
        return None;
    }
    Some(FileChosen::File(entry.path.clone()))
}

/// The path in a field after a choice: a folder keeps the file's name.
pub(in crate::panel) fn path_after(
    before: &str,
    chosen: &FileChosen,
    usual: &str,
) -> Option<String> {
    let path = match chosen {
        FileChosen::Nothing => return None,
        FileChosen::File(path) => path.clone(),
        FileChosen::Folder(folder) => {
            let name = Path::new(before.trim()).file_name();
            folder.join(name.unwrap_or(usual.as_ref()))
        }
    };
    Some(path.display().to_string())
}
