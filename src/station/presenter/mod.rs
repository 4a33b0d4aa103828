//! What is on the big screen and in the loudspeaker, on a thread of its own.
//!
//! Takes: pictures of the lane from vision, announcements and the state of the
//! lane from the session.
//! Gives: a model for the window whenever it changes, a sound for each cue,
//! the pictures of flagged pushes for the disk.
//! Fails: never; a window or a loudspeaker that is missing is done without.
//! Nobody waits for it: pictures it cannot take in time are let go.

mod card;
mod handle;
mod lane_picture;
mod pictures;
mod replay;
mod replay_buffer;
mod timeline;

use std::sync::Arc;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, never, select};

use crate::capture::FeedState;
use crate::display::{
    Appearance, Fault, People, Person, PreviewImage, Screen, ScreenGeometry, ScreenHandle,
    ScreenModel, SoundNote, StatusStrip,
};
use crate::feedback::Cue;
use crate::sound::{SoundId, SoundState, Speaker};

use card::{Before, cue_detail, remembered};
use handle::Message;
pub use handle::{Announcement, KeepPictures, LaneState, PresenterHandle, PresenterThread};
pub use lane_picture::{LanePicture, lane_picture};
pub use pictures::PictureMaker;
use replay::{Clip, Ring};
use timeline::{Due, Lane, Replay, Timeline};

/// The sound waits for its card to be drawn, but not longer than this.
const SOUND_AT_LATEST: Duration = Duration::from_millis(600);
/// How often it is looked whether something else is due.
const TICK: Duration = Duration::from_millis(25);

/// What there is to present with. Each may be missing.
pub struct Outputs {
    /// The window.
    pub screen: Option<ScreenHandle>,
    /// The loudspeaker.
    pub speaker: Option<Arc<Speaker>>,
    /// The maker of the pictures that are stored.
    pub pictures: Option<PictureMaker>,
    /// Where the screen hangs.
    pub geometry: ScreenGeometry,
    /// How it looks.
    pub look: Appearance,
    /// Whether faces are made unreadable in every picture.
    pub blur_faces: bool,
}

impl Outputs {
    /// Neither window nor sound.
    pub fn none() -> Self {
        Outputs {
            screen: None,
            speaker: None,
            pictures: None,
            geometry: ScreenGeometry::default(),
            look: Appearance::default(),
            blur_faces: true,
        }
    }
}

/// What the presenter saw by its end: from the capture of a pass's last sample
/// to its cue at the screen, seconds, pass by pass.
pub type PassEndToCue = Vec<f64>;

struct Presenter {
    outputs: Outputs,
    timeline: Timeline,
    /// Its moments are counted from here.
    began: Instant,
    state: Option<LaneState>,
    ring: Ring,
    clip: Option<Clip>,
    /// Whose the last answer is, as she may be named.
    answer_of: Option<Person>,
    /// What each skater's rules were spoken about with, for the gauge.
    before: Vec<Before>,
    shown_shot: Option<((usize, bool), Screen, Arc<PreviewImage>)>,
    /// An answer whose sound was asked for and not measured yet.
    unmeasured: Option<(u32, SoundId, Instant)>,
    end_to_cue_s: PassEndToCue,
    passes: u64,
}

impl Presenter {
    fn new(outputs: Outputs) -> Self {
        Presenter {
            outputs,
            timeline: Timeline::default(),
            began: Instant::now(),
            state: None,
            ring: Ring::default(),
            clip: None,
            answer_of: None,
            before: Vec::new(),
            shown_shot: None,
            unmeasured: None,
            end_to_cue_s: Vec::new(),
            passes: 0,
        }
    }

    fn run(mut self, inbox: &Receiver<Message>, mut film: Receiver<LanePicture>) -> PassEndToCue {
        loop {
            select! {
                recv(film) -> picture => match picture {
                    Ok(picture) => self.film(&picture),
                    Err(_) => film = never(),
                },
                recv(inbox) -> message => match message {
                    Ok(message) => {
                        // The pictures of a pass come before it.
                        for picture in film.try_iter().take(handle::PICTURES) {
                            self.film(&picture);
                        }
                        self.take(message);
                    }
                    Err(_) => break,
                },
                default(TICK) => {}
            }
            self.show();
        }
        self.end_to_cue_s
    }

    fn now(&self) -> Duration {
        self.began.elapsed()
    }

    fn take(&mut self, message: Message) {
        match message {
            Message::State(state) => {
                self.outputs.geometry.reading_distance_m = state.reading_distance_m;
                self.outputs.geometry.screen_height_m = state.screen_height_m;
                if let Some(wanted) = &state.outputs {
                    self.outputs.look = wanted.look.clone();
                    if let Some(speaker) = &self.outputs.speaker {
                        speaker.set(wanted.sound);
                    }
                }
                self.state = Some(*state);
            }
            Message::Announce(announcement) => self.announce(*announcement),
            Message::ShowMe => self.ask_replay(),
            Message::Done(done) => {
                let _ = done.send(());
            }
            Message::IsReplaying(reply) => {
                let _ = reply.send(self.timeline.is_replaying());
            }
        }
    }

    /// Keeps a picture for a replay.
    fn film(&mut self, picture: &LanePicture) {
        self.ring.push(picture);
    }

    fn announce(&mut self, announcement: Announcement) {
        let Announcement {
            pass,
            cue,
            motion,
            summary,
            skater,
            person,
            own_pictures,
            ended_at,
            keep,
        } = announcement;
        self.clip = None;
        self.shown_shot = None;
        let now = self.now();
        let detail = cue_detail(&pass, &cue.kind, &motion, skater, &self.before);
        self.before = remembered(&cue, skater, std::mem::take(&mut self.before));
        self.answer_of = person;
        let answer = Screen::of_cue(&cue).with_detail(detail);
        self.timeline.announce(now, answer, summary);
        self.show();
        if let Some(ended_at) = ended_at {
            let age_s = ended_at.elapsed().as_secs_f64();
            super::lateness::keep_newest(&mut self.end_to_cue_s, self.passes, age_s);
            self.passes += 1;
        }
        self.sound(&cue);
        if !own_pictures {
            return;
        }
        // After the cue: this may take some milliseconds.
        self.clip = self.ring.clip(&pass, &cue, &motion);
        if self.clip.is_some() {
            self.timeline.has_clip(now);
        }
        if let (Some(keep), Some(maker)) = (keep, &self.outputs.pictures) {
            let blurred = self.outputs.blur_faces;
            let strips = self.ring.strips(&pass, &motion, keep.blur_faces, blurred);
            if !strips.is_empty() {
                maker.keep(cue.pass_number, strips, keep.door);
            }
        }
    }

    fn sound(&mut self, cue: &Cue) {
        let (Some(speaker), Some(sound)) = (&self.outputs.speaker, SoundId::of_cue(&cue.kind))
        else {
            return;
        };
        self.unmeasured = Some((cue.pass_number, sound, Instant::now()));
        match &self.outputs.screen {
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

    fn ask_replay(&mut self) {
        let now = self.now();
        let passing = self.state.as_ref().is_some_and(|s| s.somebody_passing);
        match self.timeline.ask_replay(now, passing) {
            Replay::Begins => {}
            Replay::Ends => self.shown_shot = None,
            Replay::NoPictures => tracing::info!(
                "a replay was asked for, but there are no pictures of a flagged push"
            ),
            Replay::LaneBusy => {
                tracing::info!("a replay was asked for while somebody is in the lane");
            }
        }
    }

    /// Shows what is due now.
    fn show(&mut self) {
        let Some(handle) = self.outputs.screen.clone() else {
            return;
        };
        self.measure_sound(&handle);
        if handle.take_show_me() {
            self.ask_replay();
        }
        let now = self.now();
        let lane = self.state.as_ref().map(lane_of).unwrap_or_default();
        let due = self.timeline.due(now, &lane);
        if !self.timeline.keeps_clip() {
            self.clip = None;
        }
        let (screen, picture) = match due {
            Due::Replay(since) => match self.shot(since) {
                Some((screen, picture)) => (screen, Some(picture)),
                None => (Screen::Waiting, None),
            },
            // No live picture: who is in the lane looks where she skates.
            Due::Screen(screen) => (screen, None),
        };
        handle.show(self.model(screen), picture);
    }

    /// The picture of the replay that is due so long after its beginning.
    fn shot(&mut self, since: Duration) -> Option<(Screen, Arc<PreviewImage>)> {
        let clip = self.clip.as_ref()?;
        let due = clip.due(since);
        if self
            .shown_shot
            .as_ref()
            .is_none_or(|(shown, ..)| *shown != due)
        {
            let (picture, overlay) = clip.shot(due.0, due.1)?;
            let screen = Screen::Replay {
                pass_number: clip.pass_number,
                overlay,
                order: Some(clip.order),
            };
            self.shown_shot = Some((due, screen, Arc::new(picture)));
        }
        let (_, screen, picture) = self.shown_shot.as_ref()?;
        Some((screen.clone(), Arc::clone(picture)))
    }

    /// Who the screen is about, and who is next.
    fn people(&self, screen: &Screen) -> People {
        let lane = self.state.as_ref().map(|s| &s.people);
        let shown = match screen {
            Screen::InLane => lane.and_then(|people| people.shown.as_ref()),
            Screen::Cue { .. }
            | Screen::Praise { .. }
            | Screen::Improved { .. }
            | Screen::Unfed { .. }
            | Screen::NotJudged { .. }
            | Screen::Replay { .. } => self.answer_of.as_ref(),
            Screen::Waiting | Screen::Summary(_) | Screen::Fault(_) => None,
        };
        let named = |person: &Person| {
            let name = person.name.clone().filter(|_| self.outputs.look.names);
            Person {
                name,
                ..person.clone()
            }
        };
        People {
            shown: shown.map(named),
            next: lane.and_then(|people| people.next.as_ref()).map(named),
        }
    }

    fn model(&self, screen: Screen) -> ScreenModel {
        let state = self.state.as_ref();
        ScreenModel {
            people: self.people(&screen),
            screen,
            since_s: None,
            status: StatusStrip {
                engine: state.map(|s| s.engine.clone()),
                // whole numbers, so that the strip does not change all the time
                fps: state
                    .and_then(|s| s.feed.as_ref())
                    .map(|feed| feed.fps_measured.round() as f32)
                    .filter(|fps| *fps > 0.0),
                sound: sound_note(self.outputs.speaker.as_deref()),
                pictures_kept: state.is_some_and(|s| s.pictures_kept),
                not_recording: state.is_some_and(|s| s.not_recording),
                // The window knows.
                panel_closed: false,
            },
            geometry: self.outputs.geometry,
            look: self.outputs.look.clone(),
        }
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
        let speaker = self.outputs.speaker.as_ref();
        let started = speaker
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
}

pub(in crate::station) fn sound_note(speaker: Option<&Speaker>) -> SoundNote {
    match speaker.map(Speaker::state) {
        Some(SoundState::Ready) => SoundNote::On,
        Some(SoundState::Off) => SoundNote::Off,
        Some(SoundState::NoDevice(_) | SoundState::NoSounds(_)) | None => SoundNote::NoDevice,
    }
}

fn lane_of(state: &LaneState) -> Lane {
    let camera = state.feed.as_ref().and_then(|feed| match feed.state {
        FeedState::Searching | FeedState::Lost => Some(Fault::NoCamera),
        FeedState::Stalled => Some(Fault::CameraSilent),
        FeedState::Opening | FeedState::Live | FeedState::Ended | FeedState::Stopped => None,
    });
    Lane {
        somebody_passing: state.somebody_passing,
        fault: camera.or(state.engine_stopped.then_some(Fault::EngineStopped)),
        not_recording: state.not_recording,
        too_slow: state.too_slow,
    }
}
