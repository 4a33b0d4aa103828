//! People who walk are never judged.
//!
//! Outside truth: the sample video of pedestrians in the Debian package
//! `opencv-doc` (`examples/data/vtest.avi`, 768x576, 10 frames a second),
//! found through `KICKPLATE_SAMPLE_VIDEO` as `./station test` sets it, or at
//! the place the package puts it. Nobody there skates.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::path::{Path, PathBuf};

use kickplate::capture::{self, SourceSpec};
use kickplate::config::{Lane, Subject, Travel, View};
use kickplate::pose::{EngineKind, Estimator, ModelKind, PoseFrame, PoseSettings};
use kickplate::rules::{AgeGroup, Thresholds};
use kickplate_lab::score::judge_poses;

/// Seconds of the video that are looked at; the slower engine gets fewer.
const NATIVE_S: f64 = 60.0;
const EMBEDDED_S: f64 = 20.0;

fn sample_video() -> Option<PathBuf> {
    let set = std::env::var_os("KICKPLATE_SAMPLE_VIDEO").map(PathBuf::from);
    let usual = PathBuf::from("/usr/share/doc/opencv-doc/examples/data/vtest.avi");
    set.into_iter().chain([usual]).find(|p| p.is_file())
}

fn poses(video: &Path) -> Vec<PoseFrame> {
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut estimator = Estimator::new(home, PoseSettings::default()).unwrap();
    let until_s = match estimator.engine().kind {
        EngineKind::Native => NATIVE_S,
        EngineKind::Embedded => EMBEDDED_S,
    };
    let mut source = capture::open(&SourceSpec::parse(&video.to_string_lossy()).unwrap()).unwrap();
    let mut frames = Vec::new();
    while let Some(frame) = source.next_frame().unwrap() {
        if frame.captured_at_s > until_s {
            break;
        }
        frames.push(estimator.process(&frame).unwrap());
    }
    frames
}

fn lane(view: View, travel: Travel, [height_m, tilt_deg, hfov_deg, distance_m]: [f64; 4]) -> Lane {
    Lane {
        view,
        camera_height_m: height_m,
        tilt_deg,
        hfov_deg,
        roll_deg: 0.0,
        lane_distance_m: distance_m,
        travel,
        skater_height_m: 1.70,
        subject: Subject::People,
        errors: Default::default(),
        checked: None,
    }
}

#[test]
fn pedestrians_make_no_pass() {
    let Some(video) = sample_video() else {
        return kickplate_testing::cannot_run(
            "the sample video of the Debian package opencv-doc is not there; apt-get install opencv-doc",
        );
    };
    let frames = poses(&video);
    let bodies: usize = frames.iter().map(|f| f.bodies.len()).sum();
    println!("{} frames, {bodies} bodies", frames.len());
    assert!(bodies > 100, "the people in the video were not even seen");

    // Height, tilt, field of view, distance, as a camera stands at a rink. The
    // sample was taken from an upper floor, so none of these is its own
    // geometry: the people must be refused all the same.
    let low = [1.2, 3.0, 62.0, 6.0];
    let far = [1.6, 5.0, 70.0, 9.0];
    let bench = [2.5, 12.0, 60.0, 8.0];
    let in_line = [1.4, 3.0, 62.0, 0.5];
    let in_line_bench = [2.5, 10.0, 60.0, 1.0];
    let mut lanes = Vec::new();
    for set_up in [low, far, bench] {
        for travel in [Travel::LeftToRight, Travel::RightToLeft] {
            lanes.push(lane(View::Side, travel, set_up));
            lanes.push(lane(View::Oblique, travel, set_up));
        }
    }
    for set_up in [in_line, in_line_bench] {
        lanes.push(lane(View::Front, Travel::Toward, set_up));
        lanes.push(lane(View::Rear, Travel::Away, set_up));
    }
    let thresholds = Thresholds::defaults(AgeGroup::Adult);
    let mut wrong = Vec::new();
    for lane in &lanes {
        for pass in judge_poses(frames.iter().cloned(), ModelKind::Full, lane, &thresholds) {
            wrong.push(format!(
                "{:?} {:?} {} m high: {:.1} to {:.1} s at {:.1} m/s, {} pushes",
                lane.view,
                lane.travel,
                lane.camera_height_m,
                pass.started_at_s,
                pass.ended_at_s,
                pass.speed_mps,
                pass.pushes.len()
            ));
        }
    }
    assert!(
        wrong.is_empty(),
        "{} passes:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}
