//! Every colour, size and proportion of the big screen, and its font.

use std::sync::Arc;

use egui::{Color32, FontData, FontDefinitions, FontFamily};

// --- Colours -------------------------------------------------------------
// The hues with a meaning are the palette of Okabe and Ito, which stays apart
// under every common colour blindness. No meaning hangs on colour alone:
// beside each stands a shape and a word.

/// Behind everything.
pub(super) const BACKGROUND: Color32 = Color32::from_rgb(0x0B, 0x0F, 0x14);
/// Words and measured numbers.
pub(super) const TEXT: Color32 = Color32::from_rgb(0xF4, 0xF7, 0xFA);
/// The second thing to read.
pub(super) const QUIET_TEXT: Color32 = Color32::from_rgb(0xB4, 0xC0, 0xCC);
/// The thing to do, and the number to reach (Okabe-Ito yellow).
pub(super) const GOAL: Color32 = Color32::from_rgb(0xF0, 0xE4, 0x42);
/// The side (Okabe-Ito sky blue).
pub(super) const SIDE: Color32 = Color32::from_rgb(0x56, 0xB4, 0xE9);
/// Praise (Okabe-Ito bluish green).
pub(super) const GOOD: Color32 = Color32::from_rgb(0x00, 0x9E, 0x73);
/// A fault (Okabe-Ito orange).
pub(super) const FAULT: Color32 = Color32::from_rgb(0xE6, 0x9F, 0x00);
/// The rest of a body in a symbol, and helping lines.
pub(super) const BODY: Color32 = Color32::from_rgb(0x8C, 0x9A, 0xAA);

/// How much of the background is laid over a picture behind text, 0 to 1.
/// At this share even a white picture leaves the text its contrast.
const SCRIM_SHARE: f32 = 0.80;

/// What is laid over a picture behind text.
pub(super) fn scrim() -> Color32 {
    BACKGROUND.gamma_multiply(SCRIM_SHARE)
}

/// The brightest that a picture under the scrim can be.
pub(super) fn brightest_under_scrim() -> Color32 {
    let mix = |over: u8| {
        let under = 255.0 * (1.0 - SCRIM_SHARE);
        (f32::from(over) * SCRIM_SHARE + under).round() as u8
    };
    Color32::from_rgb(
        mix(BACKGROUND.r()),
        mix(BACKGROUND.g()),
        mix(BACKGROUND.b()),
    )
}

// --- Sizes at the eye, minutes of arc -------------------------------------
// 16' is the least for characters and 20' to 22' is preferred (ISO 9241-3 as
// quoted by IBM; NUREG-0700 1.3.1-4). The steps above are a choice of this
// project: one look has to do, in passing, for a child.

/// The symbol and the numbers.
pub(super) const NUMBER_ARCMIN: f32 = 45.0;
/// The word that says what to do.
pub(super) const WORD_ARCMIN: f32 = 30.0;
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

/// Free edge above, as a share of the shorter side.
pub(super) const MARGIN: f32 = 0.06;
/// Free edge to the left and right of lying and of standing screens.
pub(super) const SIDE_MARGIN: f32 = 0.088;
pub(super) const SIDE_MARGIN_STANDING: f32 = 0.05;
/// Gap between blocks, as a share of the shorter side.
pub(super) const GAP: f32 = 0.055;
/// Tallest capitals of the word to do, as a share of the shorter side.
pub(super) const WORD_MOST: f32 = 0.165;
/// Tallest capitals of headlines, as a share of the shorter side.
pub(super) const TITLE_MOST: f32 = 0.185;
/// Capitals of numbers where there is room, as a share of the shorter side.
pub(super) const NUMBER_MOST: f32 = 0.215;
/// Tallest capitals of notes, as a share of the shorter side.
pub(super) const NOTE_MOST: f32 = 0.115;
/// Capitals of the word of the side, as a share of the shorter side.
pub(super) const TAG: f32 = 0.09;
/// The most that numbers, notes and the word of the side may take of the
/// height; reached only on screens too small for their distance.
pub(super) const NUMBERS_HIGHEST: f32 = 0.46;
pub(super) const NOTE_HIGHEST: f32 = 0.53;
pub(super) const NOTE_HIGHEST_STANDING: f32 = 0.42;
pub(super) const TAG_HIGHEST: f32 = 0.16;
/// Side of the symbol of a cue on a standing screen, as a share of the width
/// of the content.
pub(super) const SYMBOL_STANDING: f32 = 0.37;
/// Tallest headline on a standing screen, as a share of the height.
pub(super) const TITLE_HIGHEST_STANDING: f32 = 0.32;
/// Free room on either side of a symbol above a headline, as a share of the
/// width of the content.
pub(super) const SYMBOL_SHRINK_STANDING: f32 = 0.17;
/// Symbol beside a headline, as a share of the height it has.
pub(super) const SYMBOL_SHARE_LYING: f32 = 0.82;
/// Widest symbol on a lying screen, as a share of the width of the content.
pub(super) const SYMBOL_LYING: f32 = 0.38;
/// From baseline to baseline, in heights of capitals.
pub(super) const LINE_PITCH: f32 = 1.50;
/// How far letters reach below the baseline, in heights of capitals.
pub(super) const DESCENDER: f32 = 0.30;
/// Height of the coach's strip, in heights of its capitals.
pub(super) const STRIP_HEIGHT: f32 = 2.6;
/// Gap between two entries of the strip, in heights of its capitals.
pub(super) const STRIP_GAP: f32 = 2.2;
/// Width of the bar at the edge that marks the side, as a share of the
/// shorter side.
pub(super) const SIDE_BAR: f32 = 0.022;
/// Length of the arrow between two numbers, in heights of capitals.
pub(super) const ARROW_LENGTH: f32 = 0.66;
/// Free room on either side of that arrow, in heights of capitals.
pub(super) const ARROW_GAP: f32 = 0.32;
/// Free room inside the frame of the wanted number, in heights of capitals.
pub(super) const FRAME_PAD: f32 = 0.24;
/// Thickness of that frame and of the arrow, in heights of capitals.
pub(super) const FRAME_LINE: f32 = 0.085;
/// The degree sign, level with the capitals: outer radius, thickness, and
/// room before it, in heights of capitals.
pub(super) const DEGREE_RADIUS: f32 = 0.185;
pub(super) const DEGREE_LINE: f32 = 0.1;
pub(super) const DEGREE_GAP: f32 = 0.05;
/// How far above the foot of its room the word of the side stands, in
/// heights of its capitals.
pub(super) const TAG_LIFT: f32 = 0.22;
/// Roundness of corners, in heights of capitals.
pub(super) const ROUNDNESS: f32 = 0.24;

// --- Font -----------------------------------------------------------------

/// Barlow Semi Condensed, semi-bold: drawn after road signs, narrow enough
/// for tall letters in little width. Copyright 2017 The Barlow Project
/// Authors, SIL Open Font License 1.1 (`fonts/OFL.txt`).
const FONT_BYTES: &[u8] = include_bytes!("fonts/BarlowSemiCondensed-SemiBold.ttf");
const FONT_NAME: &str = "Barlow Semi Condensed SemiBold";

/// The family everything on the screen is set in.
pub(super) fn font_family() -> FontFamily {
    FontFamily::Proportional
}

/// Gives a context the font of the big screen. Call once, before its first
/// frame.
pub fn install_fonts(ctx: &egui::Context) {
    let mut fonts = FontDefinitions::default();
    fonts.font_data.insert(
        FONT_NAME.to_owned(),
        Arc::new(FontData::from_static(FONT_BYTES)),
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

    /// Black against white is 21 by definition; the others were computed
    /// apart from this program for the palette on black.
    #[test]
    fn contrast_agrees_with_known_values() {
        let known = [
            (Color32::WHITE, 21.0),
            (GOAL, 15.9),
            (FAULT, 9.3),
            (SIDE, 9.1),
            (GOOD, 6.1),
        ];
        for (colour, ratio) in known {
            let is = contrast_ratio(colour, Color32::BLACK);
            assert!((is - ratio).abs() < 0.05, "{colour:?}: {is}");
            assert_eq!(is, contrast_ratio(Color32::BLACK, colour));
        }
    }
}
