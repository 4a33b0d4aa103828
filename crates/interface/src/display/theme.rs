//! Every colour, size and proportion of the big screen, and its font.

use std::sync::Arc;

use egui::{Color32, FontData, FontDefinitions, FontFamily, FontTweak};

use super::appearance::Theme;

// --- Colours -------------------------------------------------------------
// The hues with a meaning are the palette of Okabe and Ito, which stays apart
// under every common colour blindness. No meaning hangs on colour alone:
// beside each stands a shape and a word.

/// The colours of one theme.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Palette {
    /// Behind everything.
    pub(super) background: Color32,
    /// Words and measured numbers.
    pub(super) text: Color32,
    /// The second thing to read.
    pub(super) quiet_text: Color32,
    /// The thing to do, and the number to reach.
    pub(super) goal: Color32,
    /// The side.
    pub(super) side: Color32,
    /// Praise.
    pub(super) good: Color32,
    /// The mark on praise.
    pub(super) on_good: Color32,
    /// A fault.
    pub(super) fault: Color32,
    /// The rest of a body in a symbol, and helping lines.
    pub(super) body: Color32,
    /// How much of the background is laid over a picture behind text, in
    /// percent. At this share even the worst picture leaves the text its
    /// contrast.
    scrim_percent: u8,
}

/// Light on dark. The hues with a meaning: Okabe-Ito yellow, sky blue, bluish
/// green, orange.
pub(super) static DARK: Palette = Palette {
    background: Color32::from_rgb(0x0B, 0x0F, 0x14),
    text: Color32::from_rgb(0xF4, 0xF7, 0xFA),
    quiet_text: Color32::from_rgb(0xB4, 0xC0, 0xCC),
    goal: Color32::from_rgb(0xF0, 0xE4, 0x42),
    side: Color32::from_rgb(0x56, 0xB4, 0xE9),
    good: Color32::from_rgb(0x00, 0x9E, 0x73),
    on_good: Color32::from_rgb(0xF4, 0xF7, 0xFA),
    fault: Color32::from_rgb(0xE6, 0x9F, 0x00),
    body: Color32::from_rgb(0x8C, 0x9A, 0xAA),
    scrim_percent: 80,
};

/// Dark on light. The palette's own hues are too faint on white; these are
/// darker ones, a warm and a cold one for what must not be mixed up.
pub(super) static LIGHT: Palette = Palette {
    background: Color32::from_rgb(0xF6, 0xF8, 0xFA),
    text: Color32::from_rgb(0x0B, 0x0F, 0x14),
    quiet_text: Color32::from_rgb(0x33, 0x3F, 0x4B),
    goal: Color32::from_rgb(0x00, 0x3E, 0x86),
    side: Color32::from_rgb(0x9A, 0x55, 0x00),
    good: Color32::from_rgb(0x00, 0x6B, 0x4E),
    on_good: Color32::from_rgb(0xF6, 0xF8, 0xFA),
    fault: Color32::from_rgb(0x7A, 0x38, 0x00),
    body: Color32::from_rgb(0x6B, 0x78, 0x86),
    scrim_percent: 90,
};

impl Palette {
    /// The colours of a theme.
    pub(super) fn of(theme: Theme) -> &'static Palette {
        match theme {
            Theme::Dark => &DARK,
            Theme::Light => &LIGHT,
        }
    }

    fn scrim_share(&self) -> f32 {
        f32::from(self.scrim_percent) / 100.0
    }

    /// What is laid over a picture behind text.
    pub(super) fn scrim(&self) -> Color32 {
        self.background.gamma_multiply(self.scrim_share())
    }

    /// The colour under the scrim that is worst for the text: of a white
    /// picture under light letters, of a black one under dark letters.
    pub(super) fn worst_under_scrim(&self) -> Color32 {
        let text_is_light = relative_luminance(self.text) > 0.5;
        let mix = |over: u8| {
            let under = if text_is_light { 255.0 } else { 0.0 };
            let share = self.scrim_share();
            (f32::from(over) * share + under * (1.0 - share)).round() as u8
        };
        Color32::from_rgb(
            mix(self.background.r()),
            mix(self.background.g()),
            mix(self.background.b()),
        )
    }
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
/// The same where something good is said beside the cue.
pub(super) const SYMBOL_STANDING_TIGHT: f32 = 0.27;
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
/// Pitch of lines, and gap above the numbers, where something good is said
/// beside a thing to do.
pub(super) const TIGHT_PITCH: f32 = 1.24;
pub(super) const TIGHT_GAP: f32 = 0.3;
pub(super) const TIGHT_GAP_STANDING: f32 = 0.6;
/// Side of the mark before what is good, and the gap behind it, in heights of
/// its capitals.
pub(super) const GOOD_MARK: f32 = 1.0;
pub(super) const GOOD_MARK_GAP: f32 = 0.25;
/// Side of the symbol beside the lines of a summary, as a share of the
/// shorter side.
pub(super) const SUMMARY_SYMBOL: f32 = 0.34;
/// More room between two things of a summary, in heights of capitals.
pub(super) const SUMMARY_GAP: f32 = 0.55;
/// Free room around text on a plate over a picture, in heights of capitals.
pub(super) const PLATE_PAD: f32 = 0.35;
/// Lines of a body over a picture, as a share of the height of the picture.
pub(super) const BODY_LINE: f32 = 0.009;
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

// --- The coach's panel ----------------------------------------------------

/// Colours and sizes of the coach's panel: dark on light, because it stands in
/// bright light, at arm's length, under fingers in gloves. Sizes are true
/// millimetres on the glass.
pub(crate) mod panel {
    use egui::Color32;

    /// Behind everything.
    pub(crate) const BACKGROUND: Color32 = Color32::from_rgb(0xE9, 0xED, 0xF1);
    /// Behind a group of things that belong together.
    pub(crate) const CARD: Color32 = Color32::WHITE;
    /// Words and numbers.
    pub(crate) const TEXT: Color32 = Color32::from_rgb(0x0B, 0x0F, 0x14);
    /// The second thing to read.
    pub(crate) const QUIET: Color32 = Color32::from_rgb(0x33, 0x3F, 0x4B);
    /// Edges of what can be pressed.
    pub(crate) const EDGE: Color32 = Color32::from_rgb(0x5A, 0x67, 0x75);
    /// Edges of groups.
    pub(crate) const CARD_EDGE: Color32 = Color32::from_rgb(0xA4, 0xB0, 0xBC);
    /// What can be pressed.
    pub(crate) const KEY: Color32 = Color32::from_rgb(0xF6, 0xF8, 0xFA);
    /// The thing to press, and what is chosen.
    pub(crate) const MAIN: Color32 = Color32::from_rgb(0x00, 0x3E, 0x86);
    /// What cannot be taken back.
    pub(crate) const DANGER: Color32 = Color32::from_rgb(0x8A, 0x1C, 0x10);
    /// Words on those two.
    pub(crate) const ON_MAIN: Color32 = Color32::WHITE;
    /// Behind a warning.
    pub(crate) const WARNING: Color32 = Color32::from_rgb(0xFF, 0xF0, 0xC2);
    /// Behind good news.
    pub(crate) const GOOD: Color32 = Color32::from_rgb(0xD8, 0xF0, 0xE4);
    /// What is wanted: the band of a curve.
    pub(crate) const BAND: Color32 = Color32::from_rgb(0xBF, 0xE3, 0xD2);
    /// A limit on a curve.
    pub(crate) const LIMIT: Color32 = Color32::from_rgb(0x7A, 0x38, 0x00);
    /// Drawn over a picture, with a rim of [`TEXT`].
    pub(crate) const OVER_PICTURE: Color32 = Color32::from_rgb(0xF0, 0xE4, 0x42);
    /// Behind a picture that is not there.
    pub(crate) const NO_PICTURE: Color32 = Color32::from_rgb(0xCF, 0xD6, 0xDD);

    /// Every colour of text with what it may stand on.
    #[cfg(test)]
    pub(crate) const TEXT_PAIRS: [(Color32, Color32); 14] = [
        (TEXT, BACKGROUND),
        (TEXT, CARD),
        (TEXT, KEY),
        (TEXT, WARNING),
        (TEXT, GOOD),
        (TEXT, BAND),
        (TEXT, NO_PICTURE),
        (QUIET, BACKGROUND),
        (QUIET, CARD),
        (QUIET, KEY),
        (QUIET, NO_PICTURE),
        (ON_MAIN, MAIN),
        (ON_MAIN, DANGER),
        (LIMIT, CARD),
    ];
    /// Every drawing that carries meaning with what it stands on.
    #[cfg(test)]
    pub(crate) const GRAPHIC_PAIRS: [(Color32, Color32); 7] = [
        (EDGE, CARD),
        (EDGE, BACKGROUND),
        (EDGE, KEY),
        (MAIN, CARD),
        (MAIN, BAND),
        (LIMIT, BAND),
        (OVER_PICTURE, TEXT),
    ];

    // Millimetres.

    /// Least side of anything to press: a finger in a glove.
    pub(crate) const TARGET_MM: f32 = 12.0;
    /// Keys that are pressed most.
    pub(crate) const LARGE_MM: f32 = 17.0;
    /// Capitals of everything to read: 23 minutes of arc at arm's length
    /// (0.6 m).
    pub(crate) const CAP_MM: f32 = 4.0;
    /// Capitals of the title of a group.
    pub(crate) const HEAD_CAP_MM: f32 = 4.6;
    /// Capitals of the title of a page.
    pub(crate) const TITLE_CAP_MM: f32 = 6.0;
    /// Capitals of the one thing of a page.
    pub(crate) const LARGE_CAP_MM: f32 = 8.5;
    /// Between two things to press.
    pub(crate) const GAP_MM: f32 = 2.0;
    /// Free edge inside of a group.
    pub(crate) const PAD_MM: f32 = 3.0;
    /// Free edge of the page.
    pub(crate) const MARGIN_MM: f32 = 4.0;
    /// Width of the column of pages.
    pub(crate) const NAV_MM: f32 = 43.0;
    /// Edges of what can be pressed.
    pub(crate) const EDGE_MM: f32 = 0.4;
    /// The ring around what the keyboard is at.
    pub(crate) const RING_MM: f32 = 1.0;
    /// Roundness of corners.
    pub(crate) const ROUND_MM: f32 = 1.6;
    /// Lines of curves.
    pub(crate) const CURVE_MM: f32 = 0.7;
    /// Width of the bar that scrolls a page.
    pub(crate) const BAR_MM: f32 = 12.0;
    /// Height of the capitals of the font as a share of its size.
    pub(crate) const CAP_SHARE: f32 = 0.7;
}

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
        Arc::new(FontData::from_static(FONT_BYTES).tweak(FontTweak {
            // Letters of a hand's height need no quarters of pixels, and each
            // quarter is one more drawing of the letter in the texture.
            subpixel_binning: Some(false),
            ..FontTweak::default()
        })),
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

    #[test]
    fn everything_on_the_panel_is_read_in_bright_light() {
        for (text, on) in panel::TEXT_PAIRS {
            let is = contrast_ratio(text, on);
            assert!(is >= LEAST_TEXT_CONTRAST, "{text:?} on {on:?}: {is}");
        }
        for (drawing, on) in panel::GRAPHIC_PAIRS {
            let is = contrast_ratio(drawing, on);
            assert!(is >= LEAST_GRAPHIC_CONTRAST, "{drawing:?} on {on:?}: {is}");
        }
    }

    /// Black against white is 21 by definition; the others were computed
    /// apart from this program for the palette on black.
    #[test]
    fn contrast_agrees_with_known_values() {
        let known = [
            (Color32::WHITE, 21.0),
            (DARK.goal, 15.9),
            (DARK.fault, 9.3),
            (DARK.side, 9.1),
            (DARK.good, 6.1),
        ];
        for (colour, ratio) in known {
            let is = contrast_ratio(colour, Color32::BLACK);
            assert!((is - ratio).abs() < 0.05, "{colour:?}: {is}");
            assert_eq!(is, contrast_ratio(Color32::BLACK, colour));
        }
    }
}
