//! The way to the presenter, and what goes over it.

use std::sync::Arc;
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use crossbeam_channel::{Sender, bounded};

use super::lane_picture::LanePicture;
use super::{Outputs, PassEndToCue, Presenter};
use crate::capture::FeedStatus;
use crate::display::{People, Person};
use crate::feedback::{Cue, SetSummary};
use crate::roster::SkaterId;
use crate::rules::JudgedPass;
use crate::station::roomy::send_if_roomy;
use crate::station::settings::snapshot::OutputSettings;
use crate::store::StripDoor;
use crate::stride::PassMotion;

/// Messages that may wait: more than the session sends in a second.
const MESSAGES: usize = 64;
/// Pictures that may wait: a quarter of a second of a camera of 30 a second.
pub(super) const PICTURES: usize = 8;
/// How long the end waits for the thread.
const ENDING: Duration = Duration::from_secs(3);

/// How the station is, as far as the big screen speaks of it.
#[derive(Debug, Clone)]
pub struct LaneState {
    /// The camera; `None` before there is one.
    pub feed: Option<FeedStatus>,
    /// Whether somebody is passing.
    pub somebody_passing: bool,
    /// Whether the pose model gives nothing.
    pub engine_stopped: bool,
    /// What measures, for the strip.
    pub engine: String,
    /// Whether pictures of somebody may be stored now.
    pub pictures_kept: bool,
    /// Whether passes do not reach the disk.
    pub not_recording: bool,
    /// Whether the computer is too slow: nothing is judged.
    pub too_slow: bool,
    /// From how far the screen is read, metres.
    pub reading_distance_m: f32,
    /// Height of its visible picture, metres.
    pub screen_height_m: f32,
    /// Who is in the lane and who is next, with their names.
    pub people: People,
    /// Look and sound, where they were set since the start.
    pub outputs: Option<Arc<OutputSettings>>,
}

/// A pass that is judged and stored.
pub struct Announcement {
    /// What was measured and flagged.
    pub pass: JudgedPass,
    /// What is said.
    pub cue: Cue,
    /// The motion it was measured from.
    pub motion: Arc<PassMotion>,
    /// What the set was like that it completed.
    pub summary: Option<SetSummary>,
    /// Whose it is, where that is known.
    pub skater: Option<SkaterId>,
    /// And what of her may stand on the screen.
    pub person: Option<Person>,
    /// Whether the station's own camera saw it, whose pictures are there.
    pub own_pictures: bool,
    /// When its last body point was captured, where that is known.
    pub ended_at: Option<Instant>,
    /// Where its pictures are to be stored, if they are.
    pub keep: Option<KeepPictures>,
}

/// The way of a pass's pictures to the disk.
pub struct KeepPictures {
    /// The recording.
    pub door: StripDoor,
    /// Whether faces are made unreadable in what is stored.
    pub blur_faces: bool,
}

pub(super) enum Message {
    State(Box<LaneState>),
    Announce(Box<Announcement>),
    ShowMe,
    /// Answered once everything before it is done.
    Done(Sender<()>),
    IsReplaying(Sender<bool>),
}

/// The way to the presenter.
#[derive(Clone)]
pub struct PresenterHandle {
    messages: Sender<Message>,
    pictures: Sender<LanePicture>,
}

/// The thread of the presenter.
pub struct PresenterThread(JoinHandle<PassEndToCue>);

impl PresenterHandle {
    /// Starts the thread. It ends when the last handle is dropped.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn start(outputs: Outputs) -> std::io::Result<(Self, PresenterThread)> {
        let (messages, inbox) = bounded(MESSAGES);
        let (pictures, film) = bounded(PICTURES);
        let thread = thread::Builder::new()
            .name("presenter".into())
            .spawn(move || Presenter::new(outputs).run(&inbox, film))?;
        Ok((
            PresenterHandle { messages, pictures },
            PresenterThread(thread),
        ))
    }

    /// Brings a judged pass to the screen and the loudspeaker.
    pub fn announce(&self, announcement: Announcement) {
        self.send(Message::Announce(Box::new(announcement)));
    }

    /// Tells how the lane is. Where the presenter has no time the next state
    /// will do.
    pub fn state(&self, state: LaneState) {
        send_if_roomy(&self.messages, Message::State(Box::new(state)));
    }

    /// Asks for the replay of the last flagged push, or for its end.
    pub fn show_me(&self) {
        self.send(Message::ShowMe);
    }

    /// Where the pictures of the lane go.
    pub fn film(&self) -> Sender<LanePicture> {
        self.pictures.clone()
    }

    /// Waits until everything that was handed over is done, at most `patience`.
    pub fn wait(&self, patience: Duration) {
        let (done, answer) = bounded(1);
        self.send(Message::Done(done));
        let _ = answer.recv_timeout(patience);
    }

    /// Whether a replay runs; no where nobody answers within `patience`.
    pub fn is_replaying(&self, patience: Duration) -> bool {
        let (reply, answer) = bounded(1);
        self.send(Message::IsReplaying(reply));
        answer.recv_timeout(patience).unwrap_or(false)
    }

    fn send(&self, message: Message) {
        // Full only where the presenter hangs; the pass is stored all the same.
        if self.messages.try_send(message).is_err() {
            tracing::error!("the presenter does not answer: something was not shown");
        }
    }
}

impl PresenterThread {
    /// Waits for the end, once every handle is dropped.
    pub fn end(self) -> PassEndToCue {
        let since = Instant::now();
        while !self.0.is_finished() && since.elapsed() < ENDING {
            thread::sleep(Duration::from_millis(5));
        }
        if !self.0.is_finished() {
            tracing::error!("the presenter did not end in time; its thread is left behind");
            return Vec::new();
        }
        self.0.join().unwrap_or_else(|_| {
            tracing::error!("the thread of the presenter panicked");
            Vec::new()
        })
    }
}
