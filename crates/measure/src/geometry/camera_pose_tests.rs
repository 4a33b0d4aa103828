use super::*;
use crate::config::{Subject, Travel, View};
use crate::geometry::Camera;

const SIZE: [u32; 2] = [1280, 720];

fn lane() -> Lane {
    Lane {
        view: View::Side,
        camera_height_m: 1.3,
        tilt_deg: 4.0,
        hfov_deg: 62.0,
        roll_deg: 0.8,
        lane_distance_m: 6.2,
        travel: Travel::LeftToRight,
        skater_height_m: 1.6,
        subject: Subject::People,
        // The field of view is exact.
        errors: LaneErrors::none(),
        checked: None,
    }
}

/// Marks as a coach would place them: two places of the far boards
/// (1.07 m, IIHF rule 1.3), a 1.5 m stick on the lane and nearer.
fn marks(off: &mut dyn FnMut() -> f64) -> (Vec<Mark>, Vec<[f64; 2]>) {
    let camera = Camera::of_lane(&lane(), SIZE[0], SIZE[1]);
    let mut px = |x: f64, y: f64, z: f64| {
        let p = camera.project([x, y, z]).unwrap();
        [p[0] + off(), p[1] + off()]
    };
    let mut marks = Vec::new();
    for x in [-4.0, 3.0] {
        marks.push(Mark::Upright {
            bottom_px: px(x, 10.0, 0.0),
            top_px: px(x, 10.0, 1.07),
            height_m: 1.07,
        });
    }
    for (x, y) in [(-0.7, 6.2), (0.3, 4.0)] {
        marks.push(Mark::OnIce {
            from_px: px(x, y, 0.0),
            to_px: px(x + 1.5, y, 0.0),
            length_m: 1.5,
        });
    }
    let line = vec![px(-2.5, 6.2, 0.0), px(2.5, 6.2, 0.0)];
    (marks, line)
}

#[test]
fn exact_marks_give_the_camera_back() {
    let (marks, line) = marks(&mut || 0.0);
    for hfov_known in [true, false] {
        let stand = solve_camera_pose(&lane(), SIZE, &marks, &line, hfov_known, 1.5).unwrap();
        assert!((stand.camera_height_m.value - 1.3).abs() < 1e-4);
        assert!((stand.tilt_deg.value - 4.0).abs() < 1e-3);
        assert!((stand.roll_deg.value - 0.8).abs() < 1e-3);
        assert!((stand.hfov_deg.value - 62.0).abs() < 1e-2);
        assert!((stand.lane_distance_m.value - 6.2).abs() < 1e-3);
        assert!(stand.scale_error > 0.0 && stand.scale_error < 0.05);
    }
}

fn uniform() -> impl FnMut() -> f64 {
    let mut state = 12345u64;
    move || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        (state >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// Marks off by 1.5 pixels: the truth lies within two of the stated
/// standard deviations about 95 times in 100 (normal distribution).
#[test]
fn the_stated_errors_are_honest() {
    let mut uniform = uniform();
    // twelve uniform numbers make a nearly normal one
    let mut normal = move || 1.5 * ((0..12).map(|_| uniform()).sum::<f64>() - 6.0);
    let (mut within, n) = ([0; 3], 200);
    for _ in 0..n {
        let (marks, line) = marks(&mut normal);
        let s = solve_camera_pose(&lane(), SIZE, &marks, &line, true, 1.5).unwrap();
        let is = |k: Known, truth: f64| u32::from((k.value - truth).abs() <= 2.0 * k.error);
        within[0] += is(s.camera_height_m, 1.3);
        within[1] += is(s.tilt_deg, 4.0);
        within[2] += is(s.roll_deg, 0.8);
    }
    for w in within {
        assert!((f64::from(w) / f64::from(n)) > 0.88, "{within:?} of {n}");
    }
}

#[test]
fn too_few_and_contradicting_marks_are_refused() {
    let (marks, line) = marks(&mut || 0.0);
    let few = solve_camera_pose(&lane(), SIZE, &marks[2..3], &line, true, 1.5);
    assert_eq!(few, Err(CameraPoseError::TooFew { missing: 1 }));
    // Far boards twice and a short length near the lane: they fit a camera
    // of any angle of view, and with it a lane at almost any distance.
    let camera = Camera::of_lane(&lane(), SIZE[0], SIZE[1]);
    let px = |x: f64, y: f64, z: f64| camera.project([x, y, z]).unwrap();
    let boards = |x: f64| Mark::Upright {
        bottom_px: px(x, 27.0, 0.0),
        top_px: px(x, 27.0, 1.07),
        height_m: 1.07,
    };
    let short = Mark::OnIce {
        from_px: px(-0.15, 6.0, 0.0),
        to_px: px(0.15, 6.0, 0.0),
        length_m: 0.3,
    };
    let flat = [boards(-9.0), boards(8.0), short];
    let open = solve_camera_pose(&lane(), SIZE, &flat, &line, false, 1.5);
    let Err(error @ CameraPoseError::Open { .. }) = open else {
        panic!("{open:?}");
    };
    assert!(error.to_string().contains("angle of view"), "{error}");
    solve_camera_pose(&lane(), SIZE, &flat, &line, true, 1.5).unwrap();
    let no_lane = solve_camera_pose(&lane(), SIZE, &marks, &line[..1], true, 1.5);
    assert_eq!(no_lane, Err(CameraPoseError::NoLane));
    let mut wrong = marks.clone();
    if let Mark::Upright { height_m, .. } = &mut wrong[0] {
        *height_m = 3.0;
    }
    let refused = solve_camera_pose(&lane(), SIZE, &wrong, &line, true, 1.5);
    assert!(
        matches!(refused, Err(CameraPoseError::Contradiction { .. })),
        "{refused:?}"
    );
}

/// A data sheet's angle that is off draws height and tilt along, and these say so: angles of
/// view off by two degrees, marks by a pixel and a half.
#[test]
fn a_given_angle_that_may_be_off_makes_the_others_less_sure() {
    let mut uniform = uniform();
    let mut normal = move |sd: f64| sd * ((0..12).map(|_| uniform()).sum::<f64>() - 6.0);
    let (mut within, n) = ([0; 4], 200);
    for _ in 0..n {
        let (marks, line) = marks(&mut || normal(1.5));
        let mut told = lane();
        told.errors.hfov_sd_deg = Some(2.0);
        told.hfov_deg += normal(2.0);
        let s = solve_camera_pose(&told, SIZE, &marks, &line, true, 1.5).unwrap();
        let is = |k: Known, truth: f64| u32::from((k.value - truth).abs() <= 2.0 * k.error);
        within[0] += is(s.camera_height_m, 1.3);
        within[1] += is(s.tilt_deg, 4.0);
        within[2] += is(s.lane_distance_m, 6.2);
        within[3] += is(s.hfov_deg, 62.0);
    }
    for w in within {
        assert!((f64::from(w) / f64::from(n)) > 0.88, "{within:?} of {n}");
    }
}

/// Marks on the ice alone do not tell the roll: a camera counts as level, and by how much it may
/// not be is in every number. Cameras that roll by 0.7 degrees, marks off by a pixel and a half.
#[test]
fn a_roll_that_is_not_told_is_not_exact() {
    let mut uniform = uniform();
    let mut normal = move |sd: f64| sd * ((0..12).map(|_| uniform()).sum::<f64>() - 6.0);
    let (mut within, mut solved) = ([0; 4], 0);
    for _ in 0..200 {
        let roll_deg = normal(0.7);
        let stands = Lane { roll_deg, ..lane() };
        let camera = Camera::of_lane(&stands, SIZE[0], SIZE[1]);
        let mut px = |x: f64, y: f64| {
            let p = camera.project([x, y, 0.0]).unwrap();
            [p[0] + normal(1.5), p[1] + normal(1.5)]
        };
        let mut length = |a: [f64; 2], b: [f64; 2]| Mark::OnIce {
            from_px: px(a[0], a[1]),
            to_px: px(b[0], b[1]),
            length_m: (a[0] - b[0]).hypot(a[1] - b[1]),
        };
        let marks = [
            length([-3.0, 6.2], [-1.5, 6.2]),
            length([1.0, 5.0], [3.0, 5.0]),
            length([-1.0, 5.0], [-1.0, 8.0]),
            length([2.5, 7.0], [2.5, 9.5]),
        ];
        let line = vec![px(-2.5, 6.2), px(2.5, 6.2)];
        let mut told = lane();
        told.errors.roll_sd_deg = Some(0.7);
        let found = solve_camera_pose(&told, SIZE, &marks, &line, true, 1.5);
        let s = match found {
            Ok(s) => s,
            // So much roll that the marks do not fit any level camera.
            Err(CameraPoseError::Contradiction { .. }) => continue,
            Err(error) => panic!("{error}"),
        };
        solved += 1;
        assert_eq!(s.roll_deg.value, 0.0);
        assert!((s.roll_deg.error - 0.7).abs() < 1e-9);
        let is = |k: Known, truth: f64| u32::from((k.value - truth).abs() <= 2.0 * k.error);
        within[0] += is(s.camera_height_m, 1.3);
        within[1] += is(s.tilt_deg, 4.0);
        within[2] += is(s.lane_distance_m, 6.2);
        within[3] += is(s.roll_deg, roll_deg);
    }
    assert!(solved > 150, "{solved}");
    for w in within {
        assert!(
            (f64::from(w) / f64::from(solved)) > 0.88,
            "{within:?} of {solved}"
        );
    }
}

/// Distance and field of view that were found together make up for each other: a metre on the lane is
/// as sure by the errors of the lane as by the marks, and far surer than each of them alone.
#[test]
fn the_errors_of_the_lane_say_of_a_metre_what_the_marks_say() {
    let (marks, line) = marks(&mut || 0.0);
    for hfov_known in [true, false] {
        let mut told = lane();
        told.errors.hfov_sd_deg = Some(2.0);
        let s = solve_camera_pose(&told, SIZE, &marks, &line, hfov_known, 1.5).unwrap();
        let found = s.on(&told);
        let metre_px = |lane: &Lane| {
            let camera = Camera::of_lane(lane, SIZE[0], SIZE[1]);
            camera.depth_m([0.0, lane.lane_distance_m, 0.8]) / camera.focal_px
        };
        let part = |lane: &Lane| {
            let of = |by: &[f64; 6]| {
                let [up, down] = [0.1, -0.1].map(|times| metre_px(&lane.moved(by, times)));
                ((up - down) / 0.2).powi(2)
            };
            lane.errors.moves().iter().map(of).sum::<f64>().sqrt() / metre_px(lane)
        };
        // The line they really follow is no part of the marks.
        let of_line = 0.10 / found.lane_distance_m;
        let by_lane = part(&found);
        let by_marks = s.scale_error.hypot(of_line);
        assert!(
            (by_lane / by_marks - 1.0).abs() < 0.05,
            "{by_lane} {by_marks}"
        );
        let mut alone = found.clone();
        alone.errors.error_correlations = None;
        assert!(part(&alone) > 1.2 * by_lane, "{} {by_lane}", part(&alone));
        // And it is a lane the station reads.
        assert_eq!(
            Lane::from_toml(&found.to_toml("x"), "x").map(|l| l.errors),
            Ok(LaneErrors {
                skater_height_sd_m: Some(0.0),
                ..found.errors
            })
        );
    }
}
