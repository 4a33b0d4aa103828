//! Words in the coach's own voice: recorded, heard, deleted, put back.
//!
//! Nobody is recorded by chance: only behind a press for it, for 2 s at most, and never
//! while somebody is in the lane.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use super::ice::no_sound;
use super::{Done, REFRESH, Service, said};
use crate::config::{Edit, Written};
use crate::panel::{Message, VoiceOrder, VoiceView, WordRecording};
use crate::sound::{
    LONGEST_WORD_S, LeftOut, MicFault, Microphone, Recording, SoundId, VOICES_FOLDER, VoiceMode,
    Voices, WavFault, Word, WordFault, delete_word, keep_word, word_file,
};

/// A microphone that takes longer to close hangs. Closing one takes some hundredths of a second.
const CLOSES_WITHIN: Duration = Duration::from_secs(2);
/// How often the meter moves while a word is recorded.
const METER_EVERY: Duration = Duration::from_millis(50);

/// The words, and the one that is being recorded.
pub(super) struct VoiceDesk {
    folder: PathBuf,
    microphone: Microphone,
    voices: Voices,
    running: Option<(SoundId, Recording)>,
    /// The one before, and since when its microphone is to close: a driver may hang.
    closing: Option<(Recording, Instant)>,
    /// What was deleted or replaced last. In memory alone, so that its file is gone.
    deleted: Option<(SoundId, Word)>,
}

impl VoiceDesk {
    pub(super) fn new(recordings: &Path, microphone: Microphone) -> Self {
        let folder = recordings.join(VOICES_FOLDER);
        VoiceDesk {
            voices: Voices::read(&folder),
            folder,
            microphone,
            running: None,
            closing: None,
            deleted: None,
        }
    }

    /// What is being recorded is forgotten.
    pub(super) fn drop_recording(&mut self) {
        if let Some((_, recording)) = self.running.take() {
            recording.stop();
            self.closing = Some((recording, Instant::now()));
        }
    }

    /// Why no microphone can be opened now. One that hangs is opened no second time.
    fn in_the_way(&self) -> Option<Message> {
        if self.running.is_some() {
            return Some(Message::WordBusy {});
        }
        let (before, since) = self.closing.as_ref()?;
        let hangs = !before.is_closed() && since.elapsed() > CLOSES_WITHIN;
        hangs.then_some(Message::MicDead {})
    }

    /// How long a command is waited for.
    pub(super) fn pause(&self) -> Duration {
        match self.running {
            Some(_) => METER_EVERY,
            None => REFRESH,
        }
    }

    fn word(&self, of: SoundId) -> Option<&Word> {
        let mut words = self.voices.words.iter();
        words.find(|(id, _)| *id == of).map(|(_, word)| word)
    }
}

impl Service {
    pub(super) fn voice_order(&mut self, order: VoiceOrder) -> Done {
        match order {
            VoiceOrder::Use(mode) => self.use_voice(mode),
            VoiceOrder::Record(of) => self.record_word(of),
            VoiceOrder::Stop => {
                let Some((_, recording)) = &self.voice.running else {
                    return Err(said(Message::WordNotRecorded {}));
                };
                recording.stop();
                self.word_ended().unwrap_or(Ok(Message::WordSpeak {}))
            }
            VoiceOrder::Hear(of) => self.hear_word(of),
            VoiceOrder::Delete(of) => self.delete_word(of),
            VoiceOrder::PutBack => self.put_word_back(),
        }
    }

    fn use_voice(&mut self, mode: VoiceMode) -> Done {
        let text = Written::Text(mode.name().to_owned());
        self.write_station(&[Edit::new(&["sound", "voice"], text)])?;
        self.put_outputs_in_use()?;
        Ok(match mode {
            VoiceMode::Off => Message::VoiceOff {},
            VoiceMode::Instead => Message::VoiceInstead {},
            VoiceMode::After => Message::VoiceAfter {},
        })
    }

    fn record_word(&mut self, of: SoundId) -> Done {
        if let Some(why) = self.voice.in_the_way() {
            return Err(said(why));
        }
        if self.session.view().somebody_passing {
            return Err(said(Message::WordNotNow {}));
        }
        let recording = Recording::start(&self.voice.microphone).map_err(|f| said(fault(f)))?;
        self.voice.running = Some((of, recording));
        Ok(Message::WordSpeak {})
    }

    /// Looks after the word that is being recorded; done about 20 times a second.
    pub(super) fn look_after_word(&mut self) {
        if self.voice.running.is_none() {
            return;
        }
        if self.session.view().somebody_passing {
            self.voice.drop_recording();
            self.answer(Err(said(Message::WordNotNow {})));
        } else if let Some(done) = self.word_ended() {
            self.answer(done);
        }
    }

    /// Keeps the word where its recording has ended.
    fn word_ended(&mut self) -> Option<Done> {
        let (of, recording) = self.voice.running.as_ref()?;
        let (of, ended) = (*of, recording.ended()?);
        self.voice.drop_recording();
        let (samples, rate_hz) = match ended {
            Ok(heard) => heard,
            Err(why) => return Some(Err(said(fault(why)))),
        };
        Some(match Word::heard(&samples, rate_hz) {
            Ok(word) => self.replace_word(of, &word),
            Err(WordFault::Silent) => Err(said(Message::WordSilent {})),
            Err(WordFault::TooLoud) => Err(said(Message::WordTooLoud {})),
        })
    }

    /// Keeps a word; the one before it can be put back.
    fn replace_word(&mut self, of: SoundId, word: &Word) -> Done {
        let before = self.voice.word(of).cloned();
        let done = self.write_word(of, word)?;
        if let Some(before) = before {
            self.voice.deleted = Some((of, before));
        }
        Ok(done)
    }

    fn write_word(&mut self, of: SoundId, word: &Word) -> Done {
        keep_word(&self.voice.folder, of, word).map_err(|e| self.word_file_fault(of, &e))?;
        self.words_changed();
        Ok(Message::WordKept { what: of })
    }

    fn hear_word(&mut self, of: SoundId) -> Done {
        let seen = self.session.view();
        if let Some(why) = no_sound(seen.sound.as_ref(), seen.somebody_passing) {
            return Err(said(why));
        }
        if self.station.screen.symbols_only {
            return Err(said(Message::WordQuiet {}));
        }
        if self.voice.word(of).is_none() {
            return Err(said(Message::WordNone { what: of }));
        }
        self.session.hear_word(of);
        Ok(Message::WordHeard { what: of })
    }

    fn delete_word(&mut self, of: SoundId) -> Done {
        let word = self.voice.word(of).cloned();
        delete_word(&self.voice.folder, of).map_err(|e| self.word_file_fault(of, &e))?;
        self.voice.deleted = word.map(|word| (of, word));
        self.words_changed();
        Ok(Message::WordDeleted { what: of })
    }

    fn put_word_back(&mut self) -> Done {
        let Some((of, word)) = self.voice.deleted.clone() else {
            return Err(said(Message::WordNotDeleted {}));
        };
        self.voice.deleted = None;
        let done = self.replace_word(of, &word);
        if done.is_err() {
            self.voice.deleted = Some((of, word));
        }
        done
    }

    fn words_changed(&mut self) {
        self.voice.voices = Voices::read(&self.voice.folder);
        self.session.words_changed();
    }

    fn word_file_fault(&self, of: SoundId, error: &std::io::Error) -> super::ServiceError {
        said(Message::WordFile {
            file: word_file(&self.voice.folder, of),
            why: error.to_string(),
        })
    }

    pub(super) fn voice_view(&self) -> VoiceView {
        let voice = &self.voice;
        VoiceView {
            mode: self.station.voice.voice,
            has: voice.voices.words.iter().map(|(id, _)| *id).collect(),
            recording: voice.running.as_ref().map(|(of, recording)| {
                let (level, heard_s) = recording.meter();
                WordRecording {
                    of: *of,
                    level,
                    left_s: LONGEST_WORD_S - heard_s,
                }
            }),
            deleted: voice.deleted.as_ref().map(|(id, _)| *id),
            left_out: self.words_left_out(),
        }
    }

    /// What files of words were left out for, one sentence each.
    pub(super) fn words_left_out(&self) -> Vec<String> {
        let left_out = self.voice.voices.left_out.iter();
        left_out
            .map(|left_out| sentence_of(left_out).say(&self.words))
            .collect()
    }
}

fn sentence_of(left_out: &LeftOut) -> Message {
    let file = left_out.file().to_owned();
    match left_out {
        LeftOut::NoWord(_, WavFault::Damaged) => Message::WordDamaged { file },
        LeftOut::NoWord(_, WavFault::OtherKind) => Message::WordOtherKind { file },
        LeftOut::NoWord(_, WavFault::Length) => Message::WordLength { file },
        LeftOut::Unknown(_) => Message::WordUnknown { file },
        LeftOut::Unreadable(_, why) => Message::WordUnreadable {
            file,
            why: why.clone(),
        },
    }
}

fn fault(fault: MicFault) -> Message {
    match fault {
        MicFault::Missing => Message::MicMissing {},
        MicFault::NotAllowed => Message::MicNotAllowed {},
        MicFault::Dead => Message::MicDead {},
        MicFault::Refused(why) => Message::MicRefused { why },
    }
}
