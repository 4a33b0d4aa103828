use std::path::{Path, PathBuf};

use super::follow::Chain;
use super::push_end::Watch;
use super::*;
use crate::pose::steady::Steady;

fn home() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn estimator() -> Estimator {
    let settings = PoseSettings {
        engine: EngineChoice::Embedded,
        ..PoseSettings::default()
    };
    Estimator::new(&home(), settings).expect("the embedded engine and the models")
}

fn window(picture: &image::RgbImage, x: u32, y: u32, side: u32, seq: u64) -> Frame {
    let part = image::imageops::crop_imm(picture, x, y, side, side).to_image();
    Frame {
        seq,
        captured_at_s: seq as f64 / 30.0,
        width: side,
        height: side,
        rgb: part.into_raw(),
    }
}

/// Following is held against MediaPipe's own video mode on windows that
/// wander over one picture. Expected values: tests/golden/pose.json, made by
/// tools/golden/make_pose_golden.py with MediaPipe 0.10.21. Measured:
/// median 0.11, 95 % below 0.48 px. The tolerance is no equality: even with the same rules two implementations were measured to
/// differ by 2 to 5 px at the 99th percentile. The region is not moved on
/// with the body's speed here, because the original does not do that.
#[test]
fn following_agrees_with_the_original_pipeline() {
    let folder = home().join("tests/golden");
    let text = std::fs::read_to_string(folder.join("pose.json")).expect("golden file");
    let golden: serde_json::Value = serde_json::from_str(&text).expect("golden JSON");
    let video = &golden["video"];
    let number = |v: &serde_json::Value| v.as_f64().expect("a number");
    let side = number(&video["side"]) as u32;
    let name = video["picture"].as_str().expect("a name");
    let picture = image::open(folder.join(name)).expect("picture").to_rgb8();
    let frames = video["frames"].as_array().expect("frames");
    assert!(frames.len() >= 30);

    let mut estimator = estimator();
    estimator.lead = 0.0;
    let mut errors = Vec::new();
    for (k, expected) in frames.iter().enumerate() {
        let (x, y) = (number(&expected["x"]) as u32, number(&expected["y"]) as u32);
        let frame = window(&picture, x, y, side, k as u64);
        if k == 0 {
            let first = estimator.still(&frame, 0).expect("run");
            let roi = first.first().expect("a person in the first window").roi;
            estimator.chains.push(chain_at(roi, first[0].clone()));
        }
        estimator.look_around(&frame).expect("run");
        estimator.follow(&frame);
        let body = &estimator.chains.first().expect("still followed").body;
        for (point, wanted) in body
            .points
            .iter()
            .zip(expected["points"].as_array().expect("points"))
        {
            let dx = f64::from(point.x_px) - number(&wanted[0]);
            let dy = f64::from(point.y_px) - number(&wanted[1]);
            errors.push(dx.hypot(dy));
        }
    }
    errors.sort_by(f64::total_cmp);
    let at = |share: f64| errors[(share * (errors.len() - 1) as f64) as usize];
    println!(
        "median {:.3} p95 {:.3} p99 {:.3} px",
        at(0.5),
        at(0.95),
        at(0.99)
    );
    assert!(at(0.5) < 0.4, "median {} px", at(0.5));
    assert!(at(0.95) < 1.5, "95th percentile {} px", at(0.95));
}

fn chain_at(roi: Roi, body: Body) -> Chain {
    Chain {
        id: 0,
        roi,
        steady: Steady::default(),
        body,
        read_at_s: 0.0,
        speed: [0.0; 2],
        moved_at_s: 0.0,
        watch: Watch::default(),
        firm: false,
    }
}

/// The estimator is moved to its own thread by the station.
#[test]
fn the_estimator_can_be_sent_to_a_thread() {
    fn sendable<T: Send>() {}
    sendable::<Estimator>();
}

#[test]
fn a_frame_of_the_wrong_size_is_named() {
    let mut estimator = estimator();
    let frame = Frame {
        seq: 7,
        captured_at_s: 0.0,
        width: 4,
        height: 4,
        rgb: vec![0; 47],
    };
    let error = estimator.process(&frame).expect_err("47 bytes are not 48");
    assert!(
        error.to_string().contains("frame 7 holds 47 bytes"),
        "{error}"
    );
}

#[test]
fn a_missing_library_falls_back_or_is_named() {
    let nowhere = Path::new("/nonexistent/libonnxruntime.so");
    let auto = Runtime::choose_with(EngineChoice::Auto, nowhere).expect("falls back");
    assert_eq!(auto.info().kind, crate::pose::EngineKind::Embedded);
    assert!(auto.info().why.contains("/nonexistent/libonnxruntime.so"));
    let native = Runtime::choose_with(EngineChoice::Native, nowhere);
    let Err(error) = native else {
        panic!("there is no such library")
    };
    let text = error.to_string();
    assert!(
        text.contains("/nonexistent/libonnxruntime.so") && text.contains("get_onnxruntime.sh"),
        "{text}"
    );

    // A file that is no library is refused as cleanly.
    let dir = tempfile::tempdir().expect("temporary folder");
    let file = dir.path().join("libonnxruntime.so");
    std::fs::write(&file, b"no library").expect("write");
    let auto = Runtime::choose_with(EngineChoice::Auto, &file).expect("falls back");
    assert_eq!(auto.info().kind, crate::pose::EngineKind::Embedded);
}

#[test]
fn an_empty_scene_has_no_bodies_and_costs_no_model_runs() {
    let mut estimator = estimator();
    for seq in 0..4 {
        let frame = Frame {
            seq,
            captured_at_s: seq as f64 / 30.0,
            width: 640,
            height: 360,
            rgb: vec![180; 640 * 360 * 3],
        };
        assert!(estimator.process(&frame).expect("run").bodies.is_empty());
    }
    let c = estimator.counters();
    assert_eq!((c.frames, c.detector_runs, c.landmark_runs), (4, 0, 0));
}

/// A source that begins anew (a clip in a loop) or changes its size is another
/// scene: nothing is carried over, nothing is refused.
#[test]
fn time_running_backward_and_another_size_begin_anew() {
    let mut estimator = estimator();
    let mut show = |width: u32, level: u8, at_s: f64| {
        let frame = Frame {
            seq: 0,
            captured_at_s: at_s,
            width,
            height: 360,
            rgb: vec![level; (width * 360 * 3) as usize],
        };
        estimator.process(&frame).expect("run");
        estimator.motion.relit()
    };
    assert!(show(640, 100, 5.0), "the first frame is the background");
    assert!(!show(640, 100, 5.1));
    assert!(show(640, 100, 0.0), "time ran backward");
    assert!(!show(640, 100, 0.1));
    assert!(show(320, 100, 0.2), "another size");
}
