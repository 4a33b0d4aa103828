//! A place is set up as a coach does it, before a camera whose stand is known: presses and
//! drags are counted, and what comes out is held against the truth.

use egui::{Vec2, vec2};
use kickplate::config::{Lane, View};
use kickplate::geometry::{Camera, solve_camera_pose};
use kickplate::panel::{Command, LaneDraft, LaneEntry, PageId, PanelView, ScaleResult};

use super::{Coach, rich};
use crate::coach_common::{FRAME_PX, lane, pass_key};

/// How far off a finger in a glove is, pixels of the frame: one standard deviation of the
/// set-up's own.
const MARK_ERROR_PX: f64 = 1.5;
/// Where a handle lies before it is moved, shares of the frame.
const FOOT: [f64; 2] = [0.5, 0.75];
const TOP: [f64; 2] = [0.5, 0.45];
const LINE: [[f64; 2]; 2] = [[0.2, 0.85], [0.8, 0.85]];

/// The panel of a station that was never set up.
fn nothing_yet() -> PanelView {
    let mut view = rich();
    view.lanes = Default::default();
    view.live.last = None;
    view.scale = None;
    view.picture_check = None;
    view
}

/// Points of the screen for one pixel of the frame: one end is dragged by so much, and what
/// the panel asks to be solved tells how far that was.
fn points_a_pixel() -> f64 {
    let by = -60.0;
    let mut coach = Coach::at(PageId::SetUp, nothing_yet());
    coach.press("3 Line");
    coach.drag("One end of the line", vec2(by, 0.0));
    coach.drag("Other end of the line", vec2(60.0, 30.0));
    coach.press("4 Scale");
    for thing in ["Stick held upright", "Skater standing"] {
        coach.press(thing);
        coach.drag("Foot of the mark, on the ice", vec2(-80.0, 10.0));
        coach.drag("Top of the mark", vec2(-80.0, 10.0));
    }
    let given = coach.gives("Find the scale");
    let [Command::FindScale(draft)] = &given[..] else {
        panic!("{given:?}");
    };
    f64::from(by) / (draft.line_px[0][0] - LINE[0][0] * f64::from(FRAME_PX[0]))
}

/// As the station answers it.
fn solved(draft: &LaneDraft) -> ScaleResult {
    let found = solve_camera_pose(
        &draft.lane,
        draft.frame_px,
        &draft.marks,
        &draft.line_px,
        draft.hfov_known,
        MARK_ERROR_PX,
    )
    .unwrap();
    ScaleResult {
        lane: found.on(&draft.lane),
        camera_height_m: found.camera_height_m,
        tilt_deg: found.tilt_deg,
        roll_deg: found.roll_deg,
        lane_distance_m: found.lane_distance_m,
        length_error: found.scale_error,
        misfit_px: found.misfit_px,
    }
}

/// From an empty folder to a tested lane: a stick and a skater are all that stands there, the
/// lens is not known, and each end is put a pixel or two beside its place. The aims are 25
/// presses and 6 drags; 70 and 10 it was once.
#[test]
fn a_place_is_set_up_with_few_presses_and_drags() {
    let truth = lane();
    let camera = Camera::of_lane(&truth, FRAME_PX[0], FRAME_PX[1]);
    let far_m = truth.lane_distance_m;
    let scale = points_a_pixel();
    let mut coach = Coach::at(PageId::Now, nothing_yet());
    let mut off = [1.2, -0.8, 1.5, -1.4, 0.6, -1.1, 0.9, -1.5].iter().cycle();
    let mut put = |coach: &mut Coach, handle: &str, start: [f64; 2], place_m: [f64; 3]| {
        let at = camera.project(place_m).unwrap();
        let by: [f64; 2] = std::array::from_fn(|i| {
            (at[i] + off.next().unwrap() - start[i] * f64::from(FRAME_PX[i])) * scale
        });
        coach.drag(handle, Vec2::from(by.map(|v| v as f32)));
    };

    coach.press("Set-up");
    coach.press("Next step");
    coach.press("From the side");
    coach.press("Left to right");
    coach.press("Check the picture");
    coach.press("Next step");
    put(
        &mut coach,
        "One end of the line",
        LINE[0],
        [-2.4, far_m, 0.0],
    );
    put(
        &mut coach,
        "Other end of the line",
        LINE[1],
        [2.4, far_m, 0.0],
    );
    coach.press("Next step");
    for (thing, size_m, at_m) in [
        ("Stick held upright", 1.5, [-1.6, far_m - 0.9]),
        ("Skater standing", 1.5, [1.7, far_m + 2.5]),
    ] {
        coach.press(thing);
        let [x, y] = at_m;
        put(
            &mut coach,
            "Foot of the mark, on the ice",
            FOOT,
            [x, y, 0.0],
        );
        put(&mut coach, "Top of the mark", TOP, [x, y, size_m]);
    }
    let given = coach.gives("Find the scale");
    let [Command::FindScale(draft)] = &given[..] else {
        panic!("{given:?}");
    };
    let found = solved(draft);
    coach.change(|v| v.scale = Some(Ok(found.clone())));
    assert!(coach.shows("Good enough"), "{found:?}");
    coach.press("Next step");
    let given = coach.gives("Save and use");
    let [Command::SaveLane { name, lane, .. }] = &given[..] else {
        panic!("{given:?}");
    };
    assert_eq!(lane.view, View::Side);
    // A metre on the lane comes out as one, and the camera stands where it does.
    let across = |l: &Lane| {
        let seen = Camera::of_lane(l, FRAME_PX[0], FRAME_PX[1]);
        let from = camera.project([-0.5, far_m, 0.9]).unwrap();
        let to = camera.project([0.5, far_m, 0.9]).unwrap();
        let [a, b] = [from, to].map(|px| seen.on_wall(px, l.lane_distance_m).unwrap());
        (a[0] - b[0]).hypot(a[1] - b[1])
    };
    assert!((across(lane) - 1.0).abs() < 0.06, "{}", across(lane));
    assert!((lane.tilt_deg - truth.tilt_deg).abs() < 2.0);

    let (name, lane) = (name.clone(), lane.clone());
    coach.change(|v| {
        v.lanes = std::sync::Arc::new(vec![LaneEntry {
            file: format!("{name}.toml").into(),
            name,
            lane: Ok(lane),
            in_use: true,
            example: false,
        }]);
        v.live.last = Some((pass_key(1), "Well done".to_owned()));
    });
    assert!(coach.shows("Pass 1 was seen"));
    coach.press("Done: to Now");
    assert_eq!(coach.h.state().state.page, PageId::Now);
    let done = (coach.presses, coach.drags);
    assert!(done.0 <= 25 && done.1 <= 6, "presses and drags: {done:?}");
    // What `docs/coach.md` says.
    assert_eq!(done, (13, 6));
}
