//! The roster.

use std::path::PathBuf;
use std::sync::Arc;

use kickplate::panel::{Answer, Command, PageId, Question, Withdrawing, WouldDelete};
use kickplate::roster::{BandColour, Consent, Skater, SkaterId};
use kickplate::rules::{AgeGroup, RuleId};

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
    // The first press begins at what is usual in the group, not at the least.
    assert!((skater.height_m.unwrap() - 1.8).abs() < 1e-9);
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
fn a_skater_works_on_a_rule_of_their_own_and_the_page_now_names_it() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("4 Robin");
    let before = skaters()[0].clone();
    let with = Skater {
        focus: Some(RuleId::Extension),
        ..before.clone()
    };
    assert_eq!(
        coach.gives("Leg extension"),
        [Command::ChangeSkater(with.clone())]
    );
    // What was changed beside it keeps it.
    coach.write("Name, nickname or number", "Robin B");
    let named = Skater {
        name: "Robin B".to_owned(),
        ..with.clone()
    };
    assert_eq!(coach.gives("Save"), [Command::ChangeSkater(named)]);
    assert_eq!(coach.gives("As the group"), [Command::ChangeSkater(before)]);

    let mut now = Coach::at(PageId::Now, rich());
    now.press("More");
    assert!(!now.shows("4 Robin: Leg extension"));
    now.change(|v| {
        Arc::make_mut(&mut v.roster)[0] = with.clone();
    });
    assert!(now.shows("4 Robin: Leg extension"));
}

#[test]
fn deleting_takes_two_steps_and_says_what_goes() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    coach.press("7 Sascha");
    assert_eq!(coach.gives("Delete"), [Command::PreviewDelete(SkaterId(2))]);
    // Nothing can be deleted before it was counted.
    assert!(coach.find("Delete for good").is_none());
    assert!(coach.shows("Counting what would go."));
    let of = |skater| {
        Some(WouldDelete {
            skater,
            passes: 65,
            strips: 12,
            comments: 1,
            exports: 2,
        })
    };
    coach.change(|v| v.would_delete = of(SkaterId(1)));
    assert!(coach.find("Delete for good").is_none());
    coach.change(|v| v.would_delete = of(SkaterId(2)));
    assert!(
        coach.shows("This deletes 7 Sascha for good: name, height and consent, every pass (65)")
    );
    assert!(coach.shows("every set of pictures (12)"));
    assert!(coach.shows("Passes of other skaters and of nobody stay."));
    assert!(coach.shows("may hold this skater: 2."));
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
    coach.write("File to read", "/media/stick/team.csv");
    let path = PathBuf::from("/media/stick/team.csv");
    let sure = false;
    assert_eq!(
        coach.gives("Read it"),
        [Command::ImportRoster { path, sure }]
    );
    // What is written goes elsewhere, however the other was chosen.
    let path = PathBuf::from("./roster-2026-11-25.csv");
    assert_eq!(
        coach.gives("Write it"),
        [Command::ExportRoster { path, sure }]
    );
    coach.change(|v| {
        v.answer = Some(Answer {
            number: 1,
            sentence: "Line 4: group 'U14' is not known. Nothing was taken.".to_owned(),
            done: false,
        });
    });
    assert!(coach.shows("Line 4: group 'U14' is not known."));
}

/// A file that is there is replaced by a second press only, and nothing else
/// can be pressed meanwhile.
#[test]
fn what_is_replaced_is_asked_for() {
    let mut coach = Coach::at(PageId::Skaters, rich());
    let then = Command::ExportRoster {
        path: PathBuf::from("/media/stick/team.csv"),
        sure: true,
    };
    let question = Question {
        sentence: "team.csv is there already.".to_owned(),
        yes: "Replace it".to_owned(),
        then: Box::new(then.clone()),
    };
    coach.change(|v| v.question = Some(question));
    assert!(coach.shows("team.csv is there already."));
    assert!(coach.find("Add").is_none());
    assert_eq!(coach.gives("Cancel"), [Command::DropQuestion]);
    assert_eq!(coach.gives("Replace it"), [then]);
}

#[test]
fn a_withdrawn_consent_can_be_taken_back_from_every_page() {
    let mut view = rich();
    view.withdrawing = Some(Withdrawing {
        skater: SkaterId(1),
        seconds: 7,
        strips: 12,
    });
    for page in PageId::ALL {
        let mut coach = Coach::at(page, view.clone());
        assert!(coach.shows("4 Robin: no picture is kept from now on."));
        assert!(coach.shows("(12) go for good in 7 s."));
        assert_eq!(coach.gives("Leave the consent"), [Command::UndoWithdrawal]);
    }
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
