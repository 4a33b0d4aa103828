//! Extension.

use super::glide::{glide_knee_deg, glide_readings};
use super::rule_geometry::{
    KNEES_TOGETHER_SHARE, highest, knees_apart_share, mean, over, pushed_out_knee_angles,
    second_knee_angles,
};
use crate::body::ModelKind;
use crate::config::View;
use crate::geometry::{median, top_through};
use crate::rules::declare::{Rule, Sense, TruthKey, Unit, limits};
use crate::rules::overlay_marks::limb;
use crate::rules::{Measure, Needs, NotJudged, RuleId};
use crate::stride::{PassMotion, Push};

/// The largest included hip-knee-ankle angle of the pushing leg around the end of the push; 180 is a straight leg.
pub const RULE: Rule = Rule {
    id: RuleId::Extension,
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
    needs: Needs::PUSH_END,
    evaluate,
    // At its end the push is longest.
    shown_at_s: |_, push| push.toe_off_s,
    marks: limb,
    of_knee: true,
    truth: TruthKey {
        of_push: "max_extension_angle_deg",
        asked: None,
    },
};

/// The far leg starts its glide while this one is straight, bent about as
/// deep as this one was in its glide. Read straighter than that by more than
/// this, the model has mixed up the knees.
const KNEES_MIXED_DEG: f64 = 15.0;

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

/// Mixed legs bend a leg that is straight and never straighten a bent one, and
/// beside the moment of the toe-off it is bent as well: what is read this much
/// below another push of the leg in the same pass is not believed.
const BELOW_ANOTHER_DEG: f64 = 15.0;

fn evaluate(motion: &PassMotion, push: &Push) -> Measure {
    if motion.read_by == ModelKind::Lite {
        return Measure::not_judged(NotJudged::ModelTooLight);
    }
    let (deg, how) = match both_readings(motion, push) {
        Ok(reading) => reading,
        Err(why) => return Measure::not_judged(why),
    };
    let straighter = motion
        .pushes
        .iter()
        .filter(|other| other.leg == push.leg)
        .filter_map(|other| both_readings(motion, other).ok())
        .any(|(other_deg, _)| other_deg - deg > BELOW_ANOTHER_DEG);
    if straighter {
        return Measure::not_judged(NotJudged::PushesContradict);
    }
    let shift = motion.calibration().extension(deg);
    let straightest_deg = motion.calibration().straightest_deg();
    let shown_deg = (deg + shift.add).min(straightest_deg);
    Measure::judged(shown_deg, shift.doubt.of_one(), how)
}

/// The angle at a push's end by the second reader, by both, or, where the second
/// one has not seen it, by the first: degrees, and how it was read.
fn both_readings(motion: &PassMotion, push: &Push) -> Result<(f64, &'static str), NotJudged> {
    if push.near_leg == Some(false) {
        return Err(NotJudged::FarLegHidden);
    }
    let Some(second_deg) = second_reading_deg(motion, push) else {
        return Ok((
            reading_deg(motion, push)?,
            "largest angle around the toe-off",
        ));
    };
    Ok(match first_helps(motion, push, second_deg) {
        Some(first_deg) => (
            (first_deg + second_deg) / 2.0,
            "largest angle around the toe-off, mean of both readers",
        ),
        None => (
            second_deg,
            "largest angle around the toe-off, by the second reader",
        ),
    })
}

/// How far from the toe-off the leg is looked at with the second reader, as a
/// share of the push, and at least, seconds.
const AROUND_SHARE: f64 = 0.25;
const AROUND_S: f64 = 0.07;
/// The leg was read this shortly before and after its straightest, or that was
/// not its straightest, seconds.
const BESIDE_S: f64 = 0.07;

/// The largest angle around a push's end by the second reader of the legs, degrees;
/// `None` where it has not seen the leg both open and come back.
fn second_reading_deg(motion: &PassMotion, push: &Push) -> Option<f64> {
    let around_s = (AROUND_SHARE * (push.toe_off_s - push.push_start_s)).max(AROUND_S);
    let [from_s, to_s] = [push.toe_off_s - around_s, push.toe_off_s + around_s];
    let read = second_knee_angles(motion, push.leg, from_s - BESIDE_S, to_s + BESIDE_S);
    let straightest = (0..read.len())
        .filter(|&i| (from_s..=to_s).contains(&read[i].0))
        .max_by(|&a, &b| read[a].1.total_cmp(&read[b].1))?;
    let beside = straightest.checked_sub(1)?..=straightest + 1;
    let &[before, (at_s, highest_deg), after] = read.get(beside)? else {
        return None;
    };
    let close = at_s - before.0 <= BESIDE_S && after.0 - at_s <= BESIDE_S;
    // else it still opens there, and what is seen is not its end
    if !close || before.1.max(after.1) > highest_deg {
        return None;
    }
    let deg = top_through([before, (at_s, highest_deg), after]).unwrap_or(highest_deg);
    Some(deg.min(motion.calibration().straightest_deg()))
}

/// The first reader straightens bent legs: it is asked only where the second one
/// reads at least this, degrees.
const BOTH_FROM_DEG: f64 = 150.0;

/// What the first reader says, where it makes the second one's answer better.
///
/// The heavy model errs as much as the second reader on straight legs and apart from
/// it (r = 0.3), so that the mean of both is nearer: 3.1 degrees a push instead of
/// 3.6 and 3.8 on the rendered set `fresh`. The full model mixes up legs too often for
/// that. But mixed legs never straighten a straight one: where it reads the leg
/// straighter than the second reader, they were not mixed, and the mean is nearer as
/// well (3.9 degrees a push instead of 4.2 on `later` and `fresh`).
fn first_helps(motion: &PassMotion, push: &Push, second_deg: f64) -> Option<f64> {
    if second_deg < BOTH_FROM_DEG {
        return None;
    }
    let first_deg = reading_deg(motion, push).ok()?;
    first_counts(motion.read_by, first_deg, second_deg).then_some(first_deg)
}

/// Whether the mean of both readers counts, and not the second one's reading alone.
pub fn first_counts(by: ModelKind, first_deg: f64, second_deg: f64) -> bool {
    second_deg >= BOTH_FROM_DEG && (by == ModelKind::Heavy || first_deg > second_deg)
}

/// A skater who glides on a knee straighter than this hardly opens the thighs:
/// the knees stay together to the end of the push, and say nothing of mixed
/// legs.
const UPRIGHT_DEG: f64 = 125.0;

/// Since mixed legs never straighten a bent one, a leg that is read this
/// straight is straight, whatever is doubtful about the frame. A reading beyond
/// what anybody reaches is thrown there by a wild point, and no witness.
const STRAIGHT_ANYWAY_DEG: f64 = 158.0;

/// The largest angle around a push's end, degrees, or why there is none.
fn reading_deg(motion: &PassMotion, push: &Push) -> Result<f64, NotJudged> {
    let around_s = AROUND_SHARE * (push.toe_off_s - push.push_start_s);
    let span_s = [push.toe_off_s - around_s, push.toe_off_s + around_s];
    let angles = pushed_out_knee_angles(motion, push.leg, span_s[0], span_s[1]);
    let deg = highest(&angles).ok_or(NotJudged::PushEndNotSeen)?;
    let straightest_deg = motion.calibration().straightest_deg();
    match doubt(motion, push, span_s) {
        Some(why) if !(STRAIGHT_ANYWAY_DEG..straightest_deg).contains(&deg) => Err(why),
        _ => Ok(deg.min(straightest_deg)),
    }
}

/// Why the two legs may have been taken for each other around a push's end.
fn doubt(motion: &PassMotion, push: &Push, [from_s, to_s]: [f64; 2]) -> Option<NotJudged> {
    if share_mended(motion, push) > MAX_MENDED {
        return Some(NotJudged::LegsMixedUp);
    }
    let glide_deg = glide_knee_deg(motion, push).ok();
    let mut angles_of_far: Vec<f64> = glide_readings(motion, push.leg.other(), from_s, to_s)
        .into_iter()
        .map(|(deg, _)| deg)
        .collect();
    if let (Some(glide_deg), Some(far_deg)) = (glide_deg, median(&mut angles_of_far))
        && far_deg - glide_deg > KNEES_MIXED_DEG
    {
        return Some(NotJudged::KneesAlike);
    }
    let apart = over(motion, from_s, to_s, |i| {
        Some(knees_apart_share(motion, &motion.curves.peak_points[i], i))
    });
    // the thighs of a skater who bends open: a pushing knee is seen apart
    let bends = glide_deg.is_none_or(|deg| deg < UPRIGHT_DEG);
    if bends && highest(&apart).is_some_and(|share| share < KNEES_TOGETHER_SHARE) {
        return Some(NotJudged::KneesAlike);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::super::rule_geometry::tests::{judged_values, motion_of};
    use super::*;
    use crate::body::{LegPoint, LegReading};
    use crate::stride::synthetic::{Skater, lane};
    use crate::stride::{Leg, LegSample};
    use crate::track::Sample;

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

    /// What the second reader would say of a stick skater: its own leg points, in
    /// frames around the toe-offs.
    fn second_readings(skater: &Skater) -> Vec<LegSample> {
        let lane = lane(View::Side, skater);
        let pass = skater.pass(&lane, 30.0);
        let of = |s: &Sample| LegSample {
            t_s: s.t_s,
            legs: LegReading {
                points: [23, 24, 25, 26, 27, 28].map(|k| LegPoint {
                    x_px: s.points[k].x_px,
                    y_px: s.points[k].y_px,
                    belief: 0.7,
                }),
            },
        };
        pass.samples.iter().map(of).collect()
    }

    /// Both legs as the far one: what the landmark model does at the end of a push.
    fn with_mixed_legs(mut motion: PassMotion) -> PassMotion {
        for row in &mut motion.curves.peak_points {
            for k in [23, 25, 27, 29, 31] {
                row[k + 1] = row[k];
            }
        }
        motion
    }

    #[test]
    fn the_second_reader_sees_a_finish_that_the_first_mixes_up() {
        for extension_deg in [138.0, 150.0, 166.0] {
            let skater = Skater {
                extension_deg,
                ..Skater::default()
            };
            let mut motion = with_mixed_legs(motion_of(View::Side, &skater));
            motion.legs = second_readings(&skater);
            let values = judged_values(&motion, &RULE);
            assert!(!values.is_empty());
            let truth = skater.knee_deg_over(Leg::Right, (0.5, 0.63), true);
            for v in values {
                assert!((v - truth).abs() < 4.0, "{v} for {truth}");
            }
        }
    }

    /// The first reader's answer counts half on a straight leg and nothing on a bent
    /// one; the full model's only where it is the straighter one.
    #[test]
    fn the_first_reader_has_a_say_about_straight_legs() {
        for (extension_deg, second_is_off_deg, full_counts, heavy_counts) in [
            (138.0, -8.0, false, false),
            (166.0, -8.0, true, true),
            (160.0, 8.0, false, true),
        ] {
            let skater = Skater {
                extension_deg,
                ..Skater::default()
            };
            let read = |read_by: ModelKind, mixed: bool| {
                let mut motion = motion_of(View::Side, &skater);
                motion.read_by = read_by;
                // The second reader sees the leg of another skater.
                motion.legs = second_readings(&Skater {
                    extension_deg: extension_deg + second_is_off_deg,
                    ..skater
                });
                if mixed {
                    motion = with_mixed_legs(motion);
                }
                judged_values(&motion, &RULE)
            };
            // Of mixed legs nothing but the toe is taken, up to 2 degrees off.
            let second = read(ModelKind::Full, true);
            assert!(!second.is_empty());
            for (read_by, counts) in [
                (ModelKind::Full, full_counts),
                (ModelKind::Heavy, heavy_counts),
            ] {
                let deg = read(read_by, false);
                assert_eq!(deg.len(), second.len());
                for (deg, second_deg) in deg.iter().zip(&second) {
                    let toward_first_deg = (deg - second_deg) * -second_is_off_deg.signum();
                    assert_eq!(
                        toward_first_deg > 2.5,
                        counts,
                        "{read_by:?}, {extension_deg}: {deg} for {second_deg}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_leg_not_seen_both_opening_and_coming_back_is_left_to_the_first_reader() {
        let skater = Skater::default();
        let mut motion = motion_of(View::Side, &skater);
        let by_first = judged_values(&motion, &RULE);
        let all = second_readings(&skater);
        let late = |s: &LegSample| motion.pushes.iter().all(|p| s.t_s > p.toe_off_s);
        let coming_back: Vec<LegSample> = all.iter().copied().filter(late).collect();
        motion.legs = coming_back;
        assert_eq!(judged_values(&motion, &RULE), by_first);
        // Nor is what the second reader itself does not believe.
        motion.legs = all;
        for sample in &mut motion.legs {
            sample.legs.points.iter_mut().for_each(|p| p.belief = 0.3);
        }
        assert_eq!(judged_values(&motion, &RULE), by_first);
    }
}
