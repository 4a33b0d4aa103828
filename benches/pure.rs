//! The pure parts behind the pose model, on the body points of one rendered
//! pass (`tests/truth/coach`, made as `docs/accuracy.md` says).
//!
//! `cargo bench --bench pure`; one of them: `cargo bench --bench pure -- cut`.

#![allow(clippy::unwrap_used, missing_docs, reason = "a bench, not the program")]

use std::hint::black_box;
use std::path::Path;

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use kickplate::config::Lane;
use kickplate::feedback::{CueSelector, FeedbackSettings};
use kickplate::geometry::butterworth_zero_phase;
use kickplate::pose::{PoseFrame, TraceFrame};
use kickplate::rules::{AgeGroup, Thresholds, judge};
use kickplate::stride::cut;
use kickplate::track::{Pass, TrackEvent, TrackSettings, Tracker};
use serde::Deserialize;

#[derive(Deserialize)]
struct Case {
    age_group: AgeGroup,
    lane: Lane,
    frames: Vec<TraceFrame>,
}

/// One pass in the side view, frame by frame.
fn case() -> (AgeGroup, Lane, Vec<PoseFrame>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/truth/coach/U13-good-side.json");
    let case: Case = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let frames = case.frames.iter().map(TraceFrame::to_frame).collect();
    (case.age_group, case.lane, frames)
}

fn track(lane: &Lane, frames: &[PoseFrame]) -> Vec<Pass> {
    let mut tracker = Tracker::new(lane.clone(), TrackSettings::default());
    let mut events: Vec<_> = frames.iter().flat_map(|f| tracker.push(f)).collect();
    events.extend(tracker.finish());
    events
        .into_iter()
        .filter_map(|event| match event {
            TrackEvent::PassEnded(pass) => Some(*pass),
            TrackEvent::PassStarted { .. } => None,
        })
        .collect()
}

fn benches(c: &mut Criterion) {
    let (group, lane, frames) = case();
    let passes = track(&lane, &frames);
    let pass = passes.iter().max_by_key(|p| p.samples.len()).unwrap();
    let thresholds = Thresholds::defaults(group);
    let motion = cut(pass, &lane);
    let judged = judge(&motion, &thresholds);
    println!(
        "{} frames, a pass of {} samples with {} pushes",
        frames.len(),
        pass.samples.len(),
        motion.pushes.len()
    );

    // All frames of the clip, a quarter of them without anybody.
    c.bench_function("tracker: the frames of a clip", |b| {
        b.iter(|| track(black_box(&lane), black_box(&frames)));
    });
    c.bench_function("stride: cut a pass", |b| {
        b.iter(|| cut(black_box(pass), black_box(&lane)));
    });
    c.bench_function("rules: judge a pass", |b| {
        b.iter(|| judge(black_box(&motion), black_box(&thresholds)));
    });
    c.bench_function("feedback: a cue", |b| {
        b.iter_batched_ref(
            || CueSelector::new(FeedbackSettings::default()),
            |coach| coach.after_pass(black_box(&judged)),
            BatchSize::SmallInput,
        );
    });
    let curve: Vec<f64> = (0..240).map(|i| (f64::from(i) * 0.21).sin()).collect();
    c.bench_function("geometry: zero-phase filter of 240 samples", |b| {
        b.iter(|| butterworth_zero_phase(black_box(&curve), 6.0, 60.0));
    });
}

criterion_group!(pure, benches);
criterion_main!(pure);
