use super::*;
use crate::body::{Body, Landmark, POINTS, Roi};
use crate::config::{Subject, Travel, View};

fn side_lane() -> Lane {
    Lane {
        view: View::Side,
        camera_height_m: 1.2,
        tilt_deg: 2.7,
        hfov_deg: 62.0,
        roll_deg: 0.0,
        lane_distance_m: 6.0,
        travel: Travel::LeftToRight,
        skater_height_m: 1.7,
        subject: Subject::People,
        errors: Default::default(),
        checked: None,
    }
}

/// A stick person 200 px tall whose mid hip is at (`x`, `y`).
pub(super) fn body(chain: u32, x: f32, y: f32) -> Body {
    let mut points = [Landmark::default(); POINTS];
    for (i, p) in points.iter_mut().enumerate() {
        let side = if i % 2 == 1 { 10.0 } else { -10.0 };
        let row = match i {
            0..=10 => -100.0,
            11..=22 => -60.0,
            23 | 24 => 0.0,
            25 | 26 => 50.0,
            _ => 100.0,
        };
        *p = Landmark {
            x_px: x + side,
            y_px: y + row,
            z_px: 0.0,
            visibility: 0.9,
        };
    }
    Body {
        chain,
        points,
        world_m: [[0.0; 3]; POINTS],
        legs: None,
        clarity: None,
        presence: 1.0,
        roi: Roi {
            cx_px: x,
            cy_px: y,
            size_px: 250.0,
            rotation_rad: 0.0,
        },
    }
}

fn frame(i: u64, bodies: Vec<Body>) -> PoseFrame {
    PoseFrame {
        seq: i,
        captured_at_s: i as f64 / 30.0,
        width: 1280,
        height: 720,
        bodies,
    }
}

/// Pixels a frame at 6 m for a speed in metres a second.
fn step_px(mps: f64) -> f32 {
    (mps * 1065.14 / 6.0 / 30.0) as f32
}

fn passes(events: &[TrackEvent]) -> Vec<&Pass> {
    events
        .iter()
        .filter_map(|e| match e {
            TrackEvent::PassEnded(p) => Some(p.as_ref()),
            TrackEvent::PassStarted { .. } => None,
        })
        .collect()
}

fn run(frames: impl Iterator<Item = PoseFrame>) -> Vec<TrackEvent> {
    let mut tracker = Tracker::new(side_lane(), TrackSettings::default());
    let mut events: Vec<_> = frames.flat_map(|f| tracker.push(&f)).collect();
    events.extend(tracker.finish());
    events
}

#[test]
fn a_skater_at_five_metres_a_second_makes_one_pass() {
    let step = step_px(5.0);
    let events = run((0..60).map(|i| {
        let x = 60.0 + step * i as f32;
        frame(
            i,
            if x < 1220.0 {
                vec![body(1, x, 380.0)]
            } else {
                vec![]
            },
        )
    }));
    let passes = passes(&events);
    assert_eq!(passes.len(), 1);
    assert!(
        (passes[0].speed_mps - 5.0).abs() < 0.05,
        "{}",
        passes[0].speed_mps
    );
    assert!(passes[0].heading[0] > 0.99);
    assert!(events.contains(&TrackEvent::PassStarted { track_id: 1 }));
}

#[test]
fn walking_standing_and_the_way_back_are_no_passes() {
    for mps in [0.0, 1.0, 1.5, -5.0] {
        let step = step_px(mps);
        let start = if mps < 0.0 { 1200.0 } else { 80.0 };
        let events = run((0..200).map_while(|i| {
            let x = start + step * i as f32;
            (x > 40.0 && x < 1240.0).then(|| frame(i, vec![body(1, x, 380.0)]))
        }));
        assert!(passes(&events).is_empty(), "{mps} m/s");
    }
}

#[test]
fn a_short_loss_does_not_break_a_pass() {
    let step = step_px(5.0);
    let events = run((0..34).map(|i| {
        let x = 60.0 + step * i as f32;
        let chain = if i < 14 { 1 } else { 2 };
        let hidden = (12..16).contains(&i);
        frame(
            i,
            if hidden {
                vec![]
            } else {
                vec![body(chain, x, 380.0)]
            },
        )
    }));
    assert_eq!(passes(&events).len(), 1);
}

#[test]
fn two_who_cross_keep_their_numbers_even_if_the_regions_swap() {
    let step = step_px(4.0);
    let events = run((0..46).map(|i| {
        let (a, b) = (100.0 + step * i as f32, 1180.0 - step * i as f32);
        // after the crossing the two regions have changed owners
        let (ca, cb) = if a < b { (1, 2) } else { (2, 1) };
        frame(i, vec![body(ca, a, 380.0), body(cb, b, 380.0)])
    }));
    let passes = passes(&events);
    // only the left-to-right one goes the lane's way
    assert_eq!(passes.len(), 1);
    let xs: Vec<f32> = passes[0]
        .samples
        .iter()
        .map(|s| s.points[23].x_px)
        .collect();
    assert!(xs.windows(2).all(|w| w[1] > w[0]), "{xs:?}");
    assert_eq!(passes[0].samples.len(), 46);
}

#[test]
fn someone_who_vanishes_and_another_far_away_are_two() {
    let step = step_px(5.0);
    let events = run((0..66).map(|i| {
        let x = 60.0 + step * (i % 33) as f32;
        frame(i, vec![body(1, x, 380.0)])
    }));
    assert_eq!(passes(&events).len(), 2);
}

#[test]
fn slowing_down_ends_the_pass_while_still_in_view() {
    let step = step_px(5.0);
    let mut tracker = Tracker::new(side_lane(), TrackSettings::default());
    let mut x = 60.0;
    let mut ended_at = None;
    for i in 0..90 {
        x += if i < 25 { step } else { 0.5 };
        let events = tracker.push(&frame(i, vec![body(1, x, 380.0)]));
        if !passes(&events).is_empty() {
            ended_at = Some(i);
            let pass = passes(&events)[0].clone();
            assert!((pass.ended_at_s() - 25.0 / 30.0).abs() < 0.25);
        }
    }
    assert!(ended_at.is_some_and(|i| i < 45), "{ended_at:?}");
}

#[test]
fn frames_out_of_order_are_ignored_and_counted() {
    let mut tracker = Tracker::new(side_lane(), TrackSettings::default());
    tracker.push(&frame(5, vec![]));
    tracker.push(&frame(4, vec![]));
    let mut bad = frame(6, vec![]);
    bad.captured_at_s = f64::NAN;
    tracker.push(&bad);
    assert_eq!(tracker.out_of_order(), 2);
}

/// Seconds from the last sighting to the end of the pass, for a skater who is
/// not seen any more from `x_px` on.
fn seconds_to_the_end(last_x_px: f32) -> f64 {
    let mut tracker = Tracker::new(side_lane(), TrackSettings::default());
    let step = step_px(5.0);
    let mut last_seen_s = 0.0;
    for i in 0..90u64 {
        let x = 100.0 + step * i as f32;
        let seen = x <= last_x_px;
        let bodies = if seen {
            vec![body(1, x, 400.0)]
        } else {
            vec![]
        };
        let f = frame(i, bodies);
        if seen {
            last_seen_s = f.captured_at_s;
        }
        let t_s = f.captured_at_s;
        if !passes(&tracker.push(&f)).is_empty() {
            return t_s - last_seen_s;
        }
    }
    panic!("the pass never ended");
}

#[test]
fn who_skates_out_of_the_picture_is_waited_for_less_than_who_is_lost_in_it() {
    let settings = TrackSettings::default();
    let frame_s = 1.0 / 30.0;
    let out = seconds_to_the_end(1230.0);
    let inside = seconds_to_the_end(800.0);
    assert!(
        out > settings.leaving_gap_s && out <= settings.leaving_gap_s + 1.01 * frame_s,
        "{out}"
    );
    assert!(
        inside > settings.max_gap_s && inside <= settings.max_gap_s + 1.01 * frame_s,
        "{inside}"
    );
}

/// A body that crosses the picture at a speed, in metres a second at 6 m; less than 0
/// to the left.
fn crossing(speed_mps: f64, y: f32) -> impl Iterator<Item = PoseFrame> {
    let step = step_px(speed_mps);
    let from = if step > 0.0 { 60.0 } else { 1220.0 };
    (0..60).map(move |i| {
        let x = from + step * i as f32;
        let there = (60.0..=1220.0).contains(&x);
        frame(i, if there { vec![body(1, x, y)] } else { vec![] })
    })
}

fn tally_of(lane: Lane, frames: impl Iterator<Item = PoseFrame>) -> Tally {
    let mut tracker = Tracker::new(lane, TrackSettings::default());
    for frame in frames {
        tracker.push(&frame);
    }
    tracker.finish();
    tracker.tally()
}

#[test]
fn what_is_no_pass_is_counted_by_its_reason() {
    let good = tally_of(side_lane(), crossing(5.0, 380.0));
    assert_eq!((good.passes, good.other_way, good.do_not_fit), (1, 0, 0));
    let back = tally_of(side_lane(), crossing(-5.0, 380.0));
    assert_eq!((back.passes, back.other_way, back.do_not_fit), (0, 1, 0));
    // The lane file has the line at a quarter of the distance.
    let near = Lane {
        lane_distance_m: 1.5,
        ..side_lane()
    };
    let wrong = tally_of(near, crossing(5.0, 380.0));
    assert_eq!((wrong.passes, wrong.other_way, wrong.do_not_fit), (0, 0, 1));
    let still = tally_of(
        side_lane(),
        (0..60).map(|i| frame(i, vec![body(1, 600.0, 380.0)])),
    );
    assert_eq!(still, Tally::default());
    // As the lane says, and slower than what counts.
    let slow = tally_of(side_lane(), crossing(1.7, 380.0));
    assert_eq!((slow.passes, slow.do_not_fit, slow.too_slow), (0, 0, 1));
    let slower = tally_of(side_lane(), crossing(1.15, 380.0));
    assert_eq!((slower.do_not_fit, slower.too_slow), (0, 1));
    for (tally, mps) in [(slow, 1.7), (slower, 1.15)] {
        let said_mps = f64::from(tally.fastest_slow_cmps) / 100.0;
        assert!((said_mps - mps).abs() < 0.1, "{said_mps} for {mps}");
    }
}
