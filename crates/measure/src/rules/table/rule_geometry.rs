//! What several rules read from a pass.

use crate::body::BodyPoint;
use crate::calibration::{ADULT_M, SkateOut};
use crate::config::{Lane, View};
use crate::geometry::{included_deg, lean_from_vertical_deg};
use crate::rules::NotJudged;
use crate::stride::{Leg, LegSample, PassMotion, Push, leg_points};

/// Width of an adult's boot at the heel, metres, at a stature of 1.78 m;
/// scaled with stature. A set-up value: common practice, no source.
const BOOT_WIDTH_M: f64 = 0.075;

/// Width of the boot at the heel for the lane's skaters, metres.
pub fn boot_width_m(lane: &Lane) -> f64 {
    BOOT_WIDTH_M * of_adult(lane)
}

/// The lane's skaters' stature as a share of the adult's 1.78 m that lengths
/// in the rules are given for.
pub fn of_adult(lane: &Lane) -> f64 {
    lane.skater_height_m / ADULT_M
}

/// Smallest skater that is measured, nose to skates as a share of the frame's
/// height: below it a pixel is worth too much.
const MIN_HEIGHT_SHARE: f64 = 0.12;
/// Nose to skates of a skater bent low, as a share of stature.
const BENT_SHARE: f64 = 0.75;

/// Why nothing of a push can be measured, whatever the rule; `None` where it can.
pub fn unmeasurable(motion: &PassMotion, push: &Push) -> Option<NotJudged> {
    if !large_enough(motion, push) {
        Some(NotJudged::TooSmall)
    } else if behind_another(motion, push) {
        Some(NotJudged::SomebodyInFront)
    } else {
        None
    }
}

/// Whether the skater is large enough in the picture at the end of a push to
/// be measured.
fn large_enough(motion: &PassMotion, push: &Push) -> bool {
    let i = motion.curves.index_at(push.toe_off_s);
    let m_per_px = motion.place.metres_per_px.get(i).copied();
    let height_share = m_per_px.map_or(0.0, |m_per_px| {
        BENT_SHARE * motion.lane.skater_height_m / m_per_px / (2.0 * motion.camera.cy_px)
    });
    height_share >= MIN_HEIGHT_SHARE
}

/// Whether another person in front hid the legs at any time of a push, from its
/// touchdown to the return of the feet: what is read of them then is half the
/// other's.
fn behind_another(motion: &PassMotion, push: &Push) -> bool {
    if motion.curves.is_empty() {
        return false;
    }
    let from = motion.curves.index_at(push.touchdown_s);
    let to = motion.curves.index_at(push.recovery_s);
    (from..=to).any(|i| motion.curves.legs_hidden[i])
}

/// What `read` gives for every sample of a span of time, without the blanks.
pub fn over<T>(
    motion: &PassMotion,
    from_s: f64,
    to_s: f64,
    read: impl Fn(usize) -> Option<T>,
) -> Vec<T> {
    if motion.curves.is_empty() {
        return Vec::new();
    }
    let (from, to) = (motion.curves.index_at(from_s), motion.curves.index_at(to_s));
    (from..=to)
        .filter(|&i| motion.curves.legs_seen(i))
        .filter_map(read)
        .collect()
}

/// What is known of where a leg's joints are across the travel, which one
/// camera sees worst.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stance {
    /// Gliding on the leg: the skate runs close under the middle of the body.
    Glide,
    /// At the end of its push: the skate stands on the ice, far out.
    PushedOut,
}

/// Where the knee is on the way from hip to ankle across the travel.
const THIGH_OF_LEG: f64 = 0.48;
/// Farthest a skate can be out beside its hip, as a share of stature: a leg is half of
/// it, and 45 degrees out and as far back leave 0.7 of that.
pub const FARTHEST_OUT_SHARE: f64 = 0.35;
/// Rounds in which the distance to the side and the one behind find each other.
const OUT_ROUNDS: usize = 3;
/// Smallest sine of the angle between the line of sight and the travel at
/// which a bend in the direction of travel can be measured: a side camera has
/// better frames than those. Seen at an angle, gliding knees read by the heavy model scatter
/// by 6 degrees where frames from 0.3 on are taken, and by 3 to 5 from 0.55 on
/// (rendered skaters).
const MIN_SIDEWAYS: f64 = 0.75;
const MIN_SIDEWAYS_OBLIQUE: f64 = 0.55;

/// Included knee angles of a pushed-out leg, degrees, with the joints placed
/// in space: each on its line of sight, at the distance across the travel
/// that the stance gives. That takes out the picture's perspective and an
/// oblique camera's foreshortening.
///
/// Counted as in [`knee_deg`], so that noise around a straight leg has no side. Samples in which the camera
/// looks too much along the travel are left out.
pub fn pushed_out_knee_angles(motion: &PassMotion, leg: Leg, from_s: f64, to_s: f64) -> Vec<f64> {
    over(motion, from_s, to_s, |i| {
        knee_deg(leg_in_space(motion, leg, Stance::PushedOut, i)?)
    })
}

/// The included angle at the knee of hip, knee and ankle, degrees. It counts as more
/// than 180 where the knee is behind the line from the ankle up to the hip, along
/// the travel. `None` where two of them fall together.
pub fn knee_deg(joints: [[f64; 3]; 3]) -> Option<f64> {
    let [hip, knee, ankle] = joints;
    let deg = included_deg(hip, knee, ankle)?;
    let bends_forward = knee_ahead_m(&joints) >= 0.0;
    Some(if bends_forward { deg } else { 360.0 - deg })
}

/// Included knee angles of a pushed-out leg as the second reader of the legs has
/// them, with their times; placed in space and counted as in
/// [`pushed_out_knee_angles`].
pub fn second_knee_angles(
    motion: &PassMotion,
    leg: Leg,
    from_s: f64,
    to_s: f64,
) -> Vec<(f64, f64)> {
    let curves = &motion.curves;
    if curves.is_empty() {
        return Vec::new();
    }
    let angle = |sample: &LegSample| {
        let i = curves.index_at(sample.t_s);
        let joints = sample.legs.leg(leg == Leg::Right);
        let believed = joints.iter().all(|joint| joint.belief >= LEAST_BELIEF);
        if !believed || !curves.legs_seen(i) {
            return None;
        }
        let [hip, knee, ankle] = joints.map(|joint| joint.xy());
        // The second reader has no toe, and the first may have mixed up the legs:
        // the toe at this ankle.
        let toe = Leg::BOTH
            .map(|leg| curves.peak_points[i][leg_points(leg).toe])
            .into_iter()
            .min_by(|a, b| apart(*a, ankle).total_cmp(&apart(*b, ankle)))?;
        let joints = in_space(motion, leg, Stance::PushedOut, i, [hip, knee, ankle, toe])?;
        Some((sample.t_s, knee_deg(joints)?))
    };
    motion
        .legs
        .iter()
        .filter(|sample| (from_s..=to_s).contains(&sample.t_s))
        .filter_map(angle)
        .collect()
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Points of the second reader below this belief are not taken: the knee scatters
/// by 17 degrees and more where it is less, by 12 up to 0.5 and by 6 above that
/// (rendered skaters).
const LEAST_BELIEF: f32 = 0.4;

/// Knees of a skater who bends that are never seen farther apart than this, as a share of
/// stature, may be one leg that was read twice.
pub const KNEES_TOGETHER_SHARE: f64 = 0.05;

/// How far the two knees lie apart in the picture, as a share of stature.
pub fn knees_apart_share(motion: &PassMotion, points: &[[f64; 2]], i: usize) -> f64 {
    let [l, r] = Leg::BOTH.map(|leg| points[leg_points(leg).knee]);
    apart(l, r) * motion.place.metres_per_px[i] / motion.lane.skater_height_m
}

/// Hip, knee and ankle: along the travel, to the left of it, above the ice;
/// metres from the skater's place.
pub fn leg_in_space(
    motion: &PassMotion,
    side: Leg,
    stance: Stance,
    i: usize,
) -> Option<[[f64; 3]; 3]> {
    let leg = leg_points(side);
    let points = match stance {
        Stance::Glide => &motion.curves.points[i],
        Stance::PushedOut => &motion.curves.peak_points[i],
    };
    let seen = [leg.hip, leg.knee, leg.ankle, leg.toe].map(|point| points[point]);
    in_space(motion, side, stance, i, seen)
}

/// The same from given places of hip, knee, ankle and toe in the picture.
fn in_space(
    motion: &PassMotion,
    side: Leg,
    stance: Stance,
    i: usize,
    [hip_px, knee_px, ankle_px, toe_px]: [[f64; 2]; 4],
) -> Option<[[f64; 3]; 3]> {
    let (at_m, stature_m) = (motion.place.at_m[i], motion.lane.skater_height_m);
    let (heading, left) = (motion.place.heading, motion.place.left());
    let calibration = motion.calibration();
    let ray = motion.camera.ray(knee_px);
    let sideways = (ray[0] * left[0] + ray[1] * left[1]).abs() / ray[0].hypot(ray[1]);
    let least = match motion.lane.view {
        View::Oblique => MIN_SIDEWAYS_OBLIQUE,
        _ => MIN_SIDEWAYS,
    };
    if sideways < least {
        return None;
    }
    let placed = |aside_m: [f64; 3]| -> Option<[[f64; 3]; 3]> {
        let mut joints = [[0.0; 3]; 3];
        let seen = [hip_px, knee_px, ankle_px];
        for ((joint, px), aside_m) in joints.iter_mut().zip(seen).zip(aside_m) {
            let aside_m = aside_m * side.leftward();
            let through = motion.place.beside_m(i, aside_m);
            let [along_m, up_m] = motion.camera.on_upright_plane(px, through, heading)?;
            *joint = [along_m, aside_m, up_m];
        }
        Some(joints)
    };
    match stance {
        Stance::Glide => placed(calibration.glide_aside_share().map(|s| s * stature_m)),
        Stance::PushedOut => {
            let hip_m = calibration.half_hips_share() * stature_m;
            let straight_to = |out_m: f64| {
                let between_m = hip_m + THIGH_OF_LEG * (out_m - hip_m);
                [hip_m, between_m, out_m]
            };
            match calibration.skate_out() {
                SkateOut::ByToe {
                    toe_up_share,
                    least_share,
                    most_share,
                    bent_outward,
                } => {
                    let toe = motion.camera.on_plane(toe_px, toe_up_share * stature_m)?;
                    let off = [toe[0] - at_m[0], toe[1] - at_m[1]];
                    let out_m = (off[0] * left[0] + off[1] * left[1]) * side.leftward();
                    let out_m = out_m.clamp(least_share * stature_m, most_share * stature_m);
                    let [hip_m, between_m, out_m] = straight_to(out_m);
                    let bent_m = knee_ahead_m(&placed([hip_m, between_m, out_m])?).max(0.0);
                    placed([hip_m, between_m + bent_outward * bent_m, out_m])
                }
                SkateOut::AsFarAsBack => {
                    let mut joints = placed([hip_m; 3])?;
                    for _ in 0..OUT_ROUNDS {
                        let back_m = joints[0][0] - joints[2][0];
                        let beside_m = back_m.clamp(0.0, FARTHEST_OUT_SHARE * stature_m);
                        joints = placed(straight_to(hip_m + beside_m))?;
                    }
                    Some(joints)
                }
            }
        }
    }
}

/// How far the knee is in front of the line from hip to ankle, metres, in the
/// upright plane along the travel.
fn knee_ahead_m([hip, knee, ankle]: &[[f64; 3]; 3]) -> f64 {
    let (u, v) = (hip[0] - ankle[0], hip[2] - ankle[2]);
    ((knee[0] - ankle[0]) * v - (knee[2] - ankle[2]) * u) / u.hypot(v).max(1e-9)
}

/// Forward lean of the trunk from the vertical, degrees, from the side.
pub fn trunk_lean_deg(motion: &PassMotion, i: usize) -> Option<f64> {
    use BodyPoint as P;
    if motion.lane.view != View::Side {
        return None;
    }
    let hip = motion
        .curves
        .mid(i, P::LeftHip as usize, P::RightHip as usize);
    let shoulder = motion
        .curves
        .mid(i, P::LeftShoulder as usize, P::RightShoulder as usize);
    let wall_y_m = motion.place.at_m[i][1];
    let (low, high) = (
        motion.camera.on_wall(hip, wall_y_m)?,
        motion.camera.on_wall(shoulder, wall_y_m)?,
    );
    let forward = motion.place.heading[0].signum();
    // the lean is measured with y downward
    let seen_deg = lean_from_vertical_deg([low[0], -low[1]], [high[0], -high[1]], forward)?;
    let trunk_m = (high[0] - low[0]).hypot(high[1] - low[1]);
    let hips_forward_m = motion.calibration().hips_forward_share() * motion.lane.skater_height_m;
    Some(seen_deg + (hips_forward_m / trunk_m).atan().to_degrees())
}

/// Distance from `a` to `b` across the direction of travel, metres, positive
/// to the skater's left; both points taken at the hips' depth.
pub fn across_m(motion: &PassMotion, i: usize, a: BodyPoint, b: BodyPoint) -> f64 {
    let (p, q) = (
        motion.curves.points[i][a as usize],
        motion.curves.points[i][b as usize],
    );
    let left = motion.place.left();
    let [right_axis, down_axis, _] = motion.camera.axes();
    let (dx, dy) = (q[0] - p[0], q[1] - p[1]);
    let leftward = dx * (right_axis[0] * left[0] + right_axis[1] * left[1])
        + dy * (down_axis[0] * left[0] + down_axis[1] * left[1]);
    leftward * motion.place.metres_per_px[i]
}

/// Largest value.
pub fn highest(values: &[f64]) -> Option<f64> {
    values.iter().copied().max_by(f64::total_cmp)
}

/// Mean.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

#[cfg(test)]
pub mod tests {
    use crate::config::View;
    use crate::rules::Rule;
    use crate::stride::synthetic::{Skater, lane};
    use crate::stride::{PassMotion, cut};

    /// A stick skater's pass as motion.
    pub fn motion_of(view: View, skater: &Skater) -> PassMotion {
        let lane = lane(view, skater);
        cut(&skater.pass(&lane, 30.0), &lane)
    }

    /// What a rule stands by, push by push.
    pub fn judged_values(motion: &PassMotion, rule: &Rule) -> Vec<f64> {
        motion
            .pushes
            .iter()
            .map(|push| (rule.evaluate)(motion, push))
            .filter(|m| m.is_judged())
            .filter_map(|m| m.value)
            .collect()
    }
}
