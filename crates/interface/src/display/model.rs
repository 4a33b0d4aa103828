//! What the big screen shows, without any pixels or widgets.

use std::sync::Arc;

use super::appearance::Appearance;
use super::overlay::Overlay;
use super::people::People;
use crate::feedback::{Cue, CueKind, CueLeg, Good, SetSummary};
use crate::figure::Stance;
use crate::rules::{AgeGroup, NotJudged, RuleId};

/// Where the screen hangs.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ScreenGeometry {
    /// Height of the lit glass, metres. 0.62 is a 50-inch panel of 16:9
    /// lying on its long side: 50 in x 25.4 mm x 9 / sqrt(16^2 + 9^2).
    pub screen_height_m: f32,
    /// From the eyes of the farthest reader to the glass, metres.
    pub reading_distance_m: f32,
}

impl Default for ScreenGeometry {
    fn default() -> Self {
        ScreenGeometry {
            screen_height_m: 0.62,
            reading_distance_m: 10.0,
        }
    }
}

/// How the big screen is seen: both numbers set how large its letters are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScreenPlace {
    /// From how far it is read, metres.
    pub reading_distance_m: f64,
    /// Height of its visible picture, metres.
    pub height_m: f64,
}

impl Default for ScreenPlace {
    fn default() -> Self {
        let usual = ScreenGeometry::default();
        let metres = |v: f32| (f64::from(v) * 1000.0).round() / 1000.0;
        ScreenPlace {
            reading_distance_m: metres(usual.reading_distance_m),
            height_m: metres(usual.screen_height_m),
        }
    }
}

/// Something is wrong with the station itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fault {
    /// No camera is there; it is looked for.
    NoCamera,
    /// The camera is there but sends no new pictures.
    CameraSilent,
    /// The pose model or its engine cannot run.
    EngineStopped,
    /// Passes are judged and not stored: the disk is full or gone.
    NotRecording,
    /// The computer is too slow for what is asked of it: passes are not judged.
    TooSlow,
    /// Anything else, in a few plain words for the coach.
    Other(String),
}

/// What a cue says, without its numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CueOrder {
    /// The rule.
    pub rule: RuleId,
    /// Whether the value has to grow.
    pub more: bool,
    /// The side it is about.
    pub leg: CueLeg,
}

/// What is known of a cue beside its numbers. All of it may be missing: the figure
/// is then a standard skater, and the gauge has no doubt and no last time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CueDetail {
    /// The body at the flagged instant.
    pub stance: Option<Stance>,
    /// One standard deviation of the value, in the rule's unit.
    pub doubt: Option<f64>,
    /// What it was the last time, in the rule's unit.
    pub before: Option<f64>,
    /// The lower and the upper limit, in the rule's unit.
    pub zone: [Option<f64>; 2],
    /// The group the skater was judged as: numbers are shown from an age on.
    pub age_group: Option<AgeGroup>,
}

/// What the skater sees.
#[derive(Debug, Clone, PartialEq)]
pub enum Screen {
    /// The lane is free.
    Waiting,
    /// Somebody is in the lane: nothing to read.
    InLane,
    /// One thing to do next time.
    Cue {
        /// Number of the pass in the session.
        pass_number: u32,
        /// The rule.
        rule: RuleId,
        /// The measured value, in the rule's unit.
        value: f64,
        /// The limit it is held against, in the rule's unit.
        limit: f64,
        /// The side it is about.
        leg: CueLeg,
        /// Something good to say beside it.
        good: Option<Good>,
        /// What is drawn from.
        detail: Option<Arc<CueDetail>>,
    },
    /// Everything that was judged was good.
    Praise {
        /// Number of the pass in the session.
        pass_number: u32,
    },
    /// Better than before, not yet in the band.
    Improved {
        /// Number of the pass in the session.
        pass_number: u32,
        /// The rule.
        rule: RuleId,
        /// The measured value, in the rule's unit.
        value: f64,
        /// What the earlier passes had, in the rule's unit.
        earlier: f64,
        /// The side it is about.
        leg: CueLeg,
        /// What is drawn from.
        detail: Option<Arc<CueDetail>>,
    },
    /// A pass that gets no cue on purpose.
    Unfed {
        /// Number of the pass in the session.
        pass_number: u32,
    },
    /// The end of a set of passes.
    Summary(SetSummary),
    /// Nothing could be judged.
    NotJudged {
        /// Number of the pass in the session.
        pass_number: u32,
        /// A few plain words.
        reason: NotJudged,
    },
    /// The flagged push of a pass in slow motion, on request.
    Replay {
        /// Number of the pass in the session.
        pass_number: u32,
        /// What is drawn over the picture.
        overlay: Arc<Overlay>,
        /// What its cue says.
        order: Option<CueOrder>,
    },
    /// The station has a problem.
    Fault(Fault),
}

impl Screen {
    /// The screen of a cue.
    pub fn of_cue(cue: &Cue) -> Self {
        let pass_number = cue.pass_number;
        match &cue.kind {
            &CueKind::Do {
                rule,
                value,
                limit,
                leg,
                good,
                ..
            } => Screen::Cue {
                pass_number,
                rule,
                value,
                limit,
                leg,
                good,
                detail: None,
            },
            CueKind::Praise => Screen::Praise { pass_number },
            &CueKind::Improved {
                rule,
                value,
                earlier,
                leg,
            } => Screen::Improved {
                pass_number,
                rule,
                value,
                earlier,
                leg,
                detail: None,
            },
            CueKind::Unfed { .. } => Screen::Unfed { pass_number },
            CueKind::NotJudged { reason } => Screen::NotJudged {
                pass_number,
                reason: *reason,
            },
        }
    }

    /// The same with what is known of the cue beside its numbers.
    pub fn with_detail(mut self, known: CueDetail) -> Self {
        if let Screen::Cue { detail, .. } | Screen::Improved { detail, .. } = &mut self {
            *detail = Some(Arc::new(known));
        }
        self
    }

    /// Number of the pass this is the answer to, where it is one.
    pub fn pass_number(&self) -> Option<u32> {
        match self {
            Screen::Cue { pass_number, .. }
            | Screen::Praise { pass_number }
            | Screen::Improved { pass_number, .. }
            | Screen::Unfed { pass_number }
            | Screen::NotJudged { pass_number, .. } => Some(*pass_number),
            Screen::Waiting
            | Screen::InLane
            | Screen::Summary(_)
            | Screen::Replay { .. }
            | Screen::Fault(_) => None,
        }
    }
}

/// What the strip says about sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SoundNote {
    /// Sound works: nothing to say.
    #[default]
    On,
    /// Switched off.
    Off,
    /// No device is there.
    NoDevice,
}

/// The small line for the coach who stands beside the screen.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StatusStrip {
    /// Name of the inference engine in use, where one runs.
    pub engine: Option<String>,
    /// Pictures through the pose model, per second.
    pub fps: Option<f32>,
    /// What to say about sound.
    pub sound: SoundNote,
    /// Whether pictures of skaters are stored.
    pub pictures_kept: bool,
    /// Whether passes are not stored although they should be.
    pub not_recording: bool,
    /// Whether there is a coach's panel that is closed: who wants it is told how.
    pub panel_closed: bool,
}

/// Everything one screenful depends on, but for the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct ScreenModel {
    /// What the skater sees.
    pub screen: Screen,
    /// Who is meant and who is next.
    pub people: People,
    /// The line for the coach.
    pub status: StatusStrip,
    /// Where the screen hangs.
    pub geometry: ScreenGeometry,
    /// Words, colours and what else can be set.
    pub look: Appearance,
    /// How long the screen has been up, seconds: where a figure that moves is on
    /// its way. `None` is at rest. The window sets it.
    pub since_s: Option<f32>,
}

impl ScreenModel {
    /// The waiting screen of a station that has just started.
    pub fn waiting(geometry: ScreenGeometry) -> Self {
        ScreenModel {
            screen: Screen::Waiting,
            people: People::default(),
            status: StatusStrip::default(),
            geometry,
            look: Appearance::default(),
            since_s: None,
        }
    }
}

/// A picture that is already a texture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PictureView {
    /// The texture.
    pub texture: egui::TextureId,
    /// Its size in pixels.
    pub size: egui::Vec2,
}

/// A picture to be shown: rows of RGB, 8 bits each, top-left first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PreviewImage {
    width: u32,
    height: u32,
    rgb: Vec<u8>,
}

impl PreviewImage {
    /// Takes a picture of `width * height * 3` bytes and makes it smaller by
    /// a whole factor, so that neither side is longer than `longest_side`
    /// pixels. Averages every block: that costs one look at each pixel and
    /// leaves no jagged edges. `None` when the bytes do not fit the size or
    /// there are none.
    pub fn from_rgb(width: u32, height: u32, rgb: &[u8], longest_side: u32) -> Option<Self> {
        let wanted = (width as usize)
            .checked_mul(height as usize)?
            .checked_mul(3)?;
        if wanted == 0 || rgb.len() != wanted || longest_side == 0 {
            return None;
        }
        let factor = width.max(height).div_ceil(longest_side);
        if factor == 1 {
            return Some(PreviewImage {
                width,
                height,
                rgb: rgb.to_vec(),
            });
        }
        // Rows and columns that fill no whole block are left out; a picture
        // thinner than one block keeps one.
        let (w, h) = ((width / factor).max(1), (height / factor).max(1));
        let (block_w, block_h) = (factor.min(width) as usize, factor.min(height) as usize);
        let row_bytes = width as usize * 3;
        let mut out = Vec::with_capacity((w * h * 3) as usize);
        // First down the rows, which is plain addition of long rows, then across.
        let mut band = vec![0u32; row_bytes];
        for rows in rgb.chunks_exact(row_bytes * block_h) {
            band.fill(0);
            for row in rows.chunks_exact(row_bytes) {
                for (sum, &value) in band.iter_mut().zip(row) {
                    *sum += u32::from(value);
                }
            }
            match (block_w, block_h) {
                (2, 2) => across(&band, &mut out, 2, 2),
                (3, 3) => across(&band, &mut out, 3, 3),
                (4, 4) => across(&band, &mut out, 4, 4),
                _ => across(&band, &mut out, block_w, block_h),
            }
        }
        Some(PreviewImage {
            width: w,
            height: h,
            rgb: out,
        })
    }

    /// Width and height in pixels.
    pub fn size(&self) -> (u32, u32) {
        (self.width, self.height)
    }

    /// Its bytes.
    pub fn rgb(&self) -> &[u8] {
        &self.rgb
    }

    /// Makes a disc unreadable: it becomes a few blocks of one colour each,
    /// about five across. What was in it cannot be brought back. Parts
    /// outside of the picture and numbers that are none are left out.
    pub fn blur_disc(&mut self, centre_px: [f32; 2], radius_px: f32) {
        /// Blocks across the disc.
        const ACROSS: f32 = 5.0;
        let [cx, cy] = centre_px;
        if !(cx.is_finite() && cy.is_finite() && radius_px.is_finite() && radius_px > 0.0) {
            return;
        }
        let bounds = |c: f32, size: u32| {
            let low = (c - radius_px).floor().max(0.0) as usize;
            let high = (c + radius_px).ceil().max(0.0) as usize;
            (low, high.min(size as usize))
        };
        let (left, right) = bounds(cx, self.width);
        let (top, bottom) = bounds(cy, self.height);
        let block = (2.0 * radius_px / ACROSS).ceil().max(2.0) as usize;
        let row = self.width as usize * 3;
        for y0 in (top..bottom).step_by(block) {
            for x0 in (left..right).step_by(block) {
                let (x1, y1) = ((x0 + block).min(right), (y0 + block).min(bottom));
                let mut sums = [0u64; 3];
                for y in y0..y1 {
                    for pixel in self.rgb[y * row + x0 * 3..y * row + x1 * 3].chunks_exact(3) {
                        for (sum, v) in sums.iter_mut().zip(pixel) {
                            *sum += u64::from(*v);
                        }
                    }
                }
                let n = ((x1 - x0) * (y1 - y0)) as u64;
                let mean = sums.map(|s| (s / n) as u8);
                for y in y0..y1 {
                    for x in x0..x1 {
                        let away = (x as f32 + 0.5 - cx).hypot(y as f32 + 0.5 - cy);
                        if away <= radius_px {
                            self.rgb[y * row + x * 3..][..3].copy_from_slice(&mean);
                        }
                    }
                }
            }
        }
    }

    /// As egui takes pictures.
    pub(crate) fn to_color_image(&self) -> egui::ColorImage {
        egui::ColorImage::from_rgb([self.width as usize, self.height as usize], &self.rgb)
    }
}

/// Appends the mean of each block of so many columns, whose rows are added up in
/// `band`. Inlined, so that a size known where it is called makes loops without a
/// counter and a multiplication of the division.
#[inline(always)]
fn across(band: &[u32], out: &mut Vec<u8>, block_w: usize, block_h: usize) {
    let pixels = (block_w * block_h) as u32;
    for block in band.chunks_exact(block_w * 3) {
        let mut sum = [0; 3];
        for column in block.chunks_exact(3) {
            for (sum, value) in sum.iter_mut().zip(column) {
                *sum += value;
            }
        }
        out.extend(sum.map(|s| (s / pixels) as u8));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A mean is taken of exactly the pixels of its block, whatever its size.
    #[test]
    fn every_block_is_the_mean_of_its_own_pixels() {
        let (w, h) = (37usize, 26usize);
        let rgb: Vec<u8> = (0..w * h * 3).map(|i| (i * i * 31 % 251) as u8).collect();
        for factor in 2..=9usize {
            let longest = w.div_ceil(factor) as u32;
            let small = PreviewImage::from_rgb(w as u32, h as u32, &rgb, longest).unwrap();
            // The least factor that makes it so small may be less than this one.
            let factor = w.div_ceil(longest as usize);
            let (sw, sh) = small.size();
            assert_eq!((sw as usize, sh as usize), (w / factor, h / factor));
            for (i, mean) in small.rgb.iter().enumerate() {
                let (x, y, colour) = (i / 3 % (w / factor), i / 3 / (w / factor), i % 3);
                let of_row = |row: usize| {
                    let first = (y * factor + row) * w + x * factor;
                    (first..first + factor).map(|at| u32::from(rgb[at * 3 + colour]))
                };
                let sum: u32 = (0..factor).flat_map(of_row).sum();
                assert_eq!(u32::from(*mean), sum / (factor * factor) as u32, "{factor}");
            }
        }
    }

    #[test]
    fn a_picture_is_made_smaller_by_averaging_whole_blocks() {
        // 4 x 2, left half black and white in turn, right half 10 and 30.
        let grey = |v: u8| [v, v, v];
        let rgb: Vec<u8> = [0, 255, 10, 30, 255, 0, 30, 10]
            .into_iter()
            .flat_map(grey)
            .collect();
        let small = PreviewImage::from_rgb(4, 2, &rgb, 2).unwrap();
        assert_eq!(small.size(), (2, 1));
        assert_eq!(small.rgb, [127, 127, 127, 20, 20, 20]);
    }

    #[test]
    fn a_blurred_disc_has_few_colours_and_nothing_around_it_changes() {
        // Every pixel its own colour.
        let rgb: Vec<u8> = (0..100u32 * 100)
            .flat_map(|i| [(i % 251) as u8, (i / 251) as u8, (i % 100) as u8])
            .collect();
        let clear = PreviewImage::from_rgb(100, 100, &rgb, 100).unwrap();
        let mut blurred = clear.clone();
        blurred.blur_disc([50.0, 50.0], 20.0);
        let mut colours = std::collections::BTreeSet::new();
        for y in 0..100i32 {
            for x in 0..100i32 {
                let at = (y * 100 + x) as usize * 3;
                let away = f64::from(x - 50).hypot(f64::from(y - 50));
                if away < 18.0 {
                    colours.insert(&blurred.rgb[at..at + 3]);
                } else if away > 22.0 {
                    assert_eq!(blurred.rgb[at..at + 3], clear.rgb[at..at + 3]);
                }
            }
        }
        assert!(colours.len() <= 36, "{}", colours.len());
        for (centre, radius) in [
            ([-5.0, 3.0], 10.0),
            ([500.0, 500.0], 10.0),
            ([f32::NAN, 1.0], 5.0),
            ([50.0, 50.0], f32::INFINITY),
            ([50.0, 50.0], 1e6),
        ] {
            blurred.blur_disc(centre, radius);
        }
    }

    #[test]
    fn sizes_that_divide_badly_and_wrong_lengths_are_survived() {
        for (w, h, longest) in [(7, 5, 3), (1, 9, 2), (9, 1, 2), (5, 5, 5), (1, 1, 1)] {
            let rgb = vec![9; (w * h * 3) as usize];
            let image = PreviewImage::from_rgb(w, h, &rgb, longest).unwrap();
            let (sw, sh) = image.size();
            assert!(sw <= longest && sh <= longest && sw > 0 && sh > 0);
            assert_eq!(image.rgb, vec![9; (sw * sh * 3) as usize]);
        }
        assert_eq!(PreviewImage::from_rgb(2, 2, &[0; 11], 4), None);
        assert_eq!(PreviewImage::from_rgb(0, 2, &[], 4), None);
        assert_eq!(PreviewImage::from_rgb(u32::MAX, u32::MAX, &[], 4), None);
    }
}
