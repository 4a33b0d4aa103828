//! The session thread: turns a finished pass into a judged, stored and
//! announced one.
//!
//! Takes: [`VisionEvent`]s in the order things happened; orders of the coach
//! over a [`SessionLink`]; the settings as one snapshot.
//! Gives: announcements to the presenter, passes to the recording, one
//! [`SessionView`] to whoever looks.
//! Fails: never; what cannot be stored is announced all the same and said so.
//! A disk that takes its time holds up this thread only, never vision.

mod camera_pairing;
pub mod cue_selectors;
mod link;
pub mod offline;
pub mod pass_judge;
pub mod pass_times;
mod recording;
mod report;
pub mod skater_queue;

use std::path::PathBuf;
use std::sync::Arc;
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use arc_swap::ArcSwap;
use crossbeam_channel::{Receiver, never, select};

use crate::capture::{FeedClock, FeedState};
use crate::feedback::Cue;
use crate::roster::SkaterId;
use crate::sound::Speaker;
use crate::store::Written;

use super::health::HealthKeeper;
use super::health::notify::Watchdog;
use super::output::complain;
use super::presenter::{Announcement, PictureMaker, PresenterHandle};
use super::settings::snapshot::{LiveSettings, SharedSettings, SourceSettings};
use super::vision::tracking::PassEvent;
use super::vision::watch::{ModelAtWork, SourceBegins, VisionEvent, VisionStatus};
use camera_pairing::CameraPairing;
pub(in crate::station) use camera_pairing::SecondStart;
use link::SessionCommand;
pub use link::{NoAnswer, RecentPoses, SessionInbox, SessionLink, SessionView};
use pass_judge::{FinishedPass, Judging, PassJudge};
use recording::{Recording, RecordingInfo};
use skater_queue::SkaterQueue;

/// How often it is looked what else is due.
const TICK: Duration = Duration::from_millis(25);
/// How often the view is made anew.
const PUBLISH_EVERY: Duration = Duration::from_millis(100);
/// How long the end of a recording waits for the disk.
const ENDING: Duration = Duration::from_secs(5);
/// How long the end of a recording waits for the presenter.
const PRESENTER_ENDS: Duration = Duration::from_secs(2);

/// Hears of every pass, after it was announced, with what became of it on the
/// disk; `None` where nothing is recorded.
pub type OnPass = Box<dyn FnMut(&FinishedPass, Option<&Written>) + Send>;

/// What a session runs with.
pub struct SessionParts {
    /// The settings.
    pub settings: SharedSettings,
    /// The presenter.
    pub presenter: PresenterHandle,
    /// The maker of the pictures that are stored.
    pub pictures: Option<PictureMaker>,
    /// The loudspeaker, whose state is shown.
    pub speaker: Option<Arc<Speaker>>,
    /// The folder of the recordings; none are made where it is missing.
    pub recordings: Option<PathBuf>,
    /// Whether each source has a session of its own, however soon it follows
    /// the one before.
    pub own_sessions: bool,
    /// How a second camera is started.
    pub second: Option<SecondStart>,
    /// Gathers how the station is doing.
    pub health: Option<HealthKeeper>,
    /// Hears that the work goes on.
    pub watchdog: Watchdog,
    /// The way of the coach's orders.
    pub inbox: Option<SessionInbox>,
    /// Hears of every pass.
    pub on_pass: OnPass,
}

/// The source that is being watched.
struct Source {
    settings: SourceSettings,
    model: ModelAtWork,
    clock: Option<FeedClock>,
    frame_px: Option<[u32; 2]>,
}

/// The session. Its thread calls it; tests may, too.
pub(in crate::station) struct Session {
    settings: SharedSettings,
    /// The settings that were taken last.
    now: Arc<LiveSettings>,
    judge: PassJudge,
    queue: SkaterQueue,
    pairing: Option<CameraPairing>,
    recording: Recording,
    presenter: PresenterHandle,
    parts: Rest,
    source: Option<Source>,
    status: Option<VisionStatus>,
    no_model: bool,
    last: Option<Cue>,
    passes: u64,
    view: Arc<ArcSwap<SessionView>>,
    published: Option<Instant>,
}

/// What a session only passes things on to.
struct Rest {
    speaker: Option<Arc<Speaker>>,
    second: Option<SecondStart>,
    health: Option<HealthKeeper>,
    watchdog: Watchdog,
    on_pass: OnPass,
}

/// Starts the thread. It ends when the sender of `events` is dropped.
///
/// # Errors
/// The system gives no thread.
pub fn start(
    parts: SessionParts,
    events: Receiver<VisionEvent>,
) -> std::io::Result<JoinHandle<()>> {
    let commands = parts
        .inbox
        .as_ref()
        .map_or_else(never, |inbox| inbox.commands.clone());
    thread::Builder::new()
        .name("session".into())
        .spawn(move || {
            Session::new(parts).run(&events, commands);
        })
}

impl Session {
    pub(in crate::station) fn new(parts: SessionParts) -> Self {
        let now = parts.settings.load();
        let judging = judging_of(&now);
        let mut queue = SkaterQueue::default();
        queue.roster_changed(&now.roster);
        Session {
            judge: PassJudge::new(judging),
            queue,
            now,
            settings: parts.settings,
            pairing: None,
            recording: Recording::new(parts.recordings, parts.pictures, parts.own_sessions),
            presenter: parts.presenter,
            source: None,
            status: None,
            no_model: false,
            last: None,
            passes: 0,
            view: parts
                .inbox
                .map_or_else(Default::default, |inbox| inbox.view),
            published: None,
            parts: Rest {
                speaker: parts.speaker,
                second: parts.second,
                health: parts.health,
                watchdog: parts.watchdog,
                on_pass: parts.on_pass,
            },
        }
    }

    fn run(mut self, events: &Receiver<VisionEvent>, mut commands: Receiver<SessionCommand>) {
        loop {
            select! {
                recv(events) -> event => match event {
                    Ok(event) => self.event(event),
                    Err(_) => break,
                },
                recv(commands) -> command => match command {
                    Ok(command) => self.command(command),
                    Err(_) => commands = never(),
                },
                default(TICK) => {}
            }
            self.look_after();
        }
        // Only where vision ended without a word.
        self.end_source();
        self.parts.watchdog.stopping();
    }

    /// Takes what vision tells.
    pub(in crate::station) fn event(&mut self, event: VisionEvent) {
        match event {
            VisionEvent::SourceBegins(source) => self.begin_source(*source),
            VisionEvent::FirstFrame(size) => {
                if let Some(source) = &mut self.source {
                    source.frame_px = Some(size);
                }
                self.recording.open(size);
            }
            VisionEvent::Pass(event, clock) => {
                if let Some(source) = &mut self.source {
                    source.clock = clock.or(source.clock);
                }
                self.pass(event);
            }
            VisionEvent::ModelChanged(model) => {
                let size = self.source.as_ref().and_then(|s| s.frame_px);
                self.finish_pictures();
                self.recording.reopen(model.record.clone(), size);
                if let Some(source) = &mut self.source {
                    source.model = model;
                }
            }
            VisionEvent::NoModel(why) => {
                complain(&why);
                self.no_model = true;
                self.tell_presenter();
            }
            VisionEvent::Background(background) => self.keep_background(*background),
            VisionEvent::Status(status) => {
                if let Some(health) = &mut self.parts.health {
                    status.ages_s.iter().for_each(|age_s| health.frame(*age_s));
                }
                if let Some(source) = &mut self.source {
                    source.clock = Some(status.clock);
                }
                self.status = Some(*status);
                self.due(false);
                self.tell_presenter();
                self.pulse();
            }
            VisionEvent::SourceEnds(done) => {
                let status = self.end_source();
                // Nobody may be waiting any more.
                let _ = done.send(status);
            }
        }
    }

    /// Does what the coach asks for.
    fn command(&mut self, command: SessionCommand) {
        self.take_settings();
        let done = match command {
            SessionCommand::Queue(change, done) => {
                change(&mut self.queue);
                Some(done)
            }
            SessionCommand::Correct(number, skater, done) => {
                self.correct(number, skater);
                Some(done)
            }
            SessionCommand::Settings(done) => Some(done),
            SessionCommand::EndSession(done) => {
                self.recording.end_session();
                Some(done)
            }
            SessionCommand::ShowMe => {
                self.presenter.show_me();
                None
            }
            SessionCommand::Sound(order) => {
                self.sound(order);
                None
            }
        };
        self.publish();
        if let Some(done) = done {
            let _ = done.send(());
        }
    }

    /// What is due without anybody asking.
    pub(in crate::station) fn look_after(&mut self) {
        self.take_settings();
        self.due(false);
        if self
            .published
            .is_none_or(|at| at.elapsed() >= PUBLISH_EVERY)
        {
            self.tell_presenter();
            self.publish();
        }
    }

    /// Takes changed settings: limits and feedback from the next pass on;
    /// another source comes with its beginning.
    fn take_settings(&mut self) {
        let newest = self.settings.load();
        if Arc::ptr_eq(&newest, &self.now) {
            return;
        }
        self.now = newest;
        self.queue.roster_changed(&self.now.roster);
        let lane = self.judge.judging().lane.clone();
        let judging = Judging {
            lane,
            ..judging_of(&self.now)
        };
        if judging != *self.judge.judging() {
            self.judge.set_judging(judging);
        }
    }

    fn begin_source(&mut self, began: SourceBegins) {
        self.take_settings();
        self.no_model = false;
        self.judge.change(Judging {
            lane: began.settings.lane.clone(),
            track: began.track,
            ..judging_of(&self.now)
        });
        let running = self.pairing.as_ref().map(CameraPairing::setup);
        let wanted = began.settings.second.as_ref();
        if running != wanted {
            // The old one lets its camera go before a new one opens it.
            self.pairing = None;
            if let (Some(start), Some(second)) = (&self.parts.second, wanted) {
                self.pairing = CameraPairing::start(start, second.clone(), began.track);
            }
        }
        self.recording.begin(RecordingInfo {
            kind: began.kind,
            name: began.name,
            frames_per_second: began.frames_per_second,
            lane: began.settings.lane.clone(),
            engine: began.model.record.clone(),
            age_group: self.now.age_group,
        });
        self.source = Some(Source {
            settings: began.settings,
            model: began.model,
            clock: None,
            frame_px: None,
        });
    }

    /// Nothing more comes: what waits for the second camera is spoken about,
    /// and all of it is stored.
    fn end_source(&mut self) -> Option<crate::store::WriterStatus> {
        self.due(true);
        self.source = None;
        if let Some(status) = &mut self.status {
            status.passing.clear();
        }
        self.finish_pictures();
        if let Some(trouble) = self.recording.trouble() {
            complain(&trouble);
        }
        self.recording.end(ENDING)
    }

    /// The pictures of every announced pass are with their maker.
    fn finish_pictures(&self) {
        if self.recording.status().is_some() {
            self.presenter.wait(PRESENTER_ENDS);
        }
    }

    fn pass(&mut self, event: PassEvent) {
        self.take_settings();
        match event {
            PassEvent::Started { track_id, passing } => {
                self.queue.pass_started(track_id, &passing);
                if let Some(status) = &mut self.status {
                    status.passing = passing;
                }
                self.tell_presenter();
            }
            PassEvent::Ended {
                pass,
                read_by,
                camera_moved,
            } => {
                let skater =
                    self.queue
                        .pass_ended(pass.track_id, &self.now.roster, &self.now.groups);
                if let Some(status) = &mut self.status {
                    status.passing.retain(|id| *id != pass.track_id);
                }
                let measured = self.judge.measure(*pass, read_by, skater);
                let measured = measured.of_moved_camera(camera_moved);
                match &mut self.pairing {
                    Some(pairing) => pairing.hold(measured),
                    None => {
                        let finished = self.judge.finish(measured);
                        self.announce(finished);
                    }
                }
            }
        }
    }

    /// Passes that waited for the second camera and need not wait longer; all
    /// of them when nothing more will come.
    fn due(&mut self, last: bool) {
        let Some(pairing) = &mut self.pairing else {
            return;
        };
        let origin = self
            .source
            .as_ref()
            .and_then(|s| s.clock)
            .and_then(|clock| clock.captured_at(0.0));
        let complete = if last {
            pairing.finish(origin)
        } else {
            let status = self.status.as_ref();
            let live = status.is_some_and(|s| s.feed.state == FeedState::Live);
            pairing.due(origin, live, status.map_or(&[], |s| &s.passing))
        };
        let lane = pairing.lane().clone();
        for complete in complete {
            let (queue, now) = (&mut self.queue, &self.now);
            let measured = self.judge.complete(&lane, complete, |track_id| {
                queue.pass_ended(track_id, &now.roster, &now.groups)
            });
            let finished = self.judge.finish(measured);
            self.announce(finished);
        }
    }

    /// Stores a pass, then announces it.
    fn announce(&mut self, finished: FinishedPass) {
        let written = self.recording.store(&finished);
        let clock = self.source.as_ref().and_then(|s| s.clock);
        let keep = self.now.privacy.keep_pictures && finished.consents;
        self.presenter.announce(Announcement {
            pass: finished.pass.clone(),
            cue: finished.cue.clone(),
            motion: Arc::clone(&finished.motion),
            summary: finished.summary,
            skater: finished.skater,
            person: finished.skater.and_then(|id| self.person(id)),
            own_pictures: finished.own_pictures,
            ended_at: clock.and_then(|clock| clock.captured_at(finished.pass.ended_at_s)),
            keep: keep
                .then(|| {
                    self.recording
                        .keep_pictures(self.now.privacy.blur_stored_faces)
                })
                .flatten(),
        });
        self.passes += 1;
        self.last = Some(finished.cue.clone());
        (self.parts.on_pass)(&finished, written.as_ref());
        self.publish();
    }

    /// An earlier pass was somebody else's.
    fn correct(&mut self, number: u32, skater: Option<SkaterId>) {
        if self
            .last
            .as_ref()
            .is_some_and(|cue| cue.pass_number == number)
        {
            self.queue.correct_last(skater);
        }
        let known = skater.and_then(|id| self.now.skater(id));
        let focus = known.and_then(|s| s.focus);
        let limits = match skater {
            Some(_) => known.map(|s| s.thresholds(&self.now.groups)),
            None => Some(self.now.thresholds()),
        };
        self.judge.correct(number, skater, focus, limits.as_ref());
    }
}

/// What passes are judged with, by the settings.
fn judging_of(settings: &LiveSettings) -> Judging {
    Judging {
        lane: settings.source.lane.clone(),
        thresholds: settings.thresholds(),
        track: settings.track,
        feedback: settings.feedback.clone(),
    }
}

#[cfg(test)]
mod session_tests;
