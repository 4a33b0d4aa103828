//! What was fitted on rendered bodies (`tools/skater`, `docs/accuracy.md`). It holds
//! for them and for nobody else, and is used where the lane file says
//! `subject = "rendered"`.

use super::{Doubt, Shift, SkateOut};
use crate::body::ModelKind;
use crate::config::View;

/// By how much the pose model's points of a gliding leg that is seen alone make
/// the knee straighter than its deepest bend, degrees: the points of hip and ankle
/// lie 2 % of stature in front of the joints and the ankle's as much above, and a
/// degree is what the knee is above its deepest in the mean of the glide. Means
/// of 50 rendered skaters from the side and 20 seen at an angle.
const STRAIGHTER_DEG: f64 = 10.5;
const STRAIGHTER_HEAVY_DEG: f64 = 12.0;
const STRAIGHTER_HEAVY_OBLIQUE_DEG: f64 = 6.5;
/// Scatter and bias together: 2 to 5 degrees on three sets from the side, 4 to 5 seen
/// at an angle with the heavy model.
const KNEE: Doubt = Doubt::new(3.7, 2.8);
const KNEE_OBLIQUE: Doubt = Doubt::new(4.0, 3.0);

pub fn glide_knee(by: ModelKind, view: View) -> Shift {
    let straighter_deg = match (by, view) {
        (ModelKind::Heavy, View::Oblique) => STRAIGHTER_HEAVY_OBLIQUE_DEG,
        (ModelKind::Heavy, _) => STRAIGHTER_HEAVY_DEG,
        (ModelKind::Full | ModelKind::Lite, _) => STRAIGHTER_DEG,
    };
    Shift {
        add: -straighter_deg,
        doubt: match view {
            View::Oblique => KNEE_OBLIQUE,
            View::Side | View::Front | View::Rear => KNEE,
        },
    }
}

/// As the legs pass each other, the model takes the two knees for one, and the
/// near one is read deeper: by so many degrees where they lie on each other. Every
/// model tried does that.
pub const KNEES_TOGETHER_DEG: f64 = 14.0;

/// Near leg from the side: 4 to 5 on three sets with the second reader, 5 to 8
/// without.
pub const EXTENSION: Shift = Shift {
    add: 0.0,
    doubt: Doubt::new(2.8, 3.7),
};
/// What is read above is the points' error: the rendered skaters reach 174.
pub const STRAIGHTEST_DEG: f64 = 175.0;

/// A skate that stands on its toe at the end of a push; the ankle's point lies too
/// high, by as much as puts the skate a tenth of stature too far in. The skate is out
/// by 0.25 with a scatter of 0.08, and what one camera says of it scatters no less:
/// it is kept near the middle. With the true joints in the picture the angle of legs
/// that end bent was 3.4 degrees too straight when up to 0.36 was believed, and 1.9 with
/// this. Toes are turned out, and the knee's bend half as much (tangent of 20 degrees).
pub const SKATE_OUT: SkateOut = SkateOut::ByToe {
    toe_up_share: 0.047,
    least_share: 0.20,
    most_share: 0.28,
    bent_outward: 0.36,
};

/// The hips sway over the gliding leg by .024. Means between the middle of the
/// glide and the start of the push.
pub const GLIDE_ASIDE_SHARE: [f64; 3] = [0.087, 0.089, 0.060];
pub const HALF_HIPS_SHARE: f64 = 0.0625;
/// A push of usual length, half back and half out. Where the line of sight meets the
/// ice says it too, but there a few pixels are a decimetre: with it the push
/// length scattered by 4.8 cm, with this by 3.4 cm.
pub const USUAL_OUT_SHARE: f64 = 0.20;

/// Mean of four sets seen from the side, where the trunk read 1.3 to 4.3 degrees
/// too upright. Only the trunk is corrected by it: the knee of a gliding leg by
/// its angle, and in a pushed-out leg the knee's point is off to the same side and
/// the two cancel.
pub const HIPS_FORWARD_SHARE: f64 = 0.016;
/// They lie within 2 degrees after the correction of the hip points.
pub const TRUNK: Doubt = Doubt::new(2.4, 1.8);

/// The feet are read around the moment they are closest, all readings count,
/// and ankles are wider apart than heels: together this much more than the least
/// distance of the heels. Means of 280 pushes of 48 skaters, for both models
/// alike.
const READ_WIDER_FRONT_M: f64 = 0.011;
const READ_WIDER_REAR_M: f64 = 0.0265;
/// 1.0 to 1.5 cm with the lane's exact scale; a scale set up by hand is good to
/// about 5 % of the stance.
const GAP: Doubt = Doubt::new(0.012, 0.009);

pub fn heel_gap(view: View) -> Shift {
    Shift {
        add: match view {
            View::Rear => -READ_WIDER_REAR_M,
            View::Front | View::Side | View::Oblique => -READ_WIDER_FRONT_M,
        },
        doubt: GAP,
    }
}

/// Medians of 1,699 pushes, each within 0.025.
pub const HEEL_AHEAD_SHARE: [(f64, f64); 3] = [(0.18, -0.137), (0.24, -0.091), (0.30, 0.013)];
/// All rendered skaters have the same cycle: a quarter of it after the toe-off.
pub const FEET_BACK_CYCLES: f64 = 0.26;

/// Share of the distance by which a hand is read short of the line that is taken off:
/// the farther, the more of it is the model's. From
/// 155 pushes whose hands were in truth 4 to 10 cm short of the line.
pub const TAKEN_OFF_SHORT_HAND: f64 = 0.5;
pub const HAND: Doubt = Doubt::new(0.032, 0.024);

pub const FOOT_SHARE: f64 = 0.14;
pub const TOE_OUT: Doubt = Doubt::new(9.6, 7.2);

/// No source for real skaters was read.
pub const STRAIGHT_BEFORE_TOE_OFF_CYCLES: f64 = 0.035;

/// The pushes of one leg in one pass differ little in truth, and the readings
/// scatter more. With a scatter `r` of readings and `t` of true values the best
/// estimate of a push lies `r2 / (r2 + t2)` of the way to the mean. Within a
/// pass, extension 5.1 and 2.5 degrees, hand 1.4 to 2.2 and 0.9 to 1.1 cm, trunk 1.1
/// and 1.1 degrees; knee and heel gap, read from many frames, scatter no more than
/// the pushes differ, and a third to a half served them best; so 0.35 to 0.85.
pub const TOWARD_MEAN: f64 = 0.5;
