//! A word in the coach's own voice, from the press to the file, with a microphone made of
//! software.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::os::unix::fs::PermissionsExt;
use std::time::Duration;

use super::station_desk::Station;
use super::station_moved::status;
use kickplate::capture::FeedState;
use kickplate::panel::{Command, PanelView, VoiceOrder};
use kickplate::sound::{Ear, MicFault, Microphone, SoundId, VOICES_FOLDER, VoiceMode, Word};
use kickplate::station::StationSettings;
use kickplate::station::vision::watch::VisionEvent;

const RATE_HZ: u32 = 48_000;
const OF: SoundId = SoundId::Praise;

fn order(order: VoiceOrder) -> Command {
    Command::Voice(order)
}

/// Hands over pieces of 10 ms of a tone of this strength, until no more are wanted.
fn sing(ear: &Ear, strength: f32) {
    let mut at = 0_u32;
    while ear.is_wanted() {
        let piece: Vec<f32> = (at..at + 480)
            .map(|i| strength * (i as f32 * 0.06).sin())
            .collect();
        ear.take(piece.into_iter(), 1, RATE_HZ);
        at = (at + 480) % RATE_HZ;
        std::thread::sleep(Duration::from_millis(2));
    }
}

fn singing(strength: f32) -> Station {
    Station::start_hearing(Microphone::made_of(move |ear| {
        sing(ear, strength);
        Ok(())
    }))
}

/// What a recording that was begun came to.
fn came_to(s: &Station) -> (bool, String) {
    // One that fails at once answers before this does.
    s.ask(order(VoiceOrder::Record(OF)));
    let over = |v: &PanelView| {
        let answered = v
            .answer
            .as_ref()
            .is_some_and(|a| a.sentence != "Speak now.");
        v.voices.recording.is_none() && answered
    };
    let view = s.until("the word is over", over);
    let answer = view.answer.clone().unwrap();
    (answer.done, answer.sentence)
}

#[test]
fn a_word_is_recorded_kept_deleted_and_put_back() {
    let s = singing(0.2);
    let view = s.done(order(VoiceOrder::Record(OF)));
    assert!(view.voices.has.is_empty());
    s.until("the meter moves", |v| {
        v.voices
            .recording
            .is_some_and(|r| r.of == OF && r.level > 0.15)
    });
    // It ends by itself after 2 s of sound.
    let view = s.until("it is kept", |v| v.voices.has == [OF]);
    assert_eq!(view.voices.recording, None);
    let sentence = &view.answer.as_ref().unwrap().sentence;
    assert_eq!(sentence, "The word for 'Praise' is kept.");
    let folder = s.folder().join(VOICES_FOLDER);
    let file = folder.join("well_done.wav");
    let mode = |path: &std::path::Path| path.metadata().unwrap().permissions().mode() & 0o777;
    assert_eq!((mode(&folder), mode(&file)), (0o700, 0o600));
    let bytes = std::fs::read(&file).unwrap();
    let word = Word::from_wav(&bytes).unwrap();
    assert_eq!(word.samples().count(), 96_000);

    s.done(order(VoiceOrder::Delete(OF)));
    let view = s.until("it is deleted", |v| v.voices.has.is_empty());
    assert_eq!(view.voices.deleted, Some(OF));
    assert!(!file.exists());
    s.done(order(VoiceOrder::PutBack));
    s.until("it is back", |v| {
        v.voices.has == [OF] && v.voices.deleted.is_none()
    });
    assert_eq!(std::fs::read(&file).unwrap(), bytes);
    // What was recorded over can be put back, and the other then.
    assert!(came_to(&s).0);
    s.until("one was recorded over", |v| v.voices.deleted == Some(OF));
    s.done(order(VoiceOrder::PutBack));
    s.until("they changed places", |v| {
        v.voices.has == [OF] && v.voices.deleted == Some(OF)
    });
    s.done(order(VoiceOrder::Delete(OF)));
    s.done(order(VoiceOrder::PutBack));
    let again = s.refused(order(VoiceOrder::PutBack));
    assert_eq!(again, "There is no word to put back.");
    // No loudspeaker here: nothing is claimed to be heard.
    s.refused(order(VoiceOrder::Hear(OF)));
}

#[test]
fn a_key_ends_a_word_before_its_time() {
    let s = Station::start_hearing(Microphone::made_of(|ear| {
        let tone = (0..24_000).map(|i| 0.2 * (i as f32 * 0.06).sin());
        ear.take(tone, 1, RATE_HZ);
        while ear.is_wanted() {
            ear.take(std::iter::repeat_n(0.0, 1), 1, RATE_HZ);
            std::thread::sleep(Duration::from_millis(5));
        }
        Ok(())
    }));
    s.done(order(VoiceOrder::Record(OF)));
    let busy = s.refused(order(VoiceOrder::Record(SoundId::GoAgain)));
    assert_eq!(busy, "A word is being recorded already.");
    s.until("half a second is heard", |v| {
        v.voices.recording.is_some_and(|r| r.left_s < 1.55)
    });
    s.done(order(VoiceOrder::Stop));
    s.until("it is kept", |v| v.voices.has == [OF]);
    s.refused(order(VoiceOrder::Stop));
}

#[test]
fn what_a_microphone_cannot_do_is_one_sentence_each() {
    let said = |microphone| {
        let s = Station::start_hearing(microphone);
        let (done, sentence) = came_to(&s);
        assert!(!done, "{sentence}");
        let file = s.folder().join(VOICES_FOLDER).join("well_done.wav");
        assert!(!file.exists());
        sentence
    };
    let failing = |fault: MicFault| Microphone::made_of(move |_| Err(fault.clone()));
    assert!(said(failing(MicFault::Missing)).starts_with("There is no microphone."));
    assert!(said(failing(MicFault::NotAllowed)).starts_with("Kickplate may not use"));
    let odd = MicFault::Refused("it is odd".to_owned());
    assert!(said(failing(odd)).ends_with("it is odd."));
    let singing = |strength| {
        Microphone::made_of(move |ear: &Ear| {
            sing(ear, strength);
            Ok(())
        })
    };
    assert!(said(singing(0.0)).starts_with("Nothing was heard."));
    assert!(said(singing(1.0)).starts_with("That was too loud"));
    // One that opens and hands nothing over, as a driver that hangs does.
    let hanging = Microphone::made_of(|ear| {
        while ear.is_wanted() {
            std::thread::sleep(Duration::from_millis(5));
        }
        Ok(())
    });
    assert!(said(hanging).starts_with("The microphone does not answer."));
}

/// Nobody is recorded by chance: the microphone closes as soon as somebody comes.
#[test]
fn nothing_is_recorded_while_somebody_is_in_the_lane() {
    let (open, opened) = crossbeam_channel::bounded(8);
    let s = Station::start_hearing(Microphone::made_of(move |ear| {
        let _ = open.send(true);
        while ear.is_wanted() {
            ear.take(std::iter::repeat_n(0.1, 1), 1, RATE_HZ);
            std::thread::sleep(Duration::from_millis(5));
        }
        let _ = open.send(false);
        Ok(())
    }));
    let passing = |tracks: Vec<u32>| {
        let VisionEvent::Status(mut now) = status(None, FeedState::Live) else {
            panic!("no status")
        };
        now.passing = tracks;
        s.vision.send(VisionEvent::Status(now)).unwrap();
    };
    s.done(order(VoiceOrder::Record(OF)));
    let patience = Duration::from_secs(30);
    assert_eq!(opened.recv_timeout(patience), Ok(true));
    passing(vec![1]);
    let view = s.until("it ends", |v| v.voices.recording.is_none());
    let sentence = &view.answer.as_ref().unwrap().sentence;
    assert!(
        sentence.starts_with("Somebody is in the lane"),
        "{sentence}"
    );
    assert_eq!(opened.recv_timeout(patience), Ok(false));
    s.until("she is seen", |v| v.live.somebody_passing);
    s.ask(order(VoiceOrder::Record(OF)));
    assert!(opened.is_empty(), "the microphone was opened");
    assert!(!s.folder().join(VOICES_FOLDER).exists());
}

#[test]
fn damaged_and_foreign_files_are_left_out_and_said() {
    let s = singing(0.2);
    assert!(came_to(&s).0);
    let folder = s.folder().join(VOICES_FOLDER);
    std::fs::write(folder.join("go_again.wav"), b"RIFF").unwrap();
    std::fs::write(folder.join("holiday.wav"), b"RIFF").unwrap();
    // Read anew behind the next change.
    assert!(came_to(&s).0);
    let view = s.until("they are read", |v| v.voices.left_out.len() == 2);
    assert_eq!(view.voices.has, [OF]);
    assert!(view.voices.left_out[0].contains("go_again.wav is damaged and left out"));
    assert!(view.voices.left_out[1].contains("holiday.wav"));
    assert!(view.station.problems.is_empty(), "nobody listens to words");
    s.done(order(VoiceOrder::Use(VoiceMode::After)));
    let view = s.until("it is told", |v| !v.station.problems.is_empty());
    assert_eq!(view.station.problems, view.voices.left_out);
}

#[test]
fn the_choice_is_written_down_and_quiet_mode_speaks_no_word() {
    let s = singing(0.2);
    s.done(order(VoiceOrder::Use(VoiceMode::Instead)));
    let used = || s.settings.load().outputs.clone().unwrap().sound.voice;
    assert_eq!(used(), VoiceMode::Instead);
    let station = StationSettings::load(&s.config("station.toml")).unwrap();
    assert_eq!(station.voice.voice, VoiceMode::Instead);
    s.done(Command::SetQuiet(true));
    assert_eq!(used(), VoiceMode::Off);
    s.done(Command::SetQuiet(false));
    assert_eq!(used(), VoiceMode::Instead);
}
