//! What rules read of somebody who stands still: the readings of the ruler.

use super::table::extension::first_counts;
use super::table::glide::{ASTRAY_DEG, glide_as_read};
use super::table::recovery_gap::feet_apart_m;
use super::table::rule_geometry::{
    boot_width_m, mean, over, pushed_out_knee_angles, second_knee_angles, trunk_lean_deg,
};
use crate::calibration::Gauged;
use crate::geometry::{huber_mean, median};
use crate::stride::{Leg, PassMotion, near_leg};

/// Somebody who stands still, as motion.
pub struct Still<'m>(pub &'m PassMotion);

/// What is read of a quantity, in degrees or metres, with no shift of what was learned on
/// people; through the same points and angles as a push. `None` where it is not seen.
pub fn held(Still(motion): Still<'_>, of: Gauged) -> Option<f64> {
    let [from_s, to_s] = motion.span_s;
    match of {
        Gauged::Knee => {
            let leg = near(motion)?;
            huber_mean(&glide_as_read(motion, leg, from_s, to_s), ASTRAY_DEG)
        }
        Gauged::Extension => {
            let leg = near(motion)?;
            let first = mean(&pushed_out_knee_angles(motion, leg, from_s, to_s))?;
            let second: Vec<f64> = second_knee_angles(motion, leg, from_s, to_s)
                .into_iter()
                .map(|(_, deg)| deg)
                .collect();
            Some(match mean(&second) {
                None => first,
                Some(second) if first_counts(motion.read_by, first, second) => {
                    (first + second) / 2.0
                }
                Some(second) => second,
            })
        }
        Gauged::HeelGap => {
            let mut apart_m = over(motion, from_s, to_s, |i| Some(feet_apart_m(motion, i, 0.0)));
            Some(median(&mut apart_m)? - boot_width_m(&motion.lane))
        }
        Gauged::Trunk => mean(&over(motion, from_s, to_s, |i| trunk_lean_deg(motion, i))),
    }
}

fn near(motion: &PassMotion) -> Option<Leg> {
    Leg::BOTH
        .into_iter()
        .find(|leg| near_leg(&motion.lane, &motion.place, *leg) == Some(true))
}
