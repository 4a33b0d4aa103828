//! Recovery.

use super::read::{across_m, boot_width_m, median, over};
use crate::config::View;
use crate::pose::BodyPoint;
use crate::rules::Measure;
use crate::rules::declare::{Rule, Sense, Unit, limits};
use crate::stride::{PassMotion, Push};

/// The smallest free gap between the inner sides of the two boots at the heels while the leg comes back under the body after its push.
pub const RULE: Rule = Rule {
    id: "recovery_gap",
    measure: "heel_gap_m",
    unit: Unit::Metre,
    views: &[View::Front, View::Rear, View::Oblique],
    sense: Sense::AtMost,
    // U7, U9, U11, U13, U15, U18, adult
    defaults: [
        limits(true, None, Some(0.13), 0.025),
        limits(true, None, Some(0.13), 0.025),
        limits(true, None, Some(0.12), 0.025),
        limits(true, None, Some(0.115), 0.025),
        limits(true, None, Some(0.095), 0.025),
        limits(true, None, Some(0.065), 0.025),
        limits(true, None, Some(0.065), 0.025),
    ],
    range: 0.0..=0.5,
    dead_band_range: 0.0..=0.10,
    short: "recovery",
    long: "The smallest free gap between the inner sides of the two boots at the heels while the leg comes back under the body after its push.",
    source: "within 2.5 cm is what coaches teach: common practice, no source; limits by age and the dead-band: proposal of this project",
    evaluate,
};

/// Standard deviation, metres: the rendered skaters' spread with the lane's
/// scale, and a scale good to about 5 % of the stance.
const UNCERTAINTY_M: f64 = 0.02;

fn evaluate(motion: &PassMotion, push: &Push) -> Measure {
    if motion.lane.view == View::Oblique {
        return Measure::not_judged("across and along cannot be told apart from here");
    }
    let half_s = 0.12 * (push.toe_off_s - push.touchdown_s);
    let gaps = over(
        motion,
        push.recovery_s - half_s,
        push.recovery_s + half_s,
        |i| Some(across_m(motion, i, BodyPoint::LeftHeel, BodyPoint::RightHeel).abs()),
    );
    match median(gaps) {
        Some(centre_m) => Measure::judged(
            centre_m - boot_width_m(&motion.lane),
            UNCERTAINTY_M,
            "heels across the lane, less the boot's width",
        ),
        None => Measure::not_judged("the heels were not seen as the leg came back"),
    }
}
