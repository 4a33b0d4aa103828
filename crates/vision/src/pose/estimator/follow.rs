//! Following people from frame to frame.

use super::super::body::bounds;
use super::super::body::{Body, Roi};
use super::super::landmarks::Reading;
use super::super::plausible::{distance, trunk};
use super::super::region;
use super::super::steady::Steady;
use super::Estimator;
use super::push_end::Watch;
use super::reader::Look;
use crate::capture::Frame;

/// Longest time over which a body's speed is carried on, seconds.
const LEAD_LIMIT_S: f64 = 0.15;
/// How much of that speed is carried on. Without it a skater crossing the
/// picture is lost at 10 frames a second (measured on rendered clips); at 30
/// it makes no difference.
pub(super) const LEAD: f32 = 0.7;
/// Who will have come to the edge of the picture in this time is about to leave
/// by it, seconds.
const LEAVES_WITHIN_S: f32 = 0.1;
/// Longest time a body is followed of which nothing moves, seconds.
const REST_LIMIT_S: f64 = 10.0;
/// Share of moving pixels in a body's box below which nothing moves there.
const MIN_SUPPORT: f32 = 0.04;
/// The same, to begin following.
pub(super) const MIN_START_SUPPORT: f32 = 0.08;
/// Support from which on its sudden loss means that the person is gone.
pub(super) const FIRM_SUPPORT: f32 = 0.12;

/// A side of the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Edge {
    Left,
    Right,
}

/// One person being followed.
pub(super) struct Chain {
    pub(super) id: u32,
    pub(super) roi: Roi,
    pub(super) steady: Steady,
    pub(super) body: Body,
    /// When that body was read, seconds.
    pub(super) read_at_s: f64,
    /// Speed of its mid hips, pixels a second.
    pub(super) speed: [f32; 2],
    /// When something last moved in this body's place, seconds.
    pub(super) moved_at_s: f64,
    /// When the legs are read once more.
    pub(super) watch: Watch,
    /// Something has clearly moved in this body's place before.
    pub(super) firm: bool,
}

impl Estimator {
    /// Takes in the looks at everybody known; drops those that are gone.
    pub(super) fn follow(&mut self, frame: &Frame) {
        let mut chains = std::mem::take(&mut self.chains);
        let mut kept = std::mem::take(&mut self.still_followed);
        kept.clear();
        let mut looks = std::mem::take(&mut self.looks);
        for (mut chain, (roi, look)) in chains.drain(..).zip(looks.drain(..)) {
            if self.goes_on(&mut chain, roi, look, frame) {
                kept.push(chain);
            } else if let Some(edge) = chain.leaves_by(frame) {
                self.left = Some((edge, frame.captured_at_s));
            }
        }
        self.chains = kept;
        self.still_followed = chains;
        self.looks = looks;
        self.drop_duplicates();
    }

    /// Takes in one look; false where its person is gone, who then stays where he
    /// was last seen.
    fn goes_on(&mut self, chain: &mut Chain, roi: Roi, look: Option<Look>, frame: &Frame) -> bool {
        let Some(reading) = self.count(look) else {
            return false;
        };
        if self.refused(&reading, &roi, frame) {
            return false;
        }
        let support = self.motion.share(bounds(&reading.points));
        if self.motion.relit() {
            chain.firm = false;
        } else if chain.firm && support < MIN_SUPPORT {
            // Something moved here all along and now the place looks
            // like the background: the person is gone.
            self.counters.rejected += 1;
            return false;
        } else if support >= FIRM_SUPPORT {
            chain.firm = true;
        }
        if support >= MIN_SUPPORT {
            chain.moved_at_s = frame.captured_at_s;
        } else if frame.captured_at_s - chain.moved_at_s > REST_LIMIT_S {
            // After a change of light nothing may be known to move here.
            // Who stands that long is found again when he goes.
            self.counters.rejected += 1;
            return false;
        }
        if jumped(&chain.body, &reading) {
            self.counters.rejected += 1;
            return false;
        }
        let guides = chain.steady.apply(frame.captured_at_s, reading.guides);
        chain.advance(frame.captured_at_s, reading, roi, guides);
        true
    }

    /// Ends the younger of two chains on one person.
    pub(super) fn drop_duplicates(&mut self) {
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
}

impl Chain {
    /// The region to read at the given time: the last one moved on with the
    /// body, as far as the time between two frames can be trusted for that.
    pub(super) fn ahead(&self, at_s: f64, lead: f32) -> Roi {
        let passed_s = (at_s - self.read_at_s).clamp(0.0, LEAD_LIMIT_S) as f32;
        let limit = 0.25 * self.roi.size_px;
        Roi {
            cx_px: self.roi.cx_px + (lead * self.speed[0] * passed_s).clamp(-limit, limit),
            cy_px: self.roi.cy_px + (lead * self.speed[1] * passed_s).clamp(-limit, limit),
            ..self.roi
        }
    }

    /// The side of the picture this person is about to leave by.
    fn leaves_by(&self, frame: &Frame) -> Option<Edge> {
        let [left, _, right, _] = self.body_place();
        let soon = self.speed[0] * LEAVES_WITHIN_S;
        if soon > 0.0 && right + soon >= frame.width as f32 {
            Some(Edge::Right)
        } else if soon < 0.0 && left + soon <= 0.0 {
            Some(Edge::Left)
        } else {
            None
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
    pub(super) fn body_place(&self) -> [f32; 4] {
        let b = bounds(&self.body.points);
        // The points are joints: flesh, helmet and skates reach further.
        let reach = 0.12 * (b[2] - b[0]).max(b[3] - b[1]);
        [b[0] - reach, b[1] - reach, b[2] + reach, b[3] + reach]
    }
}

pub(super) fn body(chain: u32, reading: Reading, roi: Roi) -> Body {
    Body {
        chain,
        points: reading.points,
        world_m: reading.world_m,
        legs: None,
        presence: reading.presence,
        clarity: reading.clarity,
        roi,
    }
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
