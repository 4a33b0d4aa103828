//! People whom the detector found and whose region is not settled yet.
//!
//! A region is read several times before a body counts. From a source of 30
//! frames a second that is done in the frame of the detection; from a faster
//! one, once in each of the frames that follow.

use super::super::body::Roi;
use super::super::body::bounds;
use super::super::detector::Detection;
use super::super::error::PoseError;
use super::super::landmarks::Reading;
use super::super::motion::Blob;
use super::super::region;
use super::super::steady::Steady;
use super::Estimator;
use super::follow::{Chain, FIRM_SUPPORT, MIN_START_SUPPORT, body};
use super::push_end::Watch;
use crate::capture::Frame;

/// Landmark runs after the detector's first region until a body counts.
const SETTLE_PASSES: usize = 2;

/// What became of a detection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Begun {
    /// Followed from this frame on.
    Yes,
    /// Nobody, or somebody known.
    No,
    /// Read in the frames that come.
    Later,
}

/// Somebody on the way to being followed.
pub(super) struct Newcomer {
    roi: Roi,
    /// Readings still to make.
    readings: usize,
    /// The moving place the detector was shown.
    pub(super) blob: Blob,
}

impl Newcomer {
    /// Whether a moving place is this person's.
    pub(super) fn covers(&self, blob: &Blob) -> bool {
        let reach = self.roi.size_px / 2.0;
        let middle = (blob.top + blob.bottom) / 2.0;
        (blob.mass_x - self.roi.cx_px).abs() < reach && (middle - self.roi.cy_px).abs() < reach
    }
}

impl Estimator {
    /// Begins to follow a detected person if the landmarks agree.
    pub(super) fn begin(
        &mut self,
        frame: &Frame,
        detection: &Detection,
        blob: &Blob,
    ) -> Result<Begun, PoseError> {
        // Inside a body that is known already: a second reading of it.
        let known = self.chains.iter().any(|c| {
            let b = bounds(&c.body.points);
            (b[0]..b[2]).contains(&detection.hip[0]) && (b[1]..b[3]).contains(&detection.hip[1])
        });
        if known {
            return Ok(Begun::No);
        }
        let mut newcomer = Newcomer {
            roi: region::spanned(detection.hip, detection.rim),
            readings: SETTLE_PASSES + 1,
            blob: *blob,
        };
        if self.pace.is_quick() {
            self.newcomers.push(newcomer);
            return Ok(Begun::Later);
        }
        loop {
            let Some((reading, roi)) = self.settle(frame, &mut newcomer)? else {
                return Ok(Begun::No);
            };
            if newcomer.readings == 0 {
                let admitted = self.admit(frame, reading, roi);
                return Ok(if admitted { Begun::Yes } else { Begun::No });
            }
        }
    }

    /// Reads each newcomer once more; those that are settled are followed.
    /// Says whether there is any.
    pub(super) fn settle_newcomers(&mut self, frame: &Frame) -> Result<bool, PoseError> {
        if self.newcomers.is_empty() {
            return Ok(false);
        }
        let quick = self.pace.is_quick();
        // Beside somebody who is followed, in every other frame: so the frame
        // between makes up for the time.
        if quick && self.pace.on_beat() && !self.chains.is_empty() {
            return Ok(true);
        }
        // Of several, where frames come fast, one in turn.
        let turn = if quick { 1 } else { self.newcomers.len() };
        let rest = self.newcomers.split_off(turn);
        for mut newcomer in std::mem::replace(&mut self.newcomers, rest) {
            let admitted = match self.settle(frame, &mut newcomer)? {
                None => false,
                Some(_) if newcomer.readings > 0 => {
                    self.newcomers.push(newcomer);
                    continue;
                }
                Some((reading, roi)) => self.admit(frame, reading, roi),
            };
            self.note_try(&newcomer.blob, admitted);
        }
        self.drop_duplicates();
        Ok(true)
    }

    /// One reading of a newcomer, which moves the region for the next.
    fn settle(
        &mut self,
        frame: &Frame,
        newcomer: &mut Newcomer,
    ) -> Result<Option<(Reading, Roi)>, PoseError> {
        let roi = newcomer.roi;
        let Some(reading) = self.read(frame, &roi)? else {
            return Ok(None);
        };
        newcomer.roi = region::spanned(reading.guides[0], reading.guides[1]);
        newcomer.readings = newcomer.readings.saturating_sub(1);
        Ok(Some((reading, roi)))
    }

    /// Follows a settled reading that can be a person who moves.
    fn admit(&mut self, frame: &Frame, reading: Reading, roi: Roi) -> bool {
        if self.refused(&reading, &roi, frame) {
            return false;
        }
        let support = self.motion.share(bounds(&reading.points));
        if support < MIN_START_SUPPORT {
            self.counters.rejected += 1;
            return false;
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
            moved_at_s: frame.captured_at_s,
            watch: Watch::default(),
            firm: support >= FIRM_SUPPORT,
        });
        true
    }
}
