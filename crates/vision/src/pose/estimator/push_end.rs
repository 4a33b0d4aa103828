//! The near leg around the end of its pushes, read once more by a second model.
//!
//! When a leg is nearly straight and far back, the landmark model often takes
//! one leg for the other. The second model does not, but to run it in every
//! frame would cost three quarters as much again; so it is run while a leg
//! straightens.

use super::super::body::{Body, BodyPoint, LegReading, ModelKind, Roi};
use super::super::crop::{Border, crop};
use super::super::engine::Engine;
use super::super::error::PoseError;
use super::super::legs::{self, Maps};
use super::super::models::LEGS;
use super::follow::Chain;
use super::pace::LEGS_SHARE;
use super::reader::usable;
use super::{Estimator, Runtime};
use crate::capture::Frame;
use crate::geometry::included_deg;
use std::path::Path;
use std::time::Instant;

/// Slowest travel across the picture of somebody whose pushes are of interest,
/// sides of the region a second.
const LEAST_TRAVEL: f32 = 0.3;
/// The landmark model sees a leg straighter than this, whichever it is:
/// included angle of the knee, degrees.
const STRAIGHTENS_DEG: f64 = 120.0;
/// The second model sees the near leg bent more than this: it does not end a
/// push (yet), degrees.
const BENT_DEG: f64 = 115.0;
/// So fast a knee opens in a push at most, degrees a second (of rendered
/// skaters; a real knee may be slower). A bent leg is looked at again when it
/// can have come to [`OPENED_DEG`].
const OPENS_DEG_S: f64 = 700.0;
const OPENED_DEG: f64 = 135.0;
/// So fast it may have opened since the last frame that its legs are read before
/// that is known, degrees a second.
const LIKELY_OPENS_DEG_S: f64 = 300.0;
/// Read straighter than this, the leg is read in every frame, also of a faster
/// camera, where there is time: its straightest lasts for a few hundredths of a
/// second. Below, 30 times a second is enough; degrees.
const NEARLY_STRAIGHT_DEG: f64 = 145.0;
/// The near leg is back by this much from its straightest: the push is over,
/// degrees.
const BACK_DEG: f64 = 12.0;
/// How long after a push its leg is of no interest, seconds.
const REST_S: f64 = 0.15;
/// The same while the other leg is the one that pushes, seconds.
const OTHERS_TURN_S: f64 = 0.12;
/// Side of what the model is shown, as a share of the landmark model's region,
/// which leaves much room around the body.
const SHOWN: f32 = 0.85;

/// When one skater's legs are read.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Watch {
    rests_until_s: f64,
    /// The near knee at its straightest in the push that goes on, degrees.
    straightest_deg: Option<f64>,
}

impl Watch {
    /// Whether to read now. `on_beat` is one frame in 1/30 s, in a `hurry` the only
    /// one; `straighter_deg` is the straighter of both knees as the landmark model
    /// sees them.
    fn wants(&self, at_s: f64, on_beat: bool, hurry: bool, straighter_deg: f64) -> bool {
        match self.straightest_deg {
            Some(deg) => on_beat || (!hurry && deg >= NEARLY_STRAIGHT_DEG),
            None => on_beat && at_s >= self.rests_until_s && straighter_deg >= STRAIGHTENS_DEG,
        }
    }

    /// Takes in the near and the far knee as the second model sees them.
    fn take(&mut self, at_s: f64, [near_deg, far_deg]: [f64; 2]) {
        let straightest_deg = self.straightest_deg.map_or(near_deg, |d| d.max(near_deg));
        let rest_s = if self.straightest_deg.is_some() {
            REST_S
        } else if far_deg > BENT_DEG.max(near_deg) {
            OTHERS_TURN_S
        } else {
            (OPENED_DEG - near_deg) / OPENS_DEG_S
        };
        *self = if near_deg < BENT_DEG.max(straightest_deg - BACK_DEG) {
            Watch {
                rests_until_s: at_s + rest_s,
                straightest_deg: None,
            }
        } else {
            Watch {
                straightest_deg: Some(straightest_deg),
                ..*self
            }
        };
    }
}

/// The second model, loaded.
pub(super) struct LegReader {
    engine: Box<dyn Engine>,
    input: Vec<f32>,
}

impl LegReader {
    pub(super) fn load(runtime: &Runtime, home: &Path) -> Result<Self, PoseError> {
        Ok(Self {
            engine: runtime.load(&LEGS, &LEGS.load(home)?)?,
            input: vec![0.0; 3 * legs::SIDE * legs::SIDE],
        })
    }

    pub(super) fn read(
        &mut self,
        frame: &Frame,
        square: &Roi,
    ) -> Result<Option<LegReading>, PoseError> {
        let side = legs::SIDE;
        let input = &mut self.input;
        crop(
            frame,
            square,
            side,
            Border::Replicate,
            2.0 / 255.0,
            -1.0,
            input,
        );
        self.engine.run(input)?;
        let maps = Maps {
            heat: self.engine.output(0),
            centre: self.engine.output(1),
            from_centre: self.engine.output(2),
            offsets: self.engine.output(3),
        };
        Ok(legs::decode(&maps, square))
    }
}

impl Estimator {
    /// Whether the near legs are read once more around the end of a push, from
    /// the next frame on: for a camera that looks at people from their side. The
    /// lite model and the embedded engine go without.
    pub fn watch_push_ends(&mut self, on: bool) {
        self.watches_push_ends = on;
    }

    /// The legs of one person in one picture, in an upright square, by the
    /// second model; `None` where there is none (lite model, embedded engine). For
    /// checks against other programs.
    ///
    /// # Errors
    /// As [`Estimator::process`].
    pub fn legs_in(
        &mut self,
        frame: &Frame,
        square: &Roi,
    ) -> Result<Option<LegReading>, PoseError> {
        super::check_shape(frame)?;
        match &mut self.leg_reader {
            Some(reader) if usable(square, frame) => reader.read(frame, square),
            _ => Ok(None),
        }
    }

    /// Whether anybody's legs are read at all.
    fn reads_push_ends(&self) -> bool {
        // Lite: it was loaded beside a heavier model that has had to go.
        self.watches_push_ends && self.leg_reader.is_some() && self.model != ModelKind::Lite
    }

    /// Whether this one's legs are read in a frame, whose straighter knee is so
    /// straight.
    fn wants_legs(&self, chain: &Chain, frame: &Frame, straighter_deg: f64) -> bool {
        chain.watch.wants(
            frame.captured_at_s,
            self.pace.on_beat(),
            self.pace.hurries(),
            straighter_deg,
        )
    }

    /// Where legs may be read in this frame, before the bodies in it are: with the
    /// chain's number. A few are then not asked for.
    pub(super) fn foreseen_squares(&self, frame: &Frame) -> Vec<(u32, Roi)> {
        if !self.reads_push_ends() {
            return Vec::new();
        }
        self.chains
            .iter()
            .filter(|chain| {
                let passed_s = frame.captured_at_s - chain.read_at_s;
                let opened_deg = straighter_knee_deg(&chain.body) + passed_s * LIKELY_OPENS_DEG_S;
                chain.may_travel() && self.wants_legs(chain, frame, opened_deg)
            })
            .map(|chain| {
                let ahead = chain.ahead(frame.captured_at_s, self.lead);
                (chain.id, shown(&ahead))
            })
            .filter(|(_, square)| usable(square, frame))
            .collect()
    }

    /// Reads the legs of those who end a push in this frame.
    pub(super) fn read_push_ends(&mut self, frame: &Frame) -> Result<(), PoseError> {
        if !self.reads_push_ends() {
            return Ok(());
        }
        for k in 0..self.chains.len() {
            let chain = &self.chains[k];
            let square = shown(&chain.body.roi);
            if !chain.travels()
                || !self.wants_legs(chain, frame, straighter_knee_deg(&chain.body))
                || !usable(&square, frame)
            {
                continue;
            }
            let foreseen = self.foreseen_legs(chain.id, &square);
            self.pace.worked(LEGS_SHARE);
            let reading = match foreseen {
                Some(reading) => reading,
                None => self.read_legs(frame, &square)?,
            };
            if let Some(reading) = reading {
                self.chains[k].take_legs(frame.captured_at_s, reading);
            }
        }
        Ok(())
    }

    fn read_legs(&mut self, frame: &Frame, square: &Roi) -> Result<Option<LegReading>, PoseError> {
        let Some(reader) = &mut self.leg_reader else {
            return Ok(None);
        };
        let began = Instant::now();
        let reading = reader.read(frame, square);
        self.times.legs += began.elapsed();
        self.counters.leg_runs += 1;
        reading
    }
}

impl Chain {
    /// Travel across the picture, sides of the region a second.
    fn travel(&self) -> f32 {
        self.speed[0] / self.roi.size_px
    }

    /// Whether it is somebody whose pushes are of interest.
    fn travels(&self) -> bool {
        self.travel().abs() >= LEAST_TRAVEL
    }

    /// The same one frame earlier: of who was just found no speed is known.
    fn may_travel(&self) -> bool {
        self.speed == [0.0; 2] || self.travels()
    }

    fn take_legs(&mut self, at_s: f64, reading: LegReading) {
        // Who travels to the picture's right turns the right side to it.
        let right_is_near = self.travel() > 0.0;
        let knee = |right: bool| {
            let [hip, knee, ankle] = reading.leg(right).map(|joint| joint.xy());
            included_deg(hip, knee, ankle)
        };
        if let (Some(near_deg), Some(far_deg)) = (knee(right_is_near), knee(!right_is_near)) {
            self.watch.take(at_s, [near_deg, far_deg]);
        }
        self.body.legs = Some(reading);
    }
}

/// What of the landmark model's region the second model is shown.
fn shown(region: &Roi) -> Roi {
    Roi {
        size_px: SHOWN * region.size_px,
        rotation_rad: 0.0,
        ..*region
    }
}

/// The straighter of both knees in the picture, degrees.
fn straighter_knee_deg(body: &Body) -> f64 {
    use BodyPoint as P;
    let xy = |point: P| {
        let p = body.point(point);
        [f64::from(p.x_px), f64::from(p.y_px)]
    };
    [
        [P::LeftHip, P::LeftKnee, P::LeftAnkle],
        [P::RightHip, P::RightKnee, P::RightAnkle],
    ]
    .into_iter()
    .filter_map(|[hip, knee, ankle]| included_deg(xy(hip), xy(knee), xy(ankle)))
    .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Knees over one stride of 1.2 s at 30 frames a second: the near leg
    /// straightens from 0.5 to 0.7 s and comes back until 0.9 s, the far one
    /// half a stride later.
    fn knee_deg(at_s: f64) -> f64 {
        match at_s.rem_euclid(1.2) {
            t if t < 0.5 => 100.0,
            t if t < 0.7 => 100.0 + 300.0 * (t - 0.5),
            t if t < 0.9 => 160.0 - 300.0 * (t - 0.7),
            _ => 100.0,
        }
    }

    #[test]
    fn the_ends_of_the_near_legs_pushes_are_read_and_little_else() {
        let mut watch = Watch::default();
        let mut read = Vec::new();
        for k in 0..180 {
            let at_s = f64::from(k) / 30.0;
            let (near, far) = (knee_deg(at_s), knee_deg(at_s - 0.6));
            if watch.wants(at_s, true, false, near.max(far)) {
                watch.take(at_s, [near, far]);
                read.push(at_s.rem_euclid(1.2));
            }
        }
        let ends =
            |from_s: f64, to_s: f64| read.iter().filter(|t| (from_s..to_s).contains(t)).count();
        // Five strides: each frame within 0.05 s of the toe-off, three or four.
        assert!(ends(0.65, 0.75) >= 15, "{read:?}");
        // While the far leg pushes, every other frame: the near one might begin to.
        assert!(ends(0.0, 0.4) + ends(0.95, 1.2) <= 25, "{read:?}");
        assert!(read.len() <= 60, "{} of 180", read.len());
    }

    #[test]
    fn a_fast_camera_is_read_in_every_frame_only_near_the_straightest() {
        let read = |hurry: bool| {
            let (mut watch, mut bent, mut straight) = (Watch::default(), 0, 0);
            for k in 0..72 {
                let at_s = f64::from(k) / 60.0;
                let near = knee_deg(at_s);
                if watch.wants(at_s, k % 2 == 0, hurry, near) {
                    watch.take(at_s, [near, 90.0]);
                    *(if near < 140.0 {
                        &mut bent
                    } else {
                        &mut straight
                    }) += 1;
                }
            }
            (bent, straight)
        };
        let (bent, straight) = read(false);
        // 0.133 s above 140 degrees are eight frames; the first may come off the beat.
        assert!((7..=8).contains(&straight), "{straight}");
        // 0.067 s up to there are two beats.
        assert!((1..=4).contains(&bent), "{bent}");
        // In a hurry the beats are all: every other frame.
        let (bent, straight) = read(true);
        assert_eq!(straight, 4);
        assert!((1..=4).contains(&bent), "{bent}");
    }
}
