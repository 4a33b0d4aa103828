use proptest::prelude::*;

use super::synthetic::{Skater, lane};
use super::*;
use crate::body::{Landmark, POINTS};
use crate::config::View;
use crate::track::Sample;

/// Pushes of the skater seen whole in the pass, by leg, against what `cut`
/// finds: every one found, none invented, toe-off within a frame.
fn check(skater: &Skater, view: View, pass: &Pass) {
    let lane = lane(view, skater);
    let motion = cut(pass, &lane);
    let cycle_s = 1.0 / skater.cycles_hz;
    let (first, last) = (pass.started_at_s(), pass.ended_at_s());
    for leg in Leg::BOTH {
        let found: Vec<f64> = motion
            .pushes
            .iter()
            .filter(|p| p.leg == leg)
            .map(|p| p.toe_off_s)
            .collect();
        for t in skater.toe_offs_s(leg, first + 0.62 * cycle_s, last - 0.30 * cycle_s) {
            assert!(
                found.iter().any(|f| (f - t).abs() < 1.0 / 30.0),
                "{view:?} {leg:?} {t:.2} not in {found:.2?}"
            );
        }
        for f in &found {
            let near = skater
                .toe_offs_s(leg, first - 1.0, last + 1.0)
                .iter()
                .any(|t| (f - t).abs() < 2.0 / 30.0);
            assert!(near, "{view:?} {leg:?} {f:.2} is no toe-off");
        }
    }
}

#[test]
fn pushes_of_good_and_poor_strides_are_found_from_side_front_and_rear() {
    let good = Skater::default();
    let upright = Skater {
        knee_deg: 132.0,
        extension_deg: 152.0,
        ..good
    };
    let child = Skater {
        height_m: 1.3,
        speed_mps: 4.0,
        cycles_hz: 1.45,
        ..good
    };
    for skater in [good, upright, child] {
        for view in [View::Side, View::Front, View::Rear] {
            for fps in [30.0, 60.0] {
                check(&skater, view, &skater.pass(&lane(view, &skater), fps));
            }
        }
    }
}

#[test]
fn frames_that_were_dropped_do_not_move_the_toe_off() {
    let skater = Skater::default();
    for view in [View::Side, View::Front] {
        let mut pass = skater.pass(&lane(view, &skater), 30.0);
        let mut i = 0;
        pass.samples.retain(|_| {
            i += 1;
            i % 4 != 0
        });
        check(&skater, view, &pass);
    }
}

#[test]
fn the_events_of_a_push_come_in_order_and_the_near_leg_is_the_right_one() {
    let skater = Skater::default();
    let lane = lane(View::Side, &skater);
    let motion = cut(&skater.pass(&lane, 30.0), &lane);
    assert!(!motion.pushes.is_empty());
    for p in &motion.pushes {
        assert!(
            p.touchdown_s < p.push_start_s && p.push_start_s < p.toe_off_s,
            "{p:?}"
        );
        assert!(p.toe_off_s < p.recovery_s, "{p:?}");
        // left to right: the right leg is nearer to the camera
        assert_eq!(p.near_leg, Some(p.leg == Leg::Right));
    }
}

#[test]
fn somebody_who_stands_on_a_moving_carpet_makes_no_push() {
    let skater = Skater::default();
    let lane = lane(View::Side, &skater);
    let mut pass = skater.pass(&lane, 30.0);
    let still = pass.samples[0].clone();
    let step_px = 28.0;
    for (i, s) in pass.samples.iter_mut().enumerate() {
        s.points = still.points.map(|p| Landmark {
            x_px: p.x_px + step_px * i as f32,
            ..p
        });
    }
    assert!(cut(&pass, &lane).pushes.is_empty());
}

proptest! {
    #![proptest_config(kickplate_testing::cases(60, None))]

    /// Any points and any times: no panic, and what is given is finite.
    #[test]
    fn nothing_makes_it_panic(
        n in 0usize..60,
        seed in any::<u64>(),
        view in prop::sample::select(vec![View::Side, View::Front, View::Rear, View::Oblique]),
        wild in prop::bool::ANY,
    ) {
        let mut state = seed | 1;
        let mut next = move || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state % 2000) as f32 - 400.0
        };
        let skater = Skater::default();
        let samples = (0..n).map(|i| {
            let mut points = [Landmark::default(); POINTS];
            for p in &mut points {
                p.x_px = next();
                p.y_px = next();
                if wild && next() > 1590.0 {
                    p.x_px = f32::NAN;
                }
            }
            let t_s = if wild { f64::from(next()) } else { i as f64 / 30.0 };
            Sample { t_s, points, legs: None, clarity: None, lane_m: None }
        }).collect();
        let pass = Pass { track_id: 1, samples, frame_px: [1280, 720], speed_mps: 3.0, heading: [1.0, 0.0] };
        let motion = cut(&pass, &lane(view, &skater));
        for p in &motion.pushes {
            prop_assert!(p.toe_off_s.is_finite() && p.push_start_s.is_finite());
        }
    }
}
