//! What is kept, the PIN, exports.

use std::path::PathBuf;

use egui::Key;
use kickplate::panel::{Command, ExportOrder, ExportState, ExportWhat, PageId, PinState, WouldGo};
use kickplate::roster::SkaterId;

use super::{Coach, rich};

#[test]
fn what_is_kept_is_switched_and_bounded() {
    let mut coach = Coach::at(PageId::Privacy, rich());
    assert!(coach.shows("pushes with pictures: 318, 1.4 GB, the oldest of 2026-09-02"));
    assert_eq!(
        coach.gives("Keep pictures of those who consented"),
        [Command::KeepPictures(false)]
    );
    assert_eq!(
        coach.gives("Blur faces in kept pictures"),
        [Command::BlurStoredFaces(false)]
    );
    let bound = |keep_days, keep_gb| Command::SetRetention { keep_days, keep_gb };
    assert_eq!(coach.gives("Days: less"), [bound(Some(80), Some(20.0))]);
    assert_eq!(coach.gives("Size: more"), [bound(Some(90), Some(21.0))]);
    assert_eq!(
        coach.gives("Delete after some days"),
        [bound(None, Some(20.0))]
    );
    assert_eq!(
        coach.gives("Delete the oldest beyond a size"),
        [bound(Some(90), None)]
    );
}

#[test]
fn measures_are_deleted_by_age_only_after_it_was_said_how_many() {
    let mut coach = Coach::at(PageId::Privacy, rich());
    assert!(coach.shows("On the disk, passes: 4210, sessions: 61, the oldest of 2024-10-05."));
    assert_eq!(
        coach.gives("Delete it after some days too"),
        [Command::PreviewMeasures(730)]
    );
    assert!(coach.shows("Looking how much that is."));
    assert!(coach.find("Delete after 730 days").is_none());
    assert_eq!(
        coach.gives("Days for what was measured: less"),
        [Command::PreviewMeasures(720)]
    );
    // An answer to the question before is none.
    let went = |days| {
        Some(WouldGo {
            days,
            passes: 310,
            sessions: 4,
        })
    };
    coach.change(|v| v.privacy.would_go = went(730));
    assert!(coach.shows("Looking how much that is."));
    coach.change(|v| v.privacy.would_go = went(720));
    assert!(
        coach.shows("Kept for 720 days, this goes at once and for good: passes 310, sessions 4")
    );
    assert_eq!(
        coach.gives("Delete after 720 days"),
        [Command::KeepMeasures(Some(720))]
    );
    coach.change(|v| (v.privacy.keep_measures_days, v.privacy.would_go) = (Some(720), None));
    assert!(!coach.shows("this goes at once"));
    // Another number begins anew, and can be let go.
    coach.press("Days for what was measured: less");
    coach.change(|v| v.privacy.would_go = went(710));
    assert_eq!(coach.gives("Cancel"), []);
    assert!(!coach.shows("this goes at once"));
    assert_eq!(
        coach.gives("Delete it after some days too"),
        [Command::KeepMeasures(None)]
    );
}

#[test]
fn a_pin_is_set_twice_alike_and_taken_off() {
    let mut coach = Coach::at(PageId::Privacy, rich());
    coach.write("New PIN", "12a3");
    assert!(coach.shows("At least four digits."));
    coach.write("New PIN", "1234");
    coach.write("Once more", "1243");
    assert!(coach.shows("The two are not the same."));
    assert!(coach.find("Set PIN").is_none());
    coach.write("Once more", "1234");
    assert_eq!(
        coach.gives("Set PIN"),
        [Command::SetPin(Some("1234".to_owned()))]
    );
    assert_eq!(coach.gives("No PIN"), [Command::SetPin(None)]);
    assert_eq!(coach.gives("Lock"), [Command::Lock]);
}

#[test]
fn without_a_pin_there_is_nothing_to_lock() {
    let mut view = rich();
    view.pin = PinState::NotSet;
    let coach = Coach::at(PageId::Privacy, view);
    assert!(coach.find("Lock").is_none());
    assert!(coach.shows("everybody beside the panel can change everything"));
}

#[test]
fn a_locked_panel_shows_digits_and_nothing_of_anybody() {
    let mut view = rich();
    view.pin = PinState::Locked;
    let mut coach = Coach::at(PageId::Now, view);
    for hidden in ["Alexis", "Kim", "Ride low"] {
        assert!(!coach.shows(hidden), "{hidden}");
    }
    assert!(coach.find("Skip").is_none() && coach.find("Limits").is_none());
    for digit in ["1", "2", "9", "9"] {
        coach.press(digit);
    }
    coach.press("Erase");
    coach.press("4");
    assert_eq!(coach.gives("Open"), [Command::Unlock("1294".to_owned())]);
    // By the keyboard too; the keys of the pages do nothing here.
    for key in [Key::Num3, Key::Num4, Key::Num5, Key::Num6, Key::B, Key::W] {
        coach.key(key);
    }
    assert_eq!(coach.gives("Open"), [Command::Unlock("3456".to_owned())]);
}

#[test]
fn an_export_is_ordered_followed_and_stopped() {
    let mut coach = Coach::at(PageId::Privacy, rich());
    coach.press("Export, backup");
    coach.press("Skater: Everybody");
    coach.press("13 Alexis");
    coach.press("Only pushes with a flag");
    coach.press("One zip file");
    coach.write("Folder for the export", "/media/stick");
    let order = ExportOrder {
        what: ExportWhat::Tonight,
        skater: Some(SkaterId(4)),
        flagged_only: true,
        anonymous: true,
        zip: true,
        into: PathBuf::from("/media/stick"),
    };
    assert_eq!(coach.gives("Export"), [Command::Export(order.clone())]);
    coach.press("Everything");
    coach.press("Numbers in place of names");
    assert_eq!(
        coach.gives("Export"),
        [Command::Export(ExportOrder {
            what: ExportWhat::All,
            anonymous: false,
            ..order
        })]
    );
    assert!(coach.find("Stop").is_none());
    coach.change(|v| {
        v.export = Some(ExportState {
            done: 0.42,
            sentence: "Pass 5 of 12.".to_owned(),
            running: true,
        });
    });
    assert!(coach.shows("42 %: Pass 5 of 12."));
    assert!(coach.find("Export").is_none());
    assert_eq!(coach.gives("Stop"), [Command::CancelExport]);
}

#[test]
fn everything_is_backed_up_into_one_file() {
    let mut coach = Coach::at(PageId::Privacy, rich());
    coach.press("Export, backup");
    coach.write("File for the backup", "/media/stick/all.zip");
    assert_eq!(
        coach.gives("Back up"),
        [Command::BackUp {
            path: PathBuf::from("/media/stick/all.zip"),
            sure: false
        }]
    );
}

/// The lock page has no status line: it says itself what a PIN came to.
#[test]
fn a_wrong_pin_is_told_where_it_was_typed() {
    let mut view = rich();
    view.pin = PinState::Locked;
    let mut coach = Coach::at(PageId::Now, view);
    assert!(!coach.shows("Not done"));
    coach.change(|v| {
        v.answer = Some(kickplate::panel::Answer {
            number: 3,
            sentence: "this is not the PIN".to_owned(),
            done: false,
        });
    });
    assert!(coach.shows("Not done: this is not the PIN"));
}
