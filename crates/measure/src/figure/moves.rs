//! Moves a body so that the quantity of an order has a given value. No bone
//! changes its length; feet that stand on the ice stay there.

use super::order::Order;
use super::stance::{
    FigureView, Joint, Limb, Stance, apart, arm_of, foot_of, leg_of, length, minus, plus, scaled,
};
use crate::stride::Leg;

/// Width of an adult's boot at the heel, metres, at a stature of 1.78 m: as the
/// rule of the heels takes it off. A set-up value: common practice, no source.
const BOOT_WIDTH_M: f64 = 0.075;
/// From above, as the toes of a skater seen from ahead are drawn: degrees.
const LOOKED_DOWN_DEG: f64 = 35.0;
/// What of the body's weight is drawn with the shoulders; the rest is with the
/// hips. Half of the mass of a body is above its hips (common practice, no
/// source), and its middle lies below the shoulders.
const WEIGHT_AT_SHOULDERS: f64 = 0.4;

/// The stance with the quantity of the order at `value`.
pub(super) fn moved(stance: &Stance, order: Order, value: f64) -> Stance {
    let mut s = stance.clone();
    match order {
        Order::BendKnees => bend_knee(&mut s, value),
        Order::PushLong => push_out(&mut s, value),
        Order::HeelsTouch => bring_heels(&mut s, value),
        Order::ArmsAhead => swing_arm(&mut s, value),
        Order::ChestAhead | Order::ChestUp => lean(&mut s, value),
        Order::ToeOut => turn_toe(&mut s, value),
    }
    s
}

/// What the drawn body shows of an order's quantity, in the unit of its rule:
/// read back from the joints as they are drawn.
pub(super) fn shown(s: &Stance, order: Order) -> f64 {
    match order {
        Order::BendKnees | Order::PushLong => {
            let leg = leg_of(s.leg);
            crate::geometry::included_deg(s.joint(leg.root), s.joint(leg.middle), s.joint(leg.end))
                .unwrap_or(f64::NAN)
        }
        Order::HeelsTouch => {
            let across = s.joint(Joint::LeftHeel)[0] - s.joint(Joint::RightHeel)[0];
            across.abs() - boot_m(s)
        }
        Order::ArmsAhead => {
            let wrist = s.joint(arm_of(s.leg).end)[0] - s.shoulders()[0];
            -wrist * s.outward(s.leg)
        }
        Order::ChestAhead | Order::ChestUp => {
            let trunk = minus(s.shoulders(), s.hips());
            (trunk[0] * s.view.facing()).atan2(trunk[1]).to_degrees()
        }
        Order::ToeOut => {
            let (heel, toe) = foot_of(s.leg);
            let foot = minus(s.joint(toe), s.joint(heel));
            let down = LOOKED_DOWN_DEG.to_radians().sin();
            let ahead = match s.view {
                FigureView::Rear => foot[1] / down,
                _ => -foot[1] / down,
            };
            (foot[0] * s.outward(s.leg)).atan2(ahead).to_degrees()
        }
    }
}

fn boot_m(s: &Stance) -> f64 {
    BOOT_WIDTH_M * s.stature_m / 1.78
}

/// The knee of the leg that stands: its skate stays, the hips come down (or up),
/// the trunk goes with them and the weight stays over the skate.
fn bend_knee(s: &mut Stance, deg: f64) {
    let leg = leg_of(s.leg);
    let [hip, knee, ankle] = [leg.root, leg.middle, leg.end].map(|j| s.joint(j));
    let reach = reach_at(apart(hip, knee), apart(knee, ankle), deg);
    // Where the weight is to stay: where it is, but within the skate.
    let at_shoulders = WEIGHT_AT_SHOULDERS * (s.shoulders()[0] - hip[0]);
    let (back, front) = (-0.05 * s.stature_m, 0.09 * s.stature_m);
    let facing = s.view.facing();
    let weight = ((hip[0] + at_shoulders - ankle[0]) * facing).clamp(back, front) * facing;
    let hip_x = (weight - at_shoulders).clamp(-0.75 * reach, 0.75 * reach);
    let to = plus(ankle, [hip_x, (reach * reach - hip_x * hip_x).sqrt()]);
    let bones = bones(s, leg);
    carry(s, minus(to, hip), Some(s.leg));
    reach_for(s, leg, bones, ankle, facing);
}

/// Moves the hips, the trunk and all that hangs on it. Legs follow with their
/// feet where they are, but for the one that is `fixed` by the caller.
fn carry(s: &mut Stance, by: [f64; 2], fixed: Option<Leg>) {
    let feet = Leg::BOTH.map(|leg| s.joint(leg_of(leg).end));
    for joint in [
        Joint::Head,
        Joint::LeftShoulder,
        Joint::RightShoulder,
        Joint::LeftElbow,
        Joint::RightElbow,
        Joint::LeftWrist,
        Joint::RightWrist,
    ] {
        s.shift(joint, by);
    }
    for (leg, foot) in Leg::BOTH.into_iter().zip(feet) {
        let limb = leg_of(leg);
        let bend = bend_side(s, limb);
        let bones = bones(s, limb);
        s.shift(limb.root, by);
        if Some(leg) == fixed {
            continue;
        }
        reach_for(s, limb, bones, foot, bend);
        let off = minus(s.joint(limb.end), foot);
        let (heel, toe) = foot_of(leg);
        s.shift(heel, off);
        s.shift(toe, off);
    }
}

/// The leg that pushes: hip and the other leg stay, the skate goes out along the
/// ice until the knee has its angle.
fn push_out(s: &mut Stance, deg: f64) {
    let leg = leg_of(s.leg);
    let [hip, knee, ankle] = [leg.root, leg.middle, leg.end].map(|j| s.joint(j));
    let reach = reach_at(apart(hip, knee), apart(knee, ankle), deg);
    let facing = s.view.facing();
    // Where the leg is too short to reach the ice, the hips come down.
    let lower = (hip[1] - ankle[1] - 0.97 * reach).max(0.0);
    let bones = bones(s, leg);
    carry(s, [0.0, -lower], Some(s.leg));
    let hip = s.joint(leg.root);
    let down = (hip[1] - ankle[1]).clamp(-0.97 * reach, 0.97 * reach);
    let aside = if ankle[0] >= hip[0] { 1.0 } else { -1.0 };
    let to = [
        hip[0] + aside * (reach * reach - down * down).sqrt(),
        hip[1] - down,
    ];
    let off = minus(to, ankle);
    let (heel, toe) = foot_of(s.leg);
    for joint in [heel, toe] {
        s.shift(joint, off);
    }
    let side = if s.view.is_side() { facing } else { -aside };
    reach_for(s, leg, bones, to, side);
}

/// The trunk turns about the hips; the hips go back by what the weight goes ahead,
/// over feet that stay.
fn lean(s: &mut Stance, deg: f64) {
    let hips = s.hips();
    let trunk = minus(s.shoulders(), hips);
    let (facing, size) = (s.view.facing(), length(trunk));
    let now = (trunk[0] * facing).atan2(trunk[1]);
    let (sin, cos) = ((deg.to_radians() - now) * facing).sin_cos();
    let before_x = s.shoulders()[0];
    for joint in [
        Joint::Head,
        Joint::LeftShoulder,
        Joint::RightShoulder,
        Joint::LeftElbow,
        Joint::RightElbow,
        Joint::LeftWrist,
        Joint::RightWrist,
    ] {
        let off = minus(s.joint(joint), hips);
        s.set(
            joint,
            plus(
                hips,
                [off[0] * cos + off[1] * sin, off[1] * cos - off[0] * sin],
            ),
        );
    }
    // Arms hang from the shoulders: they turn half as far.
    for leg in Leg::BOTH {
        let arm = arm_of(leg);
        let root = s.joint(arm.root);
        let (sin, cos) = (-0.5 * (deg.to_radians() - now) * facing).sin_cos();
        for joint in [arm.middle, arm.end] {
            let off = minus(s.joint(joint), root);
            s.set(
                joint,
                plus(
                    root,
                    [off[0] * cos + off[1] * sin, off[1] * cos - off[0] * sin],
                ),
            );
        }
    }
    let ahead = s.shoulders()[0] - before_x;
    let back = (-WEIGHT_AT_SHOULDERS * ahead).clamp(-0.25 * size, 0.25 * size);
    carry(s, [back, 0.0], None);
}

/// The foot that comes back moves beside the one that stands.
fn bring_heels(s: &mut Stance, gap_m: f64) {
    let other = s.leg.other();
    let (heel, toe) = foot_of(s.leg);
    let stands = s.joint(foot_of(other).0)[0];
    let is = s.joint(heel)[0] - stands;
    let side = if is.abs() > 1e-6 {
        is.signum()
    } else {
        s.outward(s.leg)
    };
    let off = [stands + side * (gap_m + boot_m(s)) - s.joint(heel)[0], 0.0];
    let limb = leg_of(s.leg);
    let foot = plus(s.joint(limb.end), off);
    let bones = bones(s, limb);
    let short = apart(s.joint(limb.root), foot) - 0.999 * (bones[0] + bones[1]);
    if short > 0.0 {
        // Out of reach of the leg: the hips come down and over.
        carry(s, [0.5 * off[0], 0.0], Some(s.leg));
        let hip = s.joint(limb.root);
        let most = 0.999 * (bones[0] + bones[1]);
        let aside = (foot[0] - hip[0]).clamp(-0.98 * most, 0.98 * most);
        let up = (most * most - aside * aside).sqrt();
        let lower = (foot[1] + up - hip[1]).min(0.0);
        carry(s, [foot[0] - aside - hip[0], lower], Some(s.leg));
    }
    let bend = s.outward(s.leg);
    reach_for(s, limb, bones, foot, bend);
    for joint in [heel, toe] {
        s.shift(joint, off);
    }
}

/// The hand goes across to its place beside the body's middle line.
fn swing_arm(s: &mut Stance, past_m: f64) {
    let arm = arm_of(s.leg);
    let bones = bones(s, arm);
    let outward = s.outward(s.leg);
    let x = s.shoulders()[0] - past_m * outward;
    let root = s.joint(arm.root);
    let most = 0.98 * (bones[0] + bones[1]);
    let least = 1.02 * (bones[0] - bones[1]).abs();
    let aside = (x - root[0]).abs();
    let wanted = (s.joint(arm.end)[1] - root[1]).abs();
    // As high as it was, or as high as the arm reaches at that distance.
    let highest = (most * most - aside * aside).max(0.0).sqrt();
    let lowest = (least * least - aside * aside).max(0.0).sqrt();
    let down = wanted.min(highest).max(lowest);
    reach_for(s, arm, bones, [x, root[1] - down], outward);
}

/// An arm long enough for both places of its hand. In the picture an arm that
/// swings toward the reader is foreshortened; swung across it is seen longer.
pub(super) fn long_enough(stance: &Stance, order: Order, values: [f64; 2]) -> Stance {
    let mut s = stance.clone();
    if order != Order::ArmsAhead {
        return s;
    }
    let arm = arm_of(s.leg);
    let root = s.joint(arm.root);
    let outward = s.outward(s.leg);
    let needed = values
        .map(|past_m| (s.shoulders()[0] - past_m * outward - root[0]).abs())
        .into_iter()
        .fold(0.0, f64::max);
    let has = bones(&s, arm);
    let share = 1.08 * needed / (has[0] + has[1]).max(1e-9);
    if share > 1.0 {
        let elbow = minus(s.joint(arm.middle), root);
        let hand = minus(s.joint(arm.end), s.joint(arm.middle));
        let elbow = plus(root, scaled(elbow, share));
        s.set(arm.middle, elbow);
        s.set(arm.end, plus(elbow, scaled(hand, share)));
    }
    s
}

/// The foot turns about its heel on the ice; the skate stays where it stands.
fn turn_toe(s: &mut Stance, deg: f64) {
    let (heel, toe) = foot_of(s.leg);
    let long = 0.155 * s.stature_m;
    let (sin, cos) = deg.to_radians().sin_cos();
    let down = LOOKED_DOWN_DEG.to_radians().sin();
    let ahead = match s.view {
        FigureView::Rear => 1.0,
        _ => -1.0,
    };
    let foot = [long * sin * s.outward(s.leg), ahead * long * cos * down];
    let ankle = s.joint(leg_of(s.leg).end);
    // A boot stands a quarter of its length behind the ankle.
    let back = plus(
        [ankle[0], ankle[1] - 0.05 * s.stature_m],
        scaled(foot, -0.25),
    );
    s.set(heel, back);
    s.set(toe, plus(back, foot));
}

/// Lengths of a limb's two bones as they are drawn.
pub(super) fn bones(s: &Stance, limb: Limb) -> [f64; 2] {
    let [root, middle, end] = [limb.root, limb.middle, limb.end].map(|j| s.joint(j));
    [apart(root, middle), apart(middle, end)]
}

/// How far the ends of two bones are apart at an included angle.
fn reach_at(a: f64, b: f64, deg: f64) -> f64 {
    (a * a + b * b - 2.0 * a * b * deg.to_radians().cos())
        .max(0.0)
        .sqrt()
}

/// Toward which side of the line from root to end the middle joint lies: +1 to
/// the right of the picture where the limb hangs down.
fn bend_side(s: &Stance, limb: Limb) -> f64 {
    if s.view.is_side() {
        return s.view.facing();
    }
    let [root, middle, end] = [limb.root, limb.middle, limb.end].map(|j| s.joint(j));
    let (line, off) = (minus(end, root), minus(middle, root));
    // Left of a line that goes down is to the right of the picture.
    let side = line[0] * off[1] - line[1] * off[0];
    if side.abs() < 1e-12 {
        1.0
    } else {
        side.signum()
    }
}

/// Brings the end of a limb to `to`, or as near as its bones reach, its middle
/// joint bent toward `bend`.
fn reach_for(s: &mut Stance, limb: Limb, [a, b]: [f64; 2], to: [f64; 2], bend: f64) {
    let root = s.joint(limb.root);
    let line = minus(to, root);
    let far = length(line).max(1e-9);
    let (least, most) = ((a - b).abs() + 1e-9, a + b - 1e-9);
    let d = far.clamp(least.min(most), most);
    let along = scaled(line, 1.0 / far);
    let end = plus(root, scaled(along, d));
    let x = (a * a - b * b + d * d) / (2.0 * d);
    let y = (a * a - x * x).max(0.0).sqrt();
    // The normal that points to the right of the picture for a limb that hangs.
    let normal = scaled([-along[1], along[0]], bend);
    s.set(
        limb.middle,
        plus(plus(root, scaled(along, x)), scaled(normal, y)),
    );
    s.set(limb.end, end);
}
