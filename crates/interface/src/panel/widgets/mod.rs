//! What the pages are made of: keys, sliders, fields, groups of things. Each
//! is large enough for a glove, has a name a screen reader says, and shows
//! where the keyboard is.

mod button;
mod field;
mod layout;
mod slider;

pub(super) use button::{Press, choice, toggle};
pub(super) use field::{field, field_lines};
pub(super) use layout::{card, columns, flow, grid, pager, plain_card};
pub(super) use slider::{Slider, stepper};

use egui::{Color32, FontFamily, FontId, RichText, Ui};

use crate::display::panel_theme as theme;

/// Points of one millimetre on the glass, and what follows from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sizes {
    points_per_mm: f32,
}

impl Sizes {
    /// A number that cannot be is replaced by that of a desktop screen (96
    /// points an inch).
    pub(super) fn new(points_per_mm: f32) -> Self {
        let can_be = points_per_mm.is_finite() && points_per_mm > 0.5;
        Sizes {
            points_per_mm: if can_be { points_per_mm } else { 96.0 / 25.4 },
        }
    }

    /// Points of a length in millimetres.
    pub(super) fn mm(self, mm: f32) -> f32 {
        mm * self.points_per_mm
    }

    /// Least side of anything to press, points. A little more than it says,
    /// so that rounding to whole points does not take it below.
    pub(super) fn target(self) -> f32 {
        self.mm(theme::TARGET_MM) + 0.5
    }

    /// Between two things, points.
    pub(super) fn gap(self) -> f32 {
        self.mm(theme::GAP_MM)
    }

    /// The font whose capitals have this height in millimetres.
    pub(super) fn font(self, cap_mm: f32) -> FontId {
        FontId::new(self.mm(cap_mm) / theme::CAP_SHARE, FontFamily::Proportional)
    }

    /// The font of nearly everything.
    pub(super) fn body(self) -> FontId {
        self.font(theme::CAP_MM)
    }
}

/// How a line of text stands out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Voice {
    /// Words and numbers.
    Body,
    /// The second thing to read.
    Quiet,
    /// The title of a group.
    Head,
    /// The title of a page.
    Title,
    /// The one thing of a page.
    Large,
}

impl Voice {
    fn cap_mm(self) -> f32 {
        match self {
            Voice::Body | Voice::Quiet => theme::CAP_MM,
            Voice::Head => theme::HEAD_CAP_MM,
            Voice::Title => theme::TITLE_CAP_MM,
            Voice::Large => theme::LARGE_CAP_MM,
        }
    }

    fn colour(self) -> Color32 {
        match self {
            Voice::Quiet => theme::QUIET,
            _ => theme::TEXT,
        }
    }
}

/// A text that wraps.
pub(super) fn say(ui: &mut Ui, s: Sizes, voice: Voice, text: &str) -> egui::Response {
    let text = RichText::new(text)
        .font(s.font(voice.cap_mm()))
        .color(voice.colour());
    ui.add(egui::Label::new(text).wrap().selectable(false))
}

/// Looks of everything below `ui`; the big screen's window keeps its own.
pub(super) fn dress(ui: &mut Ui, s: Sizes) {
    let style = ui.style_mut();
    style.animation_time = 0.0;
    style.interaction.selectable_labels = false;
    style.interaction.tooltip_delay = f32::INFINITY;
    style.spacing.item_spacing = egui::vec2(s.gap(), s.gap());
    style.spacing.interact_size = egui::vec2(s.target(), s.target());
    style.spacing.scroll.floating = false;
    style.spacing.scroll.bar_width = s.mm(theme::BAR_MM) + 0.5;
    style.spacing.scroll.handle_min_length = s.target();
    style.spacing.scroll.bar_inner_margin = s.mm(1.0);
    style.spacing.scroll.bar_outer_margin = 0.0;
    style.spacing.scroll.foreground_color = false;
    style.scroll_animation = egui::style::ScrollAnimation::none();
    style.override_font_id = Some(s.body());
    let visuals = &mut style.visuals;
    *visuals = egui::Visuals::light();
    visuals.override_text_color = Some(theme::TEXT);
    visuals.panel_fill = theme::BACKGROUND;
    visuals.extreme_bg_color = theme::CARD;
    visuals.text_edit_bg_color = Some(theme::CARD);
    visuals.selection.bg_fill = theme::BAND;
    visuals.selection.stroke = egui::Stroke::new(s.mm(theme::RING_MM), theme::TEXT);
    visuals.text_cursor.blink = false;
    visuals.text_cursor.stroke = egui::Stroke::new(s.mm(0.6), theme::MAIN);
    visuals.weak_text_color = Some(theme::QUIET);
    let edge = egui::Stroke::new(s.mm(theme::EDGE_MM), theme::EDGE);
    for widget in [
        &mut visuals.widgets.noninteractive,
        &mut visuals.widgets.inactive,
        &mut visuals.widgets.hovered,
        &mut visuals.widgets.active,
        &mut visuals.widgets.open,
    ] {
        widget.bg_stroke = edge;
        widget.bg_fill = theme::EDGE;
        widget.weak_bg_fill = theme::KEY;
        widget.fg_stroke = egui::Stroke::new(s.mm(theme::EDGE_MM), theme::TEXT);
        widget.expansion = 0.0;
    }
}
