//! The loop of the vision thread: frames from a feed through pose model and
//! tracker. It waits for frames and for nothing else.
//!
//! Takes: a feed.
//! Gives: [`VisionEvent`]s to the session and pictures of the lane to the
//! presenter, both through bounded queues that are never waited for.
//! Fails: never; a frame the engine fails on is left out and said so.

use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, TrySendError};

use super::sight_watch::{SightTrouble, SightWatch};
use super::tracking::{PassEvent, Vision};
use crate::capture::{Feed, FeedClock, FeedState, FeedStatus, Frame, Taken};
use crate::display::PreviewImage;
use crate::pose::{Body, PoseFrame, StageTimes};
use crate::rules::BONES;
use crate::standing::{Reference, Standing};
use crate::station::lateness::{Lateness, keep_newest};
use crate::station::presenter::{LanePicture, lane_picture};
use crate::station::roomy::send_if_roomy;
use crate::station::session::RecentPoses;
use crate::station::settings::choices::ModelChoice;
use crate::station::settings::snapshot::SourceSettings;
use crate::store;
use crate::track::TrackSettings;

/// Longest wait for a frame before faults and the clock are looked at again.
pub(super) const WAIT: Duration = Duration::from_millis(100);
/// Without a frame for this long, seconds, open passes end.
pub(super) const SILENT_S: f64 = 0.5;
/// A fault of the engine is logged at most this often.
pub(super) const COMPLAIN_EVERY: Duration = Duration::from_secs(10);
/// How much of what was read is kept for a hold, seconds: the two it takes and the press.
const RECENT_S: f64 = 2.4;
/// How often the status is told when nothing changes.
const TELL_EVERY: Duration = Duration::from_millis(100);

/// When the program began; the first call sets it.
pub fn began() -> Instant {
    static BEGAN: OnceLock<Instant> = OnceLock::new();
    *BEGAN.get_or_init(Instant::now)
}

/// A source whose frames are going to come.
#[derive(Debug, Clone)]
pub struct SourceBegins {
    /// What it is, for the recording.
    pub kind: store::SourceKind,
    /// Its name, without a path.
    pub name: String,
    /// Frames a second, where that is known before.
    pub frames_per_second: Option<f64>,
    /// How it is seen.
    pub settings: SourceSettings,
    /// When a passing person counts.
    pub track: TrackSettings,
    /// What measures.
    pub model: ModelAtWork,
}

/// The pose model at work.
#[derive(Debug, Clone)]
pub struct ModelAtWork {
    /// Which.
    pub model: ModelChoice,
    /// As a session stores it.
    pub record: store::EngineInfo,
    /// What there is to say about it.
    pub note: Option<String>,
}

/// How vision is.
#[derive(Debug, Clone)]
pub struct VisionStatus {
    /// The camera.
    pub feed: FeedStatus,
    /// Its clock.
    pub clock: FeedClock,
    /// The tracks that are passing.
    pub passing: Vec<u32>,
    /// Why the pose model gives nothing at the moment.
    pub engine_fault: Option<String>,
    /// What is wrong with what is seen.
    pub sight: Option<SightTrouble>,
    /// Whether it cannot be told how the camera stands.
    pub place_unknown: bool,
    /// The newest picture of the lane.
    pub preview: Option<Arc<PreviewImage>>,
    /// The lines of the bodies in it, pixels of the frame.
    pub body: Arc<Vec<[[f64; 2]; 2]>>,
    /// From the capture of a frame to the end of its analysis, seconds, of
    /// the frames since the last status.
    pub ages_s: Vec<f64>,
    /// Frames analysed since the start.
    pub frames: u64,
}

/// What vision tells the session, in order.
pub enum VisionEvent {
    /// Another source: everybody seen so far is forgotten.
    SourceBegins(Box<SourceBegins>),
    /// Its first frame came, of this width and height, pixels.
    FirstFrame([u32; 2]),
    /// Something happened in the lane; with the clock of the source.
    Pass(PassEvent, Option<FeedClock>),
    /// Another model has taken over, between two passes.
    ModelChanged(ModelAtWork),
    /// The model cannot be loaded: why. It is tried again.
    NoModel(String),
    /// The background the camera is held to from now on, to be kept.
    Background(Box<Reference>),
    /// How vision is.
    Status(Box<VisionStatus>),
    /// Nothing more comes from the source. Answered once all of it is stored.
    SourceEnds(Sender<Option<store::WriterStatus>>),
}

/// Where vision's results go.
pub struct Outlet {
    /// To the session.
    pub events: Sender<VisionEvent>,
    /// To the presenter, where anybody looks at pictures.
    pub film: Option<Sender<LanePicture>>,
    /// Who wants a whole frame.
    pub frame_requests: Option<Receiver<Sender<Arc<Frame>>>>,
    /// The coach says that the camera stands right.
    pub stands_right: Option<Receiver<()>>,
    /// What was read in the last seconds, where anybody may ask for it.
    pub recent: Option<RecentPoses>,
    /// Whether faces are made unreadable in every picture.
    pub blur_faces: bool,
}

impl Outlet {
    /// Tells the session something that must not be lost.
    pub fn tell(&self, event: VisionEvent) {
        if let Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) =
            self.events.try_send(event)
        {
            tracing::error!("the session does not answer: something that was seen is lost");
        }
    }

    /// Tells the session how vision is. Where the session is behind, the next
    /// status will do.
    fn tell_status(&self, status: VisionStatus) {
        send_if_roomy(&self.events, VisionEvent::Status(Box::new(status)));
    }

    /// Keeps what was read for a check with persons. Somebody who reads it just now costs a
    /// frame of it, and no time.
    fn remember(&self, poses: PoseFrame) {
        let Some(recent) = &self.recent else { return };
        let Ok(mut recent) = recent.try_lock() else {
            return;
        };
        let oldest_s = poses.captured_at_s - RECENT_S;
        // Another source begins anew.
        recent.retain(|f| (oldest_s..poses.captured_at_s).contains(&f.captured_at_s));
        recent.push_back(poses);
    }

    /// A frame for whoever asked, a picture for the presenter. Gives the
    /// picture.
    fn film(&self, frame: &Arc<Frame>, poses: &PoseFrame) -> Option<Arc<PreviewImage>> {
        if let Some(requests) = &self.frame_requests {
            for asked in requests.try_iter() {
                // Copied: the buffer of this one is used again.
                let _ = asked.try_send(Arc::new(Frame::clone(frame)));
            }
        }
        let film = self.film.as_ref()?;
        let picture = lane_picture(frame, poses, self.blur_faces)?;
        let preview = Arc::clone(&picture.picture);
        // A presenter that is behind does without this one.
        let _ = film.try_send(picture);
        Some(preview)
    }
}

/// Sees how long a frame took, and the pose stages' part of it.
pub type FrameObserver<'a> = &'a mut dyn FnMut(Duration, &StageTimes);

/// The state of one run of the loop.
struct Watch<'a> {
    feed: &'a Feed,
    outlet: &'a Outlet,
    engine_fault: Option<String>,
    sight: SightWatch,
    standing: Standing,
    complained: Option<Instant>,
    frame_px: Option<[u32; 2]>,
    preview: Option<Arc<PreviewImage>>,
    /// The lines of the bodies in it.
    body: Arc<Vec<[[f64; 2]; 2]>>,
    ages_s: Vec<f64>,
    told: Option<(Instant, Vec<u32>, FeedState)>,
}

/// Runs until the feed ends or `stop` says so.
pub fn watch(
    feed: &Feed,
    vision: &mut Vision,
    outlet: &Outlet,
    tally: &mut Lateness,
    stop: &dyn Fn() -> bool,
    mut observer: Option<FrameObserver>,
) {
    let started = Instant::now();
    let mut run = Watch {
        feed,
        outlet,
        engine_fault: None,
        sight: SightWatch::default(),
        standing: Standing::default(),
        complained: None,
        frame_px: None,
        preview: None,
        body: Arc::default(),
        ages_s: Vec::new(),
        told: None,
    };
    while !stop() {
        let mut events = Vec::new();
        let ended = match feed.take(WAIT) {
            Taken::Frame(frame) => {
                events = run.frame(&frame, vision, tally, &mut observer);
                feed.give_back(frame);
                false
            }
            Taken::Nothing => {
                // The camera is silent: whoever was in the lane is judged now
                // and not when it comes back.
                let silent_s = feed.status().last_frame_age_s.unwrap_or(0.0);
                if silent_s > SILENT_S && vision.somebody_passing() {
                    events = vision.finish();
                }
                false
            }
            Taken::Ended => {
                events = vision.finish();
                true
            }
        };
        let clock = feed.clock();
        for event in events {
            outlet.tell(VisionEvent::Pass(event, Some(clock)));
        }
        if let Some(model) = vision.take_model_change() {
            outlet.tell(VisionEvent::ModelChanged(ModelAtWork {
                model,
                record: vision.engine_record(model),
                note: vision.model_note(),
            }));
        }
        run.tell(vision.passing(), tally.frames);
        if ended {
            break;
        }
    }
    tally.dropped += feed.status().dropped;
    tally.seconds += started.elapsed().as_secs_f64();
}

impl Watch<'_> {
    fn frame(
        &mut self,
        frame: &Arc<Frame>,
        vision: &mut Vision,
        tally: &mut Lateness,
        observer: &mut Option<FrameObserver>,
    ) -> Vec<PassEvent> {
        let size = [frame.width, frame.height];
        if self.frame_px != Some(size) {
            self.frame_px = Some(size);
            self.outlet.tell(VisionEvent::FirstFrame(size));
        }
        let since = Instant::now();
        vision.hurry(self.feed.is_behind());
        let events = match vision.push(frame) {
            Ok((poses, events)) => {
                if let Some(observer) = observer {
                    observer(since.elapsed(), &vision.estimator().stage_times());
                }
                self.engine_fault = None;
                self.sight.frame(frame, &poses);
                self.sight.counted(vision.counted());
                self.stands(vision);
                if let Some(picture) = self.outlet.film(frame, &poses) {
                    self.preview = Some(picture);
                    self.body = Arc::new(poses.bodies.iter().flat_map(lines_of).collect());
                }
                if tally.first_frame_s.is_none() {
                    let first_s = began().elapsed().as_secs_f64();
                    tally.first_frame_s = Some(first_s);
                    tracing::info!("first frame analysed {first_s:.2} s after the start");
                }
                self.outlet.remember(poses);
                events
            }
            Err(error) => {
                if self
                    .complained
                    .is_none_or(|at| at.elapsed() > COMPLAIN_EVERY)
                {
                    self.complained = Some(Instant::now());
                    tracing::error!("the pose model failed on a frame: {error}");
                }
                self.engine_fault = Some(error.to_string());
                Vec::new()
            }
        };
        tally.frames += 1;
        if let Some(age_s) = self.feed.clock().age_s(frame.captured_at_s) {
            keep_newest(&mut tally.frame_age_s, tally.frames, age_s);
            self.ages_s.push(age_s);
        }
        events
    }

    /// How the camera stands, told once when that changes.
    fn stands(&mut self, vision: &mut Vision) {
        let Some(watch) = vision.standing() else {
            return;
        };
        if let Some(orders) = &self.outlet.stands_right
            && orders.try_iter().last().is_some()
        {
            tracing::info!(
                "the camera stands right, the coach says: it is held to the next seconds"
            );
            watch.stands_right();
        }
        if let Some(background) = watch.take_learned() {
            self.outlet
                .tell(VisionEvent::Background(Box::new(background)));
        }
        let before = std::mem::replace(&mut self.standing, watch.standing());
        match (before, self.standing) {
            (before, after) if before == after => {}
            (_, Standing::Moved) => tracing::warn!("{}", SightTrouble::CameraMoved.sentence()),
            (Standing::Moved, Standing::Stands) => {
                tracing::info!("the camera stands where it stood")
            }
            (_, Standing::CannotTell) => {
                tracing::info!(
                    "whether the camera was moved cannot be told: the background shows too little"
                );
            }
            _ => {}
        }
    }

    /// Tells how vision is: at once where who is passing or the camera
    /// changed, else now and then. One that finds no room is let go.
    fn tell(&mut self, passing: Vec<u32>, frames: u64) {
        let feed = self.feed.status();
        let fresh = self.told.as_ref().is_some_and(|(at, before, state)| {
            at.elapsed() < TELL_EVERY && *before == passing && *state == feed.state
        });
        if fresh {
            return;
        }
        self.told = Some((Instant::now(), passing.clone(), feed.state));
        let live = feed.state == FeedState::Live;
        let status = VisionStatus {
            sight: match self.standing {
                // It does not help to focus a camera that stands wrong.
                Standing::Moved => Some(SightTrouble::CameraMoved),
                _ => live
                    .then(|| self.sight.trouble(feed.fps_measured))
                    .flatten(),
            },
            place_unknown: self.standing == Standing::CannotTell,
            clock: self.feed.clock(),
            feed,
            passing,
            engine_fault: self.engine_fault.clone(),
            preview: self.preview.clone(),
            body: Arc::clone(&self.body),
            ages_s: std::mem::take(&mut self.ages_s),
            frames,
        };
        self.outlet.tell_status(status);
    }
}

/// The lines from joint to joint of a body, pixels of the frame.
fn lines_of(body: &Body) -> [[[f64; 2]; 2]; BONES.len()] {
    let at = |p| {
        let point = body.point(p);
        [point.x_px, point.y_px].map(f64::from)
    };
    BONES.map(|(a, b)| [at(a), at(b)])
}

#[cfg(test)]
#[path = "watch_tests.rs"]
mod tests;
