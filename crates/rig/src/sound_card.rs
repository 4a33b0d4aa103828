//! What runs with a sound card made of software (`tests/alsa`), or without one.

use std::time::{Duration, Instant};

use kickplate::sound::{
    Microphone, Recording, SoundId, SoundSettings, SoundState, Speaker, VoiceMode, Word, keep_word,
};
use kickplate_testing::{Signal, root, send};

/// Far above anything seen; only there so that a hang ends.
const PATIENCE: Duration = Duration::from_secs(30);

fn wait_for(what: &str, mut condition: impl FnMut() -> bool) {
    let since = Instant::now();
    while !condition() {
        assert!(since.elapsed() < PATIENCE, "waited in vain: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn speaker() -> Speaker {
    Speaker::start(&root().join("sounds"), SoundSettings::default())
}

pub fn plays_everything() {
    let speaker = speaker();
    wait_for("device open", || speaker.state() == SoundState::Ready);
    assert_eq!(speaker.last_started(), None);
    for id in SoundId::all() {
        let asked = Instant::now();
        assert!(speaker.play(id));
        wait_for("sound started", || {
            speaker.last_started().is_some_and(|(s, _)| s == id)
        });
        let (_, at) = speaker.last_started().unwrap();
        assert!(at >= asked - Duration::from_micros(2) && at <= Instant::now());
        std::thread::sleep(Duration::from_millis(1500));
    }
    // Muted: not taken, and nothing starts.
    let before = speaker.last_started();
    speaker.set(SoundSettings {
        muted: true,
        level: 1.0,
        ..SoundSettings::default()
    });
    assert_eq!(speaker.state(), SoundState::Off);
    assert!(!speaker.play(SoundId::Praise));
    std::thread::sleep(Duration::from_millis(300));
    assert_eq!(speaker.last_started(), before);
}

/// A word as the rig's tests know it: this high, half a second long.
pub const WORD_HZ: f64 = 1_500.0;

/// One cue each with the word in the place of its sound, after it, and in quiet mode's way
/// without it; a damaged word leaves its sound.
pub fn plays_words() {
    let tone: Vec<f32> = (0..24_000)
        .map(|i| 0.3 * (std::f64::consts::TAU * WORD_HZ * f64::from(i) / 48_000.0).sin() as f32)
        .collect();
    let word = Word::heard(&tone, 48_000).unwrap();
    let voices = std::env::current_dir().unwrap().join("voices");
    keep_word(&voices, SoundId::Praise, &word).unwrap();
    std::fs::write(voices.join("go_again.wav"), b"RIFF, and then nothing").unwrap();
    let speaker = speaker().with_voices(voices);
    wait_for("device open", || speaker.state() == SoundState::Ready);
    // The words are read by a thread that says nothing; one that is there is heard.
    wait_for("the word is read", || {
        speaker.play_word(SoundId::Praise);
        std::thread::sleep(Duration::from_millis(1500));
        speaker.last_started().is_some()
    });
    let cues = [
        (VoiceMode::Instead, SoundId::Praise),
        (VoiceMode::After, SoundId::Praise),
        (VoiceMode::Off, SoundId::Praise),
        (VoiceMode::Instead, SoundId::GoAgain),
    ];
    for (voice, id) in cues {
        speaker.set(SoundSettings {
            voice,
            ..SoundSettings::default()
        });
        assert!(speaker.play(id));
        std::thread::sleep(Duration::from_millis(3500));
    }
    speaker.set(SoundSettings {
        muted: true,
        voice: VoiceMode::After,
        ..SoundSettings::default()
    });
    assert!(!speaker.play(SoundId::Praise) && !speaker.play_word(SoundId::Praise));
}

/// A word from the system's microphone; the file is left in the folder.
pub fn hears_a_word() {
    let recording = Recording::start(&Microphone::system()).unwrap();
    let mut ended = None;
    wait_for("the word is over", || {
        ended = recording.ended();
        ended.is_some()
    });
    let (samples, rate_hz) = ended.unwrap().unwrap();
    let word = Word::heard(&samples, rate_hz).unwrap();
    let here = std::env::current_dir().unwrap();
    keep_word(&here, SoundId::Praise, &word).unwrap();
}

/// Where there is no microphone it is said, and nobody waits.
pub fn has_no_microphone() {
    let recording = Recording::start(&Microphone::system()).unwrap();
    let mut ended = None;
    wait_for("it is said", || {
        ended = recording.ended();
        ended.is_some()
    });
    println!("without a microphone: {}", ended.unwrap().unwrap_err());
}

pub fn waits_for_a_card() {
    let speaker = speaker();
    let not_opened_yet = speaker.state();
    wait_for("the fault is seen", || speaker.state() != not_opened_yet);
    let SoundState::NoDevice(why) = speaker.state() else {
        panic!("{:?}", speaker.state())
    };
    assert!(!why.is_empty());
    println!("without a card: {why}");
    // Asked for while there is nothing: taken, and dropped when it is stale.
    assert!(speaker.play(SoundId::Praise));
    std::thread::sleep(Duration::from_millis(1200));

    let config = std::env::var("ALSA_CONFIG_PATH").unwrap();
    std::fs::copy(root().join("tests/alsa/paced-raw.conf"), config).unwrap();
    wait_for("the new card is found", || {
        speaker.state() == SoundState::Ready
    });
    assert_eq!(speaker.last_started(), None, "a stale sound was played");
    assert!(speaker.play(SoundId::Praise));
    wait_for("sound started", || speaker.last_started().is_some());
}

pub fn has_a_stalling_card() {
    let speaker = speaker();
    wait_for("device open", || speaker.state() == SoundState::Ready);
    // A card that takes no more samples and reports no error: its `pv` is
    // halted. Only the ones below this very process are touched.
    // The shell that starts `pv` may take a while on a busy machine.
    let mut pids = vec![];
    wait_for("pv below this process", || {
        pids = pv_below(std::process::id());
        !pids.is_empty()
    });
    let signal = |signal| pids.iter().for_each(|pid| send(*pid, signal));
    signal(Signal::STOP);
    wait_for("the stall is seen", || {
        matches!(speaker.state(), SoundState::NoDevice(_))
    });
    println!("stalled: {:?}", speaker.state());
    // The caller is not held up by a driver that hangs while it is closed:
    // this would wait for the signal that comes only after it.
    speaker.play(SoundId::Praise);
    signal(Signal::CONT);
    wait_for("opened again", || speaker.state() == SoundState::Ready);
    assert!(speaker.play(SoundId::Praise));
    wait_for("sound started", || speaker.last_started().is_some());
}

/// Processes named `pv` among the descendants of `root`, read from `/proc`.
fn pv_below(root: u32) -> Vec<u32> {
    let mut found = vec![];
    let mut below = vec![root];
    let all: Vec<(u32, u32, String)> = std::fs::read_dir("/proc")
        .unwrap()
        .filter_map(|e| e.ok()?.file_name().to_str()?.parse::<u32>().ok())
        .filter_map(|pid| {
            let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).ok()?;
            let (head, tail) = stat.rsplit_once(')')?;
            let name = head.split_once('(')?.1.to_owned();
            let parent = tail.split_whitespace().nth(1)?.parse().ok()?;
            Some((pid, parent, name))
        })
        .collect();
    while let Some(parent) = below.pop() {
        for (pid, of, name) in &all {
            if *of == parent {
                below.push(*pid);
                if name == "pv" {
                    found.push(*pid);
                }
            }
        }
    }
    found
}
