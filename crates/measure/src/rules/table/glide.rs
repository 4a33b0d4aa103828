//! The knee of a gliding leg.

use super::rule_geometry::{Stance, knee_deg, knees_apart_share, leg_in_space, over};
use crate::geometry::huber_mean;
use crate::rules::NotJudged;
use crate::stride::{Leg, PassMotion, Push};

/// Which part of a push the glide is read in: from so long before the leg starts
/// to open, or from its touchdown, to so long after; seconds. Rendered knees stay
/// within 4 degrees of their deepest there, so that all readings count and
/// not the lowest one, which is the points' error as much as the knee.
const BEFORE_S: f64 = 0.2;
const AFTER_S: f64 = 0.07;
/// A glide seen for less than this is not read: a touchdown found too late leaves
/// only the moments in which the knees lie on each other.
const LEAST_SEEN_S: f64 = 0.17;
/// A reading farther than this from the others counts less, degrees.
pub const ASTRAY_DEG: f64 = 5.0;

/// A gliding knee hardly moves. Readings that lie this far from their middle in the
/// mean, degrees, are not of one knee.
const UNSTEADY_DEG: f64 = 12.0;

/// Knees this share of stature apart in the picture are seen alone. Closer together
/// the near one may be read deeper, and the more so the closer they are.
const ALONE_SHARE: f64 = 0.10;
/// What a reading counts where the knees lie on each other, of one of a leg seen
/// alone.
const TOGETHER_WEIGHT: f64 = 0.3;

/// How far a gliding skate's ankle may be read above where it is in the lower
/// quarter of the same glide, as a share of stature. A gliding skate stays on
/// the ice: read higher, the model has it on the way to the other, lifted one.
const LIFTED_SHARE: f64 = 0.02;

/// The deepest included knee angle of the glide before a push, degrees.
///
/// The first of the glide is left out: the leg still comes down from its recovery, where it
/// is bent more.
///
/// # Errors
/// One clause, where it cannot be told.
pub fn glide_knee_deg(motion: &PassMotion, push: &Push) -> Result<f64, NotJudged> {
    let from_s = push.touchdown_s.max(push.push_start_s - BEFORE_S);
    let to_s = push.push_start_s + AFTER_S;
    let readings = glide_readings(motion, push.leg, from_s, to_s);
    let least = LEAST_SEEN_S * motion.curves.rate_hz;
    if (readings.len() as f64) < least {
        let seen = over(motion, from_s, to_s, Some).len();
        return Err(if seen as f64 >= least && readings.is_empty() {
            NotJudged::LooksAlong
        } else {
            NotJudged::GlideNotSeen
        });
    }
    let deg = huber_mean(&readings, ASTRAY_DEG).ok_or(NotJudged::GlideNotSeen)?;
    let (mut off, mut weights) = (0.0, 0.0);
    for (reading_deg, weight) in &readings {
        off += weight * (reading_deg - deg).abs();
        weights += weight;
    }
    if off > UNSTEADY_DEG * weights {
        return Err(NotJudged::GlideUnsteady);
    }
    Ok(deg)
}

/// Included knee angles of a gliding leg in a span of time, degrees, corrected for
/// where the model's points lie; each with its weight.
pub fn glide_readings(motion: &PassMotion, leg: Leg, from_s: f64, to_s: f64) -> Vec<(f64, f64)> {
    let (calibration, view) = (motion.calibration(), motion.lane.view);
    let shifted = |(deg, weight)| (deg + calibration.glide_knee(view, deg).add, weight);
    let read = glide_as_read(motion, leg, from_s, to_s).into_iter();
    read.map(shifted).collect()
}

/// The same as they are read, but for knees that lie on each other.
pub fn glide_as_read(motion: &PassMotion, leg: Leg, from_s: f64, to_s: f64) -> Vec<(f64, f64)> {
    let mut legs = over(motion, from_s, to_s, |i| {
        Some((i, leg_in_space(motion, leg, Stance::Glide, i)?))
    });
    let highest_m = low_ankle_m(&legs) + LIFTED_SHARE * motion.lane.skater_height_m;
    legs.retain(|(_, [_, _, ankle])| ankle[2] <= highest_m);
    let calibration = motion.calibration();
    let reading = |(i, joints): (usize, [[f64; 3]; 3])| {
        let deg = knee_deg(joints)?;
        let apart_share = knees_apart_share(motion, &motion.curves.points[i], i);
        let alone = (apart_share / ALONE_SHARE).min(1.0);
        let deeper_deg = calibration.knees_together_deg() * (1.0 - alone);
        let weight = TOGETHER_WEIGHT + (1.0 - TOGETHER_WEIGHT) * alone;
        Some((deg + deeper_deg, weight))
    };
    legs.into_iter().filter_map(reading).collect()
}

/// Height of the ankle, metres, that a quarter of the samples lie below.
fn low_ankle_m(legs: &[(usize, [[f64; 3]; 3])]) -> f64 {
    let mut heights_m: Vec<f64> = legs.iter().map(|(_, joints)| joints[2][2]).collect();
    heights_m.sort_by(f64::total_cmp);
    heights_m
        .get(heights_m.len() / 4)
        .copied()
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::super::rule_geometry::tests::motion_of;
    use super::*;
    use crate::body::ModelKind;
    use crate::config::{Subject, View};
    use crate::stride::synthetic::Skater;

    fn near(motion: &PassMotion) -> Push {
        let near = |push: &&Push| push.near_leg == Some(true);
        motion
            .pushes
            .iter()
            .find(near)
            .expect("a near push")
            .clone()
    }

    #[test]
    fn shifts_depend_on_the_model_and_on_who_skates() {
        let mut motion = motion_of(View::Side, &Skater::default());
        let push = near(&motion);
        let full_deg = glide_knee_deg(&motion, &push).expect("read");
        motion.read_by = ModelKind::Heavy;
        let heavy_deg = glide_knee_deg(&motion, &push).expect("read");
        assert!((full_deg - heavy_deg - 1.5).abs() < 1e-6);
        let shift_deg = |m: &PassMotion| m.calibration().glide_knee(View::Side, 110.0).add;
        let (rendered_deg, together_deg) = (
            shift_deg(&motion),
            motion.calibration().knees_together_deg(),
        );
        motion.lane.subject = Subject::People;
        // The same points, read as a person's: nothing of the rendered is left.
        let raw_deg = glide_knee_deg(&motion, &push).expect("read") - shift_deg(&motion);
        let taken_off_deg = raw_deg - heavy_deg;
        assert!(
            (-rendered_deg - together_deg..=-rendered_deg).contains(&taken_off_deg),
            "{taken_off_deg}"
        );
    }

    /// Knees that lie on each other in the picture are read deeper, and the more so the
    /// closer they are.
    #[test]
    fn knees_on_each_other_are_put_back_by_as_much_as_they_are_close() {
        let mut motion = motion_of(View::Side, &Skater::default());
        let push = near(&motion);
        let (from_s, to_s) = (push.push_start_s - BEFORE_S, push.push_start_s + AFTER_S);
        let corrected = glide_readings(&motion, push.leg, from_s, to_s);
        let together_deg = motion.calibration().knees_together_deg();
        motion.lane.subject = Subject::People;
        let people_deg = motion.calibration().glide_knee(View::Side, 110.0).add;
        let raw = glide_readings(&motion, push.leg, from_s, to_s);
        assert_eq!(raw.len(), corrected.len());
        for ((raw_deg, weight), (deg, _)) in raw.iter().zip(&corrected) {
            let alone = (weight - TOGETHER_WEIGHT) / (1.0 - TOGETHER_WEIGHT);
            let expected_deg = together_deg * (1.0 - alone) - 10.5;
            // The joints are placed a little otherwise beside the line of travel.
            let off_deg = deg - (raw_deg - people_deg) - expected_deg;
            assert!(off_deg.abs() < 2.0, "{off_deg}");
        }
        let weights = raw.iter().map(|&(_, weight)| weight);
        let (least, most) = weights.fold((1.0_f64, 0.0_f64), |(a, b), w| (a.min(w), b.max(w)));
        assert!(
            most - least > 0.1,
            "{least} to {most}: the legs pass each other"
        );
    }

    #[test]
    fn a_glide_seen_for_a_moment_is_not_read() {
        let motion = motion_of(View::Side, &Skater::default());
        let mut push = near(&motion);
        assert!(glide_knee_deg(&motion, &push).is_ok());
        push.touchdown_s = push.push_start_s - 0.05;
        assert_eq!(glide_knee_deg(&motion, &push), Err(NotJudged::GlideNotSeen));
    }

    /// The knee is thrown about by 25 degrees from frame to frame, as where the model
    /// cannot tell the legs apart.
    #[test]
    fn a_glide_of_scattered_readings_is_not_read() {
        let mut motion = motion_of(View::Side, &Skater::default());
        let push = near(&motion);
        let knee = crate::stride::leg_points(push.leg).knee;
        let off_px = 0.12 * Skater::default().height_m / motion.place.metres_per_px[0];
        for (i, points) in motion.curves.points.iter_mut().enumerate() {
            points[knee][0] += if i % 2 == 0 { off_px } else { -off_px };
        }
        assert_eq!(
            glide_knee_deg(&motion, &push),
            Err(NotJudged::GlideUnsteady)
        );
    }
}
