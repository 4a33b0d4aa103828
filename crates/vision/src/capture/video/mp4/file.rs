//! A file before any of it is decoded.

use std::fs::File;
use std::io::{Seek, SeekFrom};
use std::path::{Path, PathBuf};

use re_mp4::{Sample, StsdBoxContent};

use super::super::boxes;
use super::super::pixel_shape::PixelShape;
use super::super::rotate::Turn;
use super::super::sps::Sps;
use super::index::{codec_name, is_picture_track, parse_index, shown_shape};
use super::samples::START_CODE;
use crate::capture::CaptureError;
use crate::capture::color::ColorSpace;

/// The index of a file, and how its pictures are coded.
pub(in crate::capture::video) struct Mp4File {
    pub(in crate::capture::video) path: PathBuf,
    pub(super) file_len: u64,
    /// Parts of the file are missing.
    pub(super) cut_off: bool,
    pub(in crate::capture::video) samples: Vec<Sample>,
    pub(super) length_bytes: usize,
    pub(super) parameter_sets: Vec<u8>,
    pub(super) color: ColorSpace,
    pub(super) shape: PixelShape,
    pub(super) turn: Turn,
    /// Units of a second.
    pub(in crate::capture::video) timescale: u64,
}

/// What looking into a file found.
pub(super) enum Indexed {
    /// It is read here.
    Here(Mp4File),
    /// Only ffmpeg can read it.
    Foreign { codec: String },
}

impl Mp4File {
    /// Reads the index.
    pub(super) fn open(path: &Path) -> Result<Indexed, CaptureError> {
        let unreadable = |source| CaptureError::Unreadable {
            path: path.to_owned(),
            source,
        };
        let damaged = |detail: String| damaged(path, detail);
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
                return Ok(Indexed::Foreign {
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
                return Ok(Indexed::Foreign {
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
        let shape = boxes::pixel_shape(&mut file, &layout)
            .map_err(unreadable)?
            .or_else(|| shown_shape(trak))
            .or(sps.and_then(|sps| sps.shape))
            .unwrap_or_default()
            .checked(path)?;
        let matrix = &trak.tkhd.matrix;
        Ok(Indexed::Here(Mp4File {
            path: path.to_owned(),
            file_len: layout.file_len,
            cut_off: layout.cut_off,
            samples: track.samples.clone(),
            length_bytes: usize::from(avcc.length_size_minus_one & 3) + 1,
            parameter_sets,
            color,
            shape,
            turn: Turn::from_matrix(matrix.a, matrix.b, matrix.c, matrix.d),
            timescale: track.timescale,
        }))
    }

    /// When a sample is shown, seconds.
    pub(in crate::capture::video) fn shown_at_s(&self, sample: usize) -> f64 {
        self.samples.get(sample).map_or(f64::INFINITY, |s| {
            s.composition_timestamp as f64 / self.timescale as f64
        })
    }

    pub(super) fn damaged(&self, detail: String) -> CaptureError {
        damaged(&self.path, detail)
    }
}

fn damaged(path: &Path, detail: String) -> CaptureError {
    CaptureError::Damaged {
        path: path.to_owned(),
        delivered: 0,
        detail,
    }
}
