//! Whatever comes in, the chain behind the pose model goes on: frames in any
//! order, times that repeat, jump or are no numbers, bodies that are no
//! bodies; and a sessions file that was damaged anywhere.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use crate::store_common::{cue, pass, session};
use kickplate::config::{Lane, Subject, Travel, View};
use kickplate::feedback::{CueKind, CueSelector, FeedbackSettings};
use kickplate::pose::{Body, Landmark, POINTS, PoseFrame, Roi};
use kickplate::rules::{AgeGroup, Thresholds, judge};
use kickplate::store::{SESSIONS_FILE, Store};
use kickplate::stride::cut;
use kickplate::track::{TrackEvent, TrackSettings, Tracker};
use kickplate_testing::cases;
use proptest::prelude::*;
use proptest::test_runner::{TestCaseError, TestRunner};

/// A body that skates along, or stands about, with a share of wild points.
fn body(chain: u32, x_px: f32, phase: f32, wild: Option<u64>) -> Body {
    let mut points = [Landmark::default(); POINTS];
    let mut state = wild.unwrap_or(1) | 1;
    for (i, p) in points.iter_mut().enumerate() {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        let down: f32 = match i {
            0..=10 => -100.0,
            11..=22 => -60.0,
            23 | 24 => 0.0,
            25 | 26 => 50.0,
            _ => 100.0,
        };
        let swing = (phase + (i % 2) as f32 * std::f32::consts::PI).sin() * (down + 60.0).max(0.0);
        (p.x_px, p.y_px) = (x_px + 0.4 * swing, 380.0 + down);
        (p.z_px, p.visibility) = (0.1 * swing, 0.9);
        if wild.is_some() {
            match state % 9 {
                0 => p.x_px = f32::NAN,
                1 => p.y_px = f32::INFINITY,
                2 => p.x_px = (state % 100_000) as f32 - 50_000.0,
                3 => (p.x_px, p.y_px) = (0.0, 0.0),
                4 => p.visibility = f32::NAN,
                _ => {}
            }
        }
    }
    Body {
        chain,
        points,
        world_m: [[if wild.is_some() { f32::NAN } else { 0.0 }; 3]; POINTS],
        legs: None,
        clarity: None,
        presence: 0.9,
        roi: Roi {
            cx_px: x_px,
            cy_px: 380.0,
            size_px: 250.0,
            rotation_rad: 0.0,
        },
    }
}

/// One frame: a step in time, what the skater's step is off by, and who else
/// is there.
#[derive(Debug, Clone)]
struct Step {
    dt_s: f64,
    off_px: f32,
    wild: Option<u64>,
    hidden: bool,
    others: Vec<(u32, f32, Option<u64>)>,
    size: (u32, u32),
}

fn step() -> impl Strategy<Value = Step> {
    let dt = prop_oneof![
        60 => Just(1.0 / 30.0),
        2 => Just(0.0),
        1 => -0.5f64..0.0,
        4 => 0.0f64..0.2,
        1 => 0.0f64..2.0,
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(1e-9),
    ];
    let other = (
        1u32..4,
        -50f32..1400.0,
        prop::option::weighted(0.3, any::<u64>()),
    );
    let size = prop_oneof![200 => Just((1280, 720)), 1 => Just((1, 1)), 1 => Just((640, 480))];
    let wild = prop::option::weighted(0.04, any::<u64>());
    let others = prop::collection::vec(other, 0..2);
    let hidden = prop::bool::weighted(0.05);
    (dt, -4f32..4.0, wild, hidden, others, size).prop_map(
        |(dt_s, off_px, wild, hidden, others, size)| Step {
            dt_s,
            off_px,
            wild,
            hidden,
            others,
            size,
        },
    )
}

/// No panic, and nothing that is said holds a number that is none: every
/// judged measure, every flag, every cue.
#[test]
fn any_frames_make_no_panic_and_no_judgement_without_a_number() {
    let config = cases(96, Some(file!()));
    let passes = std::cell::Cell::new(0);
    let views = prop::sample::select(View::ALL.to_vec());
    let groups = prop::sample::select(AgeGroup::ALL.to_vec());
    let all = (prop::collection::vec(step(), 0..200), views, groups);
    let ran = TestRunner::new(config).run(&all, |(steps, view, group)| {
        passes.set(passes.get() + chain_holds(steps, view, group)?);
        Ok(())
    });
    ran.unwrap();
    // Else nothing was tested.
    assert!(passes.get() > 50, "{}", passes.get());
}

/// Gives the number of passes.
fn chain_holds(steps: Vec<Step>, view: View, group: AgeGroup) -> Result<u32, TestCaseError> {
    let lane = Lane {
        view,
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
    };
    let mut tracker = Tracker::new(lane.clone(), TrackSettings::default());
    let mut coach = CueSelector::new(FeedbackSettings::default());
    let thresholds = Thresholds::defaults(group);
    let (mut t_s, mut x_px, mut chain) = (0.0, 40.0, 10);
    let mut events = Vec::new();
    for (n, step) in steps.into_iter().enumerate() {
        let at_s = t_s + step.dt_s;
        if at_s.is_finite() {
            // Five metres a second, six metres away (see the lane).
            x_px += 888.0 * step.dt_s as f32 + step.off_px;
            t_s = at_s;
        }
        if !(20.0..1250.0).contains(&x_px) {
            (x_px, chain) = (40.0, chain + 1);
        }
        let skater = (!step.hidden).then_some((chain, x_px, step.wild));
        let bodies = skater
            .into_iter()
            .chain(step.others)
            .map(|(chain, x_px, wild)| body(chain, x_px, 0.35 * n as f32, wild))
            .collect();
        events.extend(tracker.push(&PoseFrame {
            seq: n as u64,
            captured_at_s: at_s,
            width: step.size.0,
            height: step.size.1,
            bodies,
        }));
    }
    events.extend(tracker.finish());
    prop_assert_eq!(
        tracker.passing().count(),
        0,
        "nothing is open after the end"
    );
    let mut passes = 0;
    for event in events {
        let TrackEvent::PassEnded(pass) = event else {
            continue;
        };
        passes += 1;
        prop_assert!(pass.samples.windows(2).all(|w| w[0].t_s < w[1].t_s));
        let judged = judge(&cut(&pass, &lane), &thresholds);
        prop_assert!(judged.started_at_s <= judged.ended_at_s);
        for push in &judged.pushes {
            prop_assert!(push.push_start_s < push.toe_off_s);
            for m in push.measures.values().filter(|m| m.is_judged()) {
                prop_assert!(m.value.is_some_and(f64::is_finite), "{:?}", m);
            }
            for flag in &push.flags {
                prop_assert!(flag.value.is_finite() && flag.limit.is_finite());
            }
        }
        for m in judged.quantities.values().filter(|m| m.is_judged()) {
            prop_assert!(m.value.is_some_and(f64::is_finite), "{:?}", m);
        }
        if let CueKind::Do { value, limit, .. } = coach.after_pass(&judged).kind {
            prop_assert!(value.is_finite() && limit.is_finite());
        }
    }
    Ok(passes)
}

proptest! {
    #![proptest_config(cases(64, None))]

    /// Bytes of a sessions file are changed, or its end is cut off. The
    /// station can record afterwards, either in what is left of the file or in
    /// a new one with the old one set aside; nothing panics on the way.
    #[test]
    fn a_sessions_file_damaged_anywhere_does_not_stop_the_next_session(
        spots in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..40),
        cut_at in prop::option::weighted(0.3, any::<prop::sample::Index>()),
        header in prop::bool::weighted(0.2),
    ) {
        let dir = tempfile::tempdir().unwrap();
        {
            let mut store = Store::open(dir.path()).unwrap();
            let id = store.begin_session(&session()).unwrap();
            for n in 1..4 {
                store.write_pass(&id, &(pass(n), cue(n)).into()).unwrap();
            }
            store.end_session(&id).unwrap();
        }
        let file = dir.path().join(SESSIONS_FILE);
        let mut bytes = std::fs::read(&file).unwrap();
        for (spot, value) in spots {
            let length = if header { 100 } else { bytes.len() };
            let at = spot.index(length);
            bytes[at] = value;
        }
        if let Some(cut_at) = cut_at {
            bytes.truncate(cut_at.index(bytes.len()));
        }
        std::fs::write(&file, bytes).unwrap();

        // A value changed inside a good record is seen by the check sum of its
        // pass; what is recorded afterwards reads as it was written.
        let recorded = |store: &mut Store| -> Result<(), kickplate::store::StoreError> {
            let id = store.begin_session(&session())?;
            store.write_pass(&id, &(pass(7), cue(7)).into())?;
            let back = store.load_session(id.number())?;
            assert_eq!(back.passes.len(), 1);
            assert_eq!(back.passes[0].pass, pass(7));
            Ok(())
        };
        let said = match Store::open(dir.path()) {
            Ok(mut store) => {
                for session in store.sessions().unwrap_or_default() {
                    // No old pass reads as another one either: it is as it
                    // was, or it is named as damaged.
                    let Ok(back) = store.load_session(session.id.number()) else {
                        continue;
                    };
                    for read in &back.passes {
                        prop_assert_eq!(&read.pass, &pass(read.number));
                        prop_assert_eq!(&read.cue, &cue(read.number));
                    }
                }
                recorded(&mut store).err().map(|e| e.to_string())
            }
            Err(e) => Some(e.to_string()),
        };
        if let Some(said) = said {
            // Not recordable: then the sentence names the file.
            prop_assert!(said.contains("sessions"), "{}", said);
        }
    }
}
