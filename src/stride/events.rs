//! Finds the pushes of a pass: touchdown, push start, toe-off, recovery.

use super::{Curves, Leg, LegPoints, Place, Push, leg_points};
use crate::config::{Lane, View};
use crate::geometry::{Camera, parabola_peak};
use crate::pose::BodyPoint;

/// Smallest rise of the reach curve that is a push, as a share of stature.
const MIN_REACH_SHARE: f64 = 0.10;
/// Shortest time between two toe-offs of one leg, seconds. Fast skaters make
/// about 3.5 steps a second, so one leg pushes every 0.57 s (from memory).
const MIN_SAME_LEG_S: f64 = 0.40;
/// Cycle length where a pass shows too few pushes to measure it, seconds.
const USUAL_CYCLE_S: f64 = 0.8;

/// Shares of a cycle before and after the toe-off that must be in view for a
/// push to count as seen whole.
const BEFORE_SHARE: f64 = 0.52;
const AFTER_SHARE: f64 = 0.22;

/// All pushes seen whole, in order of toe-off.
pub fn find_pushes(lane: &Lane, camera: &Camera, curves: &Curves, place: &Place) -> Vec<Push> {
    if curves.len() < 8 {
        return Vec::new();
    }
    let reach = Leg::BOTH.map(|leg| reach_curve(leg, camera, curves, place));
    let min_rise_m = MIN_REACH_SHARE * lane.skater_height_m;
    let mut peaks: Vec<Peak> = Leg::BOTH
        .into_iter()
        .flat_map(|leg| peaks_of(leg, &reach[leg as usize], min_rise_m))
        .collect();
    peaks.sort_by(|a, b| a.at.total_cmp(&b.at));
    drop_repeats(&mut peaks, curves.rate_hz);
    let cycle_s = cycle_s(&peaks, curves.rate_hz);
    peaks
        .iter()
        .filter_map(|peak| {
            let curve = &reach[peak.leg as usize];
            whole_push(lane, curves, place, curve, peak, cycle_s)
        })
        .collect()
}

/// How far the skate is from under the body along the direction of a push (back
/// and outward by the same amount), metres.
///
/// The picture shows the direction of a push as a line that depends on where
/// the skater is; the skate's offset from the mid hip is read along it. Where
/// that line points at the camera the picture shows little of it and the
/// curve stays flat rather than noisy.
fn reach_curve(leg: Leg, camera: &Camera, curves: &Curves, place: &Place) -> Vec<f64> {
    let left = place.left();
    let share = std::f64::consts::FRAC_1_SQRT_2;
    let push: [f64; 2] =
        std::array::from_fn(|i| share * (leg.leftward() * left[i] - place.heading[i]));
    let LegPoints { ankle, .. } = leg_points(leg);
    (0..curves.len())
        .map(|i| {
            let hips = curves.mid(i, BodyPoint::LeftHip as usize, BodyPoint::RightHip as usize);
            let foot = curves.points[i][ankle];
            let d = [foot[0] - hips[0], foot[1] - hips[1]];
            let per_m = picture_direction(camera, place, i, push, foot);
            let length2 = per_m[0] * per_m[0] + per_m[1] * per_m[1];
            let floor = (0.4 / place.metres_per_px[i]).powi(2);
            (d[0] * per_m[0] + d[1] * per_m[1]) / length2.max(floor)
        })
        .collect()
}

/// How a horizontal step of one metre in a world direction moves a picture
/// point, pixels.
fn picture_direction(
    camera: &Camera,
    place: &Place,
    i: usize,
    world: [f64; 2],
    px: [f64; 2],
) -> [f64; 2] {
    let [right, down, axis] = camera
        .axes()
        .map(|row| row[0] * world[0] + row[1] * world[1]);
    let px_per_m = 1.0 / place.metres_per_px[i];
    let (u, v) = (
        (px[0] - camera.cx_px) / camera.focal_px,
        (px[1] - camera.cy_px) / camera.focal_px,
    );
    [(right - u * axis) * px_per_m, (down - v * axis) * px_per_m]
}

struct Peak {
    leg: Leg,
    /// Position in samples, between two of them.
    at: f64,
    /// Height over the higher of the two valleys beside it, metres.
    rise_m: f64,
}

/// Local maxima that stand out from the valleys on both sides.
fn peaks_of(leg: Leg, curve: &[f64], min_rise_m: f64) -> Vec<Peak> {
    let n = curve.len();
    (1..n.saturating_sub(1))
        .filter(|&i| curve[i] > curve[i - 1] && curve[i] >= curve[i + 1])
        .filter_map(|i| {
            let valley = |side: &mut dyn Iterator<Item = usize>| {
                let mut low = curve[i];
                for k in side {
                    if curve[k] > curve[i] {
                        break;
                    }
                    low = low.min(curve[k]);
                }
                low
            };
            let before = valley(&mut (0..i).rev());
            let after = valley(&mut (i + 1..n));
            let rise_m = curve[i] - before.max(after);
            let (offset, _) = parabola_peak(curve[i - 1], curve[i], curve[i + 1]);
            (rise_m >= min_rise_m).then_some(Peak {
                leg,
                at: i as f64 + offset,
                rise_m,
            })
        })
        .collect()
}

/// Of two toe-offs of one leg too close together, only the clearer stays.
fn drop_repeats(peaks: &mut Vec<Peak>, rate_hz: f64) {
    let min_gap = MIN_SAME_LEG_S * rate_hz;
    let mut i = 0;
    while i < peaks.len() {
        let twin = (i + 1..peaks.len())
            .find(|&k| peaks[k].leg == peaks[i].leg && peaks[k].at - peaks[i].at < min_gap);
        match twin {
            Some(k) if peaks[k].rise_m > peaks[i].rise_m => {
                peaks.remove(i);
            }
            Some(k) => {
                peaks.remove(k);
            }
            None => i += 1,
        }
    }
}

/// Length of a full cycle, seconds: twice the median step between toe-offs of
/// different legs, and the step between toe-offs of one leg.
fn cycle_s(peaks: &[Peak], rate_hz: f64) -> f64 {
    let mut steps: Vec<f64> = peaks
        .windows(2)
        .filter(|w| w[0].leg != w[1].leg)
        .map(|w| 2.0 * (w[1].at - w[0].at) / rate_hz)
        .chain(
            peaks
                .windows(3)
                .filter(|w| w[0].leg == w[2].leg && w[1].leg != w[0].leg)
                .map(|w| (w[2].at - w[0].at) / rate_hz),
        )
        .filter(|s| (0.45..=1.6).contains(s))
        .collect();
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied().unwrap_or(USUAL_CYCLE_S)
}

fn whole_push(
    lane: &Lane,
    curves: &Curves,
    place: &Place,
    curve: &[f64],
    peak: &Peak,
    cycle_s: f64,
) -> Option<Push> {
    let rate = curves.rate_hz;
    let needed_from = (peak.at - BEFORE_SHARE * cycle_s * rate).round();
    let needed_to = (peak.at + AFTER_SHARE * cycle_s * rate).round();
    // One sample of grace at the borders of the pass.
    let from = usize_at_least(needed_from, -1.0)?;
    let to = needed_to as usize;
    if to > curves.len() || !all_in_view(curves, from, to.min(curves.len() - 1)) {
        return None;
    }
    let top = (peak.at.round() as usize).min(curves.len() - 1);
    let earliest = (peak.at - 0.75 * cycle_s * rate).max(0.0) as usize;
    let touchdown = lowest(curve, earliest, top);
    let push_start = push_start(curve, touchdown, top);
    let latest = ((peak.at + 0.45 * cycle_s * rate) as usize).min(curves.len() - 1);
    let recovery = heels_together(curves, place, top, latest);
    Some(Push {
        leg: peak.leg,
        near_leg: near_leg(lane, place, peak.leg),
        touchdown_s: curves.time_s(touchdown as f64),
        push_start_s: curves.time_s(push_start),
        toe_off_s: curves.time_s(peak.at),
        recovery_s: curves.time_s(recovery),
        reach_m: peak.rise_m,
    })
}

fn usize_at_least(v: f64, floor: f64) -> Option<usize> {
    (v >= floor).then(|| v.max(0.0) as usize)
}

fn all_in_view(curves: &Curves, from: usize, to: usize) -> bool {
    (from..=to).all(|i| curves.seen[i] && curves.legs_in_frame[i])
}

/// Index of the smallest value in `from..=to`.
fn lowest(curve: &[f64], from: usize, to: usize) -> usize {
    (from..=to)
        .min_by(|&a, &b| curve[a].total_cmp(&curve[b]))
        .unwrap_or(from)
}

/// Where the skate starts to move out: the reach first moves faster than a
/// quarter of its fastest, looking back from the toe-off.
fn push_start(curve: &[f64], touchdown: usize, toe_off: usize) -> f64 {
    let speed = |i: usize| curve[i + 1] - curve[i];
    let Some(fastest) = (touchdown..toe_off).max_by(|&a, &b| speed(a).total_cmp(&speed(b))) else {
        return touchdown as f64;
    };
    let threshold = 0.25 * speed(fastest);
    let mut i = fastest;
    while i > touchdown && speed(i - 1) > threshold {
        i -= 1;
    }
    if i == touchdown || i == 0 {
        return i as f64;
    }
    // between the two steps whose speeds lie around the threshold
    let (slow, fast) = (speed(i - 1), speed(i));
    let share = if fast > slow {
        ((threshold - slow) / (fast - slow)).clamp(0.0, 1.0)
    } else {
        0.0
    };
    i as f64 - 0.5 + share
}

/// When the heels are closest together across the travel (along it from the
/// side) after a toe-off.
fn heels_together(curves: &Curves, place: &Place, toe_off: usize, latest: usize) -> f64 {
    let gap = |i: usize| {
        let (l, r) = (
            curves.points[i][BodyPoint::LeftHeel as usize],
            curves.points[i][BodyPoint::RightHeel as usize],
        );
        (l[0] - r[0]).abs() * place.metres_per_px[i]
    };
    let best = (toe_off..=latest).min_by(|&a, &b| gap(a).total_cmp(&gap(b)));
    best.unwrap_or(toe_off) as f64
}

/// Which leg the camera sees in front of the other; none from front and rear.
fn near_leg(lane: &Lane, place: &Place, leg: Leg) -> Option<bool> {
    match lane.view {
        View::Front | View::Rear => None,
        View::Side | View::Oblique => {
            // left of the travel points away from the camera: left is far
            let left_goes_away = place.left()[1] > 0.0;
            Some((leg == Leg::Right) == left_goes_away)
        }
    }
}
