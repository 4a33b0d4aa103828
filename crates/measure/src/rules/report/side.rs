//! What a side camera shows of the near leg at its toe-off.

use crate::rules::{JudgedPush, RULES, not_judged};
use crate::stride::{Leg, PassMotion, Push};

/// Shoulder joint beside the middle of the body, as a share of stature: half
/// the biacromial width after Drillis and Contini 1966 (from memory).
pub const HALF_SHOULDERS_SHARE: f64 = 0.129;
/// How far out the ankle is at a toe-off, as a share of stature: a push of
/// usual length, half back and half out. Where the line of sight meets the ice
/// says it too, but there a few pixels are a decimetre: with it the push
/// length of the rendered skaters scattered by 4.8 cm, with this by 3.4 cm.
pub const USUAL_OUT_SHARE: f64 = 0.20;

/// The near leg's pushes whose legs were told apart: those whose extension
/// was judged. An error is the reason why there are none.
pub fn near_pushes<'a>(
    motion: &'a PassMotion,
    judged: &[JudgedPush],
) -> Result<Vec<&'a Push>, &'static str> {
    let extension = RULES.iter().position(|r| r.id == "extension");
    let near: Vec<(&Push, &JudgedPush)> = motion
        .pushes
        .iter()
        .zip(judged)
        .filter(|(push, _)| push.near_leg == Some(true))
        .collect();
    if near.is_empty() {
        return Err(match motion.pushes.len() {
            0 => not_judged::NO_WHOLE_PUSH,
            _ => not_judged::ONLY_FAR_LEG,
        });
    }
    let told: Vec<&Push> = near
        .into_iter()
        .filter(|(_, judged)| extension.is_some_and(|e| judged.measures[e].judged))
        .map(|(push, _)| push)
        .collect();
    if told.is_empty() {
        return Err(not_judged::NEAR_LEG_POOR);
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
