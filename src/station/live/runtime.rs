//! The three threads put together: vision in the caller's, session and
//! presenter in their own.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use anyhow::Context;
use crossbeam_channel::bounded;

use crate::capture::Feed;
use crate::sound::Speaker;
use crate::station::health::HealthKeeper;
use crate::station::health::notify::Watchdog;
use crate::station::lateness::Lateness;
use crate::station::presenter::{Outputs, PresenterHandle, PresenterThread};
use crate::station::session::{self, OnPass, SecondStart, SessionInbox, SessionParts};
use crate::station::settings::choices::ModelChoice;
use crate::station::settings::snapshot::{LiveSettings, SharedSettings};
use crate::station::vision::tracking::Vision;
use crate::station::vision::watch::{
    FrameObserver, ModelAtWork, Outlet, SourceBegins, VisionEvent, watch,
};
use crate::store::{SourceKind, WriterStatus};

/// Events that may wait for the session: statuses of some 20 s, and passes
/// between them.
const EVENTS: usize = 256;

/// What a running station is made of. What is missing is done without.
pub struct Parts {
    /// The settings.
    pub settings: SharedSettings,
    /// Screen, loudspeaker, pictures.
    pub outputs: Outputs,
    /// Whether pictures of the lane are made at all.
    pub with_pictures: bool,
    /// The folder of the recordings.
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

impl Parts {
    /// Without window, sound, recording and panel.
    pub fn bare(settings: SharedSettings, outputs: Outputs) -> Self {
        Parts {
            settings,
            outputs,
            with_pictures: false,
            recordings: None,
            own_sessions: false,
            second: None,
            health: None,
            watchdog: Watchdog::default(),
            inbox: None,
            on_pass: Box::new(|_, _| {}),
        }
    }
}

/// What a source is called in its recording.
#[derive(Debug, Clone)]
pub struct SourceName {
    /// What it is.
    pub kind: SourceKind,
    /// Its name, without a path.
    pub name: String,
    /// Frames a second, where that is known before.
    pub frames_per_second: Option<f64>,
}

/// A source that is open.
pub struct LiveSource {
    /// Its frames.
    pub feed: Feed,
    /// The settings it was opened with.
    pub settings: Arc<LiveSettings>,
    /// The model at work.
    pub model: ModelChoice,
    /// What it is called.
    pub name: SourceName,
}

/// A running station. The thread that has it is the vision thread.
pub struct Runtime {
    settings: SharedSettings,
    outlet: Outlet,
    presenter: PresenterHandle,
    presenter_thread: PresenterThread,
    session: JoinHandle<()>,
    tally: Lateness,
}

impl Runtime {
    /// Starts session and presenter.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn start(parts: Parts) -> anyhow::Result<Self> {
        const NO_THREAD: &str = "the system gives no thread; restart the computer";
        let (events, inbox) = bounded(EVENTS);
        let speaker: Option<Arc<Speaker>> = parts.outputs.speaker.clone();
        let pictures = parts.outputs.pictures.clone();
        let blur_faces = parts.outputs.blur_faces;
        let (presenter, presenter_thread) =
            PresenterHandle::start(parts.outputs).context(NO_THREAD)?;
        let frame_requests = parts.inbox.as_ref().map(|i| i.frame_requests.clone());
        let recent = parts.inbox.as_ref().map(|i| Arc::clone(&i.recent));
        let stands_right = parts.inbox.as_ref().map(|i| i.stands_right.clone());
        let session = session::start(
            SessionParts {
                settings: parts.settings.clone(),
                presenter: presenter.clone(),
                pictures,
                speaker,
                recordings: parts.recordings,
                own_sessions: parts.own_sessions,
                second: parts.second,
                health: parts.health,
                watchdog: parts.watchdog,
                inbox: parts.inbox,
                on_pass: parts.on_pass,
            },
            inbox,
        )
        .context(NO_THREAD)?;
        Ok(Runtime {
            settings: parts.settings,
            outlet: Outlet {
                events,
                film: parts.with_pictures.then(|| presenter.film()),
                frame_requests,
                stands_right,
                recent,
                blur_faces,
            },
            presenter,
            presenter_thread,
            session,
            tally: Lateness::default(),
        })
    }

    /// Where vision's results go.
    pub fn outlet(&self) -> &Outlet {
        &self.outlet
    }

    /// The model cannot be loaded: it is shown, and tried again.
    pub fn no_model(&self, why: String) {
        self.outlet.tell(VisionEvent::NoModel(why));
    }

    /// Watches a source to its end, or until `stop` says so, or another one is
    /// asked for. Returns once all of it is stored, at most after `patience`;
    /// `None` where nothing was recorded, or it took longer.
    /// `observer` sees what each frame took.
    pub fn play(
        &mut self,
        vision: &mut Vision,
        source: &LiveSource,
        stop: &dyn Fn() -> bool,
        patience: Duration,
        observer: Option<FrameObserver>,
    ) -> Option<WriterStatus> {
        let LiveSource {
            feed,
            settings,
            model,
            name,
        } = source;
        let model = *model;
        let at = &settings.source;
        vision.change(&at.lane, settings.track);
        let background = at.backgrounds.as_ref();
        let background = background.and_then(|b| b.load(at.camera.id.as_deref(), &at.lane));
        vision.watch_standing(&at.lane, background);
        self.outlet
            .tell(VisionEvent::SourceBegins(Box::new(SourceBegins {
                kind: name.kind,
                name: name.name.clone(),
                frames_per_second: name.frames_per_second,
                settings: settings.source.clone(),
                track: settings.track,
                model: ModelAtWork {
                    model,
                    record: vision.engine_record(model),
                    note: vision.model_note(),
                },
            })));
        let number = settings.source.number;
        let stop = || stop() || self.settings.load().source.number != number;
        watch(feed, vision, &self.outlet, &mut self.tally, &stop, observer);
        feed.stop();
        let (done, stored) = bounded(1);
        self.outlet.tell(VisionEvent::SourceEnds(done));
        stored.recv_timeout(patience).ok().flatten()
    }

    /// Whether a replay runs.
    pub fn is_replaying(&self) -> bool {
        self.presenter.is_replaying(Duration::from_secs(1))
    }

    /// Ends session, then presenter; each at most for a while.
    pub fn end(self, patience: Duration) -> Lateness {
        let Runtime {
            outlet,
            presenter,
            presenter_thread,
            session,
            mut tally,
            ..
        } = self;
        drop(outlet);
        let since = Instant::now();
        while !session.is_finished() && since.elapsed() < patience {
            thread::sleep(Duration::from_millis(5));
        }
        if !session.is_finished() {
            tracing::error!("the session did not end in time; its thread is left behind");
        } else if session.join().is_err() {
            tracing::error!("the thread of the session panicked");
        }
        drop(presenter);
        tally.pass_end_to_cue_s = presenter_thread.end();
        tally
    }
}

/// The last name of a file.
pub fn file_name(path: &Path) -> String {
    path.file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
}
