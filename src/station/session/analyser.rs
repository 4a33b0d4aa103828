//! The pure chain behind the pose model, one frame at a time.

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use crate::capture::Frame;
use crate::config::Lane;
use crate::feedback::{Cue, FeedbackSettings, SetSummary};
use crate::multi_camera::merge;
use crate::pose::{self, Estimator, PoseError, PoseFrame, PoseSettings};
use crate::roster::SkaterId;
use crate::rules::{JudgedPass, Thresholds, judge};
use crate::station::session::camera_pairing::{Complete, Second};
use crate::station::session::control::Control;
use crate::station::session::cue_selectors::Coaches;
use crate::station::session::pass_times::PassTimes;
use crate::station::session::skater_queue::Skating;
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::vision::model_fallback::Lighter;
use crate::station::vision::{cores_up_to, model_kind, pose_settings, set_view};
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

impl Happening {
    /// What the pass took, where one is over.
    pub fn pass_times(&self) -> Option<&PassTimes> {
        match self {
            Happening::Judged(judged) => Some(&judged.times),
            Happening::Passing => None,
        }
    }
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
    /// Whether the station's own camera saw it, whose pictures are kept.
    pub own_pictures: bool,
    /// What it took.
    pub times: PassTimes,
}

/// A finished pass that is measured and not spoken about yet.
pub struct Measured {
    /// What was measured and flagged.
    pub pass: JudgedPass,
    /// The motion it was measured from.
    pub motion: PassMotion,
    /// Whose pass it is, where that is known.
    pub skating: Option<Skating>,
    /// The body points as they were tracked.
    pub points: Pass,
    /// The camera set-up, where it is not the lane's.
    pub lane: Option<Lane>,
    /// Whether the station's own camera saw it, whose pictures are kept.
    pub own_pictures: bool,
    /// What it took so far.
    pub times: PassTimes,
}

/// Pose model, tracker, stride engine, rules and feedback, wired together.
pub struct Analyser {
    estimator: Estimator,
    judging: Arc<Judging>,
    tracker: Tracker,
    coaches: Coaches,
    control: Option<Arc<Control>>,
    second: Option<Second>,
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

    /// Loads the model for a recording: it may use further cores, which nothing
    /// else needs then.
    ///
    /// # Errors
    /// As [`Estimator::new`].
    pub fn for_recordings(
        home: &Path,
        model: ModelChoice,
        engine: EngineChoice,
        judging: Judging,
    ) -> Result<Self, PoseError> {
        let settings = PoseSettings {
            cores: cores_up_to(3),
            ..pose_settings(model, engine)
        };
        Ok(Self::with_estimator(
            Estimator::new(home, settings)?,
            judging,
        ))
    }

    fn with_estimator(mut estimator: Estimator, judging: Judging) -> Self {
        set_view(&mut estimator, judging.lane.view);
        Analyser {
            estimator,
            tracker: Tracker::new(judging.lane.clone(), judging.track),
            coaches: Coaches::new(judging.feedback.clone()),
            lighter: None,
            changed_to: None,
            judging: Arc::new(judging),
            control: None,
            second: None,
        }
    }

    /// Asks `control` whose passes they are and for new settings from now on.
    pub fn follow(&mut self, control: Arc<Control>) {
        self.control = Some(control);
    }

    /// Puts a second camera beside this one: from now on passes are spoken
    /// about by [`Analyser::due`], once both cameras have seen them.
    pub fn look_with(&mut self, second: Second) {
        self.second = Some(second);
    }

    /// From now on there is this camera only.
    pub fn look_alone(&mut self) {
        self.second = None;
    }

    /// Another lane or another source: everybody seen so far is forgotten,
    /// the count of passes goes on.
    pub fn change(&mut self, judging: Judging) {
        self.estimator.reset();
        set_view(&mut self.estimator, judging.lane.view);
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

    /// Whether the next frame waits already and may be lost.
    pub fn hurry(&mut self, on: bool) {
        self.estimator.hurry(on);
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

    /// Allows lighter models to take over from the one that was asked for while
    /// this machine has too much to do.
    pub fn allow_lighter(&mut self, home: &Path, asked: ModelChoice, engine: EngineChoice) {
        self.lighter = Some(Lighter::new(home, asked, engine));
    }

    /// That another model than the one that was asked for is at work, where
    /// it is so.
    pub fn model_note(&self) -> Option<String> {
        self.lighter.as_ref().and_then(Lighter::note)
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

    /// Passes that waited for the second camera and need not wait longer.
    /// `origin` is second 0 of this camera's clock, `live` whether it gives
    /// pictures; `last` when nothing more will come. Nothing without a second
    /// camera.
    pub fn due(&mut self, origin: Option<Instant>, live: bool, last: bool) -> Vec<Happening> {
        let Some(second) = &mut self.second else {
            return Vec::new();
        };
        let complete = if last {
            second.finish(origin)
        } else {
            let passing: Vec<u32> = self.tracker.passing().collect();
            second.due(origin, live, &passing)
        };
        if complete.is_empty() {
            return Vec::new();
        }
        let lane = second.lane().clone();
        complete
            .into_iter()
            .map(|complete| {
                let measured = match complete {
                    Complete::First(measured) => *measured,
                    Complete::Both(measured, theirs) => {
                        self.put_together(&lane, *measured, &theirs)
                    }
                    Complete::Second(theirs) => self.measure_second(&lane, *theirs),
                };
                Happening::Judged(Box::new(self.say(measured)))
            })
            .collect()
    }

    pub(in crate::station) fn take(&mut self, events: Vec<TrackEvent>) -> Vec<Happening> {
        self.take_changes();
        let mut happenings = Vec::new();
        for event in events {
            match event {
                TrackEvent::PassStarted { track_id } => {
                    if let Some(control) = &self.control {
                        let passing: Vec<u32> = self.tracker.passing().collect();
                        control.lineup.pass_started(track_id, &passing);
                    }
                    happenings.push(Happening::Passing);
                }
                TrackEvent::PassEnded(pass) => {
                    let measured = self.measure(*pass);
                    match &mut self.second {
                        Some(second) => second.hold(measured),
                        None => happenings.push(Happening::Judged(Box::new(self.say(measured)))),
                    }
                }
            }
        }
        happenings
    }

    /// A pass this camera saw.
    fn measure(&self, pass: Pass) -> Measured {
        let skating = self.skating(pass.track_id);
        let lane = lane_of(&self.judging.lane, skating.as_ref());
        let own_lane = Some(&lane)
            .filter(|own| **own != self.judging.lane)
            .cloned();
        Measured {
            lane: own_lane,
            own_pictures: true,
            ..self.measure_on(lane, skating, pass)
        }
    }

    /// A pass this camera missed and the second one saw.
    fn measure_second(&self, second: &Lane, theirs: Pass) -> Measured {
        let skating = self.skating(theirs.track_id);
        let lane = lane_of(second, skating.as_ref());
        self.measure_on(lane, skating, theirs)
    }

    /// What the second camera saw of a pass is put to it.
    fn put_together(&self, second: &Lane, measured: Measured, theirs: &Pass) -> Measured {
        let lane = lane_of(second, measured.skating.as_ref());
        let (_, judged, times) = self.judged(theirs, &lane, &measured.pass.thresholds);
        Measured {
            pass: merge(measured.pass, &judged),
            times: PassTimes {
                stride: measured.times.stride + times.stride,
                rules: measured.times.rules + times.rules,
                ..measured.times
            },
            ..measured
        }
    }

    /// Whose pass has just ended.
    fn skating(&self, track_id: u32) -> Option<Skating> {
        self.control.as_ref()?.lineup.pass_ended(track_id)
    }

    fn measure_on(&self, lane: Lane, skating: Option<Skating>, points: Pass) -> Measured {
        let thresholds = skating
            .as_ref()
            .map_or(&self.judging.thresholds, |s| &s.thresholds);
        let (motion, pass, times) = self.judged(&points, &lane, thresholds);
        Measured {
            pass,
            motion,
            times,
            skating,
            points,
            lane: Some(lane),
            own_pictures: false,
        }
    }

    /// A pass cut into pushes and held against the rules, and what that took.
    fn judged(
        &self,
        points: &Pass,
        lane: &Lane,
        thresholds: &Thresholds,
    ) -> (PassMotion, JudgedPass, PassTimes) {
        let began = Instant::now();
        let motion = PassMotion {
            read_by: self.estimator.model(),
            ..cut(points, lane)
        };
        let stride = began.elapsed();
        let pass = judge(&motion, thresholds);
        let times = PassTimes {
            stride,
            rules: began.elapsed().saturating_sub(stride),
            cue: Duration::ZERO,
        };
        (motion, pass, times)
    }

    fn say(&mut self, measured: Measured) -> Judged {
        let skater = measured.skating.as_ref().map(|s| s.id);
        let began = Instant::now();
        let (cue, summary) = self.coaches.after_pass(skater, &measured.pass);
        Judged {
            times: PassTimes {
                cue: began.elapsed(),
                ..measured.times
            },
            pass: measured.pass,
            cue,
            motion: Arc::new(measured.motion),
            summary,
            skater,
            consents: measured.skating.is_some_and(|s| s.consents),
            points: Arc::new(measured.points),
            lane: measured.lane,
            own_pictures: measured.own_pictures,
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
            model_sha256: Some(
                crate::pose::ModelFile::of(model_kind(model))
                    .sha256
                    .to_owned(),
            ),
        }
    }
}

/// A lane with the stature of who skates on it, where that is known: it gives
/// the picture a better scale.
fn lane_of(lane: &Lane, skating: Option<&Skating>) -> Lane {
    Lane {
        skater_height_m: skating
            .and_then(|s| s.height_m)
            .unwrap_or(lane.skater_height_m),
        ..lane.clone()
    }
}
