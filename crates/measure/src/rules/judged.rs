//! A pass after judging.

use super::{IdMap, NotJudged, QuantityId, RuleId, Thresholds};
use crate::config::View;
use crate::quality::Quality;
use crate::stride::Leg;

/// One value for each rule.
pub type RuleMap<T> = IdMap<RuleId, T>;
/// One value for each quantity.
pub type QuantityMap<T> = IdMap<QuantityId, T>;

/// One measured quantity, or the reason why it was not judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    /// The value in the unit its key ends with, where there is one. A value
    /// may stand here and yet not be judged.
    pub value: Option<f64>,
    /// One standard deviation, same unit.
    pub uncertainty: Option<f64>,
    /// The part of it that differs from push to push, same unit; what is left is shared by
    /// all pushes of the person. `None` where the parts are not known, as in records.
    pub random: Option<f64>,
    /// The part of it that the errors of the lane's numbers make, same unit; shared by all
    /// pushes on the lane. `None` where the lane is exact, or it is not known, as in records.
    pub set_up: Option<f64>,
    /// Why rules may not speak about it; `None` where they may.
    pub not_judged: Option<NotJudged>,
    /// Why it is too unsure to praise by, though it may be judged, by the picture it was
    /// read in. Not in records.
    pub praise_not: Option<NotJudged>,
    /// How it was measured, in a few plain words of the recordings; may be
    /// empty.
    pub how: String,
}

impl Default for Measure {
    /// Not judged, for no reason in particular.
    fn default() -> Self {
        Measure::not_judged(NotJudged::Other)
    }
}

impl Measure {
    /// A quantity rules may speak about: value and standard deviation in the
    /// measure's unit, and how it was measured.
    pub fn judged(value: f64, uncertainty: f64, how: impl Into<String>) -> Self {
        Measure {
            value: Some(value),
            uncertainty: Some(uncertainty),
            random: None,
            set_up: None,
            not_judged: None,
            praise_not: None,
            how: how.into(),
        }
    }

    /// A quantity that cannot be spoken about, and why.
    pub fn not_judged(why: NotJudged) -> Self {
        Measure {
            value: None,
            uncertainty: None,
            random: None,
            set_up: None,
            not_judged: Some(why),
            praise_not: None,
            how: String::new(),
        }
    }

    /// A quantity that was read and yet cannot be spoken about.
    pub fn unsure(value: f64, uncertainty: f64, why: NotJudged) -> Self {
        Measure {
            value: Some(value),
            uncertainty: Some(uncertainty),
            ..Measure::not_judged(why)
        }
    }

    /// Whether rules may speak about it.
    pub fn is_judged(&self) -> bool {
        self.not_judged.is_none()
    }

    /// The value, where rules may speak about it.
    pub fn judged_value(&self) -> Option<f64> {
        self.value.filter(|_| self.is_judged())
    }
}

/// A value beyond its limit by more than the dead-band.
#[derive(Debug, Clone, PartialEq)]
pub struct Flag {
    /// The rule.
    pub rule: RuleId,
    /// The measured value, in the rule's unit.
    pub value: f64,
    /// The limit it passed, in the rule's unit.
    pub limit: f64,
}

/// One push, judged.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedPush {
    /// The pushing leg.
    pub leg: Leg,
    /// Whether it is the leg nearer to the camera; `None` where the view has
    /// no nearer leg.
    pub near_leg: Option<bool>,
    /// When the leg starts to push, seconds on the source's clock.
    pub push_start_s: f64,
    /// When the skate leaves the ice, seconds on the source's clock.
    pub toe_off_s: f64,
    /// One measure per rule.
    pub measures: RuleMap<Measure>,
    /// What was beyond its limit.
    pub flags: Vec<Flag>,
    /// How well it was seen, from touchdown to the return of the feet; `None` where
    /// that was not kept.
    pub quality: Option<Quality>,
}

impl JudgedPush {
    /// Why a judged value of this push is too unsure to praise by, where it is: by the
    /// pictures it was read in, or by those of the whole push.
    pub fn unsure(&self, rule: RuleId) -> Option<NotJudged> {
        let of_push = || rule.rule().needs.too_unsure_to_praise(&self.quality?);
        self.measures[rule].praise_not.or_else(of_push)
    }
}

impl JudgedPass {
    /// The same with nothing judged, for a reason that holds for all of it. No value of a push
    /// or of the pass is left: none can be believed. Its speed stays, since it was a pass by
    /// it; it is not shown.
    #[must_use]
    pub fn not_judged(mut self, why: NotJudged) -> Self {
        for push in &mut self.pushes {
            push.flags.clear();
            push.measures
                .values_mut()
                .for_each(|m| *m = Measure::not_judged(why));
        }
        self.quantities
            .values_mut()
            .for_each(|m| *m = Measure::not_judged(why));
        self
    }

    /// Whether the camera was moved before it.
    pub fn camera_moved(&self) -> bool {
        let moved = |m: &Measure| m.not_judged == Some(NotJudged::CameraMoved);
        self.quantities.values().any(moved)
    }
}

/// One pass, judged with the thresholds it carries.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedPass {
    /// Number of the track, unique in the session.
    pub track_id: u32,
    /// First sample of the pass, seconds on the source's clock.
    pub started_at_s: f64,
    /// Last sample of the pass, seconds on the source's clock.
    pub ended_at_s: f64,
    /// Mean speed along the lane, metres a second.
    pub speed_mps: f64,
    /// The view it was seen from.
    pub view: View,
    /// The thresholds it was judged with.
    pub thresholds: Thresholds,
    /// The pushes in order of toe-off.
    pub pushes: Vec<JudgedPush>,
    /// What is reported of the pass as a whole; never flagged.
    pub quantities: QuantityMap<Measure>,
}
