//! The coach service: does what the coach asks for, away from the judging.
//!
//! Takes: [`Command`]s over a bounded queue; what the judging side shows of
//! itself ([`SessionView`](super::session::SessionView)).
//! Gives: one [`PanelView`] at a time; the settings as one snapshot, orders to
//! the session.
//! Fails: never for long. Every command is answered in the view, with the
//! reason where it could not be done; a command that found the queue full is
//! answered too. A folder that cannot be used is tried again.
//!
//! It has a thread of its own and its own way into the recordings
//! ([`Archive`]), so that a slow disk holds up neither the judging nor the
//! panel.

mod camera_messages;
mod consent;
mod error;
mod export;
mod files;
mod folders;
mod ice;
mod limits;
pub(in crate::station) mod panel;
mod picture_check;
mod pin;
mod queue;
mod review;
mod roster;
mod ruler;
mod set_up;
mod status;
mod thumbnails;
mod voice;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use arc_swap::ArcSwap;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};

use crate::capture::{CameraInfo, CameraRequest};
use crate::config::EditedFile;
use crate::display::{PreviewImage, Words};
use crate::feedback::Cue;
use crate::panel::{
    Answer, CameraEntry, Command, Message, PanelView, PanelWords, PinState, cue_line,
};
use crate::roster::SkaterId;
use crate::rules::settings::AGE_GROUP_FORMATS;
use crate::sound::Microphone;
use crate::station::session::SessionLink;
use crate::station::settings::snapshot::SharedSettings;
use crate::station::settings::{
    STATION_FORMATS, Setup, StationSettings, age_groups_file, station_file,
};
use crate::store::Archive;
pub(crate) use error::ServiceError;
use error::{Done, said};
use export::ExportRun;
pub use export::Exporter;
use folders::Lookings;
use pin::Pin;
use queue::QueueKeeper;
pub(crate) use roster::{erased_sentence, read_small, write_roster_file};
use thumbnails::Thumbnails;
use voice::VoiceDesk;

/// Commands that may wait: more than a person can give in the time the
/// slowest takes.
const QUEUE: usize = 128;
/// How often the view is made anew when nothing is asked for.
const REFRESH: Duration = Duration::from_millis(200);
/// Pictures are looked through this often.
const PRUNE_EVERY: Duration = Duration::from_secs(3600);
/// And the room on the disk this often, while there are pictures.
const LOOK_AT_DISK_EVERY: Duration = Duration::from_secs(60);
/// An archive that could not be opened is tried again after this.
const OPEN_AGAIN: Duration = Duration::from_secs(5);

/// What the service starts with.
pub struct CoachSetup {
    /// The resources folder.
    pub home: PathBuf,
    /// The folder of the recordings.
    pub folder: PathBuf,
    /// The settings as they were read.
    pub setup: Setup,
    /// The lane file, where it is not the one of the settings.
    pub lane_file: Option<PathBuf>,
    /// Where the coach's voice comes from.
    pub microphone: Microphone,
    /// What writes exports, where that is there.
    pub exporter: Option<Exporter>,
}

/// The way to the coach service. It ends when the last one is dropped.
#[derive(Clone)]
pub struct CoachService {
    commands: Sender<Command>,
    view: Arc<ArcSwap<PanelView>>,
    refused: Arc<AtomicU64>,
}

impl CoachService {
    /// Starts the service on a thread of its own.
    pub fn start(setup: CoachSetup, settings: SharedSettings, session: SessionLink) -> Self {
        let (commands, incoming) = bounded(QUEUE);
        let view = Arc::new(ArcSwap::from_pointee(PanelView::default()));
        let refused = Arc::new(AtomicU64::new(0));
        let handle = CoachService {
            commands,
            view: Arc::clone(&view),
            refused: Arc::clone(&refused),
        };
        let spawned = thread::Builder::new()
            .name("coach".into())
            .spawn(move || Service::new(setup, settings, session, view).run(&incoming, &refused));
        if let Err(error) = spawned {
            tracing::error!(%error, "the coach's panel cannot work: its thread did not start");
            let mut view = PanelView::default();
            view.station.problems = vec![format!(
                "the panel cannot work because its thread did not start ({error}); restart Kickplate"
            )];
            handle.view.store(Arc::new(view));
        }
        handle
    }

    /// Hands over a command. Returns at once; what became of it stands in
    /// [`PanelView::answer`], also where too many were waiting.
    pub fn send(&self, command: Command) {
        if self.commands.try_send(command).is_err() {
            self.refused.fetch_add(1, Ordering::AcqRel);
        }
    }

    /// How everything is now.
    pub fn view(&self) -> Arc<PanelView> {
        self.view.load_full()
    }
}

struct Service {
    home: PathBuf,
    folder: PathBuf,
    /// The language of the panel, and the big screen's words for reasons.
    words: Arc<PanelWords>,
    screen_words: Arc<Words>,
    settings: SharedSettings,
    session: SessionLink,
    /// What there is to say of the room on the disk.
    trouble: Option<String>,
    archive: Option<Archive>,
    archive_fault: Option<String>,
    try_open_at: Instant,
    station_file: EditedFile,
    groups_file: EditedFile,
    station: StationSettings,
    lane_file: PathBuf,
    pin: Pin,
    exporter: Option<Exporter>,
    export: Option<ExportRun>,
    looking_for_cameras: Option<Receiver<Vec<CameraInfo>>>,
    /// The camera, with its lane file, that was in use before another one was
    /// chosen: it comes back when that becomes the second camera.
    first_camera: Option<(CameraRequest, PathBuf)>,
    folders: Lookings,
    queue: QueueKeeper,
    view: PanelView,
    published: Arc<ArcSwap<PanelView>>,
    answers: u64,
    started: Instant,
    prune_at: Instant,
    look_at_disk_at: Instant,
    /// The session that is listed follows the one being recorded until
    /// another is opened.
    follow_recording: bool,
    /// Commands that found the queue full, and when the last one did.
    too_fast: Option<(Instant, u64)>,
    /// A consent that was withdrawn, and when its pictures go.
    withdrawing: Option<(SkaterId, Instant)>,
    /// When the drives were looked at last.
    drives_at: Option<Instant>,
    /// The picture shown last, and since when it has been the newest.
    picture: Option<(Arc<PreviewImage>, Instant)>,
    /// The session the list was made for, and what was written by then: passes and sets of
    /// pictures.
    listed: Option<(i64, [u64; 2])>,
    /// Small pictures of the newest passes.
    thumbnails: Thumbnails,
    voice: VoiceDesk,
}

impl Service {
    fn new(
        setup: CoachSetup,
        settings: SharedSettings,
        session: SessionLink,
        published: Arc<ArcSwap<PanelView>>,
    ) -> Self {
        let now = Instant::now();
        let lane_file = setup
            .lane_file
            .unwrap_or_else(|| setup.setup.station.lane.clone());
        let language = setup.setup.station.screen.language;
        let words = PanelWords::load(&setup.home, language).unwrap_or_else(|fault| {
            // Whoever opens the panel is told; here the program's own will do.
            tracing::warn!(%fault, "the words of the panel");
            PanelWords::built_in(language)
        });
        Service {
            station_file: EditedFile::new(station_file(&setup.home), STATION_FORMATS),
            groups_file: EditedFile::new(age_groups_file(&setup.home), AGE_GROUP_FORMATS),
            pin: Pin::in_folder(&setup.folder),
            voice: VoiceDesk::new(&setup.folder, setup.microphone),
            home: setup.home,
            folder: setup.folder,
            words: Arc::new(words),
            screen_words: setup.setup.look.words,
            settings,
            session,
            trouble: None,
            archive: None,
            archive_fault: None,
            try_open_at: now,
            station: setup.setup.station,
            lane_file,
            exporter: setup.exporter,
            export: None,
            looking_for_cameras: None,
            first_camera: None,
            folders: Lookings::default(),
            queue: QueueKeeper::default(),
            view: PanelView::default(),
            published,
            answers: 0,
            started: now,
            prune_at: now,
            look_at_disk_at: now,
            follow_recording: true,
            too_fast: None,
            withdrawing: None,
            drives_at: None,
            picture: None,
            listed: None,
            thumbnails: Thumbnails::default(),
        }
    }

    fn run(mut self, incoming: &Receiver<Command>, refused: &AtomicU64) {
        self.list_lanes();
        self.view.pin = match self.pin.is_set() {
            true => PinState::Locked,
            false => PinState::NotSet,
        };
        self.refresh();
        loop {
            match incoming.recv_timeout(self.voice.pause()) {
                Ok(command) => self.execute(command),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            let lost = refused.swap(0, Ordering::AcqRel);
            if lost > 0 {
                // Also beside the answers, which come and go quickly then.
                let before = self.too_fast.map_or(0, |(_, n)| n);
                self.too_fast = Some((Instant::now(), before + lost));
                self.answer(Err(said(Message::TooFast { n: lost })));
            }
            self.look_after_pictures();
            self.look_after_queue();
            self.look_after_withdrawal();
            self.look_after_word();
            self.refresh();
        }
        self.end_withdrawal();
        self.write_queue();
        if let Some(export) = &self.export {
            export.cancel();
        }
    }

    fn execute(&mut self, command: Command) {
        // A fault of one command is answered and does not end the service.
        let done = catch_unwind(AssertUnwindSafe(|| self.try_to(command)));
        self.answer(done.unwrap_or_else(|_| Err(said(Message::ProgramFault {}))));
    }

    fn answer(&mut self, done: Done) {
        let (saying, done) = match done {
            Ok(saying) => (saying, true),
            Err(error) => (error.0, false),
        };
        if !done {
            tracing::info!("the coach service could not do something it was asked for");
        }
        self.answers += 1;
        self.view.answer = Some(Answer {
            number: self.answers,
            sentence: saying.say(&self.words),
            done,
        });
    }

    fn try_to(&mut self, command: Command) -> Done {
        if self.view.pin == PinState::Locked
            && !matches!(command, Command::Unlock(_) | Command::ShowMe)
        {
            return Err(said(Message::Locked {}));
        }
        match command {
            Command::Unlock(pin) => {
                self.pin.check(&pin)?;
                self.view.pin = PinState::Open;
                Ok(Message::PanelOpen {})
            }
            Command::Lock => {
                if !self.pin.is_set() {
                    return Err(said(Message::NoPin {}));
                }
                self.view.pin = PinState::Locked;
                self.view.push = None;
                self.view.progress = None;
                self.view.folder = None;
                self.view.question = None;
                self.view.would_delete = None;
                self.voice.drop_recording();
                Ok(Message::PanelLocked {})
            }
            Command::SetPin(pin) => {
                self.pin.set(pin.as_deref())?;
                self.view.pin = match pin {
                    Some(_) => PinState::Open,
                    None => PinState::NotSet,
                };
                Ok(match pin {
                    Some(_) => Message::PinSet {},
                    None => Message::PinOff {},
                })
            }
            Command::FindCameras => self.find_cameras(),
            Command::UseCamera { id, mode } => self.use_camera(id, mode),
            Command::CheckPicture => self.check_picture(),
            Command::FindScale(draft) => self.find_scale(&draft),
            Command::SaveLane { name, lane, screen } => self.save_lane(&name, &lane, screen),
            Command::UseAsSecond { name, lane } => self.use_as_second(&name, &lane),
            Command::CameraStandsRight => self.camera_stands_right(),
            Command::DropSecond => self.drop_second(),
            Command::UseLane(name) => self.use_lane(&name),
            Command::UseAgeGroup(group) => self.use_age_group(group),
            Command::PreviewLimits(edit) => self.preview_limits(edit),
            Command::SetLimits(edit) => self.set_limits(&edit),
            Command::SetSurety(surety) => self.set_surety(surety),
            Command::RulerHold {
                of,
                reference,
                person,
            } => self.ruler_hold(of, reference, person),
            Command::RulerUndo => self.ruler_undo(),
            Command::RulerUse => self.ruler_use(),
            Command::ResetLimits { group, rule } => self.reset_limits(group, rule),
            Command::CopyLimits { from, to } => self.copy_limits(from, to),
            Command::UndoLimits => self.undo_limits(),
            Command::OverrideLimits {
                skater,
                rule,
                limits,
            } => self.override_limits(skater, rule, limits),
            Command::AddSkater(skater) => self.add_skater(skater),
            Command::ChangeSkater(skater) => self.change_skater(skater),
            Command::DeleteSkater(id) => self.delete_skater(id),
            Command::SetConsent(id, consent) => self.set_consent(id, consent),
            Command::PreviewDelete(id) => self.preview_delete(id),
            Command::UndoWithdrawal => self.undo_withdrawal(),
            Command::ImportRoster { path, sure } => self.import_roster(&path, sure),
            Command::ExportRoster { path, sure } => self.export_roster(&path, sure),
            Command::DropQuestion => {
                self.view.question = None;
                Ok(Message::LeftUndone {})
            }
            Command::UndoSkaterOfPass => self.undo_skater_of_pass(),
            Command::SetQueue(order) => self.set_queue(order),
            Command::Queue(step) => self.step(step),
            Command::SetSkaterOfPass(pass, skater) => self.set_skater_of_pass(pass, skater),
            Command::OpenSession(id) => self.open_session(id),
            Command::OpenPush { push, rule } => self.open_push(push, rule),
            Command::SetVerdict {
                push,
                rule,
                verdict,
            } => {
                self.archive()?.set_verdict(&push, rule, verdict)?;
                self.noted(push)
            }
            Command::SetComment(push, comment) => {
                self.archive()?.set_comment(&push, &comment)?;
                self.noted(push)
            }
            Command::SetStarred(push, starred) => {
                self.archive()?.set_starred(&push, starred)?;
                self.noted(push)
            }
            Command::ShowMe => {
                self.session.show_me();
                Ok(Message::Shown {})
            }
            Command::OpenProgress(id) => self.open_progress(id),
            Command::SetSound { level, muted } => self.set_sound(level, muted),
            Command::TrySound => self.try_sound(),
            Command::Voice(order) => self.voice_order(order),
            Command::SetDark(on) => self.set_dark(on),
            Command::SetQuiet(on) => self.set_quiet(on),
            Command::SetLanguage(language) => self.set_language(language),
            Command::SetFocus(id) => self.set_focus(id),
            Command::EndSession => self.end_session(),
            Command::KeepPictures(on) => self.keep_pictures(on),
            Command::SetRetention { keep_days, keep_gb } => self.set_retention(keep_days, keep_gb),
            Command::BlurStoredFaces(on) => self.blur_stored_faces(on),
            Command::PreviewMeasures(days) => self.preview_measures(days),
            Command::KeepMeasures(days) => self.keep_measures(days),
            Command::Export(order) => self.start_export(order),
            Command::CancelExport => self.cancel_export(),
            Command::BackUp { path, sure } => self.back_up(&path, sure),
            Command::LookIntoFolder { folder, kind } => self.look_into_folder(folder, kind),
        }
    }

    /// The recordings. Opened when they are first needed, and again where the
    /// file is not the same any more.
    fn archive(&mut self) -> Result<&Archive, ServiceError> {
        let stale = self.archive.as_ref().is_none_or(|a| !a.is_current());
        if stale {
            self.archive = None;
            let archive = Archive::open(&self.folder)?;
            self.archive_fault = None;
            self.archive = Some(archive);
            self.roster_changed()?;
            self.take_up_queue();
        }
        self.archive
            .as_ref()
            .ok_or_else(|| said(Message::NotOpen {}))
    }

    /// A cue in the language of the panel.
    fn cue_line(&self, cue: &Cue) -> String {
        let units = self.station.screen.units;
        cue_line(cue, &self.words, &self.screen_words, units)
    }

    fn camera_entries(&mut self, found: Vec<CameraInfo>) {
        let in_use = self.settings.load().source.camera.id.clone();
        // Where no camera is named, the one whose pictures come in is known
        // by its name, if no other is called so.
        let running = self.session.view().feed.as_ref().map(|f| f.source.clone());
        let named = |c: &CameraInfo| {
            found.len() == 1
                || (Some(&c.name) == running.as_ref()
                    && found.iter().filter(|o| o.name == c.name).count() == 1)
        };
        let auto: Vec<bool> = found.iter().map(named).collect();
        let entries = found
            .into_iter()
            .zip(auto)
            .map(|(c, auto)| CameraEntry {
                in_use: match &in_use {
                    Some(id) => *id == c.stable_id,
                    None => auto,
                },
                id: c.stable_id,
                name: c.name,
                modes: c.modes.iter().map(|m| (m.width, m.height, m.fps)).collect(),
            })
            .collect();
        self.view.cameras = Arc::new(entries);
    }
}
