//! Finding people nobody follows yet.

use super::super::body::Roi;
use super::super::detector::Detection;
use super::super::error::PoseError;
use super::super::motion::Blob;
use super::super::plausible::bounds;
use super::super::region;
use super::super::steady::Steady;
use super::follow::{Chain, FIRM_SUPPORT, MIN_START_SUPPORT, body};
use super::{Estimator, usable};
use crate::capture::Frame;

/// Most detector runs in one frame; keeps the cost of a frame bounded.
const MAX_DETECTOR_RUNS: usize = 2;
/// Landmark runs after the detector's first region until a body counts.
const SETTLE_PASSES: usize = 2;
/// Least height of a proposal, as a share of the frame's height.
const MIN_BLOB_SHARE: f32 = 0.05;
/// A likely reflection is shown to the detector once in this many frames.
const REST_FRAMES: u64 = 12;
/// A scrap beside a followed body is shown to the detector once in this many
/// frames.
const SCRAP_FRAMES: u64 = 4;
/// Height of a scrap, as a share of the lowest followed body's height.
const SCRAP_SHARE: f32 = 0.35;
/// Share of a moving place that must have changed a moment ago.
const MIN_ACTIVE: f32 = 0.2;

/// A proposal that gave nobody, so that it is not tried at every frame.
pub(super) struct Failed {
    blob: Blob,
    tries: u32,
    last_frame: u64,
}

impl Estimator {
    /// Looks for people in moving places that no known body explains.
    pub(super) fn acquire(&mut self, frame: &Frame) -> Result<(), PoseError> {
        if self.chains.len() >= self.max_people {
            return Ok(());
        }
        let now = self.counters.frames;
        self.failed.retain(|f| now - f.last_frame < 60);
        self.find_places();
        let blobs = self
            .motion
            .blobs(&self.places, MIN_BLOB_SHARE * frame.height as f32);
        let mut runs = 0;
        for blob in blobs {
            if runs >= MAX_DETECTOR_RUNS || self.chains.len() >= self.max_people {
                break;
            }
            if blob.active < MIN_ACTIVE
                || self.is_rest_of_body(&blob)
                || (self.is_scrap(&blob) && !now.is_multiple_of(SCRAP_FRAMES))
            {
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

    /// Flat and low beside the people already followed: mostly what is left
    /// of a reflection or a wake in the picture. It took half of all runs of
    /// the detector. Somebody far away can look like it, so it is looked at,
    /// only not at every frame.
    fn is_scrap(&self, blob: &Blob) -> bool {
        let lowest = self
            .chains
            .iter()
            .map(|chain| bounds(&chain.body.points))
            .map(|b| b[3] - b[1])
            .reduce(f32::min);
        lowest.is_some_and(|lowest| {
            blob.width() > blob.height() && blob.height() < SCRAP_SHARE * lowest
        })
    }

    /// Begins to follow a detected person if the landmarks agree.
    fn begin(&mut self, frame: &Frame, detection: &Detection) -> Result<bool, PoseError> {
        let mut roi = region::spanned(detection.hip, detection.rim);
        // Inside a body that is known already: a second reading of it.
        let known = self.chains.iter().any(|c| {
            let b = bounds(&c.body.points);
            (b[0]..b[2]).contains(&detection.hip[0]) && (b[1]..b[3]).contains(&detection.hip[1])
        });
        if known {
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
            moved_at_s: frame.captured_at_s,
            firm: support >= FIRM_SUPPORT,
        });
        Ok(true)
    }
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
