//! The roster.

use std::path::PathBuf;

use kickplate::panel::{Answer, Command, PageId};
use kickplate::roster::{BandColour, Consent, Skater, SkaterId};
use kickplate::rules::AgeGroup;

use super::{Coach, rich};
use crate::coach_common::skaters;

#[test]
fn a_skater_is_added_with_all_there_is_to_say() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("Add");
    assert!(coach.find("Save").is_none());
    assert!(coach.shows("A name, nickname or number is needed."));
    coach.write("Name, nickname or number", " Lou ");
    coach.write("Bib", "77");
    coach.press("U18");
    coach.press("green");
    for _ in 0..3 {
        coach.press("Height without skates: more");
    }
    let given = coach.gives("Save");
    let [Command::AddSkater(skater)] = &given[..] else {
        panic!("{given:?}");
    };
    assert_eq!(
        (skater.name.as_str(), skater.bib.as_deref(), skater.band),
        ("Lou", Some("77"), Some(BandColour::Green))
    );
    assert_eq!(
        (skater.age_group, skater.consent.clone()),
        (AgeGroup::U18, None)
    );
    assert!((skater.height_m.unwrap() - 0.9).abs() < 1e-9);
    assert!(coach.shows("Choose a skater to change, or add one."));
}

#[test]
fn a_skater_is_changed_and_keeps_the_rest() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("4 Robin");
    coach.write("Name, nickname or number", "Robin B");
    coach.press("none");
    let before = skaters()[0].clone();
    assert_eq!(
        coach.gives("Save"),
        [Command::ChangeSkater(Skater {
            name: "Robin B".to_owned(),
            band: None,
            ..before
        })]
    );
    coach.press("Close");
    assert!(coach.shows("Choose a skater to change, or add one."));
}

#[test]
fn deleting_takes_two_steps_and_says_what_goes() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("7 Sascha");
    assert_eq!(coach.gives("Delete"), []);
    assert!(coach.shows("This deletes 7 Sascha: name, height and consent"));
    assert_eq!(coach.gives("Keep"), []);
    assert!(coach.find("Delete for good").is_none());
    coach.press("Delete");
    assert_eq!(
        coach.gives("Delete for good"),
        [Command::DeleteSkater(SkaterId(2))]
    );
}

#[test]
fn the_second_step_is_not_carried_to_another_skater() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("7 Sascha");
    coach.press("Delete");
    coach.press("Close");
    coach.press("4 Robin");
    assert!(coach.find("Delete for good").is_none());
    coach.press("Close");
    coach.press("7 Sascha");
    assert!(coach.find("Delete for good").is_none());
}

#[test]
fn consent_needs_a_day_and_a_name_and_can_be_withdrawn() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("7 Sascha");
    assert!(coach.shows("no picture of this skater is kept"));
    assert!(coach.find("Consent was given").is_none());
    coach.write("Given by", "a guardian");
    coach.write("Date, year-month-day", "yesterday");
    assert!(coach.find("Consent was given").is_none());
    assert!(coach.shows("Write the date as 2026-11-25."));
    coach.write("Date, year-month-day", "2026-11-24");
    let consent = Consent {
        given_on: jiff::civil::date(2026, 11, 24),
        given_by: "a guardian".to_owned(),
    };
    assert_eq!(
        coach.gives("Consent was given"),
        [Command::SetConsent(SkaterId(2), Some(consent))]
    );
    coach.press("Close");
    coach.press("4 Robin");
    assert!(coach.shows("Given on 2026-09-12 by a parent."));
    assert_eq!(
        coach.gives("Withdraw consent"),
        [Command::SetConsent(SkaterId(1), None)]
    );
}

#[test]
fn a_consent_starts_with_today() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("7 Sascha");
    coach.write("Given by", "a guardian");
    let given = coach.gives("Consent was given");
    let [Command::SetConsent(_, Some(consent))] = &given[..] else {
        panic!("{given:?}");
    };
    assert_eq!(consent.given_on, jiff::civil::date(2026, 11, 25));
}

#[test]
fn a_roster_file_is_read_and_its_report_is_shown() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("Files");
    coach.write("File", "/media/stick/team.csv");
    let path = PathBuf::from("/media/stick/team.csv");
    assert_eq!(
        coach.gives("Read it"),
        [Command::ImportRoster(path.clone())]
    );
    assert_eq!(coach.gives("Write it"), [Command::ExportRoster(path)]);
    coach.change(|v| {
        v.answer = Some(Answer {
            number: 1,
            sentence: "Line 4: group 'U14' is not known. Nothing was taken.".to_owned(),
            done: false,
        });
    });
    assert!(coach.shows("Line 4: group 'U14' is not known."));
}

#[test]
fn the_order_is_set_with_keys_alone() {
    let mut view = rich();
    view.queue.order = [1, 2, 3].map(SkaterId).to_vec();
    let mut coach = Coach::at(PageId::Skaters, view);
    coach.press("Order");
    coach.press("Down: 4 Robin");
    coach.press("Up: Kim");
    coach.press("Out: 7 Sascha");
    coach.press("Add 13 Alexis");
    // 1 2 3, then 2 1 3, then 2 3 1, then 3 1, then 3 1 4.
    assert_eq!(
        coach.gives("Use this order"),
        [Command::SetQueue([3, 1, 4].map(SkaterId).to_vec())]
    );
    coach.press("Order");
    coach.press("Nobody");
    assert!(coach.shows("Nobody is in the order."));
    coach.press("Everybody");
    assert_eq!(coach.gives("Cancel"), []);
}
