//! MP4 with H.264, decoded in this process.
//!
//! Only the index is held in memory; coded pictures are read from the file
//! one at a time. Edit lists are not applied: a clip trimmed without
//! re-encoding shows the frames before its first cut as well.

mod file;
mod index;
mod samples;

use std::cmp::Reverse;
use std::collections::{BinaryHeap, VecDeque};
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use openh264::OpenH264API;
use openh264::decoder::{DecodedYUV, Decoder, DecoderConfig, Flush};
use openh264::formats::YUVSource;

use super::ffmpeg;
use crate::capture::color::{ColorSpace, Planes, yuv420_to_rgb};
use crate::capture::source::file_name;
use crate::capture::spare::Spares;
use crate::capture::{CaptureError, Frame, Source, SourceInfo, SourceKind};
use file::Indexed;
pub(super) use file::Mp4File;
use index::average_fps;
pub(super) use samples::SampleReader;

/// The result of looking into a file.
pub(super) enum Opened {
    /// It is read here.
    Here(Box<Mp4Source>),
    /// Only ffmpeg can read it.
    Foreign {
        /// What is in it, in words.
        codec: String,
    },
}

/// A file being decoded, or a part of it.
pub(super) struct Mp4Source {
    file: Arc<Mp4File>,
    info: SourceInfo,
    reader: SampleReader,
    decoder: Decoder,
    /// Show times of the samples given to the decoder and not yet shown. The
    /// decoder gives pictures in show order, so the smallest one is due.
    waiting: BinaryHeap<Reverse<i64>>,
    /// Decoded and not yet delivered.
    ready: VecDeque<Frame>,
    spares: Spares,
    decoded: u64,
    delivered: u64,
    last_time_s: f64,
    /// Why decoding ended early, told after `ready` is empty.
    fault: Option<String>,
    /// The first place that was left out.
    broken: Option<String>,
    size_fault: Option<(u32, u32)>,
    at_end: bool,
}

impl Mp4Source {
    /// Reads the index and decodes the first picture.
    pub(super) fn open(path: &Path) -> Result<Opened, CaptureError> {
        let file = match Mp4File::open(path)? {
            Indexed::Here(file) => Arc::new(file),
            Indexed::Foreign { codec } => return Ok(Opened::Foreign { codec }),
        };
        let mut source = Self::of(&file, 0..file.samples.len(), [0, 0])?;
        source.decode_until_ready();
        match source.ready.front() {
            Some(first) => (source.info.width, source.info.height) = (first.width, first.height),
            // The decoder may have met a tool it does not know; a second
            // opinion costs nothing where ffmpeg is there.
            None if !file.cut_off && ffmpeg::is_installed() => {
                return Ok(Opened::Foreign {
                    codec: "H.264 video the built-in decoder cannot read".into(),
                });
            }
            None => {
                let detail = source
                    .fault
                    .take()
                    .unwrap_or_else(|| "no picture in it can be decoded".into());
                return Err(file.damaged(detail));
            }
        }
        Ok(Opened::Here(Box::new(source)))
    }

    /// Some samples of a file, the first of which needs no other one. `size_px` is what its
    /// pictures have to be like; zeros where the first of them decides.
    pub(super) fn of(
        file: &Arc<Mp4File>,
        samples: Range<usize>,
        [width, height]: [u32; 2],
    ) -> Result<Mp4Source, CaptureError> {
        Ok(Self {
            info: SourceInfo {
                name: file_name(&file.path),
                kind: SourceKind::Video,
                width,
                height,
                nominal_fps: average_fps(&file.samples, file.timescale),
                frame_count: Some(samples.len() as u64),
                skipped: 0,
            },
            reader: SampleReader::of(file, samples)?,
            decoder: new_decoder().map_err(|error| CaptureError::Decoder {
                detail: error.to_string(),
            })?,
            file: Arc::clone(file),
            waiting: BinaryHeap::new(),
            ready: VecDeque::new(),
            spares: Spares::default(),
            decoded: 0,
            delivered: 0,
            last_time_s: f64::NEG_INFINITY,
            fault: None,
            broken: None,
            size_fault: None,
            at_end: false,
        })
    }

    /// The file that is decoded.
    pub(super) fn file(&self) -> &Arc<Mp4File> {
        &self.file
    }

    /// Feeds the decoder until a picture is there or nothing is left.
    fn decode_until_ready(&mut self) {
        while self.ready.is_empty() && !self.at_end {
            match self.reader.next() {
                Ok(Some((shown_at, data))) => {
                    self.waiting.push(Reverse(shown_at));
                    match self.decoder.decode(data) {
                        Ok(Some(picture)) => {
                            let picture =
                                Converted::from(&picture, self.file.color, &mut self.spares);
                            self.push(picture);
                        }
                        Ok(None) => {}
                        Err(error) => {
                            // It gives no picture, so its time must not be handed to another.
                            self.waiting.retain(|t| t.0 != shown_at);
                            self.leave_out(&format!("a picture cannot be decoded: {error}"));
                        }
                    }
                }
                Ok(None) => self.finish(None),
                Err(detail) => self.leave_out(&detail),
            }
        }
    }

    /// The picture that was read last is of no use: those up to the next key picture lean on
    /// it and are left out as well; what comes after is good again.
    fn leave_out(&mut self, why: &str) {
        let at_s = self.file.shown_at_s(self.reader.last());
        let fault = format!("at {at_s:.1} s {why}");
        // What the decoder held belongs to those before.
        if self.reader.skip_to_key() && self.reset_decoder() {
            self.broken.get_or_insert(fault);
        } else {
            self.finish(Some(fault));
        }
    }

    /// Begins decoding anew, after taking what the decoder still holds.
    fn reset_decoder(&mut self) -> bool {
        if let Ok(pictures) = self.decoder.flush_remaining() {
            let pictures: Vec<_> = pictures
                .iter()
                .map(|p| Converted::from(p, self.file.color, &mut self.spares))
                .collect();
            pictures.into_iter().for_each(|p| self.push(p));
        }
        self.waiting.clear();
        match new_decoder() {
            Ok(decoder) => {
                self.decoder = decoder;
                true
            }
            Err(_) => false,
        }
    }

    /// Takes what the decoder still holds, then ends.
    fn finish(&mut self, fault: Option<String>) {
        self.at_end = true;
        match self.decoder.flush_remaining() {
            Ok(pictures) => {
                let pictures: Vec<_> = pictures
                    .iter()
                    .map(|p| Converted::from(p, self.file.color, &mut self.spares))
                    .collect();
                pictures.into_iter().for_each(|p| self.push(p));
            }
            Err(error) => {
                tracing::debug!(
                    "'{}': flushing the decoder: {error}",
                    self.file.path.display()
                )
            }
        }
        let expected = self.info.frame_count.unwrap_or(0);
        self.fault = self.broken.take().or(fault).or_else(|| {
            (self.decoded < expected).then(|| {
                format!(
                    "{} of {expected} pictures cannot be decoded",
                    expected - self.decoded
                )
            })
        });
    }

    fn push(&mut self, picture: Converted) {
        let (width, rgb) =
            self.file
                .shape
                .apply(picture.rgb, picture.width, picture.height, &mut self.spares);
        let (width, height, rgb) =
            self.file
                .turn
                .apply(rgb, width, picture.height, &mut self.spares);
        let (width, height) = (width as u32, height as u32);
        let Some(Reverse(shown_at)) = self.waiting.pop() else {
            tracing::warn!(
                "'{}': the decoder gave one picture too many",
                self.file.path.display()
            );
            return;
        };
        if self.info.width != 0 && (width, height) != (self.info.width, self.info.height) {
            self.size_fault.get_or_insert((width, height));
            self.at_end = true;
        }
        if self.size_fault.is_some() {
            return;
        }
        // Two samples with one time: the later one is moved on by as little
        // as the container can say, so that time rises.
        let timescale = self.file.timescale as f64;
        let time_s = (shown_at as f64 / timescale).max(self.last_time_s + 1.0 / timescale);
        self.last_time_s = time_s;
        self.ready.push_back(Frame {
            seq: self.decoded,
            captured_at_s: time_s,
            width,
            height,
            rgb,
        });
        self.decoded += 1;
    }
}

impl Source for Mp4Source {
    fn info(&self) -> &SourceInfo {
        &self.info
    }

    fn next_frame(&mut self) -> Result<Option<Frame>, CaptureError> {
        self.decode_until_ready();
        if let Some(frame) = self.ready.pop_front() {
            self.delivered += 1;
            return Ok(Some(frame));
        }
        if let Some((width, height)) = self.size_fault.take() {
            self.fault = None;
            return Err(CaptureError::SizeChanged {
                path: self.file.path.clone(),
                width,
                height,
                first_width: self.info.width,
                first_height: self.info.height,
            });
        }
        match self.fault.take() {
            Some(detail) => Err(CaptureError::Damaged {
                path: self.file.path.clone(),
                delivered: self.delivered,
                detail,
            }),
            None => Ok(None),
        }
    }

    fn reuse(&mut self, buffer: Vec<u8>) {
        self.spares.give(buffer);
    }
}

/// A decoder that gives pictures when it has them.
pub(super) fn new_decoder() -> Result<Decoder, openh264::Error> {
    let config = DecoderConfig::new().flush_after_decode(Flush::NoFlush);
    Decoder::with_api_config(OpenH264API::from_source(), config)
}

/// A decoded picture in RGB, free of the decoder's memory.
struct Converted {
    width: usize,
    height: usize,
    rgb: Vec<u8>,
}

impl Converted {
    fn from(picture: &DecodedYUV<'_>, color: ColorSpace, spares: &mut Spares) -> Self {
        let (width, height) = picture.dimensions();
        let mut rgb = spares.take(width * height * 3);
        if color == ColorSpace::default() {
            // OpenH264's own conversion knows just this colour space, and
            // does it with SIMD.
            picture.write_rgb8(&mut rgb);
        } else {
            let (y_stride, uv_stride, _) = picture.strides();
            let planes = Planes {
                y: picture.y(),
                u: picture.u(),
                v: picture.v(),
                y_stride,
                uv_stride,
            };
            yuv420_to_rgb(&planes, width, height, color, &mut rgb);
        }
        Self { width, height, rgb }
    }
}
