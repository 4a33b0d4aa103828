//! What the pages are made of: keys, sliders, fields, groups of things. Each
//! is large enough for a glove, has a name a screen reader says, and shows
//! where the keyboard is.

mod bib;
mod button;
mod field;
mod icon;
mod layout;
mod main_keys;
mod slider;

pub(super) use bib::{bib, paint as paint_bib};
pub(super) use button::{Press, choice, toggle};
pub(super) use field::{field, field_lines};
pub(super) use icon::Icon;
pub(super) use layout::{beside, card, columns, flow, grid, pager, plain_card};
pub(super) use main_keys::main_keys;
pub(super) use slider::{Slider, stepper};

use egui::accesskit::Role;
use egui::{Color32, FontFamily, FontId, RichText, Ui, Vec2, WidgetInfo};

use crate::display::{fonts_for, visual_order};
use crate::panel::look::{self as theme, DARK, LIGHT, Palette};

/// Points of one millimetre on the glass, and what follows from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sizes {
    points_per_mm: f32,
    /// Share of the usual size of text: a small screen is held nearer.
    near: f32,
    /// The screen, points.
    screen: Vec2,
    /// Its colours.
    pub(super) c: &'static Palette,
}

impl Sizes {
    /// For a panel of this many points. A number that cannot be is replaced
    /// by that of a desktop screen (96 points an inch).
    pub(super) fn new(points_per_mm: f32, screen: Vec2, dark: bool) -> Self {
        let can_be = points_per_mm.is_finite() && points_per_mm > 0.5;
        let mut s = Sizes {
            points_per_mm: if can_be { points_per_mm } else { 96.0 / 25.4 },
            near: 1.0,
            screen,
            c: if dark { &DARK } else { &LIGHT },
        };
        if s.is_small() {
            s.near = theme::NEAR;
        }
        s
    }

    /// Whether the shorter side is that of a tablet, held near.
    pub(super) fn is_small(self) -> bool {
        self.screen.min_elem() < self.mm(170.0)
    }

    /// Whether it stands upright.
    pub(super) fn is_upright(self) -> bool {
        self.screen.x < self.screen.y
    }

    /// Whether it is a small tablet that stands upright.
    pub(super) fn is_narrow(self) -> bool {
        self.is_small() && self.is_upright()
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
        self.mm(theme::GAP_MM * if self.is_small() { 0.7 } else { 1.0 })
    }

    /// The font whose capitals have this height in millimetres, less on a
    /// screen that is held near.
    pub(super) fn font(self, cap_mm: f32) -> FontId {
        self.exactly(cap_mm * self.near)
    }

    /// The font whose capitals have exactly this height in millimetres.
    pub(super) fn exactly(self, cap_mm: f32) -> FontId {
        FontId::new(self.mm(cap_mm) / theme::CAP_SHARE, FontFamily::Proportional)
    }

    /// The font of nearly everything.
    pub(super) fn body(self) -> FontId {
        self.font(theme::CAP_MM)
    }
}

/// The font in which the longest word of a text fits into a width: no word is
/// ever broken. It does not get smaller than two thirds; what is longer then
/// is for whoever lays out the page to give more room.
pub(super) fn fitting(ui: &Ui, text: &str, font: FontId, width: f32) -> FontId {
    const LEAST: f32 = 0.66;
    let longest = text
        .split(' ')
        .filter(|word| !word.is_empty())
        .map(|word| {
            ui.painter()
                .layout_no_wrap(word.to_owned(), font.clone(), Color32::WHITE)
                .size()
                .x
        })
        .fold(0.0f32, f32::max);
    if longest <= width || longest <= 0.0 {
        return font;
    }
    let share = (width / longest * 0.985).max(LEAST);
    FontId::new(font.size * share, font.family)
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

    fn colour(self, s: Sizes) -> Color32 {
        match self {
            Voice::Quiet => s.c.quiet,
            _ => s.c.text,
        }
    }
}

/// A text that wraps.
pub(super) fn say(ui: &mut Ui, s: Sizes, voice: Voice, text: &str) -> egui::Response {
    fonts_for(ui.ctx(), text);
    let seen = visual_order(text);
    let font = fitting(ui, &seen, s.font(voice.cap_mm()), ui.available_width());
    let turned = *seen != *text;
    let rich = RichText::new(seen.into_owned())
        .font(font)
        .color(voice.colour(s));
    let response = ui.add(egui::Label::new(rich).wrap().selectable(false));
    if turned {
        // A screen reader says it in the order it is spoken.
        response.widget_info(|| WidgetInfo::labeled(Role::Label, true, text));
    }
    response
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
    *visuals = if s.c.dark {
        egui::Visuals::dark()
    } else {
        egui::Visuals::light()
    };
    visuals.override_text_color = Some(s.c.text);
    visuals.panel_fill = s.c.background;
    visuals.extreme_bg_color = s.c.card;
    visuals.text_edit_bg_color = Some(s.c.card);
    visuals.selection.bg_fill = s.c.band;
    visuals.selection.stroke = egui::Stroke::new(s.mm(theme::RING_MM), s.c.text);
    visuals.text_cursor.blink = false;
    visuals.text_cursor.stroke = egui::Stroke::new(s.mm(0.6), s.c.main);
    visuals.weak_text_color = Some(s.c.quiet);
    let edge = egui::Stroke::new(s.mm(theme::EDGE_MM), s.c.edge);
    for widget in [
        &mut visuals.widgets.noninteractive,
        &mut visuals.widgets.inactive,
        &mut visuals.widgets.hovered,
        &mut visuals.widgets.active,
        &mut visuals.widgets.open,
    ] {
        widget.bg_stroke = edge;
        widget.bg_fill = s.c.edge;
        widget.weak_bg_fill = s.c.key;
        widget.fg_stroke = egui::Stroke::new(s.mm(theme::EDGE_MM), s.c.text);
        widget.expansion = 0.0;
    }
}
