//! Draws every state of the skater's screen as pictures, without a window.
//!
//! `cargo run -p kickplate-interface --example screen_states -- FOLDER` writes, for both languages, light
//! and dark and quiet, at four sizes: each state (`en-dark-1920x1080-order-knees.png`),
//! one sheet of them (`sheet-en-dark-1920x1080.png`), and the sheet *as seen from ten
//! metres* (`seen-...`): so many pixels high as the screen takes of the view of who
//! sits 0.6 m before a monitor of 96 dots an inch. `tools/screen/read.py` reads the
//! orders of the latter back with a general OCR program.
//!
//! A second argument picks by a part of the name: `... FOLDER en-dark-1280`.

use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, bail};
use image::RgbImage;
use image::imageops::{FilterType, overlay, resize};
use kickplate_interface::display::{
    AngleMark, Appearance, CueDetail, CueOrder, Fault, Language, Overlay, People, Person,
    PictureShare, PreviewImage, Screen, ScreenGeometry, ScreenModel, SoundNote, StatusStrip, Theme,
    Words, render_still,
};
use kickplate_measure::feedback::{CueLeg, Good, NextThing, SetSummary};
use kickplate_measure::roster::BandColour;
use kickplate_measure::rules::{AgeGroup, NotJudged, RuleId};

/// Of one pixel of such a monitor: 25.4 mm / 96 at 0.6 m, minutes of arc.
const ARCMIN_PER_PIXEL: f32 = 1.516;

fn cue(rule: RuleId, value: f64, limit: f64, leg: CueLeg) -> Screen {
    let more = value < limit;
    Screen::Cue {
        pass_number: 3,
        rule,
        value,
        limit,
        leg,
        good: None,
        detail: Some(Arc::new(CueDetail {
            before: Some(value + (value - limit) * 0.6),
            doubt: Some((value - limit).abs() * 0.4),
            zone: if more {
                [Some(limit), None]
            } else {
                [None, Some(limit)]
            },
            age_group: Some(AgeGroup::U11),
            stance: None,
        })),
    }
}

fn states() -> Vec<(&'static str, Screen)> {
    let mut with_good = cue(RuleId::KneeBend, 134.0, 115.0, CueLeg::Right);
    if let Screen::Cue { good, .. } = &mut with_good {
        *good = Some(Good::Improved {
            rule: RuleId::RecoveryGap,
        });
    }
    let mut of_age = cue(RuleId::Extension, 143.0, 160.0, CueLeg::Left);
    if let Screen::Cue {
        detail: Some(detail),
        ..
    } = &mut of_age
    {
        *detail = Arc::new(CueDetail {
            age_group: Some(AgeGroup::U15),
            ..(**detail).clone()
        });
    }
    let summary = |in_band, next| {
        Screen::Summary(SetSummary {
            last_pass: 9,
            judged: 9,
            in_band,
            good: Some(Good::Improved {
                rule: RuleId::KneeBend,
            }),
            next,
        })
    };
    vec![
        ("waiting", Screen::Waiting),
        ("in-lane", Screen::InLane),
        (
            "order-knees",
            cue(RuleId::KneeBend, 134.0, 115.0, CueLeg::Right),
        ),
        (
            "order-push",
            cue(RuleId::Extension, 143.0, 160.0, CueLeg::Left),
        ),
        (
            "order-heels",
            cue(RuleId::RecoveryGap, 0.19, 0.12, CueLeg::Both),
        ),
        (
            "order-arms",
            cue(RuleId::ArmCrossover, 0.07, 0.0, CueLeg::Left),
        ),
        (
            "order-ahead",
            cue(RuleId::TrunkLean, 21.0, 30.0, CueLeg::Both),
        ),
        ("order-up", cue(RuleId::TrunkLean, 71.0, 60.0, CueLeg::Both)),
        (
            "order-toe",
            cue(RuleId::ToeDirection, 12.0, 20.0, CueLeg::Right),
        ),
        ("order-good", with_good),
        ("order-number", of_age),
        ("praise", Screen::Praise { pass_number: 3 }),
        (
            "better",
            Screen::Improved {
                pass_number: 3,
                rule: RuleId::KneeBend,
                value: 121.0,
                earlier: 134.0,
                leg: CueLeg::Right,
                detail: None,
            },
        ),
        ("own-judgement", Screen::Unfed { pass_number: 3 }),
        (
            "not-judged",
            Screen::NotJudged {
                pass_number: 3,
                reason: NotJudged::NoPush,
            },
        ),
        (
            "set",
            summary(
                6,
                Some(NextThing {
                    rule: RuleId::Extension,
                    more: true,
                }),
            ),
        ),
        ("replay", replay()),
        ("no-camera", Screen::Fault(Fault::NoCamera)),
        ("too-slow", Screen::Fault(Fault::TooSlow)),
    ]
}

/// A replay over a drawn picture of ice and boards.
fn replay() -> Screen {
    let knee = [[0.47, 0.47], [0.53, 0.60], [0.47, 0.76]];
    let lines = vec![
        [[0.57, 0.28], [0.47, 0.47]],
        [knee[0], knee[1]],
        [knee[1], knee[2]],
        [[0.47, 0.47], [0.38, 0.62]],
        [[0.38, 0.62], [0.27, 0.72]],
        [[0.57, 0.28], [0.65, 0.40]],
    ];
    // The same bones, lower: hips and knee as the order wants them.
    let low = [[0.46, 0.51], [0.545, 0.605], [0.47, 0.76]];
    let target = vec![
        [[0.58, 0.33], low[0]],
        [low[0], low[1]],
        [low[1], low[2]],
        [low[0], [0.38, 0.64]],
        [[0.38, 0.64], [0.27, 0.72]],
    ];
    Screen::Replay {
        pass_number: 3,
        overlay: Arc::new(Overlay {
            lines,
            target,
            mark: Some(AngleMark {
                points: knee.to_vec(),
                rule: RuleId::KneeBend,
                numbers: Some((134.0, 115.0)),
            }),
            view: PictureShare::default(),
        }),
        order: Some(CueOrder {
            rule: RuleId::KneeBend,
            more: false,
            leg: CueLeg::Right,
        }),
    }
}

fn picture() -> anyhow::Result<PreviewImage> {
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
    PreviewImage::from_rgb(w, h, &rgb, w).context("the picture has no size")
}

fn model(screen: Screen, look: &Appearance, height_m: f32) -> ScreenModel {
    let mila = Person {
        bib: Some("7".to_owned()),
        name: Some("Mila".to_owned()),
        band: Some(BandColour::Blue),
    };
    let noah = Person {
        bib: Some("14".to_owned()),
        name: Some("Noah".to_owned()),
        band: Some(BandColour::Yellow),
    };
    ScreenModel {
        screen,
        people: People {
            shown: Some(mila),
            next: Some(noah),
        },
        status: StatusStrip {
            engine: Some("native".to_owned()),
            fps: Some(30.0),
            sound: SoundNote::On,
            pictures_kept: true,
            not_recording: false,
            panel_closed: true,
        },
        geometry: ScreenGeometry {
            screen_height_m: height_m,
            reading_distance_m: 10.0,
        },
        look: look.clone(),
        since_s: None,
    }
}

fn sheet(pictures: &[RgbImage], columns: u32, ground: [u8; 3]) -> RgbImage {
    let (w, h) = pictures[0].dimensions();
    let gap = (h / 40).max(2);
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

fn main() -> anyhow::Result<()> {
    let mut args = std::env::args().skip(1);
    let Some(folder) = args.next() else {
        bail!("name the folder the pictures go into")
    };
    let only = args.next().unwrap_or_default();
    let folder = Path::new(&folder);
    std::fs::create_dir_all(folder)?;
    let behind = picture()?;
    let sizes = [
        (1280, 720, 0.62),
        (1920, 1080, 0.62),
        (3840, 2160, 0.62),
        (1080, 1920, 1.10),
    ];
    for language in Language::ALL {
        for (name, theme, quiet) in [
            ("dark", Theme::Dark, false),
            ("light", Theme::Light, false),
            ("quiet", Theme::Dark, true),
        ] {
            for (width, height, height_m) in sizes {
                let of = format!("{}-{name}-{width}x{height}", language.code());
                if !of.contains(&only) {
                    continue;
                }
                let look = Appearance {
                    words: Arc::new(Words::built_in(language)),
                    theme,
                    symbols_only: quiet,
                    ..Appearance::default()
                };
                let mut small = Vec::new();
                let mut seen = Vec::new();
                for (state, screen) in states() {
                    let is_replay = matches!(screen, Screen::Replay { .. });
                    let model = model(screen, &look, height_m);
                    let still = render_still(&model, is_replay.then_some(&behind), width, height);
                    for fault in still.layout.shortfalls() {
                        println!("{of}-{state}: {fault}");
                    }
                    still.image.save(folder.join(format!("{of}-{state}.png")))?;
                    let thumb = 480 * width / width.max(height);
                    small.push(resize(
                        &still.image,
                        thumb,
                        thumb * height / width,
                        FilterType::Lanczos3,
                    ));
                    let tall = (f64::from(height_m) / 10.0).atan().to_degrees() as f32 * 60.0;
                    let tall = (tall / ARCMIN_PER_PIXEL).round() as u32;
                    let far = resize(
                        &still.image,
                        tall * width / height,
                        tall,
                        FilterType::Lanczos3,
                    );
                    far.save(folder.join(format!("seen-{of}-{state}.png")))?;
                    seen.push(far);
                }
                let columns = if width > height { 4 } else { 7 };
                let ground = if theme == Theme::Dark {
                    [90; 3]
                } else {
                    [200; 3]
                };
                sheet(&small, columns, ground).save(folder.join(format!("sheet-{of}.png")))?;
                sheet(&seen, columns, ground).save(folder.join(format!("sheet-seen-{of}.png")))?;
            }
        }
    }
    Ok(())
}
