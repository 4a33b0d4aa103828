//! What was seen of one person, and when it makes a pass.

use super::TrackSettings;
use super::ground::mid_hip_px;
use crate::body::{BodyPoint, Clarity, Landmark, LegReading, POINTS, bounds};
use crate::config::{Lane, Travel, View};
use crate::geometry::{Camera, fit_line, median};

/// One sighting of a tracked person.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// Capture time, seconds on the source's clock.
    pub t_s: f64,
    /// Body points in the picture, unsmoothed.
    pub points: [Landmark; POINTS],
    /// The legs as the second model reads them, around the end of a push.
    pub legs: Option<LegReading>,
    /// How well the picture showed the person; `None` where it was not measured or
    /// not kept.
    pub clarity: Option<Clarity>,
    /// Position on the ice in the lane's world frame, metres.
    pub lane_m: Option<[f64; 2]>,
}

/// What the model says of a point is at least this; 0 means that somebody stands
/// in front. Above half of a 255th, in which points are stored.
const LEAST_VISIBILITY: f32 = 0.002;

impl Sample {
    /// Notes whether another person in front hides the legs: such points are
    /// kept, with a visibility of 0.
    pub(super) fn mark_legs_hidden(&mut self, hidden: bool) {
        for (i, point) in self.points.iter_mut().enumerate() {
            point.visibility = if hidden && i >= BodyPoint::LeftHip as usize {
                0.0
            } else {
                point.visibility.max(LEAST_VISIBILITY)
            };
        }
    }

    /// Whether another person in front hid the legs.
    pub fn legs_hidden(&self) -> bool {
        let legs = &self.points[BodyPoint::LeftHip as usize..];
        legs.iter().all(|point| point.visibility == 0.0)
    }
}

/// One skater's travel through the lane.
#[derive(Debug, Clone, PartialEq)]
pub struct Pass {
    /// Number of the track it came from.
    pub track_id: u32,
    /// Everything seen, in order of time.
    pub samples: Vec<Sample>,
    /// Width and height of the frames, pixels.
    pub frame_px: [u32; 2],
    /// Mean speed over the ice, metres a second.
    pub speed_mps: f64,
    /// Direction of travel over the ice, world x and y, length 1.
    pub heading: [f64; 2],
}

impl Pass {
    /// Time of the first sample, seconds.
    pub fn started_at_s(&self) -> f64 {
        self.samples.first().map_or(0.0, |s| s.t_s)
    }

    /// Time of the last sample, seconds.
    pub fn ended_at_s(&self) -> f64 {
        self.samples.last().map_or(0.0, |s| s.t_s)
    }
}

/// Why a pass is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// Not seen any more.
    Lost,
    /// Travels too slowly now.
    Slowed,
    /// The source gives no more frames.
    SourceEnded,
}

/// Why what was seen of somebody is no pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Refused {
    /// Stood, walked, or was seen for a moment.
    NoPass,
    /// Travelled, but not where or as fast as somebody on this lane could.
    DoesNotFit,
    /// Skated the other way.
    OtherWay,
    /// Skated the lane, but slower than what counts as a pass: metres a second.
    TooSlow(f64),
}

/// Who has moved through this share of the picture's width has passed through it.
const CROSSED_SHARE: f64 = 0.3;

/// Only who was followed for so long is taken to be on the way out, seconds.
const LEAVING_NEEDS_S: f64 = 1.0;

/// The samples of one person, growing.
pub struct Segment {
    samples: Vec<Sample>,
}

impl Segment {
    pub fn starting_with(sample: Sample) -> Self {
        Segment {
            samples: vec![sample],
        }
    }

    pub fn push(&mut self, sample: Sample) {
        self.samples.push(sample);
    }

    pub fn last_t_s(&self) -> f64 {
        self.samples.last().map_or(f64::NEG_INFINITY, |s| s.t_s)
    }

    /// From the first sighting to the last, seconds.
    pub fn lasts_s(&self) -> f64 {
        self.last_t_s() - self.samples.first().map_or(f64::INFINITY, |s| s.t_s)
    }

    /// Where the mid hip should be at `t_s`, pixels: straight on at the
    /// velocity of the last few samples.
    pub fn expected_px(&self, t_s: f64) -> [f64; 2] {
        let recent = &self.samples[self.samples.len().saturating_sub(5)..];
        let axis = |px: &dyn Fn(&Sample) -> f64| {
            let line = fit_line(recent.iter().map(|s| (s.t_s, px(s), 1.0)));
            line.map_or_else(|| recent.last().map_or(f64::NAN, px), |l| l.at(t_s))
        };
        [
            axis(&|s| mid_hip_px(&s.points)[0]),
            axis(&|s| mid_hip_px(&s.points)[1]),
        ]
    }

    /// Whether the person is on the way out of the picture: through its left
    /// or right edge (moving outward, with the mid hip by now nearer to the
    /// edge than the body is wide), or past the camera (the skates are below
    /// the lower edge already).
    pub fn is_leaving(&self, now_s: f64, frame_px: [u32; 2]) -> bool {
        let (Some(last), [expected_px, _]) = (self.samples.last(), self.expected_px(now_s)) else {
            return false;
        };
        // Somebody seen for a moment at the edge may jump about there.
        if now_s - self.samples.first().map_or(now_s, |s| s.t_s) < LEAVING_NEEDS_S {
            return false;
        }
        let lowest_px = last.points.iter().map(|p| p.y_px).fold(f32::MIN, f32::max);
        if f64::from(lowest_px) > f64::from(frame_px[1]) {
            return true;
        }
        let outward_px = expected_px - mid_hip_px(&last.points)[0];
        let room_px = if outward_px < 0.0 {
            expected_px
        } else {
            f64::from(frame_px[0]) - expected_px
        };
        // A skater's stride is about half as wide as the body's diagonal.
        outward_px.abs() > 0.1 * self.last_size_px() && room_px < 0.5 * self.last_size_px()
    }

    /// Size of the person in the picture at the last sighting: the diagonal
    /// of the box around the body points, pixels.
    pub fn last_size_px(&self) -> f64 {
        self.samples.last().map_or(1.0, |s| size_px(&s.points))
    }

    /// Speed over the ice in the last `window_s` seconds, metres a second.
    /// `None` until two thirds of the window are filled.
    pub fn recent_speed_mps(&self, window_s: f64) -> Option<f64> {
        let from_s = self.last_t_s() - window_s;
        let start = self.samples.partition_point(|s| s.t_s < from_s);
        let recent = &self.samples[start..];
        let spans_s = self.last_t_s() - recent.first()?.t_s;
        (spans_s >= 0.66 * window_s).then_some(())?;
        let [vx, vy] = velocity(recent)?;
        Some(vx.hypot(vy))
    }

    pub fn forget_before(&mut self, t_s: f64) {
        let n = self.samples.partition_point(|s| s.t_s < t_s);
        self.samples
            .drain(..n.min(self.samples.len().saturating_sub(1)));
    }

    pub fn split_off_all_but_last(&mut self) -> Segment {
        let keep = self.samples.len().saturating_sub(1);
        let rest = self.samples.split_off(keep);
        Segment {
            samples: std::mem::replace(&mut self.samples, rest),
        }
    }

    /// The pass these samples make, if the person travelled far and fast
    /// enough in the lane's direction. The standing or slow start and end are
    /// cut away.
    pub fn into_pass(
        mut self,
        track_id: u32,
        lane: &Lane,
        settings: &TrackSettings,
        frame_px: [u32; 2],
        ending: Ending,
    ) -> Result<Pass, Refused> {
        let crossed = self.crossed_picture(frame_px);
        let unfit = match self.too_slow_mps(lane, settings, frame_px) {
            Some(mps) => Refused::TooSlow(mps),
            None => Refused::DoesNotFit,
        };
        self.trim_slow(settings, ending);
        let ends = self.samples.first().zip(self.samples.last());
        let Some(((first, last), [vx, vy])) = ends.zip(velocity(&self.samples)) else {
            return Err(if crossed { unfit } else { Refused::NoPass });
        };
        let seconds = last.t_s - first.t_s;
        let speed_mps = vx.hypot(vy);
        let heading = [vx / speed_mps, vy / speed_mps];
        let far_enough = speed_mps * seconds >= settings.min_travel_m;
        let fast_enough = speed_mps >= settings.min_pass_speed_mps;
        if !(seconds >= SHORTEST_PASS_S && far_enough && fast_enough) {
            let long = seconds >= SHORTEST_PASS_S && crossed;
            return Err(if long { unfit } else { Refused::NoPass });
        }
        let fits = speed_mps <= FASTEST_MPS
            && fits_its_place(
                &self.samples,
                lane,
                frame_px,
                speed_mps,
                settings.min_pass_speed_mps,
            );
        if !fits {
            return Err(Refused::DoesNotFit);
        }
        if !right_way(lane, heading) {
            return Err(Refused::OtherWay);
        }
        Ok(Pass {
            track_id,
            samples: self.samples,
            frame_px,
            speed_mps,
            heading,
        })
    }

    /// Whether the person has moved through a good part of the picture or has grown or
    /// shrunk in it as somebody does who comes or goes.
    fn crossed_picture(&self, frame_px: [u32; 2]) -> bool {
        let (Some(first), Some(last)) = (self.samples.first(), self.samples.last()) else {
            return false;
        };
        let (from, to) = (mid_hip_px(&first.points), mid_hip_px(&last.points));
        let moved_share = (to[0] - from[0]).abs() / f64::from(frame_px[0].max(1));
        let grown = size_px(&last.points) / size_px(&first.points).max(1.0);
        let lasted = last.t_s - first.t_s >= SHORTEST_PASS_S;
        lasted && (moved_share >= CROSSED_SHARE || !(0.5..2.0).contains(&grown))
    }

    /// How fast somebody went who passed through the picture as a skater of this lane
    /// does and was only slower than what counts; `None` where that is not so.
    fn too_slow_mps(
        &self,
        lane: &Lane,
        settings: &TrackSettings,
        frame_px: [u32; 2],
    ) -> Option<f64> {
        let [vx, vy] = velocity(&self.samples).filter(|_| self.crossed_picture(frame_px))?;
        let mps = vx.hypot(vy);
        let slow = mps < settings.min_pass_speed_mps && right_way(lane, [vx / mps, vy / mps]);
        (slow && fits_its_place(&self.samples, lane, frame_px, mps, 0.0)).then_some(mps)
    }

    fn trim_slow(&mut self, settings: &TrackSettings, ending: Ending) {
        let slow = 0.6 * settings.min_pass_speed_mps;
        let half_s = 0.2;
        let fast: Vec<bool> = self
            .samples
            .iter()
            .map(|s| {
                let a = self.samples.partition_point(|q| q.t_s < s.t_s - half_s);
                let b = self.samples.partition_point(|q| q.t_s <= s.t_s + half_s);
                velocity(&self.samples[a..b]).is_some_and(|[x, y]| x.hypot(y) >= slow)
            })
            .collect();
        if ending == Ending::Slowed {
            let end = fast.iter().rposition(|&f| f).map_or(0, |i| i + 1);
            self.samples.truncate(end);
        }
        let start = fast.iter().position(|&f| f).unwrap_or(self.samples.len());
        self.samples.drain(..start.min(self.samples.len()));
    }
}

/// Shorter than this nothing of a push is seen, seconds.
const SHORTEST_PASS_S: f64 = 0.6;
/// Nobody skates faster: sprints of high-calibre men reach 9.0 m/s with a
/// spread of 0.4 (Budarick et al. 2018), bandy players 10.8 (van den Tillaar
/// et al. 2023). What seems faster stands elsewhere than the lane says.
const FASTEST_MPS: f64 = 12.5;
/// From the nose to the lower skate, as a share of the lane's stature: a
/// skater bent low is about half of it, an upright one nine tenths, and the
/// lane's stature may be a quarter too small.
const HEIGHT_SHARES: std::ops::RangeInclusive<f64> = 0.42..=1.15;
/// Farthest beside the lane a skater in it can be, metres.
const BESIDE_M: f64 = 3.0;

/// From the side: size at the end of a pass against the size at its start.
const SIDE_DRIFT: std::ops::RangeInclusive<f64> = 0.87..=1.15;
/// From the nose to the lower skate of a usual skater, as a share of stature.
const USUAL_SHARE: f64 = 0.72;
/// Speed by the body's size against speed by the lane: posture and stature
/// alone make up to a third of difference either way.
const SPEED_RATIOS: std::ops::RangeInclusive<f64> = 0.6..=1.7;
/// What somebody must move at by the body's size, as a share of the slowest
/// pass: who walks upright looks a quarter slower by it than he is, who
/// skates bent looks as fast as he is or faster.
const BODY_SPEED_SHARE: f64 = 1.0;

/// Whether somebody of the lane's stature could stand where the lane puts
/// this body and move as fast as it seems to.
///
/// The body's size in the picture tells its distance and speed once more,
/// roughly and without the lane's geometry. People in the stands, on the next
/// rink or walking behind the glass do not fit; nor does anybody where the
/// lane file does not fit the camera.
fn fits_its_place(
    samples: &[Sample],
    lane: &Lane,
    frame_px: [u32; 2],
    lane_speed_mps: f64,
    slowest_mps: f64,
) -> bool {
    let camera = Camera::of_lane(lane, frame_px[0], frame_px[1]);
    let mut shares = Vec::new();
    let mut beside_m = Vec::new();
    let mut by_size = Vec::new();
    for s in samples {
        let Some(at) = s.lane_m else { continue };
        let (top, bottom) = s
            .points
            .iter()
            .fold((f64::MAX, f64::MIN), |(top, bottom), p| {
                (top.min(f64::from(p.y_px)), bottom.max(f64::from(p.y_px)))
            });
        let height_px = (bottom - top).max(1.0);
        let middle_m = [at[0], at[1], 0.5 * lane.skater_height_m];
        let height_m = height_px * camera.depth_m(middle_m) / camera.focal_px;
        shares.push(height_m / lane.skater_height_m);
        beside_m.push(at[0].abs());
        let depth_m = camera.focal_px * USUAL_SHARE * lane.skater_height_m / height_px;
        let across_m = (mid_hip_px(&s.points)[0] - camera.cx_px) / camera.focal_px * depth_m;
        by_size.push((s.t_s, [across_m, depth_m]));
    }
    let in_line = match lane.view {
        View::Front | View::Rear => {
            median(&mut beside_m).is_some_and(|m| m <= lane.lane_distance_m + BESIDE_M)
        }
        View::Side | View::Oblique => true,
    };
    let third = by_size.len() / 3;
    let grows = match (lane.view, third) {
        // whoever follows a line square to the camera keeps his size
        (View::Side, 1..) => {
            let depth_m = |part: &[(f64, [f64; 2])]| {
                median(&mut part.iter().map(|(_, p)| p[1]).collect::<Vec<_>>()).unwrap_or(1.0)
            };
            let ratio = depth_m(&by_size[..third]) / depth_m(&by_size[by_size.len() - third..]);
            !SIDE_DRIFT.contains(&ratio)
        }
        _ => false,
    };
    let body_speed_mps = velocity_of(&by_size).map_or(0.0, |[x, y]| x.hypot(y));
    in_line
        && !grows
        && median(&mut shares).is_some_and(|s| HEIGHT_SHARES.contains(&s))
        && body_speed_mps >= BODY_SPEED_SHARE * slowest_mps
        && SPEED_RATIOS.contains(&(lane_speed_mps / body_speed_mps))
}

/// Whether the travel goes the way the lane says. A lane's other direction is
/// skated too (the way back), but its views are other views: it is not judged.
fn right_way(lane: &Lane, heading: [f64; 2]) -> bool {
    let along = match lane.travel {
        Travel::LeftToRight => heading[0],
        Travel::RightToLeft => -heading[0],
        Travel::Toward => -heading[1],
        Travel::Away => heading[1],
    };
    along > if lane.view == View::Oblique { 0.3 } else { 0.7 }
}

/// Diagonal of the box around the body points, pixels.
pub fn size_px(points: &[Landmark; POINTS]) -> f64 {
    let [left, top, right, bottom] = bounds(points);
    f64::from(right - left).hypot(f64::from(bottom - top))
}

/// Velocity over the ice, metres a second.
fn velocity(samples: &[Sample]) -> Option<[f64; 2]> {
    let seen: Vec<(f64, [f64; 2])> = samples
        .iter()
        .filter_map(|s| s.lane_m.map(|p| (s.t_s, p)))
        .collect();
    velocity_of(&seen)
}

/// Velocity through positions over time: least squares, then once more
/// without those that lie far off the first line.
fn velocity_of(seen: &[(f64, [f64; 2])]) -> Option<[f64; 2]> {
    let axis = |i: usize| {
        let points = || seen.iter().map(move |(t, p)| (*t, p[i], 1.0));
        let first = fit_line(points())?;
        let off = |t: f64, v: f64| (v - first.at(t)).abs();
        let typical =
            median(&mut points().map(|(t, v, _)| off(t, v)).collect::<Vec<_>>())?.max(0.02);
        fit_line(points().filter(|&(t, v, _)| off(t, v) <= 3.0 * typical))
            .or(Some(first))
            .map(|l| l.slope)
    };
    Some([axis(0)?, axis(1)?])
}
