//! How the panel looks: two palettes, by day and for a dark hall, and the
//! sizes, in true millimetres on the glass.
//!
//! Ice, deep teal ink, one orange for what wants attention: the family of the
//! skater's screen. Every pair of text and ground has a contrast of 7 at
//! least (WCAG 2.2, 1.4.6).

use egui::Color32;

/// Colours of one look.
#[derive(Debug, PartialEq)]
pub(super) struct Palette {
    /// Whether it is the one for a dark hall.
    pub(super) dark: bool,
    /// Behind everything.
    pub(super) background: Color32,
    /// Behind a group of things that belong together.
    pub(super) card: Color32,
    /// Words and numbers.
    pub(super) text: Color32,
    /// The second thing to read.
    pub(super) quiet: Color32,
    /// Edges of what can be pressed.
    pub(super) edge: Color32,
    /// Edges of groups, and of keys that do nothing now.
    pub(super) card_edge: Color32,
    /// What can be pressed.
    pub(super) key: Color32,
    /// The same under the pointer.
    pub(super) key_over: Color32,
    /// The same while it is pressed.
    pub(super) key_down: Color32,
    /// The thing to press, and what is chosen.
    pub(super) main: Color32,
    /// The same under the pointer.
    pub(super) main_over: Color32,
    /// The same while it is pressed.
    pub(super) main_down: Color32,
    /// Words on it.
    pub(super) on_main: Color32,
    /// What cannot be taken back.
    pub(super) danger: Color32,
    /// The same under the pointer and while it is pressed.
    pub(super) danger_over: Color32,
    /// Words on it.
    pub(super) on_danger: Color32,
    /// Behind a warning.
    pub(super) warning: Color32,
    /// Signs of a warning.
    pub(super) alarm: Color32,
    /// Behind good news.
    pub(super) good: Color32,
    /// What is wanted: the band of a curve.
    pub(super) band: Color32,
    /// A limit on a curve.
    pub(super) limit: Color32,
    /// Drawn over a picture, with a rim of [`OVER_RIM`].
    pub(super) over_picture: Color32,
    /// Behind a picture that is not there.
    pub(super) no_picture: Color32,
}

/// The rim of what is drawn over a picture, in every look.
pub(super) const OVER_RIM: Color32 = Color32::from_rgb(0x04, 0x18, 0x1D);

/// By day, and under the lamps of a rink.
pub(super) static LIGHT: Palette = Palette {
    dark: false,
    background: Color32::from_rgb(0xE6, 0xF0, 0xF4),
    card: Color32::from_rgb(0xFC, 0xFE, 0xFF),
    text: Color32::from_rgb(0x06, 0x22, 0x29),
    quiet: Color32::from_rgb(0x27, 0x46, 0x4F),
    edge: Color32::from_rgb(0x4E, 0x74, 0x80),
    card_edge: Color32::from_rgb(0xB0, 0xC8, 0xD1),
    key: Color32::from_rgb(0xF3, 0xF9, 0xFB),
    key_over: Color32::from_rgb(0xDC, 0xEC, 0xF1),
    key_down: Color32::from_rgb(0xC2, 0xDF, 0xE7),
    main: Color32::from_rgb(0x0A, 0x4E, 0x5C),
    main_over: Color32::from_rgb(0x08, 0x5C, 0x6D),
    main_down: Color32::from_rgb(0x06, 0x38, 0x43),
    on_main: Color32::from_rgb(0xFC, 0xFE, 0xFF),
    danger: Color32::from_rgb(0x93, 0x1B, 0x0E),
    danger_over: Color32::from_rgb(0x7C, 0x14, 0x09),
    on_danger: Color32::from_rgb(0xFC, 0xFE, 0xFF),
    warning: Color32::from_rgb(0xFF, 0xE8, 0xCB),
    alarm: Color32::from_rgb(0xB4, 0x4A, 0x00),
    good: Color32::from_rgb(0xD3, 0xEF, 0xE0),
    band: Color32::from_rgb(0xBD, 0xE5, 0xD0),
    limit: Color32::from_rgb(0x7A, 0x33, 0x00),
    over_picture: Color32::from_rgb(0xFF, 0xA6, 0x3D),
    no_picture: Color32::from_rgb(0xC9, 0xDA, 0xE0),
};

/// For a dark hall.
pub(super) static DARK: Palette = Palette {
    dark: true,
    background: Color32::from_rgb(0x09, 0x17, 0x1C),
    card: Color32::from_rgb(0x10, 0x25, 0x2C),
    text: Color32::from_rgb(0xEC, 0xF7, 0xFA),
    quiet: Color32::from_rgb(0xBD, 0xD3, 0xDA),
    edge: Color32::from_rgb(0x76, 0x9B, 0xA7),
    card_edge: Color32::from_rgb(0x2C, 0x4A, 0x54),
    key: Color32::from_rgb(0x17, 0x32, 0x3B),
    key_over: Color32::from_rgb(0x1F, 0x40, 0x4B),
    key_down: Color32::from_rgb(0x28, 0x4E, 0x5A),
    main: Color32::from_rgb(0x6F, 0xD3, 0xE3),
    main_over: Color32::from_rgb(0x8F, 0xE0, 0xED),
    main_down: Color32::from_rgb(0xB3, 0xEC, 0xF5),
    on_main: Color32::from_rgb(0x04, 0x18, 0x1D),
    danger: Color32::from_rgb(0x93, 0x1B, 0x0E),
    danger_over: Color32::from_rgb(0x7C, 0x14, 0x09),
    on_danger: Color32::from_rgb(0xFC, 0xFE, 0xFF),
    warning: Color32::from_rgb(0x4A, 0x2B, 0x05),
    alarm: Color32::from_rgb(0xFF, 0xA6, 0x3D),
    good: Color32::from_rgb(0x0D, 0x3A, 0x2A),
    band: Color32::from_rgb(0x17, 0x4C, 0x39),
    limit: Color32::from_rgb(0xFF, 0xC2, 0x85),
    over_picture: Color32::from_rgb(0xFF, 0xA6, 0x3D),
    no_picture: Color32::from_rgb(0x1B, 0x33, 0x3B),
};

// Millimetres.

/// Least side of anything to press: a finger in a glove.
pub(super) const TARGET_MM: f32 = 12.0;
/// Keys that are pressed most.
pub(super) const LARGE_MM: f32 = 16.0;
/// Capitals of everything to read: 23 minutes of arc at arm's length
/// (0.6 m). A tablet is held nearer: see [`NEAR`].
pub(super) const CAP_MM: f32 = 4.0;
/// Share of that on a small screen: 24 minutes of arc at 0.45 m.
pub(super) const NEAR: f32 = 0.8;
/// Capitals of the title of a group.
pub(super) const HEAD_CAP_MM: f32 = 4.6;
/// Capitals of the title of a page.
pub(super) const TITLE_CAP_MM: f32 = 6.0;
/// Capitals of the one thing of a page.
pub(super) const LARGE_CAP_MM: f32 = 8.0;
/// Capitals of the names under the signs of pages, where room is short: 17
/// minutes of arc at 0.45 m; the sign says the same.
pub(super) const LEAST_CAP_MM: f32 = 2.2;
/// Between two things to press.
pub(super) const GAP_MM: f32 = 2.0;
/// Free edge inside of a group.
pub(super) const PAD_MM: f32 = 3.0;
/// Free edge of the page.
pub(super) const MARGIN_MM: f32 = 3.0;
/// Width of the column of pages.
pub(super) const NAV_MM: f32 = 40.0;
/// The same where room is short: signs with their names below.
pub(super) const NARROW_NAV_MM: f32 = 24.0;
/// Height of the bar of pages of an upright screen.
pub(super) const NAV_BAR_MM: f32 = 15.0;
/// Between the names of the pages.
pub(super) const NAV_GAP_MM: f32 = 1.2;
/// Edges of what can be pressed.
pub(super) const EDGE_MM: f32 = 0.35;
/// The ring around what the keyboard is at.
pub(super) const RING_MM: f32 = 1.0;
/// Roundness of corners.
pub(super) const ROUND_MM: f32 = 2.2;
/// Lines of curves.
pub(super) const CURVE_MM: f32 = 0.7;
/// Width of the bar that scrolls a page.
pub(super) const BAR_MM: f32 = 12.0;
/// Height of the capitals of the font as a share of its size.
pub(super) const CAP_SHARE: f32 = 0.7;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::display::contrast_ratio;

    /// WCAG 2.2, 1.4.6 (text, enhanced) and 1.4.11 (drawings).
    #[test]
    fn both_looks_are_read_in_their_light() {
        for p in [&LIGHT, &DARK] {
            let grounds = [
                p.background,
                p.card,
                p.key,
                p.key_over,
                p.key_down,
                p.no_picture,
            ];
            let mut text: Vec<(Color32, Color32)> = vec![
                (p.text, p.warning),
                (p.text, p.good),
                (p.text, p.band),
                (p.quiet, p.background),
                (p.quiet, p.card),
                (p.quiet, p.key),
                (p.quiet, p.no_picture),
                (p.on_main, p.main),
                (p.on_main, p.main_over),
                (p.on_main, p.main_down),
                (p.on_danger, p.danger),
                (p.on_danger, p.danger_over),
                (p.limit, p.card),
            ];
            text.extend(grounds.map(|g| (p.text, g)));
            for (text, on) in text {
                let is = contrast_ratio(text, on);
                assert!(is >= 7.0, "dark {}: {text:?} on {on:?}: {is}", p.dark);
            }
            for (drawing, on) in [
                (p.edge, p.card),
                (p.edge, p.background),
                (p.edge, p.key),
                (p.main, p.card),
                (p.main, p.background),
                (p.main, p.band),
                (p.limit, p.band),
                (p.alarm, p.warning),
                (p.alarm, p.card),
                (p.over_picture, OVER_RIM),
            ] {
                let is = contrast_ratio(drawing, on);
                assert!(is >= 3.0, "dark {}: {drawing:?} on {on:?}: {is}", p.dark);
            }
        }
    }
}
