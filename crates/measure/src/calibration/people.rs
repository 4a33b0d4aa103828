//! What is known of people: published, measured on a person, or nothing. Where
//! nothing is known there is no shift, and the whole size of what rendered
//! bodies would need counts as one standard deviation more: it may hold, or not.

use super::{Doubt, Shift, Spread};
use crate::body::ModelKind;
use crate::config::View;

/// How far the model reads a bent knee from the truth on people, degrees,
/// positive is too straight: in squats seen square from the side at about 90 degrees
/// +2.3 in shorts and -1.6 in tight trousers (Cosoli, Arnesano, Scalise 2026) and
/// +5.1 (Yue, Gu, Yu 2026, preprint, not reviewed), and -3.2 with the full model, as this program
/// follows and reads, on the one person of `tests/people`, seen at an angle. The plain mean of the
/// four is 0.65, their spread 3.8.
const STRAIGHTER_DEG: f64 = 0.65;
/// On the same frames of that person the heavy model reads 0.4 degrees deeper
/// than the full one; of the heavy model nothing else is published.
const HEAVY_DEEPER_DEG: f64 = 0.4;
/// Shared: the spread of the four, 3.8, and gear: on one rendered body the
/// thinnest and the thickest were read 5 to 7 degrees apart, of which half is a
/// standard deviation here, and 2 for how far a skating stance is from a squat (a
/// proposal). From push to push: the scatters published are 3.5 and
/// 6.4 and hold persons as well.
const KNEE: Doubt = Doubt::new(5.2, 4.5);
/// Seen at an angle it is worse, by how much is not known (a proposal).
const KNEE_OBLIQUE: Doubt = Doubt::new(6.7, 5.0);

/// What a check at the rink can tell of it (`docs/ruler.md`). Between persons and gear: the
/// half of what gear did to one rendered body. Moving: how far a skating stance is from a
/// squat, as above. From hold to hold 2 (a proposal). The reference: a long-arm
/// goniometer's least difference that counts is 10 degrees, so that one reading is off
/// by 3.6 (10 / 1.96 / root 2; Hancock, Hepworth, Wembridge 2018, J Exp Orthop 5:46), of which 2 are taken to be the same
/// in all holds of one examiner (a proposal); the rest differs from person to person.
pub const KNEE_SPREAD: Spread = Spread::new(3.0, 2.0, 2.0, 2.0);

pub fn glide_knee(by: ModelKind, view: View) -> Shift {
    let straighter_deg = match by {
        ModelKind::Heavy => STRAIGHTER_DEG - HEAVY_DEEPER_DEG,
        ModelKind::Full | ModelKind::Lite => STRAIGHTER_DEG,
    };
    Shift {
        add: -straighter_deg,
        doubt: match view {
            View::Oblique => KNEE_OBLIQUE,
            View::Side | View::Front | View::Rear => KNEE,
        },
    }
}

/// Not known on people.
pub const KNEES_TOGETHER_DEG: f64 = 0.0;

/// Of straight legs on people nothing is published; the scatter of a squat's
/// knee, 6.4 (Cosoli, Arnesano, Scalise 2026), and 3 for a skate whose distance to the side is
/// taken to be the one behind (45 degrees: what many curricula teach) and not
/// known.
pub const EXTENSION: Shift = Shift {
    add: 0.0,
    doubt: Doubt::new(5.5, 5.0),
};
/// As the knee's; moving: a skate whose distance to the side is not known, as above.
pub const EXTENSION_SPREAD: Spread = Spread::new(3.0, 3.0, 2.0, 2.0);
/// A straight leg: geometry. What is read above is the points' error.
pub const STRAIGHTEST_DEG: f64 = 180.0;

/// Hip joints are 0.050 of stature beside the middle (Harrington 2007 at a pelvis
/// 24 cm wide and 1.75 m of stature; from memory). On one skate the ankle is between
/// straight under the hip and under the body's middle: half way, and the knee
/// between.
pub const GLIDE_ASIDE_SHARE: [f64; 3] = [0.050, 0.0375, 0.025];
pub const HALF_HIPS_SHARE: f64 = 0.050;

/// On the person of `tests/people` the hip points lie 0.5 to 1.0 % of stature
/// behind the joints, not in front; one person says nothing of others.
pub const HIPS_FORWARD_SHARE: f64 = 0.0;
/// 5 degrees, and the 3.2 degrees that rendered bodies would need.
pub const TRUNK: Doubt = Doubt::new(5.5, 2.5);

/// Between persons as much as gear does to the knee, from hold to hold as the angle of a
/// limb that stands; moving: the trunk sways in a stride. The reference: an inclinometer's
/// least difference that counts is 6 degrees at the knee, 2.2 for one reading (the same
/// source), and a pole along the back lies on clothes, half of it the same in all holds. (Proposals but
/// for the source.)
pub const TRUNK_SPREAD: Spread = Spread::new(3.0, 2.0, 2.0, 1.5);

/// The doubt of rendered bodies, and what these would need, 1.1 cm from the front and 2.65
/// from the rear. What a lane's scale is off is not in it: that follows from the lane.
const GAP_FRONT: Doubt = Doubt::new(0.0163, 0.012);
const GAP_REAR: Doubt = Doubt::new(0.0291, 0.012);
/// What a scale set up by hand may be off, about 5 % of the stance: a check with persons
/// meets it, and takes it off.
pub const GAP_BY_SCALE_M: f64 = 0.0132;

pub fn heel_gap(view: View) -> Shift {
    Shift {
        add: 0.0,
        doubt: match view {
            View::Rear => GAP_REAR,
            View::Front | View::Side | View::Oblique => GAP_FRONT,
        },
    }
}

/// Boots differ by as much as the points on them, feet that pass each other are read
/// otherwise than feet that stand, a hold is read to 3 mm, a puck between two boots is
/// off by a millimetre (proposals).
pub const GAP_SPREAD: Spread = Spread::new(0.008, 0.008, 0.003, 0.001);

/// Which heel is ahead as the feet close is not known on people: so far, either
/// way (a proposal). It counts where the camera stands beside the lane.
pub const HEEL_AHEAD_DOUBT_SHARE: f64 = 0.10;

/// A hand is where it is read; so much of the distance by which it is short is
/// doubted.
pub const SHORT_HAND_DOUBT: f64 = 0.5;
/// Nothing is published of hands in gloves before the body (a proposal).
pub const HAND: Doubt = Doubt::new(0.04, 0.03);

/// The length of a foot (Drillis and Contini 1966, from memory).
pub const FOOT_SHARE: f64 = 0.152;
/// No published accuracy of the model's foot points was found (a proposal).
pub const TOE_OUT: Doubt = Doubt::new(11.0, 8.0);

/// Not known on people: the skate leaves the ice when the leg is straightest.
pub const STRAIGHT_BEFORE_TOE_OFF_CYCLES: f64 = 0.0;

/// How much the pushes of real skaters differ was not measured: a push is shown as it
/// was read.
pub const TOWARD_MEAN: f64 = 0.0;
