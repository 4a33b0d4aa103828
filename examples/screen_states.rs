//! Draws every state of the skater's screen as pictures, without a window.
//!
//! `cargo run --example screen_states -- FOLDER` writes, for both languages, light and
//! dark and quiet, at four sizes: each state (`en-dark-1920x1080-order-knees.png`), one
//! sheet of them (`sheet-en-dark-1920x1080.jpg`), and both *as seen from ten metres*
//! (`seen-...`): so many pixels high as the screen takes of the view of who sits 0.6 m
//! before a monitor of 96 dots an inch. `tools/screen/read.py` reads the orders of the
//! latter back with a general OCR program.
//!
//! A second argument picks looks by a part of the name, a third states, and then makes no
//! sheet: `... FOLDER en-dark-1280`, `... FOLDER light order-`.
//! `--docs` in its place writes the sheets that stand in `docs/screens`, and nothing else.

#[path = "../tests/common/screen_states.rs"]
mod screen_states;

use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, bail};
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{FilterType, overlay, resize};
use kickplate::display::{Appearance, Language, PreviewImage, Screen, Theme, Words, render_still};
use screen_states::{KINDS, SIZES, cells, kind, model};

/// Longer side of a state on a sheet, pixels.
const THUMB_PX: u32 = 300;

/// The sheets of the documents: the four words of a name. The layout is the same at
/// 1280, 1920 and 3840 pixels, so one of them stands for all; without words there is
/// one language.
const DOCS: [&str; 9] = [
    "en-dark-1920x1080",
    "en-light-1920x1080",
    "fr-dark-1920x1080",
    "fr-light-1920x1080",
    "en-quiet-1920x1080",
    "en-dark-1080x1920",
    "en-light-1080x1920",
    "fr-dark-1080x1920",
    "en-quiet-1080x1920",
];

/// So many minutes of arc takes one pixel of a monitor of 96 dots an inch from 0.6 m.
const ARCMIN_PER_PIXEL: f32 = 1.516;

/// Height in pixels of such a monitor under which a glass so high is seen from ten metres.
fn seen_height_px(height_m: f32) -> u32 {
    let arcmin = (height_m / 10.0).atan().to_degrees() * 60.0;
    (arcmin / ARCMIN_PER_PIXEL).round() as u32
}

/// The picture behind a replay: ice, the yellow strip of the boards, boards.
fn picture() -> Option<PreviewImage> {
    let (w, h) = (640u32, 360u32);
    let rgb: Vec<u8> = (0..w * h)
        .flat_map(|i| {
            let (x, y) = (i % w, i / w);
            match (x, y) {
                _ if y > 300 => [226, 238, 244],
                _ if y > 288 => [240, 214, 96],
                _ => [150 + (x / 16 % 2) as u8 * 6, 168, 176],
            }
        })
        .collect();
    PreviewImage::from_rgb(w, h, &rgb, w)
}

fn sheet(pictures: &[RgbImage], columns: u32, ground: [u8; 3]) -> RgbImage {
    let (w, h) = pictures[0].dimensions();
    let gap = (h / 40).max(4);
    let rows = (pictures.len() as u32).div_ceil(columns);
    let mut out = RgbImage::from_pixel(
        columns * (w + gap) + gap,
        rows * (h + gap) + gap,
        image::Rgb(ground),
    );
    for (i, picture) in pictures.iter().enumerate() {
        let i = i as u32;
        let x = gap + i % columns * (w + gap);
        let y = gap + i / columns * (h + gap);
        overlay(&mut out, picture, i64::from(x), i64::from(y));
    }
    out
}

fn save(picture: &RgbImage, path: &Path) -> anyhow::Result<()> {
    let file = std::fs::File::create(path).with_context(|| path.display().to_string())?;
    // Small enough for a repository; the single states are PNG, without loss.
    JpegEncoder::new_with_quality(std::io::BufWriter::new(file), 58).encode_image(picture)?;
    Ok(())
}

/// Draws one look at one size: the states whose name holds a part, or all and their
/// sheets. `whole` writes each state as well.
fn draw(
    folder: &Path,
    of: &str,
    look: &Appearance,
    size: (u32, u32, f32),
    (part, whole): (Option<&str>, bool),
) -> anyhow::Result<()> {
    let (width, height, height_m) = size;
    let behind = picture().context("the picture has no size")?;
    let (mut small, mut seen) = (Vec::new(), Vec::new());
    let wanted = |name: &str| part.is_none_or(|part| name.contains(part));
    for cell in cells().into_iter().filter(|c| wanted(c.name)) {
        let is_replay = matches!(cell.screen, Screen::Replay { .. });
        let model = model(&cell, look, height_m);
        let still = render_still(&model, is_replay.then_some(&behind), width, height);
        for fault in still.layout.shortfalls() {
            println!("{of}-{}: {fault}", cell.name);
        }
        let to = |w, h| resize(&still.image, w, h, FilterType::Lanczos3);
        let thumb = THUMB_PX * width / width.max(height);
        small.push(to(thumb, thumb * height / width));
        let tall = seen_height_px(height_m);
        let far = to(tall * width / height, tall);
        if whole {
            still
                .image
                .save(folder.join(format!("{of}-{}.png", cell.name)))?;
            far.save(folder.join(format!("seen-{of}-{}.png", cell.name)))?;
        }
        seen.push(far);
    }
    if part.is_some() {
        return Ok(());
    }
    let columns = if width > height { 5 } else { 9 };
    let ground = match look.theme {
        Theme::Dark => [90; 3],
        Theme::Light => [200; 3],
    };
    save(
        &sheet(&small, columns, ground),
        &folder.join(format!("sheet-{of}.jpg")),
    )?;
    save(
        &sheet(&seen, columns, ground),
        &folder.join(format!("seen-{of}.jpg")),
    )
}

fn main() -> anyhow::Result<()> {
    let mut args = std::env::args().skip(1);
    let Some(folder) = args.next() else {
        bail!("name the folder the pictures go into")
    };
    let only = args.next().unwrap_or_default();
    let state = args.next();
    let for_docs = only == "--docs";
    let shown: Vec<&str> = cells().iter().map(|c| kind(&c.screen)).collect();
    if let Some(missing) = KINDS.iter().find(|k| !shown.contains(k)) {
        bail!("'{missing}' has no cell in tests/common/screen_states.rs")
    }
    let folder = Path::new(&folder);
    std::fs::create_dir_all(folder)?;
    for language in Language::ALL {
        for (name, theme, quiet) in [
            ("dark", Theme::Dark, false),
            ("light", Theme::Light, false),
            ("quiet", Theme::Dark, true),
        ] {
            for size in SIZES {
                let of = format!("{}-{name}-{}x{}", language.code(), size.0, size.1);
                let wanted = match for_docs {
                    true => DOCS.contains(&of.as_str()),
                    false => of.contains(&only),
                };
                if !wanted {
                    continue;
                }
                let look = Appearance {
                    words: Arc::new(Words::built_in(language)),
                    theme,
                    symbols_only: quiet,
                    ..Appearance::default()
                };
                draw(folder, &of, &look, size, (state.as_deref(), !for_docs))?;
            }
        }
    }
    Ok(())
}
