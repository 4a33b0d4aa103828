//! Reads WAV files and looks for notes; shared by the sound tests and made
//! without the program's own code.

#![allow(dead_code, reason = "each test takes what it needs")]
#![allow(clippy::unwrap_used, reason = "a test may end at once")]

use std::path::Path;

pub struct Wav {
    pub rate_hz: u32,
    pub channels: u16,
    pub bits: u16,
    /// -1 to 1.
    pub samples: Vec<f64>,
}

/// Reads the plain form of WAV: `fmt ` and `data` chunks, 16-bit PCM
/// (Microsoft/IBM, Multimedia Programming Interface and Data Specifications
/// 1.0, 1991).
pub fn read_wav(path: &Path) -> Wav {
    let bytes = std::fs::read(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert_eq!((&bytes[..4], &bytes[8..12]), (&b"RIFF"[..], &b"WAVE"[..]));
    let u16_at = |i: usize| u16::from_le_bytes([bytes[i], bytes[i + 1]]);
    let u32_at = |i: usize| u32::from_le_bytes(bytes[i..i + 4].try_into().unwrap());
    let mut wav = Wav {
        rate_hz: 0,
        channels: 0,
        bits: 0,
        samples: vec![],
    };
    let mut at = 12;
    while at + 8 <= bytes.len() {
        let (body, length) = (at + 8, u32_at(at + 4) as usize);
        match &bytes[at..at + 4] {
            b"fmt " => {
                assert_eq!(u16_at(body), 1, "not PCM");
                wav.channels = u16_at(body + 2);
                wav.rate_hz = u32_at(body + 4);
                wav.bits = u16_at(body + 14);
            }
            b"data" => wav.samples = pcm16(&bytes[body..body + length]),
            _ => {}
        }
        at = body + length + length % 2;
    }
    wav
}

pub fn pcm16(bytes: &[u8]) -> Vec<f64> {
    bytes
        .chunks_exact(2)
        .map(|b| f64::from(i16::from_le_bytes([b[0], b[1]])) / 32768.0)
        .collect()
}

/// Length of the pieces a sound is looked at in.
const FRAME_S: f64 = 0.05;

/// Strength of one frequency, summed over frames with a Hann window, by
/// Goertzel's recurrence (G. Goertzel, Amer. Math. Monthly 65, 1958).
fn strength(frames: &[Vec<f64>], rate_hz: f64, hz: f64) -> f64 {
    let turn = 2.0 * (std::f64::consts::TAU * hz / rate_hz).cos();
    let power = |frame: &Vec<f64>| {
        let (mut s1, mut s2) = (0.0, 0.0);
        for x in frame {
            (s1, s2) = (x + turn * s1 - s2, s1);
        }
        s1 * s1 + s2 * s2 - turn * s1 * s2
    };
    frames.iter().map(power).sum()
}

/// The strongest frequency between 100 and 6000 Hz, to about 1 Hz.
pub fn dominant_hz(samples: &[f64], rate_hz: f64) -> f64 {
    let length = ((FRAME_S * rate_hz) as usize).min(samples.len());
    let frames: Vec<Vec<f64>> = samples
        .chunks_exact(length)
        .map(|chunk| {
            let window =
                |i: usize| 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / length as f64).cos();
            chunk
                .iter()
                .enumerate()
                .map(|(i, s)| s * window(i))
                .collect()
        })
        .collect();
    let strongest = |from: f64, to: f64, step: f64| {
        (0..=((to - from) / step) as usize)
            .map(|i| from + i as f64 * step)
            .map(|hz| (hz, strength(&frames, rate_hz, hz)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap()
            .0
    };
    // A frame of 50 ms spreads a tone over 80 Hz: none is missed.
    let coarse = strongest(100.0, 6000.0, 20.0);
    strongest(coarse - 20.0, coarse + 20.0, 1.0)
}

#[derive(Debug, Clone, Copy)]
pub struct Note {
    pub start_s: f64,
    pub length_s: f64,
    pub hz: f64,
}

/// Stretches louder than a tenth of the loudest, apart by 10 ms or more.
pub fn notes(samples: &[f64], rate_hz: f64) -> Vec<Note> {
    let window = (rate_hz * 0.005) as usize;
    let loudness: Vec<f64> = samples
        .chunks(window)
        .map(|c| (c.iter().map(|s| s * s).sum::<f64>() / c.len() as f64).sqrt())
        .collect();
    let loudest = loudness.iter().fold(0.0f64, |m, l| m.max(*l));
    let mut spans: Vec<(usize, usize)> = vec![];
    for (i, l) in loudness.iter().enumerate() {
        if *l < loudest * 0.1 {
            continue;
        }
        match spans.last_mut() {
            Some((_, end)) if i <= *end + 1 => *end = i,
            _ => spans.push((i, i)),
        }
    }
    spans
        .into_iter()
        .map(|(first, last)| {
            let (from, to) = (first * window, ((last + 1) * window).min(samples.len()));
            Note {
                start_s: from as f64 / rate_hz,
                length_s: (to - from) as f64 / rate_hz,
                hz: dominant_hz(&samples[from..to], rate_hz),
            }
        })
        .collect()
}
