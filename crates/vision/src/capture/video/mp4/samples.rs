//! Coded pictures out of the file, as a decoder takes them.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::ops::Range;
use std::sync::Arc;

use super::file::Mp4File;
use crate::capture::CaptureError;

/// Largest coded picture accepted, bytes. A damaged index can claim
/// anything; a 4K intra picture stays far below this.
const MAX_SAMPLE_BYTES: u64 = 64 << 20;

/// Reads coded pictures in file order as Annex B byte streams.
pub(in crate::capture::video) struct SampleReader {
    file: Arc<Mp4File>,
    bytes: File,
    next: usize,
    /// Behind the last sample to be read.
    end: usize,
    coded: Vec<u8>,
    annex_b: Vec<u8>,
}

/// Stands before every unit of a byte stream (ITU-T H.264, annex B).
pub(super) const START_CODE: [u8; 4] = [0, 0, 0, 1];

impl SampleReader {
    /// Some samples of a file.
    pub(in crate::capture::video) fn of(
        file: &Arc<Mp4File>,
        samples: Range<usize>,
    ) -> Result<SampleReader, CaptureError> {
        let bytes = File::open(&file.path).map_err(|source| CaptureError::Unreadable {
            path: file.path.clone(),
            source,
        })?;
        Ok(SampleReader {
            file: Arc::clone(file),
            bytes,
            next: samples.start,
            end: samples.end.min(file.samples.len()),
            coded: Vec::new(),
            annex_b: Vec::new(),
        })
    }

    /// The sample that was read last.
    pub(super) fn last(&self) -> usize {
        self.next.saturating_sub(1)
    }

    /// Goes on at the next picture that needs no other one; `false` where there is none.
    pub(super) fn skip_to_key(&mut self) -> bool {
        let rest = self.file.samples.get(self.next..self.end);
        let rest = rest.unwrap_or_default();
        match rest.iter().position(|sample| sample.is_sync) {
            Some(further) => {
                self.next += further;
                true
            }
            None => false,
        }
    }

    /// Show time (in the track's units) and content of the next picture.
    /// The error says in words what is wrong with the file.
    pub(in crate::capture::video) fn next(&mut self) -> Result<Option<(i64, &[u8])>, String> {
        let first = self.next == 0;
        let sample = self.file.samples.get(self.next);
        let Some(sample) = sample.filter(|_| self.next < self.end) else {
            return Ok(None);
        };
        self.next += 1;
        let end = sample.offset.checked_add(sample.size);
        if end.is_none_or(|end| end > self.file.file_len) {
            return Err(format!(
                "the file breaks off in picture {} of {}",
                self.next,
                self.file.samples.len()
            ));
        }
        if sample.size == 0 || sample.size > MAX_SAMPLE_BYTES {
            return Err(format!(
                "its index gives picture {} an impossible size",
                self.next
            ));
        }
        self.coded.resize(sample.size as usize, 0);
        self.bytes
            .seek(SeekFrom::Start(sample.offset))
            .and_then(|_| self.bytes.read_exact(&mut self.coded))
            .map_err(|error| format!("reading picture {} failed: {error}", self.next))?;

        self.annex_b.clear();
        if sample.is_sync || first {
            self.annex_b.extend(&self.file.parameter_sets);
        }
        let mut rest = self.coded.as_slice();
        while !rest.is_empty() {
            let nal = take_nal(&mut rest, self.file.length_bytes)
                .ok_or_else(|| format!("the content of picture {} does not add up", self.next))?;
            self.annex_b.extend(START_CODE);
            self.annex_b.extend(nal);
        }
        Ok(Some((sample.composition_timestamp, &self.annex_b)))
    }
}

/// Takes one length-prefixed unit off the front.
fn take_nal<'a>(rest: &mut &'a [u8], length_bytes: usize) -> Option<&'a [u8]> {
    let (length, after) = rest.split_at_checked(length_bytes)?;
    let length = length
        .iter()
        .fold(0usize, |n, byte| (n << 8) | usize::from(*byte));
    let (nal, after) = after.split_at_checked(length)?;
    *rest = after;
    Some(nal)
}
