use super::super::stander::Stander;
use super::*;
use crate::stride::synthetic::{Skater, lane};

fn lane_of(view: View) -> Lane {
    lane(view, &Skater::default())
}

fn read(view: View, who: Stander, of: Gauged) -> Result<f64, StandFault> {
    let lane = lane_of(view);
    Standing::find(&who.frames(&lane, 2.5), &lane, ModelKind::Full)?.read(of)
}

#[test]
fn what_is_held_is_read_from_points_that_err_in_nothing() {
    for knee_deg in [175.0, 150.0, 120.0, 100.0] {
        let who = Stander {
            knee_deg,
            ..Stander::default()
        };
        let deg = read(View::Side, who, Gauged::Knee).unwrap();
        assert!((deg - knee_deg).abs() < 1.0, "{deg} for {knee_deg}");
    }
    let straight = read(View::Side, Stander::default(), Gauged::Extension).unwrap();
    assert!((straight - 175.0).abs() < 2.0, "{straight}");
    for view in [View::Front, View::Rear] {
        for gap_m in [0.0, 0.0254, 0.0762] {
            let boot_m = 0.075 * 1.75 / 1.78;
            let who = Stander {
                ankles_m: gap_m + boot_m,
                ..Stander::default()
            };
            let read_m = read(view, who, Gauged::HeelGap).unwrap();
            assert!((read_m - gap_m).abs() < 0.005, "{read_m} for {gap_m}");
        }
    }
    let who = Stander {
        lean_deg: 40.0,
        ..Stander::default()
    };
    let lean = read(View::Side, who, Gauged::Trunk).unwrap();
    assert!((lean - 40.0).abs() < 1.0, "{lean}");
}

#[test]
fn a_lane_from_right_to_left_is_read_as_well() {
    let mut lane = lane_of(View::Side);
    lane.travel = crate::config::Travel::RightToLeft;
    let who = Stander {
        knee_deg: 120.0,
        ..Stander::default()
    };
    let standing = Standing::find(&who.frames(&lane, 2.5), &lane, ModelKind::Full).unwrap();
    assert!((standing.read(Gauged::Knee).unwrap() - 120.0).abs() < 1.0);
}

#[test]
fn a_hold_that_is_none_is_told_in_one_sentence() {
    let plain = Stander::default();
    let turned = |turned_deg| Stander {
        turned_deg,
        ..plain
    };
    let read = |view, who, of| read(view, who, of).unwrap_err();
    let walks = Stander {
        speed_mps: 0.3,
        ..plain
    };
    assert_eq!(read(View::Side, walks, Gauged::Knee), StandFault::Moves);
    assert_eq!(
        read(View::Side, turned(180.0), Gauged::Knee),
        StandFault::OtherWay
    );
    assert_eq!(
        read(View::Side, turned(70.0), Gauged::Knee),
        StandFault::Turned
    );
    assert_eq!(
        read(View::Front, turned(180.0), Gauged::HeelGap),
        StandFault::OtherWay
    );
    assert_eq!(
        read(View::Front, turned(80.0), Gauged::HeelGap),
        StandFault::Turned
    );
    let wrong = read(View::Front, plain, Gauged::Knee);
    assert_eq!(
        wrong.to_string(),
        "a knee is not seen from this lane's view, front; use a lane whose view is side or oblique"
    );
    let lane = lane_of(View::Side);
    let find = |frames: &[PoseFrame]| {
        Standing::find(frames, &lane, ModelKind::Full)
            .map(|_| ())
            .unwrap_err()
    };
    let mut frames = plain.frames(&lane, 3.0);
    assert_eq!(find(&[]), StandFault::Nobody);
    assert_eq!(find(&frames[..20]), StandFault::Nobody);
    let other = Stander {
        along_m: 1.5,
        ..plain
    };
    for (frame, beside) in frames.iter_mut().zip(other.frames(&lane, 3.0)) {
        frame.bodies.extend(beside.bodies);
    }
    assert_eq!(find(&frames), StandFault::SeveralPersons);
    frames.iter_mut().for_each(|f| f.bodies.clear());
    assert_eq!(find(&frames), StandFault::Nobody);
}

/// Somebody comes, stands, and goes: the part in which he stands is read.
#[test]
fn the_still_part_of_a_recording_is_found() {
    let lane = lane_of(View::Side);
    let stands = Stander {
        knee_deg: 130.0,
        ..Stander::default()
    };
    let comes = Stander {
        speed_mps: 0.8,
        along_m: -2.0,
        ..stands
    };
    let mut frames = comes.frames(&lane, 2.5);
    for mut frame in stands.frames(&lane, 3.0) {
        frame.captured_at_s += 2.6;
        frames.push(frame);
    }
    let standing = Standing::find(&frames, &lane, ModelKind::Full).unwrap();
    assert!((standing.read(Gauged::Knee).unwrap() - 130.0).abs() < 1.0);
}
