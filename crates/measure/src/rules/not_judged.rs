//! Why something is not judged: every reason once.
//!
//! English, as they stand in the recordings and the exports. The screen's
//! language files translate each by a key made of its words.

macro_rules! reasons {
    ($($name:ident = $text:literal,)*) => {
        $(#[doc = $text] pub const $name: &str = $text;)*
        /// All of them.
        pub const ALL: &[&str] = &[$($text),*];
    };
}

reasons! {
    ARM_NOT_SEEN = "the arm was not seen at the front of its swing",
    HAND_POINTS_DISAGREE = "wrist and hand points disagree",
    HAND_NEAR_THE_LINE = "too near to the line to be sure of the hand",
    NO_HAND_SEEN = "no hand was seen at the front of its swing",
    PUSHES_CONTRADICT = "the pushes of the pass contradict each other",
    ACROSS_OR_ALONG = "across and along cannot be told apart from here",
    HEELS_NOT_SEEN = "the heels were not seen as the leg came back",
    FEET_UNSTEADY = "the feet were not read steadily as the leg came back",
    TRUNK_NOT_SEEN = "the trunk was not seen during the push",
    SKATE_NOT_SEEN = "the skate was not seen at the end of the push",
    FAR_LEG_HIDDEN = "the far leg is partly hidden",
    GLIDE_NOT_SEEN = "the leg was not seen during the glide",
    GLIDE_UNSTEADY = "the leg was not read steadily during the glide",
    ONLY_HEAVY_MODEL = "from here only the heavy model reads a knee",
    LOOKS_ALONG = "the camera looks too much along the travel",
    PUSH_END_NOT_SEEN = "the leg was not seen at the end of the push",
    LEGS_MIXED_UP = "the two legs were mixed up at the end of the push",
    KNEES_ALIKE = "the two knees cannot be told apart",
    TOO_SMALL = "too small in the picture",
    SOMEBODY_IN_FRONT = "somebody was in front",
    MEASUREMENT_FAILED = "the measurement failed",
    NOT_FROM_SIDE = "not seen from the side",
    NOT_FROM_FRONT = "not seen from the front",
    NOT_FROM_REAR = "not seen from the rear",
    NOT_FROM_OBLIQUE = "not seen from an oblique camera",
    NO_WHOLE_PUSH = "no push was seen whole",
    TOO_FEW_STEPS = "fewer than two steps in a row were seen",
    NEAR_LEG_UNSEEN = "the near leg was not seen at its toe-off",
    NEAR_LEG_POOR = "the near leg was not seen well enough at its toe-off",
    NEAR_SIDE_UNSEEN = "the near side was not seen at its toe-off",
    ONLY_FAR_LEG = "only the far leg pushed in view",
    FAR_LEG_FROM_SIDE = "the far leg is not judged from the side",
    NOT_BOTH_LEGS = "not both legs were judged",
    NO_SUCH_RULE = "this program has no such rule",
    NO_PUSH = "no push was seen",
    NO_RULE_ON = "no rule is switched on for this view",
    VALUES_UNREADABLE = "the measured values could not be read",
}
