//! Where judged passes go: the big screen, the sound, the recording.
//!
//! The store comes first: a pass is on the disk before it is on the screen,
//! as long as the disk answers quickly. Nothing here waits longer than that.

use std::sync::Arc;
use std::time::{Duration, Instant};

use super::analyser::Judged;
use super::replay::{Clip, Ring, small_picture};
use crate::capture::{FeedState, FeedStatus, Frame};
use crate::display::{
    Fault, Look, PreviewImage, Screen, ScreenGeometry, ScreenHandle, ScreenModel, SoundNote,
    StatusStrip,
};
use crate::feedback::SetSummary;
use crate::pose::PoseFrame;
use crate::sound::{SoundId, SoundState, Speaker};
use crate::store::{StoreWriter, WriterState, WriterStatus};

/// How long the screen waits for the disk before it shows a cue anyway.
const DISK_PATIENCE: Duration = Duration::from_millis(100);
/// A cue stays at least this long, even when the next skater is in the lane.
const CUE_AT_LEAST: Duration = Duration::from_millis(2500);
/// And no longer than this when nobody comes.
const CUE_AT_MOST: Duration = Duration::from_secs(8);
/// The sound waits for its card to be drawn, but not longer than this.
const SOUND_AT_LATEST: Duration = Duration::from_millis(600);
/// A fault has to last this long before the skater's screen speaks of it.
const FAULT_AFTER: Duration = Duration::from_millis(500);
/// Shortest time between two pictures of the lane on the screen.
const PICTURE_EVERY: Duration = Duration::from_millis(60);
/// How long the summary of a set stays.
const SUMMARY_FOR: Duration = Duration::from_secs(8);
/// How long it is said that nothing is stored; the strip goes on saying it.
const NOT_STORED_FOR: Duration = Duration::from_secs(8);
/// How long a replay runs on: three loops.
const REPLAY_FOR: Duration = Duration::from_millis(10_500);
/// A replay that nobody asked for so long is let go with its pictures.
const CLIP_KEPT_FOR: Duration = Duration::from_secs(60);

/// Opens a recording for a source whose frames look like this one.
pub type OpenStore = Box<dyn FnOnce(&Frame) -> StoreWriter + Send>;

/// All outputs of a running station. Each may be missing; the others go on.
pub struct Stage {
    /// The window, where there is one.
    pub screen: Option<ScreenHandle>,
    /// The loudspeaker, where sound is wanted.
    pub speaker: Option<Arc<Speaker>>,
    /// The recording.
    pub store: Option<StoreWriter>,
    /// Opens the recording once the first frame tells its size.
    pub open_store: Option<OpenStore>,
    geometry: ScreenGeometry,
    /// How the big screen looks.
    pub look: Look,
    engine_name: String,
    /// Whether faces are made unreadable in every picture.
    pub blur_faces: bool,
    answer: Option<(Screen, Instant)>,
    summary: Option<(SetSummary, Option<Instant>)>,
    /// Since when it is said that nothing is stored; said once.
    not_stored_since: Option<Instant>,
    ring: Ring,
    clip: Option<(Clip, Instant)>,
    replaying_since: Option<Instant>,
    shown_shot: Option<((usize, bool), Screen, Arc<PreviewImage>)>,
    /// An answer whose sound was asked for and not measured yet.
    unmeasured: Option<(u32, SoundId, Instant)>,
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
            blur_faces: true,
            answer: None,
            summary: None,
            not_stored_since: None,
            ring: Ring::default(),
            clip: None,
            replaying_since: None,
            shown_shot: None,
            unmeasured: None,
            fault_since: None,
            picture: None,
            picture_at: None,
        }
    }

    /// Brings a judged pass to the store, the screen and the loudspeaker.
    pub fn announce(&mut self, judged: &Judged, feed: &FeedStatus) {
        let (pass, cue) = (&judged.pass, &judged.cue);
        if let Some(store) = &self.store {
            // What the disk cannot take now it takes later; the status strip
            // and the health lines say so.
            store
                .submit((pass.clone(), cue.clone()).into())
                .wait(DISK_PATIENCE);
        }
        self.answer = Some((Screen::of_cue(cue), Instant::now()));
        self.summary = judged
            .summary
            .map(|summary| (summary, None))
            .or(self.summary.take());
        self.end_replay();
        self.show(feed, false);
        if let (Some(speaker), Some(sound)) = (&self.speaker, SoundId::of_cue(&cue.kind)) {
            let asked_at = Instant::now();
            self.unmeasured = Some((cue.pass_number, sound, asked_at));
            match &self.screen {
                Some(screen) => {
                    let speaker = Arc::clone(speaker);
                    screen.after_painting(cue.pass_number, move || {
                        speaker.play(sound);
                    });
                }
                None => {
                    speaker.play(sound);
                }
            }
        }
        // After the cue: this may take some milliseconds.
        let clip = self.ring.clip(pass, cue, &judged.motion);
        self.clip = clip.map(|clip| (clip, Instant::now()));
    }

    /// A new frame came in: opens the recording with the first one, and keeps
    /// pictures of the lane for the screen and for a replay.
    pub fn frame(&mut self, frame: &Frame, poses: &PoseFrame) {
        if let Some(open) = self.open_store.take() {
            self.store = Some(open(frame));
        }
        if self.screen.is_none() || self.look.symbols_only {
            return;
        }
        let Some(picture) = small_picture(frame, poses, self.blur_faces) else {
            return;
        };
        self.ring.push(frame, &picture);
        let due = self
            .picture_at
            .is_none_or(|at| at.elapsed() >= PICTURE_EVERY);
        if due {
            self.picture_at = Some(Instant::now());
            self.picture = Some(Arc::new(picture));
        }
    }

    /// Shows what is due now.
    pub fn show(&mut self, feed: &FeedStatus, somebody_passing: bool) {
        let Some(handle) = self.screen.clone() else {
            return;
        };
        self.measure_sound(&handle);
        self.look_after_replay(handle.take_show_me(), somebody_passing);
        if let Some((screen, picture)) = self.shot_now() {
            handle.show(self.model(screen, feed), Some(picture));
            return;
        }
        let screen = self.screen_now(feed, somebody_passing);
        let picture = match screen {
            Screen::InLane => self.picture.clone(),
            _ => None,
        };
        handle.show(self.model(screen, feed), picture);
    }

    /// Writes down how long after the card its sound started, once both are
    /// known. Negative where the sound was first.
    fn measure_sound(&mut self, handle: &ScreenHandle) {
        let Some((pass_number, sound, asked_at)) = self.unmeasured else {
            return;
        };
        if asked_at.elapsed() >= SOUND_AT_LATEST {
            handle.no_longer_wait_for_painting();
        }
        let painted = handle.last_painted().filter(|(n, _)| *n == pass_number);
        let started = self
            .speaker
            .as_ref()
            .and_then(|s| s.last_started())
            .filter(|(id, at)| *id == sound && *at >= asked_at);
        if let (Some((_, card)), Some((_, sounded))) = (painted, started) {
            let ms =
                |from: Instant, to: Instant| to.saturating_duration_since(from).as_millis() as i64;
            let card_to_sound_ms = ms(card, sounded) - ms(sounded, card);
            tracing::info!(pass_number, card_to_sound_ms, "the sound of a card started");
            self.unmeasured = None;
        }
    }

    /// Starts a replay that was asked for, and ends one: after its time, when
    /// it is asked for again, and whenever somebody is in the lane.
    fn look_after_replay(&mut self, asked: bool, somebody_passing: bool) {
        let over = self
            .replaying_since
            .is_some_and(|since| since.elapsed() >= REPLAY_FOR);
        if somebody_passing || over || (asked && self.replaying_since.is_some()) {
            self.end_replay();
        } else if asked && self.clip.is_some() {
            self.replaying_since = Some(Instant::now());
        } else if asked {
            tracing::info!("a replay was asked for, but there are no pictures of a flagged push");
        }
        if asked && somebody_passing {
            tracing::info!("a replay was asked for while somebody is in the lane");
        }
        let forgotten = self
            .clip
            .as_ref()
            .is_some_and(|(_, since)| since.elapsed() >= CLIP_KEPT_FOR);
        if forgotten && self.replaying_since.is_none() {
            self.clip = None;
        }
    }

    /// Whether a replay runs.
    pub fn is_replaying(&self) -> bool {
        self.replaying_since.is_some()
    }

    fn end_replay(&mut self) {
        self.replaying_since = None;
        self.shown_shot = None;
    }

    /// The picture of the replay that is due, while one runs.
    fn shot_now(&mut self) -> Option<(Screen, Arc<PreviewImage>)> {
        let since = self.replaying_since?;
        let (clip, _) = self.clip.as_ref()?;
        let due = clip.due(since.elapsed());
        if self
            .shown_shot
            .as_ref()
            .is_none_or(|(shown, ..)| *shown != due)
        {
            let (picture, overlay) = clip.shot(due.0, due.1)?;
            let screen = Screen::Replay {
                pass_number: clip.pass_number,
                overlay,
            };
            self.shown_shot = Some((due, screen, Arc::new(picture)));
        }
        let (_, screen, picture) = self.shown_shot.as_ref()?;
        Some((screen.clone(), Arc::clone(picture)))
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
            _ => self.free_lane(),
        }
    }

    /// While nobody is there: the summary of the set, once that nothing is
    /// stored, else who is next.
    fn free_lane(&mut self) -> Screen {
        if let Some((summary, since)) = &mut self.summary {
            let since = *since.get_or_insert_with(Instant::now);
            if since.elapsed() < SUMMARY_FOR {
                return Screen::Summary(*summary);
            }
            self.summary = None;
        }
        if self.recording_trouble().is_some() {
            let since = *self.not_stored_since.get_or_insert_with(Instant::now);
            if since.elapsed() < NOT_STORED_FOR {
                return Screen::Fault(Fault::NotRecording);
            }
        } else {
            self.not_stored_since = None;
        }
        Screen::Waiting
    }

    fn sound_note(&self) -> SoundNote {
        match self.speaker.as_ref().map(|s| s.state()) {
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
