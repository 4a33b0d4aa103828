//! What a side camera shows of the near leg at its toe-off.

use crate::rules::table::rule_geometry::FARTHEST_OUT_SHARE;
use crate::rules::{JudgedPush, NotJudged, RuleId};
use crate::stride::{Leg, PassMotion, Push, leg_points};

/// Shoulder joint beside the middle of the body, as a share of stature: half
/// the biacromial width after Drillis and Contini 1966 (from memory).
pub const HALF_SHOULDERS_SHARE: f64 = 0.129;
/// Rounds in which an ankle's distance to the side and the one behind find each other.
const OUT_ROUNDS: usize = 3;

/// Hip and ankle of a pushing leg at a sample, as [`in_plane`] has them.
pub fn hip_and_ankle(motion: &PassMotion, i: usize, leg: Leg) -> Option<[[f64; 2]; 2]> {
    let points = leg_points(leg);
    let calibration = motion.calibration();
    let hip_share = calibration.half_hips_share();
    let hip = in_plane(motion, i, points.hip, leg, hip_share)?;
    let ankle_at = |out_share| in_plane(motion, i, points.ankle, leg, out_share);
    let ankle = match calibration.usual_out_share() {
        Some(out_share) => ankle_at(out_share)?,
        // As far out from the hip as it is behind it.
        None => {
            let mut ankle = ankle_at(hip_share)?;
            for _ in 0..OUT_ROUNDS {
                let back_share = (hip[0] - ankle[0]) / motion.lane.skater_height_m;
                ankle = ankle_at(hip_share + back_share.clamp(0.0, FARTHEST_OUT_SHARE))?;
            }
            ankle
        }
    };
    Some([hip, ankle])
}

/// The near leg's pushes whose legs were told apart: those whose extension
/// was judged. An error is the reason why there are none.
pub fn near_pushes<'a>(
    motion: &'a PassMotion,
    judged: &[JudgedPush],
) -> Result<Vec<&'a Push>, NotJudged> {
    let near: Vec<(&Push, &JudgedPush)> = motion
        .pushes
        .iter()
        .zip(judged)
        .filter(|(push, _)| push.near_leg == Some(true))
        .collect();
    if near.is_empty() {
        return Err(match motion.pushes.len() {
            0 => NotJudged::NoWholePush,
            _ => NotJudged::OnlyFarLeg,
        });
    }
    let told: Vec<&Push> = near
        .into_iter()
        .filter(|(_, judged)| judged.measures[RuleId::Extension].is_judged())
        .map(|(push, _)| push)
        .collect();
    if told.is_empty() {
        return Err(NotJudged::NearLegPoor);
    }
    Ok(told)
}

/// A body point of a leg's side at a sample, taken to lie the given share of
/// stature out from the middle of the body: metres along the travel from the
/// skater's place, and above the ice.
pub fn in_plane(
    motion: &PassMotion,
    i: usize,
    point: usize,
    leg: Leg,
    out_share: f64,
) -> Option<[f64; 2]> {
    let aside_m = out_share * motion.lane.skater_height_m * leg.leftward();
    motion.camera.on_upright_plane(
        motion.curves.peak_points[i][point],
        motion.place.beside_m(i, aside_m),
        motion.place.heading,
    )
}
