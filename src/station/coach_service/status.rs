//! The view, made anew: how the station is and what happens in the lane.

use super::camera_messages::said_of;
use super::{OPEN_AGAIN, Service};
use crate::capture::{FeedState, FeedStatus};
use crate::display::PreviewImage;
use crate::panel::{LivePart, Message, Number, QueueView, SecondEntry, StationPart};
use crate::rules::PICTURES_NEEDED;
use crate::sound::{SoundState, VoiceMode};
use crate::station::vision::sight_watch::SightTrouble;
use crate::store::WriterState;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// How long it is said that commands were not taken.
const SAID_FOR: Duration = Duration::from_secs(30);

impl Service {
    /// Makes the view anew and publishes it.
    pub(super) fn refresh(&mut self) {
        self.open_archive_when_due();
        self.take_cameras();
        self.take_folder();
        self.follow_export();
        let seen = self.session.view();
        let recording = self.recording_session();
        self.list_when_due(recording);
        self.view.live = LivePart {
            somebody_passing: seen.somebody_passing,
            preview: seen.preview.clone(),
            frame_px: seen.frame_px,
            last: seen.last.as_ref().and_then(|cue| {
                let key = seen.recording.as_ref()?.key_of(cue.pass_number)?;
                Some((key, self.cue_line(cue)))
            }),
            shown: seen
                .last
                .as_ref()
                .map(|cue| self.screen_words.headline(&cue.kind)),
            in_lane: seen.queue.running.clone(),
            picture_age_s: self.picture_age_s(seen.preview.as_ref()),
            body: Arc::clone(&seen.body),
        };
        let queue = &seen.queue;
        self.view.queue = QueueView {
            order: queue.order.clone(),
            current: queue.current,
            last: queue.last,
            can_undo: queue.can_undo,
            taken_up: self.queue_taken_up(),
        };
        self.view.second = self.station.second_camera.as_ref().map(|second| {
            let named = self.view.cameras.iter().find(|c| c.id == second.id);
            SecondEntry {
                name: named.map_or_else(|| second.id.clone(), |c| c.name.clone()),
                lane: second
                    .lane
                    .file_stem()
                    .map_or_else(String::new, |name| name.to_string_lossy().into_owned()),
            }
        });
        self.look_for_drives();
        let settings = self.settings.load();
        self.view.groups = Arc::clone(&settings.groups);
        self.view.can_undo_limits = self.groups_file.can_undo();
        self.view.age_group = Some(settings.age_group);
        self.view.station = self.station_part();
        self.view.voices = self.voice_view();
        self.view.privacy.keep_pictures = self.station.privacy.keep_pictures;
        let privacy = self.station.privacy;
        self.view.privacy.keep_days =
            Some(privacy.keep_days).filter(|days| *days < super::files::MOST_DAYS);
        self.view.privacy.keep_gb = Some(privacy.keep_gb).filter(|gb| *gb < super::files::MOST_GB);
        self.view.privacy.blur_stored_faces = privacy.blur_stored_faces;
        self.view.privacy.keep_measures_days = privacy.keep_measures_days;
        self.published.store(Arc::new(self.view.clone()));
    }

    /// For how long no newer picture has come.
    fn picture_age_s(&mut self, newest: Option<&Arc<PreviewImage>>) -> Option<f64> {
        let newest = newest?;
        match &self.picture {
            Some((shown, since)) if Arc::ptr_eq(shown, newest) => {
                Some(since.elapsed().as_secs_f64())
            }
            _ => {
                self.picture = Some((Arc::clone(newest), Instant::now()));
                Some(0.0)
            }
        }
    }

    /// Opens the recordings where they are not open, now and then.
    fn open_archive_when_due(&mut self) {
        if self.archive.as_ref().is_some_and(|a| a.is_current())
            || Instant::now() < self.try_open_at
        {
            return;
        }
        self.try_open_at = Instant::now() + OPEN_AGAIN;
        let opened = self.archive().map(|_| ());
        match opened {
            Ok(()) => {
                self.listed = None;
                self.count_stored();
            }
            Err(error) => self.archive_fault = Some(error.0.say(&self.words)),
        }
    }

    /// Lists the passes anew when one was written, or its pictures.
    fn list_when_due(&mut self, recording: Option<i64>) {
        let seen = self.session.view();
        let writer = seen.recording.as_ref();
        let written = writer.map_or([0; 2], |r| [r.written, r.pictures_written]);
        let session = match (self.follow_recording, recording) {
            (true, Some(session)) => Some(session),
            _ => self.view.session,
        };
        let Some(session) = session.or_else(|| self.newest_session()) else {
            return;
        };
        let now = Some((session, written));
        if self.listed == now || self.archive.is_none() {
            return;
        }
        self.listed = now;
        if let Err(error) = self.list(session) {
            self.archive_fault = Some(error.0.say(&self.words));
        }
        self.count_stored();
    }

    fn newest_session(&self) -> Option<i64> {
        let sessions = self.archive.as_ref()?.sessions().ok()?;
        sessions.last().map(|s| s.id.number())
    }

    fn station_part(&self) -> StationPart {
        let seen = self.session.view();
        let say = |saying: Message| saying.say(&self.words);
        let feed = seen.feed.as_ref();
        let recording = seen.recording.as_ref();
        let mut problems = Vec::new();
        let moved = seen.sight == Some(SightTrouble::CameraMoved);
        if moved {
            problems.push(say(Message::CameraMoved {}));
        }
        if seen.second_moved {
            problems.push(say(Message::SecondMoved {}));
        }
        if let Some(feed) = feed
            && matches!(
                feed.state,
                FeedState::Searching | FeedState::Lost | FeedState::Stalled
            )
        {
            problems.push(self.feed_words(feed));
        }
        if let Some(second) = &seen.second
            && second.state != FeedState::Live
        {
            problems.push(say(Message::SecondCamera {
                why: self.feed_words(second),
            }));
        }
        problems.extend(seen.sight.filter(|_| !moved).map(|trouble| {
            say(match trouble {
                SightTrouble::CameraMoved => Message::CameraMoved {},
                SightTrouble::CameraSlow(fps) => Message::CameraSlow {
                    n: fps.round() as u64,
                    needed: PICTURES_NEEDED as u64,
                },
                SightTrouble::ComputerSlow(fps) => Message::ComputerSlow {
                    n: fps.round() as u64,
                    needed: PICTURES_NEEDED as u64,
                },
                SightTrouble::Soft => Message::PictureSoft {},
                SightTrouble::Faint => Message::PictureFaint {},
                SightTrouble::OtherWay(n, set) => Message::OtherWay { n, set },
                SightTrouble::DoNotFit(n) => Message::DoNotFit { n },
                SightTrouble::TooSlow { n, mps, least_mps } => Message::SkatersSlow {
                    n,
                    speed: Number(mps, 1),
                    least: Number(least_mps, 1),
                },
                SightTrouble::NobodyUpright => Message::NobodyUpright {},
            })
        }));
        if let Some(WriterState::Stopped(why)) = recording.map(|r| &r.state) {
            problems.push(why.clone());
        }
        if let Some(lost) = recording.filter(|r| r.lost > 0) {
            problems.push(say(Message::PassesLost {
                n: lost.lost,
                why: lost.last_loss.clone().unwrap_or_default(),
            }));
        }
        if let Some(lost) = recording.filter(|r| r.pictures_lost > 0) {
            problems.push(say(Message::PicturesLost {
                n: lost.pictures_lost,
            }));
        }
        if let Some((at, lost)) = self.too_fast
            && at.elapsed() < SAID_FOR
        {
            problems.push(say(Message::TooFast { n: lost }));
        }
        problems.extend(self.archive_fault.clone());
        problems.extend(self.trouble.clone());
        if self.station.voice.voice != VoiceMode::Off {
            problems.extend(self.words_left_out());
        }
        StationPart {
            camera: feed.map_or_else(|| say(Message::Starting {}), |f| self.feed_words(f)),
            camera_live: feed.is_some_and(|f| f.state == FeedState::Live),
            fps: feed.map(|f| f.fps_measured).filter(|fps| *fps > 0.0),
            dropped: feed.map_or(0, |f| f.dropped),
            corrupt: feed.map_or(0, |f| f.corrupt),
            reopened: feed.map_or(0, |f| f.reopened),
            engine: match seen.model {
                Some(model) => say(Message::Measuring {
                    model: model.name().to_owned(),
                    engine: seen.engine.clone(),
                }),
                None => seen.engine.clone(),
            },
            sound: match &seen.sound {
                Some(SoundState::Ready) => say(Message::SoundReady {}),
                Some(SoundState::Off) | None => say(Message::SoundOff {}),
                // What the sound library says of it stands in the log and on
                // the page of 'kickplate check'.
                Some(SoundState::NoDevice(_)) => say(Message::NoLoudspeaker {}),
                Some(SoundState::NoSounds(why)) => why.clone(),
            },
            recording: match recording.map(|r| &r.state) {
                None => say(Message::RecordingBegins {}),
                Some(WriterState::Starting) => say(Message::RecordingOpens {}),
                Some(WriterState::Writing) => say(Message::RecordingWrites {}),
                Some(WriterState::Stopped(why)) => why.clone(),
                Some(WriterState::Ended) => say(Message::RecordingEnded {}),
            },
            passes_written: recording.map_or(0, |r| r.written),
            free_disk_gb: self.free_bytes().map(|b| b as f64 / 1e9),
            memory_mb: memory_bytes().map(|b| b as f64 / 1e6),
            uptime_s: self.started.elapsed().as_secs_f64(),
            problems,
            camera_moved: moved,
            place_unknown: seen.place_unknown,
            lane_example: super::set_up::is_example(&self.settings.load().source.lane),
            sound_level: self.station.sound_level,
            muted: self.station.sound_muted,
            quiet: self.station.screen.symbols_only,
            focus: self.station.focus_rule,
            language: self.station.screen.language,
            screen: self.settings.load().screen,
        }
    }

    fn feed_words(&self, feed: &FeedStatus) -> String {
        said_of(feed).map_or_else(|| feed.message.clone(), |saying| saying.say(&self.words))
    }

    /// Free room on the disk of the recordings, bytes.
    pub(super) fn free_bytes(&self) -> Option<u64> {
        crate::station::health::host::free_bytes(&self.folder)
    }
}

/// Memory of this program that is in use, bytes: the line `VmRSS` of
/// `/proc/self/status`, in kB (proc_pid_status(5)).
fn memory_bytes() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find_map(|l| l.strip_prefix("VmRSS:"))?;
    let kilobytes: u64 = line.split_whitespace().next()?.parse().ok()?;
    Some(kilobytes * 1024)
}
