//! The set-up, step by step.

use std::sync::Arc;

use egui::{Key, vec2};
use egui_kittest::kittest::Queryable;
use kickplate::calibration::Gauged;
use kickplate::config::{Travel, View};
use kickplate::geometry::Mark;
use kickplate::panel::{Command, PageId, PanelView, RulerRow, SecondEntry};

use super::{Coach, rich};
use crate::coach_common::{FRAME_PX, lane, pass_key, scale};

fn at_step(step: &str, view: PanelView) -> Coach {
    let mut coach = Coach::at(PageId::SetUp, view);
    coach.press(step);
    coach
}

#[test]
fn a_saved_lane_is_taken_and_a_broken_one_says_why_not() {
    let mut coach = Coach::at(PageId::SetUp, rich());
    assert_eq!(
        coach.gives("Use the lane rink 1 behind the net"),
        [Command::UseLane("rink 1 behind the net".to_owned())]
    );
    assert!(coach.shows("old: line 3: tilt_deg = 120 is out of range"));
    assert!(coach.find("Use the lane old").is_none());
}

/// Somebody who never set a lane up must not take an example for a saved one.
#[test]
fn an_example_lane_is_called_one() {
    let mut view = rich();
    Arc::make_mut(&mut view.lanes)[0].example = true;
    view.station.lane_example = true;
    let coach = Coach::at(PageId::SetUp, view.clone());
    assert!(
        coach
            .find("Use the lane rink 2 blue line, an example")
            .is_some()
    );
    let mut coach = Coach::at(PageId::Now, view);
    assert!(coach.shows("The lane in use is an example"));
    coach.press("Go to Set-up");
    assert!(coach.shows("Saved lanes"));
}

/// Pressed twice at the same place goes on twice, and never back.
#[test]
fn the_keys_to_go_on_stay_where_they_are() {
    let mut coach = Coach::at(PageId::SetUp, rich());
    let at = |coach: &Coach| coach.thing("Next step").rect().center();
    let first = at(&coach);
    coach.press("Next step");
    assert!((at(&coach) - first).length() < 1.0);
}

#[test]
fn cameras_are_looked_for_and_one_is_taken_in_a_mode() {
    let mut coach = at_step("2 Camera", rich());
    assert_eq!(coach.gives("Look for cameras"), [Command::FindCameras]);
    assert_eq!(
        coach.gives("Built-in camera, 640 x 480, 30 a second"),
        [Command::UseCamera {
            id: "usb-2".to_owned(),
            mode: (640, 480, 30)
        }]
    );
    coach.change(|v| {
        v.second = Some(SecondEntry {
            name: "Built-in camera".to_owned(),
            lane: "front 1".to_owned(),
        });
    });
    assert!(coach.shows("Second camera: Built-in camera, lane front 1"));
    assert_eq!(coach.gives("Go on with one camera"), [Command::DropSecond]);
    let mut view = rich();
    view.cameras = Default::default();
    let mut coach = Coach::at(PageId::SetUp, view);
    assert_eq!(
        coach.gives("2 Camera"),
        [Command::FindCameras],
        "without being asked, once"
    );
    assert_eq!(coach.gives("1 Place"), []);
    assert_eq!(coach.gives("2 Camera"), []);
    assert!(coach.shows("Plug it in, then look again."));
}

#[test]
fn without_a_picture_there_is_nothing_to_draw_on() {
    let mut coach = at_step("3 Line", PanelView::default());
    assert!(coach.shows("Choose a camera first."));
    coach.press("Next step");
    assert!(coach.shows("Draw the line of the lane first."));
}

/// From the first step to the saved lane, in the order of the steps.
#[test]
fn a_lane_is_made_from_nothing() {
    let mut view = rich();
    view.lanes = Default::default();
    view.live.last = Some((pass_key(12), "Ride low".to_owned()));
    let mut coach = Coach::at(PageId::SetUp, view);
    assert!(coach.shows("No lane is saved yet."));
    coach.press("Next step");
    coach.press("From the front");
    // Only ways a camera there can see.
    assert!(coach.find("Right to left").is_none());
    coach.press("From the side");
    coach.press("Right to left");

    coach.press("Next step");
    assert!(coach.shows("Both ends have to be moved."));
    coach.press("Height of the skaters: more");
    coach.drag("One end of the line", vec2(-40.0, 30.0));
    assert!(coach.shows("Both ends have to be moved."));
    coach.drag("Other end of the line", vec2(60.0, 30.0));
    assert!(coach.shows("The line is drawn."));

    coach.press("Next step");
    assert!(coach.find("Find the scale").is_none());
    coach.press("Stick held upright");
    assert!(coach.shows("Drag both ends of the mark to their places."));
    // One after the other.
    assert!(coach.find("Boards").is_none());
    coach.drag("Foot of the mark, on the ice", vec2(-80.0, 10.0));
    coach.drag("Top of the mark", vec2(-80.0, -20.0));
    coach.press("Size: Stick held upright: more");
    coach.press("Face-off circle, across");
    coach.drag("One end of the mark", vec2(-50.0, 0.0));
    coach.drag("Other end of the mark", vec2(50.0, 0.0));
    assert!(coach.shows("Marks made: 2"));

    let given = coach.gives("Find the scale");
    let [Command::FindScale(draft)] = &given[..] else {
        panic!("{given:?}");
    };
    assert_eq!(draft.frame_px, FRAME_PX);
    assert_eq!(
        (draft.lane.view, draft.lane.travel),
        (View::Side, Travel::RightToLeft)
    );
    assert!((draft.lane.skater_height_m - 1.55).abs() < 1e-9);
    assert!(!draft.hfov_known);
    let [a, b] = draft.line_px[..] else { panic!() };
    // Where they start, then by so much of the frame as was dragged.
    assert!(a[0] < 0.2 * 1280.0 && b[0] > 0.8 * 1280.0, "{a:?} {b:?}");
    assert!(a[1] > 0.85 * 720.0 && (a[1] - b[1]).abs() < 1.0);
    let [
        Mark::Upright {
            bottom_px,
            top_px,
            height_m,
        },
        Mark::OnIce {
            from_px,
            to_px,
            length_m,
        },
    ] = draft.marks[..]
    else {
        panic!("{:?}", draft.marks);
    };
    assert!(bottom_px[1] > top_px[1] + 100.0);
    // The circle has a radius of 4.5 m (IIHF Official Rule Book 2023/24).
    assert!((height_m - 1.51).abs() < 1e-9 && (length_m - 9.0).abs() < 1e-9);
    assert!(from_px[0] < to_px[0] - 100.0);

    // The answer is a word first.
    coach.change(|v| v.scale = Some(Err("one more mark is needed".to_owned())));
    assert!(coach.shows("Not yet") && coach.shows("one more mark is needed"));
    coach.change(|v| {
        v.scale = Some(Ok(kickplate::panel::ScaleResult {
            length_error: 0.067,
            ..scale()
        }));
    });
    assert!(coach.shows("One more mark") && coach.shows("right to 6.7 cm"));
    coach.change(|v| v.scale = Some(Ok(scale())));
    assert!(coach.shows("Good enough"));
    assert!(coach.shows("One metre on the lane is right to 1.8 cm"));
    assert!(coach.shows("Camera above the ice: 2.31 m ± 0.03 m"));

    coach.press("Next step");
    // A name is proposed, so that nobody has to type with gloves on.
    assert!(coach.find("Save and use").is_some());
    coach.write("Name, such as 'rink 2 blue line'", "rink/3");
    assert!(coach.find("Save and use").is_none());
    coach.write("Name, such as 'rink 2 blue line'", "rink 3");
    coach.press("Reading distance: more");
    // Nothing was saved: no pass of before counts as a test.
    assert!(!coach.shows("was seen"));
    let given = coach.gives("Save and use");
    let [
        Command::SaveLane {
            name,
            lane: saved,
            screen,
        },
    ] = &given[..]
    else {
        panic!("{given:?}");
    };
    assert_eq!(name, "rink 3");
    let screen = screen.unwrap();
    assert_eq!((screen.reading_distance_m, screen.height_m), (11.0, 0.62));
    assert_eq!(saved.travel, Travel::RightToLeft);
    assert_eq!(saved.camera_height_m, lane().camera_height_m);
    // The last pass was measured with the lane of before.
    assert!(coach.shows("Waiting for the first pass"));
    assert!(coach.shows("Measured with the lane 'rink 3'"));
    coach.change(|v| v.live.last = Some((pass_key(13), "Well done".to_owned())));
    assert!(coach.shows("Pass 13 was seen"));
    coach.press("Done: to Now");
    assert_eq!(coach.h.state().state.page, PageId::Now);
}

#[test]
fn the_second_camera_is_saved_beside_the_first() {
    let mut view = rich();
    view.scale = Some(Ok(scale()));
    let mut coach = at_step("5 Test", view);
    let given = coach.gives("Save as the second camera");
    assert!(
        matches!(&given[..], [Command::UseAsSecond { name, .. }] if name.starts_with("From the side")),
        "{given:?}"
    );
}

/// The picture stands still to be marked, and is shown larger around the
/// point that was held last; the points stay where they were put.
#[test]
fn the_picture_is_held_and_magnified() {
    let mut coach = at_step("3 Line", rich());
    coach.press("Hold the picture");
    coach.thing("One end of the line").focus();
    coach.h.run();
    coach.key(Key::ArrowLeft);
    let before = coach.thing("One end of the line").rect().center();
    coach.press("Larger");
    let after = coach.thing("One end of the line").rect().center();
    assert!((after - before).length() > 20.0);
    coach.press("Larger");
    coach.press("Larger");
    let again = coach.thing("One end of the line").rect().center();
    assert!((again - before).length() < 1.0, "{before:?} {again:?}");
}

/// Pictures take most of the page where something is marked in them.
#[test]
fn the_picture_takes_most_of_the_page() {
    for step in ["2 Camera", "3 Line", "4 Scale", "5 Test"] {
        let coach = at_step(step, rich());
        let picture = coach
            .h
            .query_all_by_label("Picture of the lane")
            .next()
            .unwrap();
        let page = coach.thing("1 Place").rect().left()..coach.thing("5 Test").rect().right();
        let share = picture.rect().width() / (page.end - page.start);
        assert!(share > 0.59, "{step}: {share}");
    }
}

/// The points are also moved without a finger: a pixel, or ten with Shift.
#[test]
fn arrows_move_a_point_by_pixels() {
    let mut coach = at_step("3 Line", rich());
    coach.thing("One end of the line").focus();
    coach.h.run();
    coach.key(Key::ArrowLeft);
    coach
        .h
        .key_press_modifiers(egui::Modifiers::SHIFT, Key::ArrowDown);
    coach.h.run();
    coach.thing("Other end of the line").focus();
    coach.h.run();
    coach.key(Key::ArrowRight);
    coach.press("4 Scale");
    coach.press("Boards");
    for end in ["Foot of the mark, on the ice", "Top of the mark"] {
        coach.thing(end).focus();
        coach.h.run();
        coach.key(Key::ArrowUp);
    }
    let given = coach.gives("Find the scale");
    let [Command::FindScale(draft)] = &given[..] else {
        panic!("{given:?}");
    };
    let close = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).abs() < 1e-3 && (a[1] - b[1]).abs() < 1e-3;
    assert!(close(
        draft.line_px[0],
        [0.2 * 1280.0 - 1.0, 0.85 * 720.0 + 10.0]
    ));
    assert!(close(draft.line_px[1], [0.8 * 1280.0 + 1.0, 0.85 * 720.0]));
    // Boards stand 1.07 m above the ice, as the page starts from.
    let Mark::Upright { height_m, .. } = draft.marks[0] else {
        panic!();
    };
    assert!((height_m - 1.07).abs() < 1e-9);
}

#[test]
fn the_picture_is_checked_and_says_what_to_change() {
    let mut coach = at_step("2 Camera", rich());
    assert_eq!(coach.gives("Check the picture"), [Command::CheckPicture]);
    assert!(coach.shows("set the exposure to 1/500 s"));
    coach.change(|v| v.picture_check.as_mut().unwrap().advice.clear());
    assert!(coach.shows("Nothing to change."));
}

#[test]
fn a_test_pass_is_waited_for_and_reported() {
    let mut view = rich();
    view.live.last = Some((pass_key(11), "Well done".to_owned()));
    let mut coach = at_step("1 Place", view);
    coach.press("Use the lane rink 2 blue line");
    coach.press("Test this place");
    assert!(coach.shows("Waiting for the first pass"));
    assert!(coach.shows("Measured with the lane 'rink 2 blue line'"));
    coach.change(|v| v.live.somebody_passing = true);
    assert!(coach.shows("Somebody is in the lane"));
    coach.change(|v| {
        v.live.somebody_passing = false;
        v.live.last = Some((pass_key(12), "Ride low".to_owned()));
    });
    assert!(coach.shows("Pass 12 was seen"));
    assert!(coach.shows("Pushes: 5, judged: 5, 23 km/h"));
    coach.press("Test again");
    assert!(coach.shows("Waiting for the first pass"));
}

/// A lens is picked as its data sheet names it, corner to corner.
#[test]
fn an_angle_of_view_is_picked_and_stepped() {
    let mut coach = at_step("4 Scale", rich());
    assert!(coach.shows("Unknown takes one mark more."));
    coach.press("78\u{b0}");
    assert!(coach.shows("70\u{b0}"));
    coach.press("Angle of view, left to right: less");
    assert!(coach.shows("69\u{b0}"));
    coach.press("Unknown");
    assert!(coach.find("Angle of view, left to right: less").is_none());
}

#[test]
fn nothing_is_saved_without_a_scale() {
    let mut coach = at_step("5 Test", rich());
    assert!(coach.find("Save and use").is_none());
    assert!(!coach.shows("was seen"));
    coach.press("To the scale");
    assert!(coach.shows("Press what you see near the lane."));
}

/// Who holds an angle is checked with one press, once the reference stands there; what was
/// held is shown, taken back and used.
#[test]
fn a_person_is_checked_with_one_press_a_hold() {
    let mut view = rich();
    let row = |of| RulerRow {
        of,
        holds: 0,
        persons: 0,
        last: None,
    };
    view.holds = vec![
        row(Gauged::Knee),
        row(Gauged::Extension),
        row(Gauged::Trunk),
    ];
    let mut coach = at_step("5 Test", view);
    assert!(coach.shows("Check with a person"));
    assert!(coach.find("Take the last hold back").is_none());
    coach.press("The instrument shows: less");
    coach.press("Person 3");
    assert_eq!(
        coach.gives("Take this hold"),
        [Command::RulerHold {
            of: Gauged::Knee,
            reference: 179.0,
            person: 3
        }]
    );
    coach.change(|v| {
        v.holds[0] = RulerRow {
            holds: 4,
            persons: 2,
            last: Some([120.0, 123.5]),
            ..row(Gauged::Knee)
        }
    });
    assert!(coach.shows("Knee: holds 4, persons 2. Last: held 120.0°, read 123.5°."));
    assert_eq!(coach.gives("Take the last hold back"), [Command::RulerUndo]);
    assert_eq!(
        coach.gives("Use the check from now on"),
        [Command::RulerUse]
    );
    let mut view = rich();
    view.holds = vec![row(Gauged::HeelGap)];
    let mut coach = at_step("5 Test", view);
    coach.press("Puck flat");
    assert_eq!(
        coach.gives("Take this hold"),
        [Command::RulerHold {
            of: Gauged::HeelGap,
            reference: 0.0762,
            person: 1
        }]
    );
}
