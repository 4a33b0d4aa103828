//! Another landmark model while the station runs.

use std::path::Path;

use super::super::models::ModelFile;
use super::{Engine, Estimator, PoseError, PoseSettings, Runtime};
use crate::pose::ModelKind;

/// A landmark model that is loaded and waits for its turn. Loading takes some
/// tenths of a second and is done in a thread of its own.
pub struct Replacement {
    landmarks: Box<dyn Engine>,
    model: ModelKind,
}

impl Replacement {
    /// Loads the landmark model of `settings` into its engine.
    ///
    /// # Errors
    /// As [`Estimator::new`].
    pub fn load(home: &Path, settings: PoseSettings) -> Result<Self, PoseError> {
        let runtime = Runtime::choose(settings.engine, home)?;
        let file = ModelFile::of(settings.model);
        let landmarks = runtime.load(file, &file.load(home)?)?;
        Ok(Self {
            landmarks,
            model: settings.model,
        })
    }

    /// Which model it is.
    pub fn model(&self) -> ModelKind {
        self.model
    }
}

impl Estimator {
    /// Goes on with another landmark model. Background and people stay known:
    /// all models give the same points, differently well.
    pub fn replace(&mut self, with: Replacement) {
        tracing::info!(model = ?with.model, "the landmark model was changed");
        self.reader.replace(with.landmarks);
        self.model = with.model;
    }
}
