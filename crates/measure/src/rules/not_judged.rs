//! Why something is not judged: every reason once. Their words stand in the
//! catalogue under `[reasons]`.

use super::ids::ids;

/// Makes the reasons, and what recordings before format 2 called them.
macro_rules! reasons {
    ($($variant:ident = $code:literal, $words:literal;)*) => {
        ids! {
            /// Why something is not judged.
            NotJudged { $(#[doc = $words] $variant = $code,)* }
        }

        impl NotJudged {
            /// What a recording says: a code, or the English words of one that
            /// was made before there were codes. [`NotJudged::Other`] for what
            /// this program does not know.
            pub fn from_recording(text: &str) -> Self {
                match text {
                    $($code | $words => NotJudged::$variant,)*
                    _ => NotJudged::Other,
                }
            }
        }
    };
}

reasons! {
    ArmNotSeen = "arm_not_seen", "the arm was not seen at the front of its swing";
    HandPointsDisagree = "hand_points_disagree", "wrist and hand points disagree";
    HandNearTheLine = "hand_near_the_line", "too near to the line to be sure of the hand";
    NoHandSeen = "no_hand_seen", "no hand was seen at the front of its swing";
    PushesContradict = "pushes_contradict", "the pushes of the pass contradict each other";
    AcrossOrAlong = "across_or_along", "across and along cannot be told apart from here";
    HeelsNotSeen = "heels_not_seen", "the heels were not seen as the leg came back";
    FeetUnsteady = "feet_unsteady", "the feet were not read steadily as the leg came back";
    TrunkNotSeen = "trunk_not_seen", "the trunk was not seen during the push";
    SkateNotSeen = "skate_not_seen", "the skate was not seen at the end of the push";
    FarLegHidden = "far_leg_hidden", "the far leg is partly hidden";
    GlideNotSeen = "glide_not_seen", "the leg was not seen during the glide";
    GlideUnsteady = "glide_unsteady", "the leg was not read steadily during the glide";
    OnlyHeavyModel = "only_heavy_model", "from here only the heavy model reads a knee";
    ModelTooLight = "model_too_light", "the lite model is too coarse for this";
    LooksAlong = "looks_along", "the camera looks too much along the travel";
    PushEndNotSeen = "push_end_not_seen", "the leg was not seen at the end of the push";
    LegsMixedUp = "legs_mixed_up", "the two legs were mixed up at the end of the push";
    KneesAlike = "knees_alike", "the two knees cannot be told apart";
    TooSmall = "too_small", "too small in the picture";
    SomebodyInFront = "somebody_in_front", "somebody was in front";
    TooFewPictures = "too_few_pictures", "too few pictures a second";
    TooSoft = "too_soft", "the picture is too soft";
    TooLittleContrast = "too_little_contrast", "too dark or too little contrast";
    TooNoisy = "too_noisy", "the picture is too noisy";
    CameraMoved = "camera_moved", "the camera was moved after the lane was set up";
    PointsUnsteady = "points_unsteady", "the body was not read steadily";
    PointsUnsure = "points_unsure", "the pose model was not sure of the body";
    MeasurementFailed = "measurement_failed", "the measurement failed";
    NotFromSide = "not_from_side", "not seen from the side";
    NotFromFront = "not_from_front", "not seen from the front";
    NotFromRear = "not_from_rear", "not seen from the rear";
    NotFromOblique = "not_from_oblique", "not seen from an oblique camera";
    NoWholePush = "no_whole_push", "no push was seen whole";
    TooFewSteps = "too_few_steps", "fewer than two steps in a row were seen";
    NearLegUnseen = "near_leg_unseen", "the near leg was not seen at its toe-off";
    NearLegPoor = "near_leg_poor", "the near leg was not seen well enough at its toe-off";
    NearSideUnseen = "near_side_unseen", "the near side was not seen at its toe-off";
    OnlyFarLeg = "only_far_leg", "only the far leg pushed in view";
    NotBothLegs = "not_both_legs", "not both legs were judged";
    NoPush = "no_push", "no push was seen";
    NoRuleOn = "no_rule_on", "no rule is switched on for this view";
    ValuesUnreadable = "values_unreadable", "the measured values could not be read";
    CamerasContradict = "cameras_contradict", "the two cameras saw the legs the other way round";
    NotANumber = "not_a_number", "the measured value was not a number";
    NotInRecording = "not_in_recording", "not measured when this pass was stored";
    UnknownRule = "unknown_rule", "stored with a rule that this program does not know";
    Other = "other", "not seen well enough";
}

impl NotJudged {
    /// Whether it lies with the picture or its reader, and not with what the skater did
    /// in it.
    pub fn is_of_the_picture(self) -> bool {
        use NotJudged as N;
        matches!(
            self,
            N::TooFewPictures
                | N::TooSoft
                | N::TooLittleContrast
                | N::TooNoisy
                | N::CameraMoved
                | N::PointsUnsteady
                | N::PointsUnsure
                | N::ModelTooLight
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Recordings of before the codes hold the words.
    #[test]
    fn recordings_of_before_the_codes_are_understood() {
        let read = NotJudged::from_recording;
        assert_eq!(
            read("the far leg is partly hidden"),
            NotJudged::FarLegHidden
        );
        assert_eq!(read("far_leg_hidden"), NotJudged::FarLegHidden);
        assert_eq!(read("a reason of a later program"), NotJudged::Other);
    }
}
