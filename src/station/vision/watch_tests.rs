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
