//! What is drawn of a push: the body's lines, and what the rules draw their marks
//! with.

use crate::body::BodyPoint as P;
use crate::stride::{Curves, Leg, leg_points};

/// The body's lines from joint to joint.
pub const BONES: [(P, P); 14] = [
    (P::LeftShoulder, P::RightShoulder),
    (P::LeftHip, P::RightHip),
    (P::LeftShoulder, P::LeftHip),
    (P::RightShoulder, P::RightHip),
    (P::LeftShoulder, P::LeftElbow),
    (P::LeftElbow, P::LeftWrist),
    (P::RightShoulder, P::RightElbow),
    (P::RightElbow, P::RightWrist),
    (P::LeftHip, P::LeftKnee),
    (P::LeftKnee, P::LeftAnkle),
    (P::LeftAnkle, P::LeftToe),
    (P::RightHip, P::RightKnee),
    (P::RightKnee, P::RightAnkle),
    (P::RightAnkle, P::RightToe),
];

/// A body point at a sample of the curves, pixels of the frame.
pub(super) fn at(curves: &Curves, i: usize, point: P) -> [f64; 2] {
    curves.points[i][point as usize]
}

/// The middle of two body points.
pub(super) fn middle(curves: &Curves, i: usize, a: P, b: P) -> [f64; 2] {
    curves.mid(i, a as usize, b as usize)
}

/// Hip, knee and ankle of a leg.
pub(super) fn limb(curves: &Curves, i: usize, leg: Leg) -> Vec<[f64; 2]> {
    let joints = leg_points(leg);
    [joints.hip, joints.knee, joints.ankle]
        .map(|p| curves.points[i][p])
        .to_vec()
}
