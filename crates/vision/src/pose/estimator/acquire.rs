//! Finding people nobody follows yet.

use super::super::body::Roi;
use super::super::body::bounds;
use super::super::error::PoseError;
use super::super::motion::Blob;
use super::Estimator;
use super::follow::Edge;
use super::newcomer::Begun;
use crate::capture::Frame;

/// Most detector runs in one frame; keeps the cost of a frame bounded.
const MAX_DETECTOR_RUNS: usize = 2;
/// The same where frames come fast.
const MAX_QUICK_RUNS: usize = 1;
/// Where frames come fast and somebody is followed: beats from a run of the
/// detector that found nobody to the next. A run beside a reading takes longer
/// than such a frame on a slow machine; the frames between make up for it.
const VAIN_BEATS: u64 = 3;
/// Least height of a proposal, as a share of the frame's height.
const MIN_BLOB_SHARE: f32 = 0.05;
/// A likely reflection is shown to the detector once in this many beats.
const REST_BEATS: u64 = 12;
/// A scrap beside a followed body is shown to the detector once in this many
/// beats.
const SCRAP_BEATS: u64 = 4;
/// A place that gave nobody is forgotten after this many beats.
const FORGET_BEATS: u64 = 60;
/// Tries of a place at every beat, before it rests between them.
const QUICK_TRIES: u32 = 8;
/// Rest between later tries, beats.
const LATER_EVERY: u64 = 5;
/// Height of a scrap, as a share of the lowest followed body's height.
const SCRAP_SHARE: f32 = 0.35;
/// A place at the side of the picture by which somebody left so short a time ago,
/// seconds, narrower than this share of its height, is the rest of them. It is
/// shown to the detector once in [`SCRAP_BEATS`].
const LEFT_FOR_S: f64 = 0.5;
const REST_SHARE: f32 = 0.7;
/// So near to the edge is at it: the motion stage's picture is coarser.
const EDGE_PX: f32 = 8.0;
/// Share of a moving place that must have changed a moment ago.
const MIN_ACTIVE: f32 = 0.2;

/// A proposal that gave nobody, so that it is not tried at every frame.
pub(super) struct Failed {
    blob: Blob,
    tries: u32,
    last_beat: u64,
}

impl Estimator {
    /// Looks for people in moving places that no known body explains, once a
    /// beat.
    pub(super) fn acquire(&mut self, frame: &Frame) -> Result<(), PoseError> {
        if !self.pace.take_due() || self.is_full() {
            return Ok(());
        }
        let now = self.pace.beats();
        let quick = self.pace.is_quick();
        if quick && now < self.vain_until_beat && !self.chains.is_empty() {
            return Ok(());
        }
        self.failed.retain(|f| now - f.last_beat < FORGET_BEATS);
        self.find_places();
        let mut blobs = self
            .motion
            .blobs(&self.places, MIN_BLOB_SHARE * frame.height as f32);
        let most = if quick {
            // With one run for all of them each has to get its turn, or one
            // that never gives anybody would hide the others.
            let turn = self.counters.detector_runs as usize % blobs.len().max(1);
            blobs.rotate_left(turn);
            MAX_QUICK_RUNS
        } else {
            MAX_DETECTOR_RUNS
        };
        let mut runs = 0;
        for blob in blobs {
            if runs >= most || self.is_full() {
                break;
            }
            if blob.active < MIN_ACTIVE
                || self.newcomers.iter().any(|n| n.covers(&blob))
                || self.is_rest_of_body(&blob)
                || ((self.is_scrap(&blob) || self.has_left(&blob, frame))
                    && !now.is_multiple_of(SCRAP_BEATS))
            {
                continue;
            }
            let known = self.failed.iter().find(|f| same_place(&f.blob, &blob));
            let tries = known.map_or(0, |f| f.tries);
            if known.is_some_and(|f| {
                now - f.last_beat < if tries < QUICK_TRIES { 1 } else { LATER_EVERY }
            }) {
                continue;
            }
            runs += 1;
            let square = proposal(&blob, tries);
            let (mut gained, mut later) = (false, false);
            for detection in self.detect(frame, &square)? {
                if self.is_full() {
                    break;
                }
                match self.begin(frame, &detection, &blob)? {
                    Begun::Yes => gained = true,
                    Begun::Later => later = true,
                    Begun::No => {}
                }
            }
            // What comes later is noted when it comes.
            if gained || !later {
                self.note_try(&blob, gained);
            }
            if !gained && !later {
                self.vain_until_beat = now + VAIN_BEATS;
            }
        }
        self.drop_duplicates();
        Ok(())
    }

    /// Whether nobody more can be followed.
    fn is_full(&self) -> bool {
        self.chains.len() + self.newcomers.len() >= self.max_people
    }

    /// Remembers whether a moving place gave somebody.
    pub(super) fn note_try(&mut self, blob: &Blob, gained: bool) {
        let now = self.pace.beats();
        let known = self.failed.iter().position(|f| same_place(&f.blob, blob));
        match (gained, known) {
            (true, Some(k)) => {
                self.failed.swap_remove(k);
            }
            (true, None) => {}
            (false, known) => {
                let failed = Failed {
                    blob: *blob,
                    tries: known.map_or(1, |k| self.failed[k].tries + 1),
                    last_beat: now,
                };
                match known {
                    Some(k) => self.failed[k] = failed,
                    None => self.failed.push(failed),
                }
            }
        }
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
            (near && small) || (below && !self.pace.beats().is_multiple_of(REST_BEATS))
        })
    }

    /// What is still seen of somebody who was followed to the side of the picture
    /// and leaves by it, and nobody else is there: in a crowd it may be anybody.
    fn has_left(&self, blob: &Blob, frame: &Frame) -> bool {
        let Some((edge, at_s)) = self.left else {
            return false;
        };
        let at_edge = match edge {
            Edge::Left => blob.left <= EDGE_PX,
            Edge::Right => blob.right >= frame.width as f32 - EDGE_PX,
        };
        at_edge
            && self.chains.is_empty()
            && frame.captured_at_s - at_s < LEFT_FOR_S
            && blob.width() < REST_SHARE * blob.height()
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
