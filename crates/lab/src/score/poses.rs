//! The body points of a clip: read by the model, or from a trace kept of an
//! earlier run.

use std::path::Path;

use anyhow::Context;

use kickplate::capture::{self, SourceSpec};
use kickplate::config::View;
use kickplate::pose::{Estimator, PoseFrame, TraceFrame};
use kickplate::station::set_view;

/// Reads a video's bodies with the model, every frame of it, as from a lane with
/// this view.
///
/// # Errors
/// A video that cannot be read to its end, an engine that fails.
pub fn read_poses(
    video: &Path,
    view: View,
    estimator: &mut Estimator,
) -> anyhow::Result<Vec<PoseFrame>> {
    read_poses_at(video, view, None, estimator)
}

/// The same, of so many frames a second where a rate is given: those first in even steps
/// of time. The model never sees the others.
///
/// # Errors
/// As [`read_poses`].
pub fn read_poses_at(
    video: &Path,
    view: View,
    rate: Option<f64>,
    estimator: &mut Estimator,
) -> anyhow::Result<Vec<PoseFrame>> {
    let mut source = capture::open(&SourceSpec::parse(&video.to_string_lossy())?)?;
    estimator.reset();
    set_view(estimator, view);
    let mut frames = Vec::new();
    let mut last_step = f64::NEG_INFINITY;
    while let Some(frame) = source.next_frame()? {
        if let Some(rate) = rate {
            let step = step(frame.captured_at_s, rate);
            if step <= last_step {
                source.reuse(frame.rgb);
                continue;
            }
            last_step = step;
        }
        frames.push(estimator.process(&frame)?);
    }
    Ok(frames)
}

/// The even step of time that a moment is in; with a little to spare for times that were
/// rounded.
fn step(at_s: f64, rate: f64) -> f64 {
    (at_s * rate + 1e-3).floor()
}

/// The trace kept of a clip. `None` where there is none, or where the video
/// is newer.
///
/// # Errors
/// A trace that cannot be read.
pub fn cached_poses(trace: &Path, video: &Path) -> anyhow::Result<Option<Vec<PoseFrame>>> {
    let changed = |p: &Path| p.metadata().and_then(|m| m.modified());
    let Ok(kept_at) = changed(trace) else {
        return Ok(None);
    };
    if changed(video).is_ok_and(|made_at| made_at > kept_at) {
        return Ok(None);
    }
    let name = trace.display();
    let text = std::fs::read_to_string(trace)
        .with_context(|| format!("the pose trace '{name}' cannot be read"))?;
    let frames: Vec<TraceFrame> = serde_json::from_str(&text)
        .with_context(|| format!("'{name}' is no pose trace; delete it to have it made anew"))?;
    Ok(Some(frames.iter().map(TraceFrame::to_frame).collect()))
}

/// Keeps a trace for the next run.
pub(super) fn keep(trace: &Path, frames: &[PoseFrame]) -> anyhow::Result<()> {
    let name = trace.display();
    let frames: Vec<TraceFrame> = frames.iter().map(TraceFrame::from).collect();
    let text = serde_json::to_string(&frames).context("the pose trace cannot be written")?;
    if let Some(folder) = trace.parent() {
        std::fs::create_dir_all(folder)
            .with_context(|| format!("the folder '{}' cannot be made", folder.display()))?;
    }
    std::fs::write(trace, text).with_context(|| {
        format!("the pose trace '{name}' cannot be written; choose another folder with --poses")
    })
}

#[cfg(test)]
mod tests {
    use super::step;

    #[test]
    fn so_many_pictures_a_second_are_left() {
        for (rate, left) in [(30.0, 30), (15.0, 15), (20.0, 20), (8.0, 8), (60.0, 30)] {
            let mut steps: Vec<f64> = (0..30).map(|k| step(f64::from(k) / 30.0, rate)).collect();
            steps.dedup();
            assert_eq!(steps.len(), left, "{rate}");
        }
    }
}
