//! Strides: a finished pass cut into pushes, per leg, with times between
//! frames.
//!
//! Takes: a [`Pass`] and the lane it was seen on.
//! Gives: a [`PassMotion`]: smooth curves of the body points and the
//! [`Push`]es seen whole.
//! Fails: never; a pass with too little in view has no pushes.
//!
//! Pure: no I/O, no clock, no threads. The smoothing is zero-phase, over the
//! finished pass; nothing here is used for the live picture.
//!
//! Words: a push of a leg runs from *touchdown* (the skate takes the weight,
//! near the body) over the *glide* on a bent knee to the *push start*, the
//! *toe-off* (the skate leaves the ice, farthest from the body) and the
//! *recovery* (the boots closest together again). Definitions after Allinger
//! and van den Bogert 1997.

mod blend;
mod curves;
mod drive;
mod events;
mod place;
mod repair;
#[doc(hidden)]
pub mod synthetic;

use serde::{Deserialize, Serialize};

use crate::body::{BodyPoint, LegReading, ModelKind};
use crate::calibration::Calibration;
use crate::config::Lane;
use crate::geometry::{Camera, median};
use crate::quality::{Quality, Sight};
use crate::track::{Pass, Sample};

pub use curves::Curves;
use drive::drive_curves;
pub use events::near_leg;
pub use place::{Place, Sighting};

/// The skater's own left or right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs, reason = "the names are the documentation")]
pub enum Leg {
    Left,
    Right,
}

impl Leg {
    /// Both legs, left first.
    pub const BOTH: [Leg; 2] = [Leg::Left, Leg::Right];

    /// The other leg.
    pub fn other(self) -> Self {
        match self {
            Leg::Left => Leg::Right,
            Leg::Right => Leg::Left,
        }
    }

    /// +1 for the left leg, -1 for the right.
    pub fn leftward(self) -> f64 {
        match self {
            Leg::Left => 1.0,
            Leg::Right => -1.0,
        }
    }
}

/// One push of one leg, seen whole. Times in seconds on the source's clock.
#[derive(Debug, Clone, PartialEq)]
pub struct Push {
    /// The pushing leg.
    pub leg: Leg,
    /// Whether it is the leg nearer to the camera; `None` where the view has
    /// no nearer leg.
    pub near_leg: Option<bool>,
    /// The skate is back under the body and takes the weight.
    pub touchdown_s: f64,
    /// The leg starts to push.
    pub push_start_s: f64,
    /// The skate leaves the ice.
    pub toe_off_s: f64,
    /// The boots are closest together after the push.
    pub recovery_s: f64,
    /// Length of a full cycle of both legs in this pass, seconds.
    pub cycle_s: f64,
    /// How clearly the push stands out of the drive curve.
    pub prominence: f64,
}

/// A skate leaves the ice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToeOff {
    /// The leg that has pushed.
    pub leg: Leg,
    /// When, seconds on the source's clock.
    pub at_s: f64,
}

/// The legs in one frame, as the second model reads them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LegSample {
    /// When, seconds on the source's clock.
    pub t_s: f64,
    /// Hips, knees and ankles in the picture.
    pub legs: LegReading,
}

/// A pass as motion: what rules measure from.
#[derive(Debug, Clone)]
pub struct PassMotion {
    /// The lane it was seen on.
    pub lane: Lane,
    /// The camera of that lane at this frame size.
    pub camera: Camera,
    /// Smooth curves of the body points, evenly spaced in time.
    pub curves: Curves,
    /// What the second reader of the legs says around the ends of pushes, in order
    /// of time, unsmoothed.
    pub legs: Vec<LegSample>,
    /// Where on the ice the skater was seen, in order of time.
    pub sightings: Vec<Sighting>,
    /// Where on the ice the skater was, sample by sample.
    pub place: Place,
    /// How well it was seen, moment by moment.
    pub sight: Sight,
    /// The pushes, in order of toe-off.
    pub pushes: Vec<Push>,
    /// Every toe-off found, in order: also those whose push is only partly in
    /// view.
    pub toe_offs: Vec<ToeOff>,
    /// Mean speed over the ice, metres a second.
    pub speed_mps: f64,
    /// The pose model whose points these are.
    pub read_by: ModelKind,
    /// Number of the track.
    pub track_id: u32,
    /// First and last sample of the pass, seconds.
    pub span_s: [f64; 2],
}

impl PassMotion {
    /// What its readings are shifted by, and how sure they are then.
    pub fn calibration(&self) -> Calibration {
        Calibration::of_lane(&self.lane, self.read_by)
    }

    /// How well the skater was seen over a span of time, seconds on the source's clock.
    pub fn seen(&self, span_s: [f64; 2]) -> Quality {
        self.sight.over(span_s).read_by(self.read_by)
    }

    /// Puts the pass of `from`, of which this is a copy, on a lane with other numbers: places
    /// and sizes follow. What was seen in the picture, and when the pushes are, stays.
    pub fn put_on(&mut self, from: &PassMotion, lane: Lane) {
        let was = &from.camera;
        let px = |half: f64| (2.0 * half).round() as u32;
        let camera = Camera::of_lane(&lane, px(was.cx_px), px(was.cy_px));
        let moved = |s: &Sighting| s.moved((&from.lane, was), (&lane, &camera));
        let sightings: Vec<Sighting> = from.sightings.iter().filter_map(moved).collect();
        let heading = from.place.heading;
        self.place = Place::along(&sightings, heading, &lane, &camera, &self.curves);
        (self.camera, self.lane) = (camera, lane);
    }
}

/// Cuts a pass into pushes.
pub fn cut(pass: &Pass, lane: &Lane) -> PassMotion {
    let camera = Camera::of_lane(lane, pass.frame_px[0], pass.frame_px[1]);
    let curves = Curves::of_pass(pass);
    let sightings = Sighting::of_pass(pass);
    let place = Place::along(&sightings, pass.heading, lane, &camera, &curves);
    let drive = drive_curves(&camera, &curves, &place, lane);
    let sight = Sight::of_pass(pass, |t_s| {
        let i = curves.index_at(t_s);
        let metres_per_px = place.metres_per_px.get(i).copied();
        metres_per_px.map_or(0.0, |metres| lane.skater_height_m / metres)
    });
    let (pushes, toe_offs) = events::find_pushes(lane, &curves, &place, &drive);
    PassMotion {
        lane: lane.clone(),
        camera,
        curves,
        legs: leg_samples(pass),
        sight,
        sightings,
        place,
        pushes,
        toe_offs,
        speed_mps: pass.speed_mps,
        read_by: ModelKind::default(),
        track_id: pass.track_id,
        span_s: [pass.started_at_s(), pass.ended_at_s()],
    }
}

/// Somebody who stands still on the lane and looks along it, as motion without pushes:
/// what rules read in a single moment can be read here as well.
pub fn stand(pass: &Pass, lane: &Lane) -> PassMotion {
    let mut motion = cut(pass, lane);
    let middle = |axis: usize| {
        let mut at_m: Vec<f64> = pass
            .samples
            .iter()
            .filter_map(|s| Some(s.lane_m?[axis]))
            .collect();
        median(&mut at_m).unwrap_or_default()
    };
    let at_m = [middle(0), middle(1)];
    motion.place = Place::standing(at_m, pass.heading, lane, &motion.camera, &motion.curves);
    motion.pushes.clear();
    motion.toe_offs.clear();
    motion
}

fn leg_samples(pass: &Pass) -> Vec<LegSample> {
    let read = |s: &Sample| s.legs.map(|legs| LegSample { t_s: s.t_s, legs });
    pass.samples.iter().filter_map(read).collect()
}

/// The body points of one leg.
#[derive(Debug, Clone, Copy)]
pub struct LegPoints {
    /// Hip joint.
    pub hip: usize,
    /// Knee joint.
    pub knee: usize,
    /// Ankle joint.
    pub ankle: usize,
    /// Heel of the boot.
    pub heel: usize,
    /// Toe of the boot.
    pub toe: usize,
}

/// Indices of a leg's points in the model's output.
pub fn leg_points(leg: Leg) -> LegPoints {
    use BodyPoint as P;
    match leg {
        Leg::Left => LegPoints {
            hip: P::LeftHip as usize,
            knee: P::LeftKnee as usize,
            ankle: P::LeftAnkle as usize,
            heel: P::LeftHeel as usize,
            toe: P::LeftToe as usize,
        },
        Leg::Right => LegPoints {
            hip: P::RightHip as usize,
            knee: P::RightKnee as usize,
            ankle: P::RightAnkle as usize,
            heel: P::RightHeel as usize,
            toe: P::RightToe as usize,
        },
    }
}

#[cfg(test)]
mod tests;
