//! The estimator in a scene before a still camera: a rendered skater is moved
//! over a plain background, vanishes, and appears elsewhere.
//!
//! What is true here is known because the scene is built here. The skater's
//! picture: `tests/golden/README.md`.

use std::path::Path;

use image::RgbImage;
use image::imageops::FilterType;
use kickplate::capture::Frame;
use kickplate::pose::{BodyPoint, EngineChoice, Estimator, PoseFrame, PoseSettings};

const WIDTH: u32 = 1280;
const HEIGHT: u32 = 720;

/// Ice, boards and a fixed grain, so that the scene is not featureless.
fn background(x: u32, y: u32) -> [u8; 3] {
    let grain = ((x.wrapping_mul(2_654_435_761) ^ y.wrapping_mul(40_503)) >> 7) as u8 % 9;
    match y {
        0..=229 => [40 + grain, 42 + grain, 48 + grain],
        230..=259 => [225 + grain, 225 + grain, 228 + grain],
        _ => [196 + grain, 202 + grain, 208 + grain],
    }
}

/// Noise of the sensor: another one in every frame, about +-6 grey levels.
fn noise(seq: u64, index: usize) -> i16 {
    let mut z = (seq << 32) ^ index as u64 ^ 0x9e37_79b9_7f4a_7c15;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    (z >> 61) as i16 - (z >> 58 & 7) as i16
}

struct Scene {
    skater: RgbImage,
    empty: Vec<u8>,
}

impl Scene {
    /// `side_px`: how large the skater's square picture is shown; the body in
    /// it is 0.65 of that high.
    fn new(side_px: u32) -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/side.png");
        let picture = image::open(path).expect("picture").to_rgb8();
        let mut empty = Vec::with_capacity((WIDTH * HEIGHT * 3) as usize);
        for y in 0..HEIGHT {
            for x in 0..WIDTH {
                empty.extend(background(x, y));
            }
        }
        Self {
            empty,
            skater: image::imageops::resize(&picture, side_px, side_px, FilterType::Triangle),
        }
    }

    /// A frame with the skaters' pictures at the given top-left corners.
    fn frame(&self, seq: u64, skaters: &[(i32, i32)]) -> Frame {
        let mut rgb = self.empty.clone();
        for &(left, top) in skaters {
            for (x, y, pixel) in self.skater.enumerate_pixels() {
                let (x, y) = (left + x as i32, top + y as i32);
                if (0..WIDTH as i32).contains(&x) && (0..HEIGHT as i32).contains(&y) {
                    let at = (y as usize * WIDTH as usize + x as usize) * 3;
                    rgb[at..at + 3].copy_from_slice(&pixel.0);
                }
            }
        }
        for (index, value) in rgb.iter_mut().enumerate() {
            *value = (i16::from(*value) + noise(seq, index)).clamp(0, 255) as u8;
        }
        Frame {
            seq,
            captured_at_s: seq as f64 / 30.0,
            width: WIDTH,
            height: HEIGHT,
            rgb,
        }
    }

    /// Whether a body's hips are where the shown skater's hips are (in the
    /// picture they are at 0.47 of its width and 0.43 of its height, read off
    /// the picture), within a tenth of the picture.
    fn shows(&self, found: &PoseFrame, (left, top): (i32, i32)) -> bool {
        let side = self.skater.width() as f32;
        found.bodies.iter().any(|body| {
            let (a, b) = (
                body.point(BodyPoint::LeftHip),
                body.point(BodyPoint::RightHip),
            );
            let dx = (a.x_px + b.x_px) / 2.0 - left as f32 - 0.47 * side;
            let dy = (a.y_px + b.y_px) / 2.0 - top as f32 - 0.43 * side;
            dx.hypot(dy) < 0.1 * side
        })
    }
}

fn estimator() -> Estimator {
    let settings = PoseSettings {
        engine: EngineChoice::Embedded,
        ..PoseSettings::default()
    };
    Estimator::new(Path::new(env!("CARGO_MANIFEST_DIR")), settings).expect("embedded engine")
}

/// A body of 12 % of the frame's height: found within four frames of its
/// appearance although the detector finds nobody of that size in a whole
/// frame; one unbroken chain while it moves; gone within two frames when it
/// vanishes; found again elsewhere with a new chain; nobody ever where nobody
/// is.
#[test]
fn a_small_skater_is_found_followed_lost_and_found_again() {
    let scene = Scene::new(133);
    let mut estimator = estimator();
    let mut seq = 0;
    let mut show = |estimator: &mut Estimator, at: &[(i32, i32)]| {
        let found = estimator.process(&scene.frame(seq, at)).expect("run");
        seq += 1;
        found
    };
    for _ in 0..4 {
        assert!(
            show(&mut estimator, &[]).bodies.is_empty(),
            "an empty scene"
        );
    }
    let mut chain = None;
    for k in 0..16 {
        let at = (300 + 12 * k, 330);
        let found = show(&mut estimator, &[at]);
        assert!(
            found.bodies.len() <= 1,
            "{} bodies of one skater",
            found.bodies.len()
        );
        if k >= 4 {
            assert!(scene.shows(&found, at), "frame {k} of the first pass");
            let now = found.bodies[0].chain;
            assert_eq!(
                *chain.get_or_insert(now),
                now,
                "the chain broke in frame {k}"
            );
        }
    }
    // One landmark run a frame while following, a few more to begin.
    let runs = estimator.counters().landmark_runs;
    assert!(
        runs <= 16 + 6,
        "{runs} landmark runs for one skater in 16 frames"
    );
    let _ = show(&mut estimator, &[]);
    for k in 1..4 {
        let found = show(&mut estimator, &[]);
        assert!(
            found.bodies.is_empty(),
            "a body {k} frames after the skater vanished"
        );
    }
    for k in 0..10 {
        let at = (900 - 12 * k, 380);
        let found = show(&mut estimator, &[at]);
        if k >= 4 {
            assert!(scene.shows(&found, at), "frame {k} of the second pass");
            assert_ne!(
                Some(found.bodies[0].chain),
                chain,
                "chain numbers are not reused"
            );
        }
    }
}

/// At 60 frames a second no frame has more work than a slow machine can do in
/// its time: the detector or one reading of a new skater, beside one reading
/// of each who is followed. The skater is found within a tenth of a second all
/// the same, and a second one beside the first within three tenths.
#[test]
fn a_fast_camera_has_little_work_in_each_frame() {
    let scene = Scene::new(266);
    let mut estimator = estimator();
    let mut found_at = [None; 2];
    for seq in 0..46u64 {
        let k = seq as i32 - 4;
        let mut at = vec![];
        if k >= 0 {
            at.push((200 + 6 * k, 300));
        }
        if k >= 14 {
            at.push((900 - 6 * (k - 14), 280));
        }
        let mut frame = scene.frame(seq, &at);
        frame.captured_at_s = seq as f64 / 60.0;
        let (before, followed) = (
            estimator.counters(),
            found_at.iter().flatten().count() as u64,
        );
        let found = estimator.process(&frame).expect("run");
        let now = estimator.counters();
        let detections = now.detector_runs - before.detector_runs;
        let readings = now.landmark_runs - before.landmark_runs;
        assert!(
            detections <= 1 && readings + detections <= followed + 1,
            "frame {seq}: {detections} detector runs and {readings} readings, {followed} followed"
        );
        for (skater, when) in found_at.iter_mut().enumerate() {
            if when.is_none()
                && at
                    .get(skater)
                    .is_some_and(|place| scene.shows(&found, *place))
            {
                *when = Some(k - 14 * skater as i32);
            }
        }
    }
    assert!(found_at[0].is_some_and(|k| k <= 6), "{found_at:?}");
    assert!(found_at[1].is_some_and(|k| k <= 18), "{found_at:?}");
    assert_eq!(estimator.counters().chains, 2);
}

/// The clip begins with the skater in view, so the first background holds
/// her; two skaters at once keep two chains.
#[test]
fn skaters_in_view_from_the_first_frame_and_two_at_once() {
    let scene = Scene::new(300);
    let mut estimator = estimator();
    let mut chains = Vec::new();
    for k in 0..12i32 {
        let at = [(200 + 14 * k, 250), (800 - 10 * k, 300)];
        let found = estimator.process(&scene.frame(k as u64, &at)).expect("run");
        if k >= 5 {
            assert!(scene.shows(&found, at[0]), "first skater, frame {k}");
            assert!(scene.shows(&found, at[1]), "second skater, frame {k}");
            assert_eq!(found.bodies.len(), 2, "frame {k}");
            chains.extend(found.bodies.iter().map(|b| b.chain));
        }
    }
    chains.sort_unstable();
    chains.dedup();
    assert_eq!(chains.len(), 2, "two skaters, two chains: {chains:?}");
}

/// A sudden change of light, or a bumped camera, gives no bodies.
#[test]
fn another_light_gives_no_bodies() {
    let scene = Scene::new(300);
    let mut estimator = estimator();
    for seq in 0..8 {
        let mut frame = scene.frame(seq, &[]);
        if seq >= 4 {
            for value in &mut frame.rgb {
                *value = (f32::from(*value) * 0.6) as u8;
            }
        }
        assert!(
            estimator.process(&frame).expect("run").bodies.is_empty(),
            "frame {seq}"
        );
    }
}
