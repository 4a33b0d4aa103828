//! The pure chain behind the pose model, one frame at a time.

use std::path::Path;
use std::sync::Arc;

use super::coaches::Coaches;
use super::control::Control;
use super::{EngineChoice, ModelChoice};
use crate::capture::Frame;
use crate::config::Lane;
use crate::feedback::{Cue, FeedbackSettings, SetSummary};
use crate::pose::{self, Estimator, PoseError, PoseFrame, PoseSettings};
use crate::roster::SkaterId;
use crate::rules::{JudgedPass, Thresholds, judge};
use crate::store;
use crate::stride::{PassMotion, cut};
use crate::track::{Pass, TrackEvent, TrackSettings, Tracker};

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
    /// Whose pass it is, where that is known.
    pub skater: Option<SkaterId>,
    /// Whether pictures of this skater may be kept.
    pub consents: bool,
    /// The body points as they were tracked.
    pub points: Arc<Pass>,
    /// The camera set-up it was measured with, where it is not the lane's:
    /// with the skater's own stature.
    pub lane: Option<Lane>,
}

/// Pose model, tracker, stride engine, rules and feedback, wired together.
pub struct Analyser {
    estimator: Estimator,
    judging: Arc<Judging>,
    tracker: Tracker,
    coaches: Coaches,
    control: Option<Arc<Control>>,
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
            coaches: Coaches::new(judging.feedback.clone()),
            judging: Arc::new(judging),
            control: None,
        }
    }

    /// Asks `control` whose passes they are and for new settings from now on.
    pub fn follow(&mut self, control: Arc<Control>) {
        self.control = Some(control);
    }

    /// Another lane or another source: everybody seen so far is forgotten,
    /// the count of passes goes on.
    pub fn change(&mut self, judging: Judging) {
        self.estimator.reset();
        self.tracker.restart(judging.lane.clone(), judging.track);
        self.coaches.set_settings(&judging.feedback);
        self.coaches.forget();
        self.judging = Arc::new(judging);
    }

    /// Other limits or other feedback, from the next pass on: whoever is in
    /// the lane stays there. Another lane is a [`Analyser::change`].
    pub fn set_judging(&mut self, judging: Judging) {
        if judging.lane != self.judging.lane || judging.track != self.judging.track {
            self.change(judging);
            return;
        }
        self.coaches.set_settings(&judging.feedback);
        self.judging = Arc::new(judging);
    }

    /// What the desk has changed since the last frame.
    fn take_changes(&mut self) {
        let Some(control) = self.control.clone() else {
            return;
        };
        if let Some(judging) = control.take_judging() {
            // Another lane comes by a switch, with a session of its own.
            self.set_judging(Judging {
                lane: self.judging.lane.clone(),
                ..judging
            });
        }
        for correction in control.lineup.take_corrections() {
            let limits = match correction.skater {
                Some(skater) => control.lineup.thresholds_of(skater),
                None => Some(self.judging.thresholds.clone()),
            };
            self.coaches
                .correct(correction.number, correction.skater, limits.as_ref());
        }
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
        let poses = self.estimator.process(frame)?;
        let events = self.tracker.push(&poses);
        let happenings = self.take(events);
        Ok((poses, happenings))
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
        self.take_changes();
        events
            .into_iter()
            .map(|event| match event {
                TrackEvent::PassStarted { track_id } => {
                    if let Some(control) = &self.control {
                        let passing: Vec<u32> = self.tracker.passing().collect();
                        control.lineup.pass_started(track_id, &passing);
                    }
                    Happening::Passing
                }
                TrackEvent::PassEnded(pass) => Happening::Judged(Box::new(self.judge(*pass))),
            })
            .collect()
    }

    fn judge(&mut self, pass: Pass) -> Judged {
        let skating = self
            .control
            .as_ref()
            .and_then(|control| control.lineup.pass_ended(pass.track_id));
        // The skater's own stature gives the picture a better scale.
        let own_lane = skating
            .as_ref()
            .and_then(|s| s.height_m)
            .filter(|height| *height != self.judging.lane.skater_height_m)
            .map(|skater_height_m| Lane {
                skater_height_m,
                ..self.judging.lane.clone()
            });
        let mut motion = cut(&pass, own_lane.as_ref().unwrap_or(&self.judging.lane));
        motion.corrected = self.judging.corrections;
        let thresholds = skating
            .as_ref()
            .map_or(&self.judging.thresholds, |s| &s.thresholds);
        let judged = judge(&motion, thresholds);
        let skater = skating.as_ref().map(|s| s.id);
        let (cue, summary) = self.coaches.after_pass(skater, &judged);
        Judged {
            pass: judged,
            cue,
            motion: Arc::new(motion),
            summary,
            skater,
            consents: skating.is_some_and(|s| s.consents),
            points: Arc::new(pass),
            lane: own_lane,
        }
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
