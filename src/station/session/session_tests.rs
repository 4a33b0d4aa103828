//! From tracked passes over the queue to the disk, as the live station does
//! it; only the camera and the pose model's frames are made up.

use std::sync::Mutex;

use super::*;
use crate::capture::Frame;
use crate::config::{Lane, View};
use crate::pose::{Body, ModelKind, POINTS, PoseFrame};
use crate::roster::{Consent, Queue, Skater};
use crate::rules::{AgeGroup, AgeGroups, RuleId};
use crate::station::presenter::{Outputs, PresenterThread, lane_picture};
use crate::station::settings::choices::ModelChoice;
use crate::station::settings::privacy::PrivacySettings;
use crate::store::{Archive, EngineInfo, PassKey, SourceKind};
use crate::stride::synthetic::{self, Skater as Stick};
use crate::track::Pass;

const FPS: f64 = 30.0;

fn stick() -> Stick {
    // Far too upright: flagged.
    Stick {
        knee_deg: 150.0,
        ..Stick::default()
    }
}

/// Each pass that was announced, and what became of it on the disk.
type HeardPasses = Arc<Mutex<Vec<(FinishedPass, Option<Written>)>>>;

struct Rig {
    dir: tempfile::TempDir,
    settings: SharedSettings,
    session: Session,
    presenter: PresenterHandle,
    /// Its end is not waited for.
    _thread: PresenterThread,
    passes: HeardPasses,
    archive: Archive,
    lane: Lane,
    roster: Arc<Vec<Skater>>,
    next_track: u32,
    clock_s: f64,
}

impl Rig {
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
            at_most: Some(99.0),
            ..AgeGroups::defaults().thresholds(AgeGroup::U15).limits[RuleId::KneeBend]
        };
        sasha.overrides.insert(RuleId::KneeBend, own);
        archive.add_skaters(&[robin, sasha]).unwrap();
        let roster = Arc::new(archive.skaters().unwrap());
        let settings = SharedSettings::new(LiveSettings {
            privacy,
            roster: Arc::clone(&roster),
            ..LiveSettings::of_clip(lane.clone(), AgeGroup::Adult, AgeGroups::defaults())
        });
        let pictures = PictureMaker::start();
        let (presenter, thread) = PresenterHandle::start(Outputs {
            pictures: pictures.clone(),
            ..Outputs::none()
        })
        .unwrap();
        let passes: HeardPasses = Arc::default();
        let heard = Arc::clone(&passes);
        let mut session = Session::new(SessionParts {
            settings: settings.clone(),
            presenter: presenter.clone(),
            pictures,
            speaker: None,
            recordings: Some(dir.path().to_owned()),
            own_sessions: false,
            second: None,
            health: None,
            watchdog: Watchdog::default(),
            inbox: None,
            on_pass: Box::new(move |finished, written| {
                heard
                    .lock()
                    .unwrap()
                    .push((finished.clone(), written.cloned()));
            }),
        });
        let order = roster.iter().map(|s| s.id).collect();
        on_queue(&mut session, |q| q.set_order(order));
        session.event(VisionEvent::SourceBegins(Box::new(begins(&settings))));
        session.event(VisionEvent::FirstFrame([1280, 720]));
        Rig {
            dir,
            settings,
            session,
            presenter,
            _thread: thread,
            passes,
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
    fn pass(&mut self) -> FinishedPass {
        let mut pass = stick().pass(&self.lane, FPS);
        let track_id = self.next_track;
        pass.track_id = track_id;
        self.next_track += 1;
        let begin_s = pass.samples[0].t_s;
        for sample in &mut pass.samples {
            sample.t_s += self.clock_s - begin_s;
        }
        self.clock_s = pass.ended_at_s() + 3.0;
        self.film(&pass);
        let started = PassEvent::Started {
            track_id,
            passing: vec![track_id],
        };
        let ended = PassEvent::Ended {
            pass: Box::new(pass),
            read_by: ModelKind::Full,
            camera_moved: false,
        };
        self.session.pass(started);
        let before = self.passes.lock().unwrap().len();
        self.session.pass(ended);
        let passes = self.passes.lock().unwrap();
        assert_eq!(passes.len(), before + 1, "no pass was judged");
        passes[before].0.clone()
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
                    clarity: None,
                    presence: 1.0,
                    roi: Default::default(),
                }],
            };
            let picture = lane_picture(&frame, &poses, true).unwrap();
            self.presenter.film().send(picture).unwrap();
        }
    }

    fn end(&mut self) -> i64 {
        let last = self.session.end_source().unwrap();
        assert_eq!((last.lost, last.pictures_lost), (0, 0));
        last.session.unwrap().number()
    }

    fn view(&mut self) -> Arc<SessionView> {
        self.session.look_after();
        self.session.publish();
        self.session.view.load_full()
    }
}

fn on_queue(session: &mut Session, change: impl FnOnce(&mut Queue) + Send + 'static) {
    let (done, answer) = crossbeam_channel::bounded(1);
    let change = Box::new(move |queue: &mut SkaterQueue| change(queue.queue()));
    session.command(SessionCommand::Queue(change, done));
    answer.try_recv().unwrap();
}

fn begins(settings: &SharedSettings) -> SourceBegins {
    let now = settings.load();
    SourceBegins {
        kind: SourceKind::Camera,
        name: "rink".into(),
        frames_per_second: Some(FPS),
        settings: now.source.clone(),
        track: now.track,
        model: ModelAtWork {
            model: ModelChoice::Lite,
            record: EngineInfo {
                program_version: "0".into(),
                backend: "embedded".into(),
                model: "lite".into(),
                model_sha256: None,
            },
            note: None,
        },
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
    let mut s = Rig::start(keeping());
    let (robin, sasha) = (s.id("Robin"), s.id("Sasha"));
    let first = s.pass();
    let second = s.pass();
    on_queue(&mut s.session, Queue::unknown);
    let third = s.pass();
    assert_eq!(
        [first.skater, second.skater, third.skater],
        [Some(robin), Some(sasha), None]
    );
    let groups = [&first, &second, &third].map(|j| j.pass.thresholds.age_group);
    assert_eq!(groups, [AgeGroup::U9, AgeGroup::U15, AgeGroup::Adult]);
    assert_eq!(
        second.pass.thresholds.limits[RuleId::KneeBend].at_most,
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
    let mut s = Rig::start(PrivacySettings::default());
    let sign = |s: &Rig| s.settings.load().pictures_are_kept();
    assert!(!sign(&s));
    s.pass();
    s.settings.change(|now| now.privacy = keeping());
    assert!(sign(&s));
    // Nobody is left who agreed.
    s.settings.change(|now| {
        let rest = now.roster.iter().filter(|k| k.name == "Sasha");
        now.roster = Arc::new(rest.cloned().collect());
    });
    assert!(!sign(&s));
    let ended = s.end();
    let session = s.archive.load_session(ended).unwrap();
    assert_eq!(session.passes[0].strips.len(), 0);
    assert!(!s.dir.path().join(crate::store::PICTURES_FOLDER).exists());
}

#[test]
fn without_a_roster_everybody_is_nobody_and_the_groups_limits_hold() {
    let mut s = Rig::start(keeping());
    s.settings.change(|now| now.roster = Arc::default());
    let judged = s.pass();
    assert_eq!(
        (judged.skater, judged.consents, &judged.lane),
        (None, false, &None)
    );
    assert_eq!(judged.pass.thresholds, s.settings.load().thresholds());
    assert_eq!(judged.cue.pass_number, 1);
}

#[test]
fn new_limits_hold_from_the_next_pass_on_and_another_lane_waits_for_its_session() {
    let mut s = Rig::start(PrivacySettings::default());
    s.settings.change(|now| now.roster = Arc::default());
    let first = s.pass();
    s.settings.change(|now| now.age_group = AgeGroup::U9);
    s.settings
        .change_source(|source| source.lane.lane_distance_m += 1.0);
    let second = s.pass();
    assert_eq!(second.pass.thresholds.age_group, AgeGroup::U9);
    assert_ne!(first.pass.thresholds, second.pass.thresholds);
    // The lane is that of the source that runs.
    assert_eq!(s.session.judge.judging().lane, s.lane);
    assert_eq!(second.cue.pass_number, 2);

    s.end();
    let began = begins(&s.settings);
    assert_ne!(began.settings.lane, s.lane);
    let other = began.settings.lane.clone();
    s.session.event(VisionEvent::SourceBegins(Box::new(began)));
    assert_eq!(s.session.judge.judging().lane, other);
    // The count of passes goes on.
    assert_eq!(s.pass().cue.pass_number, 3);
}

#[test]
fn a_pass_is_on_the_disk_before_anybody_hears_of_it_or_it_is_said() {
    let mut s = Rig::start(PrivacySettings::default());
    s.pass();
    let said = s.passes.lock().unwrap()[0].1.clone();
    let stored = s.view().recording.as_ref().unwrap().written;
    match said {
        Some(Written::OnDisk) => assert_eq!(stored, 1),
        other => assert_eq!(other, Some(Written::Waiting)),
    }
}

#[test]
fn the_view_shows_the_last_pass_the_queue_and_the_recording() {
    let mut s = Rig::start(PrivacySettings::default());
    let judged = s.pass();
    let view = s.view();
    assert_eq!(view.last.as_ref(), Some(&judged.cue));
    assert_eq!(view.queue.last, Some(Some(s.id("Robin"))));
    assert_eq!(view.queue.current, Some(s.id("Sasha")));
    assert_eq!(view.kept_queue.order(), view.queue.order);
    assert_eq!(view.frame_px, Some([1280, 720]));
    assert_eq!(view.model, Some(ModelChoice::Lite));
    assert!(view.recording.is_some());
}

#[test]
fn a_pass_that_was_somebody_elses_moves_the_queue_behind_them() {
    let mut s = Rig::start(PrivacySettings::default());
    let (robin, sasha) = (s.id("Robin"), s.id("Sasha"));
    s.pass();
    let (done, answer) = crossbeam_channel::bounded(1);
    s.session
        .command(SessionCommand::Correct(1, Some(sasha), done));
    answer.try_recv().unwrap();
    let view = s.view();
    assert_eq!(view.queue.last, Some(Some(sasha)));
    assert_eq!(view.queue.current, Some(robin));
}
