//! What is drawn of a push: the body's lines, and the points a rule measures.

use super::RuleId;
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

/// The points a rule measures on a leg at a sample of the curves, pixels of
/// the frame, in their order along the body: two, or three about a joint.
pub fn mark_points(curves: &Curves, i: usize, rule: RuleId, leg: Leg) -> Vec<[f64; 2]> {
    let points = &curves.points[i];
    let at = |p: P| points[p as usize];
    let mid = |a: P, b: P| curves.mid(i, a as usize, b as usize);
    let joints = leg_points(leg);
    let shoulders = mid(P::LeftShoulder, P::RightShoulder);
    let hips = mid(P::LeftHip, P::RightHip);
    match rule {
        RuleId::KneeBend | RuleId::Extension => [joints.hip, joints.knee, joints.ankle]
            .map(|p| points[p])
            .to_vec(),
        RuleId::TrunkLean => vec![[hips[0], shoulders[1]], hips, shoulders],
        RuleId::RecoveryGap => vec![at(P::LeftHeel), at(P::RightHeel)],
        RuleId::ToeDirection => vec![points[joints.heel], points[joints.toe]],
        RuleId::ArmCrossover => vec![
            shoulders,
            at(match leg {
                Leg::Left => P::LeftWrist,
                Leg::Right => P::RightWrist,
            }),
        ],
    }
}
