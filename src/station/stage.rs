//! Where judged passes go: the big screen, the sound, the recording.
//!
//! The store comes first: a pass is on the disk before it is on the screen,
//! as long as the disk answers quickly. Nothing here waits longer than that.

use std::sync::Arc;
use std::time::{Duration, Instant};

use crate::capture::{FeedState, FeedStatus, Frame};
use crate::display::{
    Fault, Look, PreviewImage, Screen, ScreenGeometry, ScreenHandle, ScreenModel, SoundNote,
    StatusStrip,
};
use crate::feedback::Cue;
use crate::rules::JudgedPass;
use crate::sound::{SoundId, SoundState, Speaker};
use crate::store::{StoreWriter, WriterState, WriterStatus};

/// How long the screen waits for the disk before it shows a cue anyway.
const DISK_PATIENCE: Duration = Duration::from_millis(100);
/// A cue stays at least this long, even when the next skater is in the lane.
const CUE_AT_LEAST: Duration = Duration::from_millis(2500);
/// And no longer than this when nobody comes.
const CUE_AT_MOST: Duration = Duration::from_secs(8);
/// A fault has to last this long before the skater's screen speaks of it.
const FAULT_AFTER: Duration = Duration::from_millis(500);
/// Shortest time between two pictures of the lane on the screen.
const PICTURE_EVERY: Duration = Duration::from_millis(60);
/// Longest side of that picture, pixels.
const PICTURE_SIDE: u32 = 640;

/// Opens a recording for a source whose frames look like this one.
pub type OpenStore = Box<dyn FnOnce(&Frame) -> StoreWriter + Send>;

/// All outputs of a running station. Each may be missing; the others go on.
pub struct Stage {
    /// The window, where there is one.
    pub screen: Option<ScreenHandle>,
    /// The loudspeaker, where sound is wanted.
    pub speaker: Option<Speaker>,
    /// The recording.
    pub store: Option<StoreWriter>,
    /// Opens the recording once the first frame tells its size.
    pub open_store: Option<OpenStore>,
    geometry: ScreenGeometry,
    /// How the big screen looks.
    pub look: Look,
    engine_name: String,
    answer: Option<(Screen, Instant)>,
    fault_since: Option<Instant>,
    picture: Option<Arc<PreviewImage>>,
    picture_at: Option<Instant>,
}

impl Stage {
    /// A stage without outputs; set the fields that exist.
    pub fn new(geometry: ScreenGeometry, engine_name: String) -> Self {
        Stage {
            screen: None,
            speaker: None,
            store: None,
            open_store: None,
            geometry,
            look: Look::default(),
            engine_name,
            answer: None,
            fault_since: None,
            picture: None,
            picture_at: None,
        }
    }

    /// Brings a judged pass to the store, the screen and the loudspeaker.
    pub fn announce(&mut self, pass: &JudgedPass, cue: &Cue, feed: &FeedStatus) {
        if let Some(store) = &self.store {
            // What the disk cannot take now it takes later; the status strip
            // and the health lines say so.
            store.submit(pass.clone(), cue.clone()).wait(DISK_PATIENCE);
        }
        self.answer = Some((Screen::of_cue(cue), Instant::now()));
        self.show(feed, false);
        if let (Some(speaker), Some(sound)) = (&self.speaker, SoundId::of_cue(&cue.kind)) {
            speaker.play(sound);
        }
    }

    /// A new frame came in: opens the recording with the first one, and keeps
    /// a picture of the lane for the screen.
    pub fn frame(&mut self, frame: &Frame) {
        if let Some(open) = self.open_store.take() {
            self.store = Some(open(frame));
        }
        let due = self
            .picture_at
            .is_none_or(|at| at.elapsed() >= PICTURE_EVERY);
        if self.screen.is_none() || !due {
            return;
        }
        self.picture_at = Some(Instant::now());
        self.picture = PreviewImage::from_rgb(frame.width, frame.height, &frame.rgb, PICTURE_SIDE)
            .map(Arc::new);
    }

    /// Shows what is due now.
    pub fn show(&mut self, feed: &FeedStatus, somebody_passing: bool) {
        let Some(handle) = self.screen.clone() else {
            return;
        };
        let screen = self.screen_now(feed, somebody_passing);
        let picture = match screen {
            Screen::InLane | Screen::Waiting => self.picture.clone(),
            _ => None,
        };
        handle.show(self.model(screen, feed), picture);
    }

    /// What the big screen shows for a screen at the moment.
    pub fn model(&self, screen: Screen, feed: &FeedStatus) -> ScreenModel {
        ScreenModel {
            screen,
            status: StatusStrip {
                engine: Some(self.engine_name.clone()),
                // whole numbers, so that the strip does not change all the time
                fps: (feed.fps_measured > 0.0).then_some(feed.fps_measured.round() as f32),
                sound: self.sound_note(),
                pictures_kept: false,
                not_recording: self.recording_trouble().is_some(),
            },
            geometry: self.geometry,
            look: self.look.clone(),
        }
    }

    fn screen_now(&mut self, feed: &FeedStatus, somebody_passing: bool) -> Screen {
        let fault = fault_of(feed);
        match (&fault, self.fault_since) {
            (None, _) => self.fault_since = None,
            (Some(_), None) => self.fault_since = Some(Instant::now()),
            (Some(_), Some(_)) => {}
        }
        if let Some((screen, since)) = &self.answer {
            let stayed = since.elapsed();
            if stayed < CUE_AT_LEAST || (!somebody_passing && stayed < CUE_AT_MOST) {
                return screen.clone();
            }
            self.answer = None;
        }
        match fault {
            Some(fault) if self.fault_since.is_some_and(|s| s.elapsed() >= FAULT_AFTER) => {
                Screen::Fault(fault)
            }
            _ if somebody_passing => Screen::InLane,
            _ => Screen::Waiting,
        }
    }

    fn sound_note(&self) -> SoundNote {
        match self.speaker.as_ref().map(Speaker::state) {
            Some(SoundState::Ready) => SoundNote::On,
            Some(SoundState::Off) => SoundNote::Off,
            Some(SoundState::NoDevice(_) | SoundState::NoSounds(_)) | None => SoundNote::NoDevice,
        }
    }

    /// Ends the recording. `None` where there was none.
    pub fn end_recording(&mut self, patience: Duration) -> Option<WriterStatus> {
        self.store.take().map(|store| store.finish(patience))
    }

    /// Whether passes reach the disk; the sentence says why not.
    pub fn recording_trouble(&self) -> Option<String> {
        match self.store.as_ref()?.status().state {
            WriterState::Stopped(why) => Some(why),
            WriterState::Starting | WriterState::Writing | WriterState::Ended => None,
        }
    }
}

fn fault_of(feed: &FeedStatus) -> Option<Fault> {
    match feed.state {
        FeedState::Searching | FeedState::Lost => Some(Fault::NoCamera),
        FeedState::Stalled => Some(Fault::CameraSilent),
        FeedState::Opening | FeedState::Live | FeedState::Ended | FeedState::Stopped => None,
    }
}
