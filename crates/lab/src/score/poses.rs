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
    let mut source = capture::open(&SourceSpec::parse(&video.to_string_lossy())?)?;
    estimator.reset();
    set_view(estimator, view);
    let mut frames = Vec::new();
    while let Some(frame) = source.next_frame()? {
        frames.push(estimator.process(&frame)?);
    }
    Ok(frames)
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
