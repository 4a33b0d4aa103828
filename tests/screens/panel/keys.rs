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
    // From nowhere the first step is the page's main key.
    coach.key(Key::Tab);
    assert!(coach.thing("Skip").is_focused());
    coach.thing("Now").focus();
    coach.h.run();
    seen.push("Now");
    for _ in 0..60 {
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
            "More",
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
            "Agree: Knee bend",
            "Skip",
            "Swap with next",
            "Choose",
            "More",
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

/// A page and its main key are never more than two presses away.
#[test]
fn the_main_key_of_a_page_is_two_presses_away() {
    for (key, page) in [
        (Key::Num1, "Skip"),
        (Key::Num2, "Next step"),
        (Key::Num4, "Add"),
        (Key::Num6, "Choose a skater"),
    ] {
        let mut coach = Coach::at(PageId::Help, rich());
        coach.thing("Passes").focus();
        coach.h.run();
        coach.key(key);
        coach.key(Key::PageDown);
        assert!(coach.thing(page).is_focused(), "{page}");
    }
}

/// Gloves rest and slip: a press of four seconds counts, and a slip of half a
/// target; a slip to somewhere else does not.
#[test]
fn a_long_and_a_slipping_press_count() {
    let mut coach = Coach::at(PageId::Now, rich());
    coach.taken();
    let place = coach.thing("Skip").rect();
    let mm = super::points_per_mm(FULL_HD);
    for (seconds, slip_mm, counts) in [
        (0.1, 0.0, true),
        (4.0, 0.0, true),
        (0.8, 5.5, true),
        (0.3, 40.0, false),
    ] {
        let from = place.center();
        coach.h.hover_at(from);
        coach.h.step();
        coach.h.drag_at(from);
        coach.h.step();
        let frames = (seconds / super::STEP_S) as usize;
        for _ in 0..frames {
            coach.h.step();
        }
        let to = from + egui::vec2(0.0, slip_mm * mm);
        coach.h.hover_at(to);
        coach.h.step();
        coach.h.drop_at(to);
        coach.h.run();
        let given = coach.taken();
        assert_eq!(
            given.contains(&Command::Queue(QueueStep::Skip)),
            counts,
            "{seconds} s, {slip_mm} mm: {given:?}"
        );
    }
}

/// Plus and minus go on while they are held, and stop when they are let go.
#[test]
fn a_key_that_is_held_repeats() {
    let mut coach = Coach::at(PageId::Now, rich());
    coach.press("More");
    coach.taken();
    let at = coach.thing("Sound level: less").rect().center();
    coach.h.hover_at(at);
    coach.h.step();
    coach.h.drag_at(at);
    let frames = (1.2 / super::STEP_S) as usize;
    for _ in 0..frames {
        coach.h.step();
    }
    let while_held = coach.taken().len();
    assert!((4..=9).contains(&while_held), "{while_held}");
    coach.h.drop_at(at);
    coach.h.run();
    assert_eq!(coach.taken(), []);
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
