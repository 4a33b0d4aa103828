//! Words and colours for pictures that leave the station: a line of text as
//! pixels, in the font and the colours of the big screen.

use egui::{Align2, Color32, FontId, RawInput, Rect, pos2, vec2};

use super::raster::{Canvas, Textures};
use super::still::FONT_TEXTURE_SIDE;
use super::theme;

/// What lines over a picture are drawn with, red, green and blue.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OverlayInk {
    /// The edge about every line.
    pub edge: [u8; 3],
    /// The lines of the body.
    pub body: [u8; 3],
    /// What is measured.
    pub mark: [u8; 3],
    /// What is wanted.
    pub limit: [u8; 3],
    /// Width of a body's line as a share of the picture's height.
    pub width: f32,
}

impl OverlayInk {
    /// The big screen's.
    pub fn of_the_screen() -> Self {
        let rgb = |c: Color32| [c.r(), c.g(), c.b()];
        OverlayInk {
            edge: rgb(theme::DARK.background),
            body: rgb(theme::DARK.text),
            mark: rgb(theme::DARK.goal),
            limit: rgb(theme::DARK.over_limit),
            width: theme::BODY_LINE,
        }
    }
}

/// Sets lines of text as pixels. Making one reads the font, so keep it.
pub struct PlatePress {
    context: egui::Context,
    textures: Textures,
    frame: f64,
}

impl Default for PlatePress {
    fn default() -> Self {
        let context = egui::Context::default();
        theme::install_fonts(&context);
        PlatePress {
            context,
            textures: Textures::default(),
            frame: 0.0,
        }
    }
}

/// Height of capitals as a share of the em size, of the font used here.
const CAP_SHARE: f32 = 0.7;
/// Longest line, pixels.
const LONGEST_PX: f32 = 4096.0;

impl PlatePress {
    /// One line, light on a dark plate, with capitals of `cap_px` pixels. A
    /// line that would be longer than 4096 pixels is cut off there.
    pub fn line(&mut self, text: &str, cap_px: f32) -> image::RgbImage {
        let cap = cap_px.clamp(4.0, 200.0);
        let font = FontId::new(cap / CAP_SHARE, theme::font_family());
        let pad = theme::PLATE_PAD * cap;
        let mut size = vec2(1.0, 1.0);
        let mut image = image::RgbImage::new(1, 1);
        // The first frame makes the letters, the second one is drawn at the
        // size the first one found.
        for last in [false, true] {
            let screen = Rect::from_min_size(pos2(0.0, 0.0), size);
            let input = RawInput {
                screen_rect: Some(screen),
                max_texture_side: Some(FONT_TEXTURE_SIDE),
                time: Some(self.frame),
                ..Default::default()
            };
            self.frame += 1.0;
            let mut found = size;
            let mut output = self.context.run_ui(input, |ui| {
                let painter = ui.painter().with_clip_rect(screen);
                let galley =
                    painter.layout_no_wrap(text.to_owned(), font.clone(), theme::DARK.text);
                found = vec2(
                    (galley.size().x + 2.0 * pad).ceil().min(LONGEST_PX),
                    (galley.size().y + pad).ceil(),
                );
                let at = Align2::LEFT_CENTER
                    .anchor_rect(Rect::from_min_size(pos2(pad, size.y / 2.0), galley.size()));
                painter.galley(at.min, galley, theme::DARK.text);
            });
            self.textures.set(&output.textures_delta);
            if last {
                let mut canvas = Canvas::new(size.x as u32, size.y as u32, theme::DARK.background);
                let primitives = self
                    .context
                    .tessellate(output.shapes, output.pixels_per_point);
                canvas.draw(&primitives, &self.textures);
                image = canvas.into_image();
            }
            self.textures.free(&mut output.textures_delta);
            size = found;
        }
        image
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_as_tall_as_asked_and_has_light_letters_on_dark() {
        let mut press = PlatePress::default();
        for cap in [12.0f32, 40.0] {
            let plate = press.line("HHH 132°", cap);
            let background = *plate.get_pixel(0, 0);
            assert_eq!(background.0, OverlayInk::of_the_screen().edge);
            let rows: Vec<u32> = (0..plate.height())
                .filter(|&y| (0..plate.width()).any(|x| plate.get_pixel(x, y).0[0] > 128))
                .collect();
            let tall = (rows[rows.len() - 1] - rows[0] + 1) as f32;
            // The degree sign reaches a little above the capitals.
            assert!(
                (cap - 1.0..=1.25 * cap + 2.0).contains(&tall),
                "{cap}: {tall}"
            );
            assert!(plate.width() as f32 > 4.0 * cap);
        }
        // The letters of the font are made again for every size asked for.
        assert!(press.line("", 20.0).height() > 20);
    }
}
