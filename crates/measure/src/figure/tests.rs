//! The figures against stick skaters of known stance, and against their own
//! promises.

use super::stance::{Limb, arm_of, leg_of};
use super::*;
use crate::config::View;
use crate::stride::synthetic::{Skater, lane};
use crate::stride::{Leg, PassMotion, cut};

fn views(order: Order) -> Vec<FigureView> {
    match order {
        Order::BendKnees | Order::PushLong | Order::ChestAhead | Order::ChestUp => vec![
            FigureView::Side { rightward: true },
            FigureView::Side { rightward: false },
        ],
        _ => vec![FigureView::Front, FigureView::Rear],
    }
}

/// Values a cue may carry, from just beyond the limit to far beyond it.
fn values(order: Order) -> Vec<(f64, f64)> {
    match order {
        Order::BendKnees => vec![
            (121.5, 115.0),
            (134.0, 115.0),
            (160.0, 115.0),
            (150.0, 135.0),
        ],
        Order::PushLong => vec![(152.0, 160.0), (128.0, 160.0), (140.0, 150.0)],
        Order::HeelsTouch => vec![(0.16, 0.12), (0.42, 0.065), (0.30, 0.13)],
        Order::ArmsAhead => vec![(0.04, 0.0), (0.25, 0.0), (0.12, -0.1)],
        Order::ChestAhead => vec![(21.0, 30.0), (2.0, 30.0), (14.0, 45.0)],
        Order::ChestUp => vec![(68.0, 60.0), (86.0, 60.0), (75.0, 50.0)],
        Order::ToeOut => vec![(8.0, 20.0), (-20.0, 20.0), (0.0, 45.0)],
    }
}

fn bone_lengths(s: &Stance) -> Vec<f64> {
    let mut out = Vec::new();
    for leg in Leg::BOTH {
        for limb in [leg_of(leg), arm_of(leg)] {
            let Limb { root, middle, end } = limb;
            out.push(distance(s.joint(root), s.joint(middle)));
            out.push(distance(s.joint(middle), s.joint(end)));
        }
    }
    out.push(distance(s.hips(), s.shoulders()));
    out.push(distance(s.shoulders(), s.joint(Joint::Head)));
    out.push(distance(s.joint(Joint::LeftHip), s.joint(Joint::RightHip)));
    out
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Checks a figure: the ghost within 2 degrees (or centimetres) of what it is to
/// show, the target within 1 of the limit, bones alike, feet on the ice.
fn check(figure: &Figure, value: f64, limit: f64, what: &str) {
    let order = figure.order;
    let (ghost, target) = (
        moves::shown(&figure.ghost, order),
        moves::shown(&figure.target, order),
    );
    let unit = if matches!(order, Order::HeelsTouch | Order::ArmsAhead) {
        0.01
    } else {
        1.0
    };
    assert!(
        (target - limit).abs() <= unit,
        "{what}: target {target} for {limit}"
    );
    if figure.exaggerated {
        let least = order.least_shown(figure.ghost.stature_m);
        assert!(
            ((ghost - target).abs() - least).abs() <= unit,
            "{what}: {ghost} {target}"
        );
        assert!(
            (value - limit).abs() < least,
            "{what}: exaggerated without need"
        );
    } else {
        assert!(
            (ghost - value).abs() <= 2.0 * unit,
            "{what}: ghost {ghost} for {value}"
        );
    }
    for (a, b) in bone_lengths(&figure.ghost)
        .iter()
        .zip(bone_lengths(&figure.target))
    {
        assert!((a - b).abs() < 1e-6, "{what}: a bone of {a} became {b}");
    }
    // The way between keeps them too.
    let half = figure.between(0.5);
    for (a, b) in bone_lengths(&half).iter().zip(bone_lengths(&figure.target)) {
        assert!(
            (a - b).abs() < 1e-6,
            "{what}: a bone of {b} was {a} on the way"
        );
    }
    let lowest = |s: &Stance| {
        Leg::BOTH
            .map(|leg| s.joint(leg_of(leg).end)[1])
            .into_iter()
            .fold(f64::INFINITY, f64::min)
    };
    let h = figure.ghost.stature_m;
    for s in [&figure.ghost, &figure.target] {
        let low = lowest(s) / h;
        assert!(
            (0.06..0.13).contains(&low),
            "{what}: the lower ankle is at {low}"
        );
        assert!(s.at.iter().flatten().all(|v| v.is_finite()), "{what}");
    }
}

#[test]
fn standard_skaters_show_what_they_are_to_show() {
    for order in Order::ALL {
        for view in views(order) {
            for leg in Leg::BOTH {
                for stature_m in [1.15, 1.40, 1.85] {
                    let stance = Stance::standard(order, view, leg, stature_m);
                    assert!(!stance.is_measured());
                    for (value, limit) in values(order) {
                        let figure = Figure::new(order, &stance, value, limit);
                        let what = format!("{order:?} {view:?} {leg:?} {stature_m} {value}");
                        check(&figure, value, limit, &what);
                    }
                }
            }
        }
    }
}

fn motion_of(view: View, skater: &Skater) -> PassMotion {
    let lane = lane(view, skater);
    cut(&skater.pass(&lane, 30.0), &lane)
}

/// The measured body of a stick skater of known stance: its own points are drawn,
/// and they are where the skater has them.
#[test]
fn a_measured_body_is_the_skaters_own() {
    for (order, view) in [
        (Order::BendKnees, View::Side),
        (Order::PushLong, View::Side),
        (Order::ChestAhead, View::Side),
        (Order::ChestUp, View::Side),
        (Order::HeelsTouch, View::Front),
        (Order::HeelsTouch, View::Rear),
        (Order::ArmsAhead, View::Front),
        (Order::ToeOut, View::Front),
    ] {
        let lean_deg = if order == Order::ChestUp { 66.0 } else { 40.0 };
        let skater = Skater {
            lean_deg,
            recovery_aside_m: 0.16,
            cross_m: 0.12,
            ..Skater::default()
        };
        let motion = motion_of(view, &skater);
        let mut seen = 0;
        for push in motion.pushes.iter().filter(|p| p.near_leg != Some(false)) {
            for (value, limit) in values(order) {
                let raw = Stance::of_push(&motion, push, order, f64::NAN);
                assert!(
                    raw.is_measured(),
                    "{order:?} from the {view:?} is drawn standard"
                );
                let figure = Figure::new(order, &raw, value, limit);
                check(
                    &figure,
                    value,
                    limit,
                    &format!("{order:?} {view:?} {value}"),
                );
                seen += 1;
            }
            // The trunk of the picture leans as the skater does: 1.2 m of camera
            // height and the filter take little off.
            if order == Order::ChestUp {
                let raw = Stance::of_push(&motion, push, order, lean_deg);
                let drawn = moves::shown(&raw, order);
                assert!((drawn - lean_deg).abs() < 3.0, "{drawn} for {lean_deg}");
            }
            if order == Order::BendKnees {
                let raw = Stance::of_push(&motion, push, order, f64::NAN);
                let truth = skater.knee_deg_over(push.leg, (0.0, 0.26), false);
                let drawn = moves::shown(&raw, order);
                assert!((drawn - truth).abs() < 6.0, "{drawn} for {truth}");
            }
        }
        assert!(seen > 0, "{order:?} from the {view:?}: no push");
    }
}

#[test]
fn points_that_cannot_be_a_body_give_a_standard_skater() {
    let skater = Skater::default();
    let mut motion = motion_of(View::Side, &skater);
    let push = motion
        .pushes
        .iter()
        .find(|p| p.near_leg == Some(true))
        .cloned()
        .unwrap();
    assert!(Stance::of_push(&motion, &push, Order::BendKnees, 112.0).is_measured());
    // What was measured and what the points show are two things.
    assert!(!Stance::of_push(&motion, &push, Order::BendKnees, 170.0).is_measured());
    let knee = leg_of(push.leg).middle;
    let point = if knee == Joint::LeftKnee { 25 } else { 26 };
    for row in &mut motion.curves.points {
        row[point][0] += 400.0;
    }
    let drawn = Stance::of_push(&motion, &push, Order::BendKnees, 112.0);
    assert!(!drawn.is_measured());
    let figure = Figure::new(Order::BendKnees, &drawn, f64::NAN, f64::NAN);
    assert!(figure.exaggerated && figure.target.at.iter().flatten().all(|v| v.is_finite()));
}

/// The least difference that is drawn is seen: at ten metres, on a screen 0.62 m
/// high of which the skater fills 0.7, some drawn joint moves by 11 minutes of arc.
#[test]
fn the_least_difference_is_seen_from_ten_metres() {
    for order in Order::ALL {
        for view in views(order) {
            let h = 1.4;
            let stance = Stance::standard(order, view, Leg::Right, h);
            let limit = order.standard_limit();
            let figure = Figure::new(order, &stance, limit, limit);
            assert!(figure.exaggerated);
            let moved = (0..JOINTS)
                .map(|j| distance(figure.ghost.at[j], figure.target.at[j]))
                .fold(0.0, f64::max);
            let all: Vec<Shape> = [&figure.ghost, &figure.target]
                .iter()
                .flat_map(|s| draw(s, Some(order)))
                .collect();
            let [_, bottom, _, top] = bounds(&all).unwrap();
            let on_glass_m = moved / (top - bottom) * 0.7 * 0.62;
            let arcmin = (on_glass_m / 10.0).atan().to_degrees() * 60.0;
            assert!(
                arcmin >= 11.0,
                "{order:?} {view:?}: {arcmin:.1} minutes of arc"
            );
        }
    }
}

#[test]
fn every_order_has_a_drawing_of_its_own() {
    for (i, &a) in Order::ALL.iter().enumerate() {
        let drawing = |order: Order| {
            let stance = Stance::standard(order, Stance::usual_view(order), Leg::Right, 1.5);
            let f = Figure::new(order, &stance, f64::NAN, f64::NAN);
            (draw(&f.ghost, None), draw(&f.target, Some(order)))
        };
        let signal = |shapes: &[Shape]| shapes.iter().filter(|s| s.ink == Ink::Signal).count();
        let (ghost, target) = drawing(a);
        assert!(signal(&ghost) == 0 && signal(&target) > 0, "{a:?}");
        for &b in &Order::ALL[..i] {
            assert_ne!(drawing(a), drawing(b), "{a:?} and {b:?}");
        }
    }
}

#[test]
fn shapes_of_a_skater_stand_on_the_ice() {
    for order in Order::ALL {
        let stance = Stance::standard(order, Stance::usual_view(order), Leg::Left, 1.0);
        let [left, bottom, right, top] = bounds(&draw(&stance, Some(order))).unwrap();
        // A toe that is drawn looked down upon reaches below the line of the ice.
        let below = if order == Order::ToeOut { 0.12 } else { 0.03 };
        assert!((-below..0.03).contains(&bottom), "{order:?}: {bottom}");
        assert!((0.6..1.1).contains(&top), "{order:?}: {top}");
        assert!((0.3..1.5).contains(&(right - left)), "{order:?}");
    }
}
