//! Groups and columns.

use egui::{CornerRadius, Frame, Layout, Margin, Rect, Stroke, Ui, UiBuilder, pos2, vec2};

use super::{Press, Sizes, Voice, say};
use crate::panel::look as theme;
use crate::panel::words::PanelWords;

/// Columns side by side, each with its share of the width.
pub(in crate::panel) fn columns<const N: usize, R>(
    ui: &mut Ui,
    s: Sizes,
    shares: [f32; N],
    add: impl FnOnce([&mut Ui; N]) -> R,
) -> R {
    let room = ui.available_rect_before_wrap();
    let gap = s.gap();
    let all: f32 = shares.iter().sum();
    let width = (room.width() - gap * (N as f32 - 1.0)).max(1.0);
    let mut left = room.left();
    let mut children: [Ui; N] = std::array::from_fn(|i| {
        let w = width * shares[i] / all;
        let rect = Rect::from_min_size(pos2(left, room.top()), vec2(w, room.height()));
        left += w + gap;
        ui.new_child(
            UiBuilder::new()
                .id_salt(("column", i))
                .max_rect(rect)
                .layout(Layout::top_down(egui::Align::Min)),
        )
    });
    let result = add(children.each_mut());
    let bottom = children
        .iter()
        .map(|c| c.min_rect().bottom())
        .fold(room.top(), f32::max);
    ui.advance_cursor_after_rect(Rect::from_min_max(
        room.min,
        pos2(room.left() + room.width(), bottom),
    ));
    result
}

/// Two things beside each other, or below each other where the screen is narrow. Both get what
/// they share.
pub(in crate::panel) fn beside<T>(
    ui: &mut Ui,
    s: Sizes,
    shares: [f32; 2],
    shared: &mut T,
    first: impl FnOnce(&mut Ui, &mut T),
    second: impl FnOnce(&mut Ui, &mut T),
) {
    if s.is_narrow() {
        first(ui, shared);
        second(ui, shared);
        return;
    }
    columns(ui, s, shares, |[left, right]| {
        first(left, shared);
        second(right, shared);
    });
}

/// Things in a row that goes on below where it is full.
pub(in crate::panel) fn flow<R>(ui: &mut Ui, add: impl FnOnce(&mut Ui) -> R) -> R {
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.y = ui.spacing().item_spacing.x;
        add(ui)
    })
    .inner
}

/// Keys of the same width, `across` in a row; the index of the pressed one.
pub(in crate::panel) fn grid<'a>(
    ui: &mut Ui,
    s: Sizes,
    across: usize,
    keys: Vec<Press<'a>>,
) -> Option<usize> {
    let gap = s.gap();
    let width = ((ui.available_width() - gap * (across as f32 - 1.0)) / across as f32).floor();
    let mut pressed = None;
    let mut keys = keys.into_iter().enumerate().peekable();
    while keys.peek().is_some() {
        ui.horizontal(|ui| {
            for (index, key) in keys.by_ref().take(across) {
                if key.wide(width).show(ui, s) {
                    pressed = Some(index);
                }
            }
        });
    }
    pressed
}

/// A group of things with its title.
pub(in crate::panel) fn card<R>(
    ui: &mut Ui,
    s: Sizes,
    title: &str,
    add: impl FnOnce(&mut Ui) -> R,
) -> R {
    plain_card(ui, s, s.c.card, |ui| {
        if !title.is_empty() {
            say(ui, s, Voice::Head, title);
        }
        add(ui)
    })
}

/// A group of things on a colour of its own.
pub(in crate::panel) fn plain_card<R>(
    ui: &mut Ui,
    s: Sizes,
    fill: egui::Color32,
    add: impl FnOnce(&mut Ui) -> R,
) -> R {
    Frame::new()
        .fill(fill)
        .stroke(Stroke::new(s.mm(0.3), s.c.card_edge))
        .corner_radius(CornerRadius::from(s.mm(theme::ROUND_MM)))
        .inner_margin(Margin::from(s.mm(theme::PAD_MM)))
        .show(ui, |ui| {
            ui.set_min_width(ui.available_width());
            add(ui)
        })
        .inner
}

/// Turns the leaves of a long list; gives the range to show.
pub(in crate::panel) fn pager(
    ui: &mut Ui,
    s: Sizes,
    words: &PanelWords,
    count: usize,
    per_page: usize,
    page: &mut usize,
) -> std::ops::Range<usize> {
    let pages = count.div_ceil(per_page).max(1);
    *page = (*page).min(pages - 1);
    if pages > 1 {
        ui.horizontal(|ui| {
            let back = Press::new(words.get("list.back")).enabled(*page > 0);
            if back.show(ui, s) {
                *page -= 1;
            }
            let on = Press::new(words.get("list.on")).enabled(*page + 1 < pages);
            if on.show(ui, s) {
                *page += 1;
            }
            let at = words.say(
                "list.at",
                &[("n", &(*page + 1).to_string()), ("of", &pages.to_string())],
            );
            say(ui, s, Voice::Quiet, &at);
        });
    }
    let from = *page * per_page;
    from..(from + per_page).min(count)
}
