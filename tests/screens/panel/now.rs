//! The page for the ice time.

use std::sync::Arc;

use kickplate::panel::{Answer, Command, PageId, PanelView, QueueStep};
use kickplate::roster::SkaterId;
use kickplate::rules::RuleId;
use kickplate::store::{PushKey, Verdict};

use super::{Coach, rich};
use crate::coach_common::pass_key;

#[test]
fn the_order_is_steered_by_one_press_each() {
    let mut coach = Coach::at(PageId::Now, rich());
    assert!(coach.shows("13 Alexis") && coach.shows("then 16 Charlie, 19 Sam"));
    for (key, step) in [
        ("Skip", QueueStep::Skip),
        ("Swap with next", QueueStep::Swap),
        ("Unknown", QueueStep::Unknown),
        ("One back", QueueStep::Back),
        ("Undo", QueueStep::Undo),
    ] {
        assert_eq!(coach.gives(key), [Command::Queue(step)], "{key}");
    }
    coach.change(|v| v.queue.can_undo = false);
    assert!(coach.find("Undo").is_none());
}

#[test]
fn anybody_can_be_made_next() {
    let mut coach = Coach::at(PageId::Now, rich());
    coach.press("Choose");
    assert!(coach.shows("Who is next?"));
    assert_eq!(
        coach.gives("28 Dominique"),
        [Command::Queue(QueueStep::To(SkaterId(9)))]
    );
    assert!(coach.shows("Pass 12: Kim"));
}

#[test]
fn a_pass_of_somebody_else_is_put_right() {
    let mut coach = Coach::at(PageId::Now, rich());
    coach.press("That was somebody else");
    assert!(coach.shows("Who was pass 12?"));
    assert_eq!(
        coach.gives("7 Sascha"),
        [Command::SetSkaterOfPass(pass_key(12), Some(SkaterId(2)))]
    );
    coach.press("That was somebody else");
    assert_eq!(
        coach.gives("Unknown skater"),
        [Command::SetSkaterOfPass(pass_key(12), None)]
    );
    coach.press("That was somebody else");
    assert_eq!(coach.gives("Cancel"), []);
}

#[test]
fn flags_of_the_last_pass_are_agreed_with_and_dismissed() {
    let mut coach = Coach::at(PageId::Now, rich());
    // Pass 12 of the made-up station: pushes 1 and 5 were flagged.
    let verdict = |position, verdict| Command::SetVerdict {
        push: PushKey {
            pass: pass_key(12),
            position,
        },
        rule: RuleId::KneeBend,
        verdict,
    };
    let said = [0, 4].map(|p| verdict(p, Some(Verdict::Confirmed)));
    assert_eq!(coach.gives("Agree: Knee bend"), said);
    let said = [0, 4].map(|p| verdict(p, Some(Verdict::Dismissed)));
    assert_eq!(coach.gives("Dismiss: Knee bend"), said);
    // Once it is dismissed, the same key takes that back.
    coach.change(|v| {
        for push in &mut Arc::make_mut(&mut v.passes)[0].pushes {
            let notes = &mut push.note.verdicts;
            notes.insert(RuleId::KneeBend, Verdict::Dismissed);
        }
    });
    let said = [0, 4].map(|p| verdict(p, None));
    assert_eq!(coach.gives("Dismiss: Knee bend"), said);
    assert_eq!(coach.gives("Show me"), [Command::ShowMe]);
}

#[test]
fn an_empty_station_says_what_to_do_first() {
    let mut coach = Coach::at(PageId::Now, PanelView::default());
    assert!(coach.shows("Choose a camera on the page Set-up"));
    assert!(coach.shows("No skaters yet."));
    assert!(coach.shows("The first skater can go."));
    coach.press("Go to Skaters");
    assert!(coach.shows("Nobody is on the roster."));
}

#[test]
fn with_a_roster_and_no_order_one_press_makes_one() {
    let mut view = rich();
    view.queue.order.clear();
    let everybody: Vec<SkaterId> = view.roster.iter().map(|s| s.id).collect();
    let mut coach = Coach::at(PageId::Now, view);
    assert_eq!(
        coach.gives("Everybody, as on the roster"),
        [Command::SetQueue(everybody)]
    );
}

#[test]
fn troubles_are_said_here_and_pointed_at_from_everywhere() {
    let mut view = rich();
    view.station.problems = vec!["No new picture for 4 seconds; look at the cable.".to_owned()];
    let mut coach = Coach::at(PageId::Now, view);
    assert!(coach.shows("look at the cable"));
    coach.press("Help");
    assert!(coach.shows("1 to look at: see Now"));
}

#[test]
fn an_answer_stays_on_every_page_until_it_is_read() {
    let mut view = rich();
    view.answer = Some(Answer {
        number: 7,
        sentence: "The disk refused to write; free some space.".to_owned(),
        done: false,
    });
    let mut coach = Coach::at(PageId::Now, view);
    for page in ["Limits", "Passes", "Now"] {
        coach.press(page);
        assert!(coach.shows("Not done: The disk refused to write"));
    }
    coach.press("Read");
    assert!(!coach.shows("The disk refused"));
    // What was done is only said, and no key moves away under a finger.
    let before = coach.thing("Skip").rect();
    coach.change(|v| {
        v.answer = Some(Answer {
            number: 8,
            sentence: "Alexis comes again.".to_owned(),
            done: true,
        });
    });
    assert!(coach.shows("Alexis comes again.") && coach.find("Read").is_none());
    assert_eq!(coach.thing("Skip").rect(), before);
    coach.change(|v| {
        v.answer = Some(Answer {
            number: 9,
            sentence: "The disk refused to write; free some space.".to_owned(),
            done: false,
        });
    });
    assert_eq!(coach.thing("Skip").rect(), before);
    coach.press("Read");
    // The same words again are another answer.
    coach.change(|v| v.answer.as_mut().unwrap().number = 10);
    assert!(coach.shows("The disk refused"));
}

#[test]
fn a_queue_that_was_taken_up_says_since_when_it_stands() {
    let mut coach = Coach::at(PageId::Now, rich());
    assert!(!coach.shows("before the restart"));
    coach.change(|v| v.queue.taken_up = Some("18:42".to_owned()));
    assert!(coach.shows("The order is as it stood at 18:42, before the restart."));
}
