//! The pose model and the tracker: from one frame to who passes where.

use std::path::Path;
use std::time::Instant;

use super::model_fallback::ModelFallback;
use super::sight_watch::Counted;
use super::{model_kind, pose_settings, set_view};
use crate::body::bounds;
use crate::capture::Frame;
use crate::config::Lane;
use crate::pose::{self, Estimator, ModelKind, PoseError, PoseFrame, PoseSettings};
use crate::standing::{Reference, StandingWatch};
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::store;
use crate::track::{Pass, Tally, TrackEvent, TrackSettings, Tracker};

/// What happens in the lane.
#[derive(Debug, Clone)]
pub enum PassEvent {
    /// Somebody is now passing.
    Started {
        /// The track.
        track_id: u32,
        /// All tracks that are passing, this one included.
        passing: Vec<u32>,
    },
    /// A pass is over.
    Ended {
        /// The body points.
        pass: Box<Pass>,
        /// The model that read them.
        read_by: ModelKind,
        /// The camera stood elsewhere than when the lane was set up, or may have.
        camera_moved: bool,
    },
}

/// Pose model and tracker.
pub struct Vision {
    estimator: Estimator,
    tracker: Tracker,
    fallback: Option<ModelFallback>,
    changed_to: Option<ModelChoice>,
    /// Whether the camera stands where it stood; `None` where nobody asks.
    standing: Option<StandingWatch>,
}

impl Vision {
    /// Loads the model.
    ///
    /// # Errors
    /// As [`Estimator::new`].
    pub fn new(
        home: &Path,
        model: ModelChoice,
        engine: EngineChoice,
        lane: &Lane,
        track: TrackSettings,
    ) -> Result<Self, PoseError> {
        Self::load(home, pose_settings(model, engine), lane, track)
    }

    /// Loads the model for a recording: it may use further cores, which nothing
    /// else needs then, `cores` in all.
    ///
    /// # Errors
    /// As [`Estimator::new`].
    pub fn for_recordings(
        home: &Path,
        model: ModelChoice,
        engine: EngineChoice,
        lane: &Lane,
        track: TrackSettings,
        cores: usize,
    ) -> Result<Self, PoseError> {
        let settings = PoseSettings {
            cores,
            ..pose_settings(model, engine)
        };
        Self::load(home, settings, lane, track)
    }

    fn load(
        home: &Path,
        settings: PoseSettings,
        lane: &Lane,
        track: TrackSettings,
    ) -> Result<Self, PoseError> {
        let mut estimator = Estimator::new(home, settings)?;
        set_view(&mut estimator, lane.view);
        Ok(Vision {
            estimator,
            tracker: Tracker::new(lane.clone(), track),
            fallback: None,
            changed_to: None,
            standing: None,
        })
    }

    /// Another lane or another source: everybody seen so far is forgotten.
    pub fn change(&mut self, lane: &Lane, track: TrackSettings) {
        self.estimator.reset();
        set_view(&mut self.estimator, lane.view);
        self.tracker.restart(lane.clone(), track);
        self.standing = None;
    }

    /// The same, as if it had just been loaded: what is seen from now on depends on nothing
    /// that was seen before.
    pub fn begin_anew(&mut self, lane: &Lane, track: TrackSettings) {
        self.change(lane, track);
        self.estimator.begin_anew();
        self.tracker = Tracker::new(lane.clone(), track);
    }

    /// Whether nobody skates and nobody is being found.
    pub fn is_at_rest(&self) -> bool {
        self.tracker.is_at_rest() && !self.estimator.has_newcomers()
    }

    /// Numbers that were given to tracks so far.
    pub fn track_numbers(&self) -> u32 {
        self.tracker.numbers()
    }

    /// From now on it is watched whether the camera stands where it stood: by `reference`,
    /// or else by the first seconds. Another lane or source ends it.
    pub fn watch_standing(&mut self, lane: &Lane, reference: Option<Reference>) {
        self.standing = Some(StandingWatch::new(lane.hfov_deg, reference));
    }

    /// The watch of where the camera stands.
    pub fn standing(&mut self) -> Option<&mut StandingWatch> {
        self.standing.as_mut()
    }

    /// Whether the next frame waits already and may be lost.
    pub fn hurry(&mut self, on: bool) {
        self.estimator.hurry(on);
    }

    /// Takes in one frame.
    ///
    /// # Errors
    /// When the inference engine fails on a frame; the next may work again.
    pub fn push(&mut self, frame: &Frame) -> Result<(PoseFrame, Vec<PassEvent>), PoseError> {
        let began = Instant::now();
        let poses = self.estimator.process(frame)?;
        if let Some(standing) = &mut self.standing {
            standing.frame(frame, poses.bodies.iter().map(|body| bounds(&body.points)));
        }
        let events = self.tracker.push(&poses);
        let events = self.told(events);
        let lane_free = !self.somebody_passing();
        if let Some(fallback) = &mut self.fallback {
            let changed = fallback.after_frame(&poses, began, lane_free, &mut self.estimator);
            self.changed_to = changed.or(self.changed_to);
        }
        Ok((poses, events))
    }

    /// No frame will come, or none came for some time: who was passing has
    /// passed.
    pub fn finish(&mut self) -> Vec<PassEvent> {
        let events = self.tracker.finish();
        self.told(events)
    }

    fn told(&self, events: Vec<TrackEvent>) -> Vec<PassEvent> {
        events
            .into_iter()
            .map(|event| match event {
                TrackEvent::PassStarted { track_id } => PassEvent::Started {
                    track_id,
                    passing: self.passing(),
                },
                TrackEvent::PassEnded(pass) => PassEvent::Ended {
                    read_by: self.estimator.model(),
                    camera_moved: self
                        .standing
                        .as_ref()
                        .is_some_and(|watch| watch.is_doubtful_since(pass.started_at_s())),
                    pass,
                },
            })
            .collect()
    }

    /// Allows lighter models to take over from the one that was asked for while
    /// this machine has too much to do.
    pub fn allow_lighter(&mut self, home: &Path, asked: ModelChoice, engine: EngineChoice) {
        self.fallback = Some(ModelFallback::new(home, asked, engine));
    }

    /// That another model than the one that was asked for is at work, where
    /// it is so.
    pub fn model_note(&self) -> Option<String> {
        self.fallback.as_ref().and_then(ModelFallback::note)
    }

    /// The model that has taken over since the last question, if one has.
    pub fn take_model_change(&mut self) -> Option<ModelChoice> {
        self.changed_to.take()
    }

    /// The model at work, where `asked` was asked for.
    pub fn model_at_work(&self, asked: ModelChoice) -> ModelChoice {
        self.fallback.as_ref().map_or(asked, ModelFallback::model)
    }

    /// The tracks that are passing through the lane now.
    pub fn passing(&self) -> Vec<u32> {
        self.tracker.passing().collect()
    }

    /// What was seen so far, passes and others.
    pub fn tally(&self) -> Tally {
        self.tracker.tally()
    }

    /// The same with what the person detector did and what the lane asks for.
    pub fn counted(&self) -> Counted {
        let counters = self.estimator.counters();
        let (travel, least_mps) = self.tracker.asks_for();
        Counted {
            tally: self.tracker.tally(),
            looks: counters.detector_runs,
            found: counters.chains,
            travel,
            least_mps,
        }
    }

    /// Whether somebody is passing through the lane now.
    pub fn somebody_passing(&self) -> bool {
        self.tracker.passing().next().is_some()
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
            model_sha256: Some(pose::ModelFile::of(model_kind(model)).sha256.to_owned()),
        }
    }
}
