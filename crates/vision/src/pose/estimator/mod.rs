//! The whole way from a frame to its bodies.

mod acquire;
mod beside;
mod follow;
mod newcomer;
mod pace;
mod push_end;
mod reader;
mod replace;

use std::path::Path;
use std::time::{Duration, Instant};

use rayon::ThreadPool;
use serde::{Deserialize, Serialize};

use super::body::{Body, ModelKind, PoseFrame, Roi};
use super::crop::{Border, crop};
use super::detector::{self, Detection};
use super::engine::{Engine, EngineChoice, EngineInfo, EngineKind, Runtime};
use super::error::PoseError;
use super::landmarks::Reading;
use super::models::{DETECTION, ModelFile};
use super::motion::Motion;
use super::{plausible, region};
use crate::capture::Frame;
use acquire::Failed;
use beside::{Foreseen, second_core, side_by_side};
use follow::{Chain, Edge, LEAD, body};
use newcomer::Newcomer;
use pace::{DETECT_SHARE, Pace};
use push_end::LegReader;
use reader::{BodyReader, Look};
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
    /// Cores that may be used: from two on, what needs no landmark run of a frame
    /// is done beside it. The points are the same.
    pub cores: usize,
}

impl Default for PoseSettings {
    fn default() -> Self {
        Self {
            model: ModelKind::default(),
            engine: EngineChoice::default(),
            max_people: 6,
            cores: 1,
        }
    }
}

/// What the estimator has done since it was made or reset.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PoseCounters {
    /// Frames processed.
    pub frames: u64,
    /// Those of a fast camera behind which the next one waited already.
    pub hurried: u64,
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

impl PoseCounters {
    /// Both together.
    #[must_use]
    pub fn and(self, other: PoseCounters) -> PoseCounters {
        PoseCounters {
            frames: self.frames + other.frames,
            hurried: self.hurried + other.hurried,
            detector_runs: self.detector_runs + other.detector_runs,
            landmark_runs: self.landmark_runs + other.landmark_runs,
            leg_runs: self.leg_runs + other.leg_runs,
            bodies: self.bodies + other.bodies,
            rejected: self.rejected + other.rejected,
            chains: self.chains + other.chains,
        }
    }
}

/// How long the stages of the last frame took.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct StageTimes {
    /// Comparing with and learning the background.
    pub motion: Duration,
    /// Following known people, model runs included, and the part of `motion` and
    /// `legs` that is done beside or before them.
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
    reader: BodyReader,
    leg_reader: Option<LegReader>,
    watches_push_ends: bool,
    /// What can be is done beside the landmark runs.
    second_core: Option<ThreadPool>,
    anchors: Vec<[f32; 2]>,
    detector_input: Vec<f32>,
    max_people: usize,
    /// Share of a body's speed its region is moved on by.
    lead: f32,
    motion: Motion,
    chains: Vec<Chain>,
    /// Empty between frames; here so that its memory is used again.
    still_followed: Vec<Chain>,
    /// Of this frame: the region each chain was looked for in, and what was seen.
    looks: Vec<(Roi, Option<Look>)>,
    foreseen: Vec<Foreseen>,
    places: Vec<[f32; 4]>,
    failed: Vec<Failed>,
    newcomers: Vec<Newcomer>,
    /// By which side somebody was last lost who was about to leave, and when.
    left: Option<(Edge, f64)>,
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
        let runtime = Runtime::choose(settings.engine, home)?;
        let load = |file: &'static ModelFile, threads| {
            runtime.with_threads(threads).load(file, &file.load(home)?)
        };
        // Who takes the lite model or has only the slower engine has no time for
        // a second reader.
        let reads_legs =
            settings.model != ModelKind::Lite && matches!(runtime.info().kind, EngineKind::Native);
        // One core is for what goes on beside the runs of this model, unless they
        // are by far the longest.
        let landmark_threads = match settings.model {
            ModelKind::Heavy => settings.cores,
            ModelKind::Full | ModelKind::Lite => settings.cores.saturating_sub(1),
        };
        // One after the other where the second core is not to be used: what
        // reading the first has freed is used again by the second.
        let second_core = second_core(settings.cores);
        let (landmarks, rest) = side_by_side(
            second_core.as_ref(),
            || load(ModelFile::of(settings.model), landmark_threads),
            || {
                let legs = reads_legs.then(|| LegReader::load(&runtime, home));
                Ok::<_, PoseError>((load(&DETECTION, settings.cores)?, legs.transpose()?))
            },
        );
        let (landmarks, (detector, leg_reader)) = (landmarks?, rest?);
        let info = runtime.info().clone();
        tracing::info!(
            engine = ?info.kind,
            version = info.version,
            model = ModelFile::of(settings.model).name,
            why = info.why,
            "pose engine ready"
        );
        Ok(Self {
            runtime_info: info,
            model: settings.model,
            detector,
            reader: BodyReader::new(landmarks),
            leg_reader,
            watches_push_ends: false,
            second_core,
            anchors: detector::anchors(),
            detector_input: vec![0.0; 3 * detector::SIDE * detector::SIDE],
            max_people: settings.max_people.max(1),
            lead: LEAD,
            motion: Motion::new(),
            chains: Vec::new(),
            still_followed: Vec::new(),
            looks: Vec::new(),
            foreseen: Vec::new(),
            places: Vec::new(),
            failed: Vec::new(),
            newcomers: Vec::new(),
            left: None,
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

    /// As it was when it was made: what it finds from now on depends on nothing it has seen.
    pub fn begin_anew(&mut self) {
        self.reset();
        self.next_id = 0;
    }

    /// Whether somebody was found who is not followed yet.
    pub fn has_newcomers(&self) -> bool {
        !self.newcomers.is_empty()
    }

    fn forget(&mut self) {
        self.motion.reset();
        self.chains.clear();
        self.failed.clear();
        self.newcomers.clear();
        self.left = None;
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
        self.counters.hurried += u64::from(self.pace.hurries() && self.pace.is_quick());

        let start = Instant::now();
        self.look_around(frame)?;
        self.follow(frame);
        self.times.follow = start.elapsed();

        // Before looking for new people, for which it may leave no time.
        self.read_push_ends(frame)?;

        let start = Instant::now();
        // One or the other: a fast camera leaves no time for both.
        if !self.settle_newcomers(frame)? {
            self.acquire(frame)?;
        }
        self.times.acquire = start.elapsed();

        self.find_places();
        self.motion.note_people(&self.places);

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

#[cfg(test)]
mod tests;
