//! The speaker against a sound card made of software, and without one.
//!
//! ALSA reads its configuration once per process and the software card
//! writes into the current folder, so each case runs in a process of its own.

use std::path::Path;
use std::time::{Duration, Instant};

use kickplate::sound::{SoundId, SoundSettings, SoundState, Speaker, Word};
use kickplate_testing::{has_program, root};

use crate::sound_analysis::{dominant_hz, notes, pcm16, read_wav};
use crate::{ended_well, rig};

/// Far above anything seen; only there so that a hang ends.
const PATIENCE: Duration = Duration::from_secs(30);

fn pv_is_there() -> bool {
    has_program(
        "pv",
        "which paces the software sound card; apt-get install pv",
    )
}

/// Runs a part with this configuration of ALSA in this folder.
fn with_card(part: &str, alsa_config: &Path, folder: &Path) {
    let output = rig(part)
        .env("ALSA_CONFIG_PATH", alsa_config)
        .current_dir(folder)
        .output()
        .unwrap();
    ended_well(part, &output);
}

fn wait_for(what: &str, mut condition: impl FnMut() -> bool) {
    let since = Instant::now();
    while !condition() {
        assert!(since.elapsed() < PATIENCE, "waited in vain: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Both sides of a stereo recording together.
fn sides(stereo: &[f64]) -> Vec<f64> {
    let pairs = stereo.chunks_exact(2);
    pairs.map(|pair| (pair[0] + pair[1]) / 2.0).collect()
}

#[test]
fn every_sound_comes_out_in_order_and_at_its_pitch() {
    if !pv_is_there() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    with_card(
        "plays_everything",
        &root().join("tests/alsa/paced-raw.conf"),
        folder.path(),
    );

    let raw = pcm16(&std::fs::read(folder.path().join("played.raw")).unwrap());
    // Sounds of one side come from that side more than from the other.
    let both = sides(&raw);

    // One stretch of notes per sound: they are half a second apart at least.
    let mut heard: Vec<Vec<(f64, f64)>> = vec![];
    let mut end_s = f64::NEG_INFINITY;
    for note in notes(&both, 48_000.0) {
        if note.start_s > end_s + 0.4 {
            heard.push(vec![]);
        }
        end_s = note.start_s + note.length_s;
        heard.last_mut().unwrap().push((note.start_s, note.hz));
    }
    let wanted: Vec<SoundId> = SoundId::all().collect();
    assert_eq!(heard.len(), wanted.len(), "{heard:?}");
    for (heard, id) in heard.iter().zip(wanted) {
        let wav = read_wav(&root().join("sounds").join(format!("{}.wav", id.name())));
        let in_the_file = sides(&wav.samples);
        let in_file = notes(&in_the_file, 48_000.0);
        assert_eq!(heard.len(), in_file.len(), "{}: {heard:?}", id.name());
        for ((_, hz), note) in heard.iter().zip(&in_file) {
            assert!(
                (hz / note.hz - 1.0).abs() < 0.02,
                "{}: {hz} for {note:?}",
                id.name()
            );
        }
        let start = (heard[0].0 * 48_000.0) as usize;
        let end = start + in_the_file.len();
        let stretch = &both[start..end.min(both.len())];
        let heard_on = |side: usize| -> f64 {
            let of_both = &raw[2 * start..(2 * end).min(raw.len())];
            of_both.iter().skip(side).step_by(2).map(|v| v * v).sum()
        };
        let (left, right) = (heard_on(0), heard_on(1));
        match id.name() {
            name if name.ends_with("_left") => assert!(left > 1.5 * right, "{name}"),
            name if name.ends_with("_right") => assert!(right > 1.5 * left, "{name}"),
            name => assert!((left / right - 1.0).abs() < 0.01, "{name}: {left} {right}"),
        }
        let (hz, in_file) = (
            dominant_hz(stretch, 48_000.0),
            dominant_hz(&in_the_file, 48_000.0),
        );
        assert!(
            (hz / in_file - 1.0).abs() < 0.02,
            "{}: {hz} for {in_file}",
            id.name()
        );
        println!(
            "{}: {hz:.0} Hz read back, {in_file:.0} Hz in the file",
            id.name()
        );
    }
}

/// The notes heard, one list for each cue: they are half a second apart at least.
fn cues_of(both: &[f64]) -> Vec<Vec<f64>> {
    let mut heard: Vec<Vec<f64>> = vec![];
    let mut end_s = f64::NEG_INFINITY;
    for note in notes(both, 48_000.0) {
        if note.start_s > end_s + 0.5 {
            heard.push(vec![]);
        }
        end_s = note.start_s + note.length_s;
        heard.last_mut().unwrap().push(note.hz);
    }
    heard
}

/// What comes out of the loudspeaker: the word alone, the sound and then the word, the
/// sound alone, and the sound of a cue whose word is damaged.
#[test]
fn words_are_heard_in_place_of_their_sound_and_after_it() {
    if !pv_is_there() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    with_card(
        "plays_words",
        &root().join("tests/alsa/paced-raw.conf"),
        folder.path(),
    );
    let raw = pcm16(&std::fs::read(folder.path().join("played.raw")).unwrap());
    let heard = cues_of(&sides(&raw));
    let in_file = |name: &str| -> Vec<f64> {
        let wav = read_wav(&root().join("sounds").join(format!("{name}.wav")));
        let found = notes(&sides(&wav.samples), 48_000.0);
        found.iter().map(|note| note.hz).collect()
    };
    let word = vec![kickplate_rig::WORD_HZ];
    let praise = in_file("well_done");
    let after = [praise.clone(), word.clone()].concat();
    let wanted = [word.clone(), word, after, praise, in_file("go_again")];
    assert_eq!(heard.len(), wanted.len(), "{heard:?}");
    for (heard, wanted) in heard.iter().zip(&wanted) {
        assert_eq!(heard.len(), wanted.len(), "{heard:?} for {wanted:?}");
        for (hz, wanted) in heard.iter().zip(wanted) {
            assert!((hz / wanted - 1.0).abs() < 0.02, "{hz} for {wanted}");
        }
    }
}

/// From ALSA through the sound library to the file: half a second of a tone in quiet noise.
#[test]
fn a_word_comes_from_the_systems_microphone() {
    let folder = tempfile::tempdir().unwrap();
    let spoken = (0..144_000_u32).flat_map(|i| {
        let at_s = f64::from(i) / 48_000.0;
        let tone = (std::f64::consts::TAU * kickplate_rig::WORD_HZ * at_s).sin();
        let on = (0.5..1.0).contains(&at_s);
        let noise = f64::from(i.wrapping_mul(2_654_435_761) >> 24) / 255.0 - 0.5;
        let sample = if on { 0.2 * tone } else { 0.001 * noise };
        [(sample as f32).to_le_bytes(); 2].concat()
    });
    std::fs::write(
        folder.path().join("spoken.raw"),
        spoken.collect::<Vec<u8>>(),
    )
    .unwrap();
    let card = root().join("tests/alsa/microphone.conf");
    with_card("hears_a_word", &card, folder.path());
    let file = folder.path().join("well_done.wav");
    let bytes = std::fs::read(&file).unwrap();
    let word = Word::from_wav(&bytes).unwrap();
    let samples: Vec<f64> = word.samples().map(f64::from).collect();
    // What is silent is cut off but for 60 ms on both sides.
    let seconds = samples.len() as f64 / f64::from(word.rate_hz());
    assert!((seconds - 0.62).abs() < 0.05, "{seconds}");
    let hz = dominant_hz(&samples, f64::from(word.rate_hz()));
    assert!((hz / kickplate_rig::WORD_HZ - 1.0).abs() < 0.02, "{hz}");
    let none = root().join("tests/alsa/no-card.conf");
    with_card("has_no_microphone", &none, folder.path());
}

#[test]
fn without_a_card_it_says_so_and_finds_one_that_comes_later() {
    if !pv_is_there() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("alsa.conf");
    std::fs::copy(root().join("tests/alsa/no-card.conf"), &config).unwrap();
    with_card("waits_for_a_card", &config, folder.path());
}

#[test]
fn a_card_that_stalls_is_noticed_and_opened_again() {
    if !pv_is_there() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    with_card(
        "has_a_stalling_card",
        &root().join("tests/alsa/paced-raw.conf"),
        folder.path(),
    );
}

#[test]
fn missing_sounds_are_named_and_nothing_is_taken() {
    let folder = tempfile::tempdir().unwrap();
    let speaker = Speaker::start(folder.path(), SoundSettings::default());
    wait_for("the fault is seen", || {
        matches!(speaker.state(), SoundState::NoSounds(_))
    });
    let SoundState::NoSounds(why) = speaker.state() else {
        panic!("{:?}", speaker.state())
    };
    assert!(why.contains("well_done.wav"), "{why}");
    wait_for("no sound is taken", || !speaker.play(SoundId::Praise));
}
