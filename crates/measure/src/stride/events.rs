//! Finds the pushes of a pass: touchdown, push start, toe-off, recovery.

use super::drive::Drive;
use super::{Curves, Leg, Place, Push, ToeOff};
use crate::body::BodyPoint;
use crate::config::{Lane, View};
use crate::geometry::{median, parabola_peak};

/// Smallest rise of the drive curve that is a push.
const MIN_RISE: f64 = 0.25;
/// Smallest rise where the other leg's toe-offs say that it is this leg's
/// turn.
const MIN_RISE_IN_TURN: f64 = 0.06;
/// Least time between the toe-offs of different legs, and how far a leg's
/// turn may lie off the middle between the other's, in cycles.
const MIN_TURN: f64 = 0.25;
const TURN_TOLERANCE: f64 = 0.18;
/// Shortest time between two toe-offs of one leg, seconds. Fast skaters make
/// about 3.5 steps a second, so one leg pushes every 0.57 s (from memory).
const MIN_SAME_LEG_S: f64 = 0.40;
/// Cycle length where a pass shows too few pushes to measure it, seconds.
const USUAL_CYCLE_S: f64 = 0.8;

/// Shares of a cycle before and after the toe-off that must be in view for a
/// push to count as seen whole.
const BEFORE_SHARE: f64 = 0.52;
const AFTER_SHARE: f64 = 0.22;

/// Samples on both sides of a toe-off that have to be in view: points at the
/// picture's edge are the model's invention and bend the curve.
const AROUND_TOE_OFF: usize = 2;

/// All pushes seen whole, and all toe-offs whether or not their push was, in
/// order of toe-off.
pub fn find_pushes(
    lane: &Lane,
    curves: &Curves,
    place: &Place,
    drive: &[Drive; 2],
) -> (Vec<Push>, Vec<ToeOff>) {
    if curves.len() < 8 {
        return (Vec::new(), Vec::new());
    }
    let mut peaks: Vec<Peak> = Leg::BOTH
        .into_iter()
        .flat_map(|leg| peaks_of(leg, &drive[leg as usize], MIN_RISE))
        .collect();
    peaks.sort_by(|a, b| a.at.total_cmp(&b.at));
    drop_repeats(&mut peaks, curves.rate_hz);
    let cycle_s = alternate(&mut peaks, drive, curves.rate_hz);
    let pushes = peaks
        .iter()
        .filter_map(|peak| {
            let drive = &drive[peak.leg as usize];
            whole_push(lane, curves, place, drive, peak, cycle_s)
        })
        .collect();
    let toe_offs = peaks
        .iter()
        .filter(|peak| {
            let top = peak.at.round() as usize;
            let last = (top + AROUND_TOE_OFF).min(curves.len() - 1);
            all_in_view(curves, top.saturating_sub(AROUND_TOE_OFF), last)
        })
        .map(|peak| ToeOff {
            leg: peak.leg,
            at_s: toe_off_s(curves, &drive[peak.leg as usize], peak, cycle_s),
        })
        .collect();
    (pushes, toe_offs)
}

fn toe_off_s(curves: &Curves, drive: &Drive, peak: &Peak, cycle_s: f64) -> f64 {
    let top = (peak.at.round() as usize).min(curves.len() - 1);
    curves.time_s(peak.at) + drive.toe_off_after_s(top, cycle_s)
}

struct Peak {
    leg: Leg,
    /// Position in samples, between two of them.
    at: f64,
    /// Height over the higher of the two valleys beside it.
    rise: f64,
    /// The rise, less where only the knee tells: a knee also opens when the
    /// skate is set down.
    clarity: f64,
}

/// Local maxima that stand out from the valleys on both sides.
fn peaks_of(leg: Leg, drive: &Drive, min_rise: f64) -> Vec<Peak> {
    let (curve, n) = (&drive.curve, drive.curve.len());
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
            let rise = curve[i] - before.max(after);
            let (offset, _) = parabola_peak(curve[i - 1], curve[i], curve[i + 1]);
            (rise >= min_rise).then_some(Peak {
                leg,
                at: i as f64 + offset,
                rise,
                clarity: rise * (1.0 - 0.7 * drive.knee_share(i)),
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
            Some(k) if peaks[k].rise > peaks[i].rise => {
                peaks.remove(i);
            }
            Some(k) => {
                peaks.remove(k);
            }
            None => i += 1,
        }
    }
}

/// Makes the legs take turns: skaters push left, right, left. A toe-off
/// closely beside a clearer one of the other leg goes; where a leg's turn is
/// missing, the best peak of its curve around that time comes in, however
/// little it stands out. Gives the length of a cycle, seconds.
fn alternate(peaks: &mut Vec<Peak>, drive: &[Drive; 2], rate_hz: f64) -> f64 {
    let mut cycle = cycle_s(peaks, rate_hz) * rate_hz;
    while let Some(i) = (1..peaks.len()).find(|&i| {
        peaks[i].leg != peaks[i - 1].leg && peaks[i].at - peaks[i - 1].at < MIN_TURN * cycle
    }) {
        let less_clear = if peaks[i].clarity < peaks[i - 1].clarity {
            i
        } else {
            i - 1
        };
        peaks.remove(less_clear);
        cycle = cycle_s(peaks, rate_hz) * rate_hz;
    }
    let mut missing = Vec::new();
    for (k, peak) in peaks.iter().enumerate() {
        let turn = |at: f64| (peak.leg.other(), at);
        let next = peaks.get(k + 1);
        if next
            .is_none_or(|n| n.leg == peak.leg && (0.7..1.4).contains(&((n.at - peak.at) / cycle)))
        {
            let half = next.map_or(0.5 * cycle, |n| (n.at - peak.at) / 2.0);
            missing.push(turn(peak.at + half));
        }
        if k == 0 {
            missing.push(turn(peak.at - 0.5 * cycle));
        }
    }
    for (leg, around) in missing {
        let best = peaks_of(leg, &drive[leg as usize], MIN_RISE_IN_TURN)
            .into_iter()
            .filter(|p| (p.at - around).abs() < TURN_TOLERANCE * cycle)
            .max_by(|a, b| a.rise.total_cmp(&b.rise));
        peaks.extend(best);
    }
    peaks.sort_by(|a, b| a.at.total_cmp(&b.at));
    cycle / rate_hz
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
    median(&mut steps).unwrap_or(USUAL_CYCLE_S)
}

fn whole_push(
    lane: &Lane,
    curves: &Curves,
    place: &Place,
    drive: &Drive,
    peak: &Peak,
    cycle_s: f64,
) -> Option<Push> {
    let (rate, curve) = (curves.rate_hz, &drive.curve);
    let needed_from = (peak.at - BEFORE_SHARE * cycle_s * rate).round();
    let needed_to = (peak.at + AFTER_SHARE * cycle_s * rate).round();
    // One sample of grace at the borders of the pass.
    let from = usize_at_least(needed_from, -1.0)?;
    let to = needed_to as usize;
    if to > curves.len() || !all_in_view(curves, from, to.min(curves.len() - 1)) {
        return None;
    }
    let top = (peak.at.round() as usize).min(curves.len() - 1);
    let touchdown = touchdown(&drive.away_m, peak.at, cycle_s * rate);
    let push_start = push_start(curve, touchdown, top);
    let latest = ((peak.at + 0.45 * cycle_s * rate) as usize).min(curves.len() - 1);
    let recovery = heels_together(curves, place, top, latest);
    Some(Push {
        leg: peak.leg,
        near_leg: near_leg(lane, place, peak.leg),
        touchdown_s: curves.time_s(touchdown as f64),
        push_start_s: curves.time_s(push_start),
        toe_off_s: toe_off_s(curves, drive, peak, cycle_s),
        recovery_s: curves.time_s(recovery),
        cycle_s,
        prominence: peak.rise,
    })
}

fn usize_at_least(v: f64, floor: f64) -> Option<usize> {
    (v >= floor).then(|| v.max(0.0) as usize)
}

fn all_in_view(curves: &Curves, from: usize, to: usize) -> bool {
    (from..=to).all(|i| curves.legs_seen(i))
}

/// When the skate is back under the body before a toe-off: nearest to it, in
/// the part of the cycle where that can be.
fn touchdown(away_m: &[f64], toe_off: f64, cycle: f64) -> usize {
    let earliest = (toe_off - 0.75 * cycle).max(0.0) as usize;
    let latest = ((toe_off - 0.45 * cycle).max(0.0) as usize).max(earliest);
    lowest(away_m, earliest, latest.min(away_m.len() - 1))
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
pub fn near_leg(lane: &Lane, place: &Place, leg: Leg) -> Option<bool> {
    match lane.view {
        View::Front | View::Rear => None,
        View::Side | View::Oblique => {
            // left of the travel points away from the camera: left is far
            let left_goes_away = place.left()[1] > 0.0;
            Some((leg == Leg::Right) == left_goes_away)
        }
    }
}
