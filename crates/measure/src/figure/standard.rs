//! The drawn standard skater: where the points of a pass are too poor.
//!
//! Lengths are shares of stature after Drillis and Contini 1966 (thigh, shank and
//! upper arm second-hand, the others from memory); a skate lifts the ankle. The
//! stances are this project's own drawing of common practice.

use super::order::Order;
use super::stance::{
    FigureView, JOINTS, Joint, Limb, Stance, arm_of, foot_of, leg_of, plus, scaled,
};
use crate::stride::Leg;

pub(super) const THIGH: f64 = 0.245;
pub(super) const SHANK: f64 = 0.246;
pub(super) const TRUNK: f64 = 0.288;
pub(super) const UPPER_ARM: f64 = 0.186;
pub(super) const FOREARM: f64 = 0.16;
/// The ankle above the ice, on a skate.
pub(super) const ANKLE: f64 = 0.095;
/// Middle of the shoulders to the middle of the head.
pub(super) const NECK: f64 = 0.165;
/// From the ankle to heel and toe of the boot, ahead and up.
const HEEL: [f64; 2] = [-0.042, -0.045];
const TOE: [f64; 2] = [0.108, -0.05];

impl Stance {
    /// A standard skater for an order, as seen from there.
    pub fn standard(order: Order, view: FigureView, leg: Leg, stature_m: f64) -> Stance {
        let mut s = Stance {
            view,
            leg,
            stature_m,
            at: [[0.0; 2]; JOINTS],
            measured: false,
        };
        match view {
            FigureView::Side { .. } => side(&mut s, order),
            FigureView::Front | FigureView::Rear => front(&mut s, order),
        }
        for at in &mut s.at {
            *at = scaled(*at, stature_m);
        }
        s
    }

    /// The view a rule's standard skater is drawn from where the camera's own is
    /// not known.
    pub fn usual_view(order: Order) -> FigureView {
        match order {
            Order::HeelsTouch => FigureView::Rear,
            Order::ArmsAhead | Order::ToeOut => FigureView::Front,
            _ => FigureView::Side { rightward: true },
        }
    }
}

/// From the hip or shoulder by two bones, each with its direction in degrees from
/// straight down, positive ahead.
fn chain(s: &mut Stance, limb: Limb, root: [f64; 2], bones: [(f64, f64); 2], facing: f64) {
    let step = |(long, deg): (f64, f64)| {
        let (sin, cos) = deg.to_radians().sin_cos();
        [long * sin * facing, -long * cos]
    };
    let middle = plus(root, step(bones[0]));
    s.set(limb.root, root);
    s.set(limb.middle, middle);
    s.set(limb.end, plus(middle, step(bones[1])));
}

fn side(s: &mut Stance, order: Order) {
    let f = s.view.facing();
    // Who glides on the bent leg is about to push with it.
    let (stands, free) = match order {
        Order::BendKnees => (s.leg, s.leg.other()),
        _ => (s.leg.other(), s.leg),
    };
    // Standing leg: the knee over the toes, 107 degrees.
    let (thigh_deg, shank_deg) = (52.0, -21.0);
    let hip_y =
        ANKLE + THIGH * f64::to_radians(thigh_deg).cos() + SHANK * f64::to_radians(shank_deg).cos();
    let hip = [0.0, hip_y];
    chain(
        s,
        leg_of(stands),
        hip,
        [(THIGH, thigh_deg), (SHANK, shank_deg)],
        f,
    );
    // What is shown of a trunk stands close together, so that it is large.
    let back = match order {
        Order::ChestAhead | Order::ChestUp => [(THIGH, 14.0), (SHANK, -52.0)],
        _ => [(THIGH, -26.0), (SHANK, -50.0)],
    };
    chain(s, leg_of(free), hip, back, f);
    for leg in Leg::BOTH {
        let ankle = s.joint(leg_of(leg).end);
        let (heel, toe) = foot_of(leg);
        // The free foot points down and back a little.
        let deg: f64 = if leg == stands { 0.0 } else { -24.0 };
        let (sin, cos) = deg.to_radians().sin_cos();
        for (joint, [x, y]) in [(heel, HEEL), (toe, TOE)] {
            s.set(
                joint,
                plus(ankle, [(x * cos - y * sin) * f, x * sin + y * cos]),
            );
        }
    }
    let lean: f64 = 44.0;
    let up = [lean.to_radians().sin() * f, lean.to_radians().cos()];
    let shoulder = plus(hip, scaled(up, TRUNK));
    // The arm of the pushing side swings forward, the other one back.
    chain(
        s,
        arm_of(free),
        shoulder,
        [(UPPER_ARM, 28.0), (FOREARM, 78.0)],
        f,
    );
    chain(
        s,
        arm_of(stands),
        shoulder,
        [(UPPER_ARM, -66.0), (FOREARM, -28.0)],
        f,
    );
    // The head looks ahead.
    let (sin, cos) = f64::to_radians(lean - 14.0).sin_cos();
    s.set(Joint::Head, plus(shoulder, [NECK * sin * f, NECK * cos]));
}

fn front(s: &mut Stance, order: Order) {
    let leg = s.leg;
    let (out, other) = (s.outward(leg), s.outward(leg.other()));
    let hip_y = 0.47;
    for side in Leg::BOTH {
        let o = s.outward(side);
        s.set(leg_of(side).root, [0.055 * o, hip_y]);
        s.set(arm_of(side).root, [0.125 * o, 0.70]);
    }
    // The leg that stands is under the middle; the other one comes back to it
    // (heels) or stands far out at the end of its push.
    let stands = leg_of(leg.other());
    s.set(stands.middle, [0.085 * other, 0.285]);
    s.set(stands.end, [0.035 * other, ANKLE]);
    let meant = leg_of(leg);
    if order == Order::HeelsTouch {
        s.set(meant.middle, [0.10 * out, 0.29]);
        s.set(meant.end, [0.075 * out, ANKLE + 0.012]);
    } else {
        s.set(meant.middle, [0.19 * out, 0.30]);
        s.set(meant.end, [0.33 * out, ANKLE + 0.005]);
    }
    for side in Leg::BOTH {
        let ankle = s.joint(leg_of(side).end);
        let o = s.outward(side);
        let (heel, toe) = foot_of(side);
        let ahead = if s.view == FigureView::Rear {
            1.0
        } else {
            -1.0
        };
        s.set(heel, plus(ankle, [0.0, -0.05]));
        s.set(toe, plus(ankle, [0.02 * o, -0.05 + 0.06 * ahead]));
    }
    // The arm of the pushing side is at the front of its swing.
    let (front, back) = (arm_of(leg), arm_of(leg.other()));
    s.set(front.middle, [0.19 * out, 0.565]);
    s.set(front.end, [0.06 * out, 0.53]);
    s.set(back.middle, [0.25 * other, 0.61]);
    s.set(back.end, [0.33 * other, 0.52]);
    s.set(Joint::Head, [0.0, 0.83]);
}
