//! The way to the session for whoever is on another thread: orders go in, one
//! view comes out.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use arc_swap::ArcSwap;
use crossbeam_channel::{Receiver, Sender, bounded};

use super::skater_queue::{QueueState, SkaterQueue};
use crate::capture::{FeedStatus, Frame};
use crate::display::PreviewImage;
use crate::feedback::Cue;
use crate::pose::PoseFrame;
use crate::roster::{Queue, SkaterId};
use crate::sound::{SoundId, SoundState};
use crate::station::lock;
use crate::station::settings::choices::ModelChoice;
use crate::station::vision::sight_watch::SightTrouble;
use crate::store::WriterStatus;

/// What vision read in the last seconds, for a check with persons.
pub type RecentPoses = Arc<Mutex<VecDeque<PoseFrame>>>;

/// Orders that may wait.
const COMMANDS: usize = 64;
/// How long an answer is waited for. The session itself waits for the disk at
/// most, and not as long.
const PATIENCE: Duration = Duration::from_secs(10);

/// What the session shows of itself.
#[derive(Debug, Clone, Default)]
pub struct SessionView {
    /// How the camera is.
    pub feed: Option<FeedStatus>,
    /// How the second camera is, where there is one.
    pub second: Option<FeedStatus>,
    /// Whether somebody is passing through the lane.
    pub somebody_passing: bool,
    /// What is wrong with what is seen.
    pub sight: Option<SightTrouble>,
    /// Whether it cannot be told how the camera stands.
    pub place_unknown: bool,
    /// Whether the second camera was moved.
    pub second_moved: bool,
    /// A small picture of the lane, with faces blurred where that is set.
    pub preview: Option<Arc<PreviewImage>>,
    /// The lines of the bodies in it, pixels of the frame.
    pub body: Arc<Vec<[[f64; 2]; 2]>>,
    /// Size of the camera's frames, pixels.
    pub frame_px: Option<[u32; 2]>,
    /// The cue of the last pass.
    pub last: Option<Cue>,
    /// The pose model at work, where it is known.
    pub model: Option<ModelChoice>,
    /// The inference engine.
    pub engine: String,
    /// State of the sound; none where none is wanted.
    pub sound: Option<SoundState>,
    /// State of the recording; `None` where there is none yet.
    pub recording: Option<WriterStatus>,
    /// Whose pass the next one is.
    pub queue: QueueState,
    /// The queue itself, to be written down.
    pub kept_queue: Arc<Queue>,
}

/// Something to do with the queue.
type OnQueue = Box<dyn FnOnce(&mut SkaterQueue) + Send>;

/// What the loudspeaker is asked for beside the cues.
#[derive(Debug, Clone, Copy)]
pub(super) enum SoundOrder {
    /// A sound, to hear how loud it is.
    Try,
    /// A word of the coach, to hear it.
    Word(SoundId),
    /// The words have changed.
    ReadWords,
}

/// An order to the session.
pub(super) enum SessionCommand {
    /// Changes the queue. Answered once the view shows it.
    Queue(OnQueue, Sender<()>),
    /// A pass of this number was somebody else's.
    Correct(u32, Option<SkaterId>, Sender<()>),
    /// The settings have changed. Answered once they are taken.
    Settings(Sender<()>),
    /// The session that is recorded ends behind its last pass.
    EndSession(Sender<()>),
    /// The replay of the last flagged push.
    ShowMe,
    /// Something for the loudspeaker.
    Sound(SoundOrder),
}

/// The session's own end of the way.
pub struct SessionInbox {
    pub(super) commands: Receiver<SessionCommand>,
    pub(super) view: Arc<ArcSwap<SessionView>>,
    /// What was read in the last seconds; vision writes it.
    pub recent: RecentPoses,
    /// The camera stands right as it stands now; for vision.
    pub stands_right: Receiver<()>,
    /// Who wants a whole frame; for vision.
    pub frame_requests: Receiver<Sender<Arc<Frame>>>,
}

/// The way to the session. Clones lead to the same.
#[derive(Clone)]
pub struct SessionLink {
    commands: Sender<SessionCommand>,
    view: Arc<ArcSwap<SessionView>>,
    frames: Sender<Sender<Arc<Frame>>>,
    stands_right: Sender<()>,
    recent: RecentPoses,
}

/// The session does not answer; what was asked for may not have been done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the station does not answer")]
pub struct NoAnswer;

impl SessionLink {
    /// Both ends. The order of things is that the session may start later.
    pub fn new() -> (Self, SessionInbox) {
        let (commands, inbox) = bounded(COMMANDS);
        let (frames, frame_requests) = bounded(1);
        let (stands_right, standing) = bounded(1);
        let view = Arc::new(ArcSwap::from_pointee(SessionView::default()));
        let link = SessionLink {
            commands,
            view: Arc::clone(&view),
            frames,
            stands_right,
            recent: RecentPoses::default(),
        };
        let inbox = SessionInbox {
            commands: inbox,
            view,
            recent: Arc::clone(&link.recent),
            stands_right: standing,
            frame_requests,
        };
        (link, inbox)
    }

    /// What the session shows of itself.
    pub fn view(&self) -> Arc<SessionView> {
        self.view.load_full()
    }

    /// Changes the queue; the view shows it when this returns.
    ///
    /// # Errors
    /// The session does not answer.
    pub fn queue<T: Send + 'static>(
        &self,
        change: impl FnOnce(&mut Queue) -> T + Send + 'static,
    ) -> Result<T, NoAnswer> {
        self.on_queue(move |queue| change(queue.queue()))
    }

    /// Takes up a queue of an earlier start, but not where one was made since;
    /// whether it did.
    ///
    /// # Errors
    /// The session does not answer.
    pub fn take_up_queue(&self, queue: Queue) -> Result<bool, NoAnswer> {
        self.on_queue(move |now| now.take_up(queue))
    }

    fn on_queue<T: Send + 'static>(
        &self,
        change: impl FnOnce(&mut SkaterQueue) -> T + Send + 'static,
    ) -> Result<T, NoAnswer> {
        let (result, changed) = bounded(1);
        let change: OnQueue = Box::new(move |queue| {
            let _ = result.send(change(queue));
        });
        self.ask(|done| SessionCommand::Queue(change, done))?;
        changed.try_recv().map_err(|_| NoAnswer)
    }

    /// Says whose an earlier pass was, for the choice of the next cues. Where
    /// it was the last pass, the queue goes on behind its skater.
    ///
    /// # Errors
    /// The session does not answer.
    pub fn correct(&self, number: u32, skater: Option<SkaterId>) -> Result<(), NoAnswer> {
        self.ask(|done| SessionCommand::Correct(number, skater, done))
    }

    /// Has the session take changed settings now.
    ///
    /// # Errors
    /// The session does not answer; it takes them with the next pass.
    pub fn settings_changed(&self) -> Result<(), NoAnswer> {
        self.ask(SessionCommand::Settings)
    }

    /// Ends the session that is recorded; the next pass begins another.
    ///
    /// # Errors
    /// The session does not answer.
    pub fn end_session(&self) -> Result<(), NoAnswer> {
        self.ask(SessionCommand::EndSession)
    }

    /// Asks for the replay of the last flagged push.
    pub fn show_me(&self) {
        let _ = self.commands.try_send(SessionCommand::ShowMe);
    }

    /// The first camera stands right as it stands now: the next seconds are what it is held to.
    pub fn stands_right(&self) {
        // One that waits already says the same.
        let _ = self.stands_right.try_send(());
    }

    /// Where vision keeps what it read in the last seconds.
    pub fn recent(&self) -> RecentPoses {
        Arc::clone(&self.recent)
    }

    /// What was read in the last seconds, the oldest first.
    pub fn recent_poses(&self) -> Vec<PoseFrame> {
        let recent = lock(&self.recent);
        recent.iter().cloned().collect()
    }

    /// Asks for a sound, to hear how loud it is.
    pub fn try_sound(&self) {
        self.ask_sound(SoundOrder::Try);
    }

    /// Asks for a word of the coach, to hear it.
    pub fn hear_word(&self, of: SoundId) {
        self.ask_sound(SoundOrder::Word(of));
    }

    /// Says that the words of the coach have changed.
    pub fn words_changed(&self) {
        self.ask_sound(SoundOrder::ReadWords);
    }

    fn ask_sound(&self, order: SoundOrder) {
        let _ = self.commands.try_send(SessionCommand::Sound(order));
    }

    /// Waits for the next frame of the camera, at most `patience`.
    pub fn next_frame(&self, patience: Duration) -> Option<Arc<Frame>> {
        let (reply, frame) = bounded(1);
        self.frames.try_send(reply).ok()?;
        frame.recv_timeout(patience).ok()
    }

    fn ask(&self, order: impl FnOnce(Sender<()>) -> SessionCommand) -> Result<(), NoAnswer> {
        let (done, answer) = bounded(1);
        self.commands
            .send_timeout(order(done), PATIENCE)
            .map_err(|_| NoAnswer)?;
        answer.recv_timeout(PATIENCE).map_err(|_| NoAnswer)
    }
}
