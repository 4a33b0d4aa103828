//! Draws egui's triangles with the processor alone.
//!
//! For machines without a display and for tests: no graphics card, no
//! drivers, the same picture everywhere. Follows what egui asks of its
//! painters: colours are premultiplied, and multiplying with the texture and
//! blending happen on the sRGB values as they are ('gamma space').

use std::collections::HashMap;

use egui::epaint::{ClippedPrimitive, Primitive, Vertex};
use egui::{Color32, Mesh, Pos2, TextureId, TexturesDelta};

/// Pixels with premultiplied colour.
pub(super) struct Canvas {
    width: usize,
    height: usize,
    pixels: Vec<[f32; 4]>,
}

/// The textures of one context, kept up to date from frame to frame.
#[derive(Default)]
pub(super) struct Textures(HashMap<TextureId, Texture>);

struct Texture {
    width: usize,
    height: usize,
    texels: Vec<Color32>,
}

impl Textures {
    /// Takes over what changed in a frame, before it is drawn. Drop what it
    /// frees with [`Textures::free`] after drawing.
    pub(super) fn set(&mut self, delta: &TexturesDelta) {
        let changes = delta
            .set
            .iter()
            .flat_map(|(id, all)| all.iter().map(move |c| (id, c)));
        for (id, change) in changes {
            let egui::ImageData::Color(image) = &change.image;
            let [w, h] = image.size;
            match change.pos {
                None => {
                    self.0.insert(
                        *id,
                        Texture {
                            width: w,
                            height: h,
                            texels: image.pixels.clone(),
                        },
                    );
                }
                Some([x, y]) => {
                    let Some(texture) = self.0.get_mut(id) else {
                        continue;
                    };
                    if w == 0 || x + w > texture.width || y + h > texture.height {
                        continue;
                    }
                    for (row, texels) in image.pixels.chunks_exact(w).enumerate() {
                        let start = (y + row) * texture.width + x;
                        texture.texels[start..start + w].copy_from_slice(texels);
                    }
                }
            }
        }
    }

    /// Drops the textures a frame no longer needs, and empties the delta:
    /// everything in it has been dealt with.
    pub(super) fn free(&mut self, delta: &mut TexturesDelta) {
        for id in &delta.free {
            self.0.remove(id);
        }
        delta.clear();
    }
}

impl Texture {
    fn texel(&self, x: f32, y: f32) -> [f32; 4] {
        // Clamped to the edge; also catches NaN, which `as` turns into 0.
        let x = (x.max(0.0) as usize).min(self.width - 1);
        let y = (y.max(0.0) as usize).min(self.height - 1);
        self.texels[y * self.width + x].to_array().map(f32::from)
    }

    /// Between four texels, as the graphics card does it. `uv` 0 to 1.
    fn sample(&self, u: f32, v: f32) -> [f32; 4] {
        let (x, y) = (u * self.width as f32 - 0.5, v * self.height as f32 - 0.5);
        let (left, top) = (x.floor(), y.floor());
        let (fx, fy) = (x - left, y - top);
        let mut out = [0.0; 4];
        for (dx, dy, weight) in [
            (0.0, 0.0, (1.0 - fx) * (1.0 - fy)),
            (1.0, 0.0, fx * (1.0 - fy)),
            (0.0, 1.0, (1.0 - fx) * fy),
            (1.0, 1.0, fx * fy),
        ] {
            if weight > 0.0 {
                let texel = self.texel(left + dx, top + dy);
                for (sum, value) in out.iter_mut().zip(texel) {
                    *sum += value * weight;
                }
            }
        }
        out.map(|c| c / 255.0)
    }
}

impl Canvas {
    /// A canvas of one opaque colour.
    pub(super) fn new(width: u32, height: u32, colour: Color32) -> Self {
        let pixel = colour.to_array().map(f32::from);
        Canvas {
            width: width as usize,
            height: height as usize,
            pixels: vec![pixel; width as usize * height as usize],
        }
    }

    /// Draws one frame at one pixel per point. Paint callbacks are not
    /// drawn: this screen has none.
    pub(super) fn draw(&mut self, primitives: &[ClippedPrimitive], textures: &Textures) {
        for ClippedPrimitive {
            clip_rect,
            primitive,
        } in primitives
        {
            let Primitive::Mesh(mesh) = primitive else {
                continue;
            };
            let Some(texture) = textures.0.get(&mesh.texture_id) else {
                continue;
            };
            if texture.texels.is_empty() {
                continue;
            }
            let clip = Clip {
                left: whole_pixel(clip_rect.min.x, self.width),
                top: whole_pixel(clip_rect.min.y, self.height),
                right: whole_pixel(clip_rect.max.x, self.width),
                bottom: whole_pixel(clip_rect.max.y, self.height),
            };
            self.draw_mesh(mesh, texture, clip);
        }
    }

    fn draw_mesh(&mut self, mesh: &Mesh, texture: &Texture, clip: Clip) {
        for corner in mesh.indices.chunks_exact(3) {
            let vertex = |i: usize| mesh.vertices.get(corner[i] as usize);
            if let (Some(a), Some(b), Some(c)) = (vertex(0), vertex(1), vertex(2)) {
                self.draw_triangle([a, b, c], texture, clip);
            }
        }
    }

    fn draw_triangle(&mut self, corners: [&Vertex; 3], texture: &Texture, clip: Clip) {
        let [a, mut b, mut c] = corners;
        let mut area = cross(a.pos, b.pos, c.pos);
        if area < 0.0 {
            std::mem::swap(&mut b, &mut c);
            area = -area;
        }
        // Also leaves out corners that are no numbers.
        if area.is_nan() || area <= 0.0 {
            return;
        }
        let lowest = |f: fn(&Vertex) -> f32| f(a).min(f(b)).min(f(c));
        let highest = |f: fn(&Vertex) -> f32| f(a).max(f(b)).max(f(c));
        let (x0, x1) = (lowest(|v| v.pos.x), highest(|v| v.pos.x));
        let (y0, y1) = (lowest(|v| v.pos.y), highest(|v| v.pos.y));
        let columns = (x0.floor().max(0.0) as usize).max(clip.left)
            ..(x1.ceil().max(0.0) as usize).min(clip.right);
        let rows = (y0.floor().max(0.0) as usize).max(clip.top)
            ..(y1.ceil().max(0.0) as usize).min(clip.bottom);

        // Most of egui's triangles are of one colour and one texel.
        let same_texel = a.uv == b.uv && b.uv == c.uv;
        let constant = same_texel.then(|| texture.sample(a.uv.x, a.uv.y));
        let colours = [a, b, c].map(|v| v.color.to_array().map(f32::from));
        let edges = [(b.pos, c.pos), (c.pos, a.pos), (a.pos, b.pos)];
        let owned = edges.map(|(from, to)| owns_edge(from, to));
        for y in rows {
            for x in columns.clone() {
                let p = Pos2::new(x as f32 + 0.5, y as f32 + 0.5);
                let weights = edges.map(|(from, to)| cross(from, to, p));
                let inside = weights
                    .iter()
                    .zip(owned)
                    .all(|(&w, owned)| w > 0.0 || (w == 0.0 && owned));
                if !inside {
                    continue;
                }
                let [wa, wb, wc] = weights.map(|w| w / area);
                let texel = constant.unwrap_or_else(|| {
                    texture.sample(
                        a.uv.x * wa + b.uv.x * wb + c.uv.x * wc,
                        a.uv.y * wa + b.uv.y * wb + c.uv.y * wc,
                    )
                });
                let mut source = [0.0; 4];
                for (i, out) in source.iter_mut().enumerate() {
                    let vertex = colours[0][i] * wa + colours[1][i] * wb + colours[2][i] * wc;
                    *out = vertex * texel[i];
                }
                let under = 1.0 - source[3] / 255.0;
                let pixel = &mut self.pixels[y * self.width + x];
                for (below, over) in pixel.iter_mut().zip(source) {
                    *below = over + *below * under;
                }
            }
        }
    }

    /// The finished picture; what shows through is left away.
    pub(super) fn into_image(self) -> image::RgbImage {
        let (width, height) = (self.width as u32, self.height as u32);
        let bytes = self
            .pixels
            .iter()
            .flat_map(|p| [p[0], p[1], p[2]])
            .map(|c| c.round().clamp(0.0, 255.0) as u8)
            .collect();
        image::RgbImage::from_raw(width, height, bytes)
            .unwrap_or_else(|| image::RgbImage::new(width, height))
    }
}

/// Pixels that may be drawn on, the right and lower end not included.
#[derive(Debug, Clone, Copy)]
struct Clip {
    left: usize,
    top: usize,
    right: usize,
    bottom: usize,
}

fn whole_pixel(edge: f32, most: usize) -> usize {
    (edge.round().max(0.0) as usize).min(most)
}

/// Twice the area of the triangle, positive when the corners turn clockwise
/// as the screen shows them.
fn cross(a: Pos2, b: Pos2, c: Pos2) -> f32 {
    (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x)
}

/// A pixel in the middle of an edge that two triangles share belongs to one
/// of them: the one that has it as its left or upper edge.
fn owns_edge(from: Pos2, to: Pos2) -> bool {
    to.y < from.y || (to.y == from.y && to.x > from.x)
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::{Rect, pos2, vec2};

    const ID: TextureId = TextureId::Managed(0);

    fn textures(width: usize, texels: Vec<Color32>) -> Textures {
        let height = texels.len() / width;
        Textures(HashMap::from([(
            ID,
            Texture {
                width,
                height,
                texels,
            },
        )]))
    }

    fn draw(canvas: &mut Canvas, mesh: Mesh, clip: Rect, textures: &Textures) {
        let primitive = ClippedPrimitive {
            clip_rect: clip,
            primitive: Primitive::Mesh(mesh),
        };
        canvas.draw(&[primitive], textures);
    }

    fn quad(rect: Rect, colour: Color32) -> Mesh {
        let mut mesh = Mesh::with_texture(ID);
        let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
        mesh.add_rect_with_uv(rect, whole, colour);
        mesh
    }

    const ALL: Rect = Rect {
        min: Pos2::ZERO,
        max: Pos2::new(8.0, 8.0),
    };

    #[test]
    fn the_seam_of_two_triangles_is_drawn_once_and_without_gap() {
        // Half white over black is 127.5 once, 191 where drawn twice, 0 in a
        // gap.
        let white = textures(1, vec![Color32::WHITE]);
        for rect in [
            Rect::from_min_max(pos2(1.0, 1.0), pos2(7.0, 7.0)),
            Rect::from_min_max(pos2(0.5, 0.5), pos2(6.5, 6.5)),
        ] {
            let mut canvas = Canvas::new(8, 8, Color32::BLACK);
            let half = Color32::from_rgba_premultiplied(128, 128, 128, 128);
            draw(&mut canvas, quad(rect, half), ALL, &white);
            let image = canvas.into_image();
            let counts = |v: u8| image.pixels().filter(|p| p.0 == [v; 3]).count();
            assert_eq!(counts(128), 36, "{rect:?}");
            assert_eq!(counts(0), 28, "{rect:?}");
        }
    }

    #[test]
    fn colours_multiply_and_blend_as_they_stand() {
        // Texture 200 grey opaque times vertex (255, 128, 0) at alpha 1.
        let grey = textures(1, vec![Color32::from_gray(200)]);
        let mut canvas = Canvas::new(8, 8, Color32::from_gray(50));
        draw(
            &mut canvas,
            quad(ALL, Color32::from_rgb(255, 128, 0)),
            ALL,
            &grey,
        );
        assert_eq!(canvas.into_image().get_pixel(3, 3).0, [200, 100, 0]);

        // Premultiplied (60, 0, 0) at alpha 51 = 0.2 over grey 50:
        // 60 + 50 * 0.8 = 100 and 50 * 0.8 = 40.
        let white = textures(1, vec![Color32::WHITE]);
        let mut canvas = Canvas::new(8, 8, Color32::from_gray(50));
        let thin = Color32::from_rgba_premultiplied(60, 0, 0, 51);
        draw(&mut canvas, quad(ALL, thin), ALL, &white);
        assert_eq!(canvas.into_image().get_pixel(3, 3).0, [100, 40, 40]);
    }

    #[test]
    fn pictures_are_sampled_between_texels_and_clipped() {
        let ramp = textures(2, vec![Color32::BLACK, Color32::WHITE]);
        let mut canvas = Canvas::new(8, 8, Color32::from_rgb(9, 9, 9));
        let clip = Rect::from_min_size(pos2(0.0, 2.0), vec2(8.0, 3.0));
        draw(&mut canvas, quad(ALL, Color32::WHITE), clip, &ramp);
        let image = canvas.into_image();
        let row: Vec<u8> = (0..8).map(|x| image.get_pixel(x, 3).0[0]).collect();
        // Texel centres at 2 and 6 of 8 pixels; between them a straight line
        // through the pixel centres at 0.5, 1.5 ...
        assert_eq!(row, [0, 0, 32, 96, 159, 223, 255, 255]);
        assert_eq!(image.get_pixel(4, 1).0, [9; 3]);
        assert_eq!(image.get_pixel(4, 5).0, [9; 3]);
    }

    #[test]
    fn meshes_that_make_no_sense_are_left_out() {
        let white = textures(1, vec![Color32::WHITE]);
        let mut canvas = Canvas::new(8, 8, Color32::BLACK);
        let nan = Rect::from_min_max(pos2(f32::NAN, 0.0), pos2(8.0, f32::INFINITY));
        draw(&mut canvas, quad(nan, Color32::WHITE), ALL, &white);
        let mut bad_index = quad(ALL, Color32::WHITE);
        bad_index.indices[0] = 99;
        bad_index.indices[3] = 99;
        draw(&mut canvas, bad_index, nan, &white);
        let far = Rect::from_min_max(pos2(-1e9, -1e9), pos2(-1e8, -1e8));
        draw(&mut canvas, quad(far, Color32::WHITE), ALL, &white);
        let other = textures(1, vec![]);
        draw(&mut canvas, quad(ALL, Color32::WHITE), ALL, &other);
        assert!(canvas.into_image().pixels().all(|p| p.0 == [0; 3]));
    }
}
