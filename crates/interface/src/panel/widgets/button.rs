//! Things to press.

use std::sync::Arc;

use egui::{
    Align, Color32, CornerRadius, Galley, Rect, Response, Sense, Stroke, StrokeKind, Ui, Vec2,
    WidgetInfo, accesskit::Role, pos2, text::LayoutJob, vec2,
};

use super::main_keys::note_main;
use super::{Icon, Sizes, fitting};
use crate::display::{fonts_for, visual_order};
use crate::panel::look as theme;

/// Side of a sign on a key, millimetres.
const ICON_MM: f32 = 6.0;
/// Above words, where the key is no higher for it.
const STACKED_ICON_MM: f32 = 4.8;

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
    icon: Option<Icon>,
    /// The sign above the words.
    stacked: bool,
    /// Held, it is pressed again and again.
    repeats: bool,
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
            icon: None,
            stacked: false,
            repeats: false,
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

    /// A sign before the words.
    pub(in crate::panel) fn icon(mut self, icon: Icon) -> Self {
        self.icon = Some(icon);
        self
    }

    /// The sign stands above the words, which may be small.
    pub(in crate::panel) fn stacked(mut self) -> Self {
        self.stacked = true;
        self.left = false;
        self
    }

    /// Held, it is pressed again and again.
    pub(in crate::panel) fn repeats(mut self) -> Self {
        self.repeats = true;
        self
    }

    fn colours(&self, s: Sizes, over: bool, down: bool) -> (Color32, Color32) {
        if !self.enabled {
            return (Color32::TRANSPARENT, s.c.quiet);
        }
        let of_three = |rest, over_it, down_it| match (down, over) {
            (true, _) => down_it,
            (_, true) => over_it,
            _ => rest,
        };
        match self.look {
            Appearance::Main | Appearance::Choice(true) | Appearance::Page(true) => (
                of_three(s.c.main, s.c.main_over, s.c.main_down),
                s.c.on_main,
            ),
            Appearance::Danger => (
                of_three(s.c.danger, s.c.danger_over, s.c.danger_over),
                s.c.on_danger,
            ),
            Appearance::Plain
            | Appearance::Choice(false)
            | Appearance::Toggle(_)
            | Appearance::Page(false) => (of_three(s.c.key, s.c.key_over, s.c.key_down), s.c.text),
        }
    }

    /// Room for the mark before the words, points.
    fn mark_room(&self, s: Sizes) -> f32 {
        if self.stacked {
            return 0.0;
        }
        let mark = match self.look {
            Appearance::Choice(_) | Appearance::Toggle(_) => s.mm(5.5),
            Appearance::Page(_) => s.mm(1.5),
            Appearance::Plain | Appearance::Main | Appearance::Danger => 0.0,
        };
        let swatch = if self.swatch.is_some() {
            s.mm(6.5)
        } else {
            0.0
        };
        let icon = if self.icon.is_some() && !self.stacked {
            s.mm(ICON_MM + 1.5)
        } else {
            0.0
        };
        mark + swatch + icon
    }

    /// Draws it; whether it was pressed.
    pub(in crate::panel) fn show(self, ui: &mut Ui, s: Sizes) -> bool {
        let repeats = self.repeats && self.enabled;
        let response = self.show_response(ui, s);
        if repeats {
            again_and_again(ui, &response)
        } else {
            response.clicked()
        }
    }

    /// Draws it.
    pub(in crate::panel) fn show_response(self, ui: &mut Ui, s: Sizes) -> Response {
        // Words that set the width of their key get a little more air.
        let pad = s.mm(match (self.stacked, self.width.is_some()) {
            (true, _) => 0.8,
            (_, true) => 2.0,
            _ => 3.5,
        });
        let room = self.mark_room(s);
        let most = self.width.unwrap_or_else(|| ui.available_width()) - 2.0 * pad - room;
        let (_, colour) = self.colours(s, false, false);
        fonts_for(ui.ctx(), self.text);
        let seen = visual_order(self.text);
        let font = if self.stacked {
            fitted_line(ui, &seen, s, most)
        } else {
            fitting(ui, &seen, s.font(self.cap_mm), most)
        };
        let galley = words(ui, &seen, font, colour, most, !self.left && room <= 0.0);
        let width = self
            .width
            .unwrap_or(galley.size().x + 2.0 * pad + room)
            .max(s.target());
        let words_high = galley.size().y
            + if self.stacked {
                s.mm(STACKED_ICON_MM)
            } else {
                s.mm(1.5)
            };
        let height = (s.mm(self.height) + 0.5).max(words_high);
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
        if self.look == Appearance::Main && self.enabled {
            note_main(ui, self.name, rect, response.id);
        }
        if ui.is_rect_visible(rect) {
            self.paint(ui, s, rect, pad, galley, &response);
        }
        response
    }

    fn paint(
        &self,
        ui: &Ui,
        s: Sizes,
        rect: Rect,
        pad: f32,
        galley: Arc<Galley>,
        response: &Response,
    ) {
        let painter = ui.painter();
        let round = CornerRadius::from(s.mm(theme::ROUND_MM));
        let down = response.is_pointer_button_down_on();
        let (fill, colour) = self.colours(s, response.hovered(), down);
        let (width, edge) = match (self.enabled, down) {
            (false, _) => (s.mm(theme::EDGE_MM), s.c.card_edge),
            (_, true) => (s.mm(0.9), s.c.text),
            // What is filled needs no edge.
            _ if fill == s.c.main || fill == s.c.danger => (0.0, fill),
            _ => (s.mm(theme::EDGE_MM), s.c.edge),
        };
        painter.rect_filled(rect, round, fill);
        painter.rect_stroke(rect, round, Stroke::new(width, edge), StrokeKind::Inside);
        if self.stacked {
            let high = s.mm(STACKED_ICON_MM) + galley.size().y;
            let top = rect.center().y - high / 2.0;
            if let Some(icon) = self.icon {
                let at = pos2(rect.center().x, top + s.mm(STACKED_ICON_MM / 2.0));
                let square = Rect::from_center_size(at, Vec2::splat(s.mm(STACKED_ICON_MM)));
                icon.paint(painter, square, colour);
            }
            let at = pos2(rect.center().x, top + s.mm(STACKED_ICON_MM));
            painter.galley_with_override_text_color(at, galley, colour);
            ring(ui, s, rect, response);
            return;
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
            let edge = Stroke::new(s.mm(theme::EDGE_MM), s.c.text);
            painter.rect_stroke(at, s.mm(0.8), edge, StrokeKind::Inside);
            left += s.mm(6.5);
        }
        let room = self.mark_room(s);
        let y = rect.center().y - galley.size().y / 2.0;
        if self.left || room > 0.0 {
            // With a mark: both together in the middle, or at the left edge.
            if !self.left {
                let free = rect.right() - pad - left - galley.size().x;
                let icon = if self.icon.is_some() {
                    s.mm(ICON_MM + 1.5)
                } else {
                    0.0
                };
                left += ((free - icon) / 2.0).max(0.0);
            }
            if let Some(icon) = self.icon {
                let at = pos2(left + s.mm(ICON_MM / 2.0), rect.center().y);
                let square = Rect::from_center_size(at, Vec2::splat(s.mm(ICON_MM)));
                icon.paint(painter, square, colour);
                left += s.mm(ICON_MM + 1.5);
            }
            painter.galley_with_override_text_color(pos2(left, y), galley, colour);
        } else {
            // Centred galleys hang from their middle.
            let x = (left + rect.right() - pad) / 2.0;
            painter.galley_with_override_text_color(pos2(x, y), galley, colour);
        }
        ring(ui, s, rect, response);
    }
}

/// The ring around what the keyboard is at.
pub(super) fn ring(ui: &Ui, s: Sizes, rect: Rect, response: &Response) {
    if response.has_focus() {
        ui.painter().rect_stroke(
            rect.expand(s.mm(0.5)),
            CornerRadius::from(s.mm(theme::ROUND_MM)),
            Stroke::new(s.mm(theme::RING_MM), s.c.text),
            StrokeKind::Outside,
        );
        if response.gained_focus() {
            response.scroll_to_me(None);
        }
    }
}

/// A press that is held counts again after a moment, and then quickly; let go,
/// it counts no further time.
fn again_and_again(ui: &Ui, response: &Response) -> bool {
    const FIRST_S: f64 = 0.5;
    const THEN_S: f64 = 0.1;
    let id = response.id.with("held");
    if !response.is_pointer_button_down_on() {
        let held: Option<(f64, u32)> = ui.data_mut(|d| d.remove_temp(id));
        return response.clicked() && held.is_none_or(|(_, times)| times == 0);
    }
    let now = ui.input(|i| i.time);
    let (due, times) = ui.data_mut(|d| *d.get_temp_mut_or(id, (now + FIRST_S, 0u32)));
    let pressed = now >= due;
    let next = if pressed { now + THEN_S } else { due };
    ui.data_mut(|d| d.insert_temp(id, (next, times + u32::from(pressed))));
    ui.ctx()
        .request_repaint_after(std::time::Duration::from_secs_f64((next - now).max(0.01)));
    pressed
}

/// The font in which words under a sign fit on one line.
fn fitted_line(ui: &Ui, text: &str, s: Sizes, width: f32) -> egui::FontId {
    let usual = s.font(theme::CAP_MM);
    let wide = ui
        .painter()
        .layout_no_wrap(text.to_owned(), usual.clone(), Color32::WHITE)
        .size()
        .x;
    if wide <= width {
        return usual;
    }
    let least = s.exactly(theme::LEAST_CAP_MM).size;
    let size = (usual.size * width / wide * 0.985).max(least);
    egui::FontId::new(size, usual.family)
}

fn words(
    ui: &Ui,
    text: &str,
    font: egui::FontId,
    colour: Color32,
    most: f32,
    centred: bool,
) -> Arc<Galley> {
    let mut job = LayoutJob::simple(text.to_owned(), font, colour, most.max(1.0));
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
