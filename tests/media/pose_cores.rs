//! What is done beside the landmark runs of a frame changes no number: one core
//! and two give the same bodies and the same legs.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::path::Path;

use kickplate::capture::{SourceSpec, open};
use kickplate::pose::{
    EngineChoice, Estimator, ModelKind, PoseCounters, PoseError, PoseFrame, PoseSettings,
};

fn home() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The first frames of rendered skaters from the side, on so many cores.
fn bodies(
    engine: EngineChoice,
    model: ModelKind,
    cores: usize,
    frames: usize,
) -> Result<(Vec<PoseFrame>, PoseCounters), PoseError> {
    let settings = PoseSettings {
        model,
        engine,
        cores,
        ..PoseSettings::default()
    };
    let mut estimator = Estimator::new(home(), settings)?;
    estimator.watch_push_ends(true);
    let path = home().join("demo/side-good.mp4");
    let mut source = open(&SourceSpec::File { path }).unwrap();
    let mut found = Vec::new();
    while let Some(frame) = source.next_frame().unwrap() {
        if found.len() == frames {
            break;
        }
        found.push(estimator.process(&frame)?);
    }
    Ok((found, estimator.counters()))
}

/// Gives how often legs were read; nothing where the engine is not there.
fn same_on_one_core_and_on_two(
    engine: EngineChoice,
    model: ModelKind,
    frames: usize,
) -> Option<u64> {
    let one = bodies(engine, model, 1, frames);
    if let Err(PoseError::NativeUnavailable { why }) = &one {
        kickplate_testing::cannot_run(&format!("the part with ONNX Runtime: {why}"));
        return None;
    }
    let (one, counted) = one.unwrap();
    let (two, counted_on_two) = bodies(engine, model, 2, frames).unwrap();
    assert_eq!(one.len(), frames);
    assert_eq!(one, two);
    assert!(counted.bodies > 20, "{counted:?}");
    let detected = |c: &PoseCounters| (c.detector_runs, c.landmark_runs, c.bodies);
    assert_eq!(detected(&counted), detected(&counted_on_two));
    // Some legs are read in vain; those asked for are all read.
    assert!(counted_on_two.leg_runs >= counted.leg_runs);
    Some(counted.leg_runs)
}

#[test]
fn the_native_engine_gives_the_same_on_one_core_and_on_two() {
    let legs = same_on_one_core_and_on_two(EngineChoice::Native, ModelKind::Full, 75);
    assert!(
        legs != Some(0),
        "no legs were read, so nothing was compared"
    );
}

#[test]
fn the_embedded_engine_gives_the_same_on_one_core_and_on_two() {
    let legs = same_on_one_core_and_on_two(EngineChoice::Embedded, ModelKind::Lite, 50);
    assert_eq!(legs, Some(0), "the lite model goes without");
}
