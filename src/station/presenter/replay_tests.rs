//! Clips from a ring, with a skater whose pictures are numbered.

use super::super::lane_picture::small_picture;
use super::*;
use crate::capture::Frame;
use crate::config::{Lane, Subject, Travel, View};
use crate::feedback::CueLeg;
use crate::pose::{Body, Landmark, POINTS, PoseFrame};
use crate::rules::{
    AgeGroup, Flag, JudgedPush, Measure, NotJudged, QuantityMap, RuleId, RuleMap, Thresholds,
};
use crate::stride::cut;
use crate::track::{Pass, Sample};

const RATE_HZ: f64 = 30.0;

/// A grey frame whose brightness counts up with time.
fn frame(n: u32) -> Frame {
    let (width, height) = (64, 36);
    Frame {
        seq: u64::from(n),
        captured_at_s: f64::from(n) / RATE_HZ,
        width,
        height,
        rgb: vec![(n % 200) as u8 + 20; (width * height * 3) as usize],
    }
}

fn of(frame: &Frame, picture: PreviewImage, bodies: &[Body]) -> LanePicture {
    LanePicture {
        captured_at_s: frame.captured_at_s,
        frame_px: [frame.width, frame.height],
        picture: Arc::new(picture),
        bodies: bodies.to_vec(),
        readable_faces: Vec::new(),
    }
}

fn keep(ring: &mut Ring, frames: std::ops::Range<u32>) {
    for n in frames {
        let frame = frame(n);
        let picture = small_picture(&frame, &PoseFrame::default(), false).unwrap();
        // The body is all over the picture: every pixel is kept as it is.
        let body = body(|i| [(i % 2) as f32 * 64.0, (i % 3) as f32 * 18.0]);
        ring.push(&of(&frame, picture, &[body]));
    }
}

fn body(at: impl Fn(usize) -> [f32; 2]) -> Body {
    let point = |i: usize| {
        let [x_px, y_px] = at(i);
        Landmark {
            x_px,
            y_px,
            ..Landmark::default()
        }
    };
    Body {
        chain: 1,
        points: std::array::from_fn(point),
        world_m: [[0.0; 3]; POINTS],
        legs: None,
        clarity: None,
        presence: 1.0,
        roi: Default::default(),
    }
}

fn lane() -> Lane {
    Lane {
        view: View::Side,
        camera_height_m: 1.4,
        tilt_deg: 4.0,
        hfov_deg: 62.0,
        roll_deg: 0.0,
        lane_distance_m: 6.0,
        travel: Travel::LeftToRight,
        skater_height_m: 1.55,
        subject: Subject::People,
        errors: Default::default(),
        checked: None,
    }
}

/// A body that stands in the middle of the picture for four seconds.
fn motion() -> PassMotion {
    let point = |i: usize| Landmark {
        x_px: 32.0 + (i % 3) as f32,
        y_px: 4.0 + i as f32 * 0.9,
        z_px: 0.0,
        visibility: 1.0,
    };
    let samples = (0..120)
        .map(|n| Sample {
            t_s: f64::from(n) / RATE_HZ,
            points: std::array::from_fn(point),
            legs: None,
            clarity: None,
            lane_m: Some([f64::from(n) * 0.1, 6.0]),
        })
        .collect();
    let pass = Pass {
        track_id: 1,
        samples,
        frame_px: [64, 36],
        speed_mps: 3.0,
        heading: [1.0, 0.0],
    };
    let mut motion = cut(&pass, &lane());
    motion.pushes = [1.0, 2.0]
        .map(|toe_off_s| Push {
            leg: Leg::Left,
            near_leg: None,
            touchdown_s: toe_off_s - 0.5,
            push_start_s: toe_off_s - 0.3,
            toe_off_s,
            recovery_s: toe_off_s + 0.2,
            cycle_s: 0.8,
            prominence: 1.0,
        })
        .to_vec();
    motion
}

/// The extension is flagged in both pushes, by little and by more.
fn pass_and_cue(kind: Option<CueKind>) -> (JudgedPass, Cue) {
    let push = |value: f64, toe_off_s: f64| JudgedPush {
        quality: None,
        leg: Leg::Left,
        near_leg: None,
        push_start_s: toe_off_s - 0.3,
        toe_off_s,
        measures: RuleMap::from_fn(|_| Measure::not_judged(NotJudged::Other)),
        flags: vec![Flag {
            rule: RuleId::Extension,
            value,
            limit: 155.0,
        }],
    };
    let pass = JudgedPass {
        track_id: 1,
        started_at_s: 0.0,
        ended_at_s: 4.0,
        speed_mps: 3.0,
        view: View::Side,
        thresholds: Thresholds::defaults(AgeGroup::U13),
        // The pushes of the motion.
        pushes: vec![push(140.0, 1.0), push(130.0, 2.0)],
        quantities: QuantityMap::from_fn(|_| Measure::not_judged(NotJudged::Other)),
    };
    let cue = Cue {
        pass_number: 7,
        track_id: 1,
        kind: kind.unwrap_or(CueKind::Do {
            rule: RuleId::Extension,
            value: 131.0,
            limit: 155.0,
            leg: CueLeg::Left,
            flagged_pushes: 2,
            good: None,
        }),
    };
    (pass, cue)
}

#[test]
fn the_clip_stands_still_at_the_push_the_cue_is_about() {
    let mut ring = Ring::default();
    keep(&mut ring, 0..120);
    let (pass, cue) = pass_and_cue(None);
    let clip = ring.clip(&pass, &cue, &motion()).unwrap();
    assert_eq!(clip.pass_number, 7);
    // 131 is nearer to the second push, whose toe-off is frame 60.
    let (index, still) = clip.due(Duration::from_millis(1700));
    assert!(still);
    let (picture, overlay) = clip.shot(index, still).unwrap();
    assert!(picture.rgb()[0].abs_diff(60 + 20) <= 1);
    let mark = overlay.mark.as_ref().unwrap();
    assert_eq!(mark.numbers, Some((130.0, 155.0)));
    assert_eq!(mark.points.len(), 3);
    assert!(
        overlay
            .lines
            .iter()
            .flatten()
            .flatten()
            .all(|v| (0.0..=1.0).contains(v))
    );

    // Before and after it moves, 2.5 times as slowly, and begins again.
    let brightness = |ms: u64| {
        let (index, still) = clip.due(Duration::from_millis(ms));
        assert!(!still, "{ms}");
        clip.shot(index, false).unwrap().0.rgb()[0]
    };
    assert!(brightness(0).abs_diff(60 - 12 + 20) <= 1);
    assert!(brightness(500).abs_diff(60 - 6 + 20) <= 1);
    assert!(brightness(3400).abs_diff(60 + 11 + 20) <= 1);
    assert_eq!(brightness(3500), brightness(0));
}

#[test]
fn old_pictures_are_gone_and_then_there_is_no_replay() {
    let mut ring = Ring::default();
    keep(&mut ring, 0..1000);
    let first_s = ring.kept.front().unwrap().captured_at_s;
    let last_s = ring.kept.back().unwrap().captured_at_s;
    assert!(last_s - first_s <= KEEP_S && last_s - first_s > KEEP_S - 0.1);
    let (pass, cue) = pass_and_cue(None);
    assert!(ring.clip(&pass, &cue, &motion()).is_none());
    // Another source starts at 0: nothing of the first is left.
    keep(&mut ring, 0..1);
    assert_eq!(ring.kept.len(), 1);
}

#[test]
fn the_memory_is_bounded_whatever_the_camera_sends() {
    let mut ring = Ring::default();
    let (width, height) = (3840, 2160);
    for n in 0..150 {
        let frame = Frame {
            seq: n,
            captured_at_s: n as f64 / 120.0,
            width,
            height,
            rgb: Vec::new(),
        };
        let rgb = vec![9; 960 * 540 * 3];
        let picture = PreviewImage::from_rgb(960, 540, &rgb, 960).unwrap();
        ring.push(&of(&frame, picture, &[]));
        assert!(ring.bytes <= KEEP_BYTES);
    }
    assert_eq!(ring.bytes, counted(&ring));
}

/// The bytes of a ring, counted anew from picture to picture.
fn counted(ring: &Ring) -> usize {
    let mut before = None;
    let mut sum = 0;
    for kept in &ring.kept {
        sum += kept.picture.bytes_beside(before);
        before = Some(&*kept.picture);
    }
    sum
}

/// Halls whose lamps flicker change every pixel of every picture. The ring
/// still holds a pass, and the skater in it is as he was.
#[test]
fn flickering_light_shortens_what_is_kept_but_not_below_a_pass() {
    let mut ring = Ring::default();
    let (width, height) = (1280u32, 720u32);
    let bodies = [body(|i| {
        [600.0 + 10.0 * (i % 8) as f32, 250.0 + 8.0 * i as f32]
    })];
    let level = |n: u32| 120 + [0u8, 14, 20, 14, 0, 8][n as usize % 6];
    for n in 0..600 {
        let frame = Frame {
            seq: u64::from(n),
            captured_at_s: f64::from(n) / RATE_HZ,
            width,
            height,
            rgb: Vec::new(),
        };
        let rgb = vec![level(n); 640 * 360 * 3];
        let picture = PreviewImage::from_rgb(640, 360, &rgb, 640).unwrap();
        ring.push(&of(&frame, picture, &bodies));
        assert!(ring.bytes <= KEEP_BYTES);
    }
    assert_eq!(ring.bytes, counted(&ring));
    let (first, last) = (ring.kept.front().unwrap(), ring.kept.back().unwrap());
    let held_s = last.captured_at_s - first.captured_at_s;
    assert!(held_s > KEEP_AT_LEAST_S - 0.5, "{held_s}");
    // The middle of the body.
    for kept in &ring.kept {
        let n = (kept.captured_at_s * RATE_HZ).round() as u32;
        let shown = kept.picture.unpack().unwrap().rgb()[(190 * 640 + 320) * 3];
        assert!(shown.abs_diff(level(n)) <= 1, "{shown} at {n}");
    }
}

/// A skater passes before a still background with the noise of a camera.
#[test]
fn one_skater_is_kept_for_longer_than_whole_pictures_were() {
    let mut ring = Ring::default();
    let (width, height) = (1280u32, 720u32);
    let mut noise = 0x2545_f491u32;
    let mut rgb = vec![0u8; 640 * 360 * 3];
    for n in 0..310u32 {
        for v in rgb.iter_mut() {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *v = 170 + (noise >> 29) as u8;
        }
        let x = f64::from(n % 60) * 10.0;
        // Half the height of the picture.
        for y in 90..270 {
            for v in &mut rgb[(y * 640 + x as usize) * 3..][..45 * 3] {
                *v = 30;
            }
        }
        // The head on top, the rest of the points down both sides.
        let body = body(|i| {
            let side = if i < 11 { 0.5 } else { (i % 2) as f32 };
            let down = (i as f32 - 10.0).max(0.0) * 7.5;
            [2.0 * (x as f32 + 45.0 * side), 2.0 * (95.0 + down)]
        });
        let frame = Frame {
            seq: u64::from(n),
            captured_at_s: f64::from(n) / RATE_HZ,
            width,
            height,
            rgb: Vec::new(),
        };
        let picture = PreviewImage::from_rgb(640, 360, &rgb, 640).unwrap();
        ring.push(&of(&frame, picture, &[body]));
    }
    // 48 MB of whole pictures were 145.
    let held = ring.kept.len();
    assert!(held >= 200, "{held} in {}", ring.bytes);
}

/// The body's lines must not stand beside the skater, as they would where
/// nobody was followed.
#[test]
fn only_pictures_of_the_pass_itself_are_shown() {
    let mut ring = Ring::default();
    keep(&mut ring, 0..120);
    let (pass, cue) = pass_and_cue(None);
    let mut motion = motion();
    motion.span_s = [1.9, 2.2];
    let clip = ring.clip(&pass, &cue, &motion).unwrap();
    let (first, last) = (clip.shots.first().unwrap(), clip.shots.last().unwrap());
    assert!(first.at_s > -0.13 && last.at_s < 0.23);
    motion.span_s = [2.5, 3.0];
    assert!(ring.clip(&pass, &cue, &motion).is_none());
}

#[test]
fn praise_has_nothing_to_show() {
    let mut ring = Ring::default();
    keep(&mut ring, 0..120);
    let (pass, cue) = pass_and_cue(Some(CueKind::Praise));
    assert!(ring.clip(&pass, &cue, &motion()).is_none());
}

#[test]
fn faces_are_unreadable_before_a_picture_is_kept() {
    // Black and white columns everywhere; the face lies in the middle.
    let (width, height) = (1280u32, 720u32);
    let row: Vec<u8> = (0..width)
        .flat_map(|x| [if x / 8 % 2 == 0 { 0 } else { 255 }; 3])
        .collect();
    let frame = Frame {
        seq: 0,
        captured_at_s: 0.0,
        width,
        height,
        rgb: row.repeat(height as usize),
    };
    let mut points = [Landmark::default(); POINTS];
    for (i, p) in points.iter_mut().enumerate() {
        let (x, y) = match i {
            0..=10 => (640.0 + (i as f32 - 5.0) * 4.0, 300.0),
            11 => (590.0, 380.0),
            12 => (690.0, 380.0),
            _ => (640.0, 500.0),
        };
        (p.x_px, p.y_px) = (x, y);
    }
    let poses = PoseFrame {
        bodies: vec![Body {
            chain: 1,
            points,
            world_m: [[0.0; 3]; POINTS],
            legs: None,
            clarity: None,
            presence: 1.0,
            roi: Default::default(),
        }],
        ..Default::default()
    };
    let contrast_at = |picture: &PreviewImage, x: u32, y: u32| {
        let w = picture.size().0;
        let row = (y * w) as usize * 3;
        let near = (x - 8..x + 8).map(|x| picture.rgb()[row + x as usize * 3]);
        near.clone().max().unwrap() - near.min().unwrap()
    };
    let blurred = small_picture(&frame, &poses, true).unwrap();
    assert_eq!(blurred.size(), (640, 360));
    assert!(contrast_at(&blurred, 320, 150) < 60);
    assert_eq!(contrast_at(&blurred, 100, 150), 255);
    // Nobody was found: nobody can be blurred, so the picture is not kept.
    assert!(small_picture(&frame, &PoseFrame::default(), true).is_none());
    let clear = small_picture(&frame, &poses, false).unwrap();
    assert_eq!(contrast_at(&clear, 320, 150), 255);
}

#[test]
fn every_flag_has_its_pictures_the_worst_first_and_not_too_many() {
    let mut ring = Ring::default();
    keep(&mut ring, 0..120);
    let (mut pass, _) = pass_and_cue(None);
    let flag = |beyond: f64| Flag {
        rule: RuleId::TrunkLean,
        value: 50.0 + beyond,
        limit: 50.0,
    };
    pass.pushes[0].flags = vec![flag(3.0), flag(9.0), flag(f64::NAN)];
    pass.pushes[1].flags = vec![flag(30.0), flag(1.0), flag(7.0)];
    let strips = ring.strips(&pass, &motion(), false, false);
    let order: Vec<u32> = strips.iter().map(|s| s.push).collect();
    assert_eq!(order, [1, 0, 1, 0]);
    // From push start to toe-off of the second push: 1.7 to 2.0 s.
    assert!((strips[0].flagged_at_s - 1.85).abs() < 1e-9);
    assert_eq!(strips[0].frame_px, [64, 36]);
    let times: Vec<f64> = strips[0].shots.iter().map(|s| s.captured_at_s).collect();
    assert!(times.windows(2).all(|w| w[0] < w[1]));
    assert!(times[0] >= 1.45 && *times.last().unwrap() <= 2.25 && times.len() >= 23);

    // Nobody was found in these pictures: with blurring none may be stored.
    let blurred = ring.strips(&pass, &motion(), true, false);
    assert!(blurred.iter().all(|s| s.shots.is_empty()));
    // They were blurred before they were kept.
    let before = ring.strips(&pass, &motion(), true, true);
    assert!(
        before
            .iter()
            .all(|s| s.faces_blurred && !s.shots.is_empty())
    );
    // The pictures are gone.
    let empty = Ring::default();
    assert!(empty.strips(&pass, &motion(), false, false).is_empty());
}
