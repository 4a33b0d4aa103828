//! The committed sounds, measured from their bytes with this file's own
//! reader and analysis.

#![allow(clippy::unwrap_used, reason = "a test may end at once")]

use std::path::PathBuf;

use crate::sound_analysis::{dominant_hz, notes, read_wav};
use kickplate::sound::{SoundId, Word, keep_word, word_file};

const RATE_HZ: f64 = 48_000.0;

fn sounds_dir() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("sounds")
}

/// The left and the right channel of a sound.
fn channels(id: SoundId) -> [Vec<f64>; 2] {
    let wav = read_wav(&sounds_dir().join(format!("{}.wav", id.name())));
    assert_eq!(
        (wav.rate_hz, wav.channels, wav.bits),
        (48_000, 2, 16),
        "{}",
        id.name()
    );
    [0, 1].map(|c| wav.samples.iter().skip(c).step_by(2).copied().collect())
}

/// Both channels together.
fn mono(id: SoundId) -> Vec<f64> {
    let [left, right] = channels(id);
    left.iter().zip(&right).map(|(l, r)| l + r).collect()
}

#[test]
fn every_cue_has_a_sound_and_there_is_no_other() {
    let mut wanted: Vec<String> = SoundId::all()
        .map(|id| format!("{}.wav", id.name()))
        .collect();
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
        let both = channels(id);
        let length_s = both[0].len() as f64 / RATE_HZ;
        assert!((0.2..0.9).contains(&length_s), "{name}: {length_s} s");
        let peak = both.iter().flatten().fold(0.0f64, |m, s| m.max(s.abs()));
        let peak_dbfs = 20.0 * peak.log10();
        assert!(
            (-12.0..-1.0).contains(&peak_dbfs),
            "{name}: {peak_dbfs} dBFS"
        );
        // Soft start and end: the first and last 2 ms stay 20 dB below.
        let edge = 96;
        for channel in &both {
            let (first, last) = (&channel[..edge], &channel[channel.len() - edge..]);
            for s in first.iter().chain(last) {
                assert!(s.abs() < peak * 0.1, "{name} starts or ends hard");
            }
        }
        let sum = mono(id);
        let dominant = dominant_hz(&sum, RATE_HZ);
        assert!((450.0..3000.0).contains(&dominant), "{name}: {dominant} Hz");
        for note in notes(&sum, RATE_HZ) {
            assert!((450.0..3000.0).contains(&note.hz), "{name}: {note:?}");
        }
    }
}

/// The filter of ITU-R BS.1770-4 at 48 kHz (its tables 1 and 2).
fn k_weighted(samples: &[f64]) -> Vec<f64> {
    let stages = [
        (
            [1.53512485958697, -2.69169618940638, 1.19839281085285],
            [-1.69065929318241, 0.73248077421585],
        ),
        ([1.0, -2.0, 1.0], [-1.99004745483398, 0.99007225036621]),
    ];
    let mut out = samples.to_vec();
    for (b, a) in stages {
        let (mut x1, mut x2, mut y1, mut y2) = (0.0, 0.0, 0.0, 0.0);
        for v in &mut out {
            let y = b[0] * *v + b[1] * x1 + b[2] * x2 - a[0] * y1 - a[1] * y2;
            (x2, x1, y2, y1) = (x1, *v, y1, y);
            *v = y;
        }
    }
    out
}

/// The loudest 400 ms (momentary loudness, EBU Tech 3341), silence around it.
fn momentary_lufs(both: &[Vec<f64>]) -> f64 {
    let window = (0.4 * RATE_HZ) as usize;
    let silence = vec![0.0; window];
    let weighted: Vec<Vec<f64>> = both
        .iter()
        .map(|c| k_weighted(&[&silence[..], c, &silence[..]].concat()))
        .collect();
    let power = |at: usize| -> f64 {
        weighted
            .iter()
            .map(|c| c[at..at + window].iter().map(|v| v * v).sum::<f64>())
            .sum::<f64>()
            / window as f64
    };
    let steps = (0..weighted[0].len() - window).step_by(480);
    -0.691 + 10.0 * steps.map(power).fold(0.0, f64::max).log10()
}

#[test]
fn all_are_equally_loud() {
    // A 997 Hz sine of full scale in one channel reads -3.01 LKFS (ITU-R BS.1770,
    // annex 1): the meter itself.
    let sine: Vec<f64> = (0..48_000)
        .map(|i| (2.0 * std::f64::consts::PI * 997.0 * f64::from(i) / RATE_HZ).sin())
        .collect();
    let read = momentary_lufs(&[sine]);
    assert!((read + 3.01).abs() < 0.05, "{read}");
    let loud: Vec<f64> = SoundId::all()
        .map(|id| momentary_lufs(&channels(id)))
        .collect();
    let low = loud.iter().copied().fold(f64::INFINITY, f64::min);
    let high = loud.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    assert!(high - low <= 1.0, "from {low:.1} to {high:.1} LUFS");
}

/// Strength in 10 ms steps: the rhythm alone.
fn envelope(samples: &[f64]) -> Vec<f64> {
    let mut out: Vec<f64> = samples
        .chunks(480)
        .map(|c| (c.iter().map(|v| v * v).sum::<f64>() / c.len() as f64).sqrt())
        .collect();
    out.resize(90, 0.0);
    out
}

/// Pearson's correlation, the best over shifts of up to 100 ms.
fn alike(a: &[f64], b: &[f64]) -> f64 {
    (-10i32..=10)
        .map(|shift| {
            let pairs: Vec<(f64, f64)> = (0..a.len() as i32)
                .map(|i| {
                    let other = usize::try_from(i + shift).ok().and_then(|j| b.get(j));
                    (a[i as usize], other.copied().unwrap_or(0.0))
                })
                .collect();
            let n = pairs.len() as f64;
            let (ma, mb) = pairs
                .iter()
                .fold((0.0, 0.0), |m, p| (m.0 + p.0 / n, m.1 + p.1 / n));
            let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
            for (x, y) in pairs {
                ab += (x - ma) * (y - mb);
                aa += (x - ma).powi(2);
                bb += (y - mb).powi(2);
            }
            ab / (aa * bb).sqrt().max(1e-12)
        })
        .fold(-1.0, f64::max)
}

fn order_of(name: &str) -> &str {
    name.rsplit_once('_').map_or(name, |(order, _)| order)
}

/// Which order it is, the rhythm says: strengths over time of two orders correlate
/// by less than 0.85, whatever the notes.
#[test]
fn rhythms_of_two_orders_are_not_alike() {
    let all: Vec<(&str, Vec<f64>)> = SoundId::all()
        .map(|id| (id.name(), envelope(&mono(id))))
        .collect();
    for (i, (name_a, a)) in all.iter().enumerate() {
        assert!(alike(a, a) > 0.999);
        for (name_b, b) in &all[..i] {
            if order_of(name_a) != order_of(name_b) {
                let r = alike(a, b);
                assert!(r < 0.85, "{name_a} and {name_b}: {r:.2}");
            }
        }
    }
}

/// No two sounds are alike as sounds: they correlate by less than 0.7, with their
/// two channels one after the other.
#[test]
fn no_two_sounds_are_alike() {
    let all: Vec<(&str, Vec<f64>)> = SoundId::all()
        .map(|id| {
            let mut both = Vec::new();
            for mut channel in channels(id) {
                channel.resize(43_200, 0.0);
                both.extend(channel);
            }
            (id.name(), both)
        })
        .collect();
    let r = |a: &[f64], b: &[f64]| {
        let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
        for (x, y) in a.iter().zip(b) {
            ab += x * y;
            aa += x * x;
            bb += y * y;
        }
        ab / f64::sqrt(aa * bb)
    };
    for (i, (name_a, a)) in all.iter().enumerate() {
        for (name_b, b) in &all[..i] {
            let r = r(a, b).abs();
            assert!(r < 0.7, "{name_a} and {name_b}: {r:.2}");
        }
    }
}

/// Left and right are told by place and by the order of their two notes.
#[test]
fn left_and_right_differ_in_place_and_in_the_order_of_notes() {
    let power = |c: &[f64]| c.iter().map(|v| v * v).sum::<f64>();
    for id in SoundId::all() {
        let [left, right] = channels(id);
        let ratio_db = 10.0 * (power(&left) / power(&right)).log10();
        let name = id.name();
        let heard = notes(&mono(id), RATE_HZ);
        let (first, last) = (heard[0].hz, heard[heard.len() - 1].hz);
        if name.ends_with("_left") {
            assert!(
                ratio_db > 9.0 && last > 1.1 * first,
                "{name}: {ratio_db} {heard:?}"
            );
        } else if name.ends_with("_right") {
            assert!(
                ratio_db < -9.0 && last < first / 1.1,
                "{name}: {ratio_db} {heard:?}"
            );
        } else {
            assert!(ratio_db.abs() < 0.1, "{name}: {ratio_db}");
        }
    }
}

/// A made-up voice: 140 Hz with its overtones to 3.5 kHz, each half as strong an octave up,
/// in syllables, of this strength, with silence around it.
fn voice(strength: f64) -> Vec<f32> {
    (0..96_000)
        .map(|i| {
            let at_s = f64::from(i) / RATE_HZ;
            if !(0.4..1.4).contains(&at_s) {
                return 0.0;
            }
            let syllable = (std::f64::consts::TAU * 2.0 * (at_s - 0.4)).sin().abs();
            let tones: f64 = (1..=25)
                .map(|n| (std::f64::consts::TAU * 140.0 * f64::from(n) * at_s).sin() / f64::from(n))
                .sum();
            (strength * syllable * tones) as f32
        })
        .collect()
}

/// A coach's word is as loud as the sounds, by the same meter (EBU R128), however loud it
/// was spoken; its file is read by this file's own reader.
#[test]
fn a_word_of_a_coach_is_as_loud_as_the_sounds() {
    let sounds: Vec<f64> = SoundId::all()
        .map(|id| momentary_lufs(&channels(id)))
        .collect();
    let low = sounds.iter().copied().fold(f64::INFINITY, f64::min);
    let high = sounds.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let folder = tempfile::tempdir().unwrap();
    for strength in [0.02, 0.1, 0.4] {
        let word = Word::heard(&voice(strength), 48_000).unwrap();
        keep_word(folder.path(), SoundId::Praise, &word).unwrap();
        let wav = read_wav(&word_file(folder.path(), SoundId::Praise));
        assert_eq!((wav.rate_hz, wav.channels, wav.bits), (48_000, 1, 16));
        let length_s = wav.samples.len() as f64 / RATE_HZ;
        assert!((0.9..1.2).contains(&length_s), "{length_s} s");
        // Both loudspeakers play it.
        let lufs = momentary_lufs(&[wav.samples.clone(), wav.samples]);
        assert!(
            (low - 3.0..high + 3.0).contains(&lufs),
            "{lufs:.1} LUFS; the sounds are {low:.1} to {high:.1}"
        );
        println!("spoken at {strength}: {lufs:.1} LUFS, sounds {low:.1} to {high:.1}");
    }
}
