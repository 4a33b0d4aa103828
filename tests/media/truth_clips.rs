//! The whole chain over rendered clips whose truth is exact: the committed set
//! under `tests/truth` (made by `tools/skater/render_set.py small`) and the
//! clips of the demo. Figures that have to hold; `docs/accuracy.md` has the
//! larger set. Rendered bodies are not people: what passes here is the chain,
//! not a promise about a rink.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::path::{Path, PathBuf};

use kickplate::config::View;
use kickplate::pose::{EngineKind, Estimator, ModelKind, PoseSettings};
use kickplate_lab::score::{ClipScore, Truth, read_poses, score_clip};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Video and truth of every committed clip.
fn clips() -> Vec<(String, PathBuf, PathBuf)> {
    let truth = root().join("tests/truth");
    let mut clips = Vec::new();
    for entry in std::fs::read_dir(truth.join("clips")).unwrap() {
        let folder = entry.unwrap().path();
        let name = folder.file_name().unwrap().to_string_lossy().into_owned();
        clips.push((name, folder.join("clip.mp4"), folder.join("truth.json")));
    }
    for entry in std::fs::read_dir(truth.join("demo")).unwrap() {
        let file = entry.unwrap().path();
        let name = file.file_stem().unwrap().to_string_lossy().into_owned();
        let video = root().join("demo").join(&name).with_extension("mp4");
        clips.push((name, video, file));
    }
    clips.sort();
    clips
}

fn scores() -> Vec<ClipScore> {
    let mut estimator = Estimator::new(root(), PoseSettings::default()).unwrap();
    println!("engine: {:?}", estimator.engine());
    clips()
        .into_iter()
        .map(|(name, video, truth)| {
            let truth = Truth::load(&truth).unwrap();
            let frames = read_poses(&video, truth.lane().view, &mut estimator).unwrap();
            assert_eq!(frames.len(), truth.frames, "{name}: frames of the video");
            score_clip(&name, &truth, ModelKind::Full, frames.into_iter())
        })
        .collect()
}

/// The legs are read once more from the side, around the ends of pushes, and not
/// from another view.
#[test]
fn the_second_reader_looks_from_the_side_and_now_and_then() {
    let mut estimator = Estimator::new(root(), PoseSettings::default()).unwrap();
    if estimator.engine().kind == EngineKind::Embedded {
        return kickplate_testing::cannot_run(
            "ONNX Runtime is not there, and the embedded engine goes without a second reader; sh tools/get_onnxruntime.sh",
        );
    }
    let video = root().join("tests/truth/clips/side-adult/clip.mp4");
    for view in [View::Side, View::Front] {
        let frames = read_poses(&video, view, &mut estimator).unwrap();
        let bodies: Vec<_> = frames.iter().flat_map(|f| &f.bodies).collect();
        let read = bodies.iter().filter(|b| b.legs.is_some()).count();
        println!("{view:?}: {read} of {}", bodies.len());
        assert_eq!(read as u64, estimator.counters().leg_runs);
        match view {
            View::Side => assert!(read >= 8 && read * 2 < bodies.len(), "{read}"),
            _ => assert_eq!(read, 0),
        }
    }
}

/// Pushes whole in view, of a skater of at least 12 % of the frame's height:
/// 95 % found, under 2 % false, toe-off within 1 frame in the median and
/// within 2 frames of 30 a second for 90 %.
#[test]
fn pushes_are_found_where_they_are_and_when_they_are() {
    let scores = scores();
    assert!(scores.len() >= 10, "the committed clips are not all there");
    let count = |f: fn(&ClipScore) -> usize| scores.iter().map(f).sum::<usize>();
    let (asked, found) = (count(|s| s.asked), count(|s| s.found));
    let (reported, wrong) = (count(|s| s.reported), count(|s| s.false_pushes));
    let mut off: Vec<f64> = scores
        .iter()
        .flat_map(|s| s.toe_off_frames.iter().map(|e| e.abs()))
        .collect();
    off.sort_by(f64::total_cmp);
    for s in &scores {
        println!(
            "{}: {} of {} found, {} false of {}; missed {:?}, invented {:?}",
            s.name, s.found, s.asked, s.false_pushes, s.reported, s.missed, s.invented
        );
    }
    let (median, nine_of_ten) = (off[off.len() / 2], off[off.len() * 9 / 10]);
    println!(
        "{found} of {asked}, {wrong} false of {reported}, toe-off {median:.2} and {nine_of_ten:.2} frames"
    );
    assert!(asked >= 50, "only {asked} pushes to look for");
    assert!(found as f64 >= 0.95 * asked as f64);
    assert!((wrong as f64) < 0.02 * reported as f64);
    assert!(median <= 1.0);
    assert!(nine_of_ten <= 2.0);
}
