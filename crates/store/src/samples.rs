//! A session and a pass for tests, with the least that is stored.
//!
//! Also for the test programs that stand outside of this crate: they take the file in
//! by its path, beside their own names of the records.

use kickplate_measure::config::{Lane, View};
use kickplate_measure::feedback::{Cue, CueKind};
use kickplate_measure::rules::{AgeGroup, JudgedPass, Thresholds};

use super::{EngineInfo, SessionInfo, SourceInfo, SourceKind};

/// A session of the camera `rink`, now.
pub(crate) fn session() -> SessionInfo {
    let lane = include_str!("../../../config/lane-side.toml");
    SessionInfo {
        source: SourceInfo {
            kind: SourceKind::Camera,
            name: "rink".to_owned(),
            width: 1280,
            height: 720,
            frames_per_second: None,
            frames: None,
        },
        lane: Lane::from_toml(lane, "lane-side.toml").unwrap(),
        engine: EngineInfo {
            program_version: "0".to_owned(),
            backend: "embedded".to_owned(),
            model: "full".to_owned(),
            model_sha256: None,
        },
        age_group: AgeGroup::U13,
        started: jiff::Zoned::now(),
    }
}

/// A praised pass in which nothing was seen; it ends at second `number`.
pub(crate) fn pass(number: u32) -> (JudgedPass, Cue) {
    let pass = JudgedPass {
        track_id: number,
        started_at_s: 0.0,
        ended_at_s: f64::from(number),
        speed_mps: 5.0,
        view: View::Side,
        thresholds: Thresholds::defaults(AgeGroup::U13),
        pushes: Vec::new(),
        quantities: Default::default(),
    };
    let cue = Cue {
        pass_number: number,
        track_id: number,
        kind: CueKind::Praise,
    };
    (pass, cue)
}
