//! The big screen as pixels, without a window, a display or a graphics card.

use egui::{Color32, RawInput, Rect, TextureOptions, pos2, vec2};

use super::layout::LayoutReport;
use super::model::{PictureView, PreviewImage, ScreenModel};
use super::raster::{Canvas, Textures};
use super::theme;
use super::ui::big_screen_ui;

/// Longest side of the texture the letters are kept in. Tall letters on an
/// ultra-high-definition screen need more than egui's cautious default.
pub(super) const FONT_TEXTURE_SIDE: usize = 4096;
/// Longest side of a still, pixels.
const LONGEST_SIDE: u32 = 16_384;
/// egui settles fonts and sizes in its first frame.
const FRAMES: usize = 2;

/// One screenful as pixels.
pub struct Still {
    /// The picture.
    pub image: image::RgbImage,
    /// What stands where in it, in pixels.
    pub layout: LayoutReport,
}

/// Draws one screenful. Sides are kept between 1 and 16384 pixels.
pub fn render_still(
    model: &ScreenModel,
    picture: Option<&PreviewImage>,
    width: u32,
    height: u32,
) -> Still {
    let (width, height) = (width.clamp(1, LONGEST_SIDE), height.clamp(1, LONGEST_SIDE));
    let ctx = egui::Context::default();
    theme::install_fonts(&ctx);
    let texture =
        picture.map(|p| ctx.load_texture("picture", p.to_color_image(), TextureOptions::LINEAR));
    let view = texture.as_ref().map(|t| PictureView {
        texture: t.id(),
        size: t.size_vec2(),
    });
    let screen = Rect::from_min_size(pos2(0.0, 0.0), vec2(width as f32, height as f32));
    let mut textures = Textures::default();
    let mut canvas = Canvas::new(width, height, Color32::BLACK);
    let mut layout = LayoutReport::new(screen);
    for frame in 0..FRAMES {
        let input = RawInput {
            screen_rect: Some(screen),
            max_texture_side: Some(FONT_TEXTURE_SIDE),
            time: Some(frame as f64),
            ..Default::default()
        };
        let mut output = ctx.run_ui(input, |ui| layout = big_screen_ui(ui, model, view));
        textures.set(&output.textures_delta);
        if frame + 1 == FRAMES {
            let primitives = ctx.tessellate(output.shapes, output.pixels_per_point);
            canvas.draw(&primitives, &textures);
        }
        textures.free(&mut output.textures_delta);
    }
    Still {
        image: canvas.into_image(),
        layout,
    }
}

/// Draws anything at all as pixels, `frames` times over at the same instant
/// of 0 seconds, 1 second and so on; the last one is given. For pictures of
/// the coach's panel on a machine without a display.
pub fn render_ui(
    width: u32,
    height: u32,
    frames: usize,
    mut draw: impl FnMut(&mut egui::Ui),
) -> image::RgbImage {
    let (width, height) = (width.clamp(1, LONGEST_SIDE), height.clamp(1, LONGEST_SIDE));
    let ctx = egui::Context::default();
    theme::install_fonts(&ctx);
    let screen = Rect::from_min_size(pos2(0.0, 0.0), vec2(width as f32, height as f32));
    let mut textures = Textures::default();
    let mut canvas = Canvas::new(width, height, Color32::BLACK);
    for frame in 0..frames.max(1) {
        let input = RawInput {
            screen_rect: Some(screen),
            max_texture_side: Some(FONT_TEXTURE_SIDE),
            time: Some(frame as f64),
            ..Default::default()
        };
        let mut output = ctx.run_ui(input, &mut draw);
        textures.set(&output.textures_delta);
        if frame + 1 == frames.max(1) {
            let primitives = ctx.tessellate(output.shapes, output.pixels_per_point);
            canvas.draw(&primitives, &textures);
        }
        textures.free(&mut output.textures_delta);
    }
    canvas.into_image()
}

/// Draws what a context gave out, frame by frame: for pictures of a panel that is driven.
/// Every frame's textures have to be handed over, also of frames that are not drawn.
#[derive(Default)]
pub struct FramePainter {
    textures: Textures,
    /// Not needed by frames after the one that was handed over last.
    unused: egui::TexturesDelta,
}

impl FramePainter {
    /// Takes over the textures a frame changed.
    pub fn take(&mut self, delta: &mut egui::TexturesDelta) {
        self.textures.free(&mut self.unused);
        self.textures.set(delta);
        self.unused = std::mem::take(delta);
    }

    /// Draws the frame whose textures were taken last.
    pub fn paint(
        &self,
        ctx: &egui::Context,
        output: &egui::FullOutput,
        width: u32,
        height: u32,
    ) -> image::RgbImage {
        let (width, height) = (width.clamp(1, LONGEST_SIDE), height.clamp(1, LONGEST_SIDE));
        let mut canvas = Canvas::new(width, height, Color32::BLACK);
        let primitives = ctx.tessellate(output.shapes.clone(), output.pixels_per_point);
        canvas.draw(&primitives, &self.textures);
        canvas.into_image()
    }
}

/// Only the picture of [`render_still`], ready to be saved as PNG.
pub fn render_png(
    model: &ScreenModel,
    picture: Option<&PreviewImage>,
    width: u32,
    height: u32,
) -> image::RgbImage {
    render_still(model, picture, width, height).image
}
