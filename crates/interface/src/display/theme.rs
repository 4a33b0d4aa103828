//! Every colour, size and proportion of the big screen, and its font.

use std::sync::Arc;

use egui::{Color32, FontData, FontDefinitions, FontFamily, FontTweak};

use super::appearance::Theme;

// --- Colours -------------------------------------------------------------
// Ice, deep teal ink, one orange for the thing to do and one green for what is in
// the zone; each theme is the other's twin. No meaning hangs on colour alone:
// beside each stands a shape, a place or a word.

/// The colours of one theme.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Palette {
    /// Behind everything.
    pub(super) background: Color32,
    /// Words and numbers.
    pub(super) text: Color32,
    /// The second thing to read.
    pub(super) quiet_text: Color32,
    /// The thing to do.
    pub(super) goal: Color32,
    /// In the zone, better, well done.
    pub(super) good: Color32,
    /// A fault, for the coach.
    pub(super) fault: Color32,
    /// A drawn skater.
    pub(super) body: Color32,
    /// The skater's farther side.
    pub(super) far: Color32,
    /// The skater as she skated.
    pub(super) ghost: Color32,
    /// The line of the ice.
    pub(super) ice: Color32,
    /// The bar a gauge's zone lies in.
    pub(super) track: Color32,
    /// The strip along the top.
    pub(super) strip: Color32,
    /// Words on the strip.
    pub(super) on_strip: Color32,
    /// The second thing to read on the strip.
    pub(super) quiet_on_strip: Color32,
    /// Over a picture: what is wanted.
    pub(super) over_limit: Color32,
}

/// Light on dark, for a hall that is not too bright.
pub(super) static DARK: Palette = Palette {
    background: Color32::from_rgb(0x05, 0x1E, 0x26),
    text: Color32::from_rgb(0xF0, 0xF8, 0xFA),
    quiet_text: Color32::from_rgb(0xB2, 0xD0, 0xD8),
    goal: Color32::from_rgb(0xFF, 0x8A, 0x38),
    good: Color32::from_rgb(0x54, 0xD6, 0xA0),
    fault: Color32::from_rgb(0xFF, 0xC4, 0x52),
    body: Color32::from_rgb(0xE4, 0xF2, 0xF5),
    far: Color32::from_rgb(0x96, 0xB8, 0xC1),
    ghost: Color32::from_rgb(0x4F, 0x77, 0x83),
    ice: Color32::from_rgb(0x3A, 0x66, 0x73),
    track: Color32::from_rgb(0x2A, 0x4E, 0x59),
    strip: Color32::from_rgb(0x0E, 0x38, 0x44),
    on_strip: Color32::from_rgb(0xF0, 0xF8, 0xFA),
    quiet_on_strip: Color32::from_rgb(0xC4, 0xDF, 0xE6),
    over_limit: Color32::from_rgb(0x7F, 0xD4, 0xE8),
};

/// Dark on light, where light falls onto the glass.
pub(super) static LIGHT: Palette = Palette {
    background: Color32::from_rgb(0xEF, 0xF6, 0xF8),
    text: Color32::from_rgb(0x06, 0x26, 0x2E),
    quiet_text: Color32::from_rgb(0x26, 0x49, 0x52),
    goal: Color32::from_rgb(0xD0, 0x45, 0x08),
    good: Color32::from_rgb(0x0B, 0x74, 0x4B),
    fault: Color32::from_rgb(0x7A, 0x38, 0x00),
    body: Color32::from_rgb(0x0B, 0x33, 0x3D),
    far: Color32::from_rgb(0x3E, 0x66, 0x70),
    ghost: Color32::from_rgb(0x6C, 0x8D, 0x97),
    ice: Color32::from_rgb(0x9C, 0xC3, 0xCF),
    track: Color32::from_rgb(0xC3, 0xD9, 0xE0),
    strip: Color32::from_rgb(0x0B, 0x33, 0x3D),
    on_strip: Color32::from_rgb(0xF4, 0xFA, 0xFB),
    quiet_on_strip: Color32::from_rgb(0xC4, 0xDF, 0xE6),
    over_limit: Color32::from_rgb(0x7F, 0xD4, 0xE8),
};

impl Palette {
    /// The colours of a theme.
    pub(super) fn of(theme: Theme) -> &'static Palette {
        match theme {
            Theme::Dark => &DARK,
            Theme::Light => &LIGHT,
        }
    }
}

// --- Sizes at the eye, minutes of arc -------------------------------------
// 16' is the least for characters and 20' to 22' is preferred (ISO 9241-3 as
// quoted by IBM; NUREG-0700 1.3.1-4). The steps above are a choice of this
// project: one look has to do, in passing, for a child.

/// Drawings.
pub(super) const NUMBER_ARCMIN: f32 = 45.0;
/// The order: the tallest letters of its screen.
pub(super) const ORDER_ARCMIN: f32 = 60.0;
/// Said to a child who can do nothing: to be read, not to be stared at.
pub(super) const WORD_ARCMIN: f32 = 30.0;
/// The gauge: its dot is a third of this.
pub(super) const GAUGE_ARCMIN: f32 = 15.0;
/// Anything at all.
pub(super) const LEAST_ARCMIN: f32 = 22.0;
/// From where the strip for the coach is read, metres.
pub(super) const COACH_DISTANCE_M: f32 = 2.0;
/// What rounding to whole pixels may take off, as a share.
pub(super) const ROUNDING: f32 = 0.01;

// --- Contrast (WCAG 2.2, success criteria 1.4.6 and 1.4.11) ---------------

/// Least contrast of text against what is behind it.
pub(super) const LEAST_TEXT_CONTRAST: f32 = 7.0;
/// Least contrast of drawings that carry meaning.
pub(super) const LEAST_GRAPHIC_CONTRAST: f32 = 3.0;

// --- Proportions ----------------------------------------------------------

/// Room between things, as a share of the shorter side.
pub(super) const GAP: f32 = 0.02;
/// Height of the strip along the top, in heights of its capitals.
pub(super) const HEAD_HEIGHT: f32 = 1.26;
/// The same as a share of the height of the screen: no more than this.
pub(super) const HEAD_MOST: f32 = 0.18;
/// Where the column of the figure ends and that of the words begins, as shares
/// of the width of a lying screen.
pub(super) const FIGURE_RIGHT: f32 = 0.433;
pub(super) const WORDS_LEFT: f32 = 0.441;
/// Free edge at the sides, as a share of the width.
pub(super) const EDGE: f32 = 0.014;
/// Height of an order's room on a standing screen, in its least capitals: two lines, the
/// lower one with letters that reach below it. The figure has the rest, but no more than
/// a square, which holds the widest stride, and no less than so much of the height.
pub(super) const ORDER_STANDING: f32 = (1.0 + ORDER_PITCH + DESCENDER) * (1.0 + ROUNDING);
pub(super) const FIGURE_STANDING_LEAST: f32 = 0.34;
/// Tallest capitals of an order, as a share of the height of its room.
pub(super) const ORDER_MOST: f32 = 0.42;
/// From baseline to baseline of an order, in heights of capitals, and where a
/// letter that reaches below the line stands over a tall one.
pub(super) const ORDER_PITCH: f32 = 1.19;
pub(super) const ORDER_PITCH_DESCENDING: f32 = 1.36;
/// From baseline to baseline of other text.
pub(super) const LINE_PITCH: f32 = 1.50;
/// How far letters reach below the baseline, in heights of capitals.
pub(super) const DESCENDER: f32 = 0.30;
/// Height of the row under the order, in heights of its capitals.
pub(super) const ROW_HEIGHT: f32 = 1.0;
/// Free room below the row, for letters that reach below their line, and above it, in
/// heights of the row.
pub(super) const ROW_BELOW: f32 = 0.34;
pub(super) const ROW_ABOVE: f32 = 0.1;
/// Height of the coach's line, in heights of its capitals.
pub(super) const STRIP_HEIGHT: f32 = 1.9;
/// Gap between two entries of the coach's line, in heights of its capitals.
pub(super) const STRIP_GAP: f32 = 1.6;
/// Radius of the empty thought beside a head, as a share of the shorter side of its room.
pub(super) const THOUGHT: f32 = 0.11;
/// Height of the drawn ice, as a share of the shorter side.
pub(super) const ICE_LINE: f32 = 0.014;
/// Radius of the bib of who is next, and of who is in the lane, as shares of the
/// shorter side.
pub(super) const NEXT_BIB: f32 = 0.345;
pub(super) const LANE_BIB: f32 = 0.26;
/// Lines of a body over a picture, as a share of the height of the picture.
pub(super) const BODY_LINE: f32 = 0.009;
/// Free room around text on a plate over a picture, in heights of capitals.
pub(super) const PLATE_PAD: f32 = 0.35;
/// The degree sign, level with the capitals: outer radius, thickness, and
/// room before it, in heights of capitals.
pub(super) const DEGREE_RADIUS: f32 = 0.185;
pub(super) const DEGREE_LINE: f32 = 0.1;
pub(super) const DEGREE_GAP: f32 = 0.05;

// --- Font -----------------------------------------------------------------

/// Barlow Semi Condensed, semi-bold: drawn after road signs, narrow enough
/// for tall letters in little width. Copyright 2017 The Barlow Project
/// Authors, SIL Open Font License 1.1 (`fonts/OFL.txt`).
const FONT_BYTES: &[u8] = include_bytes!("fonts/BarlowSemiCondensed-SemiBold.ttf");
const FONT_NAME: &str = "Barlow Semi Condensed SemiBold";

/// Barlow Condensed, bold: orders and bibs, so that the few words that count stand
/// twice as tall in the same width. The same family, authors and licence.
const ORDER_FONT_BYTES: &[u8] = include_bytes!("fonts/BarlowCondensed-Bold.ttf");
const ORDER_FONT_NAME: &str = "Barlow Condensed Bold";

/// The family everything but orders and bibs is set in.
pub(super) fn font_family() -> FontFamily {
    FontFamily::Proportional
}

/// The family of orders and bibs.
pub(super) fn order_family() -> FontFamily {
    FontFamily::Name(ORDER_FONT_NAME.into())
}

/// Gives a context the font of the big screen. Call once, before its first
/// frame.
pub fn install_fonts(ctx: &egui::Context) {
    let mut fonts = FontDefinitions::default();
    for (name, bytes) in [(FONT_NAME, FONT_BYTES), (ORDER_FONT_NAME, ORDER_FONT_BYTES)] {
        fonts.font_data.insert(
            name.to_owned(),
            Arc::new(FontData::from_static(bytes).tweak(FontTweak {
                // Letters of a hand's height need no quarters of pixels, and each
                // quarter is one more drawing of the letter in the texture.
                subpixel_binning: Some(false),
                ..FontTweak::default()
            })),
        );
    }
    // What one face lacks the other may have.
    fonts.families.insert(
        order_family(),
        vec![ORDER_FONT_NAME.to_owned(), FONT_NAME.to_owned()],
    );
    fonts
        .families
        .entry(font_family())
        .or_default()
        .insert(0, FONT_NAME.to_owned());
    ctx.set_fonts(fonts);
}

/// Contrast ratio of two opaque colours, 1 to 21 (WCAG 2.2, definitions of
/// 'contrast ratio' and 'relative luminance').
pub fn contrast_ratio(a: Color32, b: Color32) -> f32 {
    let (a, b) = (relative_luminance(a), relative_luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

fn relative_luminance(c: Color32) -> f32 {
    let linear = |channel: u8| {
        let s = f32::from(channel) / 255.0;
        if s <= 0.04045 {
            s / 12.92
        } else {
            ((s + 0.055) / 1.055).powf(2.4)
        }
    };
    0.2126 * linear(c.r()) + 0.7152 * linear(c.g()) + 0.0722 * linear(c.b())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Values of other programs: black on white is 21 by definition, #777777 on
    /// white 4.48 (the least grey that fails success criterion 1.4.3).
    #[test]
    fn contrast_agrees_with_known_values() {
        for (colour, ratio) in [
            (Color32::BLACK, 21.0),
            (Color32::from_rgb(0x77, 0x77, 0x77), 4.48),
            (Color32::from_rgb(0x59, 0x59, 0x59), 7.0),
        ] {
            let is = contrast_ratio(colour, Color32::WHITE);
            assert!((is - ratio).abs() < 0.05, "{colour:?}: {is}");
            assert_eq!(is, contrast_ratio(Color32::WHITE, colour));
        }
    }

    #[test]
    fn every_pair_of_colours_can_be_told_apart() {
        for p in [&DARK, &LIGHT] {
            for (ink, ground) in [
                (p.text, p.background),
                (p.quiet_text, p.background),
                (p.on_strip, p.strip),
                (p.quiet_on_strip, p.strip),
                (p.fault, p.background),
            ] {
                let is = contrast_ratio(ink, ground);
                assert!(is >= LEAST_TEXT_CONTRAST, "{ink:?} on {ground:?}: {is:.2}");
            }
            for ink in [p.goal, p.good, p.body, p.far, p.ghost] {
                let is = contrast_ratio(ink, p.background);
                assert!(is >= LEAST_GRAPHIC_CONTRAST, "{ink:?}: {is:.2}");
            }
        }
    }

    /// What protanopes, deuteranopes and tritanopes see, full strength, in linear
    /// light: the matrices of Machado, Oliveira and Fernandes 2009
    /// (doi 10.1109/TVCG.2009.113), from memory.
    const DEFICIENT: [[[f32; 3]; 3]; 3] = [
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ],
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ],
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ],
    ];

    fn linear(c: Color32) -> [f32; 3] {
        [c.r(), c.g(), c.b()].map(|v| {
            let s = f32::from(v) / 255.0;
            if s <= 0.04045 {
                s / 12.92
            } else {
                ((s + 0.055) / 1.055).powf(2.4)
            }
        })
    }

    /// Each matrix leaves grey grey: its rows add up to 1.
    #[test]
    fn the_simulation_leaves_grey_alone() {
        for row in DEFICIENT.as_flattened() {
            assert!((row.iter().sum::<f32>() - 1.0).abs() < 1e-3, "{row:?}");
        }
    }

    /// Do and good, signal and body, ghost and body stay apart for everybody: by
    /// at least 0.10 of the distance from black to white, in gamma space, where
    /// equal steps look about equal.
    #[test]
    fn signals_stay_apart_under_colour_deficiencies() {
        for p in [&DARK, &LIGHT] {
            for matrix in DEFICIENT {
                let seen = |c: Color32| {
                    let l = linear(c);
                    matrix.map(|row| {
                        let v: f32 = row.iter().zip(l).map(|(m, x)| m * x).sum();
                        v.clamp(0.0, 1.0).powf(1.0 / 2.2)
                    })
                };
                for (a, b) in [
                    (p.goal, p.good),
                    (p.goal, p.body),
                    (p.good, p.body),
                    (p.goal, p.ghost),
                    (p.ghost, p.body),
                    (p.goal, p.background),
                ] {
                    let (x, y) = (seen(a), seen(b));
                    let far = x.iter().zip(y).map(|(x, y)| (x - y).powi(2)).sum::<f32>();
                    let far = (far / 3.0).sqrt();
                    assert!(far >= 0.10, "{a:?} and {b:?} are {far:.2} apart");
                }
            }
        }
    }
}
