//! Choosing files and folders without typing.

use std::path::PathBuf;
use std::sync::Arc;

use egui::Key;
use kickplate::panel::{Command, FileKind, FolderEntry, FolderView, PageId};

use super::{Coach, rich};
use crate::coach_common::places;

fn look(folder: Option<&str>, kind: FileKind) -> Command {
    Command::LookIntoFolder {
        folder: folder.map(PathBuf::from),
        kind,
    }
}

fn entry(path: &str, is_folder: bool) -> FolderEntry {
    let path = PathBuf::from(path);
    FolderEntry {
        name: path.file_name().unwrap().to_str().unwrap().to_owned(),
        path,
        is_folder,
    }
}

fn stick(kind: FileKind) -> FolderView {
    let mut entries = vec![
        entry("/media/coach/STICK/teams", true),
        entry("/media/coach/STICK/u13.csv", false),
    ];
    entries.retain(|e| e.is_folder || kind == FileKind::Roster);
    FolderView {
        folder: Some(PathBuf::from("/media/coach/STICK")),
        kind,
        entries,
        ..FolderView::default()
    }
}

fn finds(coach: &mut Coach, view: FolderView) {
    coach.change(|v| v.folder = Some(Arc::new(view)));
}

#[test]
fn a_roster_file_is_found_on_a_stick_with_presses_alone() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("Files");
    assert_eq!(
        coach.gives("Choose the file"),
        [look(None, FileKind::Roster)]
    );
    assert!(coach.shows("Looking."));
    finds(&mut coach, places());
    assert!(coach.find("Home folder").is_some() && coach.find("Recordings").is_some());
    assert_eq!(
        coach.gives("Drive STICK"),
        [look(Some("/media/coach/STICK"), FileKind::Roster)]
    );
    // What was found before is not taken for what is looked for.
    assert!(coach.find("Home folder").is_none() && coach.shows("Looking."));
    finds(&mut coach, stick(FileKind::Roster));
    assert_eq!(
        coach.gives("Folder: teams"),
        [look(Some("/media/coach/STICK/teams"), FileKind::Roster)]
    );
    finds(
        &mut coach,
        FolderView {
            folder: Some(PathBuf::from("/media/coach/STICK/teams")),
            kind: FileKind::Roster,
            ..FolderView::default()
        },
    );
    assert!(coach.shows("No file of this kind and no folder is here."));
    assert_eq!(
        coach.gives("One folder up"),
        [look(Some("/media/coach/STICK"), FileKind::Roster)]
    );
    finds(&mut coach, stick(FileKind::Roster));
    assert_eq!(coach.gives("u13.csv"), []);
    let path = PathBuf::from("/media/coach/STICK/u13.csv");
    assert_eq!(
        coach.gives("Read it"),
        [Command::ImportRoster { path, sure: false }]
    );
    // What was chosen to be read is not where it is written.
    let path = PathBuf::from("./roster-2026-11-25.csv");
    assert_eq!(
        coach.gives("Write it"),
        [Command::ExportRoster { path, sure: false }]
    );
}

#[test]
fn a_folder_takes_the_name_of_the_file_into_it() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("Files");
    coach.write("File to write", "team-a.csv");
    coach.press("Choose where it goes");
    finds(&mut coach, places());
    assert!(coach.find("Use this folder").is_none());
    coach.press("Drive STICK");
    assert!(coach.find("Use this folder").is_none(), "not read yet");
    finds(&mut coach, stick(FileKind::Roster));
    coach.press("Use this folder");
    assert_eq!(
        coach.gives("Write it"),
        [Command::ExportRoster {
            path: PathBuf::from("/media/coach/STICK/team-a.csv"),
            sure: false
        }]
    );
}

#[test]
fn the_folder_of_an_export_and_the_place_of_a_backup_are_chosen() {
    let mut coach = Coach::at(PageId::Privacy, rich());
    coach.press("Export, backup");
    coach.press("Choose the folder");
    let of_kind = |kind| FolderView { kind, ..places() };
    finds(&mut coach, of_kind(FileKind::Folders));
    coach.press("Drive STICK");
    finds(&mut coach, stick(FileKind::Folders));
    assert!(coach.find("u13.csv").is_none());
    coach.press("Use this folder");
    let given = coach.gives("Export");
    let [Command::Export(order)] = &given[..] else {
        panic!("{given:?}");
    };
    assert_eq!(order.into, PathBuf::from("/media/coach/STICK"));

    coach.press("Choose where");
    finds(&mut coach, of_kind(FileKind::Backup));
    coach.press("Drive STICK");
    finds(&mut coach, stick(FileKind::Backup));
    coach.press("Use this folder");
    assert_eq!(
        coach.gives("Back up"),
        [Command::BackUp {
            path: PathBuf::from("/media/coach/STICK/kickplate-backup.zip"),
            sure: false
        }]
    );
}

#[test]
fn a_folder_that_cannot_be_read_says_why_and_lets_go_back() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("Files");
    coach.press("Choose the file");
    finds(&mut coach, places());
    coach.press("Drive STICK");
    finds(
        &mut coach,
        FolderView {
            fault: Some("The drive does not answer.".to_owned()),
            entries: vec![],
            ..stick(FileKind::Roster)
        },
    );
    assert!(coach.shows("The drive does not answer."));
    assert!(coach.find("Use this folder").is_none());
    assert_eq!(coach.gives("Places"), [look(None, FileKind::Roster)]);
    coach.press("Cancel");
    assert!(coach.find("Read it").is_some());
}

#[test]
fn a_long_folder_has_leaves_and_says_what_is_missing() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("Files");
    coach.press("Choose the file");
    finds(&mut coach, places());
    coach.press("Drive STICK");
    let name = |n| format!("/media/coach/STICK/team {n:02}.csv");
    finds(
        &mut coach,
        FolderView {
            entries: (0..30).map(|n| entry(&name(n), false)).collect(),
            cut: true,
            ..stick(FileKind::Roster)
        },
    );
    assert!(coach.shows("There is more here than is listed."));
    assert!(coach.find("team 11.csv").is_some() && coach.find("team 12.csv").is_none());
    coach.press("Next page");
    assert!(coach.find("team 12.csv").is_some());
}

#[test]
fn the_choice_is_made_by_the_keyboard_and_left_by_escape() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("Files");
    coach.press("Choose the file");
    finds(&mut coach, places());
    coach.thing("Drive STICK").focus();
    coach.h.run();
    coach.taken();
    coach.key(Key::Enter);
    assert_eq!(
        coach.taken(),
        [look(Some("/media/coach/STICK"), FileKind::Roster)]
    );
    coach.key(Key::Escape);
    assert!(coach.find("Read it").is_some() && !coach.shows("Looking."));
}
