//! A session and passes to store, with every kind of value in them.

#![allow(dead_code, reason = "each test file uses its own part of these")]

use kickplate::config::{Lane, Subject, Travel, View};
use kickplate::feedback::{Cue, CueKind, CueLeg};
use kickplate::rules::{
    AgeGroup, Flag, JudgedPass, JudgedPush, Leg, Measure, NotJudged, QuantityId, QuantityMap,
    RuleId, RuleMap, Thresholds,
};
use kickplate::store::{EngineInfo, SessionInfo, SourceInfo, SourceKind};

pub fn lane() -> Lane {
    Lane {
        view: View::Side,
        camera_height_m: 1.4,
        tilt_deg: 4.0,
        hfov_deg: 62.0,
        roll_deg: -0.5,
        lane_distance_m: 6.0,
        travel: Travel::RightToLeft,
        skater_height_m: 1.55,
        subject: Subject::People,
        errors: Default::default(),
        checked: None,
    }
}

pub fn source() -> SourceInfo {
    SourceInfo {
        kind: SourceKind::Video,
        name: "clip.mp4".to_owned(),
        width: 1280,
        height: 720,
        frames_per_second: Some(30.0),
        frames: Some(222),
    }
}

pub fn engine() -> EngineInfo {
    EngineInfo {
        program_version: "0.1.0".to_owned(),
        backend: "embedded".to_owned(),
        model: "full".to_owned(),
        model_sha256: None,
    }
}

pub fn session() -> SessionInfo {
    SessionInfo {
        source: source(),
        lane: lane(),
        engine: engine(),
        age_group: AgeGroup::U15,
        started: "2026-01-17T18:05:00+01:00[Europe/Zurich]".parse().unwrap(),
    }
}

/// Pass `number`, with three pushes.
pub fn pass(number: u32) -> JudgedPass {
    let mut thresholds = Thresholds::defaults(AgeGroup::U15);
    // Changed in the middle of the session, as a coach may.
    if number > 2 {
        thresholds.limits[RuleId::KneeBend].at_most = Some(112.0);
    }
    let start = f64::from(number) * 10.0;
    JudgedPass {
        track_id: 100 + number,
        started_at_s: start,
        ended_at_s: start + 2.4,
        speed_mps: 5.25,
        view: View::Side,
        thresholds,
        pushes: (0..3).map(|i| push(i, start)).collect(),
        quantities: quantities(),
    }
}

fn quantities() -> QuantityMap<Measure> {
    QuantityMap::from_fn(|id: QuantityId| {
        let q = id as usize;
        match q % 3 {
            0 => Measure::judged(2.5 + q as f64, 0.25, "mean of 4 steps"),
            1 => Measure::not_judged(NotJudged::NotFromSide),
            _ => Measure::unsure(0.125, 0.5, NotJudged::HandNearTheLine),
        }
    })
}

fn push(i: u32, start: f64) -> JudgedPush {
    let measures = RuleMap::from_fn(|id: RuleId| {
        let r = id as usize;
        if r.is_multiple_of(2) {
            let value = 100.0 + r as f64 + f64::from(i) / 8.0;
            Measure::judged(value, 2.5, "near leg, 9 frames")
        } else {
            Measure::not_judged(NotJudged::NotFromSide)
        }
    });
    JudgedPush {
        quality: None,
        leg: if i == 1 { Leg::Right } else { Leg::Left },
        near_leg: [Some(true), Some(false), None][i as usize % 3],
        push_start_s: start + 0.4 * f64::from(i),
        toe_off_s: start + 0.4 * f64::from(i) + 0.3,
        measures,
        flags: if i == 2 {
            Vec::new()
        } else {
            vec![
                Flag {
                    rule: RuleId::KneeBend,
                    value: 131.25,
                    limit: 120.0,
                },
                Flag {
                    rule: RuleId::TrunkLean,
                    value: 12.5,
                    limit: 30.0,
                },
            ]
        },
    }
}

pub fn cue(number: u32) -> Cue {
    Cue {
        pass_number: number,
        track_id: 100 + number,
        kind: match number % 3 {
            0 => CueKind::Praise,
            1 => CueKind::Do {
                rule: RuleId::KneeBend,
                value: 131.25,
                limit: 120.0,
                leg: CueLeg::Both,
                flagged_pushes: 2,
                good: None,
            },
            _ => CueKind::NotJudged {
                reason: NotJudged::LegsMixedUp,
            },
        },
    }
}

/// The body points of pass `number`, as they are stored: whole depths, and
/// visibilities in 255ths.
pub fn tracked(number: u32) -> kickplate::track::Pass {
    use kickplate::pose::Landmark;
    let sample = |i: u32| kickplate::track::Sample {
        t_s: f64::from(number) * 10.0 + f64::from(i) / 30.0,
        points: std::array::from_fn(|p| Landmark {
            x_px: 100.0 + i as f32 * 8.5 + p as f32 * 0.37,
            y_px: 300.0 + (i as f32 * 0.4).sin() * 20.0 + p as f32,
            z_px: p as f32 - 16.0,
            visibility: (200 + i % 50) as f32 / 255.0,
        }),
        legs: None,
        clarity: None,
        lane_m: (i % 9 != 4).then_some([f64::from(i) * 0.17 - 4.0, 6.0]),
    };
    kickplate::track::Pass {
        track_id: 100 + number,
        samples: (0..72).map(sample).collect(),
        frame_px: [1280, 720],
        speed_mps: 5.25,
        heading: [-1.0, 0.0],
    }
}

/// Pictures of a push, each with bytes of its own.
pub fn strip(push: u32, rule: RuleId) -> kickplate::store::PictureStrip {
    let shot = |i: u8| kickplate::store::Shot {
        captured_at_s: 10.0 + f64::from(i) / 30.0,
        jpeg: [
            b"\xFF\xD8picture-of-a-skater".as_slice(),
            &[i; 40],
            b"\xFF\xD9",
        ]
        .concat(),
    };
    kickplate::store::PictureStrip {
        push,
        rule,
        flagged_at_s: 10.1,
        size_px: [640, 360],
        frame_px: [1280, 720],
        faces_blurred: true,
        shots: (0..5).map(shot).collect(),
    }
}
