//! Camera pictures to RGB.

use std::borrow::Cow;

use nokhwa::Buffer;
use nokhwa::utils::FrameFormat;
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::super::Frame;
use super::super::color::yuyv_to_rgb;
use super::super::spare::Spares;

/// After this many pictures that only read leniently, the camera is taken to
/// bend the JPEG rules, rather than its pictures to be damaged.
const LENIENT_AFTER: u32 = 15;

/// No picture of a camera the settings can ask for is larger. A damaged header
/// must not make the decoder ask for hundreds of megabytes.
const LONGEST_SIDE: usize = 4096;

/// RGB rows and their size.
#[derive(Debug, PartialEq)]
pub(in crate::capture) struct Pixels {
    pub width: u32,
    pub height: u32,
    pub rgb: Vec<u8>,
}

impl Pixels {
    /// Adds when it was taken.
    pub(in crate::capture) fn into_frame(self, seq: u64, captured_at_s: f64) -> Frame {
        Frame {
            seq,
            captured_at_s,
            width: self.width,
            height: self.height,
            rgb: self.rgb,
        }
    }
}

/// Reads the pictures of one session.
///
/// JPEGs are read strictly: a picture cut short on the cable would otherwise
/// come out half grey and count as a good one.
#[derive(Debug, Default)]
pub(in crate::capture) struct PictureReader {
    strict_reads: u64,
    lenient_in_a_row: u32,
    spares: Spares,
}

impl PictureReader {
    /// Takes back the buffer of a picture for one to come.
    pub(in crate::capture) fn reuse(&mut self, buffer: Vec<u8>) {
        self.spares.give(buffer);
    }

    /// Converts one picture; the error says why it was left out.
    pub(in crate::capture) fn read(&mut self, buffer: &Buffer) -> Result<Pixels, String> {
        let size = buffer.resolution();
        match buffer.source_frame_format() {
            FrameFormat::MJPEG => self.read_jpeg(buffer.buffer()),
            FrameFormat::YUYV => yuyv_to_rgb(
                buffer.buffer(),
                size.width() as usize,
                size.height() as usize,
                &mut self.spares,
            )
            .map(|rgb| Pixels {
                width: size.width(),
                height: size.height(),
                rgb,
            })
            .ok_or_else(|| {
                format!(
                    "{} bytes are no YUYV picture of {size}",
                    buffer.buffer().len()
                )
            }),
            other => Err(format!("pictures in {other} cannot be read")),
        }
    }

    fn read_jpeg(&mut self, jpeg: &[u8]) -> Result<Pixels, String> {
        let jpeg = with_huffman_tables(jpeg);
        let strict = if has_end(&jpeg) {
            decode_jpeg(&jpeg, true, &mut self.spares)
        } else {
            Err("it breaks off".to_owned())
        };
        let error = match strict {
            Ok(pixels) => {
                self.strict_reads += 1;
                return Ok(pixels);
            }
            Err(error) => error,
        };
        if self.strict_reads > 0 {
            return Err(error);
        }
        let pixels = decode_jpeg(&jpeg, false, &mut self.spares)?;
        self.lenient_in_a_row += 1;
        if self.lenient_in_a_row < LENIENT_AFTER {
            Err(error)
        } else {
            Ok(pixels)
        }
    }
}

/// Reads one JPEG picture as a camera's is read: for tests and for fuzzing.
/// The error says why a picture like this would be left out.
#[doc(hidden)]
pub fn read_camera_jpeg(jpeg: &[u8]) -> Result<Frame, String> {
    let pixels = PictureReader::default().read_jpeg(jpeg)?;
    Ok(pixels.into_frame(0, 0.0))
}

fn decode_jpeg(jpeg: &[u8], strict: bool, spares: &mut Spares) -> Result<Pixels, String> {
    let options = DecoderOptions::default()
        .set_max_width(LONGEST_SIDE)
        .set_max_height(LONGEST_SIDE)
        .jpeg_set_out_colorspace(ColorSpace::RGB)
        .set_strict_mode(strict);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(jpeg), options);
    let words = |error| format!("{error:?}");
    decoder.decode_headers().map_err(words)?;
    let info = decoder.info().ok_or("no size in it")?;
    let (width, height) = (u32::from(info.width), u32::from(info.height));
    let len = width as usize * height as usize * 3;
    if decoder.output_buffer_size() != Some(len) || len == 0 {
        return Err("its size does not add up".into());
    }
    let mut rgb = spares.take(len);
    if !strict {
        // Nothing of another picture may stay where this one breaks off.
        rgb.fill(0);
    }
    if let Err(error) = decoder.decode_into(&mut rgb) {
        spares.give(rgb);
        return Err(words(error));
    }
    Ok(Pixels { width, height, rgb })
}

/// Motion JPEG may leave out the Huffman tables, meaning the standard ones
/// (USB Video Class, MJPEG payload, 1.5, clause 3.3). The decoder fills them
/// in when the picture bears the mark of one from an AVI file.
fn with_huffman_tables(jpeg: &[u8]) -> Cow<'_, [u8]> {
    const AVI_MARK: [u8; 9] = *b"\xff\xe0\x00\x07AVI1\0";
    if !jpeg.starts_with(&[0xff, 0xd8]) || has_huffman_tables(jpeg) {
        return Cow::Borrowed(jpeg);
    }
    Cow::Owned([&jpeg[..2], &AVI_MARK, &jpeg[2..]].concat())
}

/// Whether the header holds a table (true also when it makes no sense: then
/// the decoder shall say so).
fn has_huffman_tables(jpeg: &[u8]) -> bool {
    !matches!(first_segment(jpeg, &[0xc4, 0xda]), Some((0xda, _)))
}

/// Whether the coded picture is followed by the mark of its end. A buffer is
/// longer than its picture, and what follows a cut may well decode: zeros
/// are valid code words.
fn has_end(jpeg: &[u8]) -> bool {
    let Some((_, scan)) = first_segment(jpeg, &[0xda]) else {
        return false;
    };
    let mut rest = &jpeg[scan..];
    while let Some(at) = rest.iter().position(|b| *b == 0xff) {
        match rest.get(at + 1) {
            Some(0xd9) => return true,
            Some(_) => rest = &rest[at + 1..],
            None => return false,
        }
    }
    false
}

/// Walks the header for the first segment with one of these markers; gives
/// the marker and where its content starts.
fn first_segment(jpeg: &[u8], markers: &[u8]) -> Option<(u8, usize)> {
    let mut at = 2;
    while let Some([0xff, marker, high, low]) = jpeg.get(at..at + 4) {
        if markers.contains(marker) {
            return Some((*marker, at + 4));
        }
        at += 2 + usize::from(u16::from_be_bytes([*high, *low]));
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{ExtendedColorType, ImageEncoder, codecs::jpeg::JpegEncoder};
    use nokhwa::utils::Resolution;

    fn picture() -> (Vec<u8>, Vec<u8>) {
        let rgb: Vec<u8> = (0..48usize * 64)
            .flat_map(|i| [(i % 64 * 4) as u8, (i / 64 * 5) as u8, 90])
            .collect();
        let mut jpeg = Vec::new();
        JpegEncoder::new_with_quality(&mut jpeg, 92)
            .write_image(&rgb, 64, 48, ExtendedColorType::Rgb8)
            .expect("encodes");
        (rgb, jpeg)
    }

    fn buffer(jpeg: &[u8]) -> Buffer {
        Buffer::new(Resolution::new(64, 48), jpeg, FrameFormat::MJPEG)
    }

    fn mean_error(a: &[u8], b: &[u8]) -> f64 {
        a.iter()
            .zip(b)
            .map(|(a, b)| f64::from(a.abs_diff(*b)))
            .sum::<f64>()
            / a.len() as f64
    }

    #[test]
    fn a_jpeg_comes_out_as_it_went_in() {
        let (rgb, mut jpeg) = picture();
        // A V4L2 buffer is longer than the picture in it.
        jpeg.resize(jpeg.len() + 5000, 0);
        let pixels = PictureReader::default()
            .read(&buffer(&jpeg))
            .expect("decodes");
        assert_eq!((pixels.width, pixels.height), (64, 48));
        let error = mean_error(&pixels.rgb, &rgb);
        assert!(error < 3.0, "mean error {error}");
    }

    #[test]
    fn left_out_huffman_tables_are_the_standard_ones() {
        // The encoder of `image` writes the standard tables.
        let (_, jpeg) = picture();
        let mut without = jpeg[..2].to_vec();
        let mut at = 2;
        while jpeg[at + 1] != 0xda {
            let length = 2 + usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]));
            if jpeg[at + 1] != 0xc4 {
                without.extend(&jpeg[at..at + length]);
            }
            at += length;
        }
        without.extend(&jpeg[at..]);
        assert!(
            without.len() + 200 < jpeg.len(),
            "tables were there and are out"
        );
        let whole = PictureReader::default()
            .read(&buffer(&jpeg))
            .expect("decodes");
        assert_eq!(
            PictureReader::default()
                .read(&buffer(&without))
                .expect("decodes"),
            whole
        );
    }

    #[test]
    fn a_picture_cut_short_is_left_out() {
        let (_, jpeg) = picture();
        let mut reader = PictureReader::default();
        for keep in [0, 1, 10, jpeg.len() / 2, jpeg.len() * 3 / 4] {
            let mut cut = jpeg[..keep].to_vec();
            cut.resize(jpeg.len() + 4000, 0);
            assert!(
                reader.read(&buffer(&cut)).is_err(),
                "{keep} bytes of {}",
                jpeg.len()
            );
        }
        assert!(reader.read(&buffer(&jpeg)).is_ok());
        for _ in 0..2 * LENIENT_AFTER {
            assert!(
                reader.read(&buffer(&jpeg[..jpeg.len() / 2])).is_err(),
                "stays strict once pictures were good"
            );
        }
    }

    #[test]
    fn formats_nobody_asked_for_are_refused() {
        let buffer = Buffer::new(Resolution::new(4, 2), &[0; 64], FrameFormat::NV12);
        assert!(PictureReader::default().read(&buffer).is_err());
        let buffer = Buffer::new(Resolution::new(4, 2), &[128; 10], FrameFormat::YUYV);
        assert!(PictureReader::default().read(&buffer).is_err());
    }
}
