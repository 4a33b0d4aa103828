//! A station in full work, made up: what the panel shows in tests and in
//! pictures of it. Nobody in it exists.

#![allow(dead_code, reason = "each test file uses a part of it")]
#![allow(clippy::unwrap_used, reason = "a test may end at once")]

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use kickplate::config::{Lane, Subject, Travel, View};
use kickplate::display::PreviewImage;
use kickplate::geometry::Known;
use kickplate::panel::{
    Agreement, CameraEntry, CurveOf, CurvePoint, FileKind, FolderEntry, FolderView, LaneEntry,
    LivePart, PanelView, PassRow, PictureAdvice, PictureCheck, PinState, Place, Privacy, Progress,
    ProgressPoint, ProgressSeries, PushDetail, PushRow, QueueView, ScaleResult, StationPart,
    StoredMeasures, StoredPictures,
};
use kickplate::roster::{BandColour, Consent, Skater, SkaterId};
use kickplate::rules::{
    AgeGroup, AgeGroups, Flag, JudgedPush, Leg, Measure, NotJudged, RULES, RuleId, RuleMap, Sense,
    Thresholds, Unit,
};
use kickplate::store::{
    EngineInfo, PassKey, PushKey, PushNote, SessionInfo, SessionSummary, SourceInfo, SourceKind,
    Store, Verdict,
};

pub const FRAME_PX: [u32; 2] = [1280, 720];

pub fn lane() -> Lane {
    Lane {
        view: View::Side,
        camera_height_m: 2.31,
        tilt_deg: 9.1,
        hfov_deg: 68.0,
        roll_deg: -0.4,
        lane_distance_m: 6.2,
        travel: Travel::LeftToRight,
        skater_height_m: 1.55,
        subject: Subject::People,
        errors: Default::default(),
        checked: None,
    }
}

pub fn skaters() -> Vec<Skater> {
    let names = [
        "Robin",
        "Sascha",
        "Kim",
        "Alexis",
        "Charlie",
        "Sam",
        "Maxime",
        "Noa",
        "Dominique",
        "Toni",
        "Jo",
    ];
    names
        .iter()
        .enumerate()
        .map(|(i, name)| Skater {
            id: SkaterId(i as i64 + 1),
            name: (*name).to_owned(),
            bib: (i != 2).then(|| (4 + 3 * i).to_string()),
            band: (i % 3 != 2).then(|| BandColour::ALL[i % 8]),
            age_group: if i % 4 == 3 {
                AgeGroup::U15
            } else {
                AgeGroup::U13
            },
            height_m: (i % 2 == 0).then_some(1.45 + 0.03 * i as f64),
            consent: (i % 3 != 1).then(|| Consent {
                given_on: jiff::civil::date(2026, 9, 12),
                given_by: "a parent".to_owned(),
            }),
            overrides: BTreeMap::new(),
            focus: None,
        })
        .collect()
}

/// Ice, boards and somebody on it.
pub fn picture(shift: i32) -> Arc<PreviewImage> {
    let (w, h) = (640i32, 360i32);
    let mut rgb = Vec::with_capacity((w * h * 3) as usize);
    for y in 0..h {
        for x in 0..w {
            let boards = (95..150).contains(&y);
            let kick = (142..150).contains(&y);
            let line = (x - 200 - (y - 150) / 6).abs() < 5 && y > 150;
            let (dx, dy) = (x - 330 - shift, y - 225);
            let head = (dx - 22) * (dx - 22) + (dy + 92) * (dy + 92) < 16 * 16;
            let trunk = (dx - (10 - dy / 4)).abs() < 17 && (-80..-10).contains(&dy);
            let leg = (dx - dy / 3).abs() < 11 && (-12..62).contains(&dy);
            let other = (dx + dy / 2 + 8).abs() < 10 && (-12..56).contains(&dy);
            let pixel = if head {
                [40, 44, 60]
            } else if trunk {
                [30, 80, 150]
            } else if leg || other {
                [35, 38, 46]
            } else if kick {
                [225, 190, 40]
            } else if boards {
                [236, 238, 240]
            } else if y < 95 {
                [70, 78, 88]
            } else if line {
                [60, 110, 190]
            } else {
                let v = (196 + (y - 150) / 6 + (x * 7 + y * 13) % 5) as u8;
                [v, v.saturating_add(6), v.saturating_add(12)]
            };
            rgb.extend(pixel.map(|v: u8| v));
        }
    }
    Arc::new(PreviewImage::from_rgb(w as u32, h as u32, &rgb, 640).unwrap())
}

/// A push with one value per rule; the rules named are flagged.
fn push(leg: Leg, at_s: f64, seed: usize, flagged: &[RuleId]) -> JudgedPush {
    let thresholds = Thresholds::defaults(AgeGroup::U13);
    let mut flags = vec![];
    let measures = RuleMap::from_fn(|id: RuleId| {
        let (i, rule, limits) = (id as usize, id.rule(), &thresholds.limits[id]);
        if !rule.views.contains(&View::Side) {
            return Measure::not_judged(NotJudged::TrunkNotSeen);
        }
        let (small, error) = match rule.unit {
            Unit::Deg => (1.0, 4.0),
            Unit::Metre => (0.01, 0.03),
        };
        let wobble = ((seed * 7 + i * 3) % 9) as f64 * small;
        let limit = match rule.sense {
            Sense::AtMost | Sense::Between => limits.at_most.unwrap(),
            Sense::AtLeast => limits.at_least.unwrap(),
        };
        let beyond = flagged.contains(&rule.id);
        let out = limits.dead_band + 4.0 * small + wobble;
        let value = match (rule.sense, beyond) {
            (Sense::AtLeast, true) => limit - out,
            (Sense::AtLeast, false) => limit + wobble,
            (_, true) => limit + out,
            (_, false) => limit - wobble - 2.0 * small,
        };
        if beyond {
            flags.push(Flag {
                rule: rule.id,
                value,
                limit,
            });
        }
        if i == 1 && seed.is_multiple_of(3) {
            return Measure::not_judged(NotJudged::FarLegHidden);
        }
        Measure::judged(value, error, "angles of the glide together")
    });
    JudgedPush {
        quality: None,
        leg,
        near_leg: Some(leg == Leg::Right),
        push_start_s: at_s,
        toe_off_s: at_s + 0.42,
        measures,
        flags,
    }
}

pub fn pass_key(number: u32) -> PassKey {
    PassKey { session: 2, number }
}

pub fn passes() -> Vec<PassRow> {
    (1..=12u32)
        .rev()
        .map(|number| {
            let n = number as usize;
            let pushes = (0..5)
                .map(|i| {
                    let leg = if i % 2 == 0 { Leg::Left } else { Leg::Right };
                    let flagged: &[RuleId] = match (n + i) % 4 {
                        0 => &[RuleId::KneeBend],
                        1 if n.is_multiple_of(3) => &[RuleId::Extension, RuleId::TrunkLean],
                        _ => &[],
                    };
                    let mut note = PushNote::default();
                    if number == 11 && flagged.contains(&RuleId::KneeBend) {
                        let verdict = if i % 2 == 0 {
                            Verdict::Confirmed
                        } else {
                            Verdict::Dismissed
                        };
                        note.verdicts.insert(RuleId::KneeBend, verdict);
                        note.starred = true;
                    }
                    PushRow {
                        judged: push(leg, n as f64 * 20.0 + i as f64 * 0.5, n * 5 + i, flagged),
                        note,
                        has_pictures: i < 3,
                    }
                })
                .collect();
            PassRow {
                key: pass_key(number),
                at: format!("18:{:02}", 4 + number),
                skater: (!n.is_multiple_of(5)).then_some(SkaterId(1 + (number as i64 - 1) % 9)),
                view: View::Side,
                speed_mps: 5.1 + 0.1 * n as f64,
                watched: RuleMap::from_fn(|_| true),
                thumbnail: (!n.is_multiple_of(4)).then(|| thumbnail(n as i32)),
                cue: if n % 4 == 2 { "Well done" } else { "Ride low" }.to_owned(),
                pushes,
            }
        })
        .collect()
}

/// A skater's small picture, square.
pub fn thumbnail(n: i32) -> Arc<PreviewImage> {
    let whole = picture(4 * (n % 5) - 8);
    let (w, h) = whole.size();
    let side = h;
    let left = (w - side) / 2;
    let rgb: Vec<u8> = whole
        .rgb()
        .chunks_exact(w as usize * 3)
        .flat_map(|row| row[left as usize * 3..(left + side) as usize * 3].to_vec())
        .collect();
    Arc::new(PreviewImage::from_rgb(side, side, &rgb, 180).unwrap())
}

pub fn push_detail(key: PushKey) -> PushDetail {
    let curve = (0..60)
        .map(|i| {
            let t = f64::from(i) / 59.0;
            CurvePoint {
                at_s: 240.0 + 0.7 * t,
                value_deg: 128.0 + 26.0 * (t * 3.4).cos() + 14.0 * t,
            }
        })
        .collect();
    PushDetail {
        key,
        leg: Leg::Left,
        rule: RuleId::KneeBend,
        pictures: (0..9)
            .map(|i| (240.0 + 0.08 * f64::from(i), picture(-60 + 14 * i)))
            .collect(),
        flagged: 4,
        curve_of: CurveOf::Knee,
        curve,
        measured: Some((134.0, 4.0)),
        instant_s: 240.32,
        limits: Thresholds::defaults(AgeGroup::U13).limits[RuleId::KneeBend],
    }
}

/// Two sessions, as a real sessions file lists them.
pub fn sessions() -> Vec<SessionSummary> {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    for day in ["2026-11-18", "2026-11-25"] {
        let info = SessionInfo {
            source: SourceInfo {
                kind: SourceKind::Camera,
                name: "camera".to_owned(),
                width: 1280,
                height: 720,
                frames_per_second: Some(30.0),
                frames: None,
            },
            lane: lane(),
            engine: EngineInfo {
                program_version: "0.1.0".to_owned(),
                backend: "native".to_owned(),
                model: "full".to_owned(),
                model_sha256: None,
            },
            age_group: AgeGroup::U13,
            started: format!("{day}T18:02:00+01:00[Europe/Zurich]")
                .parse()
                .unwrap(),
        };
        let id = store.begin_session(&info).unwrap();
        store.end_session(&id).unwrap();
    }
    // Newest first, as the view has them.
    let mut sessions = store.sessions().unwrap();
    sessions.sort_by_key(|s| std::cmp::Reverse(s.id.number()));
    sessions
}

pub fn progress(skater: SkaterId) -> Progress {
    let series = RULES
        .iter()
        .filter(|r| r.views.contains(&View::Side))
        .enumerate()
        .map(|(i, rule)| {
            let limits = rule.defaults[AgeGroup::U13 as usize];
            let unit = if rule.unit == Unit::Deg { 1.0 } else { 0.01 };
            let limit = limits.at_most.or(limits.at_least).unwrap();
            let points = (0..7)
                .map(|n| ProgressPoint {
                    session: n,
                    day: format!("{} Oct", 4 + 3 * n),
                    median: limit
                        + unit * (14.0 - 2.6 * n as f64 + ((n as usize * 5 + i) % 4) as f64),
                    uncertainty: unit * (3.0 + (n % 3) as f64),
                    pushes: 18 + n as u32,
                })
                .collect();
            ProgressSeries {
                rule: rule.id,
                limits,
                points,
            }
        })
        .collect();
    Progress { skater, series }
}

pub fn scale() -> ScaleResult {
    let known = |value, error| Known { value, error };
    ScaleResult {
        lane: lane(),
        camera_height_m: known(2.31, 0.03),
        tilt_deg: known(9.1, 0.3),
        roll_deg: known(-0.4, 0.2),
        lane_distance_m: known(6.2, 0.08),
        length_error: 0.018,
        misfit_px: 1.2,
    }
}

/// Where a stick is mounted.
pub const STICK: &str = "/media/coach/STICK";

/// The places where a choice begins.
pub fn places() -> FolderView {
    FolderView {
        kind: FileKind::Roster,
        places: vec![
            Place::Drive(PathBuf::from(STICK)),
            Place::Home(PathBuf::from("/home/coach")),
            Place::Recordings(PathBuf::from("/var/kickplate")),
        ],
        ..FolderView::default()
    }
}

/// A stick with folders and roster files.
pub fn folder() -> FolderView {
    let entries = [
        ("2025", true),
        ("teams", true),
        (
            "team u11 autumn with the new skaters of the second group.csv",
            false,
        ),
        ("u13.csv", false),
        ("u15.tsv", false),
    ];
    FolderView {
        folder: Some(PathBuf::from(STICK)),
        kind: FileKind::Roster,
        entries: entries
            .map(|(name, is_folder)| FolderEntry {
                name: name.to_owned(),
                path: PathBuf::from(STICK).join(name),
                is_folder,
            })
            .to_vec(),
        ..FolderView::default()
    }
}

/// Everything filled.
pub fn rich() -> PanelView {
    let roster = skaters();
    PanelView {
        station: StationPart {
            camera: "live, 1280 x 720".to_owned(),
            camera_live: true,
            fps: Some(29.8),
            dropped: 3,
            corrupt: 0,
            reopened: 1,
            engine: "native, full model".to_owned(),
            sound: "ready".to_owned(),
            recording: "running".to_owned(),
            passes_written: 12,
            free_disk_gb: Some(212.0),
            memory_mb: Some(410.0),
            uptime_s: 1260.0,
            problems: vec![],
            camera_moved: false,
            place_unknown: false,
            lane_example: false,
            sound_level: 0.8,
            ..StationPart::default()
        },
        live: LivePart {
            somebody_passing: false,
            preview: Some(picture(0)),
            frame_px: Some(FRAME_PX),
            last: Some((pass_key(12), "Ride low".to_owned())),
            shown: Some("Ride low".to_owned()),
            picture_age_s: Some(0.1),
            body: Arc::new(vec![
                [[700.0, 292.0], [664.0, 428.0]],
                [[700.0, 292.0], [735.0, 360.0]],
                [[735.0, 360.0], [780.0, 392.0]],
                [[664.0, 428.0], [690.0, 505.0]],
                [[690.0, 505.0], [702.0, 574.0]],
                [[664.0, 428.0], [626.0, 500.0]],
                [[626.0, 500.0], [588.0, 562.0]],
            ]),
            ..LivePart::default()
        },
        queue: QueueView {
            order: roster.iter().map(|s| s.id).collect(),
            current: Some(SkaterId(4)),
            last: Some(Some(SkaterId(3))),
            can_undo: true,
            taken_up: None,
        },
        roster: Arc::new(roster),
        groups: Arc::new(AgeGroups::defaults()),
        can_undo_limits: true,
        age_group: Some(AgeGroup::U13),
        lanes: Arc::new(vec![
            LaneEntry {
                name: "rink 2 blue line".to_owned(),
                file: PathBuf::from("lanes/rink 2 blue line.toml"),
                lane: Ok(lane()),
                in_use: true,
                example: false,
            },
            LaneEntry {
                name: "rink 1 behind the net".to_owned(),
                file: PathBuf::from("lanes/rink 1 behind the net.toml"),
                lane: Ok(Lane {
                    view: View::Front,
                    travel: Travel::Toward,
                    ..lane()
                }),
                in_use: false,
                example: false,
            },
            LaneEntry {
                name: "old".to_owned(),
                file: PathBuf::from("lanes/old.toml"),
                lane: Err("line 3: tilt_deg = 120 is out of range".to_owned()),
                in_use: false,
                example: false,
            },
        ]),
        second: None,
        cameras: Arc::new(vec![
            CameraEntry {
                id: "usb-1".to_owned(),
                name: "Camera at the boards".to_owned(),
                modes: vec![(1280, 720, 60), (1280, 720, 30), (1920, 1080, 30)],
                in_use: true,
            },
            CameraEntry {
                id: "usb-2".to_owned(),
                name: "Built-in camera".to_owned(),
                modes: vec![(1280, 720, 30), (640, 480, 30)],
                in_use: false,
            },
        ]),
        scale: None,
        picture_check: Some(PictureCheck {
            brightness: 164.0,
            clipped_share: 0.031,
            fps: Some(29.8),
            blur_mm: Some(38.0),
            advice: vec![PictureAdvice {
                sentence: "A skater blurs over 38 mm while the shutter is open; set the exposure to 1/500 s or shorter.".to_owned(),
            }],
        }),
        sessions: Arc::new(sessions()),
        session: Some(2),
        passes: Arc::new(passes()),
        push: None,
        effect: None,
        agreement: Arc::new(vec![
            Agreement {
                rule: RuleId::KneeBend,
                confirmed: 21,
                dismissed: 3,
            },
            Agreement {
                rule: RuleId::TrunkLean,
                confirmed: 4,
                dismissed: 6,
            },
        ]),
        progress: None,
        privacy: Privacy {
            keep_pictures: true,
            keep_days: Some(90),
            keep_gb: Some(20.0),
            blur_stored_faces: true,
            stored: StoredPictures {
                strips: 318,
                bytes: 1_420_000_000,
                oldest: Some("2026-09-02".to_owned()),
            },
            keep_measures_days: None,
            measures: StoredMeasures {
                passes: 4210,
                sessions: 61,
                oldest: Some("2024-10-05".to_owned()),
            },
            would_go: None,
        },
        pin: PinState::Open,
        export: None,
        folder: None,
        answer: None,
        ..PanelView::default()
    }
}
