//! A body at one instant, as it is drawn.

use super::order::Order;
use crate::stride::Leg;

/// The joints of a drawn body. Left and right are the skater's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(usize)]
#[allow(missing_docs, reason = "the names are the documentation")]
pub enum Joint {
    Head,
    LeftShoulder,
    RightShoulder,
    LeftElbow,
    RightElbow,
    LeftWrist,
    RightWrist,
    LeftHip,
    RightHip,
    LeftKnee,
    RightKnee,
    LeftAnkle,
    RightAnkle,
    LeftHeel,
    RightHeel,
    LeftToe,
    RightToe,
}

/// Number of joints.
pub const JOINTS: usize = 17;

/// From where a body is seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FigureView {
    /// From the side; the flag says that the skater goes to the right of the
    /// picture.
    Side {
        /// Goes to the right.
        rightward: bool,
    },
    /// From ahead.
    Front,
    /// From behind.
    Rear,
}

impl FigureView {
    /// +1 where the skater goes to the right of the picture, else -1. From ahead
    /// and from behind: +1 where the skater's left is on the right.
    pub fn facing(self) -> f64 {
        match self {
            FigureView::Side { rightward: true } | FigureView::Front => 1.0,
            FigureView::Side { rightward: false } | FigureView::Rear => -1.0,
        }
    }

    /// Whether it is from the side.
    pub fn is_side(self) -> bool {
        matches!(self, FigureView::Side { .. })
    }
}

/// A body at one instant: its joints in the plane of the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Stance {
    /// From where it is seen.
    pub view: FigureView,
    /// The leg (or the side of the arm) that is meant.
    pub leg: Leg,
    /// Height of the skater without skates, metres.
    pub stature_m: f64,
    /// The joints, metres: to the right, up from the ice.
    pub at: [[f64; 2]; JOINTS],
    pub(super) measured: bool,
}

/// The joints of a leg or an arm, from the body outward.
#[derive(Debug, Clone, Copy)]
pub(super) struct Limb {
    pub(super) root: Joint,
    pub(super) middle: Joint,
    pub(super) end: Joint,
}

pub(super) fn leg_of(leg: Leg) -> Limb {
    match leg {
        Leg::Left => Limb {
            root: Joint::LeftHip,
            middle: Joint::LeftKnee,
            end: Joint::LeftAnkle,
        },
        Leg::Right => Limb {
            root: Joint::RightHip,
            middle: Joint::RightKnee,
            end: Joint::RightAnkle,
        },
    }
}

pub(super) fn arm_of(leg: Leg) -> Limb {
    match leg {
        Leg::Left => Limb {
            root: Joint::LeftShoulder,
            middle: Joint::LeftElbow,
            end: Joint::LeftWrist,
        },
        Leg::Right => Limb {
            root: Joint::RightShoulder,
            middle: Joint::RightElbow,
            end: Joint::RightWrist,
        },
    }
}

/// Heel and toe of a side.
pub(super) fn foot_of(leg: Leg) -> (Joint, Joint) {
    match leg {
        Leg::Left => (Joint::LeftHeel, Joint::LeftToe),
        Leg::Right => (Joint::RightHeel, Joint::RightToe),
    }
}

impl Stance {
    /// Whether it was drawn from measured points, and is no standard skater.
    pub fn is_measured(&self) -> bool {
        self.measured
    }

    /// Where a joint is, metres.
    pub fn joint(&self, joint: Joint) -> [f64; 2] {
        self.at[joint as usize]
    }

    pub(super) fn set(&mut self, joint: Joint, at: [f64; 2]) {
        self.at[joint as usize] = at;
    }

    pub(super) fn shift(&mut self, joint: Joint, by: [f64; 2]) {
        let at = &mut self.at[joint as usize];
        *at = [at[0] + by[0], at[1] + by[1]];
    }

    /// The middle of two joints.
    pub fn middle(&self, a: Joint, b: Joint) -> [f64; 2] {
        let (a, b) = (self.joint(a), self.joint(b));
        [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0]
    }

    /// The middle of the hips.
    pub fn hips(&self) -> [f64; 2] {
        self.middle(Joint::LeftHip, Joint::RightHip)
    }

    /// The middle of the shoulders.
    pub fn shoulders(&self) -> [f64; 2] {
        self.middle(Joint::LeftShoulder, Joint::RightShoulder)
    }

    /// A skater who stands facing the reader with both arms up, the stick in one
    /// hand: for praise.
    pub fn cheering(stature_m: f64) -> Stance {
        let mut s = Stance::standard(Order::ArmsAhead, FigureView::Front, Leg::Left, 1.0);
        for leg in Leg::BOTH {
            let o = s.outward(leg);
            let (limb, (heel, toe)) = (leg_of(leg), foot_of(leg));
            s.set(limb.root, [0.055 * o, 0.50]);
            s.set(limb.middle, [0.10 * o, 0.31]);
            s.set(limb.end, [0.125 * o, 0.095]);
            s.set(heel, [0.125 * o, 0.045]);
            s.set(toe, [0.14 * o, 0.02]);
            let arm = arm_of(leg);
            s.set(arm.root, [0.125 * o, 0.77]);
            s.set(arm.middle, [0.255 * o, 0.86]);
            s.set(arm.end, [0.245 * o, 1.02]);
        }
        s.set(Joint::Head, [0.0, 0.905]);
        for at in &mut s.at {
            *at = scaled(*at, stature_m);
        }
        s.stature_m = stature_m;
        s
    }

    /// This stance on its way to another one of the same skater: 0 is this one, 1
    /// the other. For drawings only: bones change their lengths on the way.
    pub fn toward(&self, other: &Stance, share: f64) -> Stance {
        let mut s = self.clone();
        for (at, to) in s.at.iter_mut().zip(other.at) {
            *at = [0, 1].map(|i| at[i] + (to[i] - at[i]) * share);
        }
        s
    }

    /// A skater who stands facing the reader, ready to go.
    pub fn ready(stature_m: f64) -> Stance {
        let mut s = Stance::cheering(1.0);
        for leg in Leg::BOTH {
            let (o, arm) = (s.outward(leg), arm_of(leg));
            s.set(arm.middle, [0.22 * o, 0.62]);
            s.set(arm.end, [0.27 * o, 0.49]);
        }
        for at in &mut s.at {
            *at = scaled(*at, stature_m);
        }
        s.stature_m = stature_m;
        s
    }

    /// The side nearer to the reader; `None` where neither is.
    pub fn near(&self) -> Option<Leg> {
        match self.view {
            // Who goes to the right turns her right side to the camera.
            FigureView::Side { rightward: true } => Some(Leg::Right),
            FigureView::Side { rightward: false } => Some(Leg::Left),
            FigureView::Front | FigureView::Rear => None,
        }
    }

    /// +1 where a side is on the right of the picture, else -1; from ahead and
    /// from behind.
    pub(super) fn outward(&self, leg: Leg) -> f64 {
        self.view.facing() * leg.leftward()
    }
}

pub(super) fn minus(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] - b[0], a[1] - b[1]]
}

pub(super) fn plus(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] + b[0], a[1] + b[1]]
}

pub(super) fn length(v: [f64; 2]) -> f64 {
    v[0].hypot(v[1])
}

pub(super) fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    length(minus(a, b))
}

pub(super) fn scaled(v: [f64; 2], by: f64) -> [f64; 2] {
    [v[0] * by, v[1] * by]
}
