//! The whole way from a frame to its bodies.

use std::path::Path;
use std::time::{Duration, Instant};

use super::body::{Body, PoseFrame, Roi};
use super::crop::{Border, crop};
use super::detector::{self, Detection};
use super::engine::{Engine, EngineChoice, EngineInfo, Runtime};
use super::error::PoseError;
use super::landmarks::{self, Reading};
use super::models::{DETECTION, ModelKind};
use super::motion::{Blob, Motion};
use super::plausible::{self, bounds, distance, trunk};
use super::region;
use super::steady::Steady;
use crate::capture::Frame;

/// Most detector runs in one frame; keeps the cost of a frame bounded.
const MAX_DETECTOR_RUNS: usize = 2;
/// Landmark runs after the detector's first region until a body counts.
const SETTLE_PASSES: usize = 2;
/// Least height of a proposal, as a share of the frame's height.
const MIN_BLOB_SHARE: f32 = 0.05;
/// A likely reflection is shown to the detector once in this many frames.
const REST_FRAMES: u64 = 12;
/// Share of a moving place that must have changed a moment ago.
const MIN_ACTIVE: f32 = 0.2;
/// Longest time over which a body's speed is carried on, seconds.
const LEAD_LIMIT_S: f64 = 0.15;
/// How much of that speed is carried on. Without it a skater crossing the
/// picture is lost at 10 frames a second (measured on rendered clips); at 30
/// it makes no difference.
const LEAD: f32 = 0.7;
/// Share of moving pixels in a body's box below which nothing moves there.
const MIN_SUPPORT: f32 = 0.04;
/// The same, to begin following.
const MIN_START_SUPPORT: f32 = 0.08;
/// Support from which on its sudden loss means that the person is gone.
const FIRM_SUPPORT: f32 = 0.12;

/// How the estimator is set up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PoseSettings {
    /// The landmark model.
    pub model: ModelKind,
    /// The engine.
    pub engine: EngineChoice,
    /// Most people followed at once.
    pub max_people: usize,
}

impl Default for PoseSettings {
    fn default() -> Self {
        Self {
            model: ModelKind::default(),
            engine: EngineChoice::default(),
            max_people: 6,
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
    /// Model runs (part of follow and acquire).
    pub inference: Duration,
}

/// One person being followed.
struct Chain {
    id: u32,
    roi: Roi,
    steady: Steady,
    body: Body,
    /// When that body was read, seconds.
    read_at_s: f64,
    /// Speed of its mid hips, pixels a second.
    speed: [f32; 2],
    /// Something has clearly moved in this body's place before.
    firm: bool,
}

/// A proposal that gave nobody, so that it is not tried at every frame.
struct Failed {
    blob: Blob,
    tries: u32,
    last_frame: u64,
}

/// Finds and follows bodies in the frames of one fixed camera.
pub struct Estimator {
    runtime_info: EngineInfo,
    detector: Box<dyn Engine>,
    landmarks: Box<dyn Engine>,
    anchors: Vec<[f32; 2]>,
    detector_input: Vec<f32>,
    landmark_input: Vec<f32>,
    max_people: usize,
    motion: Motion,
    chains: Vec<Chain>,
    failed: Vec<Failed>,
    next_id: u32,
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
        let landmark_file = settings.model.file();
        let detector = runtime.load(&DETECTION, &DETECTION.load(home)?)?;
        let landmarks = runtime.load(landmark_file, &landmark_file.load(home)?)?;
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
            detector,
            landmarks,
            anchors: detector::anchors(),
            detector_input: vec![0.0; 3 * detector::SIDE * detector::SIDE],
            landmark_input: vec![0.0; 3 * landmarks::SIDE * landmarks::SIDE],
            max_people: settings.max_people.max(1),
            motion: Motion::new(),
            chains: Vec::new(),
            failed: Vec::new(),
            next_id: 0,
            counters: PoseCounters::default(),
            times: StageTimes::default(),
        })
    }

    /// The engine at work.
    pub fn engine(&self) -> &EngineInfo {
        &self.runtime_info
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
        self.motion.reset();
        self.chains.clear();
        self.failed.clear();
        self.counters = PoseCounters::default();
    }

    /// Finds the bodies of the next frame.
    ///
    /// # Errors
    /// A frame whose buffer does not fit its size; an engine that fails.
    /// Never because of what the frame shows.
    pub fn process(&mut self, frame: &Frame) -> Result<PoseFrame, PoseError> {
        check_shape(frame)?;
        self.times = StageTimes::default();
        self.counters.frames += 1;

        let start = Instant::now();
        self.motion.observe(frame);
        self.times.motion = start.elapsed();

        let start = Instant::now();
        self.follow(frame)?;
        self.times.follow = start.elapsed();

        let start = Instant::now();
        self.acquire(frame)?;
        self.times.acquire = start.elapsed();

        let start = Instant::now();
        let places = self.places();
        self.motion.learn(&places);
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

    /// Where the followed people are.
    fn places(&self) -> Vec<[f32; 4]> {
        self.chains.iter().map(|c| c.body_place()).collect()
    }

    /// Reads every known person anew; drops those that are gone.
    fn follow(&mut self, frame: &Frame) -> Result<(), PoseError> {
        let mut chains = std::mem::take(&mut self.chains);
        let relit = self.motion.relit();
        let mut kept = Vec::with_capacity(chains.len());
        for mut chain in chains.drain(..) {
            let roi = chain.ahead(frame.captured_at_s);
            let Some(reading) = self.read(frame, &roi)? else {
                continue;
            };
            if self.refused(&reading, &roi, frame) {
                continue;
            }
            let support = self.motion.share(bounds(&reading.points));
            if relit {
                chain.firm = false;
            } else if chain.firm && support < MIN_SUPPORT {
                // Something moved here all along and now the place looks
                // like the background: the person is gone.
                self.counters.rejected += 1;
                continue;
            } else if support >= FIRM_SUPPORT {
                chain.firm = true;
            }
            if jumped(&chain.body, &reading) {
                self.counters.rejected += 1;
                continue;
            }
            let guides = chain.steady.apply(frame.captured_at_s, reading.guides);
            chain.advance(frame.captured_at_s, reading, roi, guides);
            kept.push(chain);
        }
        self.chains = kept;
        self.drop_duplicates();
        Ok(())
    }

    /// Looks for people in moving places that no known body explains.
    fn acquire(&mut self, frame: &Frame) -> Result<(), PoseError> {
        if self.chains.len() >= self.max_people {
            return Ok(());
        }
        let now = self.counters.frames;
        self.failed.retain(|f| now - f.last_frame < 60);
        let places = self.places();
        let blobs = self
            .motion
            .blobs(&places, MIN_BLOB_SHARE * frame.height as f32);
        let mut runs = 0;
        for blob in blobs {
            if runs >= MAX_DETECTOR_RUNS || self.chains.len() >= self.max_people {
                break;
            }
            if blob.active < MIN_ACTIVE || self.is_rest_of_body(&blob) {
                continue;
            }
            let known = self.failed.iter().position(|f| same_place(&f.blob, &blob));
            let tries = known.map_or(0, |k| self.failed[k].tries);
            if let Some(k) = known {
                // Tried often: rest longer between tries.
                let wait = if tries < 8 { 1 } else { 5 };
                if now - self.failed[k].last_frame < wait {
                    continue;
                }
            }
            runs += 1;
            let square = proposal(&blob, tries);
            let found = self.detect(frame, &square)?;
            let mut gained = false;
            for detection in found {
                if self.chains.len() >= self.max_people {
                    break;
                }
                gained |= self.begin(frame, &detection)?;
            }
            match (gained, known) {
                (true, Some(k)) => {
                    self.failed.swap_remove(k);
                }
                (true, None) => {}
                (false, Some(k)) => {
                    self.failed[k] = Failed {
                        blob,
                        tries: tries + 1,
                        last_frame: now,
                    };
                }
                (false, None) => self.failed.push(Failed {
                    blob,
                    tries: 1,
                    last_frame: now,
                }),
            }
        }
        self.drop_duplicates();
        Ok(())
    }

    /// A moving place that belongs to a known body: its stick or shadow, or,
    /// below its feet, its reflection in the ice.
    fn is_rest_of_body(&self, blob: &Blob) -> bool {
        self.chains.iter().any(|chain| {
            let b = bounds(&chain.body.points);
            let (width, height) = (b[2] - b[0], b[3] - b[1]);
            let reach = 0.3 * chain.roi.size_px;
            let near = blob.left < b[2] + reach
                && blob.right > b[0] - reach
                && blob.top < b[3] + reach
                && blob.bottom > b[1] - reach;
            let own = self.motion.share(b) * width * height;
            let small = blob.height() < 0.6 * height || blob.area < 0.35 * own;
            // Before a high camera somebody nearer can stand right below, so
            // this is looked at now and then.
            let below = blob.top > b[3] - 0.3 * height
                && blob.bottom < b[3] + 1.3 * height
                && blob.mass_x > b[0] - 0.2 * height
                && blob.mass_x < b[2] + 0.2 * height
                && blob.height() < 1.3 * height;
            (near && small) || (below && !self.counters.frames.is_multiple_of(REST_FRAMES))
        })
    }

    /// Begins to follow a detected person if the landmarks agree.
    fn begin(&mut self, frame: &Frame, detection: &Detection) -> Result<bool, PoseError> {
        let mut roi = region::spanned(detection.hip, detection.rim);
        if self
            .chains
            .iter()
            .any(|c| distance([c.roi.cx_px, c.roi.cy_px], detection.hip) < 0.1 * c.roi.size_px)
        {
            return Ok(false);
        }
        let mut last = None;
        for _ in 0..=SETTLE_PASSES {
            if !usable(&roi, frame) {
                self.counters.rejected += 1;
                return Ok(false);
            }
            let Some(reading) = self.read(frame, &roi)? else {
                return Ok(false);
            };
            let next = region::spanned(reading.guides[0], reading.guides[1]);
            last = Some((reading, roi));
            roi = next;
        }
        let Some((reading, roi)) = last else {
            return Ok(false);
        };
        if self.refused(&reading, &roi, frame) {
            return Ok(false);
        }
        let support = self.motion.share(bounds(&reading.points));
        if support < MIN_START_SUPPORT {
            self.counters.rejected += 1;
            return Ok(false);
        }
        let mut steady = Steady::default();
        let guides = steady.apply(frame.captured_at_s, reading.guides);
        let id = self.next_id;
        self.next_id += 1;
        self.counters.chains += 1;
        self.chains.push(Chain {
            id,
            roi: region::spanned(guides[0], guides[1]),
            steady,
            body: body(id, reading, roi),
            read_at_s: frame.captured_at_s,
            speed: [0.0; 2],
            firm: support >= FIRM_SUPPORT,
        });
        Ok(true)
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

    /// Ends the younger of two chains on one person.
    fn drop_duplicates(&mut self) {
        let mut at = 0;
        while at < self.chains.len() {
            let twin = (at + 1..self.chains.len())
                .find(|&other| same_body(&self.chains[at].body, &self.chains[other].body));
            let Some(other) = twin else {
                at += 1;
                continue;
            };
            self.counters.rejected += 1;
            let support = |c: &Chain| self.motion.share(bounds(&c.body.points));
            let (a, b) = (&self.chains[at], &self.chains[other]);
            let (old, new) = if a.id < b.id {
                (at, other)
            } else {
                (other, at)
            };
            let better = support(&self.chains[old]) < MIN_START_SUPPORT
                && support(&self.chains[new]) >= FIRM_SUPPORT;
            self.chains.remove(if better { old } else { new });
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
        self.times.inference += cropped.elapsed();
        self.counters.detector_runs += 1;
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
        self.times.inference += cropped.elapsed();
        self.counters.landmark_runs += 1;
        let out = |k| self.landmarks.output(k);
        let presence = out(1).first().copied().unwrap_or(0.0);
        Ok(landmarks::decode(out(0), presence, out(2), out(3), roi))
    }
}

impl Chain {
    /// The region to read at the given time: the last one moved on with the
    /// body, as far as the time between two frames can be trusted for that.
    fn ahead(&self, at_s: f64) -> Roi {
        let passed_s = (at_s - self.read_at_s).clamp(0.0, LEAD_LIMIT_S) as f32;
        let limit = 0.25 * self.roi.size_px;
        Roi {
            cx_px: self.roi.cx_px + (LEAD * self.speed[0] * passed_s).clamp(-limit, limit),
            cy_px: self.roi.cy_px + (LEAD * self.speed[1] * passed_s).clamp(-limit, limit),
            ..self.roi
        }
    }

    /// Takes over a new reading.
    fn advance(&mut self, at_s: f64, reading: Reading, roi: Roi, guides: [[f32; 2]; 2]) {
        let passed_s = (at_s - self.read_at_s) as f32;
        let (_, before) = trunk(&self.body.points);
        let (_, now) = trunk(&reading.points);
        for k in 0..2 {
            let speed = if passed_s > 0.0 {
                (now[k] - before[k]) / passed_s
            } else {
                0.0
            };
            // Half old, half new: one bad reading must not throw the region.
            self.speed[k] = 0.5 * self.speed[k] + 0.5 * speed;
        }
        self.read_at_s = at_s;
        self.roi = region::spanned(guides[0], guides[1]);
        self.body = body(self.id, reading, roi);
    }

    /// A box that covers the body: left, top, right, bottom.
    fn body_place(&self) -> [f32; 4] {
        let b = bounds(&self.body.points);
        // The points are joints: flesh, helmet and skates reach further.
        let reach = 0.12 * (b[2] - b[0]).max(b[3] - b[1]);
        [b[0] - reach, b[1] - reach, b[2] + reach, b[3] + reach]
    }
}

fn body(chain: u32, reading: Reading, roi: Roi) -> Body {
    Body {
        chain,
        points: reading.points,
        world_m: reading.world_m,
        presence: reading.presence,
        roi,
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

/// Whether a reading is too far from the body of the frame before to be the
/// same person.
fn jumped(before: &Body, now: &Reading) -> bool {
    let (s0, h0) = trunk(&before.points);
    let (s1, h1) = trunk(&now.points);
    let size = before.roi.size_px;
    let ratio = region::spanned(now.guides[0], now.guides[1]).size_px / size;
    distance(h0, h1) > 0.45 * size || distance(s0, s1) > 0.45 * size || !(0.6..1.7).contains(&ratio)
}

/// Whether two bodies are readings of one person.
fn same_body(a: &Body, b: &Body) -> bool {
    let (sa, ha) = trunk(&a.points);
    let (sb, hb) = trunk(&b.points);
    let torso = distance(sa, ha).max(distance(sb, hb));
    distance(ha, hb) < 0.5 * torso && distance(sa, sb) < 0.5 * torso
}

fn same_place(a: &Blob, b: &Blob) -> bool {
    let width = (a.right.min(b.right) - a.left.max(b.left)).max(0.0);
    let height = (a.bottom.min(b.bottom) - a.top.max(b.top)).max(0.0);
    let shared = width * height;
    let union = a.width() * a.height() + b.width() * b.height() - shared;
    shared > 0.7 * union
}

/// The square to show the detector for a moving place. What a blob holds
/// besides the body (stick, shadow, reflection) is not known, so every new
/// try takes another guess.
fn proposal(blob: &Blob, tries: u32) -> Roi {
    let h = blob.height();
    let middle = (blob.top + blob.bottom) / 2.0;
    // Side in blob heights, and shift of the centre in blob heights.
    let (side, up) = match tries % 4 {
        0 => (1.8, 0.0),
        1 => (1.4, 0.15),
        2 => (2.3, 0.0),
        _ => (1.1, 0.25),
    };
    Roi {
        cx_px: blob.mass_x,
        cy_px: middle - up * h,
        size_px: side * h,
        rotation_rad: 0.0,
    }
}
