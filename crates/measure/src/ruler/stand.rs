//! A person who stands still and holds something, read as a push is read.

use super::Hold;
use crate::body::{Body, BodyPoint, ModelKind, PoseFrame};
use crate::calibration::Gauged;
use crate::config::{Lane, Subject, View};
use crate::geometry::{Camera, median};
use crate::rules::{Still, held};
use crate::stride::{PassMotion, stand};
use crate::track::{Footing, Pass, Sample, lane_position};

/// How long somebody has to stand still, seconds.
pub const HOLD_S: f64 = 2.0;
/// Share of the frames of that time in which the person has to be seen.
const SEEN_SHARE: f64 = 0.8;
/// Fewest frames a reading is made of.
const LEAST_FRAMES: usize = 12;
/// How far the middle of a second half may lie from that of the first, and how much each
/// point may wander about its middle (median), as a share of the body's height in the picture. Points
/// of a body that stands still wander by less than half of it.
const MOVED_SHARE: f64 = 0.015;
/// Lowest body that is read, as a share of the picture's height.
const LEAST_HEIGHT_SHARE: f64 = 0.2;
/// Shoulders this far apart across the picture, as a share of the trunk's length, are not
/// seen from the side; and nearer than the second not from the front or rear. Half the way
/// between side-on (0) and square (0.9: shoulders 0.26 and trunk 0.29 of stature,
/// Drillis and Contini 1966, from memory).
const SIDE_ON: f64 = 0.5;
const FACING: f64 = 0.4;

/// Why a hold is not read. Each is one sentence for whoever stands beside the camera.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum StandFault {
    /// Another view sees it.
    #[error("{of} is not seen from this lane's view, {}; use a lane whose view is {wanted}", .view.name())]
    WrongView {
        /// The quantity, as it is told.
        of: &'static str,
        /// The lane's.
        view: View,
        /// Those that see it.
        wanted: &'static str,
    },
    /// Nobody.
    #[error(
        "nobody stands in the picture for two seconds; stand in the lane, whole body in the picture, and hold still"
    )]
    Nobody,
    /// More than one.
    #[error("two persons or more are in the picture; only the one who holds may be seen")]
    SeveralPersons,
    /// Somebody who moves.
    #[error("the person moves; hold still for two seconds, against a wall or a stick if need be")]
    Moves,
    /// Somebody far off.
    #[error("the person is too small in the picture; stand on the lane's line")]
    TooSmall,
    /// Turned against the lane.
    #[error("the person looks the other way; look where skaters of this lane go")]
    OtherWay,
    /// Turned beside it.
    #[error("the person is turned; look straight along the lane")]
    Turned,
    /// The joints are not seen.
    #[error(
        "the joints that are needed are not seen; whole body in the picture, nothing before the legs"
    )]
    NotSeen,
}

impl Gauged {
    /// What it is called in a sentence.
    pub fn told(self) -> &'static str {
        match self {
            Gauged::Knee => "a knee",
            Gauged::Extension => "a straight leg",
            Gauged::HeelGap => "a gap between the heels",
            Gauged::Trunk => "the lean of the trunk",
        }
    }

    fn wanted(self) -> &'static str {
        match self {
            Gauged::Knee => "side or oblique",
            Gauged::Extension | Gauged::Trunk => "side",
            Gauged::HeelGap => "front or rear",
        }
    }

    /// Whether a lane of this view shows it.
    ///
    /// # Errors
    /// [`StandFault::WrongView`].
    pub fn seen_from(self, view: View) -> Result<(), StandFault> {
        if self.views().contains(&view) {
            return Ok(());
        }
        Err(StandFault::WrongView {
            of: self.told(),
            view,
            wanted: self.wanted(),
        })
    }
}

/// A person who stands still, read once for every quantity that is asked for.
#[derive(Debug)]
pub struct Standing {
    motion: PassMotion,
}

impl Standing {
    /// The first two seconds of these frames in which one person stands still and looks
    /// along the lane.
    ///
    /// # Errors
    /// Why there are none: that of the stretch that came nearest to it.
    pub fn find(frames: &[PoseFrame], lane: &Lane, by: ModelKind) -> Result<Self, StandFault> {
        let mut nearest = StandFault::Nobody;
        let mut from = 0;
        while let Some(first) = frames.get(from) {
            let until_s = first.captured_at_s + HOLD_S;
            let whole = frames
                .last()
                .is_some_and(|f| f.captured_at_s >= until_s - 0.1);
            if !whole && from > 0 {
                break;
            }
            let to = frames.partition_point(|f| f.captured_at_s <= until_s);
            match Self::of(&frames[from..to], lane, by) {
                Ok(standing) if whole => return Ok(standing),
                Ok(_) => return Err(StandFault::Nobody),
                Err(fault) if rank(fault) > rank(nearest) => nearest = fault,
                Err(_) => {}
            }
            // A quarter of a second on.
            from = frames.partition_point(|f| f.captured_at_s < first.captured_at_s + 0.25);
        }
        Err(nearest)
    }

    fn of(frames: &[PoseFrame], lane: &Lane, by: ModelKind) -> Result<Self, StandFault> {
        let seen: Vec<(&PoseFrame, &Body)> = frames
            .iter()
            .filter_map(|f| Some((f, f.bodies.first()?)))
            .collect();
        if seen.len() < LEAST_FRAMES {
            return Err(StandFault::Nobody);
        }
        let several = frames.iter().filter(|f| f.bodies.len() > 1).count();
        if several * 10 > frames.len() {
            return Err(StandFault::SeveralPersons);
        }
        let seen: Vec<_> = seen
            .into_iter()
            .filter(|(f, _)| f.bodies.len() == 1)
            .collect();
        stands_still(&seen)?;
        if (seen.len() as f64) < SEEN_SHARE * frames.len() as f64 {
            return Err(StandFault::Nobody);
        }
        let (first, _) = seen.first().ok_or(StandFault::Nobody)?;
        let camera = Camera::of_lane(lane, first.width, first.height);
        let samples: Vec<Sample> = seen
            .iter()
            .map(|(frame, body)| Sample {
                t_s: frame.captured_at_s,
                points: body.points,
                legs: body.legs,
                clarity: body.clarity,
                lane_m: lane_position(lane, &camera, &Footing::of(&body.points)),
            })
            .collect();
        let pass = Pass {
            track_id: 1,
            samples,
            frame_px: [first.width, first.height],
            speed_mps: 0.0,
            heading: lane.travel.heading(),
        };
        // As a person is read, with nothing of a check: that is what is asked for.
        let plain = Lane {
            subject: Subject::People,
            checked: None,
            ..lane.clone()
        };
        let mut motion = stand(&pass, &plain);
        motion.read_by = by;
        looks_along(&motion)?;
        Ok(Standing { motion })
    }

    /// What is read of a quantity, in degrees or metres.
    ///
    /// # Errors
    /// The lane's view does not show it, or its joints are not seen.
    pub fn read(&self, of: Gauged) -> Result<f64, StandFault> {
        of.seen_from(self.motion.lane.view)?;
        held(Still(&self.motion), of)
            .filter(|v| v.is_finite())
            .ok_or(StandFault::NotSeen)
    }
}

/// From this angle on a knee is an extension as well.
const STRAIGHT_FROM_DEG: f64 = 140.0;

impl Standing {
    /// A hold with what is read of it; the same two seconds of a straight leg hold a knee
    /// and an extension, where the view shows both.
    ///
    /// # Errors
    /// As [`Standing::read`], of the hold itself.
    pub fn holds(&self, hold: Hold) -> Result<Vec<Hold>, StandFault> {
        let of_hold = Hold {
            reading: self.read(hold.of)?,
            ..hold
        };
        let straight = of_hold.of == Gauged::Knee && of_hold.reference >= STRAIGHT_FROM_DEG;
        let leg = straight
            .then(|| self.read(Gauged::Extension).ok())
            .flatten()
            .map(|reading| Hold {
                of: Gauged::Extension,
                reading,
                ..of_hold.clone()
            });
        Ok([of_hold].into_iter().chain(leg).collect())
    }
}

/// The later one of these comes nearer to a hold.
fn rank(fault: StandFault) -> u8 {
    match fault {
        StandFault::WrongView { .. } | StandFault::Nobody => 0,
        StandFault::SeveralPersons => 1,
        StandFault::TooSmall => 2,
        StandFault::Moves => 3,
        StandFault::Turned => 4,
        StandFault::OtherWay => 5,
        StandFault::NotSeen => 6,
    }
}

const WATCHED: [BodyPoint; 8] = [
    BodyPoint::LeftShoulder,
    BodyPoint::RightShoulder,
    BodyPoint::LeftHip,
    BodyPoint::RightHip,
    BodyPoint::LeftKnee,
    BodyPoint::RightKnee,
    BodyPoint::LeftAnkle,
    BodyPoint::RightAnkle,
];

fn stands_still(seen: &[(&PoseFrame, &Body)]) -> Result<(), StandFault> {
    let mut heights: Vec<f64> = seen.iter().map(|(_, b)| height_px(b)).collect();
    let height = median(&mut heights).ok_or(StandFault::Nobody)?;
    let picture = seen.first().map_or(1.0, |(f, _)| f64::from(f.height));
    if height < LEAST_HEIGHT_SHARE * picture {
        return Err(StandFault::TooSmall);
    }
    let halves = seen.split_at(seen.len() / 2);
    // The points of the far side are hidden by the near one, and jump: of each pair the
    // quieter one counts.
    for pair in WATCHED.chunks(2) {
        let moved = pair.iter().map(|&point| {
            let at = |part: &[(&PoseFrame, &Body)]| middle_px(part, point);
            let (a, b, all) = (at(halves.0), at(halves.1), at(seen));
            let mut off: Vec<f64> = seen
                .iter()
                .map(|(_, body)| apart(place(body, point), all))
                .collect();
            apart(a, b).max(median(&mut off).unwrap_or(f64::MAX))
        });
        if moved.fold(f64::MAX, f64::min) > MOVED_SHARE * height {
            return Err(StandFault::Moves);
        }
    }
    Ok(())
}

fn place(body: &Body, point: BodyPoint) -> [f64; 2] {
    let p = body.point(point);
    [f64::from(p.x_px), f64::from(p.y_px)]
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

fn middle_px(part: &[(&PoseFrame, &Body)], point: BodyPoint) -> [f64; 2] {
    [0, 1].map(|axis| {
        let mut values: Vec<f64> = part.iter().map(|(_, b)| place(b, point)[axis]).collect();
        median(&mut values).unwrap_or_default()
    })
}

fn height_px(body: &Body) -> f64 {
    let ys = || body.points.iter().map(|p| f64::from(p.y_px));
    ys().fold(f64::MIN, f64::max) - ys().fold(f64::MAX, f64::min)
}

/// Whether the person looks where skaters of the lane go.
fn looks_along(motion: &PassMotion) -> Result<(), StandFault> {
    use BodyPoint as P;
    let i = motion.curves.len() / 2;
    let Some(points) = motion.curves.points.get(i) else {
        return Err(StandFault::NotSeen);
    };
    let at = |p: BodyPoint| points[p as usize];
    let mid = |a: BodyPoint, b: BodyPoint| motion.curves.mid(i, a as usize, b as usize);
    let (shoulders, hips) = (
        mid(P::LeftShoulder, P::RightShoulder),
        mid(P::LeftHip, P::RightHip),
    );
    let trunk_px = apart(shoulders, hips).max(1.0);
    // In the picture, to the right: where the person's left is, and where it looks.
    let left_px = at(P::LeftShoulder)[0] - at(P::RightShoulder)[0];
    let toes_px: f64 = [(P::LeftHeel, P::LeftToe), (P::RightHeel, P::RightToe)]
        .into_iter()
        .map(|(heel, toe)| at(toe)[0] - at(heel)[0])
        .sum();
    let [right, _, _] = motion.camera.axes();
    let (ahead, left) = (motion.place.heading, motion.place.left());
    let to_right = |d: [f64; 2]| right[0] * d[0] + right[1] * d[1];
    match motion.lane.view {
        View::Side | View::Oblique => {
            if left_px.abs() > SIDE_ON * trunk_px && motion.lane.view == View::Side {
                Err(StandFault::Turned)
            } else if toes_px * to_right(ahead) < 0.0 {
                Err(StandFault::OtherWay)
            } else {
                Ok(())
            }
        }
        View::Front | View::Rear => {
            if left_px.abs() < FACING * trunk_px {
                Err(StandFault::Turned)
            } else if left_px * to_right(left) < 0.0 {
                Err(StandFault::OtherWay)
            } else {
                Ok(())
            }
        }
    }
}

#[cfg(test)]
mod tests;
