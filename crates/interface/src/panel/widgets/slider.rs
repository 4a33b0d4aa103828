//! Numbers to set: a slider between two keys, and keys alone.

use std::ops::RangeInclusive;

use egui::{EventFilter, Key, Rect, Sense, Stroke, Ui, WidgetInfo, accesskit::Action, pos2, vec2};

use super::button::ring;
use super::{Press, Sizes, Voice, columns, say};
use crate::panel::look as theme;

/// A number with its range, set by drag, by two keys, or by the arrows.
pub(in crate::panel) struct Slider<'a> {
    /// What it is, also for a screen reader.
    pub name: &'a str,
    /// Words of the two keys.
    pub less: &'a str,
    /// The other one.
    pub more: &'a str,
    /// What it may be.
    pub range: RangeInclusive<f64>,
    /// One press of a key.
    pub step: f64,
    /// Says a value with its unit.
    pub format: &'a dyn Fn(f64) -> String,
}

impl Slider<'_> {
    /// Draws it; whether a new value was settled on. While it is dragged the
    /// value changes and nothing is settled.
    pub(in crate::panel) fn show(&self, ui: &mut Ui, s: Sizes, value: &mut f64) -> bool {
        let said = (self.format)(*value);
        let mut settled = false;
        columns(ui, s, [3.0, 1.0], |[left, right]| {
            say(left, s, Voice::Body, self.name);
            right.with_layout(egui::Layout::right_to_left(egui::Align::Min), |ui| {
                say(ui, s, Voice::Head, &said);
            });
        });
        ui.horizontal(|ui| {
            let key = s.mm(15.0);
            let less = format!("{}: {}", self.name, self.less);
            if Press::new("−").named(&less).wide(key).repeats().show(ui, s) {
                settled |= self.set(value, *value - self.step);
            }
            let width = (ui.available_width() - key - s.gap()).max(s.target() * 2.0);
            settled |= self.track(ui, s, value, width);
            let more = format!("{}: {}", self.name, self.more);
            if Press::new("+").named(&more).wide(key).repeats().show(ui, s) {
                settled |= self.set(value, *value + self.step);
            }
        });
        let (low, high) = (*self.range.start(), *self.range.end());
        columns(ui, s, [1.0, 1.0], |[left, right]| {
            left.with_layout(egui::Layout::left_to_right(egui::Align::Min), |ui| {
                ui.add_space(s.mm(15.0) + s.gap());
                say(ui, s, Voice::Quiet, &(self.format)(low));
            });
            right.with_layout(egui::Layout::right_to_left(egui::Align::Min), |ui| {
                ui.add_space(s.mm(15.0) + s.gap());
                say(ui, s, Voice::Quiet, &(self.format)(high));
            });
        });
        settled
    }

    fn set(&self, value: &mut f64, to: f64) -> bool {
        let (low, high) = (*self.range.start(), *self.range.end());
        let steps = ((to - low) / self.step).round();
        // Through whole parts, so that 0.1 steps leave no crumbs.
        let to = (low + steps * self.step).clamp(low, high);
        let to = (to * 1e6).round() / 1e6;
        let changed = to != *value;
        *value = to;
        changed
    }

    fn track(&self, ui: &mut Ui, s: Sizes, value: &mut f64, width: f32) -> bool {
        let (low, high) = (*self.range.start(), *self.range.end());
        let (rect, response) =
            ui.allocate_exact_size(vec2(width, s.target()), Sense::click_and_drag());
        let handle = s.mm(6.0);
        let (from, to) = (rect.left() + handle / 2.0, rect.right() - handle / 2.0);
        let mut settled = response.drag_stopped();
        if let Some(at) = response.interact_pointer_pos() {
            let share = f64::from(((at.x - from) / (to - from)).clamp(0.0, 1.0));
            self.set(value, low + share * (high - low));
            settled |= response.clicked();
            response.request_focus();
        }
        if response.has_focus() {
            ui.memory_mut(|m| {
                m.set_focus_lock_filter(
                    response.id,
                    EventFilter {
                        horizontal_arrows: true,
                        ..EventFilter::default()
                    },
                );
            });
            let steps = ui.input(|i| {
                i.num_presses(Key::ArrowRight) as f64 - i.num_presses(Key::ArrowLeft) as f64
            });
            if steps != 0.0 {
                settled |= self.set(value, *value + steps * self.step);
            }
        }
        let asked = ui.input(|i| {
            i.num_accesskit_action_requests(response.id, Action::Increment) as f64
                - i.num_accesskit_action_requests(response.id, Action::Decrement) as f64
        });
        if asked != 0.0 {
            settled |= self.set(value, *value + asked * self.step);
        }
        response.widget_info(|| WidgetInfo::slider(true, *value, self.name));
        ui.ctx().accesskit_node_builder(response.id, |node| {
            node.set_numeric_value_step(self.step);
            node.set_min_numeric_value(low);
            node.set_max_numeric_value(high);
            node.add_action(Action::Increment);
            node.add_action(Action::Decrement);
            node.set_value((self.format)(*value));
        });
        let painter = ui.painter();
        let y = rect.center().y;
        let share = if high > low {
            ((*value - low) / (high - low)).clamp(0.0, 1.0) as f32
        } else {
            0.0
        };
        let x = from + share * (to - from);
        let line = |colour| Stroke::new(s.mm(1.6), colour);
        painter.line_segment([pos2(from, y), pos2(to, y)], line(s.c.edge));
        painter.line_segment([pos2(from, y), pos2(x, y)], line(s.c.main));
        let grip = Rect::from_center_size(pos2(x, y), vec2(handle, rect.height() - s.mm(2.0)));
        painter.rect_filled(grip, s.mm(theme::ROUND_MM), s.c.main);
        ring(ui, s, rect, &response);
        settled
    }
}

/// A number between two keys, for what has few steps; whether it changed.
pub(in crate::panel) fn stepper(
    ui: &mut Ui,
    s: Sizes,
    slider: &Slider<'_>,
    value: &mut f64,
) -> bool {
    let mut changed = false;
    say(ui, s, Voice::Quiet, slider.name);
    ui.horizontal(|ui| {
        let key = s.mm(14.0);
        let less = format!("{}: {}", slider.name, slider.less);
        if Press::new("−").named(&less).wide(key).repeats().show(ui, s) {
            changed |= slider.set(value, *value - slider.step);
        }
        let said = (slider.format)(*value);
        // The second key has its room, however narrow the card is.
        let free = ui.available_width() - key - ui.spacing().item_spacing.x;
        ui.allocate_ui_with_layout(
            vec2(s.mm(30.0).min(free), s.target()),
            egui::Layout::centered_and_justified(egui::Direction::LeftToRight),
            |ui| say(ui, s, Voice::Head, &said),
        );
        let more = format!("{}: {}", slider.name, slider.more);
        if Press::new("+").named(&more).wide(key).repeats().show(ui, s) {
            changed |= slider.set(value, *value + slider.step);
        }
    });
    changed
}
