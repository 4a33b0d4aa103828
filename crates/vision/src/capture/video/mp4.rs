//! MP4 with H.264, decoded in this process.
//!
//! Only the index is held in memory; coded pictures are read from the file
//! one at a time. Edit lists are not applied: a clip trimmed without
//! re-encoding shows the frames before its first cut as well.

mod index;
mod samples;

use std::cmp::Reverse;
use std::collections::{BinaryHeap, VecDeque};
use std::fs::File;
use std::io::{Seek, SeekFrom};
use std::path::{Path, PathBuf};

use openh264::OpenH264API;
use openh264::decoder::{DecodedYUV, Decoder, DecoderConfig, Flush};
use openh264::formats::YUVSource;
use re_mp4::StsdBoxContent;

use super::pixel_shape::PixelShape;
use super::rotate::Turn;
use super::sps::Sps;
use super::{boxes, ffmpeg};
use crate::capture::color::{ColorSpace, Planes, yuv420_to_rgb};
use crate::capture::source::file_name;
use crate::capture::spare::Spares;
use crate::capture::{CaptureError, Frame, Source, SourceInfo, SourceKind};
use index::{average_fps, codec_name, is_picture_track, parse_index, shown_shape};
use samples::{START_CODE, SampleReader};

/// The result of looking into a file.
pub(super) enum Opened {
    /// It is read here.
    Here(Box<dyn Source>),
    /// Only ffmpeg can read it.
    Foreign {
        /// What is in it, in words.
        codec: String,
    },
}

/// A file being decoded.
pub(super) struct Mp4Source {
    path: PathBuf,
    info: SourceInfo,
    reader: SampleReader,
    decoder: Decoder,
    color: ColorSpace,
    shape: PixelShape,
    turn: Turn,
    timescale: f64,
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
        let unreadable = |source| CaptureError::Unreadable {
            path: path.to_owned(),
            source,
        };
        let damaged = |detail: String| CaptureError::Damaged {
            path: path.to_owned(),
            delivered: 0,
            detail,
        };
        let mut file = File::open(path).map_err(unreadable)?;
        let layout = boxes::scan(&mut file).map_err(unreadable)?;
        if !layout.has_index {
            return Err(damaged(
                "its index is missing; the recording or the copy broke off".into(),
            ));
        }
        file.seek(SeekFrom::Start(0)).map_err(unreadable)?;
        let mp4 = parse_index(&file, &layout).map_err(damaged)?;

        let Some(track) = mp4.tracks().values().find(|t| is_picture_track(&mp4, t)) else {
            return Err(CaptureError::NotAVideo {
                path: path.to_owned(),
                detail: "it has no picture track".into(),
            });
        };
        let trak = track.trak(&mp4);
        let avcc = match &trak.mdia.minf.stbl.stsd.contents {
            StsdBoxContent::Avc1(avc1) => &avc1.avcc.contents,
            other => {
                return Ok(Opened::Foreign {
                    codec: codec_name(other),
                });
            }
        };
        let sps = avcc
            .sequence_parameter_sets
            .first()
            .and_then(|nal| Sps::parse(&nal.bytes));
        let color = match sps {
            Some(sps) if sps.is_supported() => sps.color,
            _ => {
                return Ok(Opened::Foreign {
                    codec: "H.264 video of a kind the built-in decoder cannot read".into(),
                });
            }
        };
        if track.samples.is_empty() || track.timescale == 0 {
            return Err(damaged("its index lists no pictures".into()));
        }

        let mut parameter_sets = Vec::new();
        for nal in avcc
            .sequence_parameter_sets
            .iter()
            .chain(&avcc.picture_parameter_sets)
        {
            parameter_sets.extend(START_CODE);
            parameter_sets.extend(&nal.bytes);
        }
        let mut reader = SampleReader {
            file,
            file_len: layout.file_len,
            samples: track.samples.clone(),
            next: 0,
            length_bytes: usize::from(avcc.length_size_minus_one & 3) + 1,
            parameter_sets,
            coded: Vec::new(),
            annex_b: Vec::new(),
        };
        let shape = boxes::pixel_shape(&mut reader.file, &layout)
            .map_err(unreadable)?
            .or_else(|| shown_shape(trak))
            .or(sps.and_then(|sps| sps.shape))
            .unwrap_or_default()
            .checked(path)?;
        let matrix = &trak.tkhd.matrix;
        let config = DecoderConfig::new().flush_after_decode(Flush::NoFlush);
        let decoder =
            Decoder::with_api_config(OpenH264API::from_source(), config).map_err(|error| {
                CaptureError::Decoder {
                    detail: error.to_string(),
                }
            })?;
        let mut source = Self {
            path: path.to_owned(),
            info: SourceInfo {
                name: file_name(path),
                kind: SourceKind::Video,
                width: 0,
                height: 0,
                nominal_fps: average_fps(&track.samples, track.timescale),
                frame_count: Some(track.samples.len() as u64),
                skipped: 0,
            },
            reader,
            decoder,
            color,
            shape,
            turn: Turn::from_matrix(matrix.a, matrix.b, matrix.c, matrix.d),
            timescale: track.timescale as f64,
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
        };
        source.decode_until_ready();
        match source.ready.front() {
            Some(first) => (source.info.width, source.info.height) = (first.width, first.height),
            // The decoder may have met a tool it does not know; a second
            // opinion costs nothing where ffmpeg is there.
            None if !layout.cut_off && ffmpeg::is_installed() => {
                return Ok(Opened::Foreign {
                    codec: "H.264 video the built-in decoder cannot read".into(),
                });
            }
            None => {
                let detail = source
                    .fault
                    .take()
                    .unwrap_or_else(|| "no picture in it can be decoded".into());
                return Err(damaged(detail));
            }
        }
        Ok(Opened::Here(Box::new(source)))
    }

    /// Feeds the decoder until a picture is there or nothing is left.
    fn decode_until_ready(&mut self) {
        while self.ready.is_empty() && !self.at_end {
            match self.reader.next() {
                Ok(Some((shown_at, data))) => {
                    self.waiting.push(Reverse(shown_at));
                    match self.decoder.decode(data) {
                        Ok(Some(picture)) => {
                            let picture = Converted::from(&picture, self.color, &mut self.spares);
                            self.push(picture);
                        }
                        Ok(None) => {}
                        Err(error) => self.leave_out(shown_at, &error.to_string()),
                    }
                }
                Ok(None) => self.finish(None),
                Err(detail) => self.finish(Some(detail)),
            }
        }
    }

    /// A picture cannot be decoded: those up to the next key picture lean on it and are
    /// left out as well; what comes after is good again.
    fn leave_out(&mut self, shown_at: i64, why: &str) {
        // This sample gives no picture, so its time must not be handed to another one.
        self.waiting.retain(|t| t.0 != shown_at);
        let fault = format!(
            "a picture cannot be decoded at {:.1} s: {why}",
            shown_at as f64 / self.timescale
        );
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
                .map(|p| Converted::from(p, self.color, &mut self.spares))
                .collect();
            pictures.into_iter().for_each(|p| self.push(p));
        }
        self.waiting.clear();
        let config = DecoderConfig::new().flush_after_decode(Flush::NoFlush);
        match Decoder::with_api_config(OpenH264API::from_source(), config) {
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
                    .map(|p| Converted::from(p, self.color, &mut self.spares))
                    .collect();
                pictures.into_iter().for_each(|p| self.push(p));
            }
            Err(error) => {
                tracing::debug!("'{}': flushing the decoder: {error}", self.path.display())
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
            self.shape
                .apply(picture.rgb, picture.width, picture.height, &mut self.spares);
        let (width, height, rgb) = self
            .turn
            .apply(rgb, width, picture.height, &mut self.spares);
        let (width, height) = (width as u32, height as u32);
        let Some(Reverse(shown_at)) = self.waiting.pop() else {
            tracing::warn!(
                "'{}': the decoder gave one picture too many",
                self.path.display()
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
        let time_s =
            (shown_at as f64 / self.timescale).max(self.last_time_s + 1.0 / self.timescale);
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
                path: self.path.clone(),
                width,
                height,
                first_width: self.info.width,
                first_height: self.info.height,
            });
        }
        match self.fault.take() {
            Some(detail) => Err(CaptureError::Damaged {
                path: self.path.clone(),
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
