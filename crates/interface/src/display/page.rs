//! The room of one screenful and what is put into it.

use egui::{Align2, Color32, Rect, pos2};

use super::symbols::Symbol;
use super::theme::{self, Palette};
use super::typeset::{Role, Side, Typesetter, block_height_in_caps};

/// The room of one screenful.
pub(super) struct Page {
    /// Everything above the strip.
    pub(super) screen: Rect,
    /// The same without its free edge.
    pub(super) content: Rect,
    /// Shorter side of the screen, which proportions refer to.
    pub(super) unit: f32,
    /// Between blocks.
    pub(super) gap: f32,
    /// Behind text; the worst for it there can be.
    pub(super) bg: Color32,
    /// The colours of the theme.
    pub(super) palette: &'static Palette,
}

impl Page {
    pub(super) fn is_portrait(&self) -> bool {
        self.content.height() > self.content.width()
    }
}

/// Draws a symbol into the middle of `room`.
pub(super) fn paint_symbol(
    set: &mut Typesetter<'_>,
    page: &Page,
    symbol: Option<Symbol>,
    room: Rect,
) {
    let Some(symbol) = symbol else { return };
    let (square, colours) = symbol.paint(set.painter(), room, page.bg, page.palette);
    set.note_graphic("symbol", square, theme::NUMBER_ARCMIN, colours);
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
