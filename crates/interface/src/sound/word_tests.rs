//! Words: cut, level, file and back.

use super::*;

const RATE_HZ: u32 = 48_000;

/// A tone between two moments of so many seconds.
fn tone(strength: f32, from_s: f64, to_s: f64, whole_s: f64) -> Vec<f32> {
    let rate = f64::from(RATE_HZ);
    (0..(whole_s * rate) as usize)
        .map(|i| {
            let at = i as f64 / rate;
            let on = (from_s..to_s).contains(&at);
            let s = (std::f64::consts::TAU * 400.0 * at).sin() as f32;
            if on { strength * s } else { 0.0 }
        })
        .collect()
}

fn seconds(word: &Word) -> f64 {
    word.samples.len() as f64 / f64::from(word.rate_hz)
}

#[test]
fn silence_around_a_word_is_cut_off() {
    let word = Word::heard(&tone(0.2, 0.7, 1.2, 2.0), RATE_HZ).unwrap();
    // 60 ms stay on both sides, to one piece of 20 ms.
    assert!((seconds(&word) - 0.62).abs() < 0.021, "{}", seconds(&word));
    let first = word.samples.iter().position(|s| s.abs() > 300).unwrap();
    let before_s = first as f64 / f64::from(RATE_HZ);
    assert!((before_s - 0.06).abs() < 0.021, "{before_s}");
}

#[test]
fn soft_and_loud_words_come_out_alike_and_never_above_the_peak() {
    let strengths = [0.02, 0.1, 0.5, 0.9].map(|s| {
        let word = Word::heard(&tone(s, 0.3, 1.0, 1.5), RATE_HZ).unwrap();
        let samples: Vec<f64> = word.samples().map(f64::from).collect();
        assert!(samples.iter().all(|s| s.abs() <= PEAK_AT_MOST));
        assert_eq!((samples[0], *samples.last().unwrap()), (0.0, 0.0));
        strongest_rms(&samples, RATE_HZ)
    });
    for strength in strengths {
        assert!((strength / WORD_RMS - 1.0).abs() < 0.02, "{strengths:?}");
    }
}

#[test]
fn peaks_are_rounded_off_and_do_not_jump() {
    let mut before = -2.0;
    for i in -2000..=2000 {
        let rounded = rounded_off(f64::from(i) / 1000.0);
        assert!(rounded.abs() < PEAK_AT_MOST && rounded > before);
        before = rounded;
    }
    assert_eq!(rounded_off(0.4), 0.4);
}

#[test]
fn silence_and_what_was_cut_off_are_no_words() {
    let noise: Vec<f32> = (0..96_000)
        .map(|i| if i % 3 == 0 { 0.002 } else { -0.001 })
        .collect();
    let constant = vec![0.3; 48_000];
    for nothing in [&[][..], &[0.0; 96_000], &noise, &constant, &[f32::NAN; 900]] {
        assert_eq!(Word::heard(nothing, RATE_HZ), Err(WordFault::Silent));
    }
    let shouted: Vec<f32> = tone(3.0, 0.2, 0.8, 1.0)
        .iter()
        .map(|s| s.clamp(-1.0, 1.0))
        .collect();
    assert_eq!(Word::heard(&shouted, RATE_HZ), Err(WordFault::TooLoud));
    // A few samples are a click of the key and no voice that is too loud.
    let mut clicked = tone(0.3, 0.2, 0.8, 1.0);
    clicked[100..110].fill(1.0);
    assert!(Word::heard(&clicked, RATE_HZ).is_ok());
    assert_eq!(
        Word::heard(&tone(0.2, 0.0, 1.0, 1.0), 7),
        Err(WordFault::Silent)
    );
}

#[test]
fn no_word_is_longer_than_two_seconds() {
    let word = Word::heard(&tone(0.2, 0.0, 9.0, 9.0), RATE_HZ).unwrap();
    assert_eq!(seconds(&word), LONGEST_WORD_S);
}

#[test]
fn a_file_is_read_back_as_it_was_written() {
    for rate_hz in [8_000, 44_100, 48_000] {
        let word = Word::heard(&tone(0.2, 0.0, 0.1, 0.1), rate_hz).unwrap();
        let bytes = word.to_wav();
        assert_eq!(bytes.len(), HEADER + 2 * word.samples.len());
        assert_eq!(Word::from_wav(&bytes), Ok(word));
    }
}

/// Every file that is cut short, and every changed byte of the head, is refused or read
/// as a word within the limits; nothing ends the program.
#[test]
fn damaged_and_foreign_files_are_refused() {
    let good = Word::heard(&tone(0.2, 0.0, 0.1, 0.1), RATE_HZ)
        .unwrap()
        .to_wav();
    for cut in 0..good.len() {
        assert_eq!(
            Word::from_wav(&good[..cut]),
            Err(WavFault::Damaged),
            "{cut}"
        );
    }
    for at in 0..HEADER {
        for bits in [1, 0x80, 0xff] {
            let mut changed = good.clone();
            changed[at] ^= bits;
            if let Ok(word) = Word::from_wav(&changed) {
                assert!(word.samples.len() <= most_samples(word.rate_hz));
                assert!(RATES_HZ.contains(&word.rate_hz));
            }
        }
    }
    let with = |at: usize, value: u16| {
        let mut changed = good.clone();
        changed[at..at + 2].copy_from_slice(&value.to_le_bytes());
        Word::from_wav(&changed)
    };
    assert_eq!(with(20, 3), Err(WavFault::OtherKind), "not PCM");
    assert_eq!(with(22, 2), Err(WavFault::OtherKind), "stereo");
    assert_eq!(with(34, 24), Err(WavFault::OtherKind), "24 bits");
    let long = Word {
        rate_hz: 8_000,
        samples: vec![1; 16_001],
    };
    assert_eq!(Word::from_wav(&long.to_wav()), Err(WavFault::Length));
    let empty = Word {
        rate_hz: 8_000,
        samples: vec![],
    };
    assert_eq!(Word::from_wav(&empty.to_wav()), Err(WavFault::Length));
}
