//! From tracked passes over the queue to the disk, as the live station does
//! it; only the camera and the pose model's frames are made up.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::capture::{Feed, FeedState, FeedStatus, Frame, Pace, SourceSpec};
use crate::config::{Lane, View};
use crate::display::{Screen, ScreenGeometry};
use crate::feedback::FeedbackSettings;
use crate::pose::{Body, POINTS, PoseFrame};
use crate::roster::{Consent, Skater, SkaterId};
use crate::rules::{AgeGroup, AgeGroups, RuleId};
use crate::station::live::open_store;
use crate::station::live::run::{Lateness, run};
use crate::station::presenter::stage::Stage;
use crate::station::session::analyser::{Analyser, Happening, Judged, Judging};
use crate::station::session::control::{Control, Switch};
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::settings::privacy::PrivacySettings;
use crate::store::{Archive, PassKey, SourceKind};
use crate::stride::synthetic::{self, Skater as Stick};
use crate::track::{Pass, TrackEvent, TrackSettings};

const PATIENCE: Duration = Duration::from_secs(30);
const FPS: f64 = 30.0;

fn stick() -> Stick {
    // Far too upright: flagged.
    Stick {
        knee_deg: 150.0,
        ..Stick::default()
    }
}

fn judging(lane: &Lane) -> Judging {
    Judging {
        lane: lane.clone(),
        thresholds: AgeGroups::defaults().thresholds(AgeGroup::Adult),
        track: TrackSettings::default(),
        feedback: FeedbackSettings::default(),
    }
}

struct Station {
    dir: tempfile::TempDir,
    control: Arc<Control>,
    analyser: Analyser,
    stage: Stage,
    archive: Archive,
    lane: Lane,
    roster: Vec<Skater>,
    next_track: u32,
    clock_s: f64,
}

impl Station {
    /// Robin consents and is small; Sasha does not and has own limits.
    fn start(privacy: PrivacySettings) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let lane = synthetic::lane(View::Side, &stick());
        let archive = Archive::open(dir.path()).unwrap();
        let mut robin = Skater::new("Robin", AgeGroup::U9);
        robin.height_m = Some(1.2);
        robin.consent = Some(Consent {
            given_on: "2026-09-01".parse().unwrap(),
            given_by: "Kim".into(),
        });
        let mut sasha = Skater::new("Sasha", AgeGroup::U15);
        let own = crate::rules::Limits {
            high: Some(99.0),
            ..AgeGroups::defaults().thresholds(AgeGroup::U15).limits[RuleId::KneeBend]
        };
        sasha.overrides.insert(RuleId::KneeBend, own);
        archive.add_skaters(&[robin, sasha]).unwrap();
        let roster = archive.skaters().unwrap();
        let control = Arc::new(Control::new(Arc::new(AtomicBool::new(false)), privacy));
        control.lineup.set_roster(Arc::new(roster.clone()));
        control.lineup.set_groups(Arc::new(AgeGroups::defaults()));
        let order = roster.iter().map(|s| s.id).collect();
        control.lineup.queue(|q| q.set_order(order));

        let home = Path::new(env!("CARGO_MANIFEST_DIR"));
        let (model, engine) = (ModelChoice::Lite, EngineChoice::Embedded);
        let mut analyser = Analyser::new(home, model, engine, judging(&lane)).unwrap();
        analyser.follow(Arc::clone(&control));
        let mut stage = Stage::new(ScreenGeometry::default(), "embedded".into());
        stage.follow(Arc::clone(&control));
        stage.open_store = Some(open_store(
            dir.path(),
            "rink".into(),
            SourceKind::Camera,
            Some(FPS),
            &analyser,
            analyser.engine_record(model),
        ));
        Station {
            dir,
            control,
            analyser,
            stage,
            archive,
            lane,
            roster,
            next_track: 1,
            clock_s: 0.0,
        }
    }

    fn id(&self, name: &str) -> SkaterId {
        self.roster.iter().find(|s| s.name == name).unwrap().id
    }

    /// A stick skater goes through the lane while the camera films.
    fn pass(&mut self) -> Judged {
        let mut pass = stick().pass(&self.lane, FPS);
        pass.track_id = self.next_track;
        self.next_track += 1;
        let begin_s = pass.samples[0].t_s;
        for sample in &mut pass.samples {
            sample.t_s += self.clock_s - begin_s;
        }
        self.clock_s = pass.ended_at_s() + 3.0;
        self.film(&pass);
        let started = TrackEvent::PassStarted {
            track_id: pass.track_id,
        };
        assert!(matches!(
            self.analyser.take(vec![started])[..],
            [Happening::Passing]
        ));
        let ended = TrackEvent::PassEnded(Box::new(pass));
        let mut news = self.analyser.take(vec![ended]);
        let Some(Happening::Judged(judged)) = news.pop() else {
            panic!("no pass was judged");
        };
        self.stage.announce(&judged, &live());
        *judged
    }

    fn film(&mut self, pass: &Pass) {
        let [width, height] = pass.frame_px;
        for (seq, sample) in pass.samples.iter().enumerate() {
            let frame = Frame {
                seq: seq as u64,
                captured_at_s: sample.t_s,
                width,
                height,
                rgb: vec![128; (width * height * 3) as usize],
            };
            let poses = PoseFrame {
                seq: seq as u64,
                captured_at_s: sample.t_s,
                width,
                height,
                bodies: vec![Body {
                    chain: 1,
                    points: sample.points,
                    world_m: [[0.0; 3]; POINTS],
                    legs: None,
                    presence: 1.0,
                    roi: Default::default(),
                }],
            };
            self.stage.frame(&frame, &poses);
        }
    }

    fn end(&mut self) -> i64 {
        let last = self.stage.end_recording(PATIENCE).unwrap();
        assert_eq!((last.lost, last.pictures_lost), (0, 0));
        last.session.unwrap().number()
    }
}

fn live() -> FeedStatus {
    FeedStatus {
        state: FeedState::Live,
        message: String::new(),
        fault: None,
        source: "rink".into(),
        frames: 1,
        dropped: 0,
        corrupt: 0,
        reopened: 0,
        fps_measured: FPS,
        last_frame_age_s: Some(0.0),
        shutter_s: None,
    }
}

fn keeping() -> PrivacySettings {
    PrivacySettings {
        keep_pictures: true,
        ..PrivacySettings::default()
    }
}

#[test]
fn each_pass_is_its_skaters_with_own_limits_own_stature_and_own_pictures() {
    let mut s = Station::start(keeping());
    let (robin, sasha) = (s.id("Robin"), s.id("Sasha"));
    let first = s.pass();
    let second = s.pass();
    s.control.lineup.queue(crate::roster::Queue::unknown);
    let third = s.pass();
    assert_eq!(
        [first.skater, second.skater, third.skater],
        [Some(robin), Some(sasha), None]
    );
    let groups = [&first, &second, &third].map(|j| j.pass.thresholds.age_group);
    assert_eq!(groups, [AgeGroup::U9, AgeGroup::U15, AgeGroup::Adult]);
    assert_eq!(
        second.pass.thresholds.limits[RuleId::KneeBend].high,
        Some(99.0)
    );
    assert_eq!(first.lane.as_ref().map(|l| l.skater_height_m), Some(1.2));
    assert_eq!((&second.lane, &third.lane), (&None, &None));
    assert!(!first.pass.pushes.is_empty());

    let ended = s.end();
    let session = s.archive.load_session(ended).unwrap();
    let numbers: Vec<u32> = session.passes.iter().map(|p| p.number).collect();
    assert_eq!(numbers, [1, 2, 3]);
    for (stored, judged) in session.passes.iter().zip([&first, &second, &third]) {
        assert_eq!(stored.skater, judged.skater);
        assert_eq!(stored.pass.thresholds, judged.pass.thresholds);
        // Cut and judged again from what is stored, it is the same pass.
        let key = PassKey {
            session: session.summary.id.number(),
            number: stored.number,
        };
        let points = s.archive.points(key).unwrap().unwrap();
        let motion = crate::stride::cut(&points, session.lane_of(stored));
        let again = crate::rules::judge(&motion, &stored.pass.thresholds);
        assert_eq!(again, judged.pass);
    }
    // Sasha and nobody did not agree to pictures.
    let strips: Vec<usize> = session.passes.iter().map(|p| p.strips.len()).collect();
    assert!((1..=4).contains(&strips[0]), "{strips:?}");
    assert_eq!(strips[1..], [0, 0]);
    let info = &session.passes[0].strips[0];
    let strip = s.archive.strip(info.id).unwrap();
    assert!(strip.faces_blurred && strip.shots.len() >= 10);
    let push = &session.passes[0].pass.pushes[strip.push as usize];
    assert!(push.flags.iter().any(|f| f.rule == strip.rule));
}

#[test]
fn without_the_switch_no_picture_is_kept_and_the_sign_says_which_it_is() {
    let mut s = Station::start(PrivacySettings::default());
    let sign = |s: &Station| s.stage.model(Screen::Waiting, &live()).status.pictures_kept;
    assert!(!sign(&s));
    s.pass();
    s.control.set_privacy(keeping());
    assert!(sign(&s));
    // Nobody is left who agreed.
    let sasha = s
        .roster
        .iter()
        .filter(|k| k.name == "Sasha")
        .cloned()
        .collect();
    s.control.lineup.set_roster(Arc::new(sasha));
    assert!(!sign(&s));
    let ended = s.end();
    let session = s.archive.load_session(ended).unwrap();
    assert_eq!(session.passes[0].strips.len(), 0);
    assert!(!s.dir.path().join(crate::store::PICTURES_FOLDER).exists());
}

#[test]
fn without_a_roster_everything_is_as_before() {
    let mut s = Station::start(keeping());
    s.control.lineup.set_roster(Arc::new(Vec::new()));
    let judged = s.pass();
    assert_eq!(
        (judged.skater, judged.consents, &judged.lane),
        (None, false, &None)
    );
    assert_eq!(judged.pass.thresholds, judging(&s.lane).thresholds);
    assert_eq!(judged.cue.pass_number, 1);
}

#[test]
fn new_limits_hold_from_the_next_pass_on_and_another_lane_waits_for_its_session() {
    let mut s = Station::start(PrivacySettings::default());
    s.control.lineup.set_roster(Arc::new(Vec::new()));
    let first = s.pass();
    let mut changed = judging(&s.lane);
    changed.thresholds.limits[RuleId::KneeBend].high = Some(179.0);
    changed.lane.lane_distance_m += 1.0;
    s.control.set_judging(changed.clone());
    let second = s.pass();
    assert_eq!(second.pass.thresholds, changed.thresholds);
    assert_ne!(first.pass.thresholds, second.pass.thresholds);
    assert_eq!(s.analyser.judging().lane, s.lane);
    assert_eq!(second.cue.pass_number, 2);

    // A switch ends the run of the loop, and is then taken.
    assert!(!s.control.end_run().load(Ordering::Relaxed));
    s.control.switch(Switch {
        lane: Some(changed.lane.clone()),
        camera: None,
        ..Switch::default()
    });
    s.stage.show(&live(), false);
    assert!(s.control.end_run().load(Ordering::Relaxed));
    assert_eq!(s.control.take_switch().unwrap().lane, Some(changed.lane));
    s.stage.show(&live(), false);
    assert!(!s.control.end_run().load(Ordering::Relaxed));
}

#[test]
fn another_reading_distance_holds_at_once() {
    let mut s = Station::start(PrivacySettings::default());
    let read_from = |s: &mut Station| {
        s.stage.show(&live(), false);
        let model = s.stage.model(crate::display::Screen::Waiting, &live());
        model.geometry.reading_distance_m
    };
    let first = ScreenGeometry::default().reading_distance_m;
    assert_eq!(read_from(&mut s), first);
    s.control.set_reading_distance(f64::from(first) + 3.0);
    assert_eq!(read_from(&mut s), first + 3.0);
}

#[test]
fn the_desk_sees_what_the_stage_tells() {
    let mut s = Station::start(PrivacySettings::default());
    let judged = s.pass();
    let since = Instant::now();
    while s.control.seen().last.is_none() && since.elapsed() < PATIENCE {
        s.stage.show(&live(), true);
        std::thread::sleep(Duration::from_millis(5));
    }
    let seen = s.control.seen();
    assert_eq!(seen.last.as_ref(), Some(&judged.cue));
    assert!(seen.somebody_passing && seen.preview.is_some());
    assert_eq!(seen.frame_px, Some(judged.points.frame_px));
    assert_eq!(seen.recording.as_ref().unwrap().written, 1);
}

/// A camera of 60 a second and the slowest model there is: while frames wait,
/// the estimator is told so.
#[test]
fn a_fast_camera_behind_its_frames_makes_the_live_loop_hurry() {
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    let lane = synthetic::lane(View::Side, &stick());
    let (model, engine) = (ModelChoice::Heavy, EngineChoice::Embedded);
    let mut analyser = Analyser::new(home, model, engine, judging(&lane)).unwrap();
    let mut stage = Stage::new(ScreenGeometry::default(), "embedded".into());
    let path = home.join("tests/truth/clips/side-60/clip.mp4");
    let feed = Feed::start(
        SourceSpec::File { path },
        Pace::Live { repeat: false },
        None,
    );
    let stop = AtomicBool::new(false).into();
    let mut lateness = Lateness::default();
    run(
        &feed,
        &mut analyser,
        &mut stage,
        &stop,
        &mut lateness,
        |_, _, _| {},
    );
    let counters = analyser.estimator().counters();
    assert!(lateness.dropped > 0, "it was not behind: {counters:?}");
    assert!(counters.hurried > 0, "{counters:?}");
}
