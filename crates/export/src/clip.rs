//! The clip and the still of one flagged push, from its strip of pictures.
//!
//! First as fast as it was, then slowly with the flagged instant standing
//! still. Only the surroundings of the skater are shown: who else was in the
//! picture is no part of it.

use fast_image_resize::images::{Image, ImageRef};
use fast_image_resize::{FilterType, PixelType, ResizeAlg, ResizeOptions, Resizer};
use image::RgbImage;

use super::draw::{self, Px};
use super::skeleton::{Drawing, Shown, place_px};
use super::video::{Mp4, VideoError};
use crate::display::{OverlayInk, PlatePress};
use crate::store::PictureStrip;
use crate::stride::Curves;

/// How much slower the second part is; as on the big screen.
const SLOWER: f64 = 2.5;
/// How long the flagged instant stands still, seconds.
const HOLD_S: f64 = 1.5;
/// Height of what is shown, in heights of the body.
const ROOM_AROUND_BODY: f64 = 1.7;
/// Pictures of one strip at most: what is around one push is far less.
const MOST_SHOTS: usize = 240;
/// Fewer good pictures than this are no clip.
const LEAST_SHOTS: usize = 3;
/// Longest time one picture is shown in the fast part: a hole in the strip
/// is not waited out.
const LONGEST_STEP_S: f64 = 0.2;
/// Longest side of the clip, pixels.
const LONGEST_SIDE: u32 = 1280;

/// What a clip says, in the language of the export.
pub struct Captions {
    /// Over the first part.
    pub real_time: String,
    /// Over the second part.
    pub slow: String,
    /// Value and limit.
    pub numbers: String,
}

/// A clip and its still, as the bytes of their files.
pub struct ClipFiles {
    /// MP4.
    pub mp4: Vec<u8>,
    /// PNG.
    pub png: Vec<u8>,
}

/// Why there is no clip.
#[derive(Debug, thiserror::Error)]
pub enum ClipError {
    /// The pictures cannot be read.
    #[error("its pictures are damaged: only {good} of {all} can be read")]
    Damaged {
        /// Readable ones.
        good: usize,
        /// All of the strip.
        all: usize,
    },
    /// The video could not be made.
    #[error(transparent)]
    Video(#[from] VideoError),
    /// The still could not be made.
    #[error("the still could not be written as PNG: {0}")]
    Still(image::ImageError),
}

/// Makes clips; keeps what all of them need.
#[derive(Default)]
pub struct ClipMaker {
    press: PlatePress,
    resizer: Resizer,
}

impl ClipMaker {
    /// Makes both files. Without `curves` nothing is drawn over the pictures
    /// but the numbers.
    pub fn make(
        &mut self,
        strip: &PictureStrip,
        curves: Option<&Curves>,
        shown: Shown,
        captions: &Captions,
    ) -> Result<ClipFiles, ClipError> {
        let shots: Vec<(f64, RgbImage)> = strip
            .shots
            .iter()
            .take(MOST_SHOTS)
            .filter(|shot| shot.captured_at_s.is_finite())
            .filter_map(|shot| {
                let picture = decode(&shot.jpeg, strip.size_px)?;
                let drawn = self.draw(&picture, shot.captured_at_s, strip, curves, shown);
                Some((shot.captured_at_s, drawn))
            })
            .collect();
        let instant = shots
            .iter()
            .enumerate()
            .min_by(|(_, a), (_, b)| {
                let off = |t: f64| (t - shown.flagged_at_s).abs();
                off(a.0).total_cmp(&off(b.0))
            })
            .map(|(i, _)| i);
        let (Some(instant), true) = (instant, shots.len() >= LEAST_SHOTS) else {
            return Err(ClipError::Damaged {
                good: shots.len(),
                all: strip.shots.len(),
            });
        };
        let (width, height) = shots[0].1.dimensions();
        let cap = (height as f32 * 0.042).max(9.0);
        let numbers = self.press.line(&captions.numbers, cap);
        let label = |press: &mut PlatePress, text: &str| press.line(text, 0.75 * cap);
        let labels = [
            label(&mut self.press, &captions.real_time),
            label(&mut self.press, &captions.slow),
        ];
        let with = |picture: &RgbImage, label: &RgbImage| {
            let mut picture = picture.clone();
            draw::lay(&mut picture, label, 0, 0);
            let y = i64::from(height) - i64::from(numbers.height());
            draw::lay(&mut picture, &numbers, 0, y);
            picture
        };
        let step_s = |i: usize| {
            let next = shots.get(i + 1).map(|(t, _)| *t);
            let usual = shots[shots.len() - 1].0 - shots[shots.len() - 2].0;
            (next.map_or(usual, |next| next - shots[i].0)).clamp(0.005, LONGEST_STEP_S)
        };
        let mut video = Mp4::new(width, height)?;
        for (i, (_, picture)) in shots.iter().enumerate() {
            video.push(&with(picture, &labels[0]), step_s(i))?;
        }
        video.begin_part();
        for (i, (_, picture)) in shots.iter().enumerate() {
            let hold_s = if i == instant { HOLD_S } else { 0.0 };
            video.push(&with(picture, &labels[1]), step_s(i) * SLOWER + hold_s)?;
        }
        let mut png = std::io::Cursor::new(Vec::new());
        let mut still = shots[instant].1.clone();
        draw::lay(
            &mut still,
            &numbers,
            0,
            i64::from(height) - i64::from(numbers.height()),
        );
        still
            .write_to(&mut png, image::ImageFormat::Png)
            .map_err(ClipError::Still)?;
        Ok(ClipFiles {
            mp4: video.into_bytes()?,
            png: png.into_inner(),
        })
    }

    /// The surroundings of the skater with everything drawn over them.
    fn draw(
        &mut self,
        picture: &RgbImage,
        t_s: f64,
        strip: &PictureStrip,
        curves: Option<&Curves>,
        shown: Shown,
    ) -> RgbImage {
        let cut = Cut::about(picture, t_s, strip, curves, shown.flagged_at_s);
        let mut out = self.cut_out(picture, &cut);
        let Some(curves) = curves else { return out };
        let drawing = Drawing::at(curves, t_s, shown);
        let place = |p: [f64; 2]| cut.place(p);
        let inks = OverlayInk::of_the_screen();
        let width = (inks.width * out.height() as f32).max(1.5);
        for (widen, colour) in [(2.0, inks.edge), (1.0, inks.body)] {
            for bone in &drawing.bones {
                draw::line(&mut out, bone.map(place), width * widen, colour);
            }
        }
        for (widen, colour) in [(3.0, inks.edge), (2.0, inks.mark)] {
            for pair in drawing.mark.windows(2) {
                draw::line(
                    &mut out,
                    [place(pair[0]), place(pair[1])],
                    width * widen,
                    colour,
                );
            }
        }
        // Last, so that a limit close to the value is seen over it.
        if let Some(limit) = drawing.limit {
            draw::dashes(&mut out, limit.map(place), 3.0 * width, inks.edge);
            draw::dashes(&mut out, limit.map(place), 1.6 * width, inks.limit);
        }
        out
    }

    fn cut_out(&mut self, picture: &RgbImage, cut: &Cut) -> RgbImage {
        let whole = || picture.clone();
        let Ok(from) = ImageRef::new(
            picture.width(),
            picture.height(),
            picture.as_raw(),
            PixelType::U8x3,
        ) else {
            return whole();
        };
        let [w, h] = cut.out_px;
        let mut to = Image::new(w, h, PixelType::U8x3);
        let options = ResizeOptions::new()
            .resize_alg(ResizeAlg::Convolution(FilterType::Bilinear))
            .crop(cut.left, cut.top, cut.width, cut.height);
        match self.resizer.resize(&from, &mut to, &options) {
            Ok(()) => RgbImage::from_raw(w, h, to.into_vec()).unwrap_or_else(whole),
            Err(_) => whole(),
        }
    }
}

/// The part of a picture that is shown, in pixels of the picture.
struct Cut {
    left: f64,
    top: f64,
    width: f64,
    height: f64,
    out_px: [u32; 2],
    /// Picture pixels in a pixel of the camera's frame.
    scale: [f64; 2],
}

impl Cut {
    fn about(
        picture: &RgbImage,
        t_s: f64,
        strip: &PictureStrip,
        curves: Option<&Curves>,
        flagged_at_s: f64,
    ) -> Self {
        let size = [picture.width(), picture.height()].map(f64::from);
        let frame = strip.frame_px.map(|side| f64::from(side.max(1)));
        let scale = [size[0] / frame[0], size[1] / frame[1]];
        // One size for the whole clip, from the flagged instant.
        let share = curves
            .and_then(|c| place_px(c, flagged_at_s))
            .map_or(1.0, |(_, height)| {
                (ROOM_AROUND_BODY * height / frame[1]).clamp(0.1, 1.0)
            });
        let middle = curves
            .and_then(|c| place_px(c, t_s))
            .map_or([0.5 * size[0], 0.5 * size[1]], |(hips, _)| {
                [hips[0] * scale[0], hips[1] * scale[1]]
            });
        let (width, height) = (share * size[0], share * size[1]);
        let side = picture.width().max(picture.height());
        let shrink = f64::from(LONGEST_SIDE.min(side)) / f64::from(side);
        Cut {
            left: (middle[0] - width / 2.0).clamp(0.0, size[0] - width),
            top: (middle[1] - height / 2.0).clamp(0.0, size[1] - height),
            width,
            height,
            out_px: size.map(|s| ((s * shrink) as u32 & !1).max(2)),
            scale,
        }
    }

    /// A point of the camera's frame in the shown part, pixels of the clip.
    fn place(&self, [x, y]: [f64; 2]) -> Px {
        let [w, h] = self.out_px.map(f64::from);
        [
            ((x * self.scale[0] - self.left) / self.width * w) as f32,
            ((y * self.scale[1] - self.top) / self.height * h) as f32,
        ]
    }
}

/// `None` where the bytes are no picture of the size the strip has.
fn decode(jpeg: &[u8], [width, height]: [u32; 2]) -> Option<RgbImage> {
    let mut reader =
        image::ImageReader::with_format(std::io::Cursor::new(jpeg), image::ImageFormat::Jpeg);
    let mut limits = image::Limits::default();
    limits.max_image_width = Some(width);
    limits.max_image_height = Some(height);
    reader.limits(limits);
    let picture = reader.decode().ok()?.into_rgb8();
    (picture.dimensions() == (width, height)).then_some(picture)
}
