//! A recording read in parts, each by itself.
//!
//! A part begins with a picture that needs no other one and is shown after all before it, so
//! what a part gives depends on nothing but the file and where it begins and ends.

use std::collections::VecDeque;
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use openh264::decoder::DecodedYUV;
use openh264::formats::YUVSource;

use super::mp4::{Mp4File, Mp4Source, SampleReader, new_decoder};
use crate::capture::{CaptureError, Source};

/// At most so many pictures of a time are looked at for the calmest.
const MOST: usize = 24;
/// Each is compared with so many others at least, where the file has them.
const LEAST: usize = 5;
/// One pixel of the small grey picture is so many of the video's, across and down.
const SQUARE: usize = 8;
/// A small pixel that differs more than this from another picture's is not calm, grey levels of
/// 255.
const DIFFERS: u8 = 16;
/// A picture with more such pixels than this share of all is not calm: somebody may stand
/// there, and what begins with it would be done in vain. Chosen: a tenth of the smallest body
/// that is found, which is an eighth of the picture high.
const CALM_SHARE: f64 = 0.0005;
/// The kind of a unit that holds a part of a picture nothing before is needed for, and the
/// kinds of all that hold pictures (ITU-T H.264, table 7-1).
const INSTANT: u8 = 5;
const PICTURES: Range<u8> = 1..6;

/// A recording that can be read in parts.
pub struct Parts {
    file: Arc<Mp4File>,
    size_px: [u32; 2],
    /// Samples with which a part may begin, but for the first of all.
    keys: Vec<usize>,
}

impl Parts {
    /// Of an open file; `None` where it has one part only.
    pub(super) fn of(source: &Mp4Source) -> Option<Parts> {
        let file = Arc::clone(source.file());
        let info = source.info();
        let mut shown_after = vec![i64::MAX; file.samples.len()];
        let mut least = i64::MAX;
        for (slot, sample) in shown_after.iter_mut().zip(&file.samples).rev() {
            least = least.min(sample.composition_timestamp);
            *slot = least;
        }
        let mut latest = i64::MIN;
        let mut keys = Vec::new();
        for (i, sample) in file.samples.iter().enumerate() {
            let shown_at = sample.composition_timestamp;
            if i > 0 && sample.is_sync && latest < shown_at && shown_after[i] == shown_at {
                keys.push(i);
            }
            latest = latest.max(shown_at);
        }
        (!keys.is_empty()).then_some(Parts {
            size_px: [info.width, info.height],
            file,
            keys,
        })
    }

    /// Pictures in the file.
    pub fn pictures(&self) -> usize {
        self.file.samples.len()
    }

    /// When the pictures are shown with which a part may begin, but for the first of all:
    /// seconds, rising.
    pub fn begin_at_s(&self) -> impl Iterator<Item = f64> + '_ {
        self.keys.iter().map(|key| self.file.shown_at_s(*key))
    }

    /// Places in `keys` of those shown in this time.
    fn between(&self, from_s: f64, to_s: f64) -> Range<usize> {
        let place = |at_s| {
            self.keys
                .partition_point(|k| self.file.shown_at_s(*k) < at_s)
        };
        place(from_s)..place(to_s)
    }

    /// The picture of this time (seconds) with which a part may begin and that is most like
    /// another one nearby; `None` where none is: somebody moves in all of them. Two pictures of
    /// nobody are alike, also where the light has changed meanwhile; somebody who skates is never
    /// twice in one place.
    pub fn calmest(&self, from_s: f64, to_s: f64) -> Option<usize> {
        let all = self.between(from_s, to_s);
        let step = all.len().div_ceil(MOST).max(1);
        let mut chosen: VecDeque<usize> = all.clone().step_by(step).collect();
        if chosen.is_empty() {
            return None;
        }
        // More to compare with, where it is near.
        let (mut before, mut after) = (all.start, all.end);
        while chosen.len() < LEAST && (before > 0 || after < self.keys.len()) {
            if before > 0 {
                before -= 1;
                chosen.push_front(before);
            }
            if after < self.keys.len() {
                chosen.push_back(after);
                after += 1;
            }
        }
        let seen: Vec<(usize, Grey)> = chosen
            .into_iter()
            .filter_map(|place| Some((place, self.look(self.keys[place])?)))
            .collect();
        let unlike = |place: usize, grey: &Grey| {
            let others = seen.iter().filter(|(other, _)| *other != place);
            others.map(|(_, other)| grey.differs_from(other)).min()
        };
        seen.iter()
            .filter(|(place, _)| all.contains(place))
            .map(|(place, grey)| (unlike(*place, grey).unwrap_or(0), *place, grey.0.len()))
            .min()
            .filter(|(differs, _, pixels)| *differs as f64 <= CALM_SHARE * *pixels as f64)
            .map(|(_, place, _)| self.keys[place])
    }

    /// A small grey picture of one sample; `None` where it cannot be decoded by itself.
    fn look(&self, sample: usize) -> Option<Grey> {
        let mut reader = SampleReader::of(&self.file, sample..sample + 1).ok()?;
        let (_, data) = reader.next().ok()??;
        if !is_instant(data) {
            return None;
        }
        let mut decoder = new_decoder().ok()?;
        if let Some(picture) = decoder.decode(data).ok()? {
            return Some(Grey::of(&picture));
        }
        decoder.flush_remaining().ok()?.first().map(Grey::of)
    }

    /// Reads some samples, the first of which is the first of all or one that
    /// [`Parts::calmest`] has named.
    ///
    /// # Errors
    /// The file cannot be opened any more.
    pub fn open(&self, samples: Range<usize>) -> Result<Box<dyn Source>, CaptureError> {
        Ok(Box::new(Mp4Source::of(&self.file, samples, self.size_px)?))
    }

    /// Where the file is, for messages.
    pub fn path(&self) -> &Path {
        &self.file.path
    }
}

/// Whether the first picture in a byte stream is one with which decoding may begin.
fn is_instant(stream: &[u8]) -> bool {
    let heads = stream.windows(5).filter(|w| w[..4] == [0, 0, 0, 1]);
    let mut kinds = heads.map(|w| w[4] & 0x1f);
    kinds.find(|kind| PICTURES.contains(kind)) == Some(INSTANT)
}

/// The brightness of a picture, in small.
struct Grey(Vec<u8>);

impl Grey {
    fn of(picture: &DecodedYUV<'_>) -> Grey {
        let (width, height) = picture.dimensions();
        let (stride, _, _) = picture.strides();
        let mut small = Vec::with_capacity((width / SQUARE) * (height / SQUARE));
        let mut sums = vec![0_u32; width / SQUARE];
        for band in picture.y().chunks(stride * SQUARE).take(height / SQUARE) {
            sums.fill(0);
            for row in band.chunks(stride) {
                for (sum, square) in sums.iter_mut().zip(row.chunks_exact(SQUARE)) {
                    *sum += square.iter().map(|v| u32::from(*v)).sum::<u32>();
                }
            }
            small.extend(sums.iter().map(|s| (s / (SQUARE * SQUARE) as u32) as u8));
        }
        Grey(small)
    }

    /// In how many places.
    fn differs_from(&self, other: &Grey) -> usize {
        let pairs = self.0.iter().zip(&other.0);
        pairs.filter(|(a, b)| a.abs_diff(**b) > DIFFERS).count()
    }
}
