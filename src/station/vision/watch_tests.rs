//! The vision loop on clips, with nobody or somebody slow behind it.

use std::path::Path;

use crossbeam_channel::bounded;

use super::*;
use crate::capture::{Pace, SourceSpec};
use crate::config::Lane;
use crate::station::settings::choices::EngineChoice;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn vision(model: ModelChoice, lane: &str) -> Vision {
    let lane = Lane::load(&root().join(lane)).unwrap();
    let engine = EngineChoice::Embedded;
    Vision::new(root(), model, engine, &lane, TrackSettings::default()).unwrap()
}

fn feed(clip: &str, pace: Pace) -> Feed {
    let path = root().join(clip);
    Feed::start(SourceSpec::File { path }, pace, None)
}

/// Events alone go out.
fn outlet(events: Sender<VisionEvent>) -> Outlet {
    Outlet {
        events,
        film: None,
        frame_requests: None,
        stands_right: None,
        recent: None,
        blur_faces: true,
    }
}

/// The queue to the session is full from the first moment on, and so is the one
/// to the presenter: nobody ever takes anything out. A loop that waited for
/// either would not come to its end.
#[test]
fn neither_a_session_nor_a_presenter_that_hangs_holds_up_a_frame() {
    let mut vision = vision(ModelChoice::Lite, "demo/side-good.toml");
    let feed = feed("tests/truth/clips/side-adult/clip.mp4", Pace::AsFast);
    let (events, _hangs) = bounded(1);
    let (film, _hangs_too) = bounded(1);
    let outlet = Outlet {
        film: Some(film),
        ..outlet(events)
    };
    let mut lateness = Lateness::default();
    watch(&feed, &mut vision, &outlet, &mut lateness, &|| false, None);
    assert_eq!((lateness.frames, lateness.dropped), (72, 0));
}

/// A camera of 60 a second and the slowest model there is: while frames wait,
/// the estimator is told so.
#[test]
fn a_fast_camera_behind_its_frames_makes_the_loop_hurry() {
    let mut vision = vision(ModelChoice::Heavy, "demo/side-good.toml");
    let feed = feed(
        "tests/truth/clips/side-60/clip.mp4",
        Pace::Live { repeat: false },
    );
    let (events, _told) = bounded(1024);
    let outlet = outlet(events);
    let mut lateness = Lateness::default();
    watch(&feed, &mut vision, &outlet, &mut lateness, &|| false, None);
    let counters = vision.estimator().counters();
    assert!(lateness.dropped > 0, "it was not behind: {counters:?}");
    assert!(counters.hurried > 0, "{counters:?}");
}

/// A session that waits for its disk for a minute: what it was told of the
/// lane's state meanwhile takes half of the queue, and passes have the rest.
#[test]
fn the_state_of_the_lane_leaves_room_for_passes() {
    let (events, told) = bounded(8);
    let outlet = outlet(events);
    let feed = feed("demo/side-good.mp4", Pace::AsFast);
    for frames in 0..600 {
        outlet.tell_status(VisionStatus {
            feed: feed.status(),
            clock: feed.clock(),
            passing: Vec::new(),
            engine_fault: None,
            sight: None,
            place_unknown: false,
            preview: None,
            body: Arc::default(),
            ages_s: Vec::new(),
            frames,
        });
    }
    for track_id in 1..=4 {
        let passing = vec![track_id];
        outlet.tell(VisionEvent::Pass(
            PassEvent::Started { track_id, passing },
            None,
        ));
    }
    let passes = told
        .try_iter()
        .filter(|event| matches!(event, VisionEvent::Pass(..)))
        .count();
    assert_eq!(passes, 4);
}

/// Through the loop itself: a camera that is moved is in the status, and the background that
/// was learned is handed on; once the coach says that it stands right it is learned anew.
#[test]
fn a_camera_that_is_moved_is_in_the_status_until_the_coach_says_it_stands_right() {
    let folder = tempfile::tempdir().unwrap();
    for k in 0..40_u32 {
        // Bright and dark squares, after five seconds 24 pixels aside.
        let by = if k < 10 { 0 } else { 24 };
        let picture = image::GrayImage::from_fn(640, 360, |x, y| {
            let (column, row) = ((x + by) / 40, y / 32);
            let inside = (x + by) % 40 > 5 + (7 * column + 3 * row) % 17 && y % 32 > 4 + row % 9;
            image::Luma([if inside {
                60 + (column * 89 + row * 57) % 190
            } else {
                30
            } as u8])
        });
        picture
            .save(folder.path().join(format!("{k:03}.png")))
            .unwrap();
    }
    let run = |order_at: Option<u32>| {
        let mut vision = vision(ModelChoice::Lite, "demo/side-good.toml");
        let lane = Lane::load(&root().join("demo/side-good.toml")).unwrap();
        vision.watch_standing(&lane, None);
        let path = folder.path().to_owned();
        let source = SourceSpec::Folder { path, fps: 2.0 };
        let feed = Feed::start(source, Pace::AsFast, None);
        let (events, told) = bounded(4096);
        let (order, orders) = bounded(1);
        let outlet = Outlet {
            stands_right: Some(orders),
            ..outlet(events)
        };
        let mut lateness = Lateness::default();
        // Asked once a round of the loop.
        let rounds = std::cell::Cell::new(0);
        let stop = || {
            rounds.set(rounds.get() + 1);
            if Some(rounds.get()) == order_at {
                order.try_send(()).unwrap();
            }
            false
        };
        watch(&feed, &mut vision, &outlet, &mut lateness, &stop, None);
        let told: Vec<VisionEvent> = told.try_iter().collect();
        let backgrounds = told
            .iter()
            .filter(|event| matches!(event, VisionEvent::Background(_)))
            .count();
        let last = told.iter().rev().find_map(|event| match event {
            VisionEvent::Status(status) => Some(status.sight),
            _ => None,
        });
        let moved = last.flatten() == Some(SightTrouble::CameraMoved);
        (backgrounds, moved)
    };
    assert_eq!(run(None), (1, true));
    assert_eq!(run(Some(20)), (2, false));
}
