//! A word a coach has spoken: cut to where somebody speaks, as loud as the sounds, as
//! a WAV file and back. Pure: no device, no disk, no clock.

/// Longest word, seconds: the next skater may be seconds behind.
pub const LONGEST_WORD_S: f64 = 2.0;

/// Length of the pieces in which it is looked for a voice.
const PIECE_S: f64 = 0.02;
/// Where no piece is stronger (RMS, share of full scale; -46 dBFS) nobody spoke. Common
/// practice, no source.
const SILENT_RMS: f64 = 0.005;
/// A voice begins and ends where it is so much weaker than at its strongest (-30 dB):
/// hissed letters are that weak. Common practice, no source.
const SPOKEN_SHARE: f64 = 0.0316;
/// What is kept before and behind it.
const KEPT_AROUND_S: f64 = 0.06;
/// From here on a sample counts as cut off by the microphone.
const CUT_OFF_AT: f64 = 0.99;
/// So much of a word may be cut off: less is not heard. Common practice, no source.
const CUT_OFF_S: f64 = 0.0005;
/// The strength of the strongest [`LOUDNESS_S`] that a word is brought to, played by both
/// loudspeakers: that of the station's own sounds (0.17 to 0.24; `tests/pure` holds both
/// against the meter of EBU R128).
const WORD_RMS: f64 = 0.25;
/// The momentary loudness of EBU R128 is that of 400 ms (EBU Tech 3341).
const LOUDNESS_S: f64 = 0.4;
/// Above this, peaks are rounded off, so that they stay below [`PEAK_AT_MOST`].
const ROUNDED_FROM: f64 = 0.5;
/// -1 dBFS.
const PEAK_AT_MOST: f64 = 0.89;
/// No peak is raised beyond this before it is rounded off: it would sound harsh.
const RAISED_AT_MOST: f64 = 2.0;
/// A word begins and ends softly, so that it does not click.
const SOFT_S: f64 = 0.005;
/// Rates a microphone may have, samples a second.
const RATES_HZ: std::ops::RangeInclusive<u32> = 8_000..=192_000;
/// Bytes of the plain WAV header that is written.
const HEADER: usize = 44;

/// Why nothing can be made of what was heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum WordFault {
    /// Nobody spoke.
    #[error("nothing was heard; speak nearer to the microphone")]
    Silent,
    /// The microphone cut off what was too loud for it.
    #[error("the voice was too loud for the microphone; speak softer or farther away")]
    TooLoud,
}

/// Why a file is no word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum WavFault {
    /// It is damaged, or no WAV at all.
    #[error("it is damaged or not a WAV file")]
    Damaged,
    /// It is a WAV of another kind.
    #[error("it is not 16-bit mono")]
    OtherKind,
    /// It is empty or too long.
    #[error("it is empty or longer than 2 s")]
    Length,
}

/// A word, mono.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// Samples a second.
    rate_hz: u32,
    /// At most [`LONGEST_WORD_S`].
    samples: Vec<i16>,
}

/// Most samples of a word at this rate.
pub(super) fn most_samples(rate_hz: u32) -> usize {
    (LONGEST_WORD_S * f64::from(rate_hz)) as usize
}

impl Word {
    /// Makes a word of what a microphone heard, mono, -1 to 1.
    ///
    /// # Errors
    /// Nobody spoke, or too loud.
    pub fn heard(samples: &[f32], rate_hz: u32) -> Result<Word, WordFault> {
        if !RATES_HZ.contains(&rate_hz) {
            return Err(WordFault::Silent);
        }
        let samples = &samples[..samples.len().min(most_samples(rate_hz))];
        let finite = |s: &f32| if s.is_finite() { f64::from(*s) } else { 0.0 };
        let heard: Vec<f64> = samples.iter().map(finite).collect();
        let cut_off = heard.iter().filter(|s| s.abs() >= CUT_OFF_AT).count();
        if cut_off as f64 > CUT_OFF_S * f64::from(rate_hz) {
            return Err(WordFault::TooLoud);
        }
        let mut spoken = spoken_part(&heard, rate_hz).ok_or(WordFault::Silent)?;
        level(&mut spoken, rate_hz);
        soften_ends(&mut spoken, rate_hz);
        let whole = |s: f64| (s * 32_767.0).round() as i16;
        Ok(Word {
            rate_hz,
            samples: spoken.into_iter().map(whole).collect(),
        })
    }

    /// Samples a second.
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Its samples, -1 to 1.
    pub fn samples(&self) -> impl Iterator<Item = f32> {
        self.samples.iter().map(|s| f32::from(*s) / 32_768.0)
    }

    /// As a file: `fmt ` and `data`, 16-bit PCM, mono (Microsoft/IBM, Multimedia
    /// Programming Interface and Data Specifications 1.0, 1991).
    pub fn to_wav(&self) -> Vec<u8> {
        // At most 2 s: far below what the field holds.
        let bytes = u32::try_from(2 * self.samples.len()).unwrap_or(0);
        let mut out = Vec::with_capacity(HEADER + bytes as usize);
        out.extend(b"RIFF");
        out.extend((HEADER as u32 - 8 + bytes).to_le_bytes());
        out.extend(b"WAVEfmt ");
        out.extend(16_u32.to_le_bytes());
        out.extend(1_u16.to_le_bytes());
        out.extend(1_u16.to_le_bytes());
        out.extend(self.rate_hz.to_le_bytes());
        out.extend((2 * self.rate_hz).to_le_bytes());
        out.extend(2_u16.to_le_bytes());
        out.extend(16_u16.to_le_bytes());
        out.extend(b"data");
        out.extend(bytes.to_le_bytes());
        out.extend(self.samples.iter().flat_map(|s| s.to_le_bytes()));
        out
    }

    /// Reads a file. Nothing in it is believed.
    ///
    /// # Errors
    /// What it is instead of a word.
    pub fn from_wav(bytes: &[u8]) -> Result<Word, WavFault> {
        let riff = bytes.get(..12).ok_or(WavFault::Damaged)?;
        if &riff[..4] != b"RIFF" || &riff[8..] != b"WAVE" {
            return Err(WavFault::Damaged);
        }
        let (mut rate_hz, mut rest) = (None, &bytes[12..]);
        while let Some((head, after)) = rest.split_at_checked(8) {
            let length = u32_at(head, 4).ok_or(WavFault::Damaged)? as usize;
            let body = after.get(..length).ok_or(WavFault::Damaged)?;
            match &head[..4] {
                b"fmt " => rate_hz = Some(rate_of(body)?),
                b"data" => return Self::of_data(body, rate_hz.ok_or(WavFault::Damaged)?),
                _ => {}
            }
            // Chunks begin at even places.
            rest = after.get(length + length % 2..).unwrap_or_default();
        }
        Err(WavFault::Damaged)
    }

    fn of_data(body: &[u8], rate_hz: u32) -> Result<Word, WavFault> {
        let (pairs, odd) = body.as_chunks::<2>();
        if !odd.is_empty() {
            return Err(WavFault::Damaged);
        }
        if pairs.is_empty() || pairs.len() > most_samples(rate_hz) {
            return Err(WavFault::Length);
        }
        let samples = pairs.iter().map(|pair| i16::from_le_bytes(*pair)).collect();
        Ok(Word { rate_hz, samples })
    }
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    let four = bytes.get(at..at + 4)?;
    Some(u32::from_le_bytes(four.try_into().ok()?))
}

/// The rate of 16-bit mono PCM.
fn rate_of(fmt: &[u8]) -> Result<u32, WavFault> {
    let u16_at = |at: usize| {
        let two = fmt.get(at..at + 2).ok_or(WavFault::Damaged)?;
        Ok(u16::from_le_bytes([two[0], two[1]]))
    };
    let rate_hz = u32_at(fmt, 4).ok_or(WavFault::Damaged)?;
    let plain = (u16_at(0)?, u16_at(2)?, u16_at(14)?) == (1, 1, 16);
    if plain && RATES_HZ.contains(&rate_hz) {
        Ok(rate_hz)
    } else {
        Err(WavFault::OtherKind)
    }
}

fn rms(samples: &[f64]) -> f64 {
    (samples.iter().map(|s| s * s).sum::<f64>() / samples.len().max(1) as f64).sqrt()
}

/// The part in which somebody speaks; `None` where nobody does.
fn spoken_part(heard: &[f64], rate_hz: u32) -> Option<Vec<f64>> {
    // Cheap microphones have a constant offset, which is no sound.
    let mean = heard.iter().sum::<f64>() / heard.len().max(1) as f64;
    let centred: Vec<f64> = heard.iter().map(|s| s - mean).collect();
    let piece = ((PIECE_S * f64::from(rate_hz)) as usize).max(1);
    let strengths: Vec<f64> = centred.chunks(piece).map(rms).collect();
    let strongest = strengths.iter().copied().fold(0.0, f64::max);
    if strongest < SILENT_RMS {
        return None;
    }
    let speaks = |s: &f64| *s >= strongest * SPOKEN_SHARE;
    let first = strengths.iter().position(speaks)?;
    let last = strengths.iter().rposition(speaks)?;
    let around = (KEPT_AROUND_S * f64::from(rate_hz)) as usize;
    let from = (first * piece).saturating_sub(around);
    let to = ((last + 1) * piece + around).min(centred.len());
    Some(centred[from..to].to_vec())
}

/// The strength of the strongest 400 ms, silence around it.
fn strongest_rms(samples: &[f64], rate_hz: u32) -> f64 {
    let window = (LOUDNESS_S * f64::from(rate_hz)) as usize;
    let mut sums = vec![0.0];
    let mut sum = 0.0;
    for s in samples {
        sum += s * s;
        sums.push(sum);
    }
    let most = (1..sums.len())
        .map(|end| sums[end] - sums[end.saturating_sub(window)])
        .fold(0.0, f64::max);
    (most / window.max(1) as f64).sqrt()
}

/// Brings a word to the loudness of the station's sounds: an RMS match, no meter of loudness.
fn level(samples: &mut [f64], rate_hz: u32) {
    let peak = samples.iter().fold(0.0_f64, |most, s| most.max(s.abs()));
    let strength = strongest_rms(samples, rate_hz);
    if peak <= 0.0 || strength <= 0.0 {
        return;
    }
    let gain = (WORD_RMS / strength).min(RAISED_AT_MOST / peak);
    for s in samples {
        *s = rounded_off(*s * gain);
    }
}

/// Leaves what is weak as it is and brings peaks below [`PEAK_AT_MOST`].
fn rounded_off(sample: f64) -> f64 {
    let over = sample.abs() - ROUNDED_FROM;
    if over <= 0.0 {
        return sample;
    }
    let room = PEAK_AT_MOST - ROUNDED_FROM;
    (ROUNDED_FROM + room * (over / room).tanh()).copysign(sample)
}

fn soften_ends(samples: &mut [f64], rate_hz: u32) {
    let soft = ((SOFT_S * f64::from(rate_hz)) as usize).min(samples.len() / 2);
    let count = samples.len();
    for i in 0..soft {
        let share = i as f64 / soft as f64;
        samples[i] *= share;
        samples[count - 1 - i] *= share;
    }
}

#[cfg(test)]
#[path = "word_tests.rs"]
mod tests;
