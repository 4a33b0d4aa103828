//! Extension.

use super::read::{
    KNEES_TOGETHER_SHARE, Stance, glide_knee_deg, highest, knee_angles, knees_apart_share, mean,
    over,
};
use crate::config::View;
use crate::geometry::median;
use crate::rules::declare::{Rule, Sense, Unit, limits};
use crate::rules::{Measure, why};
use crate::stride::{PassMotion, Push};

/// The largest included hip-knee-ankle angle of the pushing leg around the end of the push; 180 is a straight leg.
pub const RULE: Rule = Rule {
    id: "extension",
    measure: "extension_included_deg",
    unit: Unit::Deg,
    views: &[View::Side],
    sense: Sense::AtLeast,
    // U7, U9, U11, U13, U15, U18, adult
    defaults: [
        limits(true, Some(150.0), None, 7.0),
        limits(true, Some(150.0), None, 7.0),
        limits(true, Some(152.0), None, 7.0),
        limits(true, Some(155.0), None, 7.0),
        limits(true, Some(158.0), None, 7.0),
        limits(true, Some(160.0), None, 7.0),
        limits(true, Some(160.0), None, 7.0),
    ],
    range: 120.0..=180.0,
    dead_band_range: 0.0..=20.0,
    short: "extension",
    long: "The largest included hip-knee-ankle angle of the pushing leg around the end of the push; 180 is a straight leg.",
    source: "160: above 160 is recommended for national speed skaters (Song, Park, Kim 2018, KJSB 28(2):93); easing by age and the dead-band: proposal of this project",
    evaluate,
};

/// Standard deviation from the side, near leg: 5 to 7 on four sets of rendered
/// skaters, 8 where the leg ends its push much bent. The model's knee and hip
/// points are off by 1 to 2 % of stature, and on a straight leg that is this
/// much.
const UNCERTAINTY_DEG: f64 = 7.0;

/// The far leg starts its glide while this one is straight, bent about as
/// deep as this one was in its glide. Read straighter than that by more than
/// this, the model has mixed up the knees.
const KNEES_MIXED_DEG: f64 = 22.0;

/// Of the frames in [`END_S`] around the toe-off so many at most may have had
/// mixed legs, even though mended.
const MAX_MENDED: f64 = 0.45;
/// What is looked at before and after the toe-off for mixed legs, seconds.
const END_S: [f64; 2] = [0.10, 0.05];

fn share_mended(motion: &PassMotion, push: &Push) -> f64 {
    let [from_s, to_s] = [push.toe_off_s - END_S[0], push.toe_off_s + END_S[1]];
    let mended = over(motion, from_s, to_s, |i| {
        Some(f64::from(u8::from(motion.curves.legs_mended[i])))
    });
    mean(&mended).unwrap_or(0.0)
}

/// Nobody pushes straighter: what is read above is the points' error. Elite
/// speed skaters end at 161 to 165 (Houdijk et al.); the rendered skaters reach
/// 174.
const STRAIGHTEST_DEG: f64 = 175.0;

/// Mixed legs bend a leg that is straight and never straighten a bent one: what
/// is read this much below another push of the leg in the same pass is not
/// believed.
const BELOW_ANOTHER_DEG: f64 = 15.0;

fn evaluate(motion: &PassMotion, push: &Push) -> Measure {
    let deg = match reading_deg(motion, push) {
        Ok(deg) => deg,
        Err(why) => return Measure::not_judged(why),
    };
    let straighter = motion
        .pushes
        .iter()
        .filter(|other| other.leg == push.leg)
        .filter_map(|other| reading_deg(motion, other).ok())
        .any(|other_deg| other_deg - deg > BELOW_ANOTHER_DEG);
    if straighter {
        return Measure::not_judged(why::PUSHES_CONTRADICT);
    }
    Measure::judged(deg, UNCERTAINTY_DEG, "largest angle around the toe-off")
}

/// A skater who glides on a knee straighter than this hardly opens the thighs:
/// the knees stay together to the end of the push, and say nothing of mixed
/// legs.
const UPRIGHT_DEG: f64 = 125.0;

/// Since mixed legs never straighten a bent one, a leg that is read this
/// straight is straight, whatever is doubtful about the frame. A reading beyond
/// what anybody reaches is thrown there by a wild point, and no witness.
const STRAIGHT_ANYWAY_DEG: std::ops::Range<f64> = 158.0..STRAIGHTEST_DEG;

/// The largest angle around a push's end, degrees, or why there is none.
fn reading_deg(motion: &PassMotion, push: &Push) -> Result<f64, &'static str> {
    if push.near_leg == Some(false) {
        return Err(why::FAR_LEG_HIDDEN);
    }
    let around_s = 0.25 * (push.toe_off_s - push.push_start_s);
    let span_s = [push.toe_off_s - around_s, push.toe_off_s + around_s];
    let angles = knee_angles(motion, push.leg, Stance::PushedOut, span_s[0], span_s[1]);
    let deg = highest(&angles).ok_or(why::PUSH_END_NOT_SEEN)?;
    match doubt(motion, push, span_s) {
        Some(why) if !STRAIGHT_ANYWAY_DEG.contains(&deg) => Err(why),
        _ => Ok(deg.min(STRAIGHTEST_DEG)),
    }
}

/// Why the two legs may have been taken for each other around a push's end.
fn doubt(motion: &PassMotion, push: &Push, [from_s, to_s]: [f64; 2]) -> Option<&'static str> {
    if share_mended(motion, push) > MAX_MENDED {
        return Some(why::LEGS_MIXED_UP);
    }
    let glide_deg = glide_knee_deg(motion, push);
    let mut angles_of_far = knee_angles(motion, push.leg.other(), Stance::Glide, from_s, to_s);
    if let (Some(glide_deg), Some(far_deg)) = (glide_deg, median(&mut angles_of_far))
        && far_deg - glide_deg > KNEES_MIXED_DEG
    {
        return Some(why::KNEES_ALIKE);
    }
    let apart = over(motion, from_s, to_s, |i| {
        Some(knees_apart_share(motion, &motion.curves.peak_points[i], i))
    });
    // the thighs of a skater who bends open: a pushing knee is seen apart
    let bends = glide_deg.is_none_or(|deg| deg < UPRIGHT_DEG);
    if bends && highest(&apart).is_some_and(|share| share < KNEES_TOGETHER_SHARE) {
        return Some(why::KNEES_ALIKE);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::super::read::tests::{judged_values, motion_of};
    use super::*;
    use crate::stride::Leg;
    use crate::stride::synthetic::Skater;

    #[test]
    fn a_straight_and_a_bent_finish_are_told_apart() {
        for extension_deg in [148.0, 160.0, 172.0] {
            let skater = Skater {
                extension_deg,
                ..Skater::default()
            };
            let motion = motion_of(View::Side, &skater);
            let values = judged_values(&motion, &RULE);
            assert!(!values.is_empty());
            let truth = skater.knee_deg_over(Leg::Right, (0.5, 0.63), true);
            for v in values {
                assert!((v - truth).abs() < 5.0, "{v} for {truth}");
            }
        }
    }
}
