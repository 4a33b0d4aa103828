//! From the camera's frames to tracked passes: the second camera's pipeline,
//! and the lighter model that takes over where the machine is too slow.

pub mod camera_pipeline;
pub mod load_monitor;
mod model_fallback;
pub mod sight_watch;
pub mod tracking;
pub mod watch;

use std::time::Duration;

use crate::config::View;
use crate::pose::{self, Estimator, PoseSettings};
use crate::station::settings::choices::{EngineChoice, ModelChoice};

/// Pause before the model is loaded again after a fault.
pub(super) const LOAD_AGAIN: Duration = Duration::from_secs(5);

/// The cores of this computer, `most` at most.
pub(in crate::station) fn cores_up_to(most: usize) -> usize {
    std::thread::available_parallelism().map_or(1, |n| n.get().min(most))
}

/// The station's words for the model and the engine as the pose module takes
/// them, for live use: the picture, the sound and the camera need the second
/// core, but the heavy model needs it more.
pub fn pose_settings(model: ModelChoice, engine: EngineChoice) -> PoseSettings {
    PoseSettings {
        model: model_kind(model),
        engine: match engine {
            EngineChoice::Auto => pose::EngineChoice::Auto,
            EngineChoice::Native => pose::EngineChoice::Native,
            EngineChoice::Embedded => pose::EngineChoice::Embedded,
        },
        cores: match model {
            ModelChoice::Heavy => cores_up_to(2),
            ModelChoice::Full | ModelChoice::Lite => 1,
        },
        ..PoseSettings::default()
    }
}

/// Tells the pose model from where it sees the skaters.
pub fn set_view(estimator: &mut Estimator, view: View) {
    estimator.watch_push_ends(view == View::Side);
}

/// The station's word for the model as the pose module takes it.
pub fn model_kind(model: ModelChoice) -> pose::ModelKind {
    match model {
        ModelChoice::Heavy => pose::ModelKind::Heavy,
        ModelChoice::Full => pose::ModelKind::Full,
        ModelChoice::Lite => pose::ModelKind::Lite,
    }
}
