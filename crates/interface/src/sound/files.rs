//! The files of the sounds, and what is played of sound and word.

use std::fs::File;
use std::io::BufReader;
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rodio::buffer::SamplesBuffer;
use rodio::source::UniformSourceIterator;
use rodio::{Decoder, Source};

use super::voices::Voices;
use super::word::Word;
use super::{SoundId, VoiceMode};

/// Longest file that is still taken for a cue.
const LONGEST_SOUND: Duration = Duration::from_secs(5);

/// Between a sound and the word after it: two things and not one.
const PAUSE: Duration = Duration::from_millis(150);
/// What sounds and words are played as, one behind the other.
const CHANNELS: NonZero<u16> = NonZero::<u16>::MIN.saturating_add(1);
const RATE_HZ: NonZero<u32> = NonZero::<u32>::MIN.saturating_add(47_999);

/// Why a sound file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SoundError {
    /// The file is not there or cannot be opened.
    #[error("The sound {} cannot be opened; put the sounds folder back or name another one ({source})", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The file is no WAV.
    #[error("The sound {} is not a WAV file; replace it ({source})", path.display())]
    Decode {
        /// The file.
        path: PathBuf,
        /// What the decoder said.
        source: rodio::decoder::DecoderError,
    },
    /// The file is empty or far too long.
    #[error("The sound {} is empty or longer than {} s; replace it", path.display(), LONGEST_SOUND.as_secs())]
    Length {
        /// The file.
        path: PathBuf,
    },
}

/// Reads every sound, in the order of [`SoundId::all`].
pub(super) fn load_all(dir: &Path) -> Result<Vec<SamplesBuffer>, SoundError> {
    SoundId::all()
        .map(|id| load(dir.join(format!("{}.wav", id.name()))))
        .collect()
}

fn load(path: PathBuf) -> Result<SamplesBuffer, SoundError> {
    let file = match File::open(&path) {
        Ok(file) => BufReader::new(file),
        Err(source) => return Err(SoundError::Open { path, source }),
    };
    let decoder = match Decoder::new_wav(file) {
        Ok(decoder) => decoder,
        Err(source) => return Err(SoundError::Decode { path, source }),
    };
    let (channels, rate) = (decoder.channels(), decoder.sample_rate());
    let longest =
        LONGEST_SOUND.as_secs() as usize * rate.get() as usize * usize::from(channels.get());
    // One more than allowed, so that a file of any length costs little.
    let samples: Vec<_> = decoder.take(longest + 1).collect();
    if samples.is_empty() || samples.len() > longest {
        return Err(SoundError::Length { path });
    }
    Ok(SamplesBuffer::new(channels, rate, samples))
}

/// The words of a folder ready to be played, in the order of [`SoundId::all`]. What is left
/// out stands in the log.
pub(super) fn load_words(folder: &Path) -> Vec<Option<SamplesBuffer>> {
    let voices = Voices::read(folder);
    for left_out in &voices.left_out {
        let file = left_out.file().display();
        tracing::warn!("{file} is no word of a coach and left out; the sound is played");
    }
    let mut words: Vec<Option<SamplesBuffer>> = SoundId::all().map(|_| None).collect();
    for (id, word) in &voices.words {
        if let Some(place) = words.get_mut(id.index()) {
            *place = to_play(word);
        }
    }
    words
}

fn to_play(word: &Word) -> Option<SamplesBuffer> {
    let rate_hz = NonZero::new(word.rate_hz())?;
    let samples: Vec<f32> = word.samples().collect();
    let mono = SamplesBuffer::new(NonZero::<u16>::MIN, rate_hz, samples);
    Some(as_played(mono))
}

fn as_played(sound: SamplesBuffer) -> SamplesBuffer {
    let samples: Vec<f32> = UniformSourceIterator::new(sound, CHANNELS, RATE_HZ).collect();
    SamplesBuffer::new(CHANNELS, RATE_HZ, samples)
}

/// What is played for a cue.
pub(super) fn for_cue(
    sound: &SamplesBuffer,
    word: Option<&SamplesBuffer>,
    mode: VoiceMode,
) -> SamplesBuffer {
    match (mode, word) {
        (VoiceMode::Off, _) | (_, None) => sound.clone(),
        (VoiceMode::Instead, Some(word)) => word.clone(),
        (VoiceMode::After, Some(word)) => {
            let silent = (PAUSE.as_secs_f64() * f64::from(RATE_HZ.get())) as usize
                * usize::from(CHANNELS.get());
            let mut both: Vec<f32> = as_played(sound.clone()).collect();
            both.extend(std::iter::repeat_n(0.0, silent));
            both.extend(word.clone());
            SamplesBuffer::new(CHANNELS, RATE_HZ, both)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_takes_the_place_of_its_sound_or_follows_it() {
        let stereo = |level: f32| SamplesBuffer::new(CHANNELS, RATE_HZ, vec![level; 960]);
        let played = |mode, word: Option<&SamplesBuffer>| -> Vec<f32> {
            for_cue(&stereo(0.1), word, mode).collect()
        };
        let word = stereo(0.2);
        for mode in [VoiceMode::Off, VoiceMode::Instead, VoiceMode::After] {
            assert_eq!(played(mode, None), vec![0.1; 960], "no word, no silence");
        }
        assert_eq!(played(VoiceMode::Off, Some(&word)), vec![0.1; 960]);
        assert_eq!(played(VoiceMode::Instead, Some(&word)), vec![0.2; 960]);
        let both = played(VoiceMode::After, Some(&word));
        assert_eq!(both[..960], vec![0.1; 960]);
        assert_eq!(both[960..960 + 14_400], vec![0.0; 14_400]);
        assert_eq!(both[960 + 14_400..], vec![0.2; 960]);
    }

    #[test]
    fn a_word_of_another_rate_lasts_as_long() {
        let tone: Vec<f32> = (0..16_000).map(|i| 0.2 * (i as f32 * 0.3).sin()).collect();
        let word = Word::heard(&tone, 16_000).unwrap();
        let played = to_play(&word).unwrap();
        assert_eq!(
            (played.channels(), played.sample_rate()),
            (CHANNELS, RATE_HZ)
        );
        let seconds = played.count() as f64 / 96_000.0;
        assert!((seconds - 1.0).abs() < 0.01, "{seconds}");
    }
}
