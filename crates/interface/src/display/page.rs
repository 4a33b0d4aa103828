//! The grid of the screen, which never changes, and how lines are put into it.

use egui::{Align2, Color32, Rect, pos2};

use super::theme::{self, Palette};
use super::typeset::{Role, Side, Typesetter, block_height_in_caps};

/// The rooms of one screenful. They are the same in every state.
pub(super) struct Page {
    /// The whole glass.
    pub(super) screen: Rect,
    /// The strip along the top.
    pub(super) head: Rect,
    /// Everything below the strip and above the coach's line.
    pub(super) content: Rect,
    /// The figure.
    pub(super) figure: Rect,
    /// The order.
    pub(super) order: Rect,
    /// What stands under the order: the side and the gauge.
    pub(super) row: Rect,
    /// The line for the coach.
    pub(super) coach: Rect,
    /// Shorter side of the screen, which proportions refer to.
    pub(super) unit: f32,
    /// Between things.
    pub(super) gap: f32,
    /// Behind text.
    pub(super) bg: Color32,
    /// The colours of the theme.
    pub(super) palette: &'static Palette,
}

impl Page {
    /// The rooms of a screen.
    pub(super) fn new(set: &Typesetter<'_>, screen: Rect, palette: &'static Palette) -> Page {
        let (w, h) = (screen.width(), screen.height());
        let unit = w.min(h);
        let gap = theme::GAP * unit;
        let edge = theme::EDGE * w;
        let note = set.least_cap(Role::NOTE);
        let head_height = (theme::HEAD_HEIGHT * note).min(theme::HEAD_MOST * h);
        let coach_cap = set.least_cap(Role::STRIP);
        let coach_height = theme::STRIP_HEIGHT * coach_cap;
        let head = Rect::from_min_max(screen.min, pos2(screen.right(), screen.top() + head_height));
        let row_height = (theme::ROW_HEIGHT * note).min(0.2 * h);
        // Letters that reach below the row stay on the glass and off the coach's line.
        let below = theme::ROW_BELOW * row_height;
        let above = theme::ROW_ABOVE * row_height;
        let (left, right) = (screen.left() + edge, screen.right() - edge);
        let coach_top = screen.bottom() - coach_height;
        let (figure, order, row, coach);
        if h > w {
            row = Rect::from_min_max(
                pos2(left, coach_top - below - row_height),
                pos2(right, coach_top - below),
            );
            let words = theme::ORDER_STANDING * set.least_cap(Role::ORDER);
            let figure_top = head.bottom() + 0.4 * gap;
            let figure_bottom = (row.top() - above - words - gap)
                .min(figure_top + right - left)
                .max(figure_top + theme::FIGURE_STANDING_LEAST * h);
            figure = Rect::from_min_max(pos2(left, figure_top), pos2(right, figure_bottom));
            order = Rect::from_min_max(
                pos2(left, figure_bottom + gap),
                pos2(right, row.top() - above),
            );
            coach = Rect::from_min_max(pos2(left, coach_top), pos2(right, screen.bottom()));
        } else {
            let split = screen.left() + theme::FIGURE_RIGHT * w;
            let words = screen.left() + theme::WORDS_LEFT * w;
            figure = Rect::from_min_max(
                pos2(left, head.bottom() + 0.6 * gap),
                pos2(split, coach_top),
            );
            let bottom = screen.bottom() - below;
            row = Rect::from_min_max(pos2(words, bottom - row_height), pos2(right, bottom));
            order = Rect::from_min_max(
                pos2(words, head.bottom() + gap),
                pos2(right, row.top() - above),
            );
            coach = Rect::from_min_max(pos2(left, coach_top), pos2(split, screen.bottom()));
        }
        Page {
            screen,
            head,
            content: Rect::from_min_max(pos2(left, head.bottom() + gap), pos2(right, coach_top)),
            figure,
            order,
            row,
            coach,
            unit,
            gap,
            bg: palette.background,
            palette,
        }
    }
}

/// How lines stand together.
#[derive(Debug, Clone, Copy)]
pub(super) struct Block {
    pub(super) role: Role,
    /// Height of the capitals, points.
    pub(super) cap: f32,
    /// From baseline to baseline, in heights of capitals.
    pub(super) pitch: f32,
}

impl Block {
    pub(super) fn new(role: Role, cap: f32) -> Self {
        Block {
            role,
            cap,
            pitch: theme::LINE_PITCH,
        }
    }
}

/// Sets lines one below the other; the block is placed in `room` by the
/// capitals of its first and the baseline of its last line.
pub(super) fn set_block(
    set: &mut Typesetter<'_>,
    lines: &[String],
    Block { role, cap, pitch }: Block,
    room: Rect,
    align: Align2,
    colours: (Color32, Color32),
) {
    let below = cap * theme::DESCENDER;
    let ink = cap * block_height_in_caps(lines.len(), pitch) - below;
    let top = match align.y() {
        egui::Align::Min => room.top(),
        egui::Align::Center => room.center().y - ink / 2.0,
        egui::Align::Max => room.bottom() - below - ink,
    };
    let (x, side) = match align.x() {
        egui::Align::Min => (room.left(), Side::Left),
        egui::Align::Center => (room.center().x, Side::Middle),
        egui::Align::Max => (room.right(), Side::Right),
    };
    for (i, line) in lines.iter().enumerate() {
        let baseline = top + cap + i as f32 * cap * pitch;
        set.line(line, role, cap, pos2(x, baseline), side, colours);
    }
}
