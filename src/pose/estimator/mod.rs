//! The whole way from a frame to its bodies.

mod acquire;
mod follow;
mod newcomer;
mod pace;
mod push_end;
mod replace;

use std::path::Path;
use std::time::{Duration, Instant};

use super::body::{Body, PoseFrame, Roi};
use super::crop::{Border, crop};
use super::detector::{self, Detection};
use super::engine::{Engine, EngineChoice, EngineInfo, EngineKind, Runtime};
use super::error::PoseError;
use super::landmarks::{self, Reading};
use super::models::{DETECTION, ModelFile, ModelKind};
use super::motion::Motion;
use super::{plausible, region};
use crate::capture::Frame;
use acquire::Failed;
use follow::{Chain, LEAD, body};
use newcomer::Newcomer;
use pace::{DETECT_SHARE, LANDMARK_SHARE, Pace};
use push_end::LegReader;
pub use replace::Replacement;

/// How the estimator is set up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PoseSettings {
    /// The landmark model.
    pub model: ModelKind,
    /// The engine.
    pub engine: EngineChoice,
    /// Most people followed at once.
    pub max_people: usize,
    /// Threads one run of a model may use; the embedded engine uses one.
    pub threads: usize,
}

impl Default for PoseSettings {
    fn default() -> Self {
        Self {
            model: ModelKind::default(),
            engine: EngineChoice::default(),
            max_people: 6,
            threads: 1,
        }
    }
}

/// What the estimator has done since it was made or reset.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PoseCounters {
    /// Frames processed.
    pub frames: u64,
    /// Runs of the person detector.
    pub detector_runs: u64,
    /// Runs of the landmark model.
    pub landmark_runs: u64,
    /// Runs of the second reader of the legs.
    pub leg_runs: u64,
    /// Bodies given out.
    pub bodies: u64,
    /// Readings refused because they cannot be a person.
    pub rejected: u64,
    /// Chains begun.
    pub chains: u64,
}

/// How long the stages of the last frame took.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct StageTimes {
    /// Comparing with and learning the background.
    pub motion: Duration,
    /// Following known people, model runs included.
    pub follow: Duration,
    /// Looking for new people, model runs included.
    pub acquire: Duration,
    /// Cropping and scaling inputs (part of the two above).
    pub crop: Duration,
    /// Runs of the person detector (part of the two above).
    pub detect: Duration,
    /// Runs of the landmark model (part of the two above).
    pub landmark: Duration,
    /// Reading legs once more, crop included.
    pub legs: Duration,
}

/// Finds and follows bodies in the frames of one fixed camera.
pub struct Estimator {
    runtime_info: EngineInfo,
    model: ModelKind,
    detector: Box<dyn Engine>,
    landmarks: Box<dyn Engine>,
    leg_reader: Option<LegReader>,
    watches_push_ends: bool,
    anchors: Vec<[f32; 2]>,
    detector_input: Vec<f32>,
    landmark_input: Vec<f32>,
    max_people: usize,
    /// Share of a body's speed its region is moved on by.
    lead: f32,
    motion: Motion,
    chains: Vec<Chain>,
    /// Empty between frames; here so that its memory is used again.
    still_followed: Vec<Chain>,
    places: Vec<[f32; 4]>,
    failed: Vec<Failed>,
    newcomers: Vec<Newcomer>,
    pace: Pace,
    /// Before this beat the detector rests, where frames come fast.
    vain_until_beat: u64,
    next_id: u32,
    /// Time, width and height of the last frame.
    last: Option<(f64, u32, u32)>,
    counters: PoseCounters,
    times: StageTimes,
}

impl Estimator {
    /// Loads the models from `home/models` into the chosen engine.
    ///
    /// # Errors
    /// A missing or altered model file; an engine that cannot be used.
    pub fn new(home: &Path, settings: PoseSettings) -> Result<Self, PoseError> {
        let runtime = Runtime::choose(settings.engine, home)?.with_threads(settings.threads);
        let landmark_file = settings.model.file();
        let load = |file: &'static ModelFile| runtime.load(file, &file.load(home)?);
        // One after the other: what reading the first one has freed is used
        // again by the second.
        let landmarks = load(landmark_file)?;
        let detector = load(&DETECTION)?;
        // Who takes the lite model or has only the slower engine has no time for
        // a second reader.
        let leg_reader = match (settings.model, runtime.info().kind) {
            (ModelKind::Heavy | ModelKind::Full, EngineKind::Native) => {
                Some(LegReader::load(&runtime, home)?)
            }
            (ModelKind::Lite, _) | (_, EngineKind::Embedded) => None,
        };
        let info = runtime.info().clone();
        tracing::info!(
            engine = ?info.kind,
            version = info.version,
            model = landmark_file.name,
            why = info.why,
            "pose engine ready"
        );
        Ok(Self {
            runtime_info: info,
            model: settings.model,
            detector,
            landmarks,
            leg_reader,
            watches_push_ends: false,
            anchors: detector::anchors(),
            detector_input: vec![0.0; 3 * detector::SIDE * detector::SIDE],
            landmark_input: vec![0.0; 3 * landmarks::SIDE * landmarks::SIDE],
            max_people: settings.max_people.max(1),
            lead: LEAD,
            motion: Motion::new(),
            chains: Vec::new(),
            still_followed: Vec::new(),
            places: Vec::new(),
            failed: Vec::new(),
            newcomers: Vec::new(),
            pace: Pace::default(),
            vain_until_beat: 0,
            next_id: 0,
            last: None,
            counters: PoseCounters::default(),
            times: StageTimes::default(),
        })
    }

    /// The engine at work.
    pub fn engine(&self) -> &EngineInfo {
        &self.runtime_info
    }

    /// The landmark model at work.
    pub fn model(&self) -> ModelKind {
        self.model
    }

    /// What has been done so far.
    pub fn counters(&self) -> PoseCounters {
        self.counters
    }

    /// How long the stages of the last frame took.
    pub fn stage_times(&self) -> StageTimes {
        self.times
    }

    /// Forgets the people, the background and the counters: for a new source
    /// or a moved camera. Chain numbers go on.
    pub fn reset(&mut self) {
        self.forget();
        self.counters = PoseCounters::default();
    }

    fn forget(&mut self) {
        self.motion.reset();
        self.chains.clear();
        self.failed.clear();
        self.newcomers.clear();
        self.pace = Pace::default();
        self.vain_until_beat = 0;
        self.last = None;
    }

    /// Says whether the frame after the next one waits already and may be lost. Of
    /// a fast camera people are then looked for later, and legs read in every other
    /// frame only.
    pub fn hurry(&mut self, on: bool) {
        self.pace.hurry(on);
    }

    /// Finds the bodies of the next frame. Time that runs backward or another
    /// frame size begins a new scene, as [`Estimator::reset`] does.
    ///
    /// # Errors
    /// A frame whose buffer does not fit its size; an engine that fails.
    /// Never because of what the frame shows.
    pub fn process(&mut self, frame: &Frame) -> Result<PoseFrame, PoseError> {
        check_shape(frame)?;
        self.times = StageTimes::default();
        let (width, height) = (frame.width, frame.height);
        if self
            .last
            .is_some_and(|(at_s, w, h)| frame.captured_at_s < at_s || (w, h) != (width, height))
        {
            tracing::info!(
                width,
                height,
                "another scene: background and people forgotten"
            );
            self.forget();
        }
        self.last = Some((frame.captured_at_s, width, height));
        self.counters.frames += 1;
        self.pace.frame(frame.captured_at_s);

        let start = Instant::now();
        self.motion.observe(frame);
        self.times.motion = start.elapsed();

        let start = Instant::now();
        self.follow(frame)?;
        self.times.follow = start.elapsed();

        // Before looking for new people, for which it may leave no time.
        self.read_push_ends(frame)?;

        let start = Instant::now();
        // One or the other: a fast camera leaves no time for both.
        if !self.settle_newcomers(frame)? {
            self.acquire(frame)?;
        }
        self.times.acquire = start.elapsed();

        let start = Instant::now();
        self.find_places();
        self.motion.learn(&self.places);
        self.times.motion += start.elapsed();

        self.counters.bodies += self.chains.len() as u64;
        Ok(PoseFrame {
            seq: frame.seq,
            captured_at_s: frame.captured_at_s,
            width: frame.width,
            height: frame.height,
            bodies: self.chains.iter().map(|c| c.body.clone()).collect(),
        })
    }

    /// The people of one picture, without motion and without following: the
    /// whole picture goes to the detector, which needs people of a third of
    /// its height at least. The region is read once, and `settle_passes` times
    /// more from its own guide points. No check of plausibility is made.
    /// For pictures of one person and for checks against other programs.
    ///
    /// # Errors
    /// As [`Estimator::process`].
    pub fn still(&mut self, frame: &Frame, settle_passes: usize) -> Result<Vec<Body>, PoseError> {
        check_shape(frame)?;
        let (w, h) = (frame.width as f32, frame.height as f32);
        let whole = Roi {
            cx_px: w / 2.0,
            cy_px: h / 2.0,
            size_px: w.max(h),
            rotation_rad: 0.0,
        };
        let mut bodies = Vec::new();
        for detection in self.detect(frame, &whole)? {
            let mut roi = region::spanned(detection.hip, detection.rim);
            let mut last = self.read(frame, &roi)?.map(|reading| (reading, roi));
            for _ in 0..settle_passes {
                let Some((reading, _)) = &last else { break };
                roi = region::spanned(reading.guides[0], reading.guides[1]);
                last = self.read(frame, &roi)?.map(|reading| (reading, roi));
            }
            if let Some((reading, roi)) = last {
                bodies.push(body(bodies.len() as u32, reading, roi));
            }
        }
        Ok(bodies)
    }

    /// Notes where the followed people are.
    fn find_places(&mut self) {
        self.places.clear();
        let places = self.chains.iter().map(|c| c.body_place());
        self.places.extend(places);
    }

    /// Whether a reading cannot be a person; counts it.
    fn refused(&mut self, reading: &Reading, roi: &Roi, frame: &Frame) -> bool {
        let size = (frame.width as f32, frame.height as f32);
        match plausible::check(reading, roi, size.0, size.1) {
            Ok(()) => false,
            Err(why) => {
                self.counters.rejected += 1;
                tracing::trace!(?why, ?roi, "reading refused");
                true
            }
        }
    }

    fn detect(&mut self, frame: &Frame, square: &Roi) -> Result<Vec<Detection>, PoseError> {
        let start = Instant::now();
        let input = &mut self.detector_input;
        crop(
            frame,
            square,
            detector::SIDE,
            Border::Black,
            2.0 / 255.0,
            -1.0,
            input,
        );
        let cropped = Instant::now();
        self.detector.run(input)?;
        self.times.crop += cropped - start;
        self.times.detect += cropped.elapsed();
        self.counters.detector_runs += 1;
        self.pace.worked(DETECT_SHARE);
        let (boxes, scores) = (self.detector.output(0), self.detector.output(1));
        Ok(detector::decode(boxes, scores, &self.anchors, square))
    }

    fn read(&mut self, frame: &Frame, roi: &Roi) -> Result<Option<Reading>, PoseError> {
        if !usable(roi, frame) {
            self.counters.rejected += 1;
            return Ok(None);
        }
        let start = Instant::now();
        let input = &mut self.landmark_input;
        crop(
            frame,
            roi,
            landmarks::SIDE,
            Border::Replicate,
            1.0 / 255.0,
            0.0,
            input,
        );
        let cropped = Instant::now();
        self.landmarks.run(input)?;
        self.times.crop += cropped - start;
        self.times.landmark += cropped.elapsed();
        self.counters.landmark_runs += 1;
        self.pace.worked(LANDMARK_SHARE);
        let out = |k| self.landmarks.output(k);
        let presence = out(1).first().copied().unwrap_or(0.0);
        Ok(landmarks::decode(out(0), presence, out(2), out(3), roi))
    }
}

fn check_shape(frame: &Frame) -> Result<(), PoseError> {
    let needed = frame.width as usize * frame.height as usize * 3;
    if frame.rgb.len() != needed || needed == 0 {
        return Err(PoseError::FrameShape {
            seq: frame.seq,
            width: frame.width,
            height: frame.height,
            found: frame.rgb.len(),
            needed,
        });
    }
    Ok(())
}

/// A region worth reading: finite, not tiny, its centre near the frame, not
/// far larger than the frame.
fn usable(roi: &Roi, frame: &Frame) -> bool {
    let (w, h) = (frame.width as f32, frame.height as f32);
    let r = roi.size_px;
    roi.rotation_rad.is_finite()
        && r.is_finite()
        && r >= 24.0
        && r <= 3.0 * w.max(h)
        && (-0.25 * r..w + 0.25 * r).contains(&roi.cx_px)
        && (-0.25 * r..h + 0.25 * r).contains(&roi.cy_px)
}

#[cfg(test)]
mod tests;
