//! What the index of a file says.

use std::fs::File;
use std::io::BufReader;
use std::panic::{AssertUnwindSafe, catch_unwind};

use re_mp4::{Mp4, Sample, StsdBoxContent, TrackKind};

use super::super::boxes;
use super::super::pixel_shape::PixelShape;

/// What re_mp4 may read of an index more than its length, bytes: heads of the
/// boxes that hold the pictures.
const BESIDES_INDEX: u64 = 64 * 1024;

pub(super) fn parse_index(file: &File, layout: &boxes::Layout) -> Result<Mp4, String> {
    let reader = boxes::AtMost {
        reader: BufReader::new(file),
        bytes_left: layout.index_len + BESIDES_INDEX,
    };
    // re_mp4 indexes its tables unchecked in places, so a damaged index can
    // make it panic; that must end this file and not the program.
    catch_unwind(AssertUnwindSafe(|| Mp4::read(reader, layout.complete_end)))
        .map_err(|_| "its index contradicts itself".to_owned())?
        .map_err(|error| format!("its index cannot be read: {error}"))
}

pub(super) fn is_picture_track(mp4: &Mp4, track: &re_mp4::Track) -> bool {
    track.kind == Some(TrackKind::Video)
        || (track.kind.is_none() && track.trak(mp4).mdia.minf.vmhd.is_some())
}

/// The shape of the pixels from the size a track is shown at, where that is another
/// one than it has.
pub(super) fn shown_shape(trak: &re_mp4::TrakBox) -> Option<PixelShape> {
    let StsdBoxContent::Avc1(avc1) = &trak.mdia.minf.stbl.stsd.contents else {
        return None;
    };
    let (shown_w, shown_h) = (
        f64::from(trak.tkhd.width.value()),
        f64::from(trak.tkhd.height.value()),
    );
    let (w, h) = (f64::from(avc1.width), f64::from(avc1.height));
    if (shown_w, shown_h) == (w, h) {
        return None;
    }
    PixelShape::of(shown_w * h, w * shown_h)
}

pub(super) fn codec_name(content: &StsdBoxContent) -> String {
    match content {
        StsdBoxContent::Hvc1(_) | StsdBoxContent::Hev1(_) => "HEVC (H.265) video".into(),
        StsdBoxContent::Av01(_) => "AV1 video".into(),
        StsdBoxContent::Vp08(_) => "VP8 video".into(),
        StsdBoxContent::Vp09(_) => "VP9 video".into(),
        _ => "a video format this program does not know".into(),
    }
}

/// Frames per second over the whole track.
pub(super) fn average_fps(samples: &[Sample], timescale: u64) -> Option<f64> {
    let first = samples.iter().map(|s| s.composition_timestamp).min()?;
    let last = samples.iter().map(|s| s.composition_timestamp).max()?;
    let span = last.checked_sub(first).filter(|span| *span > 0)?;
    Some((samples.len() - 1) as f64 * timescale as f64 / span as f64)
}
