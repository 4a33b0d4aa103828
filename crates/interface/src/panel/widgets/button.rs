//! Things to press.

use std::sync::Arc;

use egui::{
    Align, Color32, CornerRadius, Galley, Rect, Response, Sense, Stroke, StrokeKind, Ui, Vec2,
    WidgetInfo, accesskit::Role, pos2, text::LayoutJob, vec2,
};

use super::Sizes;
use crate::display::panel_theme as theme;

/// How a key looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Appearance {
    Plain,
    Main,
    Danger,
    /// One of several; a full ring marks the chosen one.
    Choice(bool),
    /// On or off; a mark stands in the box where it is on.
    Toggle(bool),
    /// A page; a bar marks the one that is open.
    Page(bool),
}

/// A key to press.
pub(in crate::panel) struct Press<'a> {
    text: &'a str,
    name: &'a str,
    look: Appearance,
    width: Option<f32>,
    height: f32,
    cap_mm: f32,
    enabled: bool,
    swatch: Option<Color32>,
    left: bool,
}

impl<'a> Press<'a> {
    /// A key with these words, which are also its name.
    pub(in crate::panel) fn new(text: &'a str) -> Self {
        Press {
            text,
            name: text,
            look: Appearance::Plain,
            width: None,
            height: theme::TARGET_MM,
            cap_mm: theme::CAP_MM,
            enabled: true,
            swatch: None,
            left: false,
        }
    }

    /// The name a screen reader says, where the words alone are not enough.
    pub(in crate::panel) fn named(mut self, name: &'a str) -> Self {
        self.name = name;
        self
    }

    /// The thing to press on this page.
    pub(in crate::panel) fn main(mut self) -> Self {
        self.look = Appearance::Main;
        self
    }

    /// What cannot be taken back.
    pub(in crate::panel) fn danger(mut self) -> Self {
        self.look = Appearance::Danger;
        self
    }

    /// One of several, chosen or not.
    pub(in crate::panel) fn choice(mut self, chosen: bool) -> Self {
        self.look = Appearance::Choice(chosen);
        self
    }

    /// On or off.
    pub(in crate::panel) fn toggle(mut self, on: bool) -> Self {
        self.look = Appearance::Toggle(on);
        self.left = true;
        self
    }

    /// A page of the panel, open or not.
    pub(in crate::panel) fn page(mut self, open: bool) -> Self {
        self.look = Appearance::Page(open);
        self.left = true;
        self
    }

    /// Exactly this wide, points.
    pub(in crate::panel) fn wide(mut self, width: f32) -> Self {
        self.width = Some(width);
        self
    }

    /// One of the keys that are pressed most.
    pub(in crate::panel) fn large(mut self) -> Self {
        self.height = theme::LARGE_MM;
        self
    }

    /// At least this high, millimetres.
    pub(in crate::panel) fn high(mut self, height_mm: f32) -> Self {
        self.height = height_mm.max(theme::TARGET_MM);
        self
    }

    /// Words at the left edge and not in the middle.
    pub(in crate::panel) fn left(mut self) -> Self {
        self.left = true;
        self
    }

    /// Whether it does anything; one that does not lies flat.
    pub(in crate::panel) fn enabled(mut self, enabled: bool) -> Self {
        self.enabled = enabled;
        self
    }

    /// A patch of colour before the words, which say the colour too.
    pub(in crate::panel) fn swatch(mut self, colour: Option<Color32>) -> Self {
        self.swatch = colour;
        self
    }

    fn colours(&self) -> (Color32, Color32) {
        if !self.enabled {
            return (Color32::TRANSPARENT, theme::QUIET);
        }
        match self.look {
            Appearance::Main | Appearance::Choice(true) | Appearance::Page(true) => {
                (theme::MAIN, theme::ON_MAIN)
            }
            Appearance::Danger => (theme::DANGER, theme::ON_MAIN),
            Appearance::Plain
            | Appearance::Choice(false)
            | Appearance::Toggle(_)
            | Appearance::Page(false) => (theme::KEY, theme::TEXT),
        }
    }

    /// Room for the mark before the words, points.
    fn mark_room(&self, s: Sizes) -> f32 {
        let mark = match self.look {
            Appearance::Choice(_) | Appearance::Toggle(_) => s.mm(5.5),
            Appearance::Page(_) => s.mm(1.5),
            Appearance::Plain | Appearance::Main | Appearance::Danger => 0.0,
        };
        mark + if self.swatch.is_some() {
            s.mm(6.5)
        } else {
            0.0
        }
    }

    /// Draws it; whether it was pressed.
    pub(in crate::panel) fn show(self, ui: &mut Ui, s: Sizes) -> bool {
        self.show_response(ui, s).clicked()
    }

    /// Draws it.
    pub(in crate::panel) fn show_response(self, ui: &mut Ui, s: Sizes) -> Response {
        let (fill, colour) = self.colours();
        // Words that set the width of their key get a little more air.
        let pad = s.mm(if self.width.is_some() { 2.5 } else { 4.0 });
        let room = self.mark_room(s);
        let most = self.width.unwrap_or_else(|| ui.available_width()) - 2.0 * pad - room;
        let galley = words(ui, self.text, s, self.cap_mm, colour, most, !self.left);
        let width = self
            .width
            .unwrap_or(galley.size().x + 2.0 * pad + room)
            .max(s.target());
        let height = (s.mm(self.height) + 0.5).max(galley.size().y + s.mm(2.5));
        let sense = if self.enabled {
            Sense::click()
        } else {
            Sense::hover()
        };
        let (rect, response) = ui.allocate_exact_size(vec2(width, height), sense);
        response.widget_info(|| match self.look {
            Appearance::Choice(on) => {
                WidgetInfo::selected(Role::RadioButton, self.enabled, on, self.name)
            }
            Appearance::Toggle(on) => {
                WidgetInfo::selected(Role::CheckBox, self.enabled, on, self.name)
            }
            Appearance::Page(on) => WidgetInfo::selected(Role::Tab, self.enabled, on, self.name),
            Appearance::Plain | Appearance::Main | Appearance::Danger => {
                WidgetInfo::labeled(Role::Button, self.enabled, self.name)
            }
        });
        if ui.is_rect_visible(rect) {
            self.paint(ui, s, rect, pad, (fill, colour), galley, &response);
        }
        response
    }

    #[allow(clippy::too_many_arguments, reason = "parts of one drawing")]
    fn paint(
        &self,
        ui: &Ui,
        s: Sizes,
        rect: Rect,
        pad: f32,
        (fill, colour): (Color32, Color32),
        galley: Arc<Galley>,
        response: &Response,
    ) {
        let painter = ui.painter();
        let round = CornerRadius::from(s.mm(theme::ROUND_MM));
        let pressed = response.is_pointer_button_down_on();
        if self.enabled {
            painter.rect_filled(rect, round, fill);
            let edge = if pressed {
                Stroke::new(s.mm(1.2), theme::TEXT)
            } else {
                Stroke::new(s.mm(theme::EDGE_MM), theme::EDGE)
            };
            painter.rect_stroke(rect, round, edge, StrokeKind::Inside);
        }
        let mut left = rect.left() + pad;
        let line = Stroke::new(s.mm(0.6), colour);
        match self.look {
            Appearance::Choice(on) => {
                let at = pos2(left + s.mm(1.9), rect.center().y);
                painter.circle_stroke(at, s.mm(1.9), line);
                if on {
                    painter.circle_filled(at, s.mm(1.1), colour);
                }
                left += s.mm(5.5);
            }
            Appearance::Toggle(on) => {
                let at = Rect::from_center_size(
                    pos2(left + s.mm(2.0), rect.center().y),
                    Vec2::splat(s.mm(4.2)),
                );
                painter.rect_stroke(at, s.mm(0.6), line, StrokeKind::Inside);
                if on {
                    let mark = Stroke::new(s.mm(0.9), colour);
                    let p = |x: f32, y: f32| at.min + vec2(x, y) * at.size();
                    painter.line_segment([p(0.18, 0.5), p(0.42, 0.76)], mark);
                    painter.line_segment([p(0.42, 0.76), p(0.84, 0.22)], mark);
                }
                left += s.mm(5.5);
            }
            Appearance::Page(on) => {
                if on {
                    let bar = Rect::from_min_size(
                        rect.min + vec2(s.mm(1.0), s.mm(2.0)),
                        vec2(s.mm(1.2), rect.height() - s.mm(4.0)),
                    );
                    painter.rect_filled(bar, s.mm(0.6), colour);
                }
                left += s.mm(1.5);
            }
            Appearance::Plain | Appearance::Main | Appearance::Danger => {}
        }
        if let Some(patch) = self.swatch {
            let at = Rect::from_center_size(
                pos2(left + s.mm(2.4), rect.center().y),
                Vec2::splat(s.mm(4.8)),
            );
            painter.rect_filled(at, s.mm(0.8), patch);
            let edge = Stroke::new(s.mm(theme::EDGE_MM), theme::TEXT);
            painter.rect_stroke(at, s.mm(0.8), edge, StrokeKind::Inside);
            left += s.mm(6.5);
        }
        // Centred galleys hang from their middle.
        let x = if self.left {
            left
        } else {
            (left + rect.right() - pad) / 2.0
        };
        let y = rect.center().y - galley.size().y / 2.0;
        painter.galley(pos2(x, y), galley, colour);
        ring(ui, s, rect, response);
    }
}

/// The ring around what the keyboard is at.
pub(super) fn ring(ui: &Ui, s: Sizes, rect: Rect, response: &Response) {
    if response.has_focus() {
        ui.painter().rect_stroke(
            rect.expand(s.mm(0.5)),
            CornerRadius::from(s.mm(theme::ROUND_MM)),
            Stroke::new(s.mm(theme::RING_MM), theme::TEXT),
            StrokeKind::Outside,
        );
        if response.gained_focus() {
            response.scroll_to_me(None);
        }
    }
}

fn words(
    ui: &Ui,
    text: &str,
    s: Sizes,
    cap_mm: f32,
    colour: Color32,
    most: f32,
    centred: bool,
) -> Arc<Galley> {
    let mut job = LayoutJob::simple(text.to_owned(), s.font(cap_mm), colour, most.max(1.0));
    if centred {
        job.halign = Align::Center;
    }
    ui.painter().layout_job(job)
}

/// One of several in a row: each with its words and whether it is chosen.
/// Gives the index of the one that was pressed.
pub(in crate::panel) fn choice<'a>(
    ui: &mut Ui,
    s: Sizes,
    entries: impl IntoIterator<Item = (&'a str, bool)>,
) -> Option<usize> {
    let mut pressed = None;
    super::flow(ui, |ui| {
        for (index, (text, chosen)) in entries.into_iter().enumerate() {
            if Press::new(text).choice(chosen).show(ui, s) {
                pressed = Some(index);
            }
        }
    });
    pressed
}

/// Something that is on or off, over the whole width; the new state where it
/// was changed.
pub(in crate::panel) fn toggle(ui: &mut Ui, s: Sizes, text: &str, on: bool) -> Option<bool> {
    let width = ui.available_width();
    Press::new(text)
        .toggle(on)
        .wide(width)
        .show(ui, s)
        .then_some(!on)
}
