//! The panel without mouse and finger.

use egui::Key;
use kickplate::panel::{Command, PageId, PanelSettings, PanelSetup, QueueStep};
use kickplate::roster::SkaterId;

use super::{Coach, FULL_HD, rich};
use crate::coach_common::pass_key;

#[test]
fn digits_open_pages_and_f1_the_help() {
    let mut coach = Coach::at(PageId::Now, rich());
    for (key, page) in [
        (Key::Num2, PageId::SetUp),
        (Key::Num3, PageId::Limits),
        (Key::Num4, PageId::Skaters),
        (Key::Num5, PageId::Passes),
        (Key::Num6, PageId::Progress),
        (Key::Num7, PageId::Privacy),
        (Key::Num8, PageId::Help),
        (Key::Num1, PageId::Now),
        (Key::F1, PageId::Help),
    ] {
        coach.key(key);
        assert_eq!(coach.h.state().state.page, page);
    }
    assert!(coach.shows("Eyes up while skating."));
    assert!(coach.shows("On any sign or suspicion of a head injury"));
    assert!(coach.shows("W: the last pass was somebody else."));
}

/// Every key of the page is reached by Tab, in the order of reading, and
/// pressed by Enter.
#[test]
fn tab_goes_through_everything_and_enter_presses() {
    let mut coach = Coach::at(PageId::Now, rich());
    let mut seen = vec![];
    for _ in 0..40 {
        coach.key(Key::Tab);
        let focused = [
            "Now",
            "Help",
            "Lock",
            "Skip",
            "Swap with next",
            "Choose",
            "Agree: Knee bend",
            "That was somebody else",
            "Show me",
        ]
        .into_iter()
        .find(|name| coach.find(name).is_some_and(|n| n.is_focused()));
        seen.extend(focused.filter(|n| !seen.contains(n)));
    }
    assert_eq!(
        seen,
        [
            "Now",
            "Help",
            "Lock",
            "Skip",
            "Swap with next",
            "Choose",
            "Agree: Knee bend",
            "That was somebody else",
            "Show me"
        ]
    );
    coach.thing("Swap with next").focus();
    coach.h.run();
    coach.taken();
    coach.key(Key::Enter);
    assert_eq!(coach.taken(), [Command::Queue(QueueStep::Swap)]);
}

#[test]
fn arrows_go_to_the_neighbour() {
    let mut coach = Coach::at(PageId::Now, rich());
    coach.thing("Skip").focus();
    coach.h.run();
    coach.key(Key::ArrowRight);
    assert!(coach.thing("Swap with next").is_focused());
    coach.key(Key::ArrowDown);
    assert!(coach.thing("Undo").is_focused());
}

#[test]
fn a_presenter_moves_and_presses() {
    let mut coach = Coach::at(PageId::Now, rich());
    coach.thing("Skip").focus();
    coach.h.run();
    coach.key(Key::PageDown);
    assert!(coach.thing("Swap with next").is_focused());
    coach.key(Key::PageUp);
    assert!(coach.thing("Skip").is_focused());
    coach.taken();
    coach.key(Key::F5);
    assert_eq!(coach.taken(), [Command::Queue(QueueStep::Skip)]);
    coach.key(Key::B);
    assert_eq!(coach.taken(), [Command::ShowMe]);
    coach.key(Key::W);
    assert!(coach.shows("Who was pass 12?"));
    coach.key(Key::Escape);
    assert!(!coach.shows("Who was pass 12?"));
    assert_eq!(coach.taken(), []);
}

#[test]
fn the_key_of_the_pedal_is_a_setting() {
    let setup = PanelSetup {
        settings: PanelSettings {
            wrong_skater_key: Key::F8,
            ..PanelSettings::default()
        },
        ..PanelSetup::default()
    };
    let mut coach = Coach::with(PageId::Now, rich(), setup, FULL_HD);
    coach.key(Key::W);
    assert!(!coach.shows("Who was pass 12?"));
    coach.key(Key::F8);
    assert_eq!(
        coach.gives("7 Sascha"),
        [Command::SetSkaterOfPass(pass_key(12), Some(SkaterId(2)))]
    );
}

/// Letters belong to the text while somebody writes.
#[test]
fn writing_presses_nothing() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("Add");
    coach.taken();
    coach.write("Name, nickname or number", "b");
    for key in [Key::B, Key::W, Key::Num2] {
        coach.key(key);
    }
    assert_eq!(coach.taken(), []);
    assert_eq!(coach.h.state().state.page, PageId::Skaters);
}
