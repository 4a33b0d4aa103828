//! The screens that say one thing: waiting, praise, not judged, a fault.

use egui::{Align2, Rect, pos2, vec2};

use super::model::Fault;
use super::page::{Block, Page, paint_symbol, set_block};
use super::symbols::Symbol;
use super::theme;
use super::typeset::{Role, Side, Typesetter, block_height_in_caps};
use super::words::{Words, sentence};

/// Says what is wrong with the station.
pub(super) fn fault_notice(set: &mut Typesetter<'_>, page: &Page, words: &Words, fault: &Fault) {
    let get = |key| words.get(key);
    let (title, note) = match fault {
        Fault::NoCamera => (get("fault.no_camera"), get("fault.no_camera_note")),
        Fault::CameraSilent => (get("fault.silent"), get("fault.silent_note")),
        Fault::EngineStopped => (get("fault.engine"), get("fault.engine_note")),
        Fault::NotRecording => (get("fault.not_recording"), get("fault.not_recording_note")),
        Fault::Other(what) => (get("fault.other"), what.as_str()),
    };
    notice(set, page, Symbol::Fault, title, &sentence(note));
}

/// A symbol, a headline and a line to explain it. The headline is given its
/// room first, then the line, and the symbol takes what is left.
pub(super) fn notice(
    set: &mut Typesetter<'_>,
    page: &Page,
    symbol: Symbol,
    title: &str,
    note: &str,
) {
    let content = page.content;
    let highest = if page.is_portrait() {
        theme::NOTE_HIGHEST_STANDING
    } else {
        theme::NOTE_HIGHEST
    };
    let room = Rect::from_min_max(
        pos2(
            content.left(),
            content.bottom() - highest * content.height(),
        ),
        content.max,
    );
    let (lines, cap) = set.fit_sentence(note, Role::NOTE, room, theme::NOTE_MOST * page.unit);
    let mut note_room = content;
    note_room.min.y = content.bottom() - cap * block_height_in_caps(lines.len(), theme::LINE_PITCH);
    let mut upper = content;
    upper.max.y = note_room.top() - page.gap;
    if page.is_portrait() {
        headline_below(set, page, upper, symbol, title);
    } else {
        headline_beside(set, page, upper, symbol, title);
    }
    // Quiet letters are too faint over a picture.
    let fg = if page.bg == page.palette.background {
        page.palette.quiet_text
    } else {
        page.palette.text
    };
    let colours = (fg, page.bg);
    set_block(
        set,
        &lines,
        Block::new(Role::NOTE, cap),
        note_room,
        Align2::CENTER_BOTTOM,
        colours,
    );
}

fn headline_below(set: &mut Typesetter<'_>, page: &Page, upper: Rect, symbol: Symbol, title: &str) {
    let mut room = upper;
    room.min.y = upper.bottom() - theme::TITLE_HIGHEST_STANDING * page.content.height();
    let (lines, cap) = set.fit_words(
        title,
        room,
        theme::TITLE_MOST * page.unit,
        theme::LINE_PITCH,
    );
    room.min.y = upper.bottom() - cap * block_height_in_caps(lines.len(), theme::LINE_PITCH);
    let colours = (page.palette.text, page.bg);
    set_block(
        set,
        &lines,
        Block::new(Role::WORD, cap),
        room,
        Align2::CENTER_BOTTOM,
        colours,
    );
    let mut above = upper;
    above.max.y = room.top() - page.gap;
    above = above.shrink2(vec2(theme::SYMBOL_SHRINK_STANDING * upper.width(), 0.0));
    paint_symbol(set, page, Some(symbol), above);
}

fn headline_beside(
    set: &mut Typesetter<'_>,
    page: &Page,
    upper: Rect,
    symbol: Symbol,
    title: &str,
) {
    let side = (theme::SYMBOL_SHARE_LYING * upper.height())
        .min(theme::SYMBOL_LYING * upper.width())
        .max(0.0);
    let mut text = upper;
    text.min.x += side + 1.8 * page.gap;
    let (lines, cap) = set.fit_words(
        title,
        text,
        theme::TITLE_MOST * page.unit,
        theme::LINE_PITCH,
    );
    // Symbol and headline stand in the middle as one.
    let widths = lines.iter().map(|l| set.width_in_caps(l) * cap);
    let spare = text.width() - widths.fold(0.0, f32::max);
    let shift = (spare / 2.0).max(0.0);
    let square = Rect::from_center_size(
        pos2(upper.left() + shift + side / 2.0, upper.center().y),
        vec2(side, side),
    );
    paint_symbol(set, page, Some(symbol), square);
    text.min.x += shift;
    let colours = (page.palette.text, page.bg);
    set_block(
        set,
        &lines,
        Block::new(Role::WORD, cap),
        text,
        Align2::LEFT_CENTER,
        colours,
    );
}

/// A few lines beside or below a symbol, one thing a line.
pub(super) fn summary(set: &mut Typesetter<'_>, page: &Page, lines: &[String]) {
    let side = theme::SUMMARY_SYMBOL * page.unit;
    let (square, room) = if page.is_portrait() {
        let top = page.content.center_top();
        let square = Rect::from_center_size(top + vec2(0.0, side / 2.0), vec2(side, side));
        let mut room = page.content;
        room.min.y = square.bottom() + 2.0 * page.gap;
        (square, room)
    } else {
        let at = pos2(page.content.left(), page.content.center().y - side / 2.0);
        let square = Rect::from_min_size(at, vec2(side, side));
        let mut room = page.content;
        room.min.x = square.right() + 1.6 * page.gap;
        (square, room)
    };
    paint_symbol(set, page, Some(Symbol::Summary), square);
    // From tall to small until everything fits.
    let least = set.least_cap(Role::NOTE);
    let most = (theme::NOTE_MOST * page.unit).max(least);
    let mut cap = most;
    let mut rows = Vec::new();
    for step in 0..=4u8 {
        cap = most + (least - most) * f32::from(step) / 4.0;
        rows = lines
            .iter()
            .map(|line| set.wrap(line, room.width() / cap))
            .collect();
        let count: usize = rows.iter().map(Vec::len).sum();
        let height = cap * block_height_in_caps(count, theme::LINE_PITCH)
            + cap * theme::SUMMARY_GAP * rows.len().saturating_sub(1) as f32;
        if height <= room.height() {
            break;
        }
    }
    let count: usize = rows.iter().map(Vec::len).sum();
    let height = cap * block_height_in_caps(count, theme::LINE_PITCH)
        + cap * theme::SUMMARY_GAP * rows.len().saturating_sub(1) as f32;
    let mut baseline = room.center().y - height / 2.0 + cap;
    for entry in &rows {
        for row in entry {
            set.line(
                row,
                Role::NOTE,
                cap,
                pos2(room.left(), baseline),
                Side::Left,
                (page.palette.text, page.bg),
            );
            baseline += cap * theme::LINE_PITCH;
        }
        baseline += cap * theme::SUMMARY_GAP;
    }
}

/// Nothing but the symbol, and the side by its pointers.
pub(super) fn symbol_only(set: &mut Typesetter<'_>, page: &Page, symbol: Option<Symbol>) {
    let room = page.content.shrink(0.08 * page.unit);
    paint_symbol(set, page, symbol, room);
}
