//! Where judged passes go: the big screen, the sound, the recording.
//!
//! The store comes first: a pass is on the disk before it is on the screen,
//! as long as the disk answers quickly. Nothing here waits longer than that.

use std::sync::Arc;
use std::time::{Duration, Instant};

use crate::capture::{FeedState, FeedStatus, Frame};
use crate::display::{
    Appearance, Fault, PreviewImage, Screen, ScreenGeometry, ScreenHandle, ScreenModel, SoundNote,
    StatusStrip,
};
use crate::feedback::{Cue, SetSummary};
use crate::pose::PoseFrame;
use crate::sound::{SoundId, SoundState, Speaker};
use crate::station::health::notify::Watchdog;
use crate::station::health::{HealthKeeper, Mood, PoseHealth, Running};
use crate::station::live::run::Lateness;
use crate::station::presenter::pictures::PictureMaker;
use crate::station::presenter::replay::{Clip, Ring, faces, small_picture};
use crate::station::session::analyser::{Analyser, Judged};
use crate::station::session::control::{Control, Seen};
use crate::station::settings::choices::ModelChoice;
use crate::station::vision::camera_pipeline::EyeStatus;
use crate::store::{NewPass, StoreWriter, WriterState, WriterStatus, Written};

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
/// How long the change of the pose model waits for the recording to end.
const NEW_RECORDING_WITHIN: Duration = Duration::from_millis(500);
/// How long a replay runs on: three loops.
const REPLAY_FOR: Duration = Duration::from_millis(10_500);
/// A replay that nobody asked for so long is let go with its pictures.
const CLIP_KEPT_FOR: Duration = Duration::from_secs(60);

/// The desk is told this often how things are.
const PUBLISH_EVERY: Duration = Duration::from_millis(100);
/// How long the end of a recording waits for pictures being made.
const PICTURES_PATIENCE: Duration = Duration::from_secs(3);

/// Opens a recording for a source whose frames look like this one.
pub type OpenStore = Box<dyn FnOnce(&Frame) -> StoreWriter + Send>;
/// Begins a further recording of the same source, measured by this model.
pub type Reopen = Box<dyn Fn(&Analyser, ModelChoice) -> OpenStore + Send>;

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
    /// Begins a new recording when another model takes over.
    pub reopen: Option<Reopen>,
    /// Gathers how the station is doing.
    pub health: Option<HealthKeeper>,
    /// Hears that the judging goes on.
    pub watchdog: Watchdog,
    /// What became of the pass announced last; `None` where nothing records.
    pub last_written: Option<Written>,
    /// Why the pose model gives nothing at the moment.
    pub engine_fault: Option<String>,
    /// The model at work, where it is known.
    pub model: Option<ModelChoice>,
    /// What there is to say about the model at work.
    model_note: Option<String>,
    geometry: ScreenGeometry,
    /// How the big screen looks.
    pub look: Appearance,
    engine_name: String,
    /// Whether faces are made unreadable in every picture.
    pub blur_faces: bool,
    /// How the second camera is, where there is one.
    pub second: Option<EyeStatus>,
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
    control: Option<Arc<Control>>,
    pictures: Option<PictureMaker>,
    published: Option<Instant>,
    frame_px: Option<[u32; 2]>,
    last: Option<Cue>,
}

impl Stage {
    /// A stage without outputs; set the fields that exist.
    pub fn new(geometry: ScreenGeometry, engine_name: String) -> Self {
        Stage {
            screen: None,
            speaker: None,
            store: None,
            open_store: None,
            reopen: None,
            health: None,
            watchdog: Watchdog::default(),
            last_written: None,
            engine_fault: None,
            model: None,
            model_note: None,
            geometry,
            look: Appearance::default(),
            engine_name,
            blur_faces: true,
            second: None,
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
            control: None,
            pictures: None,
            published: None,
            frame_px: None,
            last: None,
        }
    }

    /// Tells `control` how things are from now on and takes from it what is
    /// kept of pictures.
    pub fn follow(&mut self, control: Arc<Control>) {
        self.pictures = PictureMaker::start();
        self.control = Some(control);
    }

    /// Brings a judged pass to the store, the screen and the loudspeaker.
    pub fn announce(&mut self, judged: &Judged, feed: &FeedStatus) {
        let (pass, cue) = (&judged.pass, &judged.cue);
        // What the disk cannot take now it takes later; the status strip and
        // the health lines say so.
        self.last_written = self.store.as_ref().map(|store| {
            let new = NewPass {
                skater: judged.skater,
                points: Some(Arc::clone(&judged.points)),
                lane: judged.lane.clone(),
                ..(pass.clone(), cue.clone()).into()
            };
            store.submit(new).wait(DISK_PATIENCE)
        });
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
        let clip = judged
            .own_pictures
            .then(|| self.ring.clip(pass, cue, &judged.motion))
            .flatten();
        self.clip = clip.map(|clip| (clip, Instant::now()));
        self.last = Some(cue.clone());
        self.keep_pictures(judged);
    }

    /// Hands the pictures of a pass on to be stored, where the skater
    /// consents and keeping pictures is on.
    fn keep_pictures(&self, judged: &Judged) {
        let (Some(control), Some(maker), Some(store)) =
            (&self.control, &self.pictures, &self.store)
        else {
            return;
        };
        let privacy = control.privacy();
        if !(privacy.keep_pictures && judged.consents && judged.own_pictures) {
            return;
        }
        let strips = self.ring.strips(
            &judged.pass,
            &judged.motion,
            privacy.blur_stored_faces,
            self.blur_faces,
        );
        if !strips.is_empty() {
            maker.keep(judged.cue.pass_number, strips, store.strip_door());
        }
    }

    /// Whether pictures of somebody may be stored now.
    fn pictures_kept(&self) -> bool {
        self.control.as_ref().is_some_and(|control| {
            control.privacy().keep_pictures && control.lineup.anybody_consents()
        })
    }

    /// A new frame came in: opens the recording with the first one, and keeps
    /// pictures of the lane for the screen and for a replay.
    pub fn frame(&mut self, frame: &Frame, poses: &PoseFrame) {
        if let Some(open) = self.open_store.take() {
            self.store = Some(open(frame));
        }
        self.frame_px = Some([frame.width, frame.height]);
        let shown = self.screen.is_some() && !self.look.symbols_only;
        if !shown && self.control.is_none() {
            return;
        }
        if let Some(control) = &self.control {
            control.offer_frame(frame);
        }
        let Some(picture) = small_picture(frame, poses, self.blur_faces) else {
            return;
        };
        let readable = if self.blur_faces {
            Vec::new()
        } else {
            faces(frame, poses, picture.size().0)
        };
        self.ring.push(frame, &picture, &poses.bodies, readable);
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
        self.tell(feed, somebody_passing);
        let Some(handle) = self.screen.clone() else {
            return;
        };
        self.measure_sound(&handle);
        let from_panel = self.control.as_ref().is_some_and(|c| c.take_show_me());
        let asked = handle.take_show_me() || from_panel;
        self.look_after_replay(asked, somebody_passing);
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

    /// Tells the desk how things are, and ends the run where that is due.
    fn tell(&mut self, feed: &FeedStatus, somebody_passing: bool) {
        let Some(control) = self.control.clone() else {
            return;
        };
        control.look();
        if let Some(distance_m) = control.reading_distance_m() {
            self.geometry.reading_distance_m = distance_m as f32;
        }
        if self
            .published
            .is_some_and(|at| at.elapsed() < PUBLISH_EVERY)
        {
            return;
        }
        self.published = Some(Instant::now());
        control.publish(Seen {
            feed: Some(feed.clone()),
            second: self.second.as_ref().and_then(EyeStatus::now),
            somebody_passing,
            preview: self.picture.clone(),
            frame_px: self.frame_px,
            last: self.last.clone(),
            model: self.model,
            engine: self.engine_name.clone(),
            sound: self.speaker.as_ref().map(|s| s.state()),
            recording: self.store.as_ref().map(StoreWriter::status),
        });
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
                engine: Some(match (&self.model_note, self.model) {
                    (Some(_), Some(model)) => format!("{} ({})", self.engine_name, model.name()),
                    _ => self.engine_name.clone(),
                }),
                // whole numbers, so that the strip does not change all the time
                fps: (feed.fps_measured > 0.0).then_some(feed.fps_measured.round() as f32),
                sound: self.sound_note(),
                pictures_kept: self.pictures_kept(),
                not_recording: self.recording_trouble().is_some(),
            },
            geometry: self.geometry,
            look: self.look.clone(),
        }
    }

    fn screen_now(&mut self, feed: &FeedStatus, somebody_passing: bool) -> Screen {
        let engine = self.engine_fault.as_ref().map(|_| Fault::EngineStopped);
        let fault = fault_of(feed).or(engine);
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

    /// Tells the service manager and the health page that the loop goes on
    /// and how. Called all the time; does something about once a second.
    pub fn pulse(&mut self, feed: &FeedStatus, lateness: &Lateness) {
        self.watchdog.alive();
        let Some(health) = self.health.as_mut() else {
            return;
        };
        if !health.is_due() {
            return;
        }
        let model = match self.model {
            Some(model) => format!("{}, {}", model.name(), self.engine_name),
            None => self.engine_name.clone(),
        };
        let (mood, message) = match (&self.engine_fault, &self.model_note) {
            (Some(fault), _) => (Mood::Out, fault.clone()),
            (None, Some(note)) => (Mood::Less, note.clone()),
            (None, None) => (Mood::Good, String::new()),
        };
        let pose = PoseHealth {
            mood,
            message,
            model,
            frames: lateness.frames,
            passes: lateness.passes,
            frame_to_result_ms_half: health.late_ms(0.5),
            frame_to_result_ms_95: health.late_ms(0.95),
        };
        health.tell(Running {
            feed: feed.clone(),
            store: self.store.as_ref().map(StoreWriter::status),
            sound: self.speaker.as_ref().map(|s| s.state()),
            pose,
        });
        if let Some(newest) = health.newest() {
            self.watchdog.status(&newest.line());
        }
    }

    /// Another pose model has taken over: a new recording begins, because a
    /// session says which model measured it.
    pub fn model_changed(&mut self, to: ModelChoice, analyser: &Analyser) {
        self.model = Some(to);
        self.model_note = analyser.model_note();
        if self.store.is_some()
            && let Some(reopen) = &self.reopen
        {
            self.open_store = Some(reopen(analyser, to));
            // Nobody is in the lane: a moment is of no account.
            self.end_recording(NEW_RECORDING_WITHIN);
        }
    }

    /// Ends the recording. `None` where there was none.
    pub fn end_recording(&mut self, patience: Duration) -> Option<WriterStatus> {
        if let Some(maker) = &self.pictures {
            maker.finish(PICTURES_PATIENCE);
        }
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
