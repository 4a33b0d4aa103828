//! Reads a body to draw out of the motion of a pass.

use super::order::Order;
use super::stance::{FigureView, JOINTS, Joint, Stance, apart, arm_of, foot_of, leg_of};
use super::standard;
use super::{moves, stance::minus, stance::plus};
use crate::body::BodyPoint as P;
use crate::config::View;
use crate::stride::{Leg, PassMotion, Push};

/// Which body point is which joint; the head is the middle of the ears.
const POINTS: [(Joint, P); 16] = [
    (Joint::LeftShoulder, P::LeftShoulder),
    (Joint::RightShoulder, P::RightShoulder),
    (Joint::LeftElbow, P::LeftElbow),
    (Joint::RightElbow, P::RightElbow),
    (Joint::LeftWrist, P::LeftWrist),
    (Joint::RightWrist, P::RightWrist),
    (Joint::LeftHip, P::LeftHip),
    (Joint::RightHip, P::RightHip),
    (Joint::LeftKnee, P::LeftKnee),
    (Joint::RightKnee, P::RightKnee),
    (Joint::LeftAnkle, P::LeftAnkle),
    (Joint::RightAnkle, P::RightAnkle),
    (Joint::LeftHeel, P::LeftHeel),
    (Joint::RightHeel, P::RightHeel),
    (Joint::LeftToe, P::LeftToe),
    (Joint::RightToe, P::RightToe),
];

/// What the points may show beside the measured value before they are not drawn:
/// shares of the order's least difference that is drawn.
const ASTRAY: f64 = 1.2;

impl Stance {
    /// The body at the instant an order's quantity was measured in a push; a
    /// standard skater where its points are too poor to be drawn. `value` is the
    /// measured value, in the unit of the order's rule.
    pub fn of_push(motion: &PassMotion, push: &Push, order: Order, value: f64) -> Stance {
        let view = view_of(motion);
        let stature_m = motion.lane.skater_height_m;
        let standard = Stance::standard(order, view, push.leg, stature_m);
        match read(motion, push, order, view) {
            Some(mut stance) => {
                mend(&mut stance, &standard, order);
                if is_plausible(&stance, order, value) {
                    stance
                } else {
                    standard
                }
            }
            None => standard,
        }
    }
}

/// From where the motion was seen. What is seen at an angle is drawn from the
/// side.
fn view_of(motion: &PassMotion) -> FigureView {
    match motion.lane.view {
        View::Front => FigureView::Front,
        View::Rear => FigureView::Rear,
        View::Side | View::Oblique => {
            let [right, _, _] = motion.camera.axes();
            let [x, y] = motion.place.heading;
            FigureView::Side {
                rightward: right[0] * x + right[1] * y >= 0.0,
            }
        }
    }
}

fn read(motion: &PassMotion, push: &Push, order: Order, view: FigureView) -> Option<Stance> {
    let curves = &motion.curves;
    if curves.is_empty() {
        return None;
    }
    let i = curves.index_at((order.rule().rule().shown_at_s)(motion, push));
    let (points, &m_per_px) = (curves.points.get(i)?, motion.place.metres_per_px.get(i)?);
    if !curves.seen[i] || !curves.legs_in_frame[i] || curves.legs_hidden[i] {
        return None;
    }
    let hips = curves.mid(i, P::LeftHip as usize, P::RightHip as usize);
    let place = |p: [f64; 2]| [(p[0] - hips[0]) * m_per_px, (hips[1] - p[1]) * m_per_px];
    let mut stance = Stance {
        view,
        leg: push.leg,
        stature_m: motion.lane.skater_height_m,
        at: [[0.0; 2]; JOINTS],
        measured: true,
    };
    for (joint, point) in POINTS {
        stance.set(joint, place(points[point as usize]));
    }
    stance.set(
        Joint::Head,
        place(curves.mid(i, P::LeftEar as usize, P::RightEar as usize)),
    );
    // The lower skate stands on the ice.
    let lowest = Leg::BOTH
        .map(|leg| stance.joint(leg_of(leg).end)[1])
        .into_iter()
        .fold(f64::INFINITY, f64::min);
    for at in &mut stance.at {
        at[1] += standard::ANKLE * stance.stature_m - lowest;
    }
    stance
        .at
        .iter()
        .flatten()
        .all(|v| v.is_finite())
        .then_some(stance)
}

/// Gives a limb that cannot be one, and that nothing is said of, the standard
/// skater's shape: the far arm is often invented.
fn mend(s: &mut Stance, standard: &Stance, order: Order) {
    let h = s.stature_m;
    let side = s.view.is_side();
    let fits =
        |long: f64, share: f64, least: f64| (least * share * h..=1.4 * share * h).contains(&long);
    for leg in Leg::BOTH {
        let meant = leg == s.leg;
        let arm = arm_of(leg);
        let [upper, lower] = moves::bones(s, arm);
        let arm_fits =
            fits(upper, standard::UPPER_ARM, 0.3) && fits(lower, standard::FOREARM, 0.25);
        if !(arm_fits || meant && order == Order::ArmsAhead) {
            hang(s, standard, arm.root, &[arm.middle, arm.end]);
        }
        let limb = leg_of(leg);
        let (heel, toe) = foot_of(leg);
        let [thigh, shank] = moves::bones(s, limb);
        let least = if side { 0.6 } else { 0.3 };
        if !(meant || fits(thigh, standard::THIGH, least) && fits(shank, standard::SHANK, least)) {
            hang(s, standard, limb.root, &[limb.middle, limb.end, heel, toe]);
        }
        let foot = apart(s.joint(heel), s.joint(toe));
        if side && !(0.5 * 0.15 * h..=1.6 * 0.15 * h).contains(&foot) {
            hang(s, standard, limb.end, &[heel, toe]);
        }
    }
    let neck = apart(s.joint(Joint::Head), s.shoulders());
    if !fits(neck, standard::NECK, 0.45) {
        let off = minus(standard.joint(Joint::Head), standard.shoulders());
        s.set(Joint::Head, plus(s.shoulders(), off));
    }
}

fn hang(s: &mut Stance, standard: &Stance, root: Joint, joints: &[Joint]) {
    let from = s.joint(root);
    for &joint in joints {
        let off = minus(standard.joint(joint), standard.joint(root));
        s.set(joint, plus(from, off));
    }
}

/// Whether the body can be one, and shows about what was measured.
fn is_plausible(s: &Stance, order: Order, value: f64) -> bool {
    let h = s.stature_m;
    let [thigh, shank] = moves::bones(s, leg_of(s.leg));
    let least = if s.view.is_side() { 0.6 } else { 0.3 };
    let fits = |long: f64, share: f64| (least * share * h..=1.45 * share * h).contains(&long);
    let trunk = apart(s.shoulders(), s.hips());
    let upright = s.joint(Joint::Head)[1] > s.hips()[1];
    let high = s.hips()[1] / h;
    let shows = moves::shown(s, order);
    // The toes are read too badly to be compared.
    let near = order == Order::ToeOut
        || !value.is_finite()
        || (shows - value).abs() <= ASTRAY * order.least_shown(h);
    fits(thigh, standard::THIGH)
        && fits(shank, standard::SHANK)
        && (0.5 * standard::TRUNK * h..=1.4 * standard::TRUNK * h).contains(&trunk)
        && upright
        && (0.25..=0.75).contains(&high)
        && near
}
