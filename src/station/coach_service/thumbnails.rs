//! Small pictures of the newest passes: the skater at a flagged instant.
//!
//! Takes: the recordings and the passes that are listed.
//! Gives: a picture for each of the newest, read once and kept.
//! Fails: never; a pass without pictures, or with such that cannot be read, has none.

use std::collections::HashMap;
use std::sync::Arc;

use image::imageops::{FilterType, crop_imm, resize};

use crate::body::bounds;
use crate::display::PreviewImage;
use crate::store::{Archive, PassKey, PictureStrip, StoreError, StoredPass, StripInfo};

/// So many passes have one.
const NEWEST: usize = 8;
/// Its height, pixels, and its width in heights.
const HIGH_PX: u32 = 180;
const WIDE: f32 = 1.0;
/// Room around the body, in heights of it.
const AROUND: f32 = 1.25;

/// The pictures read so far, by the strip they come from.
#[derive(Default)]
pub(super) struct Thumbnails(HashMap<i64, Option<Arc<PreviewImage>>>);

impl Thumbnails {
    /// Reads what is not read yet of the newest passes, and forgets the others.
    pub(super) fn take<'a>(
        &mut self,
        archive: &Archive,
        session: i64,
        newest: impl Iterator<Item = &'a StoredPass>,
    ) {
        let wanted: Vec<(u32, &StripInfo)> = newest
            .take(NEWEST)
            .filter_map(|pass| Some((pass.number, strip_of(pass)?)))
            .collect();
        self.0
            .retain(|id, _| wanted.iter().any(|(_, s)| s.id == *id));
        for (number, info) in wanted {
            if self.0.contains_key(&info.id) {
                continue;
            }
            // What cannot be read now is tried again with the next list.
            if let Ok(picture) = read(archive, PassKey { session, number }, info.id) {
                self.0.insert(info.id, picture);
            }
        }
    }

    /// The picture of a pass.
    pub(super) fn of(&self, pass: &StoredPass) -> Option<Arc<PreviewImage>> {
        self.0.get(&strip_of(pass)?.id)?.clone()
    }
}

/// The strip a pass is known by: its first.
fn strip_of(pass: &StoredPass) -> Option<&StripInfo> {
    pass.strips.iter().min_by_key(|s| (s.push, s.id))
}

/// The small picture of a strip of a pass; `None` where its picture is none.
fn read(
    archive: &Archive,
    key: PassKey,
    strip: i64,
) -> Result<Option<Arc<PreviewImage>>, StoreError> {
    let strip = archive.strip(strip)?;
    Ok(picture(&strip, body(archive, key, strip.flagged_at_s)))
}

/// Where the body was at a time: left, top, right and bottom, pixels of the frame.
fn body(archive: &Archive, key: PassKey, at_s: f64) -> Option<[f32; 4]> {
    let pass = archive.points(key).ok()??;
    let off = |t_s: f64| (t_s - at_s).abs();
    let nearest = pass
        .samples
        .iter()
        .min_by(|a, b| off(a.t_s).total_cmp(&off(b.t_s)))?;
    Some(bounds(&nearest.points)).filter(|b| b.iter().all(|v| v.is_finite()))
}

/// The picture nearest to the flagged instant, around the body where it is known.
fn picture(strip: &PictureStrip, body: Option<[f32; 4]>) -> Option<Arc<PreviewImage>> {
    let off = |at_s: f64| (at_s - strip.flagged_at_s).abs();
    let shot = strip
        .shots
        .iter()
        .min_by(|a, b| off(a.captured_at_s).total_cmp(&off(b.captured_at_s)))?;
    let whole = image::load_from_memory_with_format(&shot.jpeg, image::ImageFormat::Jpeg)
        .ok()?
        .into_rgb8();
    let (w, h) = whole.dimensions();
    let scale = w as f32 / strip.frame_px[0].max(1) as f32;
    let [left, top, right, bottom] = body
        .map(|b| b.map(|v| v * scale))
        .unwrap_or([0.0, 0.0, w as f32, h as f32]);
    // A window of the same shape for everybody, within the picture.
    let high = (AROUND * (bottom - top).max((right - left) / WIDE)).clamp(16.0, h as f32);
    let wide = (high * WIDE).min(w as f32);
    let from = |middle: f32, long: f32, all: u32| {
        (middle - long / 2.0).clamp(0.0, (all as f32 - long).max(0.0))
    };
    let x = from((left + right) / 2.0, wide, w);
    let y = from((top + bottom) / 2.0, high, h);
    let part = crop_imm(&whole, x as u32, y as u32, wide as u32, high as u32).to_image();
    let width = (HIGH_PX as f32 * wide / high).round().max(1.0) as u32;
    let small = resize(&part, width, HIGH_PX, FilterType::Triangle);
    PreviewImage::from_rgb(width, HIGH_PX, small.as_raw(), width.max(HIGH_PX)).map(Arc::new)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::RuleId;
    use crate::store::Shot;

    /// A grey picture with a red body in it.
    fn strip() -> PictureStrip {
        let mut picture = image::RgbImage::from_pixel(640, 360, image::Rgb([120; 3]));
        for y in 150..250 {
            for x in 480..520 {
                picture.put_pixel(x, y, image::Rgb([230, 20, 20]));
            }
        }
        let mut jpeg = Vec::new();
        let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 95);
        encoder.encode_image(&picture).unwrap();
        PictureStrip {
            push: 0,
            rule: RuleId::KneeBend,
            flagged_at_s: 2.0,
            size_px: [640, 360],
            frame_px: [1280, 720],
            faces_blurred: true,
            shots: vec![Shot {
                captured_at_s: 2.01,
                jpeg,
            }],
        }
    }

    fn red(picture: &PreviewImage) -> f32 {
        let bytes = picture.rgb().chunks_exact(3);
        let all = bytes.len() as f32;
        bytes.filter(|p| p[0] > 180 && p[1] < 90).count() as f32 / all
    }

    #[test]
    fn the_skater_fills_the_small_picture_where_she_is_known() {
        let body = Some([960.0, 300.0, 1040.0, 500.0]);
        let near = picture(&strip(), body).unwrap();
        assert_eq!(near.size(), (180, 180));
        // 40 x 100 pixels of a window of 125 x 125.
        assert!((red(&near) - 0.256).abs() < 0.03, "{}", red(&near));
        let whole = picture(&strip(), None).unwrap();
        assert!(red(&whole) < 0.05);
        // At the edge the window stays within the picture.
        let edge = picture(&strip(), Some([1200.0, 600.0, 1300.0, 740.0])).unwrap();
        assert_eq!(edge.size(), (180, 180));
    }
}
