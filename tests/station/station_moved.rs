//! The camera was moved: what the panel says, what becomes of a pass, and how it ends.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::os::unix::fs::PermissionsExt;

use super::station_desk::Station;
use kickplate::capture::{Feed, FeedState, FeedStatus, Pace, SourceSpec};
use kickplate::config::{Lane, Travel};
use kickplate::feedback::CueKind;
use kickplate::panel::Command;
use kickplate::rules::NotJudged;
use kickplate::standing::Reference;
use kickplate::station::backgrounds::{BACKGROUND_FOLDER, Backgrounds};
use kickplate::station::vision::sight_watch::SightTrouble;
use kickplate::station::vision::watch::{ModelAtWork, SourceBegins, VisionEvent, VisionStatus};
use kickplate::station::{ModelChoice, began};
use kickplate::store::{EngineInfo, SourceKind};

/// A background of squares without anything in them.
fn background() -> Reference {
    let squares: Vec<_> = (0..12)
        .map(|k| serde_json::json!({ "x": 16 * k, "y": 32, "greys": "h".repeat(256) }))
        .collect();
    serde_json::from_value(serde_json::json!({ "width": 320, "height": 180, "squares": squares }))
        .unwrap()
}

pub(super) fn status(sight: Option<SightTrouble>, state: FeedState) -> VisionEvent {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/side-good.mp4");
    let feed = Feed::start(SourceSpec::File { path }, Pace::Patient, None);
    VisionEvent::Status(Box::new(VisionStatus {
        feed: FeedStatus {
            state,
            ..feed.status()
        },
        clock: feed.clock(),
        passing: Vec::new(),
        engine_fault: None,
        sight,
        place_unknown: false,
        preview: None,
        body: Default::default(),
        ages_s: Vec::new(),
        frames: 100,
    }))
}

#[test]
fn a_moved_camera_is_told_and_judges_nothing_until_it_stands_right() {
    began();
    let s = Station::start();
    let backgrounds = Backgrounds::new(&s.folder());
    s.settings
        .change(|now| now.source.backgrounds = Some(backgrounds.clone()));
    let source = s.settings.load().source.clone();
    s.vision
        .send(VisionEvent::SourceBegins(Box::new(SourceBegins {
            kind: SourceKind::Camera,
            name: "camera".to_owned(),
            frames_per_second: Some(30.0),
            settings: source.clone(),
            track: Default::default(),
            model: ModelAtWork {
                model: ModelChoice::Full,
                record: EngineInfo {
                    program_version: "0".to_owned(),
                    backend: "native".to_owned(),
                    model: "full".to_owned(),
                    model_sha256: None,
                },
                note: None,
            },
        })))
        .unwrap();

    // What the camera sees when the lane is set up is kept, for its owner only.
    let learned = VisionEvent::Background(Box::new(background()));
    s.vision.send(learned).unwrap();
    assert!(!s.pass_before(1, false).pass.camera_moved());
    let camera = source.camera.id.as_deref();
    assert_eq!(backgrounds.load(camera, &source.lane), Some(background()));
    let mode = |path: &std::path::Path| path.metadata().unwrap().permissions().mode() & 0o777;
    let folder = s.folder().join(BACKGROUND_FOLDER);
    let file = std::fs::read_dir(&folder).unwrap().next().unwrap().unwrap();
    assert_eq!((mode(&folder), mode(&file.path())), (0o700, 0o600));
    // With another lane it is another place.
    let mut elsewhere = source.lane.clone();
    elsewhere.tilt_deg += 3.0;
    assert_eq!(backgrounds.load(camera, &elsewhere), None);

    s.vision
        .send(status(Some(SightTrouble::CameraMoved), FeedState::Lost))
        .unwrap();
    let view = s.until("it is told", |v| v.station.camera_moved);
    assert_eq!(
        view.station.problems[0],
        "the camera was moved: check the line. Until then nothing is judged"
    );
    let done = s.pass_before(2, true);
    assert!(done.pass.camera_moved());
    let reason = NotJudged::CameraMoved;
    assert_eq!(done.cue.kind, CueKind::NotJudged { reason });
    assert!(done.pass.pushes.iter().all(|push| push.flags.is_empty()));

    // Nobody can say that it stands right without a picture.
    let why = s.refused(Command::CameraStandsRight);
    assert!(why.contains("no picture now"), "{why}");
    assert_eq!(backgrounds.load(camera, &source.lane), Some(background()));
    s.vision
        .send(status(Some(SightTrouble::CameraMoved), FeedState::Live))
        .unwrap();
    s.until("it is live", |v| v.station.camera_live);

    // The coach says that it stands right: vision is told, and nothing of before is kept.
    s.done(Command::CameraStandsRight);
    assert_eq!(s.stands_right.try_iter().count(), 1);
    assert_eq!(backgrounds.load(camera, &source.lane), None);
    s.vision.send(status(None, FeedState::Live)).unwrap();
    let view = s.until("it is over", |v| !v.station.camera_moved);
    assert!(view.station.problems.iter().all(|p| !p.contains("moved")));
    assert!(!s.pass_before(3, false).pass.camera_moved());
}

/// Each place of a camera has its background: a lane that is taken again next week is held to
/// its own, and one that is saved anew is learned anew.
#[test]
fn each_lane_keeps_its_own_background() {
    let dir = tempfile::tempdir().unwrap();
    let backgrounds = Backgrounds::new(dir.path());
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let here = Lane::load(&root.join("config/lane-side.toml")).unwrap();
    let mut there = here.clone();
    there.lane_distance_m += 0.5;
    backgrounds.save(Some("a"), &here, background()).unwrap();
    backgrounds.save(Some("a"), &there, background()).unwrap();
    assert!(backgrounds.load(Some("a"), &here).is_some());
    assert!(backgrounds.load(Some("b"), &here).is_none());
    // Other statures and another direction are no other place.
    let mut evening = here.clone();
    evening.skater_height_m += 0.2;
    evening.travel = Travel::RightToLeft;
    assert!(backgrounds.load(Some("a"), &evening).is_some());
    backgrounds.forget(Some("a"), &evening).unwrap();
    assert!(backgrounds.load(Some("a"), &here).is_none());
    assert!(backgrounds.load(Some("a"), &there).is_some());
    // Only the newest stay.
    for k in 0..20_u32 {
        let mut place = here.clone();
        place.tilt_deg += f64::from(k);
        backgrounds.save(None, &place, background()).unwrap();
    }
    let files = std::fs::read_dir(dir.path().join(BACKGROUND_FOLDER)).unwrap();
    assert_eq!(files.count(), 12);
}
