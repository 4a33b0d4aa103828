//! A clip of the demo whose camera is knocked in the middle, in memory.

use std::path::Path;

use kickplate::capture::{self, Frame, SourceSpec};
use kickplate::config::Lane;
use kickplate::feedback::{CueKind, FeedbackSettings};
use kickplate::rules::{AgeGroup, AgeGroups, NotJudged};
use kickplate::standing::{Standing, StandingWatch};
use kickplate::station::{Analyser, EngineChoice, FinishedPass, Judging, ModelChoice};
use kickplate::track::TrackSettings;

const CLIP: &str = "demo/side-good.mp4";
/// The clip lasts 8 s; so long after its beginning it begins again.
const ROUND_S: f64 = 8.5;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Gives every frame of the clip to `each`, with its number.
fn play(mut each: impl FnMut(u32, Frame)) {
    let path = root().join(CLIP);
    let mut source = capture::open(&SourceSpec::File { path }).unwrap();
    let mut number = 0;
    while let Some(frame) = source.next_frame().unwrap() {
        each(number, frame);
        number += 1;
    }
}

/// A frame of a camera that was turned about its axis and shifted by whole pixels; the edge
/// goes on. A turn is exact so: it is the same picture, turned.
fn moved(frame: &Frame, turn_deg: f64, [right, down]: [f64; 2]) -> Frame {
    let (width, height) = (frame.width as usize, frame.height as usize);
    let (sin, cos) = turn_deg.to_radians().sin_cos();
    let (cx, cy) = (width as f64 / 2.0, height as f64 / 2.0);
    let mut rgb = Vec::with_capacity(frame.rgb.len());
    for row in 0..height {
        for column in 0..width {
            let (x, y) = (column as f64 - cx, row as f64 - cy);
            let from_x = (cos * x - sin * y + cx + right).round();
            let from_y = (sin * x + cos * y + cy + down).round();
            let inside = |v: f64, most: usize| v.clamp(0.0, (most - 1) as f64) as usize;
            let at = (inside(from_y, height) * width + inside(from_x, width)) * 3;
            rgb.extend_from_slice(&frame.rgb[at..at + 3]);
        }
    }
    Frame { rgb, ..*frame }
}

fn judging(lane: &Lane) -> Judging {
    Judging {
        lane: lane.clone(),
        thresholds: AgeGroups::defaults().thresholds(AgeGroup::Adult),
        track: TrackSettings::default(),
        feedback: FeedbackSettings::default(),
    }
}

/// Before the knock passes are judged. After it none is: no value, no order and no praise
/// is left, and the reason is the camera.
#[test]
fn what_is_skated_after_a_knock_is_not_judged() {
    let lane = Lane::load(&root().join("demo/side-good.toml")).unwrap();
    let (model, engine) = (ModelChoice::Full, EngineChoice::Auto);
    let mut analyser = Analyser::new(root(), model, engine, judging(&lane)).unwrap();
    analyser.watch_standing();
    let mut passes: Vec<FinishedPass> = Vec::new();
    for (round, turn_deg) in [0.0, 3.0].into_iter().enumerate() {
        play(|_, frame| {
            let at_s = frame.captured_at_s + round as f64 * ROUND_S;
            let mut seen = match turn_deg == 0.0 {
                true => frame,
                false => moved(&frame, turn_deg, [0.0, 0.0]),
            };
            seen.captured_at_s = at_s;
            passes.extend(analyser.push(&seen).unwrap().1);
        });
        assert_eq!(analyser.camera_moved(), turn_deg != 0.0);
    }
    passes.extend(analyser.finish());
    let (before, after): (Vec<_>, Vec<_>) = passes
        .into_iter()
        .partition(|done| done.pass.started_at_s < ROUND_S);
    assert!(!before.is_empty() && !after.is_empty());
    for done in &before {
        assert!(!done.pass.camera_moved());
    }
    // Who was in the picture as the clip began anew has no push to speak of.
    let spoken = |done: &&FinishedPass| !matches!(done.cue.kind, CueKind::NotJudged { .. });
    assert!(before.iter().any(|done| spoken(&done)));
    for done in &after {
        let reason = NotJudged::CameraMoved;
        assert_eq!(done.cue.kind, CueKind::NotJudged { reason });
        let pushes = done.pass.pushes.iter();
        let measures = pushes.flat_map(|push| push.measures.values());
        for measure in measures.chain(done.pass.quantities.values()) {
            assert_eq!((measure.value, measure.not_judged), (None, Some(reason)));
        }
        assert!(done.pass.pushes.iter().all(|push| push.flags.is_empty()));
        assert!(!done.points.samples.is_empty(), "what was seen is kept");
    }
}

/// Lamps that flicker against the camera and a stand that sways by two pixels, over
/// a busy lane in which nobody was found.
#[test]
fn flicker_and_sway_are_no_knock() {
    let wave = |at: f64| (std::f64::consts::TAU * at).sin();
    let mut watch = StandingWatch::new(62.0, None);
    for round in 0..3 {
        play(|number, frame| {
            // The watch looks twice a second.
            if number % 15 != 0 {
                return;
            }
            let at_s = frame.captured_at_s + f64::from(round) * ROUND_S;
            let sway = [2.0 * wave(0.83 * at_s), 2.0 * wave(1.27 * at_s)];
            let mut seen = moved(&frame, 0.0, sway);
            let stride = seen.width as usize * 3;
            let height = seen.height as usize;
            for (row, line) in seen.rgb.chunks_exact_mut(stride).enumerate() {
                let band = 1.0 + 0.25 * wave(1.3 * row as f64 / height as f64 + 0.37 * at_s);
                for grey in line {
                    *grey = (f64::from(*grey) * band).min(255.0) as u8;
                }
            }
            seen.captured_at_s = at_s;
            watch.frame(&seen, std::iter::empty());
            assert_ne!(watch.standing(), Standing::Moved, "{at_s}");
            assert!(!watch.is_doubtful(), "{at_s}");
        });
    }
    assert_eq!(watch.standing(), Standing::Stands);
}
