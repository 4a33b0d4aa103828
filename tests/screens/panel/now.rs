//! The page for the ice time.

use std::sync::Arc;

use kickplate::config::View;
use kickplate::panel::{
    Answer, Command, PageId, PanelView, QueueStep, VoiceOrder, VoiceView, WordRecording,
};
use kickplate::roster::SkaterId;
use kickplate::rules::RuleId;
use kickplate::sound::{Ending, SoundId, VoiceMode};
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
    assert!(coach.shows("Pass 12"));
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
    // Without a camera nobody is told to go.
    assert!(coach.shows("No camera: nobody skates"));
    assert!(coach.shows("No pass can be seen without a camera."));
    assert!(!coach.shows("The first skater can go."));
    assert!(!coach.shows("The lane is free"));
    coach.press("Go to Skaters");
    assert!(coach.shows("Nobody is on the roster."));
}

#[test]
fn passes_are_nobodys_until_the_order_is_used() {
    let mut view = rich();
    view.queue.order.clear();
    let everybody: Vec<SkaterId> = view.roster.iter().map(|s| s.id).collect();
    let mut coach = Coach::at(PageId::Now, view);
    assert!(coach.shows("The order has not begun: passes are nobody's."));
    // It is shown before it holds.
    assert_eq!(coach.gives("Make the order"), []);
    assert_eq!(
        coach.gives("Use this order"),
        [Command::SetQueue(everybody)]
    );
}

#[test]
fn who_is_in_the_lane_and_what_was_shown_stand_beside_the_picture() {
    let mut view = rich();
    view.live.somebody_passing = true;
    view.live.in_lane = vec![Some(SkaterId(6))];
    view.live.shown = Some("Get lower".to_owned());
    let coach = Coach::at(PageId::Now, view);
    assert!(coach.shows("In the lane"));
    assert!(coach.shows("19 Sam"));
    assert!(coach.shows("Shown: Get lower"));
}

/// The commonest error: one tap gives the pass to a neighbour in the order,
/// and one gives it back.
#[test]
fn one_tap_gives_the_last_pass_to_a_neighbour_and_one_gives_it_back() {
    let mut coach = Coach::at(PageId::Now, rich());
    for (name, id) in [("It was 7 Sascha", 2), ("It was 13 Alexis", 4)] {
        assert_eq!(
            coach.gives(name),
            [Command::SetSkaterOfPass(pass_key(12), Some(SkaterId(id)))]
        );
    }
    assert!(coach.find("Give the pass back").is_none());
    coach.change(|v| v.given_away = Some((pass_key(12), Some(SkaterId(3)))));
    assert_eq!(
        coach.gives("Give the pass back"),
        [Command::UndoSkaterOfPass]
    );
}

#[test]
fn a_card_of_the_strip_opens_the_push_with_the_flag() {
    let mut coach = Coach::at(PageId::Now, rich());
    let push = PushKey {
        pass: pass_key(11),
        position: 1,
    };
    let who = coach.h.state().view.passes[1].skater;
    let label = who.and_then(|id| {
        let roster = &coach.h.state().view.roster;
        roster.iter().find(|s| s.id == id).map(|s| s.label())
    });
    let name = format!("Pass 11, {}: Ride low", label.unwrap());
    assert_eq!(coach.gives(&name), [Command::OpenPush { push, rule: None }]);
    assert_eq!(coach.h.state().state.page, PageId::Passes);
}

#[test]
fn the_session_ends_with_a_second_press_and_offers_to_be_taken_along() {
    let mut coach = Coach::at(PageId::Now, rich());
    coach.press("More");
    assert_eq!(coach.gives("End session"), []);
    assert_eq!(coach.gives("Go on"), []);
    coach.press("End session");
    assert_eq!(coach.gives("End it"), [Command::EndSession]);
    coach.press("To the export");
    assert_eq!(coach.h.state().state.page, PageId::Privacy);
    assert!(coach.find("Export").is_some());
}

#[test]
fn sound_language_signs_and_what_is_worked_on_are_set_here() {
    let mut coach = Coach::at(PageId::Now, rich());
    let sound = |level, muted| [Command::SetSound { level, muted }];
    assert_eq!(coach.gives("Mute"), sound(0.8, true));
    coach.press("More");
    assert_eq!(coach.gives("Sound level: less"), sound(0.7, false));
    assert_eq!(
        coach.gives("Signs alone on the big screen"),
        [Command::SetQuiet(true)]
    );
    assert_eq!(
        coach.gives("Fran\u{e7}ais"),
        [Command::SetLanguage(kickplate::display::Language::Fr)]
    );
    assert_eq!(
        coach.gives("Trunk lean"),
        [Command::SetFocus(Some(kickplate::rules::RuleId::TrunkLean))]
    );
    assert_eq!(coach.gives("Everything"), [Command::SetFocus(None)]);
}

#[test]
fn the_sound_is_tried_and_the_look_is_kept() {
    let mut coach = Coach::at(PageId::Now, rich());
    coach.press("More");
    assert_eq!(coach.gives("Try the sound"), [Command::TrySound]);
    assert_eq!(coach.gives("Dark panel"), [Command::SetDark(true)]);
    assert!(coach.h.state().state.dark);
    coach.change(|v| v.station.muted = true);
    assert!(coach.find("Try the sound").is_none());
}

/// The page of the coach's voice for the station with these words.
fn at_the_voice(voices: VoiceView) -> Coach {
    let mut view = rich();
    view.voices = voices;
    let mut coach = Coach::at(PageId::Now, view);
    coach.press("More");
    coach.press("The coach's voice");
    coach
}

#[test]
fn a_word_is_recorded_heard_deleted_and_put_back() {
    let voice = |order| [Command::Voice(order)];
    let left = SoundId::Order(RuleId::Extension, Ending::Left);
    let mut coach = at_the_voice(VoiceView::default());
    assert_eq!(
        coach.gives("Record"),
        voice(VoiceOrder::Record(SoundId::Praise))
    );
    assert!(coach.find("Hear it").is_none() && coach.find("Delete").is_none());
    assert_eq!(coach.gives("Leg extension"), []);
    coach.press("Leg extension, right");
    coach.press("Leg extension, left");
    assert_eq!(coach.gives("Record"), voice(VoiceOrder::Record(left)));
    coach.change(|v| v.voices.has = vec![left]);
    assert_eq!(coach.gives("Hear it"), voice(VoiceOrder::Hear(left)));
    assert_eq!(coach.gives("Delete"), voice(VoiceOrder::Delete(left)));
    coach.change(|v| (v.voices.has, v.voices.deleted) = (vec![], Some(left)));
    assert_eq!(coach.gives("Put it back"), voice(VoiceOrder::PutBack));
    assert_eq!(
        coach.gives("Sound, then word"),
        voice(VoiceOrder::Use(VoiceMode::After))
    );
    // Nobody is recorded by chance.
    coach.change(|v| v.live.somebody_passing = true);
    assert!(coach.find("Record").is_none());
}

#[test]
fn a_meter_is_shown_while_a_word_is_recorded() {
    let mut coach = at_the_voice(VoiceView {
        recording: Some(WordRecording {
            of: SoundId::Praise,
            level: 0.42,
            left_s: 1.3,
        }),
        left_out: vec!["The word a.wav is damaged.".to_owned()],
        ..VoiceView::default()
    });
    assert!(coach.shows("Speak now: 1.3 s left"));
    assert!(coach.shows("Level 42 %"));
    assert!(coach.shows("The word a.wav is damaged."));
    assert!(coach.find("Record").is_none() && coach.find("Go again").is_none());
    assert_eq!(coach.gives("Stop"), [Command::Voice(VoiceOrder::Stop)]);
    coach.change(|v| v.voices.recording.as_mut().unwrap().level = 0.95);
    assert!(coach.shows("nearly too loud"));
    // Who leaves the page ends the recording, once.
    assert_eq!(coach.gives("Close"), [Command::Voice(VoiceOrder::Stop)]);
    coach.press("The coach's voice");
    coach.taken();
    coach.press("Help");
    coach.h.run();
    assert_eq!(coach.taken(), [Command::Voice(VoiceOrder::Stop)]);
}

/// Words painted on the page, also those no screen reader says.
fn painted(coach: &Coach) -> Vec<String> {
    let shapes = &coach.h.output().shapes;
    shapes
        .iter()
        .filter_map(|s| match &s.shape {
            egui::Shape::Text(text) => Some(text.galley.text().to_owned()),
            _ => None,
        })
        .collect()
}

/// Where faces are blurred there is no picture while nobody is found: that is no lost
/// camera. That nobody is there is not said either: a pose model that fails looks the same.
#[test]
fn an_empty_lane_is_no_lost_camera() {
    let mut view = rich();
    view.live.picture_age_s = Some(12.4);
    let coach = Coach::at(PageId::Now, view);
    let words = painted(&coach);
    assert!(words.iter().any(|t| t == "This picture is 12 s old."));
    assert!(!words.iter().any(|t| t.contains("nobody skates")));
    assert!(coach.shows("The lane is free"));
}

/// A frozen picture is not of now, and nobody is sent onto the ice by it.
#[test]
fn a_picture_that_stands_still_is_greyed_with_its_age() {
    let mut view = rich();
    view.live.picture_age_s = Some(12.4);
    view.station.camera_live = false;
    let coach = Coach::at(PageId::Now, view);
    assert!(
        painted(&coach)
            .iter()
            .any(|t| t == "This picture is 12 s old.")
    );
    assert!(coach.shows("No camera: nobody skates"));
    assert!(!coach.shows("The lane is free"));
}

#[test]
fn troubles_are_said_here_and_pointed_at_from_everywhere() {
    let mut view = rich();
    view.station.problems = vec!["No new picture for 4 seconds; look at the cable.".to_owned()];
    let mut coach = Coach::at(PageId::Now, view);
    assert!(coach.shows("look at the cable"));
    coach.press("Help");
    assert!(coach.shows("look at the cable"));
}

/// From the warning to the line with one press, and from there it is put right with one.
#[test]
fn a_moved_camera_leads_to_the_line() {
    let mut view = rich();
    view.station.problems = vec![
        "The camera was moved: check the line.".to_owned(),
        "The disk is nearly full.".to_owned(),
    ];
    view.station.camera_moved = true;
    let mut coach = Coach::at(PageId::Now, view);
    assert!(coach.shows("The camera was moved"));
    coach.press("Check the line");
    assert!(!coach.shows("Drag both ends onto the line"));
    // What else is wrong is said next.
    assert!(coach.shows("nearly full"));
    assert_eq!(coach.gives("It stands right"), [Command::CameraStandsRight]);
    // A picture of before is no picture to compare with.
    coach.change(|v| v.live.picture_age_s = Some(9.4));
    assert!(coach.find("It stands right").is_none());
    assert!(coach.shows("9 s old"));
    coach.change(|v| v.live.picture_age_s = Some(0.1));
    assert!(coach.find("It stands right").is_some());
    // From the front there is no line to compare.
    let view_of = |v: &mut PanelView, view| {
        let lanes = Arc::make_mut(&mut v.lanes);
        let lane = lanes.iter_mut().find(|l| l.in_use).unwrap();
        lane.lane.as_mut().unwrap().view = view;
    };
    coach.change(|v| view_of(v, View::Front));
    assert!(coach.find("It stands right").is_none());
    assert!(coach.shows("no line to compare"));
    coach.change(|v| view_of(v, View::Side));
    coach.press("Draw the line anew");
    assert!(coach.shows("Drag both ends onto the line"));
    assert!(coach.find("It stands right").is_none());
    coach.change(|v| {
        v.station.problems.clear();
        v.station.camera_moved = false;
    });
    assert!(coach.find("It stands right").is_none());
    assert!(!coach.shows("shows too little"));
    coach.change(|v| v.station.place_unknown = true);
    assert!(coach.shows("shows too little"));
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
    coach.press("OK");
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
    assert!(coach.shows("Alexis comes again.") && coach.find("OK").is_none());
    assert_eq!(coach.thing("Skip").rect(), before);
    coach.change(|v| {
        v.answer = Some(Answer {
            number: 9,
            sentence: "The disk refused to write; free some space.".to_owned(),
            done: false,
        });
    });
    assert_eq!(coach.thing("Skip").rect(), before);
    coach.press("OK");
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
