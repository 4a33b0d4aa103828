//! The committed sounds, measured from their bytes with this file's own
//! reader and analysis.

#![allow(clippy::unwrap_used, reason = "a test may end at once")]

use std::path::PathBuf;

use crate::sound_analysis::{Note, dominant_hz, notes, read_wav};
use kickplate::rules::RULES;
use kickplate::sound::SoundId;

fn sounds_dir() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("sounds")
}

#[test]
fn every_rule_and_praise_has_a_sound_and_there_is_no_other() {
    let mut wanted: Vec<String> = RULES.iter().map(|r| format!("{}.wav", r.id)).collect();
    wanted.push("well_done.wav".to_owned());
    wanted.sort();
    let mut there: Vec<String> = std::fs::read_dir(sounds_dir())
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    there.sort();
    assert_eq!(there, wanted);
}

#[test]
fn sounds_are_short_soft_unclipped_and_where_small_loudspeakers_are_loud() {
    for id in SoundId::all() {
        let name = id.name();
        let wav = read_wav(&sounds_dir().join(format!("{name}.wav")));
        assert_eq!(
            (wav.rate_hz, wav.channels, wav.bits),
            (48_000, 1, 16),
            "{name}"
        );

        let length_s = wav.samples.len() as f64 / 48_000.0;
        assert!((0.2..0.9).contains(&length_s), "{name}: {length_s} s");

        let peak = wav.samples.iter().fold(0.0f64, |m, s| m.max(s.abs()));
        let peak_dbfs = 20.0 * peak.log10();
        assert!(
            (-6.0..-1.0).contains(&peak_dbfs),
            "{name}: {peak_dbfs} dBFS"
        );

        // Soft start and end: the first and last 2 ms stay 20 dB below.
        let edge = 96;
        let (first, last) = (
            &wav.samples[..edge],
            &wav.samples[wav.samples.len() - edge..],
        );
        for s in first.iter().chain(last) {
            assert!(s.abs() < peak * 0.1, "{name} starts or ends hard");
        }

        let dominant = dominant_hz(&wav.samples, 48_000.0);
        assert!((500.0..3000.0).contains(&dominant), "{name}: {dominant} Hz");
        for note in notes(&wav.samples, 48_000.0) {
            assert!((500.0..3000.0).contains(&note.hz), "{name}: {note:?}");
        }
    }
}

/// Rhythm: other number of notes, or a start or length that differs by a
/// tenth of a second. Steps of 50 ms are easily heard; the margin is ours.
fn rhythms_differ(a: &[Note], b: &[Note]) -> bool {
    a.len() != b.len()
        || a.iter().zip(b).any(|(a, b)| {
            (a.start_s - b.start_s).abs() > 0.1 || (a.length_s - b.length_s).abs() > 0.1
        })
}

#[test]
fn any_two_sounds_differ_in_rhythm_and_in_pitch() {
    let all: Vec<(&str, Vec<Note>)> = SoundId::all()
        .map(|id| {
            let wav = read_wav(&sounds_dir().join(format!("{}.wav", id.name())));
            (id.name(), notes(&wav.samples, 48_000.0))
        })
        .collect();
    // The count of notes is what the script plays: the analysis works.
    let count = |name: &str| all.iter().find(|(n, _)| *n == name).unwrap().1.len();
    assert_eq!(count("trunk_lean"), 1);
    assert_eq!(count("recovery_gap"), 2);
    assert_eq!(count("arm_crossover"), 4);

    for (i, (name_a, a)) in all.iter().enumerate() {
        for (name_b, b) in &all[..i] {
            assert!(rhythms_differ(a, b), "{name_a} and {name_b}: {a:?} {b:?}");
            // A semitone is 6 %; half of one is taken as the same pitch.
            let same_pitch = |a: &Note, b: &Note| (a.hz / b.hz - 1.0).abs() < 0.03;
            let same = a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same_pitch(a, b));
            assert!(!same, "{name_a} and {name_b} have the same notes");
            // Also the first notes alone differ, for those in a hurry.
            assert!(
                !same_pitch(&a[0], &b[0]) || rhythms_differ(&a[..1], &b[..1]),
                "{name_a} and {name_b} begin alike: {a:?} {b:?}"
            );
        }
    }
}
