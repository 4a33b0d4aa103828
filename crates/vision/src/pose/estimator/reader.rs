//! The landmark model with its input.

use std::time::{Duration, Instant};

use super::super::body::Roi;
use super::super::clarity;
use super::super::crop::{Border, crop};
use super::super::engine::Engine;
use super::super::error::PoseError;
use super::super::landmarks::{self, Reading};
use super::Estimator;
use super::pace::LANDMARK_SHARE;
use crate::capture::Frame;

/// Reads the points of one body in a region.
pub(super) struct BodyReader {
    engine: Box<dyn Engine>,
    input: Vec<f32>,
}

/// One run, still to be counted.
pub(super) struct Look {
    reading: Option<Reading>,
    crop: Duration,
    landmark: Duration,
}

impl BodyReader {
    pub(super) fn new(engine: Box<dyn Engine>) -> Self {
        Self {
            engine,
            input: vec![0.0; 3 * landmarks::SIDE * landmarks::SIDE],
        }
    }

    /// Goes on with another model.
    pub(super) fn replace(&mut self, engine: Box<dyn Engine>) {
        self.engine = engine;
    }

    /// Reads a region; `None` where it is not worth a run.
    pub(super) fn look(&mut self, frame: &Frame, roi: &Roi) -> Result<Option<Look>, PoseError> {
        if !usable(roi, frame) {
            return Ok(None);
        }
        let start = Instant::now();
        crop(
            frame,
            roi,
            landmarks::SIDE,
            Border::Replicate,
            1.0 / 255.0,
            0.0,
            &mut self.input,
        );
        let cropped = Instant::now();
        self.engine.run(&self.input)?;
        let landmark = cropped.elapsed();
        let out = |k| self.engine.output(k);
        let presence = out(1).first().copied().unwrap_or(0.0);
        let reading = landmarks::decode(out(0), presence, out(2), out(3), roi);
        Ok(Some(Look {
            reading: reading.map(|reading| Reading {
                clarity: clarity::measure(&self.input, &reading.points, roi, reading.heat),
                ..reading
            }),
            crop: cropped - start,
            landmark,
        }))
    }
}

impl Estimator {
    /// Reads a region and counts it.
    pub(super) fn read(&mut self, frame: &Frame, roi: &Roi) -> Result<Option<Reading>, PoseError> {
        let look = self.reader.look(frame, roi)?;
        Ok(self.count(look))
    }

    /// Counts what a look has taken and gives what it has found.
    pub(super) fn count(&mut self, look: Option<Look>) -> Option<Reading> {
        let Some(look) = look else {
            self.counters.rejected += 1;
            return None;
        };
        self.times.crop += look.crop;
        self.times.landmark += look.landmark;
        self.counters.landmark_runs += 1;
        self.pace.worked(LANDMARK_SHARE);
        look.reading
    }
}

/// A region worth reading: finite, not tiny, its centre near the frame, not
/// far larger than the frame.
pub(super) fn usable(roi: &Roi, frame: &Frame) -> bool {
    let (w, h) = (frame.width as f32, frame.height as f32);
    let r = roi.size_px;
    roi.rotation_rad.is_finite()
        && r.is_finite()
        && r >= 24.0
        && r <= 3.0 * w.max(h)
        && (-0.25 * r..w + 0.25 * r).contains(&roi.cx_px)
        && (-0.25 * r..h + 0.25 * r).contains(&roi.cy_px)
}
