//! What a reading is shifted by, and how sure it is then: every number that moves a
//! value because the pose model's points do not lie on the joints.
//!
//! Takes: who stands before the camera ([`Subject`], from the lane file) and the pose
//! model.
//! Gives: for every quantity a [`Shift`] or a [`Doubt`].
//! Fails: never.
//!
//! **What was learned on rendered bodies never shifts a person's number.** A pose
//! model errs otherwise on people than on rendered bodies: on those it reads a bent
//! knee 10 to 12 degrees too straight, on people 5 too straight to 3 too bent. So
//! the numbers fitted on rendered bodies are private to `rendered.rs`, those of
//! people to `people.rs`, and the only way to either is a [`Calibration`] of
//! a declared subject. Rules and strides hold no such number of their own;
//! `docs/constants.md` lists them all, and a test holds the list complete.

mod checked;
mod people;
mod prior;
mod rendered;
pub mod set_up;

use serde::{Deserialize, Serialize};

use crate::body::ModelKind;
use crate::config::{Lane, Subject, View};

pub(crate) use checked::day;
pub use checked::{Checked, Found};
pub use prior::{Gauged, Prior, Spread};

/// What the values of a pass rest on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// Shifted by what was fitted on rendered bodies. Only where the material is
    /// declared as rendered.
    Rendered,
    /// Shifted by what was published of people or measured on them, or not at all.
    PeoplePublished,
    /// Shifted by what a check with persons found, for this camera, lane, model and
    /// engine, together with what was published. The lane holds it.
    CheckedHere,
}

impl Basis {
    /// What values of a lane rest on, where the model is the one it is set up for.
    pub fn of(lane: &Lane) -> Self {
        Self::from(lane.subject, lane.checked.is_some())
    }

    fn from(subject: Subject, checked: bool) -> Self {
        match (subject, checked) {
            (Subject::Rendered, _) => Basis::Rendered,
            (Subject::People, false) => Basis::PeoplePublished,
            (Subject::People, true) => Basis::CheckedHere,
        }
    }

    /// The name used in files.
    pub fn name(self) -> &'static str {
        match self {
            Basis::Rendered => "rendered",
            Basis::PeoplePublished => "people_published",
            Basis::CheckedHere => "checked_here",
        }
    }
}

/// How far a value may be off, as standard deviations in its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubt {
    /// The part that all pushes of a person share: body, gear, rink. More
    /// pushes do not make it smaller.
    pub shared: f64,
    /// The part that differs from push to push.
    pub random: f64,
}

impl Doubt {
    const fn new(shared: f64, random: f64) -> Self {
        Doubt { shared, random }
    }

    /// Both together, of one push.
    pub fn of_one(self) -> f64 {
        self.of_mean(1)
    }

    /// Both together, of the mean of `n` pushes.
    pub fn of_mean(self, n: usize) -> f64 {
        self.shared.hypot(self.random / (n.max(1) as f64).sqrt())
    }

    /// The same in another unit, or at another size of body.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Doubt::new(self.shared * factor, self.random * factor)
    }

    /// With a further doubt, independent of it, that all pushes share.
    #[must_use]
    pub fn and_shared(self, further: f64) -> Self {
        Doubt::new(self.shared.hypot(further), self.random)
    }
}

/// What is added to a reading, and the doubt that is left; in its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// Added to what is read.
    pub add: f64,
    /// What is not known afterwards.
    pub doubt: Doubt,
}

/// How far out a skate is taken to be at the end of a push.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SkateOut {
    /// Where its toe is seen to stand; shares of stature.
    ByToe {
        /// The model's toe point above the ice.
        toe_up_share: f64,
        /// The least that is believed of what the picture says.
        least_share: f64,
        /// The most.
        most_share: f64,
        /// How far the knee is out for each metre it is bent forward.
        bent_outward: f64,
    },
    /// As far out from its hip as it is behind it: a push of 45 degrees.
    AsFarAsBack,
}

/// Stature that lengths are given for, metres.
pub const ADULT_M: f64 = 1.78;

/// What holds for one subject and one pose model. Made from the lane file's
/// declaration and from nothing else.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Calibration {
    subject: Subject,
    by: ModelKind,
    /// A check with persons, made with this model.
    checked: Option<Checked>,
}

impl Calibration {
    /// For such a subject, read by such a model, without a check.
    pub fn of(subject: Subject, by: ModelKind) -> Self {
        Calibration {
            subject,
            by,
            checked: None,
        }
    }

    /// For a lane, read by such a model. A check counts for people, and for the model it
    /// was made with.
    pub fn of_lane(lane: &Lane, by: ModelKind) -> Self {
        let people = lane.subject == Subject::People;
        Calibration {
            checked: lane.checked.filter(|c| people && c.model == by),
            ..Self::of(lane.subject, by)
        }
    }

    /// What its values rest on.
    pub fn basis(self) -> Basis {
        Basis::from(self.subject, self.checked.is_some())
    }

    /// What a check found of a quantity.
    pub fn found(self, of: Gauged) -> Option<Found> {
        self.checked?.found(of)
    }

    /// One of two numbers, by the subject.
    fn pick<T>(self, rendered: T, people: T) -> T {
        match self.subject {
            Subject::Rendered => rendered,
            Subject::People => people,
        }
    }

    /// The included knee angle of a gliding leg that is seen alone and read so, degrees.
    pub fn glide_knee(self, view: View, read_deg: f64) -> Shift {
        self.pick(rendered::glide_knee(self.by, view), {
            let published = people::glide_knee(self.by, view);
            let found = self.found(Gauged::Knee);
            after(found, read_deg, people::KNEE_SPREAD, published)
        })
    }

    /// Added to a knee angle where the two knees lie on each other in the
    /// picture, degrees; the less the farther apart they are.
    pub fn knees_together_deg(self) -> f64 {
        self.pick(rendered::KNEES_TOGETHER_DEG, people::KNEES_TOGETHER_DEG)
    }

    /// The included knee angle at the end of a push that is read so, degrees.
    pub fn extension(self, read_deg: f64) -> Shift {
        self.pick(rendered::EXTENSION, {
            let found = self.found(Gauged::Extension);
            after(found, read_deg, people::EXTENSION_SPREAD, people::EXTENSION)
        })
    }

    /// No leg is taken to be straighter than this, degrees.
    pub fn straightest_deg(self) -> f64 {
        self.pick(rendered::STRAIGHTEST_DEG, people::STRAIGHTEST_DEG)
    }

    /// How far out the skate is at the end of a push.
    pub fn skate_out(self) -> SkateOut {
        self.pick(rendered::SKATE_OUT, SkateOut::AsFarAsBack)
    }

    /// Hip, knee and ankle of a gliding leg beside the line of travel, shares of
    /// stature.
    pub fn glide_aside_share(self) -> [f64; 3] {
        self.pick(rendered::GLIDE_ASIDE_SHARE, people::GLIDE_ASIDE_SHARE)
    }

    /// The hip joint beside the middle of the body, share of stature.
    pub fn half_hips_share(self) -> f64 {
        self.pick(rendered::HALF_HIPS_SHARE, people::HALF_HIPS_SHARE)
    }

    /// The ankle beside the middle of the body at a usual toe-off, share of
    /// stature. `None`: as [`SkateOut::AsFarAsBack`].
    pub fn usual_out_share(self) -> Option<f64> {
        self.pick(Some(rendered::USUAL_OUT_SHARE), None)
    }

    /// How far the model's hip points lie in front of the joints, square to the
    /// trunk, share of stature.
    pub fn hips_forward_share(self) -> f64 {
        self.pick(rendered::HIPS_FORWARD_SHARE, people::HIPS_FORWARD_SHARE)
    }

    /// The lean of the trunk that is read so, degrees, with the hip points put back.
    pub fn trunk(self, read_deg: f64) -> Shift {
        let unmoved = |doubt| Shift { add: 0.0, doubt };
        self.pick(unmoved(rendered::TRUNK), {
            let found = self.found(Gauged::Trunk);
            let published = unmoved(people::TRUNK);
            after(found, read_deg, people::TRUNK_SPREAD, published)
        })
    }

    /// The gap between the heels that is read so, metres at an adult's stature.
    pub fn heel_gap(self, view: View, read_m: f64) -> Shift {
        self.pick(rendered::heel_gap(view), {
            let found = self.found(Gauged::HeelGap);
            after(found, read_m, people::GAP_SPREAD, people::heel_gap(view))
        })
    }

    /// How far the heel that comes back is ahead of the other one, by the cycles
    /// since its toe-off, shares of stature; between these it moves evenly.
    /// `None`: nothing is known of it.
    pub fn heel_ahead_share(self) -> Option<&'static [(f64, f64)]> {
        self.pick(Some(&rendered::HEEL_AHEAD_SHARE), None)
    }

    /// What that adds to the doubt where it is not known, share of stature.
    pub fn heel_ahead_doubt_share(self) -> f64 {
        self.pick(0.0, people::HEEL_AHEAD_DOUBT_SHARE)
    }

    /// When the feet are back at each other after a toe-off, cycles. `None`:
    /// where they are seen closest.
    pub fn feet_back_cycles(self) -> Option<f64> {
        self.pick(Some(rendered::FEET_BACK_CYCLES), None)
    }

    /// A hand that is read short of the middle line, metres; by the adult's stature
    /// the doubt is for, and where it was read.
    pub fn short_hand(self, adult: f64, wrist_m: f64) -> Shift {
        let doubt = self.hand().times(adult);
        self.pick(
            Shift {
                add: -rendered::TAKEN_OFF_SHORT_HAND * wrist_m,
                doubt,
            },
            Shift {
                add: 0.0,
                doubt: doubt.and_shared(people::SHORT_HAND_DOUBT * wrist_m),
            },
        )
    }

    /// The hand past the middle line, metres at an adult's stature.
    pub fn hand(self) -> Doubt {
        self.pick(rendered::HAND, people::HAND)
    }

    /// Heel point to toe point, share of stature.
    pub fn foot_share(self) -> f64 {
        self.pick(rendered::FOOT_SHARE, people::FOOT_SHARE)
    }

    /// The direction of the toe, degrees.
    pub fn toe_out(self) -> Doubt {
        self.pick(rendered::TOE_OUT, people::TOE_OUT)
    }

    /// The doubt of a rule's measure near `value`, by the rule's id, in its unit; `None` of
    /// a rule that is not known.
    pub fn doubt_of(self, rule: &str, view: View, stature_m: f64, value: f64) -> Option<Doubt> {
        let adult = stature_m / ADULT_M;
        Some(match rule {
            "knee_bend" => self.glide_knee(view, value).doubt,
            "extension" => self.extension(value).doubt,
            "recovery_gap" => self.heel_gap(view, value / adult).doubt.times(adult),
            "arm_crossover" => self.hand().times(adult),
            "trunk_lean" => self.trunk(value).doubt,
            "toe_direction" => self.toe_out(),
            _ => return None,
        })
    }

    /// How long before its toe-off a leg is straightest, cycles.
    pub fn straight_before_toe_off_cycles(self) -> f64 {
        self.pick(
            rendered::STRAIGHT_BEFORE_TOE_OFF_CYCLES,
            people::STRAIGHT_BEFORE_TOE_OFF_CYCLES,
        )
    }

    /// How far the value of a push may be moved to the mean of its leg's pushes in
    /// the pass, as a share of the way.
    pub fn toward_mean(self) -> f64 {
        self.pick(rendered::TOWARD_MEAN, people::TOWARD_MEAN)
    }
}

/// What holds of a quantity on people: what a check found, or what is published.
fn after(found: Option<Found>, read: f64, spread: Spread, published: Shift) -> Shift {
    match found {
        Some(found) => found.shift(read, spread.moving, published.doubt.random),
        None => published,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MODELS: [ModelKind; 3] = [ModelKind::Heavy, ModelKind::Full, ModelKind::Lite];

    /// Everything that may move a value, as one list.
    fn all_of(subject: Subject, by: ModelKind) -> Vec<f64> {
        let c = Calibration::of(subject, by);
        let mut all = vec![
            c.knees_together_deg(),
            c.extension(160.0).add,
            c.straightest_deg(),
            c.half_hips_share(),
            c.hips_forward_share(),
            c.short_hand(1.0, -0.2).add,
            c.foot_share(),
            c.straight_before_toe_off_cycles(),
            c.toward_mean(),
        ];
        all.extend(c.glide_aside_share());
        for view in View::ALL {
            all.push(c.glide_knee(view, 110.0).add);
            all.push(c.heel_gap(view, 0.1).add);
        }
        all
    }

    /// The rule of the project, in figures: on people nothing is shifted but the knee,
    /// by less than its published spread, and no number is the one of the rendered bodies.
    #[test]
    fn no_shift_of_rendered_bodies_reaches_people() {
        for by in MODELS {
            let people = Calibration::of(Subject::People, by);
            assert_eq!(people.basis(), Basis::PeoplePublished);
            assert_eq!(people.knees_together_deg(), 0.0);
            assert_eq!(people.extension(160.0).add, 0.0);
            assert_eq!(people.hips_forward_share(), 0.0);
            assert_eq!(people.toward_mean(), 0.0);
            assert_eq!(people.short_hand(1.0, -0.2).add, 0.0);
            assert_eq!(people.straight_before_toe_off_cycles(), 0.0);
            assert_eq!(people.skate_out(), SkateOut::AsFarAsBack);
            assert_eq!(people.usual_out_share(), None);
            assert_eq!(people.heel_ahead_share(), None);
            assert_eq!(people.feet_back_cycles(), None);
            for view in View::ALL {
                assert_eq!(people.heel_gap(view, 0.1).add, 0.0);
                let knee = people.glide_knee(view, 110.0);
                assert!(knee.add.abs() < knee.doubt.shared, "{by:?} {view:?}");
            }
            let rendered = all_of(Subject::Rendered, by);
            for (p, r) in all_of(Subject::People, by).iter().zip(rendered) {
                assert!(p != &r || r == 0.0, "{by:?}: {p} is the rendered number");
            }
        }
    }

    /// People may be told nothing more surely than rendered bodies are.
    #[test]
    fn people_are_doubted_at_least_as_much() {
        for by in MODELS {
            let [p, r] =
                [Subject::People, Subject::Rendered].map(|subject| Calibration::of(subject, by));
            let mut pairs = vec![
                (p.extension(160.0).doubt, r.extension(160.0).doubt),
                (p.trunk(45.0).doubt, r.trunk(45.0).doubt),
                (p.hand(), r.hand()),
                (p.toe_out(), r.toe_out()),
            ];
            for view in View::ALL {
                let knee = |c: Calibration| c.glide_knee(view, 110.0).doubt;
                let gap = |c: Calibration| c.heel_gap(view, 0.1).doubt;
                pairs.push((knee(p), knee(r)));
                pairs.push((gap(p), gap(r)));
            }
            for (people, rendered) in pairs {
                assert!(
                    people.of_one() >= rendered.of_one(),
                    "{people:?} {rendered:?}"
                );
            }
        }
    }

    #[test]
    fn more_pushes_take_away_only_what_differs_from_push_to_push() {
        let doubt = Doubt::new(3.0, 4.0);
        assert_eq!(doubt.of_one(), 5.0);
        assert!((doubt.of_mean(4) - 13.0_f64.sqrt()).abs() < 1e-12);
        assert!((doubt.of_mean(1_000_000) - 3.0).abs() < 1e-4);
        assert_eq!(doubt.and_shared(4.0).shared, 5.0);
        assert_eq!(doubt.times(2.0).random, 8.0);
    }
}
