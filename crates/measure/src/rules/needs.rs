//! What a quantity needs of the picture.

use super::NotJudged;
use crate::quality::Quality;
use crate::stride::Push;

/// Analysed pictures a second that are needed, as it is said.
pub const PICTURES_NEEDED: f64 = 15.0;
/// Below this nothing is judged: 15 a second whose times tremble by a tenth. At 8, 10 and 12
/// a second 8 false orders in 44 passes of good rendered skaters were seen, at 15 and 20
/// none in 31.
const LEAST_PICTURES: f64 = 13.5;
/// The same for the end of a push, where a leg is straight for a tenth of a second: at 15 a
/// second 131 degrees were read once for a true 161. 20 a second whose times tremble.
const LEAST_PICTURES_PUSH_END: f64 = 18.0;

/// What a quantity needs of the picture while it is read. Below it the quantity is not
/// judged.
#[derive(Debug, Clone, Copy)]
pub struct Needs {
    /// The time in which it is read, seconds on the source's clock: from, to.
    pub span_s: fn(&Push) -> [f64; 2],
    /// Fewest analysed pictures a second.
    pub pictures_per_s: f64,
    /// Least sharpness of the skater's edges.
    pub sharpness: f64,
    /// Least height of these, grey levels.
    pub contrast: f64,
    /// Most noise, as a share of that height.
    pub noise_share: f64,
    /// Most jitter of the legs, as a share of stature.
    pub unsteady_share: f64,
    /// Least belief of the pose model, as a share of what it believes in clear pictures.
    pub sure_share: f64,
}

/// Edges of a skater seen from the side in a sharp picture of 1280 pixels are at 0.51 and
/// more, of one far away and seen from the front at 0.40; out of focus by 2 pixels at 0.39 and
/// 0.32, by 3 at 0.35 and 0.29 (rendered). A person who fills the picture is at 0.73 and more.
pub const TOO_SOFT: f64 = 0.36;
/// Of the knee in the glide from the side, where skaters are large and sharp ones at 0.51 to
/// 0.76: blurred by 1.4 and 2 pixels at 0.48 and 0.41 a knee of 117 degrees was read 10 and 12
/// too straight.
const TOO_SOFT_FOR_KNEES: f64 = 0.42;
/// Of the heels, behind thick fog: at 0.361 read 10 cm too far apart, from 0.395 on within 3.
const TOO_SOFT_FOR_HEELS: f64 = 0.38;
/// In good light edges are 140 high; behind thick fog or in a tenth of the light 15 to 25.
pub const TOO_LITTLE_CONTRAST: f64 = 25.0;
/// Noise of 20 grey levels in the picture is 0.06 of the edges in the square from the side;
/// seen from the front, where skaters are small and drawn larger, 0.03.
const MOST_NOISE_SHARE: f64 = 0.075;
const MOST_NOISE_SHARE_SMALL: f64 = 0.03;
/// Legs of rendered skaters in good pictures jitter by 0.6 to 1.2 % of stature seen from the
/// side, up to 2.5 % in single pushes; seen from the front by 0.3 to 0.8 %, up to 1.0 %. Behind JPEG
/// blocks they jittered by 1.06 and 1.6 % where the heels were read 6 and 9 cm too far apart.
const MOST_UNSTEADY_SHARE: f64 = 0.03;
const MOST_UNSTEADY_SHARE_FRONT: f64 = 0.012;
/// In clear pictures `full` is at 0.91 and more in every push of rendered skaters seen from the
/// side. In a film that was compressed so much that dark legs have lost their folds it was at 0.81 to
/// 0.87, while edges stood sharp: knees of 105 degrees were read 20 to 30 too straight.
const LEAST_SURE_SHARE: f64 = 0.88;

/// From these on a picture is good, and a value as sure as its rule states; from there down
/// to the bounds above it is less so.
const GOOD_PICTURES: f64 = 24.0;
/// Above the bound.
const GOOD_SHARPNESS: f64 = 0.12;
const GOOD_CONTRAST: f64 = 60.0;
/// The same as shares of the bounds above.
const GOOD_NOISE: f64 = 0.4;
const GOOD_UNSTEADY: f64 = 0.6;
/// Above the bound.
const GOOD_SURE: f64 = 0.04;
/// How much is added at the bound, in stated standard deviations. Pictures: in pictures a 15th of
/// a second apart knees of a child of 124 to 127 degrees were read 13 to 16 too straight in 3 of 27
/// passes.
const BY_PICTURES: f64 = 2.0;
const BY_SHARPNESS: f64 = 1.4;
const BY_CONTRAST: f64 = 1.0;
const BY_NOISE: f64 = 1.0;
const BY_UNSTEADY: f64 = 1.4;
const BY_UNSURE: f64 = 1.4;
/// A value whose uncertainty has grown by more than this may miss a fault that a good picture
/// shows: it is no reason for praise.
const MOST_FOR_PRAISE: f64 = 1.5;

/// What every quantity needs.
const USUAL: Needs = Needs {
    span_s: |push| [push.touchdown_s, push.recovery_s],
    pictures_per_s: LEAST_PICTURES,
    sharpness: TOO_SOFT,
    contrast: TOO_LITTLE_CONTRAST,
    noise_share: MOST_NOISE_SHARE,
    unsteady_share: MOST_UNSTEADY_SHARE,
    sure_share: LEAST_SURE_SHARE,
};

impl Needs {
    /// Of the knee in the glide.
    pub const GLIDE: Needs = Needs {
        span_s: |push| [push.touchdown_s, push.push_start_s + 0.1],
        sharpness: TOO_SOFT_FOR_KNEES,
        ..USUAL
    };
    /// Of the trunk over a whole push.
    pub const PUSH: Needs = Needs {
        span_s: |push| [push.touchdown_s, push.toe_off_s],
        // Legs that jitter do not spoil the trunk.
        unsteady_share: 2.0 * MOST_UNSTEADY_SHARE,
        ..USUAL
    };
    /// Of the leg at the end of a push.
    pub const PUSH_END: Needs = Needs {
        span_s: |push| [push.push_start_s, push.toe_off_s + 0.1],
        pictures_per_s: LEAST_PICTURES_PUSH_END,
        // There the landmark models mix the two legs in good pictures too; a second
        // reader measures, where it is read.
        unsteady_share: 2.0 * MOST_UNSTEADY_SHARE,
        ..USUAL
    };
    /// Of the arm at the front of its swing.
    pub const SWING: Needs = Needs {
        span_s: |push| [push.push_start_s, push.toe_off_s + 0.1],
        noise_share: MOST_NOISE_SHARE_SMALL,
        unsteady_share: MOST_UNSTEADY_SHARE_FRONT,
        ..USUAL
    };
    /// Of the feet as the leg comes back.
    pub const RECOVERY: Needs = Needs {
        // The whole push: legs that jittered before are not read well as they come back.
        span_s: |push| [push.touchdown_s, push.recovery_s],
        sharpness: TOO_SOFT_FOR_HEELS,
        noise_share: MOST_NOISE_SHARE_SMALL,
        unsteady_share: MOST_UNSTEADY_SHARE_FRONT,
        ..USUAL
    };

    /// How far each property of the picture is on its way from good, 0, to the bound, 1; and
    /// by how many stated standard deviations it spoils a value there.
    fn spoilt(&self, seen: &Quality) -> [(NotJudged, f64, f64); 6] {
        let way = |value: Option<f64>, good: f64, bound: f64| {
            let way = value.map_or(0.0, |v| (v - good) / (bound - good));
            if way.is_nan() {
                0.0
            } else {
                way.clamp(0.0, 1.0)
            }
        };
        let noise = noise_share(seen);
        [
            (
                NotJudged::TooFewPictures,
                way(seen.pictures_per_s, GOOD_PICTURES, self.pictures_per_s),
                BY_PICTURES,
            ),
            (
                NotJudged::TooSoft,
                way(
                    seen.sharpness,
                    self.sharpness + GOOD_SHARPNESS,
                    self.sharpness,
                ),
                BY_SHARPNESS,
            ),
            (
                NotJudged::TooLittleContrast,
                way(seen.contrast, GOOD_CONTRAST, self.contrast),
                BY_CONTRAST,
            ),
            (
                NotJudged::TooNoisy,
                way(noise, GOOD_NOISE * self.noise_share, self.noise_share),
                BY_NOISE,
            ),
            (
                NotJudged::PointsUnsteady,
                way(
                    seen.unsteady_share,
                    GOOD_UNSTEADY * self.unsteady_share,
                    self.unsteady_share,
                ),
                BY_UNSTEADY,
            ),
            (
                NotJudged::PointsUnsure,
                way(
                    seen.sure_share,
                    self.sure_share + GOOD_SURE,
                    self.sure_share,
                ),
                BY_UNSURE,
            ),
        ]
    }

    /// How many times its standard deviation in a good picture a value's is in this one:
    /// 1 and more, without a step. What was not measured adds nothing.
    pub fn widening(&self, seen: &Quality) -> f64 {
        let added = self.spoilt(seen).map(|(_, way, by)| (by * way).powi(2));
        (1.0 + added.iter().sum::<f64>()).sqrt()
    }

    /// Why a value is not sure enough to praise by, though it may be judged; `None` where it
    /// is.
    pub fn too_unsure_to_praise(&self, seen: &Quality) -> Option<NotJudged> {
        let worst = || {
            let spoilt = self.spoilt(seen);
            let worst = spoilt
                .iter()
                .max_by(|a, b| (a.1 * a.2).total_cmp(&(b.1 * b.2)));
            worst.map(|(why, ..)| *why)
        };
        (self.widening(seen) > MOST_FOR_PRAISE).then(worst)?
    }

    /// What of this was not there; `None` where the quantity may be judged.
    pub fn unmet(&self, seen: &Quality) -> Option<NotJudged> {
        let below = |value: Option<f64>, least: f64| value.is_some_and(|v| v < least);
        let noise_share = noise_share(seen);
        if below(seen.pictures_per_s, self.pictures_per_s) {
            Some(NotJudged::TooFewPictures)
        } else if below(seen.contrast, self.contrast) {
            Some(NotJudged::TooLittleContrast)
        } else if below(seen.sharpness, self.sharpness) {
            Some(NotJudged::TooSoft)
        } else if noise_share.is_some_and(|share| share > self.noise_share) {
            Some(NotJudged::TooNoisy)
        } else if seen
            .unsteady_share
            .is_some_and(|share| share > self.unsteady_share)
        {
            Some(NotJudged::PointsUnsteady)
        } else if below(seen.sure_share, self.sure_share) {
            Some(NotJudged::PointsUnsure)
        } else {
            None
        }
    }
}

/// Noise as a share of the height of the skater's edges.
fn noise_share(seen: &Quality) -> Option<f64> {
    let known = seen.noise.zip(seen.contrast);
    known.map(|(noise, contrast)| noise / contrast.max(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::Clarity;
    use crate::config::View;
    use crate::rules::{AgeGroup, JudgedPass, RuleId, Thresholds, judge};
    use crate::stride::cut;
    use crate::stride::synthetic::{Skater, lane};

    const CLEAR: Clarity = Clarity {
        sharpness: 0.55,
        contrast: 140.0,
        noise: 1.0,
        belief: 0.95,
    };

    fn judged(view: View, fps: f64, clarity: Clarity) -> JudgedPass {
        let skater = Skater::default();
        let lane = lane(view, &skater);
        let mut pass = skater.pass(&lane, fps);
        for sample in &mut pass.samples {
            sample.clarity = Some(clarity);
        }
        judge(&cut(&pass, &lane), &Thresholds::defaults(AgeGroup::Adult))
    }

    /// Why each measure of the view's rules is not judged, push by push.
    fn reasons(pass: &JudgedPass) -> Vec<Option<NotJudged>> {
        pass.pushes
            .iter()
            .flat_map(|push| push.measures.iter())
            .filter(|(rule, _)| rule.rule().views.contains(&pass.view))
            .map(|(_, measure)| measure.not_judged)
            .collect()
    }

    #[test]
    fn too_few_pictures_are_never_judged_and_enough_are() {
        for view in [View::Side, View::Front, View::Rear] {
            for fps in [8.0, 9.0, 10.0, 11.0, 12.0, 13.0] {
                let pass = judged(view, fps, CLEAR);
                let why = reasons(&pass);
                assert!(!why.contains(&None), "{view:?} at {fps}: {why:?}");
            }
            for fps in [15.0, 20.0, 25.0, 30.0, 60.0] {
                let pass = judged(view, fps, CLEAR);
                let why = reasons(&pass);
                let too_few = why.contains(&Some(NotJudged::TooFewPictures));
                // The end of a push needs more of them.
                let needs_more = fps < LEAST_PICTURES_PUSH_END;
                assert_eq!(too_few, needs_more, "{view:?} at {fps}: {why:?}");
                assert!(why.contains(&None), "{view:?} at {fps}: {why:?}");
            }
        }
    }

    /// A camera that stalls in the middle of a push.
    #[test]
    fn what_fell_into_a_hole_is_not_judged() {
        let skater = Skater::default();
        let lane = lane(View::Side, &skater);
        let mut pass = skater.pass(&lane, 30.0);
        let whole = judge(&cut(&pass, &lane), &Thresholds::defaults(AgeGroup::Adult));
        let push = whole
            .pushes
            .iter()
            .find(|push| push.measures[RuleId::KneeBend].is_judged())
            .expect("a knee is judged");
        let (from_s, to_s) = (push.push_start_s - 0.05, push.push_start_s + 0.06);
        pass.samples.retain(|s| !(from_s..to_s).contains(&s.t_s));
        let holed = judge(&cut(&pass, &lane), &Thresholds::defaults(AgeGroup::Adult));
        let same = holed
            .pushes
            .iter()
            .find(|p| p.leg == push.leg && (p.toe_off_s - push.toe_off_s).abs() < 0.1)
            .expect("the push is still found");
        let knee = &same.measures[RuleId::KneeBend];
        assert_eq!(knee.not_judged, Some(NotJudged::TooFewPictures));
    }

    #[test]
    fn each_fault_of_the_picture_has_its_reason() {
        for (spoilt, why) in [
            (
                Clarity {
                    sharpness: 0.27,
                    ..CLEAR
                },
                NotJudged::TooSoft,
            ),
            (
                Clarity {
                    contrast: 15.0,
                    ..CLEAR
                },
                NotJudged::TooLittleContrast,
            ),
            (
                Clarity {
                    noise: 60.0,
                    ..CLEAR
                },
                NotJudged::TooNoisy,
            ),
        ] {
            let pass = judged(View::Side, 30.0, spoilt);
            let found = reasons(&pass);
            assert!(
                found.contains(&Some(why)) && !found.contains(&None),
                "{found:?}"
            );
        }
    }
}
