//! The coach service: what a coach does, from the command to the files and the view.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use crate::evening_common::rink::copy_folder;
use crate::store_common::{cue, pass, session, strip, tracked};
use kickplate::calibration::Gauged;
use kickplate::capture::CameraRequest;
use kickplate::config::{Lane, Subject, Travel, View};
use kickplate::display::{Language, ScreenPlace, Units, Words};
use kickplate::geometry::Mark;
use kickplate::panel::CheckEnded;
use kickplate::panel::{
    Answer, Command, ExportOrder, ExportWhat, FileKind, FolderView, LaneDraft, LimitEdit, Message,
    PanelView, PanelWords, PinState, Place, QueueStep, WouldGo, cue_line,
};
use kickplate::roster::{Consent, Skater, SkaterId};
use kickplate::ruler::{Difference, stander::Stander};
use kickplate::rules::{AgeGroup, AgeGroups, Limits, RULES, RuleId, Surety};
use kickplate::sound::{MicFault, Microphone};
use kickplate::station::coach_service::{CoachService, CoachSetup, Exporter};
use kickplate::station::live::settings_of;
use kickplate::station::presenter::{Outputs, PresenterHandle};
use kickplate::station::ruler::Checks;
use kickplate::station::session::{self, SessionLink, SessionParts};
use kickplate::station::settings::snapshot::SharedSettings;
use kickplate::station::vision::tracking::PassEvent;
use kickplate::station::vision::watch::VisionEvent;
use kickplate::station::{EngineChoice, ModelChoice};
use kickplate::station::{FinishedPass, Setup, StationSettings};
use kickplate::store::{Archive, KeptQueue, NewPass, PassKey, PushKey, Store, Verdict};

const PATIENCE: Duration = Duration::from_secs(30);

pub(super) struct Station {
    dir: tempfile::TempDir,
    pub(super) settings: SharedSettings,
    session: SessionLink,
    /// As vision, and as who reads what is printed.
    pub(super) vision: crossbeam_channel::Sender<VisionEvent>,
    /// What vision hears of the coach.
    pub(super) stands_right: crossbeam_channel::Receiver<()>,
    judged: crossbeam_channel::Receiver<FinishedPass>,
    desk: CoachService,
    answered: std::cell::Cell<u64>,
}

impl Station {
    pub(super) fn start() -> Self {
        Self::start_with(None)
    }

    fn start_with(exporter: Option<Exporter>) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        for folder in ["config", "lang"] {
            copy_folder(&root.join(folder), &dir.path().join("home").join(folder));
        }
        Self::start_in(dir, exporter)
    }

    /// Ends the desk and starts another one over the same files.
    fn again(self) -> Self {
        let Station { dir, desk, .. } = self;
        drop(desk);
        Self::start_in(dir, None)
    }

    /// A station whose screens are French.
    fn start_french() -> Self {
        let s = Self::start();
        let Station { dir, desk, .. } = s;
        drop(desk);
        let file = dir.path().join("home/config/station.toml");
        let text = std::fs::read_to_string(&file).unwrap();
        let english = "# language = \"en\"";
        assert!(text.contains(english), "{text}");
        std::fs::write(&file, text.replace(english, "language = \"fr\"")).unwrap();
        Self::start_in(dir, None)
    }

    /// A station whose microphone is this one.
    pub(super) fn start_hearing(microphone: Microphone) -> Self {
        let Station { dir, desk, .. } = Self::start();
        drop(desk);
        Self::start_all(dir, None, microphone)
    }

    fn start_in(dir: tempfile::TempDir, exporter: Option<Exporter>) -> Self {
        let none = Microphone::made_of(|_| Err(MicFault::Missing));
        Self::start_all(dir, exporter, none)
    }

    fn start_all(
        dir: tempfile::TempDir,
        exporter: Option<Exporter>,
        microphone: Microphone,
    ) -> Self {
        let home = dir.path().join("home");
        let setup = Setup::load(&home, None).unwrap();
        let age_group = setup.station.age_group;
        let settings =
            SharedSettings::new(settings_of(&setup, age_group, CameraRequest::default()));
        let (session, inbox) = SessionLink::new();
        let stands_right = inbox.stands_right.clone();
        let (vision, events) = crossbeam_channel::bounded(64);
        let (told, judged) = crossbeam_channel::bounded(64);
        let (presenter, _) = PresenterHandle::start(Outputs::none()).unwrap();
        session::start(
            SessionParts {
                settings: settings.clone(),
                presenter,
                pictures: None,
                speaker: None,
                recordings: None,
                own_sessions: false,
                second: None,
                health: None,
                watchdog: Default::default(),
                inbox: Some(inbox),
                on_pass: Box::new(move |finished, _| told.send(finished.clone()).unwrap()),
            },
            events,
        )
        .unwrap();
        let desk = CoachService::start(
            CoachSetup {
                home,
                folder: dir.path().join("recordings"),
                setup,
                lane_file: None,
                microphone,
                exporter,
            },
            settings.clone(),
            session.clone(),
        );
        Station {
            dir,
            settings,
            session,
            vision,
            stands_right,
            judged,
            desk,
            answered: 0.into(),
        }
    }

    /// Somebody passes before a camera that may have been moved; gives what was judged.
    pub(super) fn pass_before(&self, track_id: u32, camera_moved: bool) -> FinishedPass {
        let mut pass = tracked(track_id);
        pass.track_id = track_id;
        let started = PassEvent::Started {
            track_id,
            passing: vec![track_id],
        };
        let ended = PassEvent::Ended {
            pass: Box::new(pass),
            read_by: kickplate::pose::ModelKind::Full,
            camera_moved,
        };
        for event in [started, ended] {
            self.vision.send(VisionEvent::Pass(event, None)).unwrap();
        }
        self.judged.recv_timeout(PATIENCE).unwrap()
    }

    /// Somebody passes; gives what was judged.
    fn pass(&self, track_id: u32) -> FinishedPass {
        self.pass_before(track_id, false)
    }

    pub(super) fn folder(&self) -> PathBuf {
        self.dir.path().join("recordings")
    }

    pub(super) fn config(&self, name: &str) -> PathBuf {
        self.dir.path().join("home/config").join(name)
    }

    pub(super) fn until(&self, what: &str, holds: impl Fn(&PanelView) -> bool) -> Arc<PanelView> {
        let start = Instant::now();
        loop {
            let view = self.desk.view();
            if holds(&view) {
                return view;
            }
            assert!(start.elapsed() < PATIENCE, "never happened: {what}");
            std::thread::sleep(Duration::from_millis(2));
        }
    }

    pub(super) fn ask(&self, command: Command) -> Answer {
        let what = format!("{command:?}");
        // Some answers come by themselves, as that of a recording that has ended.
        let told = self.desk.view().answer.as_ref().map_or(0, |a| a.number);
        let before = self.answered.get().max(told);
        self.desk.send(command);
        let view = self.until(&what, |v| {
            v.answer.as_ref().is_some_and(|a| a.number > before)
        });
        let answer = view.answer.clone().unwrap();
        self.answered.set(answer.number);
        answer
    }

    /// Asks for something that has to be done.
    pub(super) fn done(&self, command: Command) -> Arc<PanelView> {
        let answer = self.ask(command);
        assert!(answer.done, "{}", answer.sentence);
        self.desk.view()
    }

    /// Asks for something that has to be refused, and gives the reason.
    pub(super) fn refused(&self, command: Command) -> String {
        let answer = self.ask(command);
        assert!(!answer.done, "{}", answer.sentence);
        answer.sentence
    }

    fn add(&self, name: &str) -> SkaterId {
        let view = self.done(Command::AddSkater(Skater::new(name, AgeGroup::U13)));
        view.roster.iter().find(|s| s.name == name).unwrap().id
    }
}

fn knee(high: f64) -> LimitEdit {
    LimitEdit {
        group: AgeGroup::U15,
        rule: RULES[0].id,
        limits: Limits {
            at_most: Some(high),
            ..AgeGroups::defaults().thresholds(AgeGroup::U15).limits[RuleId::KneeBend]
        },
    }
}

#[test]
fn skaters_and_the_queue() {
    let s = Station::start();
    let [a, b, c] = ["Ann", "Bo", "Cy"].map(|n| s.add(n));
    // Whoever is new stands in no order: passes are nobody's until the coach
    // uses one.
    assert!(s.desk.view().queue.order.is_empty());
    assert_eq!(s.pass(9).skater, None);
    let view = s.done(Command::SetQueue(vec![a, b, c]));
    assert_eq!(view.queue.order, [a, b, c]);
    assert_eq!(view.queue.current, Some(a));
    let after = |command| s.done(command).queue.current;
    assert_eq!(after(Command::Queue(QueueStep::Skip)), Some(b));
    assert_eq!(after(Command::Queue(QueueStep::Swap)), Some(c));
    assert_eq!(after(Command::Queue(QueueStep::Undo)), Some(b));
    assert_eq!(after(Command::Queue(QueueStep::Back)), Some(a));
    assert_eq!(after(Command::Queue(QueueStep::To(c))), Some(c));
    assert_eq!(after(Command::Queue(QueueStep::Unknown)), None);
    assert_eq!(
        after(Command::SetQueue(vec![b, a])),
        None,
        "nobody stays nobody"
    );
    // The judging side sees the same; behind who is not in the queue any
    // more comes the first.
    assert_eq!(s.pass(1).skater, None);
    s.until("the first again", |v| v.queue.current == Some(a));

    assert!(
        s.refused(Command::AddSkater(Skater::new("  ", AgeGroup::U9)))
            .contains("needs a name")
    );
    let view = s.done(Command::DeleteSkater(b));
    assert_eq!((view.roster.len(), view.queue.order.clone()), (2, vec![a]));
    assert!(
        s.refused(Command::Queue(QueueStep::To(b)))
            .contains("not on the roster")
    );
}

/// Waits until the queue is on the disk as the judging has it.
fn kept(s: &Station) -> KeptQueue {
    let archive = Archive::open(&s.folder()).unwrap();
    let start = Instant::now();
    loop {
        let is = s.session.queue(|q| q.states().0.clone()).unwrap();
        match archive.kept_queue().unwrap() {
            Some(kept) if kept.now == is => return kept,
            _ => assert!(start.elapsed() < PATIENCE, "the queue was never written"),
        }
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn the_queue_is_taken_up_after_a_restart() {
    let s = Station::start();
    let [a, b, c, d] = ["Ann", "Bo", "Cy", "Di"].map(|n| s.add(n));
    s.done(Command::SetQueue(vec![c, b, a]));
    assert!(s.desk.view().queue.taken_up.is_none());
    // A pass, a swap and a step back; then a pass that only the judging saw.
    s.pass(1);
    s.done(Command::Queue(QueueStep::Swap));
    s.pass(2);
    let before = s
        .session
        .queue(|q| (q.order().to_vec(), q.current()))
        .unwrap();
    assert_eq!(before, (vec![c, a, b], Some(b)));
    kept(&s);

    let s = s.again();
    let view = s.until("the queue", |v| !v.queue.order.is_empty());
    assert_eq!(view.queue.order, [c, a, b]);
    assert_eq!(view.queue.current, Some(b));
    let at = view.queue.taken_up.clone().unwrap();
    assert_eq!((at.len(), at.as_bytes()[2]), (5, b':'), "{at}");
    // It is the judging's queue as well, and every step can be taken back.
    assert_eq!(s.session.view().queue.current, Some(b));
    let after = |step| s.done(Command::Queue(step)).queue.clone();
    let undone = after(QueueStep::Undo);
    assert_eq!((undone.current, undone.taken_up), (Some(a), None));
    let undone = after(QueueStep::Undo);
    assert_eq!((undone.order, undone.current), (vec![c, b, a], Some(b)));
    kept(&s);

    // Whoever is deleted meanwhile, from the command line say, is not in it.
    let s = {
        let Station { dir, desk, .. } = s;
        drop(desk);
        let archive = Archive::open(&dir.path().join("recordings")).unwrap();
        archive.delete_skater(b).unwrap();
        Station::start_in(dir, None)
    };
    let view = s.until("the queue", |v| !v.queue.order.is_empty());
    assert_eq!(
        (view.queue.order.clone(), view.queue.current),
        (vec![c, a], Some(a))
    );
    assert_eq!(view.roster.len(), 3);
    assert!(view.roster.iter().any(|s| s.id == d));
}

#[test]
fn the_queue_of_another_day_is_not_taken_up() {
    let s = Station::start();
    let a = s.add("Ann");
    s.done(Command::SetQueue(vec![a]));
    kept(&s);
    let archive = Archive::open(&s.folder()).unwrap();
    let queue = s.session.queue(|q| q.clone()).unwrap();
    let Station { dir, desk, .. } = s;
    drop(desk);
    let long_ago = jiff::Zoned::now()
        .checked_sub(jiff::ToSpan::days(2))
        .unwrap();
    archive.keep_queue(&queue, &long_ago).unwrap();
    let s = Station::start_in(dir, None);
    s.until("the roster", |v| v.roster.iter().any(|s| s.id == a));
    let view = s.done(Command::KeepPictures(false));
    assert!(view.queue.order.is_empty() && view.queue.taken_up.is_none());
}

#[test]
fn limits_are_written_judged_with_and_taken_back() {
    let s = Station::start();
    let file = s.config("age-groups.toml");
    let first = std::fs::read_to_string(&file).unwrap();
    s.done(Command::UseAgeGroup(AgeGroup::U15));
    assert_eq!(s.settings.load().age_group, AgeGroup::U15);
    let station = StationSettings::load(&s.config("station.toml")).unwrap();
    assert_eq!(station.age_group, AgeGroup::U15);

    let view = s.done(Command::SetLimits(knee(111.5)));
    assert_eq!(
        view.groups.thresholds(AgeGroup::U15).limits[RuleId::KneeBend].at_most,
        Some(111.5)
    );
    assert!(view.can_undo_limits);
    // One immutable snapshot for the next pass.
    assert_eq!(
        s.settings.load().thresholds().limits[RuleId::KneeBend].at_most,
        Some(111.5)
    );
    let text = std::fs::read_to_string(&file).unwrap();
    assert_ne!(text, first);
    let comments = |t: &str| t.lines().filter(|l| l.starts_with('#')).count();
    assert_eq!(comments(&text), comments(&first));
    assert_eq!(AgeGroups::load(&file).unwrap(), *view.groups);

    // So is how sure it has to be, for all groups.
    let view = s.done(Command::SetSurety(Surety::VerySure));
    assert_eq!(view.groups.surety(), Surety::VerySure);
    assert_eq!(s.settings.load().thresholds().surety, Surety::VerySure);
    assert_eq!(AgeGroups::load(&file).unwrap().surety(), Surety::VerySure);
    let view = s.done(Command::UndoLimits);
    assert_eq!(view.groups.surety(), Surety::Sure);
    assert_eq!(std::fs::read_to_string(&file).unwrap(), text);

    let said = s.refused(Command::SetLimits(knee(9999.0)));
    assert!(said.contains("out of range"), "{said}");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), text);

    let view = s.done(Command::CopyLimits {
        from: AgeGroup::U15,
        to: AgeGroup::U9,
    });
    assert_eq!(
        view.groups.thresholds(AgeGroup::U9).limits,
        view.groups.thresholds(AgeGroup::U15).limits
    );
    let view = s.done(Command::ResetLimits {
        group: AgeGroup::U15,
        rule: None,
    });
    assert_eq!(
        view.groups.thresholds(AgeGroup::U15),
        AgeGroups::defaults().thresholds(AgeGroup::U15)
    );
    for _ in 0..3 {
        s.done(Command::UndoLimits);
    }
    assert_eq!(std::fs::read_to_string(&file).unwrap(), first);
    assert!(s.refused(Command::UndoLimits).contains("no change"));

    let a = s.add("Ann");
    let view = s.done(Command::OverrideLimits {
        skater: a,
        rule: RULES[0].id,
        limits: Some(knee(101.0).limits),
    });
    assert_eq!(view.roster[0].overrides[&RULES[0].id].at_most, Some(101.0));
    s.done(Command::SetQueue(vec![a]));
    let judged = s.pass(1).pass.thresholds;
    assert_eq!(judged.limits[RuleId::KneeBend].at_most, Some(101.0));
    assert_eq!(judged.age_group, AgeGroup::U13);
}

#[test]
fn passes_are_listed_reviewed_and_tried_with_other_limits() {
    let s = Station::start();
    let a = s.add("Ann");
    s.done(Command::SetConsent(
        a,
        Some(Consent {
            given_on: "2026-09-01".parse().unwrap(),
            given_by: "Kim".into(),
        }),
    ));
    let mut store = Store::open(&s.folder()).unwrap();
    let id = store.begin_session(&session()).unwrap();
    for n in 1..=3 {
        let new = NewPass {
            skater: Some(a),
            points: Some(Arc::new(tracked(n))),
            strips: vec![strip(0, RuleId::KneeBend)],
            ..(pass(n), cue(n)).into()
        };
        store.write_pass(&id, &new).unwrap();
    }
    let view = s.done(Command::OpenSession(id.number()));
    let numbers: Vec<u32> = view.passes.iter().map(|p| p.key.number).collect();
    assert_eq!(numbers, [3, 2, 1]);
    assert_eq!((view.sessions.len(), view.session), (1, Some(id.number())));
    let first = &view.passes[2];
    assert_eq!((first.skater, first.pushes.len()), (Some(a), 3));
    assert!(first.pushes[0].has_pictures && !first.pushes[1].has_pictures);
    assert_eq!(first.at.len(), 5, "{}", first.at);

    let key = PassKey {
        session: id.number(),
        number: 1,
    };
    let push = PushKey {
        pass: key,
        position: 0,
    };
    s.done(Command::SetVerdict {
        push,
        rule: RuleId::KneeBend,
        verdict: Some(Verdict::Dismissed),
    });
    s.done(Command::SetComment(push, "good".into()));
    let view = s.done(Command::SetStarred(push, true));
    let note = &view.passes[2].pushes[0].note;
    assert_eq!((note.comment.as_str(), note.starred), ("good", true));
    assert_eq!(
        (view.agreement[0].confirmed, view.agreement[0].dismissed),
        (0, 1)
    );

    let view = s.done(Command::OpenPush { push, rule: None });
    let detail = view.push.clone().unwrap();
    assert_eq!((detail.key, detail.rule), (push, RuleId::KneeBend));
    // The pictures of this test are no JPEGs: none is shown, nothing breaks.
    assert!(detail.pictures.is_empty());

    // The passes of the tests have a knee of 100, 100.125 and 100.25 degrees.
    let view = s.done(Command::PreviewLimits(knee(95.0)));
    let effect = view.effect.clone().unwrap();
    assert_eq!((effect.pushes, effect.flagged_now), (9, 0));
    assert_eq!(
        effect.flagged,
        if effect.edit.limits.dead_band < 5.0 {
            9
        } else {
            0
        }
    );
    let view = s.done(Command::OpenProgress(a));
    let progress = view.progress.clone().unwrap();
    assert_eq!(progress.series[0].rule, RuleId::KneeBend);
    assert_eq!(progress.series[0].points.len(), 1);
    assert!((progress.series[0].points[0].median - 100.125).abs() < 1e-9);

    assert_eq!(view.privacy.stored.strips, 3);
    s.done(Command::SetSkaterOfPass(key, None));
    s.until("the pass is nobody's", |v| {
        v.passes
            .iter()
            .any(|p| p.key.number == 1 && p.skater.is_none())
    });
    let anybody = |s: &Station| s.settings.load().roster.iter().any(|x| x.consent.is_some());
    // Withdrawn: nothing is kept from now on, and what was kept goes a few
    // seconds later, unless it is taken back.
    assert!(anybody(&s));
    let view = s.done(Command::SetConsent(a, None));
    assert!(!anybody(&s));
    assert_eq!(view.withdrawing.map(|w| (w.skater, w.strips)), Some((a, 2)));
    assert_eq!(view.privacy.stored.strips, 2);
    s.done(Command::UndoWithdrawal);
    assert!(anybody(&s));
    assert!(s.refused(Command::UndoWithdrawal).contains("no consent"));
    s.done(Command::SetConsent(a, None));
    s.until("no pictures", |v| v.privacy.stored.strips == 0);
    let view = s.until("no consent", |v| v.withdrawing.is_none());
    assert_eq!(view.roster[0].consent, None);
    s.until("it is said", |v| {
        let said = v.answer.as_ref().map_or("", |a| &a.sentence);
        said == "The consent of Ann is withdrawn. Pictures deleted: 2."
    });
    s.answered
        .set(s.desk.view().answer.as_ref().unwrap().number);
    s.done(Command::DeleteSkater(a));
    s.until("their passes are gone", |v| v.passes.len() == 1);
    let gone = s.refused(Command::OpenPush {
        push: PushKey {
            pass: PassKey { number: 2, ..key },
            position: 0,
        },
        rule: None,
    });
    assert!(gone.contains("not in the recordings any more"), "{gone}");
}

/// What is said before a skater is deleted against what then is in the data
/// folder, in both languages: counts, what goes, what stays.
#[test]
fn the_sentence_before_a_deletion_says_what_happens() {
    for (s, language) in [
        (Station::start(), Language::En),
        (Station::start_french(), Language::Fr),
    ] {
        let [a, b] = ["Mila", "Noah"].map(|n| s.add(n));
        for id in [a, b] {
            s.done(Command::SetConsent(
                id,
                Some(Consent {
                    given_on: "2026-09-01".parse().unwrap(),
                    given_by: "Kim".into(),
                }),
            ));
        }
        let mut store = Store::open(&s.folder()).unwrap();
        let id = store.begin_session(&session()).unwrap();
        for (n, skater) in [
            (1, Some(a)),
            (2, Some(b)),
            (3, None),
            (4, Some(a)),
            (5, Some(a)),
        ] {
            let new = NewPass {
                skater,
                strips: if skater.is_some() && n != 5 {
                    vec![strip(0, RuleId::KneeBend)]
                } else {
                    vec![]
                },
                ..(pass(n), cue(n)).into()
            };
            store.write_pass(&id, &new).unwrap();
        }
        store.end_session(&id).unwrap();
        s.done(Command::OpenSession(id.number()));
        let of_noah = PushKey {
            pass: PassKey {
                session: id.number(),
                number: 2,
            },
            position: 0,
        };
        s.done(Command::SetComment(of_noah, "deeper than Mila".into()));
        let view = s.done(Command::PreviewDelete(a));
        let would = view.would_delete.unwrap();
        let words = PanelWords::built_in(language);
        let said = words.say(
            "skaters.delete_what",
            &[
                ("who", "Mila"),
                ("passes", &would.passes.to_string()),
                ("strips", &would.strips.to_string()),
                ("comments", &would.comments.to_string()),
            ],
        );
        // The numbers of the sentence, in its order.
        let numbers: Vec<u32> = said
            .split(|c: char| !c.is_ascii_digit())
            .filter_map(|n| n.parse().ok())
            .collect();
        let count = || {
            let archive = Archive::open(&s.folder()).unwrap();
            let stored = archive.load_session(id.number()).unwrap();
            let of = |who| stored.passes.iter().filter(|p| p.skater == who).count() as u32;
            let usage = archive.usage().unwrap();
            (of(Some(a)), of(Some(b)), of(None), usage.strips)
        };
        let before = count();
        assert_eq!(before, (3, 1, 1, 3));
        s.done(Command::DeleteSkater(a));
        let after = count();
        let gone = (before.0 - after.0, before.3 - after.3);
        assert_eq!(numbers, [gone.0, gone.1, 1], "{said}");
        // Those of others and of nobody stay, as the sentence says.
        assert_eq!((after.1, after.2), (before.1, before.2));
        let stays = match language {
            Language::En => "Passes of other skaters and of nobody stay.",
            Language::Fr => "Les passages des autres patineurs et ceux de personne restent.",
        };
        assert!(said.contains(stays), "{said}");
        let view = s.done(Command::OpenSession(id.number()));
        let comment = view.passes.iter().find(|p| p.key.number == 2).unwrap();
        assert!(!comment.pushes[0].note.comment.contains("Mila"));
        assert!(view.roster.iter().all(|x| x.name != "Mila"));
    }
}

#[test]
fn a_pass_given_to_somebody_else_can_be_given_back() {
    let s = Station::start();
    let [a, b] = ["Ann", "Bo"].map(|n| s.add(n));
    let mut store = Store::open(&s.folder()).unwrap();
    let id = store.begin_session(&session()).unwrap();
    let new = NewPass {
        skater: Some(a),
        ..(pass(1), cue(1)).into()
    };
    store.write_pass(&id, &new).unwrap();
    s.done(Command::OpenSession(id.number()));
    let key = PassKey {
        session: id.number(),
        number: 1,
    };
    assert!(s.refused(Command::UndoSkaterOfPass).contains("no pass"));
    let view = s.done(Command::SetSkaterOfPass(key, Some(b)));
    assert_eq!(view.given_away, Some((key, Some(a))));
    s.until("it is Bo's", |v| {
        v.passes.iter().any(|p| p.skater == Some(b))
    });
    s.done(Command::UndoSkaterOfPass);
    s.until("it is Ann's again", |v| {
        v.passes.iter().any(|p| p.skater == Some(a))
    });
}

/// Sound, signs, language and focus are written into the settings and reach
/// the outputs and the judging at once.
#[test]
fn what_is_set_on_the_ice_holds_at_once_and_is_written_down() {
    let s = Station::start();
    assert!(s.settings.load().outputs.is_none());
    s.done(Command::SetSound {
        level: 0.5,
        muted: true,
    });
    s.done(Command::SetQuiet(true));
    s.done(Command::SetFocus(Some(RuleId::TrunkLean)));
    let outputs = s.settings.load().outputs.clone().unwrap();
    assert!(outputs.sound.muted && outputs.look.symbols_only);
    assert_eq!(outputs.look.focus, Some(RuleId::TrunkLean));
    assert_eq!(s.settings.load().feedback.focus, Some(RuleId::TrunkLean));
    let answer = s.ask(Command::SetLanguage(Language::Fr));
    assert_eq!(answer.sentence, "L'écran et le panneau parlent français.");
    assert!(s.desk.view().words.is_some());
    let station = StationSettings::load(&s.config("station.toml")).unwrap();
    assert!(station.sound_muted && station.screen.symbols_only);
    assert_eq!(station.sound_level, 0.5);
    assert_eq!(station.screen.language, Language::Fr);
    assert_eq!(station.focus_rule, Some(RuleId::TrunkLean));
    s.done(Command::SetFocus(None));
    let station = StationSettings::load(&s.config("station.toml")).unwrap();
    assert_eq!(station.focus_rule, None);
}

/// The default folder of an export is made, for its owner alone.
#[test]
fn the_folder_of_an_export_is_made() {
    use std::os::unix::fs::PermissionsExt;
    let exporter: Exporter = Arc::new(|_: &Archive, order, _, _| {
        assert!(order.into.is_dir());
        Err(Message::ExportNothing {})
    });
    let s = Station::start_with(Some(exporter));
    s.add("Ann");
    let into = s.dir.path().join("not/there/yet");
    s.done(Command::Export(ExportOrder {
        what: ExportWhat::Tonight,
        skater: None,
        flagged_only: false,
        anonymous: true,
        zip: false,
        into: into.clone(),
    }));
    let view = s.until("it is over", |v| {
        v.export.as_ref().is_some_and(|e| !e.running)
    });
    assert!(!view.export.as_ref().unwrap().sentence.contains("--"));
    assert_eq!(into.metadata().unwrap().permissions().mode() & 0o777, 0o700);
}

#[test]
fn the_desk_answers_in_the_language_of_the_panel() {
    let s = Station::start_french();
    let said = |command| s.ask(command).sentence;
    assert_eq!(
        said(Command::AddSkater(Skater::new("Ann", AgeGroup::U13))),
        "Ann est dans la liste."
    );
    assert_eq!(
        said(Command::Queue(QueueStep::Unknown)),
        "Suivant\u{a0}: personne de connu."
    );
    assert!(said(Command::SetLimits(knee(111.5))).contains("Flexion du genou"));
    assert_eq!(
        said(Command::Lock),
        "il n'y a pas encore de code\u{a0}; choisissez-en un d'abord"
    );
    assert_eq!(s.desk.view().station.camera, "démarre");
    // What comes from deep below stays English; what stands around it is not.
    let why = said(Command::SetLimits(knee(9999.0)));
    assert!(
        why.starts_with("ces limites ne vont pas") || why.contains("réglages"),
        "{why}"
    );
    assert!(why.contains("out of range"), "{why}");
    let csv = s.dir.path().join("team.csv");
    std::fs::write(&csv, "name;age_group\nBo;U99\n").unwrap();
    let why = said(Command::ImportRoster {
        path: csv,
        sure: false,
    });
    assert!(
        why.starts_with("rien n'a été pris") && why.contains("ligne 2\u{a0}: "),
        "{why}"
    );

    let mut store = Store::open(&s.folder()).unwrap();
    let id = store.begin_session(&session()).unwrap();
    store.write_pass(&id, &(pass(1), cue(1)).into()).unwrap();
    assert_eq!(
        s.ask(Command::OpenSession(id.number())).sentence,
        format!("Séance {}, passages\u{a0}: 1.", id.number())
    );
    let english = cue_line(
        &cue(1),
        &PanelWords::english(),
        &Words::english(),
        Units::Metric,
    );
    assert_ne!(s.desk.view().passes[0].cue, english);
}

#[test]
fn folders_are_looked_into_with_the_places_first() {
    let s = Station::start();
    let look = |folder: Option<&Path>| Command::LookIntoFolder {
        folder: folder.map(Path::to_owned),
        kind: FileKind::Roster,
    };
    let view = s.done(look(None));
    let places = view.folder.clone().unwrap();
    let recordings = Place::Recordings(s.folder());
    assert!(places.places.contains(&recordings), "{places:?}");
    let folder = s.dir.path().join("stick");
    std::fs::create_dir_all(folder.join("teams")).unwrap();
    std::fs::write(folder.join("u13.csv"), "name;age_group\n").unwrap();
    std::fs::write(folder.join("photo.jpg"), "").unwrap();
    let found = |folder: &Path| {
        s.done(look(Some(folder)));
        let view = s.until("it was looked into", |v| {
            let view = v.folder.as_ref().unwrap();
            view.folder.as_deref() == Some(folder) && !view.looking
        });
        FolderView::clone(view.folder.as_ref().unwrap())
    };
    let there = found(&folder);
    let names: Vec<&str> = there.entries.iter().map(|e| e.name.as_str()).collect();
    assert_eq!(
        (names, there.fault, there.cut),
        (vec!["teams", "u13.csv"], None, false)
    );
    let fault = found(&folder.join("none")).fault.unwrap();
    assert!(fault.contains("cannot be read"), "{fault}");
    // Nobody sees through a locked panel what lies on the disk.
    s.done(Command::SetPin(Some("2407".into())));
    assert_eq!(s.done(Command::Lock).folder, None);
    assert!(s.refused(look(None)).contains("locked"));
}

fn lane() -> Lane {
    Lane {
        view: View::Side,
        camera_height_m: 1.4,
        tilt_deg: 4.0,
        hfov_deg: 62.0,
        roll_deg: 0.0,
        lane_distance_m: 6.0,
        travel: Travel::RightToLeft,
        skater_height_m: 1.55,
        subject: Subject::People,
        errors: kickplate::config::LaneErrors::by_hand(),
        checked: None,
    }
}

#[test]
fn lanes_are_saved_and_used() {
    let s = Station::start();
    let names = |v: &PanelView| -> Vec<(String, bool)> {
        v.lanes.iter().map(|l| (l.name.clone(), l.in_use)).collect()
    };
    let view = s.until("the lanes", |v| !v.lanes.is_empty());
    assert_eq!(
        names(&view),
        [("lane-front".into(), false), ("lane-side".into(), true)]
    );
    let seen = ScreenPlace {
        reading_distance_m: 14.0,
        height_m: 0.8,
    };
    let save = |name: &str| Command::SaveLane {
        name: name.into(),
        lane: lane(),
        screen: Some(seen),
    };
    for name in ["../station", "station", "", "a/b", "Age-Groups", ".hidden"] {
        let said = s.refused(save(name));
        assert!(said.contains("name"), "{name}: {said}");
    }
    let view = s.done(save("rink 2 side"));
    assert_eq!(view.lanes.len(), 3);
    assert_eq!(Lane::load(&s.config("rink 2 side.toml")).unwrap(), lane());
    let station = StationSettings::load(&s.config("station.toml")).unwrap();
    assert_eq!(
        (station.reading_distance_m, station.screen_height_m),
        (14.0, 0.8)
    );
    // It holds at once.
    assert_eq!(s.settings.load().screen, seen);
    // Saved is in use: there is no second step to forget. It is another
    // source, which has a session of its own.
    let source = || s.settings.load().source.clone();
    assert_eq!((source().lane, source().number), (lane(), 1));
    assert!(!view.station.lane_example);
    let view = s.done(Command::UseLane("lane-side".into()));
    assert!(view.station.lane_example);
    assert_eq!(source().number, 2);

    let view = s.done(Command::UseLane("rink 2 side".into()));
    assert!(
        view.lanes
            .iter()
            .find(|l| l.name == "rink 2 side")
            .unwrap()
            .in_use
    );
    assert_eq!((source().lane, source().number), (lane(), 3));
    let station = StationSettings::load(&s.config("station.toml")).unwrap();
    assert!(station.lane.ends_with("rink 2 side.toml"));
    s.refused(Command::UseLane("none".into()));

    s.done(Command::UseCamera {
        id: "usb-cam".into(),
        mode: (1920, 1080, 60),
    });
    let camera = source().camera;
    assert_eq!(
        (camera.id.as_deref(), camera.width, camera.fps),
        (Some("usb-cam"), 1920, 60)
    );

    let draft = LaneDraft {
        lane: lane(),
        hfov_known: true,
        marks: vec![Mark::OnIce {
            from_px: [100.0, 600.0],
            to_px: [900.0, 610.0],
            length_m: 5.0,
        }],
        line_px: vec![[100.0, 600.0], [900.0, 610.0]],
        frame_px: [1280, 720],
    };
    let said = s.refused(Command::FindScale(draft));
    assert!(said.contains("one more mark is needed"), "{said}");
    assert!(s.refused(Command::CheckPicture).contains("no picture"));
}

/// The second camera is set up like the first and then put beside it; the first
/// comes back as it was.
#[test]
fn a_second_camera_is_put_beside_the_first() {
    let s = Station::start();
    let use_camera = |id: &str| Command::UseCamera {
        id: id.into(),
        mode: (1280, 720, 30),
    };
    let as_second = |name: &str| Command::UseAsSecond {
        name: name.into(),
        lane: Lane {
            view: View::Front,
            travel: Travel::Toward,
            lane_distance_m: 0.5,
            ..lane()
        },
    };
    s.done(use_camera("cam-a"));
    let said = s.refused(as_second("front 1"));
    assert!(said.contains("no first camera"), "{said}");
    s.done(Command::SaveLane {
        name: "side 1".into(),
        lane: lane(),
        screen: None,
    });
    s.done(use_camera("cam-b"));
    s.refused(as_second("side 1")); // the lane of the first
    let before = s.settings.load().source.number;
    let view = s.done(as_second("front 1"));
    let second = view.second.clone().unwrap();
    assert_eq!((&*second.name, &*second.lane), ("cam-b", "front 1"));

    let source = s.settings.load().source.clone();
    assert_eq!(source.number, before + 1, "all of it in one step");
    assert_eq!(source.camera.id.as_deref(), Some("cam-a"));
    assert_eq!(source.lane, lane());
    let (camera, stands) = source.second.unwrap();
    assert_eq!((&*camera.id, stands.view), ("cam-b", View::Front));
    // What the next start reads is the same.
    let station = StationSettings::load(&s.config("station.toml")).unwrap();
    assert!(station.lane.ends_with("side 1.toml"));
    assert_eq!(format!("{:?}", station.camera), r#"Id("cam-a")"#);
    assert_eq!(station.second_camera, Some(camera));

    let view = s.done(Command::DropSecond);
    assert_eq!(view.second, None);
    assert!(s.settings.load().source.second.is_none());
    let station = StationSettings::load(&s.config("station.toml")).unwrap();
    assert_eq!(station.second_camera, None);
}

#[test]
fn a_locked_panel_takes_nothing_but_its_pin() {
    let s = Station::start();
    let a = s.add("Ann");
    assert!(s.refused(Command::Lock).contains("no PIN"));
    assert_eq!(
        s.done(Command::SetPin(Some("2407".into()))).pin,
        PinState::Open
    );
    assert_eq!(s.done(Command::Lock).pin, PinState::Locked);
    for command in [
        Command::DeleteSkater(a),
        Command::SetPin(None),
        Command::Queue(QueueStep::Skip),
        Command::ExportRoster {
            path: s.dir.path().join("x.csv"),
            sure: true,
        },
    ] {
        assert!(s.refused(command).contains("locked"));
    }
    assert!(
        s.refused(Command::Unlock("0000".into()))
            .contains("not the PIN")
    );
    assert_eq!(s.done(Command::Unlock("2407".into())).pin, PinState::Open);
    assert_eq!(s.desk.view().roster.len(), 1);
    assert_eq!(s.done(Command::SetPin(None)).pin, PinState::NotSet);
}

#[test]
fn roster_files_privacy_and_backup() {
    let s = Station::start();
    let csv = s.dir.path().join("team.csv");
    std::fs::write(&csv, "name;age_group\nAnn;U9\nBo;U99\n").unwrap();
    let read = |sure| Command::ImportRoster {
        path: csv.clone(),
        sure,
    };
    let said = s.refused(read(false));
    assert!(said.contains("line 3: the age group 'U99'"), "{said}");
    assert!(s.desk.view().roster.is_empty());
    std::fs::write(&csv, "name;age_group\nAnn;U9\nBo;U11\n").unwrap();
    let view = s.done(read(false));
    assert_eq!((view.roster.len(), view.queue.order.len()), (2, 0));
    // Who is on the roster is changed only after a question.
    std::fs::write(&csv, "name;age_group\nAnn;U13\n").unwrap();
    let view = s.done(read(false));
    let question = view.question.clone().unwrap();
    assert!(question.sentence.contains("Ann (1)"), "{question:?}");
    assert_eq!(view.roster[0].age_group, AgeGroup::U9);
    assert_eq!(s.done(Command::DropQuestion).question, None);
    s.done(read(false));
    let view = s.done((*question.then).clone());
    assert_eq!(view.roster[0].age_group, AgeGroup::U13);
    assert_eq!(view.question, None);
    // A file that is there is replaced only after a question too.
    let out = s.dir.path().join("out.csv");
    let write = |sure| Command::ExportRoster {
        path: out.clone(),
        sure,
    };
    s.done(write(false));
    assert!(std::fs::read_to_string(&out).unwrap().contains("Ann;"));
    std::fs::write(&out, "the club's own list").unwrap();
    let asked = s.done(write(false)).question.clone().unwrap();
    assert!(asked.sentence.contains("out.csv is there already"));
    assert_eq!(
        std::fs::read_to_string(&out).unwrap(),
        "the club's own list"
    );
    s.done((*asked.then).clone());
    assert!(std::fs::read_to_string(&out).unwrap().contains("Ann;"));

    assert!(!s.settings.load().privacy.keep_pictures);
    assert!(s.done(Command::KeepPictures(true)).privacy.keep_pictures);
    s.done(Command::SetRetention {
        keep_days: Some(7),
        keep_gb: None,
    });
    let station = StationSettings::load(&s.config("station.toml")).unwrap();
    assert_eq!(
        (station.privacy.keep_days, station.privacy.keep_gb),
        (7, 10_000.0)
    );
    assert_eq!(s.settings.load().privacy, station.privacy);
    assert!(
        s.refused(Command::SetRetention {
            keep_days: Some(0),
            keep_gb: None
        })
        .contains("out of range")
    );

    // What was measured: asked first, deleted when it is set, and kept again.
    let mut store = Store::open(&s.folder()).unwrap();
    let mut info = session();
    info.started = "2024-10-05T18:00:00+02:00[Europe/Zurich]".parse().unwrap();
    let old = store.begin_session(&info).unwrap();
    store.end_session(&old).unwrap();
    let new = store.begin_session(&session()).unwrap();
    store.write_pass(&new, &(pass(1), cue(1)).into()).unwrap();
    store.end_session(&new).unwrap();
    let view = s.done(Command::PreviewMeasures(30));
    let would_go = WouldGo {
        days: 30,
        passes: 0,
        sessions: 1,
    };
    assert_eq!(view.privacy.would_go, Some(would_go));
    assert_eq!(view.privacy.keep_measures_days, None);
    let archive = Archive::open(&s.folder()).unwrap();
    assert_eq!(
        archive.sessions().unwrap().len(),
        2,
        "asking deletes nothing"
    );
    let answer = s.ask(Command::KeepMeasures(Some(30)));
    assert!(
        answer.done && answer.sentence.contains("sessions: 1"),
        "{answer:?}"
    );
    let view = s.until("it is set", |v| v.privacy.keep_measures_days == Some(30));
    assert_eq!(view.privacy.would_go, None);
    assert_eq!(archive.sessions().unwrap().len(), 1);
    s.until("it is counted", |v| v.privacy.measures.passes == 1);
    let station = StationSettings::load(&s.config("station.toml")).unwrap();
    assert_eq!(station.privacy.keep_measures_days, Some(30));
    s.refused(Command::KeepMeasures(Some(0)));
    assert!(
        s.refused(Command::KeepMeasures(Some(9999)))
            .contains("out of range")
    );
    s.done(Command::KeepMeasures(None));
    let station = StationSettings::load(&s.config("station.toml")).unwrap();
    assert_eq!(station.privacy.keep_measures_days, None);
    drop(store);

    let zip = s.dir.path().join("all.zip");
    let sure = false;
    s.done(Command::BackUp {
        path: zip.clone(),
        sure,
    });
    assert!(zip.metadata().unwrap().len() > 1000);
}

#[test]
fn exports_tell_how_far_they_are_and_can_be_stopped() {
    let order = |s: &Station| ExportOrder {
        what: ExportWhat::All,
        skater: None,
        flagged_only: false,
        anonymous: false,
        zip: true,
        into: s.dir.path().to_owned(),
    };
    let without = Station::start();
    assert!(
        without
            .refused(Command::Export(order(&without)))
            .contains("no way")
    );
    let exporter: Exporter = Arc::new(|_: &Archive, _, tell, cancel| {
        tell(0.5, Message::ExportClips {});
        while !cancel.load(std::sync::atomic::Ordering::Acquire) {
            std::thread::sleep(Duration::from_millis(1));
        }
        Err(Message::ExportCancelled {})
    });
    let s = Station::start_with(Some(exporter));
    s.done(Command::Export(order(&s)));
    s.until("half", |v| {
        v.export
            .as_ref()
            .is_some_and(|e| e.done == 0.5 && e.running)
    });
    assert!(
        s.refused(Command::Export(order(&s)))
            .contains("runs already")
    );
    s.desk.send(Command::CancelExport);
    let view = s.until("over", |v| v.export.as_ref().is_some_and(|e| !e.running));
    assert_eq!(
        view.export.as_ref().unwrap().sentence,
        "the export was stopped; nothing of it was kept"
    );
}

/// More commands at once than the queue takes: what is refused is said, and
/// what is not refused is done.
#[test]
fn no_command_is_lost_in_silence() {
    let s = Station::start();
    const SENT: usize = 400;
    for i in 0..SENT {
        s.desk.send(Command::AddSkater(Skater::new(
            &format!("S{i}"),
            AgeGroup::U9,
        )));
    }
    let refused = |v: &PanelView| -> usize {
        v.station
            .problems
            .iter()
            .find_map(|p| p.split_once(" things came too fast")?.0.parse().ok())
            .unwrap_or(0)
    };
    let view = s.until("all are accounted for", |v| {
        v.roster.len() + refused(v) == SENT
    });
    assert!(refused(&view) > 0, "the queue took {SENT} commands at once");
    assert!(view.answer.as_ref().unwrap().number as usize > view.roster.len());
}

/// A person stands before the camera: the hold is read from what vision saw, kept, used and
/// taken back. What is none changes nothing.
#[test]
fn a_person_holds_and_the_check_is_used() {
    let s = Station::start();
    let hold = |reference| Command::RulerHold {
        of: Gauged::Knee,
        reference,
        person: 2,
    };
    let why = s.refused(hold(120.0));
    assert!(why.contains("needs the camera"), "{why}");
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let engine = EngineChoice::Embedded;
    let checks = Checks::new(root, &s.folder(), ModelChoice::Full, engine).unwrap();
    s.settings.change_source(|source| {
        source.checks = Some(checks.clone());
        source.camera.id = Some("usb-1".to_owned());
    });
    let why = s.refused(hold(120.0));
    assert!(why.contains("Nobody stood"), "{why}");
    // Without a hold no session begins.
    let number = s.settings.load().source.number;
    let why = s.refused(Command::RulerUse);
    assert!(why.contains("no hold yet"), "{why}");
    assert_eq!(s.settings.load().source.number, number);
    let lane = s.settings.load().source.lane.clone();
    let sees = |who: Stander| {
        let recent = s.session.recent();
        let mut recent = recent.lock().unwrap();
        recent.clear();
        recent.extend(who.frames(&lane, 2.2));
    };
    let stands = Stander {
        knee_deg: 129.0,
        ..Stander::default()
    };
    sees(Stander {
        speed_mps: 0.4,
        ..stands
    });
    let why = s.refused(hold(120.0));
    assert!(why.contains("moved"), "{why}");
    sees(stands);
    let why = s.refused(hold(400.0));
    assert!(why.contains("400 degrees cannot be"), "{why}");
    assert!(checks.all().is_empty(), "nothing was written so far");

    let view = s.done(hold(120.0));
    let row = view
        .holds
        .iter()
        .find(|row| row.of == Gauged::Knee)
        .unwrap();
    assert_eq!((row.holds, row.persons), (1, 1));
    let [held, read] = row.last.unwrap();
    assert!(held == 120.0 && (read - 129.0).abs() < 1.5, "{read}");
    // Values follow when the coach says so, and a session of its own begins.
    let before = s.settings.load();
    assert_eq!(before.source.lane.checked, None);
    let view = s.done(Command::RulerUse);
    let now = s.settings.load();
    assert!(now.source.number > before.source.number);
    assert_eq!(now.source.lane.checked.unwrap().persons, 1);
    let in_use = view.lanes.iter().find(|l| l.in_use).unwrap();
    assert_eq!(
        in_use.lane.as_ref().unwrap().checked,
        now.source.lane.checked
    );
    // Another lane: it ends, and the panel is told why.
    let knocked = Lane {
        tilt_deg: lane.tilt_deg + 2.0,
        ..lane.clone()
    };
    let view = s.done(Command::SaveLane {
        name: "knocked".to_owned(),
        lane: knocked,
        screen: None,
    });
    assert!(
        matches!(
            view.check_ended,
            Some(CheckEnded::MadeWithAnother(_, Difference::Lane))
        ),
        "{:?}",
        view.check_ended
    );
    assert_eq!(s.settings.load().source.lane.checked, None);
    let why = s.refused(Command::RulerUndo);
    assert!(why.contains("no hold yet"), "{why}");
}
