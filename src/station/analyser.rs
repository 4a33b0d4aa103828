//! The pure chain behind the pose model, one frame at a time.

use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use super::lighter::Lighter;
use super::{EngineChoice, ModelChoice};
use crate::capture::Frame;
use crate::config::Lane;
use crate::feedback::{Coach, Cue, FeedbackSettings, SetSummary};
use crate::pose::{self, Estimator, PoseError, PoseFrame, PoseSettings};
use crate::rules::{JudgedPass, Thresholds, judge};
use crate::store;
use crate::stride::{PassMotion, cut};
use crate::track::{TrackEvent, TrackSettings, Tracker};

/// Everything that may change how the next pass is judged, as one snapshot.
#[derive(Debug, Clone)]
pub struct Judging {
    /// The camera set-up.
    pub lane: Lane,
    /// The limits of the age group.
    pub thresholds: Thresholds,
    /// When a passing person counts.
    pub track: TrackSettings,
    /// Whether corrections learned on rendered bodies are applied.
    pub corrections: bool,
    /// How cues are chosen.
    pub feedback: FeedbackSettings,
}

/// What a frame brought about.
#[derive(Debug, Clone)]
pub enum Happening {
    /// Somebody is now passing through the lane.
    Passing,
    /// A pass is over, judged, and has its cue.
    Judged(Box<Judged>),
}

/// A finished pass with all that is known of it.
#[derive(Debug, Clone)]
pub struct Judged {
    /// What was measured and flagged.
    pub pass: JudgedPass,
    /// What is said.
    pub cue: Cue,
    /// The motion it was measured from.
    pub motion: Arc<PassMotion>,
    /// What the set was like that this pass completed.
    pub summary: Option<SetSummary>,
}

/// Pose model, tracker, stride engine, rules and feedback, wired together.
pub struct Analyser {
    estimator: Estimator,
    judging: Arc<Judging>,
    tracker: Tracker,
    coach: Coach,
    lighter: Option<Lighter>,
    changed_to: Option<ModelChoice>,
}

impl Analyser {
    /// Loads the model.
    ///
    /// # Errors
    /// As [`Estimator::new`].
    pub fn new(
        home: &Path,
        model: ModelChoice,
        engine: EngineChoice,
        judging: Judging,
    ) -> Result<Self, PoseError> {
        let estimator = Estimator::new(home, pose_settings(model, engine))?;
        Ok(Self::with_estimator(estimator, judging))
    }

    fn with_estimator(estimator: Estimator, judging: Judging) -> Self {
        Analyser {
            estimator,
            tracker: Tracker::new(judging.lane.clone(), judging.track),
            coach: Coach::new(judging.feedback.clone()),
            lighter: None,
            changed_to: None,
            judging: Arc::new(judging),
        }
    }

    /// Another lane or another source: everybody seen so far is forgotten,
    /// the count of passes goes on.
    pub fn change(&mut self, judging: Judging) {
        self.estimator.reset();
        self.tracker.restart(judging.lane.clone(), judging.track);
        self.coach.set_settings(judging.feedback.clone());
        self.coach.forget();
        self.judging = Arc::new(judging);
    }

    /// What the passes are judged with at the moment.
    pub fn judging(&self) -> &Judging {
        &self.judging
    }

    /// Takes in one frame.
    ///
    /// # Errors
    /// When the inference engine fails on a frame; the next may work again.
    pub fn push(&mut self, frame: &Frame) -> Result<(PoseFrame, Vec<Happening>), PoseError> {
        let began = Instant::now();
        let poses = self.estimator.process(frame)?;
        let events = self.tracker.push(&poses);
        let happenings = self.take(events);
        let lane_free = !self.somebody_passing();
        if let Some(lighter) = &mut self.lighter {
            let changed = lighter.after_frame(&poses, began, lane_free, &mut self.estimator);
            self.changed_to = changed.or(self.changed_to);
        }
        Ok((poses, happenings))
    }

    /// Allows the lighter model to take over from the full one while this
    /// machine has too much to do.
    pub fn allow_lighter(&mut self, home: &Path, engine: EngineChoice) {
        self.lighter = Some(Lighter::new(home, engine));
    }

    /// The model that has taken over since the last question, if one has.
    pub fn take_model_change(&mut self) -> Option<ModelChoice> {
        self.changed_to.take()
    }

    /// Whether somebody is passing through the lane now.
    pub fn somebody_passing(&self) -> bool {
        self.tracker.passing().next().is_some()
    }

    /// The source has ended: judges what is still open.
    pub fn finish(&mut self) -> Vec<Happening> {
        let events = self.tracker.finish();
        self.take(events)
    }

    fn take(&mut self, events: Vec<TrackEvent>) -> Vec<Happening> {
        events
            .into_iter()
            .map(|event| match event {
                TrackEvent::PassStarted { .. } => Happening::Passing,
                TrackEvent::PassEnded(pass) => {
                    let mut motion = cut(&pass, &self.judging.lane);
                    motion.corrected = self.judging.corrections;
                    let judged = judge(&motion, &self.judging.thresholds);
                    let cue = self.coach.after_pass(&judged);
                    Happening::Judged(Box::new(Judged {
                        pass: judged,
                        cue,
                        motion: Arc::new(motion),
                        summary: self.coach.take_summary(),
                    }))
                }
            })
            .collect()
    }

    /// The estimator's counters and times.
    pub fn estimator(&self) -> &Estimator {
        &self.estimator
    }

    /// What does the measuring, as a session stores it.
    pub fn engine_record(&self, model: ModelChoice) -> store::EngineInfo {
        let kind = match self.estimator.engine().kind {
            pose::EngineKind::Native => EngineChoice::Native,
            pose::EngineKind::Embedded => EngineChoice::Embedded,
        };
        store::EngineInfo {
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            backend: kind.name().to_owned(),
            model: model.name().to_owned(),
            model_sha256: Some(model_kind(model).file().sha256.to_owned()),
        }
    }
}

/// The station's words for the model and the engine as the pose module takes
/// them.
pub fn pose_settings(model: ModelChoice, engine: EngineChoice) -> PoseSettings {
    PoseSettings {
        model: model_kind(model),
        engine: match engine {
            EngineChoice::Auto => pose::EngineChoice::Auto,
            EngineChoice::Native => pose::EngineChoice::Native,
            EngineChoice::Embedded => pose::EngineChoice::Embedded,
        },
        ..PoseSettings::default()
    }
}

fn model_kind(model: ModelChoice) -> pose::ModelKind {
    match model {
        ModelChoice::Full => pose::ModelKind::Full,
        ModelChoice::Lite => pose::ModelKind::Lite,
    }
}
